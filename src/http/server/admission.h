/* SPDX-License-Identifier: ISC */
/* What every request must pass before its handler runs: who asks, whether the role may, the query's
 * parameters, the representation wanted, and the body's form. */
#ifndef DEPOSITD_HTTP_SERVER_ADMISSION_H
#define DEPOSITD_HTTP_SERVER_ADMISSION_H

#include "http/request/handler.h"

/* `request` has its route, its identity (NULL: none was shown), and its query's names and values as they were
 * sent, which are decoded here. False: faults have been added. */
MUST_CHECK bool admission_check(struct request *request, struct answer *answer);

#endif
