/* SPDX-License-Identifier: ISC */
/* The facts that changes of reference data depend on: one statement for all rows of a kind. */
#ifndef DEPOSITD_STORE_REFERENCE_FACTS_STORE_H
#define DEPOSITD_STORE_REFERENCE_FACTS_STORE_H

#include "store/reference_store.h"

struct scheme_facts {
    bool posted_or_closed;
    bool currency_changes, time_zone_changes, cut_off_changes, stock_terms_changes;
    bool time_zone_known;
    bool ends_too_soon;       /* its last day changes to an earlier one, which does not end in time */
    int decimals_in_use;      /* of its terms and refund values; -1: there are none */
    bool shares_bank_account; /* its operator's would be that of another scheme, and was not before */
};
/* This and the others give facts of each item, in their order: `facts` has room for them. */
MUST_CHECK enum store_result store_scheme_facts(struct pg *pg, struct arena *arena,
                                                struct reference_items schemes, struct scheme_facts *facts);

/* The facts that decide whether a value may hold from a business day on. */
struct dating_facts {
    bool scheme_known, cup_type_known;
    int decimals; /* of a known scheme */
    bool posted;
    bool posted_or_closed;
    bool starts_in_time;    /* the day starts more than 5 minutes from now */
    bool first_of_open_day; /* no value of the cup type holds by then, and the day still takes entries */
    bool too_long_ago;      /* for a scheme to begin */
    bool before_the_days_made;
};
/* A value: its cup type is "" for what has none. */
struct dated_value {
    const char *scheme;
    const char *cup_type;
    struct date effective_date;
};
MUST_CHECK enum store_result store_dating_facts(struct pg *pg, const struct dated_value *values, size_t count,
                                                struct dating_facts *facts);

struct site_facts {
    bool scheme_known, participant_known;
    bool scheme_changes, participant_changes, kind_changes;
    bool posted;     /* read only if scheme or participant changes */
    bool kind_fixed; /* the kind changes, and something depends on it */
};
MUST_CHECK enum store_result store_site_facts(struct pg *pg, struct arena *arena,
                                              struct reference_items sites, struct site_facts *facts);

/* The numbers of the accounts of all lists, one after the other, in memory of the arena; 0: the scheme has no
 * such account. */
MUST_CHECK enum store_result store_office_account_numbers(struct pg *pg, struct arena *arena,
                                                          struct reference_items lists, int64_t **numbers);

struct registration_facts {
    bool changes;
    bool fixed; /* it changes, and something depends on the one that there is */
};
MUST_CHECK enum store_result store_registration_facts(struct pg *pg, struct arena *arena,
                                                      struct reference_items participants,
                                                      struct registration_facts *facts);

/* The facts that a value of a participant, or of a site, from a date on depends on. */
struct starting_facts {
    bool known;
    bool has_begun; /* or begins within 5 minutes, in a scheme concerned that has entries or closed days */
};
struct starting_value {
    char participant[CODE_SIZE], site[CODE_SIZE]; /* one of them is "" */
    struct date effective_date;
};
MUST_CHECK enum store_result store_starting_facts(struct pg *pg, const struct starting_value *values,
                                                  size_t count, struct starting_facts *facts);

/* A participant and a cup type that a row names; "": none. */
struct named_codes {
    char participant[CODE_SIZE], cup_type[CODE_SIZE];
};
/* Indices of those that are not known, in memory of the arena. */
struct unknown_codes {
    int64_t *participants, *cup_types;
    size_t participant_count, cup_type_count;
};
MUST_CHECK enum store_result store_unknown_codes(struct pg *pg, struct arena *arena,
                                                 const struct named_codes *named, size_t count,
                                                 struct unknown_codes *unknown);

#endif
