/* SPDX-License-Identifier: ISC */
/* What each test file gives to the one main: its suite. main.c runs it and frees it. */
#ifndef SUITE_H
#define SUITE_H

#include <check.h>

Suite *file_suite(void);

#endif
