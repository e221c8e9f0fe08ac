/* SPDX-License-Identifier: ISC */
/* A batch that is withdrawn keeps its code: the corrected batch needs another one. */
#include "app/cups/remaking.h"

#include "app/transaction/transaction.h"
#include "base/clock.h"
#include "store/reference_store.h"

#include <stdio.h>

static enum store_result lock(struct pg *pg, struct remaking_batch *batch)
{
    int64_t version;
    const struct change_author author = {.key = batch->key, .why = batch->reason};
    batch->now = clock_now();
    enum store_result result = pg_begin(pg);
    return result == STORE_OK ? store_reference_lock(pg, &author, batch->now, &version) : result;
}

/* A batch may not hold more cups than were retired at its site and are in no other batch. */
static enum store_result check_lines(struct pg *pg, const struct remaking_batch *batch, struct faults *faults)
{
    char pointer[48];
    int64_t *left = arena_array(faults->arena, batch->line_count, sizeof *left);
    if (left == NULL)
        return STORE_FAILED;
    enum store_result result = store_remaking_left(pg, batch, left);
    for (size_t i = 0; i < batch->line_count && result == STORE_OK; i++) {
        int64_t most = left[i] > 0 ? left[i] : 0;
        snprintf(pointer, sizeof pointer, "/cups/%zu/quantity", i);
        if (batch->quantities[i] > most)
            faults_add(faults, REASON_MORE_THAN_RETIRED, pointer,
                       "%lld cups of the type were retired at the site and are in no batch", (long long)most);
    }
    return result;
}

static enum store_result record(struct pg *pg, struct remaking_batch *batch, bool *made,
                                struct faults *faults)
{
    struct remaking_state state;
    enum store_result result = store_remaking_find(pg, batch, &state);
    if (result != STORE_OK)
        return result;
    *made = state.number == 0;
    if (!*made) {
        if (!state.as_said || state.is_withdrawn)
            faults_add(faults, REASON_BATCH_CONFLICT, "/batch", "%s",
                       state.is_withdrawn ? "is the code of a batch that was withdrawn"
                                          : "is the code of a batch that says something else");
        return STORE_OK;
    }
    result = check_lines(pg, batch, faults);
    return result == STORE_OK && faults->count == 0 ? store_remaking_add(pg, batch) : result;
}

static enum store_result show(struct pg *pg, const struct remaking_batch *batch, struct buffer *json,
                              const struct faults *faults)
{
    bool found;
    return faults->count == 0 ? read_remaking_batch(pg, batch->scheme, batch->code, json, &found) : STORE_OK;
}

enum store_result remaking_record(struct pg *pg, struct remaking_batch *batch, bool dry_run,
                                  struct buffer *json, bool *made, struct faults *faults)
{
    enum store_result result = lock(pg, batch);
    if (result == STORE_OK)
        result = record(pg, batch, made, faults);
    if (result == STORE_OK)
        result = show(pg, batch, json, faults);
    return transaction_end(pg, result, faults, !dry_run && *made);
}

static enum store_result withdraw(struct pg *pg, const struct remaking_batch *batch, struct faults *faults)
{
    struct remaking_state state;
    enum store_result result = store_remaking_find(pg, batch, &state);
    if (result != STORE_OK || state.withdrawn_so)
        return result;
    if (state.number == 0)
        faults_add(faults, REASON_NOT_FOUND, NULL, "there is no such batch");
    else if (state.is_withdrawn)
        faults_refuse(faults, REASON_BATCH_WITHDRAWN);
    else if (state.is_supplied)
        faults_refuse(faults, REASON_BATCH_SUPPLIED);
    else
        return store_remaking_withdraw(pg, batch, state.number);
    return STORE_OK;
}

enum store_result remaking_withdraw(struct pg *pg, struct remaking_batch *batch, bool dry_run,
                                    struct buffer *json, struct faults *faults)
{
    enum store_result result = lock(pg, batch);
    if (result == STORE_OK)
        result = withdraw(pg, batch, faults);
    if (result == STORE_OK)
        result = show(pg, batch, json, faults);
    return transaction_end(pg, result, faults, !dry_run);
}
