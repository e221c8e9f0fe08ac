/* SPDX-License-Identifier: ISC */
/* Answers that are reports. */
#ifndef DEPOSITD_HTTP_RESOURCES_REPORT_ANSWER_H
#define DEPOSITD_HTTP_RESOURCES_REPORT_ANSWER_H

#include "http/request/handler.h"
#include "report/report.h"
#include "store/read_store.h"

/* The parameters that the client gave, parallel to the report's parameters: their values for the statement,
 * and as text. */
struct report_asked {
    struct report_argument arguments[REPORT_PARAMETERS_MAX];
    const char *texts[REPORT_PARAMETERS_MAX]; /* NULL: not given */
};

/* Answers with a report of a scheme, in the negotiated media type. */
void answer_report(const struct request *request, struct answer *answer, const struct report *report,
                   const struct scheme *scheme, const struct report_asked *asked);
/* The same, for the report with this name, which takes a business day. */
void answer_day_report(const struct request *request, struct answer *answer, const char *name,
                       const struct scheme *scheme, struct date day);

#endif
