/* SPDX-License-Identifier: ISC */
/* Bank statements and their lines are listed and shown, and the bank's messages are given as they came. */
#include "http/resources/bank_names.h"
#include "http/resources/handlers.h"

#include "http/request/json_text.h"
#include "http/request/route.h"
#include "http/request/slice.h"
#include "store/bank_store.h"

#include <stdio.h>
#include <string.h>

enum { LINES_SHOWN = 500, DAY_LENGTH = 10 };

/* Checks the day and the number, in the form in which the statement takes the cursor apart. */
static bool cursor_valid(const char *after, struct answer *answer)
{
    struct date day;
    return after == NULL ||
           (strlen(after) > DAY_LENGTH && after[DAY_LENGTH] == '/' && date_parse(after, DAY_LENGTH, &day) &&
            bank_number(after + DAY_LENGTH + 1)) ||
           slice_refuse_cursor(answer);
}

void handle_bank_statements_list(const struct request *request, struct answer *answer)
{
    struct date from = {INT32_MIN}, to = {INT32_MAX};
    struct key_slice wanted;
    struct json_slice slice;
    const struct scheme *scheme = request_scheme(request, answer, request_query(request, "scheme"));
    if (scheme == NULL || !request_date(request, answer, "from", &from) ||
        !request_date(request, answer, "to", &to) || !slice_begin_keys(request, answer, &wanted) ||
        !cursor_valid(wanted.after, answer))
        return;
    const struct statements_filter filter = {
        .scheme = scheme->id,
        .from = from.days != INT32_MIN ? &from : NULL,
        .to = to.days != INT32_MAX ? &to : NULL,
    };
    enum store_result result = read_bank_statements(request->pg, &filter, &wanted, &answer->body, &slice);
    slice_end_keys(request, answer, &wanted, result, &slice);
}

static void finish(struct answer *answer, enum store_result result, bool found)
{
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (!found)
        answer_not_found(answer);
}

void handle_bank_statement_get(const struct request *request, struct answer *answer)
{
    int64_t number;
    bool found = false;
    enum store_result result = STORE_OK;
    const struct scheme *scheme = bank_named(request, request->parts[0], &number);
    if (scheme != NULL)
        result = read_bank_statement(request->pg, scheme->id, number, LINES_SHOWN, &answer->body, &found);
    finish(answer, result, found);
}

/* The hash of the message is a strong validator. */
void handle_bank_message_get(const struct request *request, struct answer *answer)
{
    char hash[SHA256_HEX_MAX], tag[SHA256_HEX_MAX + 2];
    int64_t number;
    bool found = false;
    enum store_result result = STORE_OK;
    const struct scheme *scheme = bank_named(request, request->parts[0], &number);
    if (scheme != NULL)
        result = read_bank_message(request->pg, scheme->id, number, &answer->body, hash, &found);
    finish(answer, result, found);
    if (!found)
        return;
    int length = snprintf(tag, sizeof tag, "\"%s\"", hash);
    answer->etag = arena_copy(request->arena, tag, (size_t)length);
}

/* The statement that the list is of; 0: of all. False: a fault has been added. */
static bool statement_asked(const struct request *request, struct answer *answer, const struct scheme *scheme,
                            int64_t *statement)
{
    const char *name = request_query(request, "bank_statement");
    *statement = 0;
    if (name == NULL || bank_named(request, name, statement) == scheme)
        return true;
    faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "bank_statement",
                         "is no statement of the scheme");
    return false;
}

void handle_bank_lines_list(const struct request *request, struct answer *answer)
{
    struct list_slice slice;
    bool is_open;
    struct bank_lines_filter filter = {0};
    const struct scheme *scheme = request_scheme(request, answer, request_query(request, "scheme"));
    if (scheme == NULL || !request_flag(request, answer, "open", &is_open, &filter.open) ||
        !statement_asked(request, answer, scheme, &filter.statement) || !slice_begin(request, answer, &slice))
        return;
    filter.scheme = scheme->id;
    enum store_result result = read_bank_lines(request->pg, &filter, &slice);
    slice_end(request, answer, result, &slice);
}

/* Adds what an open line may be for, as a member of the line's object. */
static enum store_result add_candidates(const struct request *request, int32_t scheme, int64_t line,
                                        struct buffer *json)
{
    bool open = false;
    struct buffer candidates;
    buffer_init(&candidates, json->maximum);
    enum store_result result = read_bank_line_candidates(request->pg, scheme, line, &candidates, &open);
    if (result == STORE_OK && open) {
        object_reopen(json);
        buffer_add_text(json, ",\"candidates\":");
        buffer_add(json, candidates.data, candidates.length);
        buffer_add_char(json, '}');
    }
    buffer_dispose(&candidates);
    return result;
}

void handle_bank_line_get(const struct request *request, struct answer *answer)
{
    int64_t number = 0;
    bool found = false;
    enum store_result result = STORE_OK;
    const struct scheme *scheme = bank_named(request, request->parts[0], &number);
    if (scheme != NULL)
        result = read_bank_line(request->pg, scheme->id, number, &answer->body, &found);
    if (result == STORE_OK && found)
        result = add_candidates(request, scheme->id, number, &answer->body);
    finish(answer, result, found);
}
