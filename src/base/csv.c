/* SPDX-License-Identifier: ISC */
/* A cell without its quotes is never longer than it was with them, and the separator after it leaves room for
 * a NUL. So cells are made in place. */
#include "base/csv.h"

#include "base/utf8.h"

#include <string.h>

static const char *const details[CSV_FAULT_COUNT] = {
    [CSV_FINE] = "is fine",
    [CSV_NUL] = "has a NUL",
    [CSV_NOT_UTF8] = "is not UTF-8",
    [CSV_QUOTE_WITHIN] = "has a quote, so it must begin and end with a quote, and double the one within",
    [CSV_AFTER_QUOTE] = "goes on after its closing quote; double each quote within a cell",
    [CSV_QUOTE_OPEN] = "begins with a quote and never ends with one",
    [CSV_BARE_RETURN] = "has a carriage return without a line feed",
    [CSV_CELL_TOO_LONG] = "is longer than 1000 bytes",
};
_Static_assert(CSV_CELL_MAX == 1000, "the sentence says how long a cell may be");

const char *csv_fault_detail(enum csv_fault fault)
{
    return details[fault];
}

void csv_begin(struct csv *csv, char *text, size_t length)
{
    static const char mark[] = "\xef\xbb\xbf";
    size_t skipped = length >= 3 && memcmp(text, mark, 3) == 0 ? 3 : 0;
    *csv = (struct csv){.at = text + skipped, .end = text + length, .line = 1, .separator = ','};
    const char *newline = memchr(csv->at, '\n', length - skipped);
    size_t first = (size_t)((newline != NULL ? newline : csv->end) - csv->at);
    if (memchr(csv->at, ',', first) == NULL && memchr(csv->at, ';', first) != NULL)
        csv->separator = ';';
}

static void blame(struct csv_cell *cell, enum csv_fault fault)
{
    if (cell->fault == CSV_FINE)
        cell->fault = fault;
}

static bool at_newline(const struct csv *csv)
{
    return csv->at < csv->end &&
           (*csv->at == '\n' || (*csv->at == '\r' && csv->at + 1 < csv->end && csv->at[1] == '\n'));
}

static bool at_end_of_cell(const struct csv *csv)
{
    return csv->at == csv->end || *csv->at == csv->separator || at_newline(csv);
}

/* Reads the text between quotes, and goes on behind the closing one. Returns the end of the text. */
static char *read_quoted(struct csv *csv, struct csv_cell *cell, char *into)
{
    for (csv->at++; csv->at < csv->end; csv->at++) {
        bool doubled = *csv->at == '"' && csv->at + 1 < csv->end && csv->at[1] == '"';
        if (*csv->at == '"' && !doubled) {
            csv->at++;
            return into;
        }
        csv->line += *csv->at == '\n';
        csv->at += doubled;
        *into++ = *csv->at;
    }
    blame(cell, CSV_QUOTE_OPEN);
    return into;
}

/* Reads what stands outside quotes, up to the end of the cell. */
static char *read_bare(struct csv *csv, struct csv_cell *cell, char *into, bool after_quote)
{
    for (; !at_end_of_cell(csv); csv->at++) {
        if (after_quote)
            blame(cell, CSV_AFTER_QUOTE);
        else if (*csv->at == '"')
            blame(cell, CSV_QUOTE_WITHIN);
        else if (*csv->at == '\r')
            blame(cell, CSV_BARE_RETURN);
        *into++ = *csv->at;
    }
    return into;
}

static void check_text(struct csv_cell *cell)
{
    if (cell->length > CSV_CELL_MAX)
        blame(cell, CSV_CELL_TOO_LONG);
    if (memchr(cell->text, '\0', cell->length) != NULL)
        blame(cell, CSV_NUL);
    else if (!utf8_valid(cell->text))
        blame(cell, CSV_NOT_UTF8);
}

/* The end of the cell becomes its NUL, so the caller looks at that character before. */
static char *read_cell(struct csv *csv, struct csv_cell *cell)
{
    char *start = csv->at, *into = start;
    bool quoted = csv->at < csv->end && *csv->at == '"';
    *cell = (struct csv_cell){.text = start};
    if (quoted)
        into = read_quoted(csv, cell, into);
    into = read_bare(csv, cell, into, quoted);
    cell->length = (size_t)(into - start);
    return into;
}

bool csv_read(struct csv *csv, struct csv_record *record)
{
    bool goes_on = true;
    if (csv->at == csv->end)
        return false;
    record->line = csv->line;
    record->count = 0;
    while (goes_on) {
        struct csv_cell cell;
        char *end_of_text = read_cell(csv, &cell);
        goes_on = csv->at < csv->end && *csv->at == csv->separator;
        if (csv->at < csv->end && !goes_on) {
            csv->at += *csv->at == '\r';
            csv->line++;
        }
        csv->at += csv->at < csv->end;
        *end_of_text = '\0';
        check_text(&cell);
        if (record->count < CSV_CELLS_MAX)
            record->cells[record->count] = cell;
        record->count++;
    }
    return true;
}
