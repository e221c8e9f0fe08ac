/* SPDX-License-Identifier: ISC */
/* The rows of a statement of account while its page is laid out, and the sentences about them. Owned by the
 * render; any thread. */
#ifndef DEPOSITD_REPORT_STATEMENT_WORDS_H
#define DEPOSITD_REPORT_STATEMENT_WORDS_H

#include "report/render.h"

struct statement_row {
    const char *cells[REPORT_COLUMNS_MAX]; /* texts that follow in the same block of memory; NULL: nothing */
};

/* The own data of the render of a statement. */
struct statement {
    struct statement_row **rows; /* of one participant */
    size_t count, room;
    size_t shown; /* rows that the page has so far */
    bool cut;     /* further participants are left out */
};

/* "" for nothing. */
const char *statement_cell(const struct render *render, const struct statement_row *row, const char *name);
bool statement_is_in(const struct render *render, const struct statement_row *row, const char *section);
/* The first row of a section; NULL: there is none. */
const struct statement_row *statement_row_of(const struct render *render, const char *section);
/* The sentences about the rows of the section "due". */
void statement_words(struct render *render);

#endif
