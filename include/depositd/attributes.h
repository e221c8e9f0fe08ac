/* SPDX-License-Identifier: ISC */
/* Compiler attributes that C17 has no word for. */
#ifndef DEPOSITD_ATTRIBUTES_H
#define DEPOSITD_ATTRIBUTES_H

/* The result says whether it worked: ignoring it is a bug, and a compiler error. */
#define MUST_CHECK                 __attribute__((__warn_unused_result__))
#define PRINTF_LIKE(string, first) __attribute__((__format__(__printf__, string, first)))

#endif
