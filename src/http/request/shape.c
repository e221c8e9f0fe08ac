/* SPDX-License-Identifier: ISC */
/* The walk over a shape that checks and reads a body, with a decoder for each form. (shape_schema.c is the
 * walk that describes the shape.)
 *
 * The position of a value is a chain of places on the stack. The pointer is put together only when there is a
 * fault to report. A detail contains no text of the client's, so cutting it short cannot break its UTF-8. */
#include "http/request/shape.h"

#include "base/utf8.h"
#include "depositd/civil.h"
#include "depositd/cup_id.h"
#include "depositd/event.h"
#include "depositd/money.h"
#include "depositd/pay_days.h"

#include <assert.h>
#include <stdio.h>
#include <string.h>

enum { POINTER_MAX = 512 };

struct place {
    const struct place *parent;
    const char *name; /* of a member; at the root, the pointer to begin with; NULL: an element */
    size_t index;
};

struct walk {
    struct faults *faults;
    struct arena *arena; /* gets texts and lists */
    bool failed;         /* a fault was found, since the element began that notes its own */
    bool failed_within;  /* an element that notes its own faults had some */
};

typedef void decoder(struct walk *walk, const struct place *place, const struct field *field,
                     const json_t *json, void *into);

/* Appends "/name", escaped as in RFC 6901 section 3. False: there is no room, and nothing was added. */
static bool add_token(char *pointer, size_t *length, const char *name)
{
    size_t end = *length;
    if (end + 2 > POINTER_MAX)
        return false;
    pointer[end++] = '/';
    for (; *name != '\0'; name++) {
        if (end + 3 > POINTER_MAX)
            return false;
        if (*name == '~' || *name == '/') {
            pointer[end++] = '~';
            pointer[end++] = *name == '~' ? '0' : '1';
        } else {
            pointer[end++] = *name;
        }
    }
    *length = end;
    return true;
}

/* Leaves out a name that is too long for the pointer. The pointer then points at the object that has the
 * member. */
static bool add_place(const struct place *place, char *pointer, size_t *length)
{
    char index[24];
    if (place->parent == NULL) {
        *length = strlen(place->name);
        assert(*length + sizeof index < POINTER_MAX);
        memcpy(pointer, place->name, *length);
        return true;
    }
    if (!add_place(place->parent, pointer, length))
        return false;
    if (place->name != NULL)
        return add_token(pointer, length, place->name);
    snprintf(index, sizeof index, "%zu", place->index);
    return add_token(pointer, length, index);
}

static void refuse(struct walk *walk, const struct place *place, enum reason reason, const char *detail)
{
    char pointer[POINTER_MAX];
    size_t length = 0;
    (void)add_place(place, pointer, &length);
    pointer[length] = '\0';
    faults_add(walk->faults, reason, pointer, "%s", detail);
    walk->failed = true;
}

/* `format` takes both ends of the range. */
static void refuse_range(struct walk *walk, const struct place *place, enum reason reason, const char *format,
                         const struct field *field)
{
    char detail[128];
    snprintf(detail, sizeof detail, format, (long long)field->minimum, (long long)field->maximum);
    refuse(walk, place, reason, detail);
    faults_format(walk->faults, format);
}

/* NULL: it is not a string, and a fault was added. */
static const char *string_of(struct walk *walk, const struct place *place, const json_t *json, size_t *length)
{
    if (!json_is_string(json)) {
        refuse(walk, place, REASON_WRONG_TYPE, "must be a string");
        return NULL;
    }
    *length = json_string_length(json);
    return json_string_value(json);
}

bool shape_is_code(const char *text, size_t length)
{
    return length >= 1 && length <= CODE_MAX && text[0] != '-' &&
           strspn(text, "abcdefghijklmnopqrstuvwxyz0123456789-") == length;
}

static void decode_code(struct walk *walk, const struct place *place, const struct field *field,
                        const json_t *json, void *into)
{
    size_t length;
    const char *text = string_of(walk, place, json, &length);
    (void)field;
    if (text == NULL)
        return;
    if (shape_is_code(text, length))
        memcpy(into, text, length + 1);
    else
        refuse(walk, place, REASON_BAD_FORMAT,
               "must be 1 to 32 characters of a-z, 0-9 and -, and not begin with -");
}

static void decode_text(struct walk *walk, const struct place *place, const struct field *field,
                        const json_t *json, void *into)
{
    size_t length;
    const char *text = string_of(walk, place, json, &length);
    if (text == NULL)
        return;
    int64_t characters = (int64_t)utf8_length(text);
    if (characters > field->maximum) {
        refuse_range(walk, place, REASON_TOO_LONG, "its length in characters must be %lld to %lld", field);
        return;
    }
    if (characters < field->minimum) {
        refuse_range(walk, place, REASON_BAD_FORMAT, "its length in characters must be %lld to %lld", field);
        return;
    }
    const char *copy = arena_copy(walk->arena, text, length);
    if (copy == NULL)
        refuse(walk, place, REASON_OVERLOADED, "out of memory");
    memcpy(into, &copy, sizeof copy);
}

static void refuse_word(struct walk *walk, const struct place *place, const char *const *words)
{
    char detail[256];
    size_t length = (size_t)snprintf(detail, sizeof detail, "must be %s", words[0]);
    for (size_t i = 1; words[i] != NULL && length < sizeof detail; i++)
        length += (size_t)snprintf(detail + length, sizeof detail - length, "%s%s",
                                   words[i + 1] != NULL ? ", " : " or ", words[i]);
    refuse(walk, place, REASON_VALUE_UNKNOWN, detail);
    faults_format(walk->faults, "must be %s");
}

static void decode_word(struct walk *walk, const struct place *place, const struct field *field,
                        const json_t *json, void *into)
{
    size_t length;
    const char *text = string_of(walk, place, json, &length);
    if (text == NULL)
        return;
    for (int i = 0; field->words[i] != NULL; i++)
        if (strcmp(text, field->words[i]) == 0) {
            memcpy(into, &i, sizeof i);
            return;
        }
    refuse_word(walk, place, field->words);
}

static void decode_integer(struct walk *walk, const struct place *place, const struct field *field,
                           const json_t *json, void *into)
{
    if (!json_is_integer(json)) {
        refuse(walk, place, REASON_WRONG_TYPE, "must be an integer");
        return;
    }
    int64_t number = json_integer_value(json);
    if (number < field->minimum || number > field->maximum)
        refuse_range(walk, place, REASON_OUT_OF_RANGE, "must be %lld to %lld", field);
    memcpy(into, &number, sizeof number);
}

static void decode_boolean(struct walk *walk, const struct place *place, const struct field *field,
                           const json_t *json, void *into)
{
    (void)field;
    if (json_is_boolean(json))
        *(bool *)into = json_is_true(json);
    else
        refuse(walk, place, REASON_WRONG_TYPE, "must be true or false");
}

/* The caller knows the currency, and must check whether it allows the decimals. */
static void decode_amount(struct walk *walk, const struct place *place, const struct field *field,
                          const json_t *json, void *into)
{
    struct decimal amount;
    if (!json_is_string(json)) {
        refuse(walk, place, REASON_WRONG_TYPE, "must be a decimal number in a string, as \"2.50\"");
        return;
    }
    if (!decimal_parse(json_string_value(json), json_string_length(json), &amount)) {
        refuse(walk, place, REASON_BAD_FORMAT, "must be a decimal number, as 2.50");
        return;
    }
    int sign = (amount.unscaled > 0) - (amount.unscaled < 0);
    if (sign < field->minimum)
        refuse(walk, place, REASON_OUT_OF_RANGE,
               field->minimum > 0 ? "must be more than zero" : "must not be negative");
    else if (amount.unscaled > MONEY_STATED_MAX || amount.unscaled < -MONEY_STATED_MAX)
        refuse(walk, place, REASON_OUT_OF_RANGE, "is too large");
    memcpy(into, &amount, sizeof amount);
}

static void decode_rate(struct walk *walk, const struct place *place, const struct field *field,
                        const json_t *json, void *into)
{
    struct decimal number;
    (void)field;
    if (!json_is_string(json)) {
        refuse(walk, place, REASON_WRONG_TYPE, "must be a decimal number in a string, as \"0.15\"");
        return;
    }
    if (!decimal_parse(json_string_value(json), json_string_length(json), &number)) {
        refuse(walk, place, REASON_BAD_FORMAT, "must be a decimal number of at most 6 decimals, as 0.15");
        return;
    }
    int64_t one = 1, ppm = PPM;
    for (unsigned i = 0; i < number.scale; i++) {
        one *= 10;
        ppm /= 10;
    }
    if (number.unscaled < 0 || number.unscaled > one) {
        refuse(walk, place, REASON_OUT_OF_RANGE, "must be 0 to 1");
        return;
    }
    struct rate rate = {(int32_t)(number.unscaled * ppm)};
    memcpy(into, &rate, sizeof rate);
}

static void decode_number(struct walk *walk, const struct place *place, const struct field *field,
                          const json_t *json, void *into)
{
    double number = json_number_value(json);
    if (!json_is_number(json))
        refuse(walk, place, REASON_WRONG_TYPE, "must be a number");
    else if (number < (double)field->minimum || number > (double)field->maximum)
        refuse_range(walk, place, REASON_OUT_OF_RANGE, "must be %lld to %lld", field);
    memcpy(into, &number, sizeof number);
}

static void decode_uuid(struct walk *walk, const struct place *place, const struct field *field,
                        const json_t *json, void *into)
{
    size_t length;
    const char *text = string_of(walk, place, json, &length);
    (void)field;
    if (text != NULL && !uuid_parse(text, length, into))
        refuse(walk, place, REASON_BAD_FORMAT, "must be a UUID");
}

static void decode_instant(struct walk *walk, const struct place *place, const struct field *field,
                           const json_t *json, void *into)
{
    size_t length;
    const char *text = string_of(walk, place, json, &length);
    (void)field;
    if (text != NULL && !instant_parse(text, length, into))
        refuse(walk, place, REASON_BAD_FORMAT,
               "must be a time with its offset (RFC 3339), as 2026-05-12T07:30:00-02:30");
}

static void decode_date(struct walk *walk, const struct place *place, const struct field *field,
                        const json_t *json, void *into)
{
    size_t length;
    const char *text = string_of(walk, place, json, &length);
    (void)field;
    if (text != NULL && !date_parse(text, length, into))
        refuse(walk, place, REASON_BAD_FORMAT, "must be a date, as 2026-05-12");
}

static bool digits(const char *text, int maximum, int64_t *number)
{
    if (text[0] < '0' || text[0] > '9' || text[1] < '0' || text[1] > '9')
        return false;
    *number = (text[0] - '0') * 10 + (text[1] - '0');
    return *number <= maximum;
}

static void decode_time(struct walk *walk, const struct place *place, const struct field *field,
                        const json_t *json, void *into)
{
    size_t length;
    int64_t hours, minutes;
    const char *text = string_of(walk, place, json, &length);
    (void)field;
    if (text == NULL)
        return;
    if (length == 5 && text[2] == ':' && digits(text, 23, &hours) && digits(text + 3, 59, &minutes)) {
        minutes += 60 * hours;
        memcpy(into, &minutes, sizeof minutes);
    } else {
        refuse(walk, place, REASON_BAD_FORMAT, "must be a time of day, 00:00 to 23:59");
    }
}

/* The number of a pay day in a list, from 0: of weekdays or of days of the month. -1: a fault was added. */
static int pay_day_index(struct walk *walk, const struct place *place, bool weekdays, const json_t *json)
{
    if (weekdays != json_is_string(json) || !(json_is_string(json) || json_is_integer(json))) {
        refuse(walk, place, REASON_WRONG_TYPE,
               "must be a weekday or a day of the month, and of the kind of the others in the list");
        return -1;
    }
    if (!weekdays) {
        json_int_t day = json_integer_value(json);
        if (day >= 1 && day <= MONTH_DAYS_MAX)
            return (int)day - 1;
        refuse(walk, place, REASON_OUT_OF_RANGE, "must be 1 to 31");
        return -1;
    }
    for (int i = 0; weekday_words[i] != NULL; i++)
        if (strcmp(json_string_value(json), weekday_words[i]) == 0)
            return i;
    refuse_word(walk, place, weekday_words);
    return -1;
}

/* A list has days of one kind; the first tells which. */
static void decode_pay_day_list(struct walk *walk, const struct place *place, const json_t *json,
                                struct pay_days *days)
{
    bool weekdays = json_is_string(json_array_get(json, 0));
    uint32_t *bits = weekdays ? &days->weekdays : &days->month_days;
    if (json_array_size(json) == 0)
        refuse(walk, place, REASON_TOO_FEW, "must have at least one day");
    if (json_array_size(json) > MONTH_DAYS_MAX) {
        refuse(walk, place, REASON_TOO_MANY, "has more days than a month");
        return;
    }
    for (size_t i = 0; i < json_array_size(json); i++) {
        struct place element = {.parent = place, .index = i};
        int index = pay_day_index(walk, &element, weekdays, json_array_get(json, i));
        if (index >= 0 && (*bits >> index & 1) != 0)
            refuse(walk, &element, REASON_VALUE_REPEATED, "stands in the list before");
        else if (index >= 0)
            *bits |= UINT32_C(1) << index;
    }
}

static void decode_pay_days(struct walk *walk, const struct place *place, const struct field *field,
                            const json_t *json, void *into)
{
    struct pay_days days = {0};
    (void)field;
    if (json_is_array(json))
        decode_pay_day_list(walk, place, json, &days);
    else if (!json_is_string(json))
        refuse(walk, place, REASON_WRONG_TYPE,
               "must be daily, or a list of weekdays or of days of the month");
    else if (strcmp(json_string_value(json), "daily") != 0)
        refuse(walk, place, REASON_VALUE_UNKNOWN,
               "must be daily, or a list of weekdays or of days of the month");
    memcpy(into, &days, sizeof days);
}

/* NULL: it has too many or too few elements, or memory is lacking, and a fault was added. */
static void *array_of(struct walk *walk, const struct place *place, const struct field *field,
                      const json_t *json, size_t size)
{
    int64_t count = (int64_t)json_array_size(json);
    if (!json_is_array(json)) {
        refuse(walk, place, REASON_WRONG_TYPE, "must be an array");
        return NULL;
    }
    if (count < field->minimum || count > field->maximum) {
        refuse_range(walk, place, count > field->maximum ? REASON_TOO_MANY : REASON_TOO_FEW,
                     "the number of its elements must be %lld to %lld", field);
        return NULL;
    }
    void *items = arena_array(walk->arena, (size_t)count, size);
    if (items == NULL)
        refuse(walk, place, REASON_OVERLOADED, "out of memory");
    return items;
}

static void decode_cup_ids(struct walk *walk, const struct place *place, const struct field *field,
                           const json_t *json, void *into)
{
    size_t length;
    struct cup_id *ids = array_of(walk, place, field, json, sizeof *ids);
    if (ids == NULL)
        return;
    for (size_t i = 0; i < json_array_size(json); i++) {
        struct place element = {.parent = place, .index = i};
        const char *text = string_of(walk, &element, json_array_get(json, i), &length);
        if (text != NULL && !cup_id_parse(text, length, &ids[i]))
            refuse(walk, &element, REASON_BAD_FORMAT, "is no GRAI with a serial number (AI 8003)");
    }
    struct shape_list list = {.items = ids, .count = json_array_size(json)};
    memcpy(into, &list, sizeof list);
}

static void decode_shape(struct walk *walk, const struct place *place, const struct shape *shape,
                         const json_t *json, void *into);

static void decode_object(struct walk *walk, const struct place *place, const struct field *field,
                          const json_t *json, void *into)
{
    decode_shape(walk, place, field->shape, json, into);
}

static void decode_element(struct walk *walk, const struct place *place, const struct field *field,
                           const json_t *json, void *into)
{
    bool failed_before = walk->failed;
    if (field->faulty_offset == 0) {
        decode_shape(walk, place, field->shape, json, into);
        return;
    }
    walk->failed = false;
    decode_shape(walk, place, field->shape, json, into);
    *(bool *)((char *)into + field->faulty_offset) = walk->failed;
    walk->failed_within = walk->failed_within || walk->failed;
    walk->failed = failed_before;
}

static void decode_list(struct walk *walk, const struct place *place, const struct field *field,
                        const json_t *json, void *into)
{
    struct shape_list list = {.items = array_of(walk, place, field, json, field->shape->size),
                              .count = json_array_size(json)};
    if (list.items == NULL)
        return;
    for (size_t i = 0; i < list.count; i++) {
        struct place element = {.parent = place, .index = i};
        decode_element(walk, &element, field, json_array_get(json, i),
                       (char *)list.items + i * field->shape->size);
    }
    memcpy(into, &list, sizeof list);
}

static decoder *const decoders[] = {
    [FORM_CODE] = decode_code,         [FORM_TEXT] = decode_text,       [FORM_WORD] = decode_word,
    [FORM_INTEGER] = decode_integer,   [FORM_BOOLEAN] = decode_boolean, [FORM_AMOUNT] = decode_amount,
    [FORM_RATE] = decode_rate,         [FORM_NUMBER] = decode_number,   [FORM_UUID] = decode_uuid,
    [FORM_INSTANT] = decode_instant,   [FORM_DATE] = decode_date,       [FORM_TIME] = decode_time,
    [FORM_PAY_DAYS] = decode_pay_days, [FORM_CUP_IDS] = decode_cup_ids, [FORM_OBJECT] = decode_object,
    [FORM_LIST] = decode_list,
};

static void decode_field(struct walk *walk, const struct place *place, const struct field *field,
                         const json_t *json, void *into)
{
    decoders[field->form](walk, place, field, json, (char *)into + field->offset);
    if (field->present_offset != 0)
        *(bool *)((char *)into + field->present_offset) = true;
}

/* The index of the member, or field_count. */
static size_t find_field(const struct shape *shape, const char *name)
{
    size_t i = 0;
    while (i < shape->field_count && strcmp(shape->fields[i].name, name) != 0)
        i++;
    return i;
}

static void refuse_missing(struct walk *walk, const struct place *place, const struct shape *shape,
                           uint64_t seen)
{
    for (size_t i = 0; i < shape->field_count; i++)
        if (shape->fields[i].required && (seen & UINT64_C(1) << i) == 0) {
            struct place member = {.parent = place, .name = shape->fields[i].name};
            refuse(walk, &member, REASON_MEMBER_MISSING, "is required");
        }
}

static void decode_shape(struct walk *walk, const struct place *place, const struct shape *shape,
                         const json_t *json, void *into)
{
    const char *name;
    json_t *value;
    uint64_t seen = 0;

    if (shape->bare) {
        decode_field(walk, place, &shape->fields[0], json, into);
        return;
    }
    if (!json_is_object(json)) {
        refuse(walk, place, REASON_WRONG_TYPE, "must be an object");
        return;
    }
    assert(shape->field_count <= 64);
    json_object_foreach((json_t *)(uintptr_t)json, name, value)
    {
        struct place member = {.parent = place, .name = name};
        size_t found = find_field(shape, name);
        if (found == shape->field_count) {
            refuse(walk, &member, REASON_MEMBER_UNKNOWN, "is not a member of this object");
            continue;
        }
        seen |= UINT64_C(1) << found;
        decode_field(walk, &member, &shape->fields[found], value, into);
    }
    refuse_missing(walk, place, shape, seen);
}

static bool decode_whole(struct walk *walk, const struct shape *shape, const json_t *json,
                         const char *pointer, void *into)
{
    struct place root = {.name = pointer};
    decode_shape(walk, &root, shape, json, into);
    return !walk->failed && !walk->failed_within;
}

bool shape_decode(const struct shape *shape, const json_t *json, const char *pointer, const void *defaults,
                  void *into, struct faults *faults)
{
    struct walk walk = {.faults = faults, .arena = faults->arena};
    if (defaults != NULL)
        memcpy(into, defaults, shape->size);
    else
        memset(into, 0, shape->size);
    return decode_whole(&walk, shape, json, pointer, into);
}

bool shape_decode_within(struct arena *arena, const struct shape *shape, const json_t *json,
                         const char *pointer, void *into, struct faults *faults)
{
    struct walk walk = {.faults = faults, .arena = arena};
    memset(into, 0, shape->size);
    return decode_whole(&walk, shape, json, pointer, into);
}
