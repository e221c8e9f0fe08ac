/* SPDX-License-Identifier: ISC */
/* Problem details (RFC 9457): faults as a document. The first fault gives the status and the top reason. */
#ifndef DEPOSITD_HTTP_REQUEST_PROBLEM_H
#define DEPOSITD_HTTP_REQUEST_PROBLEM_H

#include "app/transaction/fault.h"
#include "base/buffer.h"

/* `faults` has at least one. */
void problem_write(const struct faults *faults, struct buffer *document);
int problem_status(const struct faults *faults);

/* Whether any reason has this HTTP status. */
bool problem_has_status(int status);

/* The advice about a problem: a sentence or two in fixed words. Never NULL for a status of the table. */
const char *problem_advice(enum reason reason);

#endif
