/* SPDX-License-Identifier: ISC */
/* The months of a scheme, which two people close for journals and reopen. */
#include "http/resources/handlers.h"

#include "app/office/months.h"
#include "http/request/slice.h"
#include "http/resources/payment_shapes.h"
#include "http/resources/proposing.h"

#include <stdio.h>
#include <string.h>

enum {
    MONTH_LENGTH = 7,
    NAME_MAX = CODE_MAX + MONTH_LENGTH + 2,
    /* The numbers of months, after which a cursor may lead on: February of year 1 to December of 9999. */
    CURSOR_MIN = 1 * 12 + 2,
    CURSOR_MAX = 9999 * 12 + 12,
};

/* Reads YYYY-MM. */
static bool read_month_text(const char *text, struct date *first)
{
    char day[DATE_TEXT_MAX];
    if (strlen(text) != MONTH_LENGTH)
        return false;
    snprintf(day, sizeof day, "%s-01", text);
    return date_parse(day, strlen(day), first);
}

/* Finds the month that scheme and text name. NULL: there is no such one, and a fault was added. */
static const struct scheme *find_month(const struct request *request, struct answer *answer, const char *code,
                                       const char *text, struct date *first)
{
    const struct scheme *scheme = request_scheme(request, answer, code);
    if (scheme == NULL || read_month_text(text, first))
        return scheme;
    answer_not_found(answer);
    return NULL;
}

void handle_months_list(const struct request *request, struct answer *answer)
{
    struct list_slice slice;
    const struct scheme *scheme = request_scheme(request, answer, request->parts[0]);
    if (scheme == NULL || !slice_begin(request, answer, &slice))
        return;
    if (slice.after >= 0 && (slice.after < CURSOR_MIN || slice.after > CURSOR_MAX)) {
        slice_refuse_cursor(answer);
        return;
    }
    enum store_result result = read_months(request->pg, scheme->id, &slice);
    slice_end(request, answer, result, &slice);
}

void handle_month_get(const struct request *request, struct answer *answer)
{
    struct date first;
    bool found = false;
    const struct scheme *scheme = find_month(request, answer, request->parts[0], request->parts[1], &first);
    if (scheme == NULL)
        return;
    enum store_result result = read_month(request->pg, scheme->id, first, &answer->body, &found);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (!found)
        answer_not_found(answer);
}

static void change(const struct request *request, struct answer *answer, struct month_change *wanted,
                   struct control *control)
{
    enum store_result result = month_change(request->pg, wanted, control, &answer->faults);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (control->proposed)
        answer_proposed(request, answer);
}

static void propose(const struct request *request, struct answer *answer, bool closes, const char *why)
{
    char name[NAME_MAX] = "";
    struct month_change wanted = {.closes = closes};
    struct control control = control_of(request, answer, PROPOSAL_MONTH, name);
    const struct scheme *scheme =
        find_month(request, answer, request->parts[0], request->parts[1], &wanted.first);
    if (scheme == NULL)
        return;
    snprintf(name, sizeof name, "%s.%s", scheme->code, request->parts[1]);
    wanted.scheme = scheme->id;
    control.body = closes ? "{\"closed\":true}" : "{\"closed\":false}";
    control.author.why = why;
    change(request, answer, &wanted, &control);
}

void handle_month_close(const struct request *request, struct answer *answer)
{
    propose(request, answer, true, NULL);
}

void handle_month_reopen(const struct request *request, struct answer *answer)
{
    struct stated_reason stated;
    json_t *body = request_json(request, answer);
    if (body != NULL && shape_decode(&shape_reason, body, "", NULL, &stated, &answer->faults))
        propose(request, answer, false, stated.reason);
}

void approve_month(const struct request *request, struct answer *answer, const struct kept_write *kept,
                   json_t *body, struct control *control)
{
    char code[CODE_SIZE];
    const char *point = strrchr(kept->name, '.');
    struct month_change wanted = {.closes = json_is_true(json_object_get(body, "closed"))};
    if (point == NULL || point - kept->name > CODE_MAX) {
        answer_store_failure(answer, STORE_FAILED);
        return;
    }
    memcpy(code, kept->name, (size_t)(point - kept->name));
    code[point - kept->name] = '\0';
    const struct scheme *scheme = find_month(request, answer, code, point + 1, &wanted.first);
    if (scheme == NULL)
        return;
    wanted.scheme = scheme->id;
    change(request, answer, &wanted, control);
}
