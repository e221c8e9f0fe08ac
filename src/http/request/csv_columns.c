/* SPDX-License-Identifier: ISC */
/* A shape is walked one level deep, because that is how deep reference data goes. */
#include "http/request/csv_columns.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct field *find_field(const struct shape *shape, const char *name, size_t length)
{
    for (size_t i = 0; i < shape->field_count; i++)
        if (strncmp(shape->fields[i].name, name, length) == 0 && shape->fields[i].name[length] == '\0')
            return &shape->fields[i];
    return NULL;
}

static bool is_list_of_codes(const struct field *field)
{
    return field->form == FORM_LIST && !field->shape->bare && field->shape->field_count == 2 &&
           field->shape->fields[0].form == FORM_CODE;
}

static bool has_parts(const struct field *field)
{
    return field->form == FORM_OBJECT || is_list_of_codes(field);
}

bool csv_column_find(const struct shape *shape, const struct csv_cell *cell, struct csv_column *column)
{
    *column = (struct csv_column){.name = ""};
    if (cell->length >= sizeof column->name)
        return false;
    size_t length = strcspn(cell->text, ".");
    const struct field *field = find_field(shape, cell->text, length);
    bool is_part = cell->text[length] == '.';
    const char *rest = cell->text + length + is_part;
    if (field == NULL || is_part != has_parts(field) || (field->form == FORM_LIST && !is_part))
        return false;
    if (field->form == FORM_OBJECT)
        column->part = find_field(field->shape, rest, strlen(rest));
    bool is_code = field->form == FORM_LIST && shape_is_code(rest, strlen(rest));
    if (is_part && !is_code && column->part == NULL)
        return false;
    memcpy(column->name, cell->text, cell->length + 1);
    column->field = field;
    column->code = is_code ? column->name + length + 1 : NULL;
    return true;
}

/* Finds the code at an index of a list of the row. "": there is none. */
static const char *code_at(const json_t *row, const struct field *list, size_t index)
{
    const json_t *element = json_array_get(json_object_get(row, list->name), index);
    const char *code = json_string_value(json_object_get(element, list->shape->fields[0].name));
    return code != NULL ? code : "";
}

void csv_column_name(const struct shape *shape, const json_t *row, const char *pointer,
                     char name[static CSV_NAME_SIZE])
{
    size_t length = strcspn(pointer, "/");
    const struct field *field = find_field(shape, pointer, length);
    const char *part = pointer[length] == '/' ? pointer + length + 1 : "";
    if (*part != '\0' && field != NULL && field->form == FORM_LIST)
        part = code_at(row, field, (size_t)strtoul(part, NULL, 10));
    snprintf(name, CSV_NAME_SIZE, "%.*s%s%s", (int)length, pointer, *part != '\0' ? "." : "", part);
}

void csv_columns_list(const struct shape *shape, void (*visit)(void *owner, const struct csv_column *column),
                      void *owner)
{
    for (size_t i = 0; i < shape->field_count; i++) {
        struct csv_column column = {.field = &shape->fields[i]};
        const char *name = column.field->name;
        size_t parts = column.field->form == FORM_OBJECT ? column.field->shape->field_count : 0;
        snprintf(column.name, sizeof column.name, is_list_of_codes(column.field) ? "%s.CODE" : "%s", name);
        if (parts == 0 && (column.field->form != FORM_LIST || has_parts(column.field)))
            visit(owner, &column);
        for (size_t part = 0; part < parts; part++) {
            column.part = &column.field->shape->fields[part];
            snprintf(column.name, sizeof column.name, "%s.%s", name, column.part->name);
            visit(owner, &column);
        }
    }
}
