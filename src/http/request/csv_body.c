/* SPDX-License-Identifier: ISC */
/* A cell becomes the JSON that its field's form asks for. A cell that is none, such as a quantity of "ten",
 * becomes a string, so that the shape refuses it in its own words. A cell that is no CSV becomes an object
 * that keeps its fault. The shape refuses it, because no cell is an object, and this fault is then told in
 * place of the shape's. */
#include "http/request/csv_body.h"

#include "base/memory.h"
#include "depositd/event.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { PLACE_MAX = 128, NAMES_MAX = 260 };

/* One body while it is read. */
struct reading {
    struct csv_body *body;
    struct csv csv;
    json_t *rows;
    struct faults *faults;
    bool over; /* the rest is not read */
};

/* The member of the object that stands for a cell that is no CSV: its value is the enum csv_fault. */
static const char fault_member[] = "fault";

/* ---- places ---- */

/* `column` is "": the whole line. */
static void describe(size_t line, const char *column, char pointer[static PLACE_MAX],
                     char words[static PLACE_MAX])
{
    if (*column != '\0') {
        snprintf(pointer, PLACE_MAX, "/%zu/%s", line, column);
        snprintf(words, PLACE_MAX, "line %zu, column %s", line, column);
    } else {
        snprintf(pointer, PLACE_MAX, "/%zu", line);
        snprintf(words, PLACE_MAX, "line %zu", line);
    }
}

static void blame(struct reading *reading, enum reason reason, size_t line, const char *column,
                  const char *detail)
{
    char pointer[PLACE_MAX], words[PLACE_MAX];
    describe(line, column, pointer, words);
    faults_add(reading->faults, reason, pointer, "%s: %s", words, detail);
    reading->faults->in_words = true;
}

static enum reason reason_of(enum csv_fault fault)
{
    return fault == CSV_CELL_TOO_LONG ? REASON_TOO_LONG : REASON_NOT_CSV;
}

/* Finds the row that a pointer into the list leads to. Returns the rest of the pointer; NULL: it leads to no
 * row. */
static const char *find_row(const struct csv_body *body, const char *pointer, size_t *row)
{
    char *rest;
    size_t length = strlen(body->form->list);
    if (pointer == NULL || pointer[0] != '/' || strncmp(pointer + 1, body->form->list, length) != 0 ||
        pointer[length + 1] != '/')
        return NULL;
    *row = strtoul(pointer + length + 2, &rest, 10);
    return *row < body->line_count ? rest + (*rest == '/') : NULL;
}

static bool find_in_list(const struct csv_body *body, const json_t *json, const char *pointer, size_t *row,
                         char column[static CSV_NAME_SIZE])
{
    const char *rest = find_row(body, pointer, row);
    const json_t *rows = json_object_get(json, body->form->list);
    if (rest != NULL)
        csv_column_name(body->form->row, json_array_get(rows, *row), rest, column);
    return rest != NULL;
}

static bool is_within(const char *pointer, const char *part)
{
    size_t length = strlen(part);
    return strncmp(pointer, part, length) == 0 && (pointer[length] == '\0' || pointer[length] == '/');
}

/* The narrowest part that the pointer is in counts. */
static bool find_origin(const struct csv_body *body, const char *pointer, size_t *row,
                        char column[static CSV_NAME_SIZE])
{
    const struct csv_origin *found = NULL;
    for (size_t i = 0; pointer != NULL && i < body->origin_count; i++)
        if (is_within(pointer, body->origins[i].pointer) &&
            (found == NULL || strlen(found->pointer) < strlen(body->origins[i].pointer)))
            found = &body->origins[i];
    if (found == NULL)
        return false;
    const char *rest = pointer + strlen(found->pointer);
    *row = found->row;
    snprintf(column, CSV_NAME_SIZE, "%s", found->column != NULL ? found->column : rest + (*rest == '/'));
    return true;
}

void csv_body_add_origin(struct csv_body *body, struct arena *arena, const struct csv_origin *origin)
{
    if (arena_grow(arena, &body->origins, body->origin_count, &body->origin_capacity, sizeof *body->origins))
        body->origins[body->origin_count++] = *origin;
}

/* The value that a pointer leads to; NULL: none. The names of members need no escapes. */
static const json_t *value_at(const json_t *json, const char *pointer)
{
    char token[CODE_SIZE];
    while (json != NULL && *pointer == '/') {
        size_t length = strcspn(++pointer, "/");
        if (length >= sizeof token)
            return NULL;
        memcpy(token, pointer, length);
        token[length] = '\0';
        json = json_is_array(json) ? json_array_get(json, strtoul(token, NULL, 10))
                                   : json_object_get(json, token);
        pointer += length;
    }
    return json;
}

/* Tells the fault of a cell that is no CSV in place of the one that its shape has found. */
static void restate(const json_t *json, struct fault *fault)
{
    const json_t *kept =
        fault->pointer != NULL ? json_object_get(value_at(json, fault->pointer), fault_member) : NULL;
    if (kept == NULL)
        return;
    enum csv_fault found = (enum csv_fault)json_integer_value(kept);
    fault->reason = reason_of(found);
    fault->detail = fault->format = csv_fault_detail(found);
}

void csv_body_place_faults(const struct csv_body *body, const json_t *json, struct faults *faults)
{
    for (size_t i = 0; i < faults->count; i++) {
        char column[CSV_NAME_SIZE], pointer[PLACE_MAX], words[PLACE_MAX];
        size_t row;
        if (!find_in_list(body, json, faults->items[i].pointer, &row, column) &&
            !find_origin(body, faults->items[i].pointer, &row, column))
            continue;
        restate(json, &faults->items[i]);
        describe(body->lines[row], column, pointer, words);
        faults_place(faults, i, pointer, words);
    }
    faults_order_by_line(faults);
}

/* ---- the header ---- */

static void add_name(void *names, const struct csv_column *column)
{
    buffer_printf(names, " %s", column->name);
}

static void refuse_column(struct reading *reading, const struct csv_cell *cell, size_t line,
                          const char *number)
{
    static const char plain[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_.- ";
    struct buffer names;
    bool can_be_shown =
        cell->length > 0 && cell->length < CODE_SIZE && strspn(cell->text, plain) == cell->length;
    if (cell->fault != CSV_FINE) {
        blame(reading, reason_of(cell->fault), line, number, csv_fault_detail(cell->fault));
        return;
    }
    buffer_init(&names, NAMES_MAX);
    buffer_add_text(&names, "there is no such column, but there are");
    csv_columns_list(reading->body->form->row, add_name, &names);
    blame(reading, REASON_MEMBER_UNKNOWN, line, can_be_shown ? cell->text : number,
          names.failed ? "there is no such column" : names.data);
    buffer_dispose(&names);
}

static bool is_repeated(const struct csv_body *body, size_t column)
{
    for (size_t before = 0; before < column; before++)
        if (strcmp(body->columns[before].name, body->columns[column].name) == 0)
            return true;
    return false;
}

static void read_column(struct reading *reading, const struct csv_record *header, size_t i)
{
    const struct csv_cell *cell = &header->cells[i];
    struct csv_column *column = &reading->body->columns[i];
    char number[CSV_NAME_SIZE];
    *column = (struct csv_column){.name = ""};
    snprintf(number, sizeof number, "%zu", i + 1);
    if (cell->fault != CSV_FINE || !csv_column_find(reading->body->form->row, cell, column)) {
        refuse_column(reading, cell, header->line, number);
        return;
    }
    if (is_repeated(reading->body, i))
        blame(reading, REASON_NOT_CSV, header->line, column->name, "is there twice");
}

static bool is_in_header(const struct csv_body *body, const struct field *field)
{
    for (size_t i = 0; i < body->column_count; i++)
        if (body->columns[i].field == field && body->columns[i].name[0] != '\0')
            return true;
    return false;
}

static void check_missing(struct reading *reading, size_t line)
{
    const struct shape *shape = reading->body->form->row;
    for (size_t i = 0; i < shape->field_count; i++)
        if (shape->fields[i].required && !is_in_header(reading->body, &shape->fields[i]))
            blame(reading, REASON_MEMBER_MISSING, line, shape->fields[i].name, "the column is required");
}

/* A header with faults gives the lines below no meaning, so these are left alone. */
static bool read_header(struct reading *reading)
{
    struct csv_record header;
    if (!csv_read(&reading->csv, &header)) {
        faults_add(reading->faults, REASON_NOT_CSV, "", "the first line must name the columns");
        return false;
    }
    if (header.count > CSV_CELLS_MAX) {
        blame(reading, REASON_TOO_MANY, header.line, "", "the number of columns must be 1 to 64");
        return false;
    }
    reading->body->column_count = header.count;
    for (size_t i = 0; i < header.count; i++)
        read_column(reading, &header, i);
    check_missing(reading, header.line);
    return reading->faults->count == 0;
}
_Static_assert(CSV_CELLS_MAX == 64, "the sentence says how many columns there may be");

/* ---- the other lines ---- */

/* NULL: the cell is no number. Takes numbers as JSON has them. */
static json_t *number_of(const struct csv_cell *cell)
{
    bool may_be = cell->length > 0 && strspn(cell->text, "-+.0123456789eE") == cell->length;
    return may_be ? json_loadb(cell->text, cell->length, JSON_DECODE_ANY, NULL) : NULL;
}

static json_t *value_of(enum form form, const struct csv_cell *cell)
{
    json_t *value = NULL;
    if (cell->fault != CSV_FINE)
        return json_pack("{s:i}", fault_member, (int)cell->fault);
    if (form == FORM_INTEGER || form == FORM_NUMBER)
        value = number_of(cell);
    else if (form == FORM_BOOLEAN && strcasecmp(cell->text, "true") == 0)
        value = json_true();
    else if (form == FORM_BOOLEAN && strcasecmp(cell->text, "false") == 0)
        value = json_false();
    return value != NULL ? value : json_stringn(cell->text, cell->length);
}

/* The member of the row, which is made if it is not there. */
static json_t *member_of(json_t *row, const char *name, json_t *(*make)(void))
{
    json_t *member = json_object_get(row, name);
    if (member == NULL && json_object_set_new(row, name, make()) == 0)
        member = json_object_get(row, name);
    return member;
}

static void set_member(json_t *row, const struct csv_column *column, const struct csv_cell *cell)
{
    const struct field *field = column->field;
    if (column->code != NULL) {
        const struct field *parts = field->shape->fields;
        json_t *element = json_object();
        json_object_set_new(element, parts[0].name, json_string(column->code));
        json_object_set_new(element, parts[1].name, value_of(parts[1].form, cell));
        json_array_append_new(member_of(row, field->name, json_array), element);
    } else if (column->part != NULL) {
        json_object_set_new(member_of(row, field->name, json_object), column->part->name,
                            value_of(column->part->form, cell));
    } else {
        json_object_set_new(row, field->name, value_of(field->form, cell));
    }
}

static bool is_empty(const struct csv_record *record)
{
    for (size_t i = 0; i < record->count && i < CSV_CELLS_MAX; i++)
        if (record->cells[i].length > 0 || record->cells[i].fault != CSV_FINE)
            return false;
    return record->count <= CSV_CELLS_MAX;
}

static void add_row(struct reading *reading, const struct csv_record *record)
{
    struct csv_body *body = reading->body;
    json_t *row = json_object();
    for (size_t i = 0; i < body->column_count; i++) {
        const struct csv_cell *cell = &record->cells[i];
        if (cell->fault != CSV_FINE || cell->length > 0)
            set_member(row, &body->columns[i], cell);
    }
    if (arena_grow(reading->faults->arena, &body->lines, body->line_count, &body->line_capacity,
                   sizeof *body->lines))
        body->lines[body->line_count++] = record->line;
    json_array_append_new(reading->rows, row);
}

static void read_row(struct reading *reading, const struct csv_record *record)
{
    char detail[PLACE_MAX];
    size_t columns = reading->body->column_count;
    if (is_empty(record))
        return;
    if (json_array_size(reading->rows) == CSV_ROWS_MAX) {
        faults_add(reading->faults, REASON_TOO_MANY, "",
                   "the number of lines must be at most %d after the first", CSV_ROWS_MAX);
        reading->over = true;
    } else if (record->count != columns) {
        snprintf(detail, sizeof detail, "has %zu cell%s, but the first line has %zu", record->count,
                 record->count == 1 ? "" : "s", columns);
        blame(reading, REASON_NOT_CSV, record->line, "", detail);
    } else {
        add_row(reading, record);
    }
}

/* False: the text is not read to its end. */
static bool read_all(struct reading *reading)
{
    struct csv_record record;
    if (!read_header(reading))
        return false;
    while (!reading->over && csv_read(&reading->csv, &record))
        read_row(reading, &record);
    return !reading->over;
}

/* Reads from a copy of the text, because cells are made in place. */
static bool read_text(struct reading *reading, const char *text, size_t length)
{
    struct buffer copy;
    char nothing[1] = "";
    bool whole = false;
    buffer_init(&copy, length);
    buffer_add(&copy, length > 0 ? text : nothing, length);
    if (!copy.failed) {
        csv_begin(&reading->csv, copy.data != NULL ? copy.data : nothing, copy.length);
        whole = read_all(reading);
    }
    buffer_dispose(&copy);
    return whole;
}

json_t *csv_body_read(const struct csv_form *form, const char *text, size_t length, struct csv_body *body,
                      struct faults *faults)
{
    struct reading reading = {.body = body, .rows = json_array(), .faults = faults};
    *body = (struct csv_body){.form = form};
    bool whole = read_text(&reading, text, length);
    json_t *json = json_pack("{s:o}", form->list, reading.rows);
    if (json == NULL || memory_has_failed())
        faults_replace(faults, REASON_OVERLOADED);
    else if (whole)
        return json;
    json_decref(json);
    return NULL;
}

bool csv_body_check(const struct csv_form *form, const json_t *json, struct faults *faults)
{
    size_t i;
    json_t *row;
    char pointer[PLACE_MAX];
    void *into = arena_alloc(faults->arena, form->row->size);
    if (into == NULL)
        faults_refuse(faults, REASON_OVERLOADED);
    json_array_foreach(json_object_get(json, form->list), i, row)
    {
        snprintf(pointer, sizeof pointer, "/%s/%zu", form->list, i);
        if (into != NULL)
            (void)!shape_decode(form->row, row, pointer, NULL, into, faults);
    }
    return faults->count == 0;
}
