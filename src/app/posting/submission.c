/* SPDX-License-Identifier: ISC */
/* Decides who may post an event where, and fills the result. */
#include "app/posting/submission.h"

#include <string.h>

void submission_reject(struct submission *submission, enum reason reason, const char *pointer,
                       const char *detail)
{
    submission->result->status = EVENT_REJECTED;
    faults_add(&submission->result->faults, reason, pointer, "%s", detail);
}

const struct scheme *submission_scheme(const struct network *network, const struct event *event,
                                       const struct site *site)
{
    return site != NULL ? network->scheme_by_id[site->scheme] : network_scheme(network, event->scheme);
}

bool submission_admit(const struct network *network, struct submission *submission)
{
    const struct event *event = submission->event;
    bool at_site = *event->site != '\0';
    submission->site = at_site ? network_site(network, event->site) : NULL;
    enum reason access =
        access_post(submission->identity, event->kind, submission->site, instant_date(event->occurred_at));
    if (access != REASON_NONE) {
        bool about_site = access == REASON_SITE_NOT_ALLOWED || access == REASON_RETIRE_NEEDS_HUB;
        submission_reject(submission, access, about_site ? "/site" : "/kind",
                          about_site ? "the key may not post this at the site"
                                     : "the key's role may not post this kind of event");
        return false;
    }
    if (at_site && submission->site == NULL) {
        submission_reject(submission, REASON_SITE_UNKNOWN, "/site", "there is no such site");
        return false;
    }
    submission->scheme = submission_scheme(network, event, submission->site);
    if (submission->scheme == NULL)
        submission_reject(submission, REASON_SCHEME_UNKNOWN, "/scheme", "there is no such scheme");
    return submission->scheme != NULL;
}

bool submission_give_exceptions(const struct network *network, struct submission *submission,
                                const struct exception *exceptions, size_t count)
{
    struct exception *copied = arena_array(submission->arena, count + 1, sizeof *copied);
    const char **codes = arena_array(submission->arena, count + 1, sizeof *codes);
    if (copied == NULL || codes == NULL)
        return false;
    for (size_t i = 0; i < count; i++) {
        copied[i] = exceptions[i];
        if (exceptions[i].cup_type == 0)
            continue;
        const char *code = network->cup_type_by_id[exceptions[i].cup_type]->code;
        codes[i] = arena_copy(submission->arena, code, strlen(code));
        if (codes[i] == NULL)
            return false;
    }
    submission->result->exceptions = copied;
    submission->result->exception_cup_types = codes;
    submission->result->exception_count = count;
    submission->result->decimals = submission->scheme->currency->decimals;
    return true;
}
