/* SPDX-License-Identifier: ISC */
/* Pages of problems, each with ways on, and pages about the reasons of problems. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_PROBLEM_H
#define DEPOSITD_HTTP_PAGES_PAGE_PROBLEM_H

#include "http/request/handler.h"

/* Adds the sentence of a fault. */
void page_fault(struct buffer *text, const struct fault *fault);
/* How many faults were found beyond those of the list, if any. */
void page_more_faults(struct buffer *text, const struct faults *faults);

/* Makes a page of the problem that the request has met. The request may lack a route, a key and a snapshot.
 */
void page_of_problem(const struct request *request, const struct faults *faults, const char *request_id,
                     struct buffer *text);

/* A reason, with the operations that can answer with it. */
struct problem_type {
    enum reason reason;
    const struct route **operations;
    size_t count;
    bool by_all; /* these are all operations that there are */
};

/* Makes a page about a reason. Anybody may read it, so it has nothing of its reader's. */
void page_problem_type(const struct problem_type *about, struct buffer *text);

#endif
