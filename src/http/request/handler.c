/* SPDX-License-Identifier: ISC */
/* Code that handlers share: reading query parameters, and the refusals that many handlers give. */
#include "http/request/handler.h"

#include "base/uri.h"
#include "base/utf8.h"
#include "http/request/json_text.h"
#include "http/request/route.h"

#include <stdlib.h>
#include <string.h>

enum { LINK_MAX = 8192, WHY_MAX = 200, NUMBER_DIGITS_MAX = 15, SEE_OTHER = 303 };

const char *request_query(const struct request *request, const char *name)
{
    for (size_t i = 0; i < request->query_count; i++)
        if (request->query[i].name != NULL && strcmp(request->query[i].name, name) == 0)
            return request->query[i].value;
    return NULL;
}

const char *request_target(const struct request *request, const char *name, const char *value)
{
    struct buffer text;
    buffer_init(&text, LINK_MAX);
    buffer_printf(&text, "%s?", request->path);
    for (size_t i = 0; i < request->query_count; i++) {
        if (strcmp(request->query[i].name, name) == 0)
            continue;
        uri_encode(&text, request->query[i].name);
        buffer_add_char(&text, '=');
        uri_encode(&text, request->query[i].value);
        buffer_add_char(&text, '&');
    }
    buffer_printf(&text, "%s=%s", name, value);
    const char *target = text.failed ? NULL : arena_copy(request->arena, text.data, text.length);
    buffer_dispose(&text);
    return target;
}

json_t *request_json(const struct request *request, struct answer *answer)
{
    if (request->json == NULL)
        faults_add(&answer->faults, REASON_NOT_JSON, "", "there is no body");
    return request->json;
}

void answer_mark_dry_run(struct answer *answer)
{
    object_reopen(&answer->body);
    buffer_add_text(&answer->body, ",\"dry_run\":true}");
}

void answer_new_key(struct answer *answer, const char *secret, bool dry_run)
{
    if (dry_run)
        return;
    object_reopen(&answer->body);
    buffer_printf(&answer->body, ",\"key\":\"%s\"}", secret);
}

bool answer_goes_on(struct answer *answer)
{
    return answer->pass_on == NULL || answer->pass_on(answer);
}

/* A browser keeps a cookie with the prefix __Host- to TLS and to this one host (RFC 6265bis section 4.1.3.2).
 */
const char *session_cookie(const struct config *config)
{
    return config->behind_tls ? "__Host-depositd" : "depositd";
}

int64_t path_number(const char *part)
{
    size_t digits = strspn(part, "0123456789");
    return digits > 0 && digits <= NUMBER_DIGITS_MAX && part[digits] == '\0' ? strtoll(part, NULL, 10) : 0;
}

void answer_lead_to(struct answer *answer, const char *target)
{
    answer->status = SEE_OTHER;
    answer->location = target;
    answer->is_page = true; /* an empty one */
}

static enum reason store_reason(enum store_result result)
{
    switch (result) {
    case STORE_OUTCOME_UNKNOWN:
        return REASON_OUTCOME_UNKNOWN;
    case STORE_UNAVAILABLE:
    case STORE_CONFLICT:
    case STORE_LOCKED:
        return REASON_OVERLOADED;
    case STORE_TOO_SLOW:
        return REASON_TOO_SLOW;
    case STORE_OK:
    case STORE_OUT_OF_RANGE:
    case STORE_REFUSED:
    case STORE_FAILED:
        break;
    }
    return REASON_INTERNAL_ERROR;
}

void answer_store_failure(struct answer *answer, enum store_result result)
{
    enum reason reason = store_reason(result);
    if (reason == REASON_TOO_SLOW && answer->deadline_setting != NULL)
        faults_add(
            &answer->faults, reason, NULL,
            "The database did not answer within %lld ms, which the setting %s bounds; nothing was recorded",
            (long long)answer->deadline_ms, answer->deadline_setting);
    else
        faults_refuse(&answer->faults, reason);
}

void answer_not_found(struct answer *answer)
{
    faults_refuse(&answer->faults, REASON_NOT_FOUND);
}

enum reason reason_of_lost_answer(const struct request *request)
{
    bool writes = request->route != NULL && request->route->method != METHOD_GET && !request->dry_run;
    return writes ? REASON_OUTCOME_UNKNOWN : REASON_OVERLOADED;
}

bool request_knows_scheme(const struct request *request, const struct scheme *scheme)
{
    const struct network *network = &request->snapshot->network;
    if (identity_has_all(request->identity))
        return true;
    for (size_t i = 0; i < network->site_count; i++)
        if (network->sites[i].scheme == scheme->id &&
            identity_has_site(request->identity, &network->sites[i]))
            return true;
    return false;
}

const bool *request_known_schemes(const struct request *request)
{
    const struct network *network = &request->snapshot->network;
    bool all = identity_has_all(request->identity);
    bool *known = arena_array(request->arena, (size_t)network->scheme_ids + 1, sizeof *known);
    if (known == NULL)
        return NULL;
    for (int32_t id = 0; id < network->scheme_ids; id++)
        known[id] = all && network->scheme_by_id[id] != NULL;
    for (size_t i = 0; !all && i < network->site_count; i++)
        if (identity_has_site(request->identity, &network->sites[i]))
            known[network->sites[i].scheme] = true;
    return known;
}

const struct scheme *request_scheme(const struct request *request, struct answer *answer, const char *code)
{
    if (code == NULL) {
        faults_add_parameter(&answer->faults, REASON_PARAMETER_MISSING, "scheme", "is required");
        return NULL;
    }
    const struct scheme *scheme = network_scheme(&request->snapshot->network, code);
    if (scheme == NULL || !request_knows_scheme(request, scheme)) {
        answer_not_found(answer);
        return NULL;
    }
    return scheme;
}

bool request_date(const struct request *request, struct answer *answer, const char *name, struct date *date)
{
    const char *text = request_query(request, name);
    if (text == NULL || date_parse(text, strlen(text), date))
        return true;
    faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, name, "must be a date, as 2026-05-12");
    return false;
}

bool request_flag(const struct request *request, struct answer *answer, const char *name, bool *value,
                  const bool **asked)
{
    const char *text = request_query(request, name);
    *asked = text != NULL ? value : NULL;
    *value = text != NULL && strcmp(text, "true") == 0;
    if (text == NULL || *value || strcmp(text, "false") == 0)
        return true;
    faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, name, "must be true or false");
    return false;
}

bool request_why(const struct request *request, struct answer *answer, const char **why)
{
    *why = request_query(request, "why");
    if (*why == NULL)
        return true;
    size_t count = utf8_length(*why);
    if (count >= 1 && count <= WHY_MAX && !utf8_has_control(*why))
        return true;
    faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "why",
                         "must be 1 to %d characters, without control characters", WHY_MAX);
    return false;
}
