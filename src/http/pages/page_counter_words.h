/* SPDX-License-Identifier: ISC */
/* The sentences of the counter page, made of an event as counter_store.h reads it. The sentences
 * are in the language of the buffer. Nothing is escaped. */
#ifndef DEPOSITD_HTTP_PAGES_PAGE_COUNTER_WORDS_H
#define DEPOSITD_HTTP_PAGES_PAGE_COUNTER_WORDS_H

#include "base/buffer.h"

#include <jansson.h>

/* "2 × Small cup out" */
void counter_say_what(struct buffer *said, const json_t *event, const char *currency);
/* "Take 5.00 CAD for 2 × Small cup." */
void counter_say_money(struct buffer *said, const json_t *event, const char *currency);
/* An exception in words, for the person at the counter. */
void counter_say_exception(struct buffer *said, const json_t *exception, const char *currency);
/* Whether a till may undo an event of this kind. */
bool counter_may_undo(const json_t *event);

#endif
