/* SPDX-License-Identifier: ISC */
/* Agreements between two schemes in the database, as reference_store.h does for other reference data. */
#ifndef DEPOSITD_STORE_AGREEMENT_STORE_H
#define DEPOSITD_STORE_AGREEMENT_STORE_H

#include "store/reference_store.h"

struct agreement_value_row {
    char cup_type[CODE_SIZE];
    struct decimal amount;
};

struct agreement_row {
    char home[CODE_SIZE], host[CODE_SIZE];
    struct date effective_date;
    const char *currency, *rate;
    struct reference_list values; /* of struct agreement_value_row */
    char signs_for[CODE_SIZE];    /* the scheme for which its proposer signs; "": not said */
};

struct agreement_party {
    const char *currency; /* NULL: there is no such scheme */
    int decimals;
};

struct agreement_facts {
    struct agreement_party home, host;
    bool posted_or_closed;      /* in either */
    bool starts_in_time;        /* the host's day begins more than 5 minutes from now */
    const char *other_currency; /* of the pair's agreements of other days; NULL: there are none */
    int64_t *unknown_cup_types; /* indices into values, in memory of the arena */
    size_t unknown_cup_type_count;
};
MUST_CHECK enum store_result store_agreement_facts(struct pg *pg, struct arena *arena,
                                                   const struct agreement_row *row,
                                                   struct agreement_facts *facts);

/* The row as it is stored. */
struct agreement_signed {
    bool in_host_currency;
    struct exchange_rate rate;
    int32_t home_signed_by, host_signed_by; /* keys; 0: nobody yet */
};
/* Sets `changed` if that made a difference, and never clears it. Signers alone make none. */
MUST_CHECK enum store_result store_put_agreement(struct pg *pg, const struct agreement_row *row,
                                                 const struct agreement_signed *as_signed, bool *changed);

#endif
