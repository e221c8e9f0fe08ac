/* SPDX-License-Identifier: ISC */
/* A purchase as JSON and as CSV. */
#ifndef DEPOSITD_HTTP_RESOURCES_PURCHASE_ANSWER_H
#define DEPOSITD_HTTP_RESOURCES_PURCHASE_ANSWER_H

#include "app/cups/purchases.h"
#include "base/buffer.h"

enum { ASSUMPTIONS_MAX = 12 };

/* Where a parameter comes from. */
#define ASSUMPTION_SOURCE_TABLE(X)                                                                           \
    X(STATED, "stated")                                                                                      \
    X(UNSTATED, "default")                                                                                   \
    X(MEASURED, "measured") /* of each cup type, from the scheme's own past: it has no value here */         \
    X(NONE, "none")         /* figures that would need it are left out */

enum assumption_source {
#define X(name, word) ASSUMPTION_##name,
    ASSUMPTION_SOURCE_TABLE(X)
#undef X
        ASSUMPTION_SOURCES
};

struct assumption {
    const char *name;  /* of the parameter */
    const char *value; /* as text; NULL: none */
    enum assumption_source source;
};

/* A price that is not stated is 0 minor units, and so is its figure left out. */
struct purchase_prices {
    bool has_cup, has_disposable, has_disposable_mass;
    struct money cup, per_use, disposable;
    struct decimal disposable_g;
};

struct purchase_asked {
    const struct purchase_question *question;
    struct purchase_prices prices;
    struct assumption assumptions[ASSUMPTIONS_MAX];
    size_t assumption_count;
};

void purchases_json(struct buffer *text, const struct purchase_asked *asked,
                    const struct purchases *purchases);
/* A line for each cup type. */
void purchases_csv(struct buffer *text, const struct purchase_asked *asked,
                   const struct purchases *purchases);

#endif
