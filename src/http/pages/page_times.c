/* SPDX-License-Identifier: ISC */
/* Only PostgreSQL knows time zones here, so that a page has the same times as the days that it closed by
 * them. */
#include "http/pages/page_times.h"

#include "depositd/civil.h"
#include "http/request/json_body.h"
#include "report/html.h"
#include "store/read_store.h"

#include <string.h>

enum { PAGE_TIMES_MAX = 2000, JSON_MAX = 1 << 20 };

bool page_is_instant(const char *text)
{
    struct instant ignored;
    size_t length = strlen(text);
    return length > DATE_TEXT_MAX && text[length - 1] == 'Z' && instant_parse(text, length, &ignored);
}

struct found {
    const char **texts;
    size_t count;
};

/* An answer has few levels: the service made it. */
static void find(const json_t *value, struct found *found)
{
    const char *name, *text = json_string_value(value);
    json_t *member;
    size_t index;
    if (text != NULL && found->count < PAGE_TIMES_MAX && page_is_instant(text))
        found->texts[found->count++] = text;
    json_object_foreach((json_t *)value, name, member) find(member, found);
    json_array_foreach(value, index, member) find(member, found);
}

/* The scheme that the answer is about. NULL: none, or the key does not know it. */
static const struct scheme *scheme_of(const struct request *request, const json_t *answer)
{
    struct buffer code;
    const struct page_scope scope = {.object = answer};
    buffer_init(&code, CODE_SIZE);
    const struct scheme *scheme = page_fill(request, &scope, "{scheme}", &code)
                                      ? network_scheme(&request->snapshot->network, code.data)
                                      : NULL;
    buffer_dispose(&code);
    return scheme != NULL && request_knows_scheme(request, scheme) ? scheme : NULL;
}

json_t *page_times(const struct request *request, const json_t *answer)
{
    struct found found = {.texts = arena_array(request->arena, PAGE_TIMES_MAX, sizeof *found.texts)};
    struct buffer json;
    json_error_t error;
    json_t *times = NULL;
    if (found.texts == NULL || request->identity == NULL || request->pg == NULL)
        return NULL;
    find(answer, &found);
    const struct scheme *scheme = found.count > 0 ? scheme_of(request, answer) : NULL;
    if (scheme == NULL)
        return NULL;
    buffer_init(&json, JSON_MAX);
    if (read_local_times(request->pg, scheme->id, found.texts, found.count, &json) == STORE_OK &&
        !json.failed)
        times = json_loadb(json.data, json.length, 0, &error);
    buffer_dispose(&json);
    return times;
}

void page_time(const struct page_view *view, const char *instant)
{
    const char *local = json_member_text(json_object_get(view->times, "times"), instant);
    html_open(view->text, "time", "datetime", instant);
    if (*local != '\0')
        html_text(view->text, local);
    else
        buffer_printf(view->text, "%.10s %.8s UTC", instant, instant + strlen("YYYY-MM-DDT"));
    buffer_add_text(view->text, "</time>");
}

void page_zone(const struct page_view *view)
{
    if (view->times == NULL)
        return;
    buffer_add_text(view->text, "<p class=\"zone\">");
    html_say(view->text, "Times are those of %1.", json_member_text(view->times, "zone"));
    buffer_add_text(view->text, "</p>\n");
}
