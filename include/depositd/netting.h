/* SPDX-License-Identifier: ISC */
/* Netting: from positions that sum to zero to the fewest payments that clear them.
 *
 * k non-zero positions need k - z payments, z being the most disjoint groups of them that each sum to zero
 * (T. Verhoeff, "Settling Multiple Debts Efficiently", Informatics in Education 3(1), 2004). Finding z is
 * NP-hard; it is found exactly while at most NETTING_EXACT_MAX positions remain after equal and opposite
 * ones are paired off, and approached from below beyond. Pure, deterministic: the same positions
 * in the same order give the same payments. Allocates scratch memory; any thread. */
#ifndef DEPOSITD_NETTING_H
#define DEPOSITD_NETTING_H

#include "depositd/attributes.h"
#include "depositd/money.h"

enum { NETTING_EXACT_MAX = 20 };

/* Indices are those of the positions given; amount > 0. */
struct netting_payment {
    uint32_t from;
    uint32_t to;
    struct money amount;
};

enum netting_result {
    NETTING_OK = 0,
    NETTING_NOT_BALANCED = -1, /* the positions do not sum to zero, or the sum of the debts is no int64 */
    NETTING_NO_MEMORY = -2
};

/* positions[i] > 0 owes, < 0 is owed, 0 takes no part. `payments` has room for count - 1 (the most there can
 * be); *payment_count is set. Nobody both pays and receives. Ordered by from, then to. */
MUST_CHECK enum netting_result netting_solve(const struct money *positions, size_t count,
                                             struct netting_payment *payments, size_t *payment_count);

#endif
