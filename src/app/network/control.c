/* SPDX-License-Identifier: ISC */
/* Makes proposals, and decides on them. */
#include "app/network/control.h"

static enum store_result check_decided(struct pg *pg, struct control *control, const struct kept_write *kept,
                                       enum proposal_status wanted, struct faults *faults)
{
    if (kept->decision == wanted && kept->decided_by == control->author.key) {
        control->decided = true;
        return read_write(pg, control->author.proposal, NULL, control->json);
    }
    faults_refuse(faults, REASON_PROPOSAL_DECIDED);
    return STORE_OK;
}

/* Whether the proposal exists, and this key may decide on it. */
static enum store_result find_open(struct pg *pg, struct control *control, enum proposal_status wanted,
                                   struct kept_write *kept, struct faults *faults)
{
    bool found;
    enum store_result result =
        store_write_find(pg, faults->arena, control->author.proposal, control->author.key, kept, &found);
    if (result != STORE_OK)
        return result;
    if (!found)
        faults_refuse(faults, REASON_NOT_FOUND);
    else if (!kept->asker_in_force)
        faults_refuse(faults, REASON_UNAUTHENTICATED);
    else if (kept->decision != PROPOSAL_OPEN)
        return check_decided(pg, control, kept, wanted, faults);
    return STORE_OK;
}

static enum store_result begin_approval(struct pg *pg, struct control *control, struct faults *faults)
{
    struct kept_write kept;
    enum store_result result = find_open(pg, control, PROPOSAL_APPROVED, &kept, faults);
    if (result != STORE_OK || faults->count > 0 || control->decided)
        return result;
    control->proposed_by = kept.proposed_by;
    struct key_act proposing = {kept.proposed_by, kept.proposed_at};
    if (key_acts_by_one_person(control->origins, proposing,
                               (struct key_act){control->author.key, control->now}))
        faults_refuse(faults, REASON_SECOND_KEY_NEEDED);
    return STORE_OK;
}

enum store_result control_begin(struct pg *pg, struct control *control, struct faults *faults)
{
    control->proposed = control->was_already = control->refused = control->decided = false;
    if (control->origins != NULL)
        return begin_approval(pg, control, faults);
    enum store_result result = store_changes_last(pg, &control->since);
    return result == STORE_OK ? pg_mark(pg) : result;
}

enum store_result control_propose(struct pg *pg, struct control *control, const struct weakening *weakening)
{
    const struct proposed_write write = {
        .what = control->what,
        .name = control->name,
        .body = control->body,
        .secret_hash = control->secret_hash,
        .key = control->author.key,
        .now = control->now,
        .why = control->author.why,
    };
    int64_t number;
    enum store_result result = store_write_same(pg, &write, &number);
    control->was_already = number != 0;
    if (result == STORE_OK && !control->was_already)
        result = store_write_add(pg, &write, weakening, &number);
    control->proposed = true;
    buffer_reset(control->json);
    return result == STORE_OK ? read_write(pg, number, "proposed", control->json) : result;
}

static enum store_result end_approval(struct pg *pg, struct control *control)
{
    const struct change_author *author = &control->author;
    enum store_result result =
        store_write_decide(pg, author->proposal, PROPOSAL_APPROVED, control->now, author->key, NULL);
    buffer_reset(control->json);
    return result == STORE_OK ? read_write(pg, author->proposal, NULL, control->json) : result;
}

enum store_result control_end(struct pg *pg, struct arena *arena, struct control *control)
{
    struct weakening weakening;
    if (control->origins != NULL)
        return end_approval(pg, control);
    if (control->author.key == 0)
        return STORE_OK; /* a user of the command line already controls the database */
    enum store_result result = store_weakening(pg, arena, control->since, &weakening);
    if (result != STORE_OK || weakening.changes == NULL)
        return result;
    control->refused = control->by_one;
    if (control->refused)
        return STORE_OK;
    result = pg_back_to_mark(pg);
    return result == STORE_OK ? control_propose(pg, control, &weakening) : result;
}

enum store_result control_withdraw(struct pg *pg, struct control *control, const char *note,
                                   struct faults *faults)
{
    struct kept_write kept;
    int64_t number = control->author.proposal;
    enum store_result result = find_open(pg, control, PROPOSAL_WITHDRAWN, &kept, faults);
    if (result != STORE_OK || faults->count > 0 || control->decided)
        return result;
    result = store_write_decide(pg, number, PROPOSAL_WITHDRAWN, control->now, control->author.key, note);
    return result == STORE_OK ? read_write(pg, number, NULL, control->json) : result;
}
