/* SPDX-License-Identifier: ISC */
/* The rows that the ledgers of one transaction have appended and not yet written. They are written together,
 * with one statement for each table, however many schemes they are of. Lives in the arena of the transaction;
 * one thread. */
#ifndef DEPOSITD_APP_POSTING_UNWRITTEN_H
#define DEPOSITD_APP_POSTING_UNWRITTEN_H

#include "app/posting/ledger_state.h"
#include "base/buffer.h"

/* One scheme's part of it, which its ledger owns. */
struct unwritten_part {
    struct ledger_state *state;
    struct movement_sums sums; /* of the scheme's unwritten entries */
    int64_t after_entry;       /* the last entry before these */
    bool listed;               /* whether there are any */
};

struct unwritten {
    /* Set by the owner, before unwritten_init. */
    struct pg *pg;
    struct arena *arena; /* the transaction's */
    struct instant now;
    enum store_result (*before_write)(void *owner); /* called before each write; NULL: nothing to call */
    void *owner;
    bool at_once; /* movements go straight into the balances, because the same transaction reads these */
    bool shared;  /* another instance appends to these ledgers as well */

    /* Rows that wait to be written. */
    struct unwritten_part **parts; /* of the schemes that have any */
    struct entry_row *entries;
    struct leg *legs;
    struct exception_row *exceptions;
    struct reference_row *references;
    struct fulfilment_row *fulfilments;
    struct transfer_row *transfers;
    struct forfeited_row *forfeited;
    struct reversed_row *reversed;
    struct agreed_row *agreed;
    struct followed_row *followed;
    size_t part_count, entry_count, leg_count, exception_count, reference_count, fulfilment_count,
        transfer_count, forfeited_count, reversed_count, agreed_count, followed_count;
    size_t part_capacity, entry_capacity, leg_capacity, exception_capacity, reference_capacity,
        fulfilment_capacity, transfer_capacity, forfeited_capacity, reversed_capacity, agreed_capacity,
        followed_capacity;
    struct buffer leaf; /* of the entry that is being appended */
};

/* The owner has set the first part; the rest is zero. */
void unwritten_init(struct unwritten *unwritten);
void unwritten_dispose(struct unwritten *unwritten);

/* Called before rows of a scheme are added: its part is to be written as well. False: out of memory. */
MUST_CHECK bool unwritten_list(struct unwritten *unwritten, struct unwritten_part *part);

/* Writes all rows. Folds the recent movements of schemes that have many into the balances. */
MUST_CHECK enum store_result unwritten_flush(struct unwritten *unwritten);

#endif
