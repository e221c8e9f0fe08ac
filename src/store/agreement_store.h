/* SPDX-License-Identifier: ISC */
/* Agreements between two schemes in the database, as reference_facts_store.h and reference_put_store.h do for
 * other reference data. */
#ifndef DEPOSITD_STORE_AGREEMENT_STORE_H
#define DEPOSITD_STORE_AGREEMENT_STORE_H

#include "store/reference_put_store.h"

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
    bool is_faulty;
};

struct agreement_party {
    const char *currency; /* NULL: there is no such scheme */
    int decimals;
};

struct agreement_facts {
    struct agreement_party home, host;
    bool posted_or_closed;      /* in either */
    bool starts_in_time;        /* the host's day begins more than 5 minutes from now */
    const char *other_currency; /* of the pair's agreements of other days, also of items before; NULL: none */
};
/* Facts of each struct agreement_row, in their order. Texts are in memory of the arena. */
MUST_CHECK enum store_result store_agreement_facts(struct pg *pg, struct arena *arena,
                                                   struct reference_items agreements,
                                                   struct agreement_facts *facts);

/* An agreement as it is stored. */
struct signed_agreement {
    struct agreement_row row;
    bool in_host_currency;
    struct exchange_rate rate;
    int32_t home_signed_by, host_signed_by; /* keys; 0: nobody yet */
};
/* Puts each struct signed_agreement. An agreement that differs only in its signers stays as it is. */
MUST_CHECK reference_put_items store_put_agreements;

#endif
