/* SPDX-License-Identifier: ISC */
/* The chart of accounts. An account is named by one number that says all of it:
 *
 *     kind << 48 | owner << 16 | cup type        (owner: the id of a site, a participant or another scheme,
 *                                                 two schemes as account_pair packs them, or 0)
 *
 * so that no account has to be created, looked up or locked before the first leg is written to it. The unit
 * follows from the kind: the scheme's currency, or cups of the cup type. Kinds and ids are stored: they never
 * change their meaning. sql/migrations holds the same numbers; a test compares the two. Pure; any thread. */
#ifndef DEPOSITD_ACCOUNT_H
#define DEPOSITD_ACCOUNT_H

#include "depositd/attributes.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum account_scope {
    SCOPE_SCHEME,
    SCOPE_CUP_TYPE,
    SCOPE_SITE,
    SCOPE_SITE_CUP_TYPE,
    SCOPE_PARTICIPANT,
    SCOPE_PAIR,          /* a home and a host; one of them is the ledger's own scheme */
    SCOPE_OTHER,         /* another scheme … */
    SCOPE_OTHER_CUP_TYPE /* … and a cup type */
};

/* Where the cups are that an account counts. The deposit for the cups follows from it, and whether cups may
 * be missing. */
enum account_holds {
    HOLDS_MONEY,   /* no cups */
    HOLDS_STOCK,   /* at a site */
    HOLDS_TRANSIT, /* on the road between two sites */
    HOLDS_OUT,     /* with customers */
    HOLDS_GONE     /* outside of the pool: nothing is owed for them */
};

/* Whether two people may move the account's money by a journal. */
enum account_journals { JOURNALS_SHUT, JOURNALS_OPEN };

/* Every row has every member. X(name, word, stored number, scope, class, holds, journals). Numbers from
 * ACCOUNT_FIRST_CUPS on count cups. */
#define ACCOUNT_TABLE(X)                                                                                     \
    X(CUSTOMER_DEPOSITS, customer_deposits, 1, SCOPE_CUP_TYPE, liability, MONEY, SHUT)                       \
    X(STOCK_DEPOSITS, stock_deposits, 2, SCOPE_SITE_CUP_TYPE, liability, MONEY, SHUT)                        \
    X(TRANSIT_DEPOSITS, transit_deposits, 3, SCOPE_CUP_TYPE, liability, MONEY, SHUT)                         \
    X(SITE_CLEARING, site_clearing, 4, SCOPE_SITE, asset, MONEY, OPEN)                                       \
    X(SETTLEMENT_DUE, settlement_due, 5, SCOPE_PARTICIPANT, asset, MONEY, SHUT)                              \
    X(ARREARS, arrears, 6, SCOPE_PARTICIPANT, asset, MONEY, OPEN)                                            \
    X(BANK, bank, 7, SCOPE_SCHEME, asset, MONEY, OPEN)                                                       \
    X(BANK_SUSPENSE, bank_suspense, 8, SCOPE_SCHEME, asset, MONEY, OPEN)                                     \
    X(SERVICE_FEES, service_fees, 9, SCOPE_SCHEME, income, MONEY, OPEN)                                      \
    X(FORFEITS, forfeits, 10, SCOPE_SCHEME, income, MONEY, OPEN)                                             \
    X(LOSS_CHARGES, loss_charges, 11, SCOPE_SCHEME, income, MONEY, OPEN)                                     \
    X(HANDLING_FEES, handling_fees, 12, SCOPE_SCHEME, expense, MONEY, OPEN)                                  \
    X(REFUND_VARIANCE, refund_variance, 13, SCOPE_SCHEME, variance, MONEY, OPEN)                             \
    X(TAX, tax, 14, SCOPE_SCHEME, liability, MONEY, OPEN)                                                    \
    X(OPERATOR_ACCOUNT, operator_account, 15, SCOPE_SCHEME, equity, MONEY, OPEN)                             \
    X(BANK_CHARGES, bank_charges, 16, SCOPE_SCHEME, expense, MONEY, OPEN)                                    \
    X(INTEREST, interest, 17, SCOPE_SCHEME, income, MONEY, OPEN)                                             \
    X(BETWEEN_SCHEMES, between_schemes, 18, SCOPE_PAIR, asset, MONEY, SHUT)                                  \
    X(SETTLEMENT_DUE_SCHEME, settlement_due_scheme, 19, SCOPE_OTHER, asset, MONEY, SHUT)                     \
    X(SUPPLY, supply, 32, SCOPE_CUP_TYPE, source, GONE, SHUT)                                                \
    X(SITE_STOCK, site_stock, 33, SCOPE_SITE_CUP_TYPE, cups, STOCK, SHUT)                                    \
    X(DAMAGED, damaged, 34, SCOPE_SITE_CUP_TYPE, cups, STOCK, SHUT)                                          \
    X(IN_TRANSIT, in_transit, 35, SCOPE_CUP_TYPE, cups, TRANSIT, SHUT)                                       \
    X(WITH_CUSTOMERS, with_customers, 36, SCOPE_CUP_TYPE, cups, OUT, SHUT)                                   \
    X(RETIRED, retired, 37, SCOPE_CUP_TYPE, cups, GONE, SHUT)                                                \
    X(UNACCOUNTED, unaccounted, 38, SCOPE_CUP_TYPE, cups, GONE, SHUT)                                        \
    X(VISITING, visiting, 39, SCOPE_OTHER_CUP_TYPE, source, GONE, SHUT)                                      \
    X(ABROAD, abroad, 40, SCOPE_OTHER_CUP_TYPE, cups, GONE, SHUT)

#define ACCOUNT_FIRST_CUPS ACCOUNT_SUPPLY

enum account_kind {
    ACCOUNT_NONE = 0,
#define X(name, word, number, ...) ACCOUNT_##name = number,
    ACCOUNT_TABLE(X)
#undef X
};

struct account {
    int64_t code;
};

/* Amounts are minor units of the scheme's currency, or cups. Debits are positive. */
struct leg {
    struct account account;
    int64_t amount;
};

/* Parts that the kind's scope does not have are ignored. */
struct account account_of(enum account_kind kind, int32_t owner, int32_t cup_type);

/* The owner of an account of a pair. The ids of schemes that have agreements are below ACCOUNT_SCHEMES_MAX.
 */
enum { ACCOUNT_SCHEMES_MAX = 1 << 15 };
int32_t account_pair(int32_t home, int32_t host);
int32_t account_home(struct account account);
int32_t account_host(struct account account);

enum account_kind account_kind_of(struct account account);
int32_t account_owner(struct account account);
int32_t account_cup_type(struct account account);
bool account_counts_cups(struct account account);
/* 0 for money, else the cup type's id. */
int32_t account_unit(struct account account);

/* "site_clearing"; NULL for a number that is no kind. */
const char *account_kind_word(enum account_kind kind);
/* The kind that has this word; ACCOUNT_NONE: there is none. */
enum account_kind account_kind_parse(const char *word, size_t length);
enum account_scope account_kind_scope(enum account_kind kind);
enum account_holds account_kind_holds(enum account_kind kind);
bool account_kind_takes_journals(enum account_kind kind);

#endif
