/* SPDX-License-Identifier: ISC */
/* A walk over the shape, which picks the fields by their names. */
#include "http/forms/form_json.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The fields that the walk picks from; `failed`: out of memory. */
struct picking {
    const struct form_body *form;
    bool failed;
};

static json_t *object_of(struct picking *picking, const struct shape *shape, const char *pointer);

/* NULL: the text is not an integer. */
static json_t *integer_of(const char *text)
{
    char *end;
    errno = 0;
    long long number = strtoll(text, &end, 10);
    return errno == 0 && *end == '\0' && text[strspn(text, "-0123456789")] == '\0' ? json_integer(number)
                                                                                   : NULL;
}

static json_t *number_of(const char *text)
{
    char *end;
    double number = strtod(text, &end);
    return *end == '\0' && text[strspn(text, "-.0123456789")] == '\0' ? json_real(number) : NULL;
}

static json_t *boolean_of(const char *text)
{
    bool is_true = strcmp(text, "true") == 0;
    return is_true || strcmp(text, "false") == 0 ? json_boolean(is_true) : NULL;
}

/* Days with commas or spaces between them become a list. NULL: the text is "daily", or cannot be a list. */
static json_t *pay_days_of(const char *text)
{
    json_t *list = strcmp(text, "daily") != 0 ? json_array() : NULL;
    for (text += strspn(text, ", "); list != NULL && *text != '\0'; text += strspn(text, ", ")) {
        char day[32];
        size_t length = strcspn(text, ", ");
        snprintf(day, sizeof day, "%.*s", (int)(length < sizeof day ? length : sizeof day - 1), text);
        json_t *number = integer_of(day);
        if (json_array_append_new(list, number != NULL ? number : json_string(day)) != 0) {
            json_decref(list);
            return NULL;
        }
        text += length;
    }
    return list;
}

/* Identities have white space between them, as scanners type them. */
static json_t *words_of(const char *text)
{
    static const char space[] = " \t\r\n";
    json_t *list = json_array();
    for (text += strspn(text, space); list != NULL && *text != '\0'; text += strspn(text, space)) {
        size_t length = strcspn(text, space);
        if (json_array_append_new(list, json_stringn(text, length)) != 0) {
            json_decref(list);
            return NULL;
        }
        text += length;
    }
    return list;
}

/* NULL: the field is empty, or there is none. */
static json_t *scalar_of(struct picking *picking, enum form form, const char *pointer)
{
    const char *text = form_value(picking->form, pointer);
    json_t *value = NULL;
    if (text == NULL || *text == '\0')
        return NULL;
    if (form == FORM_INTEGER)
        value = integer_of(text);
    else if (form == FORM_NUMBER)
        value = number_of(text);
    else if (form == FORM_BOOLEAN)
        value = boolean_of(text);
    else if (form == FORM_PAY_DAYS)
        value = pay_days_of(text);
    else if (form == FORM_CUP_IDS)
        value = words_of(text);
    if (value == NULL)
        value = json_string(text);
    picking->failed = picking->failed || value == NULL;
    return value;
}

/* How many rows the form had for the list; -1: it does not say so. */
static int rows_of(struct picking *picking, const char *kind, const char *pointer)
{
    char name[sizeof FORM_CHOICE + FORM_POINTER_MAX];
    snprintf(name, sizeof name, "%s%s", kind, pointer);
    const char *text = form_value(picking->form, name);
    int rows = text != NULL ? atoi(text) : -1;
    return rows < 0 ? -1 : rows > FORM_ROWS_MAX ? FORM_ROWS_MAX : rows;
}

static json_t *list_of(struct picking *picking, const struct shape *shape, const char *pointer)
{
    json_t *list = json_array();
    int choices = rows_of(picking, FORM_CHOICE, pointer);
    int rows = choices >= 0 ? choices : rows_of(picking, FORM_ROWS, pointer);
    for (int i = 0; list != NULL && i < rows; i++) {
        char row[FORM_POINTER_MAX];
        snprintf(row, sizeof row, "%.180s/%d", pointer, i);
        json_t *element =
            shape->bare ? scalar_of(picking, shape->fields[0].form, row) : object_of(picking, shape, row);
        if (element != NULL && json_array_append_new(list, element) != 0)
            picking->failed = true;
    }
    picking->failed = picking->failed || list == NULL;
    if (json_array_size(list) > 0 || choices >= 0)
        return list;
    json_decref(list);
    return NULL;
}

static json_t *value_of(struct picking *picking, const struct field *field, const char *pointer)
{
    if (field->form == FORM_OBJECT)
        return object_of(picking, field->shape, pointer);
    if (field->form == FORM_LIST)
        return list_of(picking, field->shape, pointer);
    return scalar_of(picking, field->form, pointer);
}

/* NULL: none of its members has a value. */
static json_t *object_of(struct picking *picking, const struct shape *shape, const char *pointer)
{
    json_t *object = json_object();
    for (size_t i = 0; object != NULL && i < shape->field_count; i++) {
        char member[FORM_POINTER_MAX];
        snprintf(member, sizeof member, "%.100s/%.80s", pointer, shape->fields[i].name);
        json_t *value = value_of(picking, &shape->fields[i], member);
        if (value != NULL && json_object_set_new(object, shape->fields[i].name, value) != 0)
            picking->failed = true;
    }
    picking->failed = picking->failed || object == NULL;
    if (json_object_size(object) > 0)
        return object;
    json_decref(object);
    return NULL;
}

json_t *form_json(const struct shape *shape, const struct form_body *form)
{
    struct picking picking = {.form = form};
    json_t *object = object_of(&picking, shape, "");
    if (object == NULL && !picking.failed)
        object = json_object();
    if (!picking.failed)
        return object;
    json_decref(object);
    return NULL;
}
