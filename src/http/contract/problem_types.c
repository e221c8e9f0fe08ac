/* SPDX-License-Identifier: ISC */
/* All that is said of a reason follows from the tables of reasons and routes. */
#include "http/contract/problem_types.h"

#include "http/contract/route_reasons.h"
#include "http/pages/page_problem.h"
#include "http/request/json_text.h"
#include "http/request/problem.h"
#include "http/request/router.h"

/* False: out of memory. */
static bool find_operations(const struct request *request, struct problem_type *about)
{
    size_t count;
    const struct route *routes = routes_documented(&count);
    about->operations = arena_array(request->arena, count, sizeof(const struct route *));
    if (about->operations == NULL)
        return false;
    for (size_t i = 0; i < count; i++)
        if (route_can_give(&routes[i], about->reason))
            about->operations[about->count++] = &routes[i];
    about->by_all = about->count == count;
    return true;
}

static void add_operation(struct buffer *text, const struct route *route)
{
    element_begin(text);
    buffer_add_char(text, '{');
    member_string(text, "operation", route->id);
    member_string(text, "method", method_word(route->method));
    member_string(text, "path", route->path);
    buffer_add_char(text, '}');
}

static void write_json(const struct problem_type *about, struct buffer *text)
{
    const struct reason_info *info = reason_info(about->reason);
    buffer_add_char(text, '{');
    member_string(text, "reason", info->code);
    member_string(text, "title", info->title);
    member_integer(text, "status", info->status);
    member_boolean(text, "retryable", info->retryable);
    member_string(text, "advice", problem_advice(about->reason));
    member_begin(text, "operations");
    buffer_add_char(text, '[');
    for (size_t i = 0; i < about->count; i++)
        add_operation(text, about->operations[i]);
    buffer_add_text(text, "]}");
}

void handle_problem_type(const struct request *request, struct answer *answer)
{
    struct problem_type about = {.reason = reason_find(request->parts[0])};
    if (about.reason == REASON_NONE) {
        answer_not_found(answer);
    } else if (!find_operations(request, &about)) {
        faults_refuse(&answer->faults, REASON_OVERLOADED);
    } else if (answer->media == MEDIA_HTML) {
        page_problem_type(&about, &answer->body);
        answer->is_page = true;
    } else {
        write_json(&about, &answer->body);
    }
}
