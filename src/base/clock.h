/* SPDX-License-Identifier: ISC */
/* The time of day, in one place. Any thread. */
#ifndef DEPOSITD_BASE_CLOCK_H
#define DEPOSITD_BASE_CLOCK_H

#include "depositd/civil.h"

struct instant clock_now(void);
/* Milliseconds that never go back, for time-outs; and microseconds, for durations. */
int64_t clock_monotonic_ms(void);
int64_t clock_monotonic_us(void);

#endif
