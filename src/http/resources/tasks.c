/* SPDX-License-Identifier: ISC */
/* The tasks that wait for the reader: on the start page, and of one kind by scheme. Each has a link to the
 * list that has exactly the things that it counts. */
#include "http/resources/tasks.h"

#include "base/uri.h"
#include "http/pages/page_tasks.h"
#include "http/request/json_text.h"
#include "http/request/slice.h"
#include "http/resources/handlers.h"

#include <string.h>

/* Where a reader has more schemes, a task is one row over all of them. */
enum { SCHEMES_APART_MAX = 20, HREF_MAX = 1024 };

/* Chooses the schemes that the reader knows, after a code. False: out of memory, and a fault has been added.
 */
static bool choose_schemes(const struct request *request, struct answer *answer, const char *after,
                           struct tasks_asked *asked)
{
    const struct network *network = &request->snapshot->network;
    const bool *known = request_known_schemes(request);
    int32_t *ids = arena_array(request->arena, network->scheme_count + 1, sizeof *ids);
    if (known == NULL || ids == NULL) {
        answer_store_failure(answer, STORE_UNAVAILABLE);
        return false;
    }
    for (size_t i = 0; i < network->scheme_count; i++)
        if (known[network->schemes[i].id] && (after == NULL || strcmp(network->schemes[i].code, after) > 0))
            ids[asked->scheme_count++] = network->schemes[i].id;
    asked->schemes = ids;
    return true;
}

static const char *variable(void *context, const char *name, size_t length)
{
    const struct task_row *row = context;
    const struct {
        const char *name, *value;
    } variables[] = {{"scheme", row->scheme},
                     {"first_day", row->first_day},
                     {"since", row->since},
                     {"count_before", row->count_before}};
    for (size_t i = 0; i < sizeof variables / sizeof variables[0]; i++)
        if (strlen(variables[i].name) == length && strncmp(variables[i].name, name, length) == 0)
            return variables[i].value;
    return NULL;
}

/* Adds a task as an object. The link of a task that was added up leads to its schemes. */
static void add_task(struct buffer *text, const struct task_row *row)
{
    struct buffer href;
    const struct page_task *task = page_task(row->task);
    struct task_row context = *row;
    buffer_init(&href, HREF_MAX);
    if (task == NULL || !uri_expand(&href, task->pattern, variable, &context))
        buffer_printf(&href, "/v1/tasks/%s", row->task);
    element_begin(text);
    buffer_add_text(text, row->json);
    object_reopen(text);
    member_string(text, "href", href.failed ? "/" : href.data);
    buffer_add_char(text, '}');
    buffer_dispose(&href);
}

bool tasks_add(const struct request *request, struct answer *answer)
{
    size_t all, count;
    struct task_row *rows;
    const struct page_task *tasks = page_tasks(&all);
    struct tasks_asked asked = {.key = request->identity->key,
                                .participant = request->identity->participant,
                                .count_days = request->service->config->count_days};
    const char **names = arena_array(request->arena, all, sizeof *names);
    if (names == NULL)
        answer_store_failure(answer, STORE_UNAVAILABLE);
    if (names == NULL || !choose_schemes(request, answer, NULL, &asked))
        return false;
    for (size_t i = 0; i < all; i++)
        if ((tasks[i].roles & 1u << request->identity->role) != 0)
            names[asked.task_count++] = tasks[i].name;
    asked.tasks = names;
    asked.add_up = asked.scheme_count > SCHEMES_APART_MAX;
    enum store_result result = read_tasks(request->pg, request->arena, &asked, &rows, &count);
    if (result != STORE_OK) {
        answer_store_failure(answer, result);
        return false;
    }
    member_begin(&answer->body, "tasks");
    buffer_add_char(&answer->body, '[');
    for (size_t i = 0; i < count; i++)
        add_task(&answer->body, &rows[i]);
    buffer_add_char(&answer->body, ']');
    return true;
}

/* Adds the rows up to the limit. A task of no scheme is one row, which stands on the first page. */
static void add_rows(const struct request *request, struct answer *answer, const struct key_slice *wanted,
                     const struct task_row *rows, size_t count)
{
    const char *last = NULL;
    size_t added = 0;
    for (size_t i = 0; i < count && added < (size_t)wanted->asked.limit; i++) {
        if (rows[i].scheme == NULL && wanted->after != NULL)
            continue;
        add_task(&answer->body, &rows[i]);
        last = rows[i].scheme;
        added++;
    }
    buffer_add_char(&answer->body, ']');
    if (last != NULL && count > (size_t)wanted->asked.limit)
        slice_add_next(request, answer, last);
    buffer_add_text(&answer->body, "}\n");
}

void handle_tasks_list(const struct request *request, struct answer *answer)
{
    size_t count;
    struct task_row *rows;
    struct key_slice wanted;
    const struct page_task *task = page_task(request->parts[0]);
    struct tasks_asked asked = {.key = request->identity->key,
                                .participant = request->identity->participant,
                                .count_days = request->service->config->count_days};
    if (task == NULL) {
        answer_not_found(answer);
        return;
    }
    asked.tasks = &task->name;
    asked.task_count = (task->roles & 1u << request->identity->role) != 0; /* else there are no rows */
    if (!slice_begin_keys(request, answer, &wanted) || !choose_schemes(request, answer, wanted.after, &asked))
        return;
    asked.limit = wanted.asked.limit;
    enum store_result result = read_tasks(request->pg, request->arena, &asked, &rows, &count);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else
        add_rows(request, answer, &wanted, rows, count);
}
