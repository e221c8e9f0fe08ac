/* SPDX-License-Identifier: ISC */
/* A browser sends fields that were left empty as well; the service takes these for absent. */
#include "report/html_fields.h"

#include "report/html_text.h"
#include "report/html_words.h"

#include <string.h>

static void begin_field(struct buffer *page, const char *name)
{
    buffer_add_text(page, "<label>");
    html_label(page, name);
    buffer_add_char(page, ' ');
}

/* "anchor \u00b7 Anchor Counter". Browsers write it into the list, where no element may stand. */
static void add_named(struct buffer *page, const char *code, const char *name, bool chosen)
{
    html_open(page, chosen ? "option selected" : "option", "value", code);
    html_text(page, code);
    if (strcmp(code, name) != 0) {
        buffer_add_text(page, " \xc2\xb7 ");
        html_text(page, name);
    }
    buffer_add_text(page, "</option>");
}

void html_select_field(struct buffer *page, const char *name, const struct html_choices *choices,
                       const char *chosen, bool or_any)
{
    begin_field(page, name);
    html_open(page, "select", "name", name);
    if (or_any)
        html_option(page, "", "all", false);
    for (size_t i = 0; choices->codes[i] != NULL; i++) {
        const char *code = choices->codes[i];
        bool is_chosen = chosen != NULL && strcmp(code, chosen) == 0;
        if (choices->names != NULL)
            add_named(page, code, choices->names[i], is_chosen);
        else
            html_option(page, code, code, is_chosen);
    }
    buffer_add_text(page, "</select></label>\n");
}

void html_input_field(struct buffer *page, const char *name, const char *type, const char *value,
                      bool required)
{
    begin_field(page, name);
    buffer_printf(page, "<input type=\"%s\" name=\"%s\" value=\"", type, name);
    html_text(page, value != NULL ? value : "");
    buffer_printf(page, "\"%s></label>\n", required ? " required" : "");
}

void html_kept_field(struct buffer *page, const char *name, const char *value)
{
    buffer_printf(page, "<input type=\"hidden\" name=\"%s\" value=\"", name);
    html_text(page, value);
    buffer_add_text(page, "\">\n");
}

void html_show_button(struct buffer *page)
{
    buffer_add_text(page, "<button>");
    html_word_of(page, "verb", "Show");
    buffer_add_text(page, "</button>\n");
}
