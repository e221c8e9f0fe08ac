/* SPDX-License-Identifier: ISC */
/* A walk over the shape: a labelled input for each scalar, a group for each object and each row of a list. A
 * field refers to its description and its faults by aria-describedby (WCAG 2.2, 1.3.1 and 3.3.1). */
#include "http/forms/form_fields.h"

#include "http/forms/form_json.h"
#include "http/pages/page_problem.h"
#include "report/html.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

enum { EMPTY_ROWS = 3, MORE_ROWS = 5, LONG_TEXT = 200, VALUE_TEXT_MAX = 160 };

/* --- one input ----------------------------------------------------------------------------------------- */

/* Of a list that is typed into one field, a fault of an element belongs to the field. */
static bool is_at(const char *place, const char *pointer, bool is_list)
{
    size_t length = strlen(pointer);
    return strncmp(place, pointer, length) == 0 &&
           (place[length] == '\0' || (is_list && place[length] == '/'));
}

static const struct fault *fault_of(const struct form_view *view, const char *pointer)
{
    bool is_list = strlen(pointer) > 4 && strcmp(pointer + strlen(pointer) - 4, "/ids") == 0;
    for (size_t i = 0; i < view->faults->count; i++) {
        const struct fault *fault = &view->faults->items[i];
        const char *place = fault_where(fault);
        if (place != NULL && is_at(place, pointer, is_list))
            return fault;
    }
    return NULL;
}

/* The first row of a list has the description for all rows. Adds its id. */
static void add_description_id(const struct form_view *view, const char *pointer)
{
    if (view->row != NULL)
        buffer_printf(view->text, "d%s%s", view->first_row, pointer + strlen(view->row));
    else
        buffer_printf(view->text, "d%s", pointer);
}

static bool is_described(const struct form_view *view, const char *description)
{
    return description != NULL && (view->row == NULL || strcmp(view->row, view->first_row) == 0);
}

/* <… id="f/name" name="/name" aria-describedby="…" */
static void begin_control(const struct form_view *view, const char *element, const char *pointer,
                          const char *description, bool required)
{
    const struct fault *fault = fault_of(view, pointer);
    buffer_printf(view->text, "<%s id=\"f%s\" name=\"%s\"", element, pointer, pointer);
    if (description != NULL || fault != NULL)
        buffer_add_text(view->text, " aria-describedby=\"");
    if (description != NULL)
        add_description_id(view, pointer);
    if (fault != NULL)
        buffer_printf(view->text, "%se%s", description != NULL ? " " : "", pointer);
    if (description != NULL || fault != NULL)
        buffer_add_char(view->text, '"');
    if (fault != NULL)
        buffer_add_text(view->text, " aria-invalid=\"true\"");
    if (required)
        buffer_add_text(view->text, " required");
}

static void add_label(const struct form_view *view, const char *pointer, const char *name, bool required)
{
    buffer_printf(view->text, "<label for=\"f%s\">", pointer);
    html_label(view->text, name);
    if (!required) {
        buffer_add_text(view->text, " <i>");
        html_word(view->text, "(optional)");
        buffer_add_text(view->text, "</i>");
    }
    buffer_add_text(view->text, "</label>\n");
}

static void end_field(const struct form_view *view, const char *pointer, const char *description)
{
    const struct fault *fault = fault_of(view, pointer);
    if (is_described(view, description)) {
        buffer_printf(view->text, "<small id=\"d%s\">", pointer);
        html_word(view->text, description);
        buffer_add_text(view->text, "</small>\n");
    }
    if (fault != NULL) {
        buffer_printf(view->text, "<strong id=\"e%s\">", pointer);
        page_fault(view->text, fault);
        buffer_add_text(view->text, "</strong>\n");
    }
    buffer_add_text(view->text, "</div>\n");
}

static bool is_text(const char *value, const char *text)
{
    return value != NULL && strcmp(value, text) == 0;
}

static void add_select(const struct form_view *view, const struct field *field, const char *pointer,
                       const char *value)
{
    begin_control(view, "select", pointer, field->description, field->required);
    buffer_add_char(view->text, '>');
    if (!field->required || value == NULL)
        html_option(view->text, "", "", value == NULL);
    if (field->form == FORM_BOOLEAN) {
        html_option(view->text, "true", "yes", is_text(value, "true"));
        html_option(view->text, "false", "no", is_text(value, "false"));
    }
    for (size_t i = 0; field->form == FORM_WORD && field->words[i] != NULL; i++)
        html_option(view->text, field->words[i], field->words[i], is_text(value, field->words[i]));
    buffer_add_text(view->text, "</select>\n");
}

/* The attributes that let a phone show the right keys. */
static const char *attributes_of(const struct field *field)
{
    switch (field->form) {
    case FORM_DATE:
        return " type=\"date\"";
    case FORM_TIME:
        return " type=\"time\"";
    case FORM_INSTANT:
        return " type=\"datetime-local\" step=\"1\"";
    case FORM_INTEGER:
        return field->minimum < 0 ? "" : " inputmode=\"numeric\"";
    case FORM_AMOUNT:
    case FORM_RATE:
        return field->minimum < 0 ? "" : " inputmode=\"decimal\"";
    case FORM_CODE:
    case FORM_UUID:
    case FORM_PAY_DAYS:
        return " autocapitalize=\"none\" spellcheck=\"false\"";
    case FORM_TEXT:
    case FORM_WORD:
    case FORM_BOOLEAN:
    case FORM_NUMBER:
    case FORM_CUP_IDS:
    case FORM_OBJECT:
    case FORM_LIST:
        break;
    }
    return "";
}

static void add_list_of_options(const struct form_view *view, const char *name, const char *pointer)
{
    const char *list = form_options_list(view->options, name, pointer);
    if (list != NULL)
        buffer_printf(view->text, " list=\"%s\"", list);
}

static void add_input(const struct form_view *view, const struct field *field, const char *pointer,
                      const char *value)
{
    bool is_long = field->form == FORM_TEXT && field->maximum > LONG_TEXT;
    begin_control(view, is_long ? "textarea" : "input", pointer, field->description, field->required);
    if (is_long) {
        buffer_add_text(view->text, " rows=\"3\">");
        html_text(view->text, value != NULL ? value : "");
        buffer_add_text(view->text, "</textarea>\n");
        return;
    }
    add_list_of_options(view, *field->name != '\0' ? field->name : strrchr(pointer, '/') + 1, pointer);
    buffer_printf(view->text, "%s value=\"", attributes_of(field));
    html_text(view->text, value != NULL ? value : "");
    buffer_add_text(view->text, "\" autocomplete=\"off\">\n");
}

static const char *text_of(const json_t *value, char number[static VALUE_TEXT_MAX]);

/* A list in one field: its elements with commas between them. */
static const char *list_text(const json_t *list, char text[static VALUE_TEXT_MAX])
{
    size_t length = 0, index;
    const json_t *element;
    text[0] = '\0';
    json_array_foreach(list, index, element)
    {
        char number[VALUE_TEXT_MAX];
        const char *one = text_of(element, number);
        if (one != NULL && length < VALUE_TEXT_MAX)
            length += (size_t)snprintf(text + length, VALUE_TEXT_MAX - length, "%s%.20s",
                                       index > 0 ? ", " : "", one);
    }
    return text;
}

/* NULL: there is no value. */
static const char *text_of(const json_t *value, char number[static VALUE_TEXT_MAX])
{
    if (json_is_array(value))
        return list_text(value, number);
    if (json_is_string(value))
        return json_string_value(value);
    if (json_is_boolean(value))
        return json_is_true(value) ? "true" : "false";
    if (json_is_integer(value))
        snprintf(number, VALUE_TEXT_MAX, "%" JSON_INTEGER_FORMAT, json_integer_value(value));
    else if (json_is_real(value))
        snprintf(number, VALUE_TEXT_MAX, "%.10g", json_real_value(value));
    else
        return NULL;
    return number;
}

/* A scanner types each identity and a line feed. */
static void add_ids(const struct form_view *view, const struct field *field, const char *pointer,
                    const json_t *ids)
{
    size_t index;
    const json_t *id;
    begin_control(view, "textarea", pointer, field->description, false);
    buffer_add_text(view->text, " rows=\"2\" autocapitalize=\"none\" spellcheck=\"false\">");
    json_array_foreach(ids, index, id)
    {
        html_text(view->text, json_is_string(id) ? json_string_value(id) : "");
        buffer_add_char(view->text, '\n');
    }
    buffer_add_text(view->text, "</textarea>\n");
}

static void add_scalar(const struct form_view *view, const struct field *field, const char *pointer,
                       const json_t *json)
{
    char number[VALUE_TEXT_MAX];
    const char *value = text_of(json, number);
    const char *name = strrchr(pointer, '/') + 1;
    buffer_add_text(view->text, "<div class=\"field\">");
    add_label(view, pointer, *field->name != '\0' ? field->name : name, field->required);
    if (field->form == FORM_WORD || field->form == FORM_BOOLEAN)
        add_select(view, field, pointer, value);
    else if (field->form == FORM_CUP_IDS)
        add_ids(view, field, pointer, json);
    else
        add_input(view, field, pointer, value);
    end_field(view, pointer, field->description);
}

/* --- groups -------------------------------------------------------------------------------------------- */

static void add_members(const struct form_view *view, const struct shape *shape, const json_t *values,
                        const char *pointer, const char *more);

static void begin_group(const struct form_view *view, const char *pointer, const char *name,
                        const char *description)
{
    const struct fault *fault = fault_of(view, pointer);
    buffer_add_text(view->text, "<fieldset><legend>");
    html_label(view->text, name);
    buffer_add_text(view->text, "</legend>\n");
    if (description != NULL) {
        buffer_add_text(view->text, "<small>");
        html_word(view->text, description);
        buffer_add_text(view->text, "</small>\n");
    }
    if (fault != NULL) {
        buffer_add_text(view->text, "<strong>");
        page_fault(view->text, fault);
        buffer_add_text(view->text, "</strong>\n");
    }
}

static void add_row(const struct form_view *view, const struct field *list, const char *pointer, size_t index,
                    const json_t *value)
{
    char row[FORM_POINTER_MAX], first[FORM_POINTER_MAX];
    struct form_view within = *view;
    snprintf(row, sizeof row, "%.170s/%zu", pointer, index);
    snprintf(first, sizeof first, "%.170s/0", pointer);
    within.row = row;
    within.first_row = first;
    buffer_add_text(view->text, "<div class=\"row\">\n");
    if (list->shape->bare) {
        struct field one = list->shape->fields[0];
        one.required = false;
        one.name = list->name;
        add_scalar(&within, &one, row, value);
    } else {
        add_members(&within, list->shape, value, row, NULL);
    }
    buffer_add_text(view->text, "</div>\n");
}

static void add_list(const struct form_view *view, const struct field *field, const char *pointer,
                     const json_t *list, const char *more)
{
    size_t filled = json_array_size(list);
    size_t rows = filled + (more != NULL && strcmp(more, pointer) == 0 ? MORE_ROWS
                            : filled == 0                              ? EMPTY_ROWS
                                                                       : 1);
    rows = rows > FORM_ROWS_MAX ? FORM_ROWS_MAX : rows;
    begin_group(view, pointer, field->name, field->description);
    if (view->choice != NULL && strcmp(view->choice->pointer, pointer) == 0) {
        form_choice_rows(view->choice, view->thing, list, view->faults, view->text);
        buffer_add_text(view->text, "</fieldset>\n");
        return;
    }
    buffer_printf(view->text, "<input type=\"hidden\" name=\"" FORM_ROWS "%s\" value=\"%zu\">\n", pointer,
                  rows);
    for (size_t i = 0; i < rows; i++)
        add_row(view, field, pointer, i, json_array_get(list, i));
    buffer_printf(view->text, "<button name=\"more\" value=\"%s\" formnovalidate>", pointer);
    html_word(view->text, "More rows");
    buffer_add_text(view->text, "</button>\n</fieldset>\n");
}

/* A member is required only within a group that is required, or that has a value. */
static void add_members(const struct form_view *view, const struct shape *shape, const json_t *values,
                        const char *pointer, const char *more)
{
    for (size_t i = 0; i < shape->field_count; i++) {
        struct field field = shape->fields[i];
        const json_t *value = json_object_get(values, field.name);
        char member[FORM_POINTER_MAX];
        snprintf(member, sizeof member, "%.100s/%.80s", pointer, field.name);
        field.required = field.required && (*pointer == '\0' || values != NULL);
        if (field.form == FORM_OBJECT) {
            begin_group(view, member, field.name, field.description);
            add_members(view, field.shape, value, member, more);
            buffer_add_text(view->text, "</fieldset>\n");
        } else if (field.form == FORM_LIST) {
            add_list(view, &field, member, value, more);
        } else {
            add_scalar(view, &field, member, value);
        }
    }
}

void form_fields(const struct form_view *view, const struct shape *shape, const json_t *values,
                 const char *more)
{
    add_members(view, shape, values, "", more);
}

/* --- fields beside the body ------------------------------------------------------------------------------
 */

/* Parts of paths and queries with these names are dates. */
static bool is_date(const char *name)
{
    return strcmp(name, "date") == 0 || strcmp(name, "effective_date") == 0;
}

void form_text_field(const struct form_view *view, const struct form_text *field)
{
    buffer_add_text(view->text, "<div class=\"field\">");
    add_label(view, field->name, field->label, field->required);
    begin_control(view, "input", field->name, NULL, field->required);
    if (!field->is_new)
        add_list_of_options(view, field->label, "");
    if (is_date(field->label))
        buffer_add_text(view->text, " type=\"date\"");
    buffer_add_text(view->text, " autocomplete=\"off\" value=\"");
    html_text(view->text, field->value != NULL ? field->value : "");
    buffer_add_text(view->text, "\">\n");
    end_field(view, field->name, NULL);
}

void form_hidden(struct buffer *text, const char *name, const char *value)
{
    buffer_printf(text, "<input type=\"hidden\" name=\"%s\" value=\"", name);
    html_text(text, value);
    buffer_add_text(text, "\">\n");
}
