/* SPDX-License-Identifier: ISC */
/* What the reading handlers share: what the key may see, and slices of lists. */
#ifndef DEPOSITD_HTTP_REQUEST_READING_H
#define DEPOSITD_HTTP_REQUEST_READING_H

#include "http/request/handler.h"
#include "report/report.h"
#include "store/read_store.h"

/* The sites that the request's key may see; its list is of the snapshot or the request's arena. False: out of
 * memory, and a fault has been added. */
MUST_CHECK bool request_visible(const struct request *request, struct answer *answer,
                                struct visible_sites *visible);

/* Reads ?limit= and ?cursor=, and begins the body, to which the store then adds the items. False: a fault has
 * been added. */
MUST_CHECK bool slice_begin(const struct request *request, struct answer *answer, struct list_slice *slice);
/* Ends the body, with `next` where there may be more items, or `always`. */
void slice_end(const struct request *request, struct answer *answer, const struct list_slice *slice,
               bool always);

/* What a report is asked for: parallel to its parameters, as the statement takes it and as it is written. */
struct report_asked {
    struct report_argument arguments[REPORT_PARAMETERS_MAX];
    const char *texts[REPORT_PARAMETERS_MAX]; /* NULL: not given */
};

/* Answers with a report of a scheme in the negotiated media type. */
void answer_report(const struct request *request, struct answer *answer, const struct report *report,
                   const struct scheme *scheme, const struct report_asked *asked);

#endif
