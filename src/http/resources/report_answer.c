/* SPDX-License-Identifier: ISC */
/* Passes rows from the database to the renderer one at a time. For pages it cuts the rows into parts. */
#include "http/resources/report_answer.h"

#include "http/pages/page_report.h"
#include "http/request/visible.h"
#include "report/render.h"

#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void add_to_body(void *context, const char *bytes, size_t length)
{
    buffer_add(context, bytes, length);
}

/* A page shows some of a report's rows, and links to the next rows. */
enum { PAGE_ROWS = 500, FILE_NAME_MAX = 128 };

static const char FILE_NAME_CHARACTERS[] = "abcdefghijklmnopqrstuvwxyz0123456789-_";

struct page_part {
    size_t entry_column; /* the column of the entry, if the report is by entry; such a report is cut between
                            entries */
    bool by_entry;
    int64_t after; /* how many rows are skipped; by entry: the entry after which the statement begins */
    int64_t last;  /* the position that the next page continues after */
    bool cut;      /* there are more rows */
};

struct report_writer {
    struct render render;
    struct answer *answer;
    struct page_part *part; /* NULL: take all rows */
};

static int64_t entry_of(const struct page_part *part, const char *const *cells)
{
    const char *entry = cells[part->entry_column];
    return entry != NULL ? strtoll(entry, NULL, 10) : 0;
}

/* Whether the row is on the page. */
static bool take_row(struct page_part *part, size_t rows, const char *const *cells)
{
    int64_t number = part->by_entry ? entry_of(part, cells) : part->last + 1;
    part->cut = rows >= PAGE_ROWS && number != part->last;
    if (part->cut)
        return false;
    part->last = number;
    return part->by_entry || number > part->after;
}

static bool add_row(void *context, const char *const *cells)
{
    struct report_writer *writer = context;
    struct page_part *part = writer->part;
    if (cells != NULL && (part == NULL || take_row(part, writer->render.rows, cells)))
        render_row(&writer->render, cells);
    return !writer->render.failed && (part == NULL || !part->cut) && answer_goes_on(writer->answer);
}

/* Reads ?after=, which only pages have. False: a fault has been added. */
static bool part_asked(const struct request *request, struct answer *answer, const struct report *report,
                       struct page_part *part)
{
    const char *after = request_query(request, "after");
    *part = (struct page_part){.by_entry = report->by_entry};
    while (report->by_entry && strcmp(report->columns[part->entry_column].name, "entry") != 0)
        part->entry_column++;
    if (after == NULL)
        return true;
    size_t length = strlen(after);
    if (answer->media == MEDIA_HTML && length >= 1 && length <= 18 && strspn(after, "0123456789") == length) {
        part->after = strtoll(after, NULL, 10);
        return true;
    }
    faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "after",
                         "is for pages: the number that the link to the next page has");
    return false;
}

/* NULL: out of memory, or there are no more rows. */
static const char *next_page(const struct request *request, const struct page_part *part)
{
    char number[24];
    snprintf(number, sizeof number, "%lld", (long long)part->last);
    return part->cut ? request_target(request, "after", number) : NULL;
}

static const struct renderer *renderer_for(enum media media, const struct report *report)
{
    if (media == MEDIA_HTML)
        return report->layout != NULL ? report->layout : &render_html;
    return media == MEDIA_CSV ? &render_csv : &render_json;
}

/* "settlement_tern-bay_2026-05-12.csv": the report, the scheme, and the arguments. NULL: out of memory. */
static const char *report_file_name(struct arena *arena, const struct report_head *head)
{
    char name[FILE_NAME_MAX];
    int length = snprintf(name, sizeof name, "%s_%s", head->report->name, head->scheme);
    for (size_t i = 0; i < report_parameter_count(head->report); i++)
        if (head->arguments[i] != NULL && length < FILE_NAME_MAX)
            length += snprintf(name + length, sizeof name - (size_t)length, "_%s", head->arguments[i]);
    size_t kept = strlen(name) < FILE_NAME_MAX - 5 ? strlen(name) : FILE_NAME_MAX - 5;
    for (size_t i = 0; i < kept; i++)
        if (strchr(FILE_NAME_CHARACTERS, name[i]) == NULL)
            name[i] = '-';
    memcpy(name + kept, ".csv", 5);
    return arena_copy(arena, name, kept + 4);
}

void answer_report(const struct request *request, struct answer *answer, const struct report *report,
                   const struct scheme *scheme, const struct report_asked *asked)
{
    struct page_part part;
    bool in_parts = answer->media == MEDIA_HTML && report->layout == NULL;
    struct report_writer writer = {.answer = answer, .part = in_parts ? &part : NULL};
    struct report_page page;
    struct visible_sites visible;
    struct report_head head = {
        .report = report, .scheme = scheme->code, .currency = scheme->currency->code, .page = &page};
    struct report_query query = {.sql = report->sql,
                                 .scheme = scheme->id,
                                 .arguments = asked->arguments,
                                 .argument_count = report_parameter_count(report),
                                 .visible = report->by_site ? &visible : NULL,
                                 .by_entry = report->by_entry,
                                 .column_count = report_column_count(report)};
    if (!request_visible(request, answer, &visible) || !part_asked(request, answer, report, &part))
        return;
    query.after_entry = report->by_entry ? part.after : 0;
    if (answer->media == MEDIA_HTML && !page_of_report(request, scheme, report, &page)) {
        answer_store_failure(answer, STORE_UNAVAILABLE);
        return;
    }
    answer->is_page = answer->media == MEDIA_HTML;
    memcpy(head.arguments, asked->texts, sizeof head.arguments);
    answer->file_name = answer->media == MEDIA_CSV ? report_file_name(request->arena, &head) : NULL;
    render_begin(&writer.render, renderer_for(answer->media, report), &head,
                 (struct sink){add_to_body, &answer->body});
    enum store_result result = read_report(request->pg, &query, add_row, &writer);
    if (writer.part != NULL) {
        page.next = next_page(request, &part);
        page.continues = part.after > 0;
    }
    if (!render_end(&writer.render))
        result = STORE_FAILED;
    if (result != STORE_OK)
        answer_store_failure(answer, result);
}

void answer_day_report(const struct request *request, struct answer *answer, const char *name,
                       const struct scheme *scheme, struct date day)
{
    const struct report *report = report_find(name);
    assert(report != NULL && report_parameter_count(report) == 1 &&
           report->parameters[0].kind == PARAMETER_DAY);
    char text[DATE_TEXT_MAX + 1] = "";
    date_format(day, text);
    const struct report_asked asked = {.arguments = {{.kind = ARGUMENT_DAY, .day = day}}, .texts = {text}};
    answer_report(request, answer, report, scheme, &asked);
}
