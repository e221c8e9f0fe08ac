/* SPDX-License-Identifier: ISC */
/* The properties of a route decide which reasons admission, the parsers of bodies and the database give. The
 * route's row lists all other reasons. */
#include "http/contract/route_reasons.h"

#include "http/request/router.h"

#include <string.h>

const enum reason event_reasons[] = {
    REASON_SITE_NOT_ALLOWED,
    REASON_CUP_TYPE_REPEATED,
    REASON_AMOUNT_DECIMALS,
    REASON_SCHEME_UNKNOWN,
    REASON_SITE_UNKNOWN,
    REASON_CUP_TYPE_UNKNOWN,
    REASON_EVENT_UNKNOWN,
    REASON_SAME_SITE,
    REASON_SITE_IN_OTHER_SCHEME,
    REASON_NOT_A_DISPATCH,
    REASON_BATCH_UNKNOWN,
    REASON_OCCURRED_IN_FUTURE,
    REASON_SCHEME_NOT_OPEN,
    REASON_BEFORE_FIRST_DAY,
    REASON_SITE_NOT_OPEN,
    REASON_SCHEME_ENDED,
    REASON_NO_REFUND_VALUE,
    REASON_NOT_AGREED,
    REASON_BEARER_IN_OTHER_SCHEME,
    REASON_SITE_DIFFERS,
    REASON_REVERSAL_OF_REVERSAL,
    REASON_ALREADY_REVERSED,
    REASON_DISPATCH_ARRIVED,
    REASON_RETIRED_IN_BATCH,
    REASON_REVERSAL_NEEDS_ACCOUNTANT,
    REASON_RETIRE_NEEDS_HUB,
    REASON_MORE_THAN_OUT,
    REASON_MORE_THAN_FORFEITED,
    REASON_EVENT_ID_CONFLICT,
    REASON_ACCOUNT_UNKNOWN,
    REASON_NOT_FOR_JOURNALS,
    REASON_UNBALANCED,
    REASON_REVERSAL_OF_JOURNAL,
    REASON_PROPOSAL_DECIDED,
    REASON_BANK_BY_STATEMENT,
    REASON_MONTH_CLOSED,
    REASON_PARTICIPANT_UNKNOWN,
    REASON_PARTICIPANT_REPEATED,
    REASON_PARTICIPANT_ELSEWHERE,
    REASON_OPENING_TOO_LATE,
    REASON_OPENING_NOT_ON_FIRST_DAY,
    REASON_FIRST_DAY_CLOSED,
    REASON_OPENING_STANDS,
    REASON_OPENING_PENDING,
    REASON_NONE,
};

const enum reason reference_reasons[] = {
    REASON_NAME_TAKEN,          REASON_AMOUNT_DECIMALS,
    REASON_FEE_ROW_REPEATED,    REASON_CURRENCY_UNKNOWN,
    REASON_TIME_ZONE_UNKNOWN,   REASON_SCHEME_UNKNOWN,
    REASON_SITE_UNKNOWN,        REASON_PARTICIPANT_UNKNOWN,
    REASON_CUP_TYPE_UNKNOWN,    REASON_CUP_TYPE_REPEATED,
    REASON_VALUE_REPEATED,      REASON_ACCOUNT_UNKNOWN,
    REASON_STARTS_TOO_SOON,     REASON_FIXED_ONCE_POSTED,
    REASON_BANK_ACCOUNT_SHARED, REASON_TWO_PEOPLE_NEEDED,
    REASON_NONE,
};

const enum reason proposal_reasons[] = {
    REASON_NAME_TAKEN,          REASON_AMOUNT_DECIMALS,
    REASON_CURRENCY_UNKNOWN,    REASON_TIME_ZONE_UNKNOWN,
    REASON_SCHEME_UNKNOWN,      REASON_SITE_UNKNOWN,
    REASON_PARTICIPANT_UNKNOWN, REASON_CUP_TYPE_UNKNOWN,
    REASON_CUP_TYPE_REPEATED,   REASON_STARTS_TOO_SOON,
    REASON_FIXED_ONCE_POSTED,   REASON_PROPOSAL_DECIDED,
    REASON_SECOND_KEY_NEEDED,   REASON_MONTH_NOT_ENDED,
    REASON_MONTH_CLOSED,        REASON_MONTH_OPEN,
    REASON_LINE_NOT_OPEN,       REASON_SCHEME_NOT_OPEN,
    REASON_FEE_ROW_REPEATED,    REASON_BAD_FORMAT,
    REASON_MEMBER_MISSING,      REASON_MEMBER_UNKNOWN,
    REASON_VALUE_UNKNOWN,       REASON_OUT_OF_RANGE,
    REASON_ACCOUNT_UNKNOWN,     REASON_NONE,
};

const enum reason statement_reasons[] = {
    REASON_NOT_CAMT053,        REASON_STATEMENT_INVALID,
    REASON_STATEMENT_CURRENCY, REASON_STATEMENT_ACCOUNT,
    REASON_STATEMENT_CONFLICT, REASON_TOO_MANY,
    REASON_OUT_OF_RANGE,       REASON_SCHEME_NOT_OPEN,
    REASON_OPENING_PENDING,    REASON_NONE,
};

static bool is_post_of_events(const struct route *route)
{
    return route->run == NULL && route->csv_body == NULL;
}

static bool takes_json(const struct route *route)
{
    return route->body != NULL || is_post_of_events(route);
}

static bool takes_csv(const struct route *route)
{
    return route->csv_body != NULL;
}

/* Whether bodies have members, by which their faults are named. */
static bool takes_members(const struct route *route)
{
    return takes_json(route) || takes_csv(route);
}

bool route_has_body(const struct route *route)
{
    return takes_members(route) || route->xml_body != NULL;
}

static bool has_parameter(const struct route *route, const char *name)
{
    for (size_t i = 0; i < ROUTE_PARAMETERS_MAX && route->parameters[i].name != NULL; i++)
        if (strcmp(route->parameters[i].name, name) == 0)
            return true;
    return false;
}

static bool names_scheme(const struct route *route)
{
    return has_parameter(route, "scheme") || has_parameter(route, "schemes");
}

static bool names_something(const struct route *route)
{
    return strchr(route->path, '{') != NULL || names_scheme(route);
}

static bool is_in_row(const struct route *route, enum reason reason)
{
    for (const enum reason *item = route->reasons; item != NULL && *item != REASON_NONE; item++)
        if (*item == reason)
            return true;
    return false;
}

static bool always(const struct route *route)
{
    (void)route;
    return true;
}

static bool asks_for_key(const struct route *route)
{
    return route->roles != 0;
}

static bool asks_for_role(const struct route *route)
{
    return route->roles != 0 && route->roles != FOR_ALL;
}

static bool writes(const struct route *route)
{
    return route->method != METHOD_GET;
}

static bool may_not_find(const struct route *route)
{
    return names_something(route) && !is_post_of_events(route);
}

static bool asks_database(const struct route *route)
{
    return !route->at_once;
}

static bool heeds_if_match(const struct route *route)
{
    return route->method == METHOD_PUT;
}

static bool takes_xml(const struct route *route)
{
    return route->xml_body != NULL;
}

/* Reasons that follow from a property of the route, with that property. A reason without a row here is given
 * only by the routes that name it. */
static const struct {
    enum reason reason;
    bool (*given_by)(const struct route *route);
} general[] = {
    {REASON_UNAUTHENTICATED, asks_for_key},
    {REASON_TOO_MANY_REQUESTS, asks_for_key},
    {REASON_ROLE_NOT_ALLOWED, asks_for_role},
    {REASON_CROSS_SITE, writes},
    {REASON_NOT_FOUND, may_not_find},
    {REASON_BAD_FRAMING, always},
    {REASON_REQUEST_TIMEOUT, always},
    {REASON_TARGET_TOO_LONG, always},
    {REASON_HEAD_TOO_LARGE, always},
    {REASON_NOT_IMPLEMENTED, always},
    {REASON_VERSION_NOT_SUPPORTED, always},
    {REASON_METHOD_NOT_ALLOWED, always},
    {REASON_NOT_ACCEPTABLE, always},
    {REASON_BODY_TOO_LARGE, always},
    {REASON_PARAMETER_UNKNOWN, always},
    {REASON_PARAMETER_INVALID, always},
    {REASON_INTERNAL_ERROR, always},
    {REASON_OVERLOADED, always},
    {REASON_TOO_SLOW, asks_database},
    {REASON_PARAMETER_MISSING, names_scheme},
    {REASON_PRECONDITION_FAILED, heeds_if_match},
    {REASON_UNSUPPORTED_MEDIA_TYPE, route_has_body},
    {REASON_NOT_XML, takes_xml},
    {REASON_NOT_JSON, takes_json},
    {REASON_NOT_CSV, takes_csv},
    {REASON_MEMBER_UNKNOWN, takes_members},
    {REASON_MEMBER_MISSING, takes_members},
    {REASON_WRONG_TYPE, takes_members},
    {REASON_BAD_FORMAT, takes_members},
    {REASON_VALUE_UNKNOWN, takes_members},
    {REASON_OUT_OF_RANGE, takes_members},
    {REASON_TOO_LONG, takes_members},
    {REASON_TOO_MANY, takes_members},
    {REASON_TOO_FEW, takes_members},
    {REASON_OUTCOME_UNKNOWN, writes},
};

static bool is_general(const struct route *route, enum reason reason)
{
    for (size_t i = 0; i < sizeof general / sizeof general[0]; i++)
        if (general[i].reason == reason)
            return general[i].given_by(route);
    return false;
}

bool route_can_give(const struct route *route, enum reason reason)
{
    return is_general(route, reason) || is_in_row(route, reason);
}

bool route_can_fail(const struct route *route, int status)
{
    for (int reason = REASON_NONE + 1; reason < REASON_COUNT; reason++)
        if (reason_info((enum reason)reason)->status == status && route_can_give(route, (enum reason)reason))
            return true;
    return false;
}
