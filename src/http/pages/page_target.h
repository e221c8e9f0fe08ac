/* SPDX-License-Identifier: ISC */
/* Where the links of a page lead. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_TARGET_H
#define DEPOSITD_HTTP_PAGES_PAGE_TARGET_H

#include "http/pages/page_rules.h"
#include "http/request/handler.h"
#include "report/html.h"

/* An object and the objects around it, in which a link's variables are looked for. */
struct page_scope {
    const json_t *object;
    const struct page_scope *outer; /* NULL: none */
};

/* A page while it is made of JSON. */
struct page_view {
    const struct request *request;
    const struct page_about *about;
    struct buffer *text;
    struct {
        bool known, leads;
    } links[PAGE_LINKS_MAX]; /* what was found out about the rules for links */
};

/* Whether the target's route exists, its report, if it is one, exists, and the key may read both. `target`
 * may be a URI template. */
bool page_leads(const struct request *request, const char *target);
/* Adds the target of a URI template. False: a variable has no value, or the key may not go there; nothing was
 * added. */
MUST_CHECK bool page_target(const struct request *request, const struct page_scope *scope,
                            const char *pattern, struct buffer *target);
/* Adds the target that the rules give to a member's value. False: there is none. A page does not lead to
 * itself. */
MUST_CHECK bool page_member_target(struct page_view *view, const struct page_scope *scope, const char *name,
                                   struct buffer *target);
/* The part of the request's path that stands for {name}; NULL: none does. */
const char *page_path_part(const struct request *request, const char *name, size_t length);
/* Gives the page links to the pages to start from that the key may read; of the arena. False: out of memory.
 */
MUST_CHECK bool page_find_starts(const struct request *request, const struct page_scope *scope,
                                 struct html_page *page);

#endif
