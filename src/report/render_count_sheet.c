/* SPDX-License-Identifier: ISC */
/* The page of count sheets, to be printed: for each site a table of its cup types with a box for what is
 * counted, and places for who counted and when. The book's figure is not there, so people write down what they
 * see. The rows of a site follow each other, so nothing needs to be kept but its code. */
#include "report/render.h"

#include "base/memory.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SHEETS_MAX = 200, CODE_ROOM = 64 };

struct sheets {
    char site[CODE_ROOM]; /* of the sheet that is begun; "": none */
    size_t count;
    bool cut; /* there are more sites than a page has room for */
};

static const char *cell(const struct render *render, const char *const *cells, const char *name)
{
    const char *text = render_cell(render, cells, name);
    return text != NULL ? text : "";
}

static void add_paragraph(struct buffer *page, const char *words)
{
    buffer_add_text(page, "<p>");
    html_word(page, words);
    buffer_add_text(page, "</p>\n");
}

/* A line to write on. */
static void add_blank(struct buffer *page, const char *words)
{
    buffer_add_text(page, "<p class=\"write\">");
    html_word(page, words);
    buffer_add_text(page, "</p>\n");
}

static void end_sheet(struct render *render)
{
    const struct sheets *sheets = render->own;
    if (*sheets->site == '\0')
        return;
    html_table_end(&render->text);
    add_blank(&render->text, "Counted by");
    add_blank(&render->text, "Day and time of the count");
    add_blank(&render->text, "Remarks");
    buffer_add_text(&render->text, "</section>\n");
}

static void begin_sheet(struct render *render, const char *const *cells)
{
    struct buffer *page = &render->text;
    const char *name = cell(render, cells, "site_name");
    buffer_add_text(page, "<section class=\"sheet\">\n<h2>");
    bool linked = render_begin_link(render, cells, render_column(render, "site"));
    html_text(page, *name != '\0' ? name : cell(render, cells, "site"));
    buffer_add_text(page, linked ? "</a></h2>\n" : "</h2>\n");
    add_paragraph(page, "Count the sound cups that are here now, clean or not. Leave out damaged ones.");
    add_paragraph(page, "Write a 0 if there is none. Leave a box empty only if you did not count the type.");
    html_table_begin(page, &(struct html_table){.caption = name, .is_name = true, .said = true});
    html_column(page, "cup_type", false);
    html_column(page, "name", false);
    html_column(page, "volume_ml", true);
    html_column(page, "counted", false);
    html_table_rows(page);
}

static void add_text_cell(struct buffer *page, const char *text, const char *class)
{
    html_cell_begin(page, false, class);
    html_text(page, text);
    html_cell_end(page, false);
}

static void add_line(struct render *render, const char *const *cells)
{
    struct buffer *page = &render->text;
    buffer_add_text(page, "<tr>");
    html_cell_begin(page, true, NULL);
    html_text(page, cell(render, cells, "cup_type"));
    html_cell_end(page, true);
    add_text_cell(page, cell(render, cells, "name"), "t");
    html_cell_begin(page, false, "n");
    html_figure(page, cell(render, cells, "volume_ml"));
    html_cell_end(page, false);
    add_text_cell(page, "", "box");
    buffer_add_text(page, "</tr>\n");
}

static void head(struct render *render)
{
    render_head(render);
    for (size_t i = 0; i < render->column_count; i++)
        render->unshown[i] = true;
    render->own = memory_allocate(sizeof(struct sheets));
    if (render->own != NULL)
        *(struct sheets *)render->own = (struct sheets){.count = 0};
}

static void row(struct render *render, const char *const *cells)
{
    struct sheets *sheets = render->own;
    if (sheets == NULL) {
        render->failed = true;
        return;
    }
    if (strcmp(sheets->site, cell(render, cells, "site")) != 0 && !sheets->cut) {
        end_sheet(render);
        *sheets->site = '\0';
        sheets->cut = sheets->count == SHEETS_MAX;
        if (sheets->cut)
            return;
        begin_sheet(render, cells);
        snprintf(sheets->site, sizeof sheets->site, "%s", cell(render, cells, "site"));
        sheets->count++;
    }
    if (!sheets->cut)
        add_line(render, cells);
}

static void tail(struct render *render)
{
    struct sheets *sheets = render->own;
    if (sheets != NULL) {
        end_sheet(render);
        if (sheets->count == 0)
            add_paragraph(&render->text, "There is no site to count.");
        if (sheets->cut)
            add_paragraph(&render->text, "There are more sites. Ask for the sheet of one of them.");
        render_tail(render);
    }
    render->failed = render->failed || sheets == NULL;
    free(sheets);
    render->own = NULL;
}

const struct renderer render_count_sheet = {head, row, tail};
