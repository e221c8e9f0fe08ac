/* SPDX-License-Identifier: ISC */
/* Statements of the bank and their lines are named by the scheme and a number within it, as in tern-bay.17. */
#ifndef DEPOSITD_HTTP_RESOURCES_BANK_NAMES_H
#define DEPOSITD_HTTP_RESOURCES_BANK_NAMES_H

#include "http/request/handler.h"

/* Whether the text is such a number and nothing else. */
bool bank_number(const char *text);
/* NULL: nothing has this name. */
const struct scheme *bank_named(const struct request *request, const char *name, int64_t *number);

#endif
