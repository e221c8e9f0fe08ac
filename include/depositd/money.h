/* SPDX-License-Identifier: ISC */
/* Money, cup counts and rates, and the checked arithmetic between them.
 *
 * Money is an integer number of a currency's minor units (ISO 4217); which currency is known from the
 * scheme. Cups are whole cups. The two are different types so that the compiler refuses to add them.
 * Every function that can overflow returns false and leaves its result untouched. Pure; any thread. */
#ifndef DEPOSITD_MONEY_H
#define DEPOSITD_MONEY_H

#include "depositd/attributes.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct money {
    int64_t minor;
};
struct cups {
    int64_t count;
};
/* A fraction in parts per million: 0.15 is 150000. */
struct rate {
    int32_t ppm;
};

/* A decimal number as written, before its currency is known: "6.00" is {600, 2}. */
struct decimal {
    int64_t unscaled;
    uint8_t scale;
};

enum {
    DECIMAL_SCALE_MAX = 6,
    /* Room for any formatted amount with its terminating NUL. */
    MONEY_TEXT_MAX = 32,
    PPM = 1000000
};
/* The largest amount that a client may state, and that a leg of an event may have: 10^12 minor units. */
#define MONEY_STATED_MAX INT64_C(1000000000000)

/* An exact rate of exchange: units of one currency for one unit of another, times 10^12. */
struct exchange_rate {
    int64_t e12;
};
enum { EXCHANGE_RATE_DECIMALS = 12 };
#define EXCHANGE_RATE_ONE ((struct exchange_rate){INT64_C(1000000000000)})

struct currency {
    char code[4];
    uint8_t decimals;
};

/* The ISO 4217 currency with this alphabetic code, or NULL. Funds codes, metals and codes without
 * minor units (N.A. in list one) are not currencies that a deposit can be held in. */
const struct currency *currency_find(const char *code);
/* The whole table, for documents and tests. */
const struct currency *currency_all(size_t *count);

MUST_CHECK bool money_add(struct money a, struct money b, struct money *sum);
MUST_CHECK bool money_sub(struct money a, struct money b, struct money *difference);
MUST_CHECK bool money_times(struct money unit, struct cups n, struct money *product);
MUST_CHECK bool cups_add(struct cups a, struct cups b, struct cups *sum);

/* net * rate, and the part of a gross amount that is tax, gross * rate / (1 + rate): each rounded half to
 * even, once. Both take either sign and a rate from 0 to 1. */
struct money money_tax_on(struct money net, struct rate rate);
struct money money_tax_within(struct money gross, struct rate rate);

/* Several taxes in one sum, exactly, to be rounded once: minor units and, from 0 to 999999, millionths of
 * one. */
struct tax_sum {
    int64_t minor;
    int32_t millionths;
};
/* Adds net * rate. */
MUST_CHECK bool money_tax_add(struct tax_sum *sum, struct money net, struct rate rate);
/* Rounded half to even. */
struct money money_tax_rounded(struct tax_sum sum);

/* Reads  -?(0|[1-9][0-9]*)(\.[0-9]+)?  of `length` bytes, at most DECIMAL_SCALE_MAX decimals. "-0.00" is read
 * as zero. A number of more than 18 digits is read as INT64_MAX or -INT64_MAX, unscaled, which is out of
 * every range. False: not such a number. */
MUST_CHECK bool decimal_parse(const char *text, size_t length, struct decimal *number);

/* Reads  (0|[1-9][0-9]*)(\.[0-9]+)?  above zero, at most EXCHANGE_RATE_DECIMALS decimals. False: it is not
 * such a number, or is above INT64_MAX / 10^12. */
MUST_CHECK bool exchange_rate_parse(const char *text, size_t length, struct exchange_rate *rate);
/* The amount, in a currency of `decimals`, at the rate in one of `other_decimals`: rounded half to even,
 * once. False: it does not fit. Neither currency has more than 4 decimals. */
MUST_CHECK bool money_exchange(struct money amount, unsigned decimals, struct exchange_rate rate,
                               unsigned other_decimals, struct money *other);
/* The same at a rate that somebody states: the price of one unit of `from` in units of `to`, more than 0.
 * False: too large. */
MUST_CHECK bool money_exchange_at(struct money amount, const struct currency *from, const struct currency *to,
                                  struct decimal rate, struct money *sum);

/* Writes the amount with exactly `decimals` decimals; returns the length without the NUL. */
size_t money_format(struct money amount, unsigned decimals, char text[static MONEY_TEXT_MAX]);

#endif
