/* SPDX-License-Identifier: ISC */
/* POST /v1/schemes/{scheme}/days/{date}/close: closes the day, unless it is closed already, and answers with
 * its settlement. */
#include "http/resources/handlers.h"

#include "app/closing/close.h"
#include "store/read_store.h"

#include <string.h>

struct viewing {
    const struct request *request;
    struct answer *answer;
    const struct close_order *order;
};

/* Runs in the close's last transaction, so that a dry run can show the settlement. */
static enum store_result view(void *context, struct pg *pg)
{
    const struct viewing *viewing = context;
    const struct visible_sites all = {.all = true};
    bool found;
    buffer_reset(&viewing->answer->body);
    enum store_result result = read_settlement(pg, viewing->order->scheme, viewing->order->date, &all,
                                               &viewing->answer->body, &found);
    if (result == STORE_OK && !found)
        return STORE_FAILED;
    if (result == STORE_OK && viewing->order->dry_run)
        answer_mark_dry_run(viewing->answer);
    return result;
}

void handle_day_close(const struct request *request, struct answer *answer)
{
    struct close_order order = {.key = request->identity->key, .dry_run = request->dry_run, .view = view};
    struct viewing viewing = {request, answer, &order};
    const struct scheme *scheme = request_scheme(request, answer, request->parts[0]);
    if (scheme == NULL)
        return;
    if (!date_parse(request->parts[1], strlen(request->parts[1]), &order.date)) {
        answer_not_found(answer);
        return;
    }
    order.scheme = scheme->id;
    order.context = &viewing;
    enum store_result result = close_day(request->pg, request->service->snapshots, &order, &answer->faults);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
}
