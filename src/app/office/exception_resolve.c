/* SPDX-License-Identifier: ISC */
/* Writes first and reads afterwards. So if two calls come at once, the second waits for the first, and sees
 * its result. */
#include "app/office/exception_resolve.h"

#include "app/transaction/transaction.h"

#include <stdio.h>

static enum store_result resolve(struct pg *pg, const struct exception_resolving *resolving,
                                 struct control *control, struct faults *faults)
{
    struct exception_state state;
    bool found = false;
    enum store_result result = store_exception_resolve(pg, resolving);
    if (result == STORE_OK)
        result = store_exception_get(pg, resolving, control->json, &found, &state);
    if (result != STORE_OK)
        return result;
    if (!found)
        faults_add(faults, REASON_NOT_FOUND, NULL, "there is no such exception");
    else if (!state.as_said)
        faults_refuse(faults, REASON_ALREADY_RESOLVED);
    return STORE_OK;
}

/* A proposal is a recorded change: it is made, and decided on, under the locks of these. */
static enum store_result begin_control(struct pg *pg, struct control *control, struct faults *faults)
{
    int64_t version;
    enum store_result result = store_reference_lock(pg, &control->author, control->now, &version);
    return result == STORE_OK ? control_begin(pg, control, faults) : result;
}

/* The kind of an exception never changes, so no lock is needed to see whether it takes two people. If it is
 * resolved already, it is answered as any other. */
static enum store_result find_two_needed(struct pg *pg, const struct exception_resolving *resolving,
                                         struct control *control, bool *needed)
{
    struct exception_state state;
    bool found = false;
    enum store_result result = store_exception_get(pg, resolving, control->json, &found, &state);
    buffer_reset(control->json);
    *needed = found && !state.is_resolved && exception_takes_two(state.kind);
    return result;
}

static enum store_result propose(struct pg *pg, const struct exception_resolving *resolving,
                                 struct control *control, struct faults *faults)
{
    const struct weakening nothing_else = {
        .changes = "[]", .schemes = (int32_t[]){resolving->scheme}, .scheme_count = 1};
    enum store_result result = begin_control(pg, control, faults);
    return result == STORE_OK ? control_propose(pg, control, &nothing_else) : result;
}

static enum store_result resolve_by_one(struct pg *pg, const struct exception_resolving *resolving,
                                        struct control *control, struct faults *faults)
{
    bool two_needed;
    enum store_result result = find_two_needed(pg, resolving, control, &two_needed);
    if (result != STORE_OK)
        return result;
    return two_needed ? propose(pg, resolving, control, faults) : resolve(pg, resolving, control, faults);
}

static enum store_result resolve_by_two(struct pg *pg, struct exception_resolving *resolving,
                                        struct control *control, struct faults *faults)
{
    enum store_result result = begin_control(pg, control, faults);
    if (result != STORE_OK || faults->count > 0 || control->decided)
        return result;
    resolving->proposal = control->author.proposal;
    result = resolve(pg, resolving, control, faults);
    return result == STORE_OK && faults->count == 0 ? control_end(pg, faults->arena, control) : result;
}

enum store_result exception_resolve(struct pg *pg, struct exception_resolving *resolving,
                                    struct control *control, struct faults *faults)
{
    resolving->now = control->now;
    enum store_result result = pg_begin(pg);
    if (result == STORE_OK)
        result = control->origins != NULL ? resolve_by_two(pg, resolving, control, faults)
                                          : resolve_by_one(pg, resolving, control, faults);
    return transaction_end(pg, result, faults, !control->decided && !control->dry_run);
}

/* --- several ---------------------------------------------------------------------------------------------
 */

static enum store_result resolve_next(struct pg *pg, const struct exception_resolving *next,
                                      struct control *control, bool first, const char *pointer,
                                      struct faults *faults)
{
    struct exception_state state;
    bool found = false;
    if (!first)
        buffer_add_char(control->json, ',');
    enum store_result result = store_exception_resolve(pg, next);
    if (result == STORE_OK)
        result = store_exception_get(pg, next, control->json, &found, &state);
    if (result != STORE_OK)
        return result;
    if (!found)
        faults_add(faults, REASON_EXCEPTION_UNKNOWN, pointer, "is no exception");
    else if (!state.as_said)
        faults_add(faults, REASON_ALREADY_RESOLVED, pointer, "was resolved otherwise");
    else if (exception_takes_two(state.kind))
        faults_add(faults, REASON_SECOND_KEY_NEEDED, pointer, "takes two people: resolve it by itself");
    return STORE_OK;
}

enum store_result exceptions_resolve(struct pg *pg, struct exception_resolving *many, size_t count,
                                     struct control *control, struct faults *faults)
{
    char pointer[32];
    enum store_result result = pg_begin(pg);
    for (size_t i = 0; i < count && result == STORE_OK; i++) {
        many[i].now = control->now;
        snprintf(pointer, sizeof pointer, "/ids/%zu", i);
        result = resolve_next(pg, &many[i], control, i == 0, pointer, faults);
    }
    return transaction_end(pg, result, faults, !control->dry_run);
}
