/* SPDX-License-Identifier: ISC */
/* Writes a shape as JSON Schema 2020-12 for the OpenAPI document, so that machines know the bodies that
 * shape.c accepts. Both files go through the forms in the same way. */
#include "http/request/shape_schema.h"

#include "depositd/cup_id.h"
#include "depositd/pay_days.h"

#include <inttypes.h>
#include <string.h>

#define WHOLE    "(0|[1-9][0-9]*)"
#define DECIMALS "(\\\\.[0-9]{1,6})?"

/* The schemas of the forms that need no more than a constant. */
static const char *const plain[] = {
    [FORM_CODE] = "\"type\":\"string\",\"pattern\":\"^[a-z0-9][a-z0-9-]{0,31}$\"",
    [FORM_BOOLEAN] = "\"type\":\"boolean\"",
    [FORM_RATE] = "\"type\":\"string\",\"pattern\":\"^(0" DECIMALS "|1(\\\\.0{1,6})?)$\"",
    [FORM_UUID] = "\"type\":\"string\",\"format\":\"uuid\"",
    [FORM_INSTANT] = "\"type\":\"string\",\"format\":\"date-time\"",
    [FORM_DATE] = "\"type\":\"string\",\"format\":\"date\"",
    [FORM_TIME] = "\"type\":\"string\",\"pattern\":\"^([01][0-9]|2[0-3]):[0-5][0-9]$\"",
};

static void add_string(struct buffer *schema, const char *text)
{
    buffer_add_json_string(schema, text, strlen(text));
}

static void add_words(struct buffer *schema, const char *const *words)
{
    buffer_add_text(schema, "\"type\":\"string\",\"enum\":[");
    for (size_t i = 0; words[i] != NULL; i++) {
        if (i > 0)
            buffer_add_char(schema, ',');
        add_string(schema, words[i]);
    }
    buffer_add_char(schema, ']');
}

static void add_pay_days(struct buffer *schema)
{
    static const char list[] = "\"type\":\"array\",\"minItems\":1,\"uniqueItems\":true,\"items\":";
    buffer_printf(schema, "\"oneOf\":[{\"const\":\"daily\"},{%s{", list);
    add_words(schema, weekday_words);
    buffer_printf(schema, "}},{%s{\"type\":\"integer\",\"minimum\":1,\"maximum\":%d}}]", list,
                  MONTH_DAYS_MAX);
}

static void add_range(struct buffer *schema, const char *type, const char *minimum, const char *maximum,
                      const struct field *field)
{
    buffer_printf(schema, "\"type\":\"%s\",\"%s\":%" PRId64 ",\"%s\":%" PRId64, type, minimum, field->minimum,
                  maximum, field->maximum);
}

static void add_reference(struct buffer *schema, const struct shape *shape)
{
    buffer_printf(schema, "\"$ref\":\"#/components/schemas/%s\"", shape->name);
}

/* The keywords of a field's schema, without the braces. */
static void add_keywords(struct buffer *schema, const struct field *field)
{
    switch (field->form) {
    case FORM_TEXT:
        add_range(schema, "string", "minLength", "maxLength", field);
        return;
    case FORM_WORD:
        add_words(schema, field->words);
        return;
    case FORM_INTEGER:
        add_range(schema, "integer", "minimum", "maximum", field);
        return;
    case FORM_NUMBER:
        add_range(schema, "number", "minimum", "maximum", field);
        return;
    case FORM_AMOUNT:
        buffer_printf(schema, "\"type\":\"string\",\"pattern\":\"^%s" WHOLE DECIMALS "$\"",
                      field->minimum < 0 ? "-?" : "");
        if (field->minimum > 0)
            buffer_add_text(schema, ",\"not\":{\"pattern\":\"^0(\\\\.0+)?$\"}");
        return;
    case FORM_PAY_DAYS:
        add_pay_days(schema);
        return;
    case FORM_CUP_IDS:
        add_range(schema, "array", "minItems", "maxItems", field);
        buffer_printf(schema, ",\"items\":{\"type\":\"string\",\"maxLength\":%d}", CUP_ID_SPELLING_MAX);
        return;
    case FORM_OBJECT:
        add_reference(schema, field->shape);
        return;
    case FORM_LIST:
        add_range(schema, "array", "minItems", "maxItems", field);
        buffer_add_text(schema, ",\"items\":{");
        add_reference(schema, field->shape);
        buffer_add_char(schema, '}');
        return;
    case FORM_CODE:
    case FORM_BOOLEAN:
    case FORM_RATE:
    case FORM_UUID:
    case FORM_INSTANT:
    case FORM_DATE:
    case FORM_TIME:
        buffer_add_text(schema, plain[field->form]);
        return;
    }
}

static void add_field(struct buffer *schema, const struct field *field)
{
    buffer_add_char(schema, '{');
    add_keywords(schema, field);
    if (field->description != NULL) {
        buffer_add_text(schema, ",\"description\":");
        add_string(schema, field->description);
    }
    buffer_add_char(schema, '}');
}

static void add_required(struct buffer *schema, const struct shape *shape)
{
    const char *separator = ",\"required\":[";
    for (size_t i = 0; i < shape->field_count; i++)
        if (shape->fields[i].required) {
            buffer_add_text(schema, separator);
            add_string(schema, shape->fields[i].name);
            separator = ",";
        }
    if (separator[1] == '\0')
        buffer_add_char(schema, ']');
}

void shape_schema(const struct shape *shape, struct buffer *schema)
{
    if (shape->bare) {
        add_field(schema, &shape->fields[0]);
        return;
    }
    buffer_add_text(schema, "{\"type\":\"object\",\"properties\":{");
    for (size_t i = 0; i < shape->field_count; i++) {
        if (i > 0)
            buffer_add_char(schema, ',');
        add_string(schema, shape->fields[i].name);
        buffer_add_char(schema, ':');
        add_field(schema, &shape->fields[i]);
    }
    buffer_add_char(schema, '}');
    add_required(schema, shape);
    buffer_add_text(schema, ",\"additionalProperties\":false}");
}
