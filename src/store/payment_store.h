/* SPDX-License-Identifier: ISC */
/* Payments after the close. All functions but the first run within a transaction that holds the scheme's head
 * row. Results are put into the given arena. */
#ifndef DEPOSITD_STORE_PAYMENT_STORE_H
#define DEPOSITD_STORE_PAYMENT_STORE_H

#include "depositd/payment.h"
#include "store/ledger_store.h"

/* *scheme 0: there is no such payment. */
MUST_CHECK enum store_result store_payment_scheme(struct pg *pg, const char *payment_id, int32_t *scheme);

MUST_CHECK enum store_result store_payment(struct pg *pg, struct arena *arena, int32_t scheme,
                                           const char *payment_id, struct payment *payment, bool *found);

/* The legs of the entry that confirmed the payment. STORE_FAILED: no entry did. */
MUST_CHECK enum store_result store_payment_confirmation(struct pg *pg, struct arena *arena, int32_t scheme,
                                                        const char *payment_id, struct leg **legs,
                                                        size_t *count);

/* The payments of a day whose status is still `computed`. */
struct computed_payments {
    bool closed; /* whether the day is closed */
    const char **ids;
    size_t count;
};
MUST_CHECK enum store_result store_payments_computed(struct pg *pg, struct arena *arena, int32_t scheme,
                                                     struct date day, struct computed_payments *payments);

struct payment_change_row {
    int32_t scheme;
    const char *payment_id;
    enum payment_status status; /* the new status */
    enum payment_change change;
    struct instant changed_at;
    int32_t key;         /* 0: the service */
    const char *note;    /* NULL: none */
    int64_t entry;       /* 0: none */
    struct money booked; /* of a confirmation by hand: as the bank booked it; 0: not said */
};
MUST_CHECK enum store_result store_payment_change(struct pg *pg, const struct payment_change_row *row);

#endif
