/* SPDX-License-Identifier: ISC */
/* What stands around a report on its page. Reports are rendered while they stream (report/render.h); from
 * here they get the links that lead on, and what the form offers. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_REPORT_H
#define DEPOSITD_HTTP_PAGES_PAGE_REPORT_H

#include "http/request/handler.h"
#include "report/render.h"

/* What a report's page leads to and can be asked for. `scheme` NULL: of any scheme. False: out of memory. */
MUST_CHECK bool page_of_report(const struct request *request, const struct scheme *scheme,
                               const struct report *report, struct report_page *page);

#endif
