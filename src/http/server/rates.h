/* SPDX-License-Identifier: ISC */
/* Limits the requests of each key: to a number per second in the long run, and a burst on top. Any thread. */
#ifndef DEPOSITD_HTTP_SERVER_RATES_H
#define DEPOSITD_HTTP_SERVER_RATES_H

#include "depositd/attributes.h"

#include <stdbool.h>
#include <stdint.h>

struct rates;

/* per_second 0: no limit. NULL: out of memory. */
MUST_CHECK struct rates *rates_new(int per_second, int burst);
void rates_free(struct rates *rates);

/* Whether the key may make a request now; if so, counts it. A key's number is that of its identity. */
MUST_CHECK bool rates_allow(struct rates *rates, int32_t key, int64_t now_us);

#endif
