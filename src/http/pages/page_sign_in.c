/* SPDX-License-Identifier: ISC */
/* The form is as password managers expect it: fields with autocomplete's own words, in a form of their own.
 */
#include "http/pages/page_sign_in.h"

#include "http/request/route.h"
#include "report/html.h"

#include <string.h>

enum { TARGET_MAX = 2048 };

const char *page_own_target(const char *target)
{
    if (target == NULL || target[0] != '/' || target[1] == '/' || strlen(target) > TARGET_MAX)
        return NULL;
    for (const char *at = target; *at != '\0'; at++)
        if (*at <= ' ' || *at == '\\' || *at >= 0x7f)
            return NULL;
    return target;
}

const char *page_sign_in_next(const struct request *request)
{
    struct buffer target;
    if (request->route == NULL || request->route->method != METHOD_GET)
        return NULL;
    buffer_init(&target, TARGET_MAX);
    buffer_add_text(&target, request->path);
    for (size_t i = 0; i < request->query_count; i++)
        buffer_printf(&target, "%c%s=%s", i == 0 ? '?' : '&', request->query[i].name,
                      request->query[i].value);
    const char *next = target.failed ? NULL : arena_copy(request->arena, target.data, target.length);
    buffer_dispose(&target);
    return page_own_target(next);
}

static void add_input(struct buffer *text, const char *name, const char *label, const char *rest)
{
    buffer_printf(text, "<p><label for=\"%s\">", name);
    html_word(text, label);
    buffer_printf(text, "</label> <input id=\"%s\" name=\"%s\" required %s", name, name, rest);
}

static void add_alarm(struct buffer *text, const char *words)
{
    buffer_add_text(text, "<p class=\"wrong\" role=\"alert\">");
    html_word(text, words);
    buffer_add_text(text, "</p>\n");
}

void page_sign_in(const struct sign_in *about, struct buffer *text)
{
    html_page_begin(text, &(struct html_page){.title = "Sign in"});
    if (about->was_wrong)
        add_alarm(text, "There is no key of this name and secret. Copy both as they were given to you, and "
                        "try again.");
    if (about->was_late)
        add_alarm(text, "Nothing was recorded: you are not signed in any more. Sign in, and do it again.");
    buffer_add_text(text, "<form method=\"post\" action=\"/sign-in\" class=\"fields\">\n");
    add_input(
        text, "name", "Name of the key",
        "maxlength=\"32\" autocomplete=\"username\" autocapitalize=\"none\" spellcheck=\"false\" value=\"");
    html_text(text, about->name != NULL ? about->name : "");
    buffer_add_text(text, "\"></p>\n");
    add_input(text, "key", "Key",
              "type=\"password\" maxlength=\"256\" autocomplete=\"current-password\"></p>\n");
    if (about->next != NULL) {
        html_open(text, "input type=\"hidden\" name=\"next\"", "value", about->next);
        buffer_add_char(text, '\n');
    }
    buffer_add_text(text, "<button>");
    html_word(text, "Sign in");
    buffer_add_text(text, "</button>\n</form>\n");
    html_note(text,
              "An administrator of the network makes keys, one for each person. Sign out when you leave "
              "the screen. A key stays as it is until it is renewed or revoked.");
    html_page_end(text);
}
