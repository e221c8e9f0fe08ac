/* SPDX-License-Identifier: ISC */
/* Each test file defines this suite. main.c runs it and frees it. */
#ifndef SUITE_H
#define SUITE_H

#include <check.h>

Suite *file_suite(void);

#endif
