/* SPDX-License-Identifier: ISC */
/* A flat ladder: the first step that refuses gives the answer, with all faults that this step finds. */
#include "http/server/admission.h"

#include "base/clock.h"
#include "base/uri.h"
#include "http/request/csv_body.h"
#include "http/request/json_body.h"
#include "http/request/media.h"
#include "http/request/multipart.h"
#include "http/request/route.h"
#include "http/request/router.h"
#include "http/server/rates.h"

#include <string.h>

static bool refuse(struct answer *answer, enum reason reason, const char *detail)
{
    faults_add(&answer->faults, reason, NULL, "%s", detail);
    return false;
}

bool admission_check_role(const struct request *request, struct answer *answer)
{
    if (request->route->roles == 0)
        return true;
    if (request->identity == NULL)
        return refuse(
            answer, REASON_UNAUTHENTICATED,
            "Sign in, or give a key as Authorization: Bearer, or its name and the key by HTTP Basic");
    if ((request->route->roles & 1u << request->identity->role) == 0)
        return refuse(answer, REASON_ROLE_NOT_ALLOWED, reason_info(REASON_ROLE_NOT_ALLOWED)->title);
    return true;
}

/* A form on another site can post without a body, and approving a payment needs no body. */
static bool check_site(const struct request *request, struct answer *answer)
{
    return request->route->method == METHOD_GET || !request->cross_site ||
           refuse(answer, REASON_CROSS_SITE, reason_info(REASON_CROSS_SITE)->title);
}

static bool check_rate(const struct request *request, struct answer *answer)
{
    return request->identity == NULL ||
           rates_allow(request->rates, request->identity->key, clock_monotonic_ms() * 1000) ||
           refuse(answer, REASON_TOO_MANY_REQUESTS, reason_info(REASON_TOO_MANY_REQUESTS)->title);
}

static bool is_parameter(const struct route *route, const char *name)
{
    if ((route->dry_run && strcmp(name, "dry_run") == 0) ||
        (route_has_choice(route) && strcmp(name, "format") == 0))
        return true;
    for (size_t i = 0; i < ROUTE_PARAMETERS_MAX && route->parameters[i].name != NULL; i++)
        if (strcmp(route->parameters[i].name, name) == 0)
            return true;
    return false;
}

/* False: out of memory. */
static bool decode_parameters(struct request *request)
{
    for (size_t i = 0; i < request->query_count; i++)
        if (!uri_decode(request->arena, &request->query[i].name) ||
            !uri_decode(request->arena, &request->query[i].value))
            return false;
    return true;
}

static bool is_repeated(const struct request *request, size_t i)
{
    for (size_t before = 0; before < i; before++)
        if (request->query[before].name != NULL &&
            strcmp(request->query[before].name, request->query[i].name) == 0)
            return true;
    return false;
}

static void check_parameters(const struct request *request, struct faults *faults)
{
    for (size_t i = 0; i < request->query_count; i++) {
        const struct query_parameter *parameter = &request->query[i];
        if (parameter->name == NULL || !is_parameter(request->route, parameter->name))
            faults_add_parameter(faults, REASON_PARAMETER_UNKNOWN,
                                 parameter->name != NULL ? parameter->name : "", "is not known here");
        else if (parameter->value == NULL)
            faults_add_parameter(faults, REASON_PARAMETER_INVALID, parameter->name,
                                 "is not percent-encoded UTF-8");
        else if (is_repeated(request, i))
            faults_add_parameter(faults, REASON_PARAMETER_INVALID, parameter->name, "is given twice");
    }
}

static void check_required(const struct request *request, struct faults *faults)
{
    const struct parameter *parameters = request->route->parameters;
    for (size_t i = 0; i < ROUTE_PARAMETERS_MAX && parameters[i].name != NULL; i++)
        if (parameters[i].required && request_query(request, parameters[i].name) == NULL)
            faults_add_parameter(faults, REASON_PARAMETER_MISSING, parameters[i].name, "is required");
}

static void check_dry_run(struct request *request, struct faults *faults)
{
    const char *dry_run = request_query(request, "dry_run");
    if (dry_run == NULL)
        return;
    request->dry_run = strcmp(dry_run, "true") == 0;
    if (!request->dry_run && strcmp(dry_run, "false") != 0)
        faults_add_parameter(faults, REASON_PARAMETER_INVALID, "dry_run", "must be true or false");
    else if (request->dry_run && request->stream)
        faults_add_parameter(faults, REASON_PARAMETER_INVALID, "dry_run",
                             "is not for a stream; post an array");
}

static bool check_query(struct request *request, struct answer *answer)
{
    if (!decode_parameters(request))
        return refuse(answer, REASON_OVERLOADED, "out of memory");
    check_parameters(request, &answer->faults);
    if (answer->faults.count > 0)
        return false;
    check_required(request, &answer->faults);
    check_dry_run(request, &answer->faults);
    return answer->faults.count == 0;
}

/* ?format= wins over Accept, because a person types it into an address. */
static bool check_media(const struct request *request, struct answer *answer)
{
    unsigned offered = request->stream ? 1u << MEDIA_NDJSON : route_media(request->route);
    const char *format = request_query(request, "format");
    bool found = format != NULL ? media_parse(offered, format, &answer->media)
                                : media_negotiate(offered, request->accept, &answer->media);
    bool plain = request->codings.identity, coded = request->codings.gzip && !request->stream;
    return (found && (plain || coded)) ||
           refuse(answer, REASON_NOT_ACCEPTABLE, reason_info(REASON_NOT_ACCEPTABLE)->title);
}

/* RFC 7303 section 9 registers both types. */
static bool check_xml(const struct request *request, struct answer *answer)
{
    if (request->content_encoding != NULL)
        return refuse(answer, REASON_UNSUPPORTED_MEDIA_TYPE, "The body must come without a Content-Encoding");
    return media_is(MEDIA_XML, request->content_type) || media_is_text_xml(request->content_type) ||
           refuse(answer, REASON_UNSUPPORTED_MEDIA_TYPE, "The body must be application/xml or text/xml");
}

/* RFC 4180 section 3 registers the type. */
static bool read_csv(struct request *request, struct answer *answer)
{
    if (request->content_encoding != NULL)
        return refuse(answer, REASON_UNSUPPORTED_MEDIA_TYPE, "The body must come without a Content-Encoding");
    if (!media_is(MEDIA_CSV, request->content_type))
        return refuse(answer, REASON_UNSUPPORTED_MEDIA_TYPE, "The body must be text/csv");
    request->csv = arena_alloc(request->arena, sizeof *request->csv);
    if (request->csv == NULL)
        return refuse(answer, REASON_OVERLOADED, "out of memory");
    request->json = csv_body_read(request->route->csv_body, request->body, request->body_length, request->csv,
                                  &answer->faults);
    return request->json != NULL;
}

static bool check_form(struct request *request, struct answer *answer)
{
    if (request->route->takes_files && request->content_encoding == NULL &&
        multipart_is(request->content_type))
        return multipart_parse(request->content_type, request->body, request->body_length, &request->form,
                               &answer->faults);
    if (request->content_encoding != NULL || !media_is(MEDIA_FORM, request->content_type))
        return refuse(answer, REASON_UNSUPPORTED_MEDIA_TYPE, "The body must be a form's");
    return form_body_parse(request->body, request->body_length, &request->form, &answer->faults);
}

/* Counts tries by the client's address and the name that it tries, so that nobody can lock others out. Two of
 * them may share a count, which makes a try fail a little earlier. FNV-1a spreads them. */
static bool check_guess(const struct request *request, struct answer *answer)
{
    enum { COUNTS = 4096 };
    uint64_t hash = (0xcbf29ce484222325u ^ request->client) * 0x100000001b3u;
    const char *name = form_value(&request->form, "name");
    for (size_t i = 0; name != NULL && name[i] != '\0'; i++)
        hash = (hash ^ (unsigned char)name[i]) * 0x100000001b3u;
    return !request->route->guessable ||
           rates_allow(request->guesses, (int32_t)((hash ^ hash >> 32) % COUNTS),
                       clock_monotonic_ms() * 1000) ||
           refuse(answer, REASON_TOO_MANY_REQUESTS, "Wait a minute before you try this name again");
}

/* A page's form also sends the fields that were left empty: treat these as absent. */
static void forget_empty(struct request *request)
{
    size_t kept = 0;
    for (size_t i = 0; i < request->query_count; i++)
        if (request->query[i].value[0] != '\0')
            request->query[kept++] = request->query[i];
    request->query_count = kept;
}

static bool check_body(struct request *request, struct answer *answer)
{
    if (request->route->for_browsers)
        return request->route->method == METHOD_GET ||
               (check_form(request, answer) && check_guess(request, answer));
    if (request->route->xml_body != NULL)
        return check_xml(request, answer);
    if (request->route->csv_body != NULL)
        return read_csv(request, answer);
    if (request->route->body == NULL && request->route->run != NULL)
        return true;
    if (request->route->body_optional && request->body_length == 0)
        return true;
    if (request->content_encoding != NULL)
        return refuse(answer, REASON_UNSUPPORTED_MEDIA_TYPE, "The body must come without a Content-Encoding");
    if (request->stream)
        return true;
    if (request->lines)
        return request->lines_file >= 0 ||
               refuse(answer, REASON_OVERLOADED, reason_info(REASON_OVERLOADED)->title);
    if (!media_is(MEDIA_JSON, request->content_type))
        return refuse(answer, REASON_UNSUPPORTED_MEDIA_TYPE, "The body must be application/json");
    request->json = json_body_parse(request->body, request->body_length, &answer->faults);
    return request->json != NULL;
}

bool admission_check(struct request *request, struct answer *answer)
{
    if (!admission_check_role(request, answer) || !check_site(request, answer) ||
        !check_rate(request, answer) || !check_query(request, answer) || !check_media(request, answer) ||
        !check_body(request, answer))
        return false;
    if (answer->media == MEDIA_HTML)
        forget_empty(request);
    return true;
}
