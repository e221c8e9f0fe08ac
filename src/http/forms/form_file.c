/* SPDX-License-Identifier: ISC */
/* Columns and template follow from the shape of a line, as does the document. */
#include "http/forms/form_file.h"

#include "http/forms/form_run.h"
#include "http/request/csv_body.h"
#include "report/html.h"

void form_file_field(const struct route *route, struct buffer *text)
{
    buffer_add_text(text, "<div class=\"field\"><label for=\"ffile\">");
    html_word(text, "File");
    buffer_add_text(text, "</label>\n");
    buffer_printf(text, "<input id=\"ffile\" name=\"file\" type=\"file\" required accept=\"%s\">\n",
                  route->xml_body != NULL ? ".xml,application/xml,text/xml" : ".csv,text/csv");
    buffer_add_text(text, "<small>");
    html_word(text, route->xml_body != NULL ? route->xml_body : "CSV in UTF-8, with a first line of names");
    buffer_add_text(text, "</small>\n");
    if (route->csv_body != NULL) {
        buffer_printf(text, "<p><a href=\"/templates/%s\" download=\"%s.csv\">", route->id,
                      route->csv_body->list);
        html_word(text, "An empty file with these columns");
        buffer_add_text(text, "</a></p>\n");
    }
    buffer_add_text(text, "</div>\n");
}

static void add_column(void *owner, const struct csv_column *column)
{
    struct buffer *text = owner;
    buffer_add_text(text, "<tr>");
    const struct field *field = column->part != NULL ? column->part : column->field;
    bool required = column->field->required && (column->part == NULL || column->part->required);
    html_cell_begin(text, true, NULL);
    html_text(text, column->name);
    html_cell_end(text, true);
    buffer_add_text(text, "<td>");
    if (required)
        html_word(text, "yes");
    buffer_add_text(text, "</td><td class=\"t\">");
    if (field->description != NULL)
        html_word(text, field->description);
    buffer_add_text(text, "</td></tr>\n");
}

void form_file_columns(const struct route *route, struct buffer *text)
{
    if (route->csv_body == NULL)
        return;
    html_table_begin(text, &(struct html_table){.caption = "Columns of the file"});
    html_column(text, "column", false);
    html_column(text, "required", false);
    html_column(text, "meaning", false);
    html_table_rows(text);
    csv_columns_list(route->csv_body->row, add_column, text);
    html_table_end(text);
}

/* A column of its own for each code is for the person to add. */
static void add_name(void *owner, const struct csv_column *column)
{
    struct buffer *text = owner;
    if (column->code != NULL)
        return;
    buffer_add_text(text, text->length > 0 ? "," : "");
    buffer_add_text(text, column->name);
}

void handle_form_template(const struct request *request, struct answer *answer)
{
    const struct route *route = form_operation(request, answer);
    if (route == NULL)
        return;
    if (route->csv_body == NULL) {
        answer_not_found(answer);
        return;
    }
    csv_columns_list(route->csv_body->row, add_name, &answer->body);
    buffer_add_text(&answer->body, "\r\n");
}
