/* SPDX-License-Identifier: ISC */
/* A text that a test writes to, and what it should be then. */
#ifndef WRITTEN_H
#define WRITTEN_H

#include "base/buffer.h"
#include "suite.h"

static struct buffer text;

static void tear_down(void)
{
    buffer_dispose(&text);
}

static void expect(const char *wanted)
{
    ck_assert(!text.failed);
    ck_assert_str_eq(text.data != NULL ? text.data : "", wanted);
    buffer_reset(&text);
}

#endif
