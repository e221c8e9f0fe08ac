/* SPDX-License-Identifier: ISC */
/* Reads CSV (RFC 4180) in UTF-8, record by record. Lines end with CRLF or LF, also within quotes; the last
 * one need not end. A byte order mark is skipped. Where the first line has semicolons and no comma, as
 * spreadsheets write it in many countries, the semicolon separates cells.
 *
 * Nothing is guessed. A cell that breaks the rules of RFC 4180 is marked with its fault, and reading goes on,
 * so that all faults of a file are found. Spaces belong to the cell (section 2, item 4). Owned by one thread
 * at a time.
 */
#ifndef DEPOSITD_BASE_CSV_H
#define DEPOSITD_BASE_CSV_H

#include "depositd/attributes.h"

#include <stdbool.h>
#include <stddef.h>

enum { CSV_CELLS_MAX = 64, CSV_CELL_MAX = 1000 /* bytes */ };

enum csv_fault {
    CSV_FINE,
    CSV_NUL,
    CSV_NOT_UTF8,
    CSV_QUOTE_WITHIN,  /* a quote in a cell that does not begin with one */
    CSV_AFTER_QUOTE,   /* text between the closing quote and the separator */
    CSV_QUOTE_OPEN,    /* the file ends within quotes */
    CSV_BARE_RETURN,   /* a CR outside quotes that no LF follows */
    CSV_CELL_TOO_LONG, /* more than CSV_CELL_MAX bytes */
    CSV_FAULT_COUNT
};

struct csv_cell {
    const char *text; /* without its quotes; ends with NUL */
    size_t length;
    enum csv_fault fault; /* the first one */
};

struct csv_record {
    size_t line;  /* of the file, from 1: where the record begins */
    size_t count; /* of its cells, also of those beyond CSV_CELLS_MAX, which are not kept */
    struct csv_cell cells[CSV_CELLS_MAX];
};

struct csv {
    char *at, *end;
    size_t line;
    char separator;
};

/* Cells are made in `text` itself, which has a byte of room after its end. */
void csv_begin(struct csv *csv, char *text, size_t length);
/* False: there is no further record. The cells are good until the text goes. */
MUST_CHECK bool csv_read(struct csv *csv, struct csv_record *record);

/* The fault as the end of a sentence about the cell. */
const char *csv_fault_detail(enum csv_fault fault);

#endif
