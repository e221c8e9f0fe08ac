/* SPDX-License-Identifier: ISC */
/* The time of day and a clock for time-outs: the only place that asks the system for either. */
#include "base/clock.h"

#include <time.h>

struct instant clock_now(void)
{
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    return (struct instant){(int64_t)now.tv_sec * 1000000 + now.tv_nsec / 1000};
}

int64_t clock_monotonic_us(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000000 + now.tv_nsec / 1000;
}

int64_t clock_monotonic_ms(void)
{
    return clock_monotonic_us() / 1000;
}
