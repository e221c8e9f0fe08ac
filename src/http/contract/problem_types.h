/* SPDX-License-Identifier: ISC */
/* The meaning of each reason, for people and programs that follow a problem's `type`. */
#ifndef DEPOSITD_HTTP_CONTRACT_PROBLEM_TYPES_H
#define DEPOSITD_HTTP_CONTRACT_PROBLEM_TYPES_H

#include "http/request/handler.h"

void handle_problem_type(const struct request *request, struct answer *answer);

#endif
