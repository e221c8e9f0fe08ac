/* SPDX-License-Identifier: ISC */
/* What record_event and its two halves share: all that is found out about one event while it is recorded.
 * Private to the files record*.c. */
#ifndef DEPOSITD_APP_POSTING_RECORDING_H
#define DEPOSITD_APP_POSTING_RECORDING_H

#include "app/posting/record.h"

/* All that is found out about an event while it is recorded. */
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
    struct transfer transfer; /* of a receipt's or a loss's dispatch */
    struct posting_line *lines;
    size_t line_count;
    struct leg *stated; /* of a journal */
    struct posting_facts facts;
    struct exception_facts exception_facts;
    struct leg_list legs;
};

/* Looks up what the event names and depends on, and walks the ladder of checks. Faults are in
 * recording->faults; without any, the facts for the domain are complete. */
MUST_CHECK enum store_result recording_check(struct recording *recording);

/* Derives the legs and, unless that adds a fault, appends the entry with its exceptions, references and
 * transfers, and fills the result. */
MUST_CHECK enum store_result recording_post(struct recording *recording);

/* Derives the legs of a journal and, unless that adds a fault, leaves it with the scheme ledger as a
 * proposal. */
MUST_CHECK enum store_result recording_propose(struct recording *recording);

/* Copies exceptions into the job's memory, with the codes that the answer shows. */
MUST_CHECK enum store_result recording_give_exceptions(const struct ledger *ledger,
                                                       struct submission *submission,
                                                       const struct exception *exceptions, size_t count);

/* From now on the scheme ledger knows the event, and its replays. */
MUST_CHECK enum store_result scheme_ledger_remember(struct scheme_ledger *scheme_ledger,
                                                    const struct remembered_event *event);

#endif
