/* SPDX-License-Identifier: ISC */
/* Reading legs, for the files of src/store. */
#ifndef DEPOSITD_STORE_LEG_ROWS_H
#define DEPOSITD_STORE_LEG_ROWS_H

#include "depositd/account.h"
#include "store/pg_row.h"

struct stored_legs {
    struct leg *legs;
    size_t count;
};

/* The next two columns: accounts, and as many amounts. In memory of the arena. */
struct stored_legs row_legs(struct pg_row *row);
/* The same, from two texts that row_text gave. */
struct stored_legs row_legs_of_texts(struct pg_row *row, const char *accounts, const char *amounts);

/* A row that is one leg, into a struct leg. */
void take_leg(struct pg_row *row, void *into);
/* A row that is two lists, into a struct stored_legs. */
void take_legs(struct pg_row *row, void *into);

#endif
