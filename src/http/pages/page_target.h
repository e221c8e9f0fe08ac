/* SPDX-License-Identifier: ISC */
/* The targets of a page's links. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_TARGET_H
#define DEPOSITD_HTTP_PAGES_PAGE_TARGET_H

#include "http/pages/page_rules.h"
#include "http/request/handler.h"
#include "report/html.h"

/* An object and the objects around it. A link's variables are looked up here. */
struct page_scope {
    const json_t *object;
    const struct page_scope *outer; /* NULL: there is no outer object */
};

/* A page while it is made from JSON. */
struct page_view {
    const struct request *request;
    const struct page_about *about;
    struct buffer *text;
    const json_t *times; /* of page_times; NULL: times are in UTC */
    struct {
        bool known, leads;
    } links[PAGE_LINKS_MAX]; /* findings about the rules for links */
};

/* A member of the object or of the objects around it; NULL: there is none. */
const json_t *page_member(const struct page_scope *scope, const char *name);

/* Whether the target's route exists, any report that it names exists, and the key may read both. `target` may
 * be a URI template. */
bool page_leads(const struct request *request, const char *target);
/* Adds the target of a URI template. False: a variable has no value, or the key may not go there. Nothing was
 * added then. */
MUST_CHECK bool page_target(const struct request *request, const struct page_scope *scope,
                            const char *pattern, struct buffer *target);
/* Adds the URI template with its variables replaced. In place of one without a value stands its name in
 * braces, percent-encoded. False: out of memory. */
MUST_CHECK bool page_expand(const struct request *request, const struct page_scope *scope,
                            const char *pattern, struct buffer *target);
/* Adds the fields of a form, each value in braces replaced and encoded. False: a value is missing. */
MUST_CHECK bool page_fill(const struct request *request, const struct page_scope *scope, const char *fields,
                          struct buffer *text);
/* Adds the target that the rules give to a member's value. False: there is no target. A page has no links to
 * itself. */
MUST_CHECK bool page_member_target(struct page_view *view, const struct page_scope *scope, const char *name,
                                   struct buffer *target);
/* The part of the request's path that stands for {name}; NULL: no part does. */
const char *page_path_part(const struct request *request, const char *name, size_t length);
/* Whether the parameter chooses what is shown, rather than a slice of it or its form. */
bool page_is_asked(const char *parameter);
/* The things that the request asks for, as " tern-bay 2026-05-12", in the arena. NULL: nothing, or out of
 * memory. */
const char *page_detail(const struct request *request);
/* Finds the pages to start from that the key may read, and gives the page links to them, and the line that
 * tells paper who made it. All is in the arena. False: out of memory. */
MUST_CHECK bool page_find_starts(const struct request *request, const struct page_scope *scope,
                                 struct html_page *page);

#endif
