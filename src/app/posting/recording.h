/* SPDX-License-Identifier: ISC */
/* The facts about one event while it is recorded: record_check fills them in, record_post makes the entry of
 * them. Private to the files record*.c. */
#ifndef DEPOSITD_APP_POSTING_RECORDING_H
#define DEPOSITD_APP_POSTING_RECORDING_H

#include "app/posting/scheme_ledger.h"
#include "store/opening_store.h"

struct recording {
    struct scheme_ledger *scheme_ledger;
    struct ledger *ledger;
    struct submission *submission;
    const struct event *event;
    struct faults *faults;
    const struct business_day *occurrence, *posting;
    const struct terms *terms, *terms_then; /* of the posting day; of the day of occurrence */
    const struct site *to;
    struct referred referred;
    struct transfer transfer; /* of a receipt's or a loss's dispatch, … */
    int32_t sent_in;          /* … the scheme of that dispatch, which may be another one, … */
    int64_t dispatch;         /* … and its number there; 0: none */
    int32_t home;             /* of a dispatch to another scheme's site: that scheme; else 0 */
    struct posting_line *lines;
    size_t line_count;
    struct leg *stated;    /* of a journal */
    struct agreed *agreed; /* for returned cups that carry another scheme's deposit, by home */
    size_t agreed_count;
    struct posting_facts facts;
    struct exception_facts exception_facts;
    struct leg_list legs;
};

#endif
