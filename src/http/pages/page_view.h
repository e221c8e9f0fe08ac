/* SPDX-License-Identifier: ISC */
/* From JSON to the parts of a page: what page.c lays out. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_VIEW_H
#define DEPOSITD_HTTP_PAGES_PAGE_VIEW_H

#include "http/pages/page_rules.h"
#include "http/request/handler.h"

/* Whether a route and, where it is one, a report are there, and for the key that asks. `target` may be a URI
 * template. */
bool page_leads(const struct request *request, const char *target);

/* An object and those around it, in which a link's variables are looked for. */
struct page_scope {
    const json_t *object;
    const struct page_scope *outer; /* NULL: none */
};

struct page_view {
    const struct request *request;
    const struct page_about *about;
    struct buffer *text;
    struct {
        bool known, leads;
    } links[PAGE_LINKS_MAX]; /* what was found out about the rules for links */
};

/* Adds the target of a URI template. False: it lacks something, or leads where the key may not go; nothing
 * was added. */
MUST_CHECK bool page_target(const struct request *request, const struct page_scope *scope,
                            const char *pattern, struct buffer *target);

const char *page_title(const struct page_view *view);
/* The part of the request's path that stands for {name}; NULL: none does. */
const char *page_path_part(const struct request *request, const char *name, size_t length);
/* Hashes and ids: not for reading, but for comparing and copying. */
bool page_is_code(const char *text);

/* The value of a member, with its link. */
void page_value(struct page_view *view, const struct page_scope *scope, const char *name,
                const json_t *value);
/* All of an object: what is simple as facts, then objects as sections, lists of objects as tables. */
void page_object(struct page_view *view, const struct page_scope *scope);
/* A list of objects as a table. */
void page_table(struct page_view *view, const struct page_scope *scope, const char *name, const json_t *list);

#endif
