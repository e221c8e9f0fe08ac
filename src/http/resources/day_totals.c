/* SPDX-License-Identifier: ISC */
/* /v1/sites/{site}/day-totals/{date}: the totals that a till reports for its day, to be compared with the
 * events that arrived. */
#include "app/office/day_totals.h"

#include "http/resources/handlers.h"
#include "http/resources/oversight_shapes.h"

#include <string.h>

#define CUPS_TOTAL_MAX 1000000000 /* more than any day has */
#define FIELD(member, form_, highest, text)                                                                  \
    {                                                                                                        \
        .name = #member, .form = form_, .required = true, .offset = offsetof(struct day_totals, member),     \
        .maximum = highest, .description = text                                                              \
    }

static const struct field fields[] = {
    FIELD(issued, FORM_INTEGER, CUPS_TOTAL_MAX, "Cups issued in the business day"),
    FIELD(returned, FORM_INTEGER, CUPS_TOTAL_MAX, "Cups returned, also damaged ones"),
    FIELD(collected, FORM_AMOUNT, 0, "Deposits taken; of an exchange, the customer's net payment"),
    FIELD(refunded, FORM_AMOUNT, 0, "Deposits paid out; of an exchange, the net amount paid to the customer"),
};
const struct shape shape_day_totals_put = {"DayTotalsPut", sizeof(struct day_totals), fields,
                                           sizeof fields / sizeof fields[0], false};

/* The site and the day that the path names, if the key may know them. */
static const struct site *named(const struct request *request, struct answer *answer, struct date *date)
{
    const struct site *site = network_site(&request->snapshot->network, request->parts[0]);
    if (site != NULL && identity_has_site(request->identity, site) &&
        date_parse(request->parts[1], strlen(request->parts[1]), date))
        return site;
    answer_not_found(answer);
    return NULL;
}

static void show(struct answer *answer, const char *tag)
{
    answer->etag = arena_copy(answer->arena, tag, strlen(tag));
}

void handle_day_totals_get(const struct request *request, struct answer *answer)
{
    struct date date;
    bool found = false;
    char tag[REFERENCE_TAG_SIZE];
    const struct site *site = named(request, answer, &date);
    if (site == NULL)
        return;
    enum store_result result =
        store_day_total_get(request->pg, site->scheme, site->id, date, &answer->body, &found);
    if (result != STORE_OK) {
        answer_store_failure(answer, result);
    } else if (!found) {
        answer_not_found(answer);
    } else {
        reference_tag(&answer->body, tag);
        show(answer, tag);
    }
}

void handle_day_totals_put(const struct request *request, struct answer *answer)
{
    struct day_totals totals;
    struct day_totals_put put = {.key = request->identity->key,
                                 .totals = &totals,
                                 .if_match = request->if_match,
                                 .dry_run = request->dry_run};
    struct reference_shown shown = {.json = &answer->body};
    json_t *body = request_json(request, answer);
    put.site = named(request, answer, &put.date);
    if (put.site == NULL || body == NULL ||
        !shape_decode(&shape_day_totals_put, body, "", NULL, &totals, &answer->faults))
        return;
    put.scheme = request->snapshot->network.scheme_by_id[put.site->scheme];
    enum store_result result = day_totals_put(request->pg, &put, &shown, &answer->faults);
    if (result != STORE_OK) {
        answer_store_failure(answer, result);
    } else if (answer->faults.count == 0) {
        answer->status = shown.created ? 201 : 200;
        answer->location = shown.created ? request->path : NULL;
        show(answer, shown.tag);
    }
}
