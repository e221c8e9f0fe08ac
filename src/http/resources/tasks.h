/* SPDX-License-Identifier: ISC */
/* The tasks that wait for the reader. */
#ifndef DEPOSITD_HTTP_RESOURCES_TASKS_H
#define DEPOSITD_HTTP_RESOURCES_TASKS_H

#include "http/request/handler.h"

/* Adds the member `tasks` to the answer's body: of each scheme, or of all in one where there are many. False:
 * a fault has been added. */
MUST_CHECK bool tasks_add(const struct request *request, struct answer *answer);

#endif
