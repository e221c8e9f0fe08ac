/* SPDX-License-Identifier: ISC */
/* Checked arithmetic on amounts and cup counts, tax, and how an amount is read and written.
 *
 * Amounts stay integers throughout; only tax divides, with 128 bits in between and rounding exactly once. */
#include "depositd/money.h"

#include <assert.h>
#include <string.h>

__extension__ typedef __int128 wide;

enum { CURRENCY_DECIMALS_MAX = 4 }; /* of ISO 4217 */
enum { DIGITS_MAX = 18 };           /* 10^18 - 1 is the longest run of nines that fits in 64 bits */

/* The compiler's checked operations store the wrapped result on overflow, hence the detour in each. */
bool money_add(struct money a, struct money b, struct money *sum)
{
    int64_t minor;
    if (__builtin_add_overflow(a.minor, b.minor, &minor))
        return false;
    sum->minor = minor;
    return true;
}

bool money_sub(struct money a, struct money b, struct money *difference)
{
    int64_t minor;
    if (__builtin_sub_overflow(a.minor, b.minor, &minor))
        return false;
    difference->minor = minor;
    return true;
}

bool money_times(struct money unit, struct cups n, struct money *product)
{
    int64_t minor;
    if (__builtin_mul_overflow(unit.minor, n.count, &minor))
        return false;
    product->minor = minor;
    return true;
}

bool cups_add(struct cups a, struct cups b, struct cups *sum)
{
    int64_t count;
    if (__builtin_add_overflow(a.count, b.count, &count))
        return false;
    sum->count = count;
    return true;
}

/* `divisor` > 0. C truncates towards zero, so the remainder has the sign of the numerator. */
static wide divide_half_even(wide numerator, int64_t divisor)
{
    wide quotient = numerator / divisor;
    wide remainder = numerator % divisor;
    wide twice = 2 * (remainder < 0 ? -remainder : remainder);

    if (twice > divisor || (twice == divisor && quotient % 2 != 0))
        quotient += numerator < 0 ? -1 : 1;
    return quotient;
}

/* With a rate of at most 1 the tax is never larger than the amount, so that neither can overflow. */
struct money money_tax_on(struct money net, struct rate rate)
{
    assert(rate.ppm >= 0 && rate.ppm <= PPM);
    return (struct money){(int64_t)divide_half_even((wide)net.minor * rate.ppm, PPM)};
}

struct money money_tax_within(struct money gross, struct rate rate)
{
    assert(rate.ppm >= 0 && rate.ppm <= PPM);
    return (struct money){(int64_t)divide_half_even((wide)gross.minor * rate.ppm, PPM + rate.ppm)};
}

bool money_tax_add(struct tax_sum *sum, struct money net, struct rate rate)
{
    assert(rate.ppm >= 0 && rate.ppm <= PPM);
    wide total = (wide)sum->minor * PPM + sum->millionths + (wide)net.minor * rate.ppm;
    wide whole = total / PPM - (total % PPM < 0); /* downwards, so that the rest is never negative */
    if (whole >= INT64_MAX || whole <= INT64_MIN)
        return false;
    *sum = (struct tax_sum){(int64_t)whole, (int32_t)(total - whole * PPM)};
    return true;
}

struct money money_tax_rounded(struct tax_sum sum)
{
    return (struct money){(int64_t)divide_half_even((wide)sum.minor * PPM + sum.millionths, PPM)};
}

/* Appends the first `room` digits at the front of `text` to *value and returns how many there are in all.
 * Where there are more, the caller puts a number too large for anything in place of *value. */
static size_t read_digits(const char *text, size_t length, size_t room, int64_t *value)
{
    size_t count = 0;
    for (; count < length && text[count] >= '0' && text[count] <= '9'; count++)
        if (count < room)
            *value = *value * 10 + (text[count] - '0');
    return count;
}

bool decimal_parse(const char *text, size_t length, struct decimal *number)
{
    bool negative = length > 0 && text[0] == '-';
    const char *whole = text + negative;
    size_t left = length - negative;
    int64_t value = 0;
    size_t scale = 0;

    size_t digits = read_digits(whole, left, DIGITS_MAX, &value);
    if (digits == 0 || (whole[0] == '0' && digits > 1))
        return false;
    if (digits < left) {
        const char *fraction = whole + digits + 1;
        left -= digits + 1;
        if (fraction[-1] != '.' || left == 0 || left > DECIMAL_SCALE_MAX)
            return false;
        scale = read_digits(fraction, left, digits < DIGITS_MAX ? DIGITS_MAX - digits : 0, &value);
        if (scale != left)
            return false;
    }
    if (digits + scale > DIGITS_MAX)
        value = INT64_MAX;
    *number = (struct decimal){.unscaled = negative ? -value : value, .scale = (uint8_t)scale};
    return true;
}

bool exchange_rate_parse(const char *text, size_t length, struct exchange_rate *rate)
{
    wide value = 0;
    size_t digits = 0, decimals = 0;
    bool has_point = false;
    for (size_t i = 0; i < length; i++) {
        bool is_point = text[i] == '.' && digits > 0 && !has_point;
        if (!is_point && (text[i] < '0' || text[i] > '9'))
            return false;
        has_point |= is_point;
        if (is_point)
            continue;
        value = value * 10 + (text[i] - '0');
        digits++;
        decimals += has_point;
        if (value > INT64_MAX || decimals > EXCHANGE_RATE_DECIMALS)
            return false;
    }
    if (digits == 0 || (has_point && decimals == 0))
        return false;
    if (text[0] == '0' && digits - decimals > 1)
        return false;
    for (; decimals < EXCHANGE_RATE_DECIMALS; decimals++)
        value *= 10; /* below 2^63 * 10^12, which fits in 127 bits */
    if (value == 0 || value > INT64_MAX)
        return false;
    rate->e12 = (int64_t)value;
    return true;
}

static bool fits(wide minor)
{
    return minor <= INT64_MAX && minor >= INT64_MIN;
}

/* amount * rate / 10^scale, of whole units: minor units differ from them by a power of ten. */
static bool exchange(struct money amount, unsigned decimals, struct decimal rate, unsigned other_decimals,
                     struct money *other)
{
    assert(rate.unscaled > 0 && decimals <= CURRENCY_DECIMALS_MAX && other_decimals <= CURRENCY_DECIMALS_MAX);
    wide exchanged = (wide)amount.minor * rate.unscaled;
    int64_t divisor = 1;
    for (unsigned i = decimals + rate.scale; i < other_decimals && fits(exchanged); i++)
        exchanged *= 10;
    for (unsigned i = other_decimals; i < decimals + rate.scale; i++)
        divisor *= 10;
    exchanged = divide_half_even(exchanged, divisor);
    if (!fits(exchanged))
        return false;
    other->minor = (int64_t)exchanged;
    return true;
}

bool money_exchange(struct money amount, unsigned decimals, struct exchange_rate rate,
                    unsigned other_decimals, struct money *other)
{
    return exchange(amount, decimals, (struct decimal){rate.e12, EXCHANGE_RATE_DECIMALS}, other_decimals,
                    other);
}

bool money_exchange_at(struct money amount, const struct currency *from, const struct currency *to,
                       struct decimal rate, struct money *sum)
{
    return rate.unscaled <= MONEY_STATED_MAX && exchange(amount, from->decimals, rate, to->decimals, sum);
}

size_t money_format(struct money amount, unsigned decimals, char text[static MONEY_TEXT_MAX])
{
    char digits[MONEY_TEXT_MAX];
    char *end = digits + sizeof digits;
    char *at = end;
    /* Unsigned, because the smallest int64 has no positive counterpart. */
    uint64_t left = amount.minor < 0 ? -(uint64_t)amount.minor : (uint64_t)amount.minor;

    assert(decimals <= DIGITS_MAX);
    for (unsigned written = 0; left > 0 || written <= decimals; written++) {
        if (written == decimals && decimals > 0)
            *--at = '.';
        *--at = (char)('0' + left % 10);
        left /= 10;
    }
    if (amount.minor < 0)
        *--at = '-';

    size_t length = (size_t)(end - at);
    memcpy(text, at, length);
    text[length] = '\0';
    return length;
}
