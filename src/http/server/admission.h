/* SPDX-License-Identifier: ISC */
/* Checks that every request must pass before its handler runs: the key and its role, the parameters of the
 * query, the representation asked for, and the form of the body. */
#ifndef DEPOSITD_HTTP_SERVER_ADMISSION_H
#define DEPOSITD_HTTP_SERVER_ADMISSION_H

#include "http/request/handler.h"

/* `request` has its route, its identity (NULL: no key was shown), and the names and values of its query as
 * they were sent. This function decodes them. False: faults have been added. */
MUST_CHECK bool admission_check(struct request *request, struct answer *answer);
/* Checks the key and its role alone. */
MUST_CHECK bool admission_check_role(const struct request *request, struct answer *answer);

#endif
