/* SPDX-License-Identifier: ISC */
/* Exact in 128 bits, with one division at the end. */
#include "depositd/exchange.h"

#include <assert.h>

__extension__ typedef __int128 wide;

static wide power_of_ten(unsigned exponent)
{
    wide power = 1;
    while (exponent-- > 0)
        power *= 10;
    return power;
}

/* `divisor` > 0. C truncates towards zero, so the remainder has the sign of the numerator. */
static wide divide_half_even(wide numerator, wide divisor)
{
    wide quotient = numerator / divisor, rest = numerator % divisor, size = rest < 0 ? -rest : rest;
    if (2 * size > divisor || (2 * size == divisor && quotient % 2 != 0))
        quotient += numerator < 0 ? -1 : 1;
    return quotient;
}

/* A currency has at most 4 decimals and a rate at most 6, so nothing overflows while the rate has no more
 * than 12 digits. */
bool exchange_at(struct money amount, const struct currency *from, const struct currency *to,
                 struct decimal rate, struct money *sum)
{
    assert(rate.unscaled > 0);
    if (rate.unscaled > MONEY_STATED_MAX)
        return false;
    wide numerator = (wide)amount.minor * rate.unscaled * power_of_ten(to->decimals);
    wide exact = divide_half_even(numerator, power_of_ten(from->decimals + rate.scale));
    if (exact > INT64_MAX || exact < INT64_MIN)
        return false;
    sum->minor = (int64_t)exact;
    return true;
}
