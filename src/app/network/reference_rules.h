/* SPDX-License-Identifier: ISC */
/* The change of reference data under way, the rows that are put together, and ways to say that a rule is
 * broken. Private to this wing. */
#ifndef DEPOSITD_APP_NETWORK_REFERENCE_RULES_H
#define DEPOSITD_APP_NETWORK_REFERENCE_RULES_H

#include "app/network/reference_seen.h"
#include "app/transaction/fault.h"
#include "store/reference_facts_store.h"
#include "store/reference_put_store.h"

struct reference;

enum { PLACE_MAX = 96, DECIMALS_UNKNOWN = -1 };

/* The codes of a list of the document, in their order. */
struct sorted_codes {
    const char *const *codes;
    size_t count;
};

struct change {
    struct pg *pg;
    struct arena *scratch; /* for what the rows under way need; forgotten after them */
    struct faults *faults;
    const struct reference *document; /* NULL: a single thing is put */
    int64_t version;
    int32_t proposed_by; /* the key that asks for it, or asked for what is approved now */
    int32_t approved_by; /* 0: nobody has yet */
    bool made_difference;
    bool holds_heads; /* of all schemes, not only of those without entries */
    struct sorted_codes named[REFERENCE_KINDS];
    struct seen *before; /* names in documents before this one; NULL: there are none */
    struct seen faulty;  /* codes of theirs that are not put, because of a fault */
    /* Of the row that is checked: */
    char place[PLACE_MAX]; /* its pointer */
    bool row_is_faulty;
};

/* A row of a list, and where it stands. */
struct listed {
    const void *row;
    const char *scheme;    /* whose dated value it is; NULL: the kind is no scheme's */
    bool in_scheme;        /* it stands in a scheme of the document: … */
    bool scheme_is_faulty; /* … which is not put, because it has a fault */
    int decimals;          /* … of its currency; DECIMALS_UNKNOWN: that is unknown */
    size_t outer, index;   /* … which is number `outer`; its number in its list */
    bool is_faulty;        /* its shape has faults, so members may be lacking */
    bool left_out;         /* has a fault or stands in the list before, so it is not put */
};

/* Rows of one kind that are checked and put together. */
struct listing {
    enum reference_kind kind;
    struct listed *rows;
    size_t count; /* not 0 */
};

/* The rules of a kind: checks rows, and puts those that have no fault. */
typedef enum store_result put_listing(struct change *change, const struct listing *listing);

/* The rows as the store takes them, in memory of the scratch arena. */
MUST_CHECK bool list_items(struct change *change, const struct listing *listing,
                           struct reference_items *items);
/* Facts of each row, `size` bytes each. NULL: no memory. */
MUST_CHECK void *facts_for(struct change *change, const struct listing *listing, size_t size);

/* Begins the checks of a row: faults that follow are its own. */
void check_row(struct change *change, const struct listing *listing, size_t i);
/* Ends them. The row is left out if there were any. */
void end_row(struct change *change, const struct listing *listing, size_t i, size_t faults_before);

/* The rows that a statement has put, and which of them differ from what was there: indices into the
 * listing. */
struct outcome {
    size_t *differing;
    size_t count;
};
/* Puts the rows that are not left out. `numbers`, if not NULL, has those of each office_accounts_row. */
MUST_CHECK enum store_result put_rows(struct change *change, const struct listing *listing,
                                      const int64_t *const *numbers, reference_put_items *put,
                                      struct outcome *outcome);

/* Some rule depends on what is not posted, though its scheme trades: from here on nobody posts. */
MUST_CHECK enum store_result hold_heads(struct change *change);

/* Whether a document has a row for the code. Such a row may have a fault, and not be put. */
bool is_named(const struct change *change, enum reference_kind kind, const char *code);

/* Adds a fault of the current row; `member` is "" or "/name…". If the shape of the row has a fault at the
 * same member, that says enough. */
void blame(struct change *change, enum reason reason, const char *member, const char *detail);
/* Adds a fault of the name of the row: a member in a document, or a part of the path when a single thing is
 * put. */
void blame_name(struct change *change, enum reason reason, const char *member, const char *detail);
/* Adds a fault of an element of a list in the current row. */
void blame_element(struct change *change, enum reason reason, const char *list, size_t index,
                   const char *member, const char *detail);
void blame_too_soon(struct change *change);
void check_amount(struct change *change, const char *member, struct decimal amount, int decimals);

#endif
