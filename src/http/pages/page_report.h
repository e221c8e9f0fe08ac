/* SPDX-License-Identifier: ISC */
/* The parts around a report on its page. Reports are rendered while they stream (report/render.h). This file
 * gives the renderer the links to other pages and the choices in the form. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_REPORT_H
#define DEPOSITD_HTTP_PAGES_PAGE_REPORT_H

#include "http/request/handler.h"
#include "report/render.h"

/* Finds the links and the form's choices for a report's page. `scheme` NULL: any scheme. False: out of
 * memory. */
MUST_CHECK bool page_of_report(const struct request *request, const struct scheme *scheme,
                               const struct report *report, struct report_page *page);

#endif
