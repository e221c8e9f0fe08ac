/* SPDX-License-Identifier: ISC */
/* The table of routes. Its roles follow the interface's table of roles and operations. Handlers decide which
 * part of a resource a key may see (its own sites, its own participant). */
#include "http/contract/routes.h"

#include "http/contract/problem_types.h"
#include "http/contract/route_reasons.h"
#include "http/events/handlers.h"
#include "http/events/opening_lines.h"
#include "http/forms/form_file.h"
#include "http/forms/forms.h"
#include "http/request/route.h"
#include "http/resources/bank_shapes.h"
#include "http/resources/handlers.h"
#include "http/resources/oversight_shapes.h"
#include "http/resources/payment_shapes.h"
#include "http/resources/plan_shapes.h"
#include "http/resources/reference_shapes.h"
#include "http/resources/shipment_shapes.h"

#define ROW(of_method, of_path, for_roles, handle, in_short, answer)                                         \
    .method = of_method, .path = of_path, .roles = for_roles, .run = handle, .summary = in_short,            \
    .answer_schema = answer
#define GET(of_path, for_roles, handle, in_short, answer)                                                    \
    ROW(METHOD_GET, of_path, for_roles, handle, in_short, answer),                                           \
        .answer_statuses = {200, (for_roles) != 0 ? 304 : 0}
#define LIST(of_path, for_roles, handle, in_short, answer)                                                   \
    GET(of_path, for_roles, handle, in_short, answer), .parameters = {SLICED}
#define TIMELINE(of_path, for_roles, handle, in_short, answer)                                               \
    GET(of_path, for_roles, handle, in_short, answer), .parameters = {ORDERED}
#define PUT(of_path, handle, in_short, shape, answer)                                                        \
    ROW(METHOD_PUT, of_path, FOR_ADMIN, handle, in_short, answer),                                           \
        .body = &(shape), .answer_statuses = {200, 201}, .dry_run = true, .located = true,                   \
        .parameters = {WHY}
#define POST(of_path, for_roles, handle, in_short, answer)                                                   \
    ROW(METHOD_POST, of_path, for_roles, handle, in_short, answer), .dry_run = true

/* A list of things in CSV, which is the document of POST /v1/reference with this list alone. */
#define LOAD(of_path, handle, of_things, form)                                                               \
    POST(of_path, FOR_ADMIN, handle, "Takes " of_things " from a spreadsheet, all or nothing",               \
         "ReferenceTaken"),                                                                                  \
        .csv_body = &(form), .body_large = true, .answer_statuses = {200}, .parameters = {WHY},              \
        .is_long = true,                                                                                     \
        .about =                                                                                             \
            "A line is the whole thing, as in PUT: a column that is missing, or an empty cell, leaves the "  \
            "member out. A fault's pointer is /line/column."

#define FOR_BROWSERS(of_method, of_path, for_roles, handle, in_short)                                        \
    ROW(of_method, of_path, for_roles, handle, in_short, "Page"),                                            \
        .answer_statuses = {200}, .for_browsers = true, .media = 1u << MEDIA_HTML

/* The reasons of a row, besides those that any request can meet. */
#define REASONS(...)                                                                                         \
    .reasons = (const enum reason[])                                                                         \
    {                                                                                                        \
        __VA_ARGS__, REASON_NONE                                                                             \
    }

#define SCHEME                                                                                               \
    {                                                                                                        \
        "scheme", "Code of the scheme", true                                                                 \
    }
#define AS_OF                                                                                                \
    {                                                                                                        \
        "as_of", "The business day at whose end; the one that contains now unless given", false              \
    }
#define PLAN_ABOUT                                                                                           \
    "Nothing is recorded. A site gives whole boxes that it has over its par stock, and gets what it lacks. " \
    "No plan that brings the same boxes to the same sites costs less than bound; gap is the share of the "   \
    "cost above it. Cups asked for or on the road count at their receiver up to its par stock, and no "      \
    "longer count at their sender. Counts say nothing about hygiene: cups go back into service only as "     \
    "local food codes allow. One such request runs at a time; a second is refused as overloaded."
#define PURCHASE_ABOUT                                                                                       \
    "Nothing is recorded. Cups out follow from Little's law (J. D. C. Little, 1961): demand per day times "  \
    "days "                                                                                                  \
    "out. The par stock of a site is its mean demand and as many standard deviations as the normal "         \
    "distribution has at the service level. Measured figures are of the last 84 business days. Uses are "    \
    "issues, trips are returns. The figures say nothing about the environment: such claims need evidence "   \
    "that local rules accept."
/* clang-format off */
#define WHY    {"why", "Recorded with the change: 1 to 200 characters", false}
#define MINE   {"mine", "Of open ones: only those that the holder of the key has proposed, or only those of others", false}
#define SLICED {"limit", "Items on a page", false}, {"cursor", "The next or previous of another page", false}
#define ORDERED {"order", "The end that it begins with: oldest unless given, but newest on pages", false}, SLICED

static const struct route routes[] = {
    /* operations */
    {LIST("/", FOR_ALL, handle_index, "The network at a glance, and all routes", "Index"),
     .id = "getIndex", .tag = TAG_SERVICE},
    {ROW(METHOD_GET, "/style.css", 0, handle_style, "The pages' style sheet", "Style"), .answer_statuses = {200, 304},
     .media = 1u << MEDIA_CSS, .at_once = true, .kept = true,
     .id = "getStyleSheet", .tag = TAG_SERVICE},
    {GET("/healthz", 0, handle_healthz, "Whether the process is alive", "Health"), .at_once = true,
     .id = "getLiveness", .tag = TAG_SERVICE},
    {GET("/readyz", 0, handle_readyz, "Whether the service can record events", "Health"),
     .at_once = true,
     .id = "getReadiness", .tag = TAG_SERVICE},
    {GET("/metrics", 0, handle_metrics, "Figures of the running process, in the Prometheus text format", "Metrics"),
     .media = 1u << MEDIA_METRICS, .at_once = true,
     .id = "getMetrics", .tag = TAG_SERVICE},
    {GET("/openapi.json", 0, handle_openapi, "This document", "Document"), .at_once = true,
     .id = "getDocument", .tag = TAG_SERVICE},
    {GET("/problems/{reason}", 0, handle_problem_type, "What the reason of a problem means, and what to do about it",
         "ProblemType"),
     .media = 1u << MEDIA_JSON | 1u << MEDIA_HTML, .at_once = true, .kept = true,
     .id = "getProblemType", .tag = TAG_SERVICE,
     .about = "The type of each problem leads here."},
    {LIST("/v1/tasks/{task}", FOR_ALL, handle_tasks_list, "The schemes in which a task waits to be done", "TaskList"),
     .id = "listTasks", .tag = TAG_SERVICE,
     .about = "GET / has the tasks of the caller. Each has a link to the list with exactly the things that it counts. A "
              "task that the caller's role does not have waits nowhere."},
    {GET("/v1/office", FOR_OFFICE, handle_office, "All schemes: what is uncovered, late, owed and open in each, the worst first", "Office"),
     .media = 1u << MEDIA_JSON | 1u << MEDIA_CSV | 1u << MEDIA_HTML,
     .parameters = {{"state", "Only schemes that are uncovered, late, owed, open, or clear of all of these", false},
                    {"currency", "Only schemes of this currency", false},
                    {"sum_in", "The currency in which to add up all schemes", false},
                    {"rates", "The price of one unit of each other currency in sum_in, as CAD:0.68,ISK:0.0067", false},
                    {"rate_day", "The day that the rates are of", false}},
     .is_long = true, .id = "getOffice", .tag = TAG_SERVICE, REASONS(REASON_OUT_OF_RANGE),
     .about = "The order: schemes whose pool is short, then those with more days that should be closed, more payments "
              "overdue, arrears, more open things, and last the code. Amounts have no part in it, because currencies "
              "differ. Amounts of different currencies are added only with sum_in, at rates and a day that the caller "
              "states; each is rounded half to even once per currency."},

    /* events */
    {POST("/v1/events", FOR_POS | FOR_STAFF, NULL, "Posts one event, an array of up to 1000, or a stream of any number", "Posted"),
     .answer_statuses = {201, 200, 202},
     .id = "postEvents", .tag = TAG_EVENTS, .reasons = event_reasons,
     .about = "The status answers one event: 201 for a new event, 200 for an event that was recorded before, "
              "202 for a journal or an opening that waits for a second person. Several events, as an array or as a stream, "
              "are answered one by one in their order; a refused event does not hold up the others. Post an "
              "event again if its answer is missing: the service records each event_id once, however often it"
              " is posted."},
    {GET("/v1/events", FOR_ALL, handle_events_list,
         "Entries in their order; with scheme alone, the feed: next is then always given", "EntryList"),
     .parameters = {{"scheme", "Code of the scheme; a key whose sites are all in one scheme may leave it out", false},
                    {"site", "Code of a site", false},
                    {"kind", "Kind of entry", false},
                    {"business_date", "The day that it posted to", false},
                    {"from", "First business day", false},
                    {"to", "Last business day", false},
                    {"reference", "The client's reference", false},
                    {"late", "Whether it happened on an earlier day than the day that it posted to", false},
                    ORDERED},
     .id = "listEvents", .tag = TAG_EVENTS,
     .about = "With scheme alone this is the feed: it always gives next, also on the last page, and next "
              "leads to entries that are recorded later. Store next, and ask again from there. To keys that "
              "see all sites the feed also shows the cut of each day (kind day_cut), after the last entry that "
              "was recorded before it. Close the day there in a replay, and every event posts to the same day."},
    {GET("/v1/feed", FOR_OFFICE, handle_feed, "The feed of many schemes: entries and the cuts of days, in each scheme's order", "Feed"),
     .media = 1u << MEDIA_JSON,
     .parameters = {{"schemes", "Codes of at most 700 schemes, separated by commas; or all", true},
                    {"wait", "Seconds to wait for news if there is none", false},
                    SLICED},
     .id = "getFeed", .tag = TAG_EVENTS,
     .about = "An answer has the items that come after the places that the cursor has in the schemes, and always "
              "gives next. Store next, and ask again from there: so a reader misses nothing and sees nothing twice. "
              "A scheme that is not in the cursor begins at its start; with all this includes new schemes. next has "
              "places in the schemes that were asked for, and no others. With wait an answer without items comes only "
              "when the time is over, or the service stops."},
    {GET("/v1/events/{event_id}", FOR_ALL, handle_event_get, "An event with its entry", "RecordedEvent"),
     .parameters = {{"scheme", "Code of the scheme, needed if two schemes have the id", false}},
     .id = "getEvent", .tag = TAG_EVENTS},
    {GET("/v1/entries/{entry}", FOR_ALL, handle_entry_get, "An entry by its number, also an entry of a close", "RecordedEntry"),
     .parameters = {SCHEME},
     .id = "getEntry", .tag = TAG_EVENTS},

    /* shipments */
    {GET("/v1/shipments", FOR_ALL, handle_shipments_list, "Requested shipments by age, and who must act", "ShipmentList"),
     .parameters = {SCHEME,
                    {"site", "Code of a site: only shipments that it sends or receives", false},
                    {"state", "Only those in a state: open, requested, in_transit, short, arrived or withdrawn", false},
                    {"waits_for", "Only open ones that wait for the sender, the receiver or the accountant", false},
                    {"overdue", "Whether the day on which they are wanted has passed", false},
                    ORDERED},
     .id = "listShipments", .tag = TAG_SHIPMENTS,
     .about = "The sender must act while cups are still to be sent, the receiver while nothing of a dispatch has come, and "
              "the accountant when a part of a dispatch has come and the rest is missing."},
    {POST("/v1/shipments", FOR_STAFF, handle_shipments_post, "Asks for shipments from one site to another, all or none", "ShipmentsKept"),
     .body = &shape_shipments, .answer_statuses = {201, 200}, .located = true, .id = "createShipments", .tag = TAG_SHIPMENTS,
     REASONS(REASON_SCHEME_UNKNOWN, REASON_SITE_UNKNOWN, REASON_SITE_IN_OTHER_SCHEME, REASON_BEARER_IN_OTHER_SCHEME, REASON_SAME_SITE,
             REASON_CUP_TYPE_UNKNOWN, REASON_CUP_TYPE_REPEATED, REASON_VALUE_REPEATED, REASON_SHIPMENT_CONFLICT,
             REASON_OPENING_PENDING, REASON_BEFORE_FIRST_DAY, REASON_NO_REFUND_VALUE),
     .about = "A request moves nothing and costs nothing. A dispatch that fulfils it names it. No dispatch or receipt is "
              "refused because of a request. 201: Location is the first of them. 200: all of them had been asked for before."},
    {GET("/v1/shipments/{shipment}", FOR_ALL, handle_shipment_get, "A requested shipment, and what came of it", "Shipment"),
     .parameters = {{"scheme", "Code of the scheme, needed if two schemes have the id", false}},
     .id = "getShipment", .tag = TAG_SHIPMENTS},
    {GET("/v1/shipments/{shipment}/packing-list", FOR_ALL, handle_packing_list,
         "The packing list of a requested shipment; as a page, to be printed", "PackingList"),
     .parameters = {{"scheme", "Code of the scheme, needed if two schemes have the id", false}},
     .id = "getPackingList", .tag = TAG_SHIPMENTS},
    {POST("/v1/shipments/{shipment}/withdraw", FOR_STAFF, handle_shipment_withdraw, "Withdraws what is still to be sent of a shipment", "Shipment"),
     .parameters = {{"scheme", "Code of the scheme, needed if two schemes have the id", false}},
     .body = &shape_reason, .answer_statuses = {200}, .id = "withdrawShipment", .tag = TAG_SHIPMENTS,
     REASONS(REASON_SHIPMENT_DONE, REASON_OPENING_PENDING)},

    /* proofs */
    {GET("/v1/events/{event_id}/proof", FOR_ALL, handle_event_proof, "The proof that an event is under its day's seal", "Proof"),
     .parameters = {{"scheme", "Code of the scheme, needed if two schemes have the id", false}}, .not_yet = true,
     .is_long = true, .id = "getEventProof", .tag = TAG_PROOFS, REASONS(REASON_DAY_NOT_SEALED, REASON_SEAL_BROKEN),
     .about = "The path leads from the leaf to the root of the day's tree as in RFC 9162 section 2.1.3. Until the "
              "day is closed the reason is day_not_sealed: ask again later."},
    {GET("/v1/entries/{entry}/proof", FOR_ALL, handle_entry_proof, "The proof that an entry, also an entry of"
                                                                   " a close, is under its day's seal", "Proof"),
     .parameters = {SCHEME}, .not_yet = true,
     .is_long = true, .id = "getEntryProof", .tag = TAG_PROOFS, REASONS(REASON_DAY_NOT_SEALED, REASON_SEAL_BROKEN)},
    {GET("/v1/seals", FOR_OFFICE, handle_seals_list, "The chain of a scheme's seals", "SealList"), .parameters = {SCHEME, ORDERED},
     .id = "listSeals", .tag = TAG_PROOFS},

    /* keys */
    {GET("/v1/me", FOR_ALL, handle_me, "The key, and the business day and refund values of its sites", "Me"),
     .id = "getMe", .tag = TAG_KEYS,
     .about = "A till asks this when it starts: the sites that the key is for, their business day, and the "
              "refund value of each cup type now."},
    {POST("/v1/me/renew", FOR_ALL, handle_me_renew, "Gives the key another secret, shown this once, and ends the old one", "NewKey"),
     .answer_statuses = {200}, .parameters = {WHY},
     .id = "renewKey", .tag = TAG_KEYS,
     .about = "The maker of a key has seen its first secret, and counts as the same person as the holder "
              "until the holder has renewed it."},
    {POST("/v1/me/language", FOR_ALL, handle_me_language, "Changes the language of the key's pages", "Key"),
     .body = &shape_key_language, .answer_statuses = {200}, .parameters = {WHY},
     .id = "setMyLanguage", .tag = TAG_KEYS},
    {TIMELINE("/v1/me/sessions", FOR_ALL, handle_sessions_list, "The browsers that have signed in with the key", "SessionList"),
     .id = "listMySessions", .tag = TAG_KEYS},
    {ROW(METHOD_DELETE, "/v1/me/sessions/{session}", FOR_ALL, handle_session_delete, "Ends a browser's session with the key", NULL),
     .answer_statuses = {204}, .dry_run = true,
     .id = "endMySession", .tag = TAG_KEYS},
    {LIST("/v1/keys", FOR_ADMIN, handle_keys_list, "All keys, also revoked ones, without their secrets", "KeyList"),
     .id = "listKeys", .tag = TAG_KEYS},
    {POST("/v1/keys", FOR_ADMIN, handle_keys_post, "Makes a key; its secret is shown this once", "NewKey"),
     .body = &shape_key_post, .answer_statuses = {201, 200}, .parameters = {WHY}, .may_propose = true,
     .id = "createKey", .tag = TAG_KEYS, REASONS(REASON_NAME_TAKEN, REASON_SITE_UNKNOWN, REASON_PARTICIPANT_UNKNOWN)},
    {POST("/v1/keys/{name}/language", FOR_ADMIN, handle_key_language, "Changes the language of a key's pages", "Key"),
     .body = &shape_key_language, .answer_statuses = {200}, .parameters = {WHY},
     .id = "setKeyLanguage", .tag = TAG_KEYS},
    {ROW(METHOD_DELETE, "/v1/keys/{name}", FOR_ADMIN, handle_key_delete, "Revokes a key", NULL),
     .answer_statuses = {204}, .dry_run = true, .parameters = {WHY},
     .id = "revokeKey", .tag = TAG_KEYS},

    /* reference data */
    {GET("/v1/reference", FOR_ALL, handle_reference_get, "All reference data in one document", "Reference"),
     .media = 1u << MEDIA_JSON | 1u << MEDIA_NDJSON | 1u << MEDIA_HTML, .line_schema = "ReferenceDocument",
     .id = "getReference", .tag = TAG_REFERENCE,
     .about = "As application/x-ndjson, each line is a document of a single thing; POST takes these lines again."},
    {POST("/v1/reference", FOR_ADMIN, handle_reference_post, "Takes a document of reference data, all or nothing",
          "ReferenceTaken"),
     .body = &shape_reference, .body_large = true, .takes_lines = true, .answer_statuses = {200}, .parameters = {WHY},
     .may_propose = true, .is_long = true, .id = "loadReference", .tag = TAG_REFERENCE, .reasons = reference_reasons,
     .about = "As application/x-ndjson, each line is a document, and all lines are taken as one, all or nothing. There may be "
              "any number of lines, in any order. A fault's pointer is then /line/list/index. Lines with a change that "
              "takes two people are refused: such a change goes by itself, as JSON."},
    {LIST("/v1/schemes", FOR_ALL, handle_schemes_list, "All schemes, by code", "SchemeList"),
     .id = "listSchemes", .tag = TAG_REFERENCE},
    {GET("/v1/schemes/{scheme}", FOR_ALL, handle_scheme_get, "A scheme", "Scheme"),
     .id = "getScheme", .tag = TAG_REFERENCE, .tagged = true},
    {PUT("/v1/schemes/{scheme}", handle_scheme_put, "Makes or changes a scheme", shape_scheme_put, "Scheme"),
     .may_propose = true, .id = "putScheme", .tag = TAG_REFERENCE,
     REASONS(REASON_AMOUNT_DECIMALS, REASON_CURRENCY_UNKNOWN, REASON_TIME_ZONE_UNKNOWN, REASON_STARTS_TOO_SOON, REASON_FIXED_ONCE_POSTED,
             REASON_BANK_ACCOUNT_SHARED)},
    {LIST("/v1/schemes/{scheme}/terms", FOR_ALL, handle_terms_list, "Terms, by the day they start", "TermsList"),
     .id = "listTerms", .tag = TAG_REFERENCE},
    {GET("/v1/schemes/{scheme}/terms/{effective_date}", FOR_ALL, handle_terms_get, "Terms that start on a day",
         "Terms"),
     .id = "getTerms", .tag = TAG_REFERENCE, .tagged = true},
    {PUT("/v1/schemes/{scheme}/terms/{effective_date}", handle_terms_put, "Sets terms from a day on",
         shape_terms_put, "Terms"),
     .id = "putTerms", .tag = TAG_REFERENCE, REASONS(REASON_AMOUNT_DECIMALS, REASON_VALUE_REPEATED, REASON_FEE_ROW_REPEATED, REASON_PARTICIPANT_UNKNOWN, REASON_CUP_TYPE_UNKNOWN,
             REASON_STARTS_TOO_SOON)},
    {LIST("/v1/schemes/{scheme}/refund-values", FOR_ALL, handle_refund_values_list,
          "Refund values, by cup type and the day they start", "RefundValueList"),
     .id = "listRefundValues", .tag = TAG_REFERENCE},
    {LOAD("/v1/schemes/{scheme}/refund-values", handle_refund_values_post, "a scheme's refund values", csv_refund_values),
     .id = "loadRefundValues", .tag = TAG_REFERENCE,
     REASONS(REASON_NAME_TAKEN, REASON_AMOUNT_DECIMALS, REASON_CUP_TYPE_UNKNOWN, REASON_STARTS_TOO_SOON)},
    {GET("/v1/schemes/{scheme}/refund-values/{cup_type}/{effective_date}", FOR_ALL, handle_refund_value_get,
         "A refund value that starts on a day", "RefundValue"),
     .id = "getRefundValue", .tag = TAG_REFERENCE, .tagged = true},
    {PUT("/v1/schemes/{scheme}/refund-values/{cup_type}/{effective_date}", handle_refund_value_put,
         "Sets a refund value from a day on", shape_refund_value_put, "RefundValue"),
     .id = "putRefundValue", .tag = TAG_REFERENCE,
     REASONS(REASON_AMOUNT_DECIMALS, REASON_CUP_TYPE_UNKNOWN, REASON_STARTS_TOO_SOON)},
    {LIST("/v1/schemes/{scheme}/office-accounts", FOR_OFFICE, handle_office_accounts_list,
          "Codes of the office's own ledger, by the day they start", "OfficeAccountsList"),
     .id = "listOfficeAccounts", .tag = TAG_REFERENCE},
    {GET("/v1/schemes/{scheme}/office-accounts/{effective_date}", FOR_OFFICE, handle_office_accounts_get,
         "The codes of the office's own ledger that start on a day", "OfficeAccounts"),
     .id = "getOfficeAccounts", .tag = TAG_REFERENCE, .tagged = true},
    {PUT("/v1/schemes/{scheme}/office-accounts/{effective_date}", handle_office_accounts_put,
         "Sets the codes of the office's own ledger from a day on", shape_office_accounts_put, "OfficeAccounts"),
     .id = "putOfficeAccounts", .tag = TAG_REFERENCE, REASONS(REASON_ACCOUNT_UNKNOWN, REASON_NAME_TAKEN),
     .about = "The list is whole: an account that it does not name, by itself or by its kind, has no code from "
              "that day on. It changes no figure, so it may also be set or mended for days that are closed; "
              "the changes tell who did so."},
    {LIST("/v1/schemes/{scheme}/agreements", FOR_OFFICE, handle_agreements_list,
          "Agreements with other schemes, by home, host and the day they start", "AgreementList"),
     .id = "listAgreements", .tag = TAG_REFERENCE,
     .about = "The agreements in which the scheme is the home, and those in which it is the host."},
    {GET("/v1/schemes/{home}/agreements/{host}/{effective_date}", FOR_OFFICE, handle_agreement_get,
         "An agreement that starts on a day", "Agreement"),
     .id = "getAgreement", .tag = TAG_REFERENCE, .tagged = true},
    {PUT("/v1/schemes/{home}/agreements/{host}/{effective_date}", handle_agreement_put,
         "Agrees on what a host pays out for cups of another scheme from a day on", shape_agreement_put, "Agreement"),
     .may_propose = true, .id = "putAgreement", .tag = TAG_REFERENCE,
     REASONS(REASON_AMOUNT_DECIMALS, REASON_CURRENCY_UNKNOWN, REASON_CUP_TYPE_UNKNOWN, REASON_CUP_TYPE_REPEATED,
             REASON_FIXED_ONCE_POSTED, REASON_STARTS_TOO_SOON),
     .about = "Two people sign, one for each scheme: this proposes the agreement and signs it for the scheme that "
              "signs_for names, and another person's approval of the proposal signs it for the other one. The day must be a "
              "business day of the host that begins more than 5 minutes after that, unless nothing has been posted in "
              "either scheme. The agreement holds until the next one of the same home and host."},
    {GET("/v1/participants", FOR_ALL, handle_participants_list, "All participants, by code", "ParticipantList"),
     .parameters = {{"scheme", "Code of a scheme: the participants with sites in it; all unless given", false}, SLICED},
     .id = "listParticipants", .tag = TAG_REFERENCE},
    {LOAD("/v1/participants", handle_reference_post, "participants", csv_participants),
     .may_propose = true, .id = "loadParticipants", .tag = TAG_REFERENCE, REASONS(REASON_NAME_TAKEN)},
    {GET("/v1/participants/{participant}", FOR_ALL, handle_participant_get, "A participant", "Participant"),
     .id = "getParticipant", .tag = TAG_REFERENCE, .tagged = true},
    {PUT("/v1/participants/{participant}", handle_participant_put, "Makes or changes a participant",
         shape_participant_put, "Participant"),
     .may_propose = true, .id = "putParticipant", .tag = TAG_REFERENCE, REASONS(REASON_FIXED_ONCE_POSTED)},
    {LIST("/v1/participants/{participant}/tax-registration", FOR_ALL, handle_tax_registrations_list,
          "A participant's registrations for tax, by the day they start", "TaxRegistrationList"),
     .id = "listTaxRegistrations", .tag = TAG_REFERENCE},
    {GET("/v1/participants/{participant}/tax-registration/{effective_date}", FOR_ALL, handle_tax_registration_get,
         "A registration for tax that starts on a day", "TaxRegistration"),
     .id = "getTaxRegistration", .tag = TAG_REFERENCE, .tagged = true},
    {PUT("/v1/participants/{participant}/tax-registration/{effective_date}", handle_tax_registration_put,
         "Says whether a participant is registered for tax from a day on", shape_tax_registration_put, "TaxRegistration"),
     .id = "putTaxRegistration", .tag = TAG_REFERENCE, REASONS(REASON_STARTS_TOO_SOON),
     .about = "Until the first of these days tax_registered of the participant holds. The day must not have begun, nor "
              "begin within 5 minutes, in any scheme in which the participant has a site."},
    {GET("/v1/sites", FOR_ALL, handle_sites_list, "All sites, by code", "SiteList"),
     .parameters = {{"scheme", "Code of a scheme; sites of all unless given", false},
                    {"participant", "Code of a participant; sites of all unless given", false, "Code"}, SLICED},
     .id = "listSites", .tag = TAG_REFERENCE},
    {LOAD("/v1/sites", handle_reference_post, "sites", csv_sites),
     .id = "loadSites", .tag = TAG_REFERENCE,
     REASONS(REASON_NAME_TAKEN, REASON_SCHEME_UNKNOWN, REASON_PARTICIPANT_UNKNOWN, REASON_CUP_TYPE_UNKNOWN,
             REASON_FIXED_ONCE_POSTED)},
    {GET("/v1/sites/{site}", FOR_ALL, handle_site_get, "A site", "Site"),
     .id = "getSite", .tag = TAG_REFERENCE, .tagged = true},
    {PUT("/v1/sites/{site}", handle_site_put, "Makes or changes a site", shape_site_put, "Site"),
     .id = "putSite", .tag = TAG_REFERENCE,
     REASONS(REASON_SCHEME_UNKNOWN, REASON_PARTICIPANT_UNKNOWN, REASON_CUP_TYPE_UNKNOWN, REASON_CUP_TYPE_REPEATED,
             REASON_FIXED_ONCE_POSTED)},
    {LIST("/v1/sites/{site}/kind", FOR_ALL, handle_site_kinds_list, "A site's kinds, by the day they start", "SiteKindList"),
     .id = "listSiteKinds", .tag = TAG_REFERENCE},
    {GET("/v1/sites/{site}/kind/{effective_date}", FOR_ALL, handle_site_kind_get, "A kind of a site that starts on a day",
         "SiteKind"),
     .id = "getSiteKind", .tag = TAG_REFERENCE, .tagged = true},
    {PUT("/v1/sites/{site}/kind/{effective_date}", handle_site_kind_put, "Sets the kind of a site from a day on",
         shape_site_kind_put, "SiteKind"),
     .id = "putSiteKind", .tag = TAG_REFERENCE, REASONS(REASON_STARTS_TOO_SOON),
     .about = "Until the first of these days kind of the site holds. The day must not have begun, nor begin within 5 minutes."},
    {LIST("/v1/cup-types", FOR_ALL, handle_cup_types_list, "All cup types, by code", "CupTypeList"),
     .id = "listCupTypes", .tag = TAG_REFERENCE},
    {LOAD("/v1/cup-types", handle_reference_post, "cup types", csv_cup_types),
     .id = "loadCupTypes", .tag = TAG_REFERENCE, REASONS(REASON_NAME_TAKEN)},
    {GET("/v1/cup-types/{cup_type}", FOR_ALL, handle_cup_type_get, "A cup type", "CupType"),
     .id = "getCupType", .tag = TAG_REFERENCE, .tagged = true},
    {PUT("/v1/cup-types/{cup_type}", handle_cup_type_put, "Makes or changes a cup type",
         shape_cup_type_put, "CupType"),
     .id = "putCupType", .tag = TAG_REFERENCE},

    {GET("/v1/proposals", FOR_OFFICE, handle_proposals_list, "Writes that wait for a second person, and "
                                                             "decided ones; journals have a list of their own", "ProposalList"),
     .parameters = {{"status", "open unless given", false, "JournalStatus"}, MINE,
                    {"scheme", "Code of a scheme that it concerns", false}, ORDERED},
     .id = "listProposals", .tag = TAG_PROPOSALS},
    {GET("/v1/proposals/{proposal}", FOR_OFFICE, handle_proposal_get, "A write that waits for a second person, or a decided one", "Proposal"),
     .id = "getProposal", .tag = TAG_PROPOSALS},
    {POST("/v1/proposals/{proposal}/approve", FOR_STAFF, handle_proposal_approve,
          "Approves another person's proposal: the service then does the write, under the usual checks", "Proposal"),
     .answer_statuses = {200},
     .id = "approveProposal", .tag = TAG_PROPOSALS, .reasons = proposal_reasons},
    {POST("/v1/proposals/{proposal}/withdraw", FOR_STAFF, handle_proposal_withdraw, "Withdraws a proposal", "Proposal"),
     .body = &shape_reason, .answer_statuses = {200},
     .id = "withdrawProposal", .tag = TAG_PROPOSALS, REASONS(REASON_PROPOSAL_DECIDED)},
    {GET("/v1/changes", FOR_OFFICE, handle_changes_list, "Changes of reference data, terms and keys, in their order", "ChangeList"),
     .parameters = {{"scheme", "Code of the scheme; changes of the whole network belong to no scheme", false},
                    {"of", "Kind of thing: cup_type, participant, scheme, terms, refund_value, office_accounts, site, "
                            "tax_registration, site_kind, month, remaking_batch, agreement, key or proposal", false},
                    {"by", "Name of a key, or a holder", false},
                    {"from", "First day, in UTC", false}, {"to", "Last day, in UTC", false}, ORDERED},
     .id = "listChanges", .tag = TAG_REFERENCE},

    /* days and settlements */
    {GET("/v1/schemes/{scheme}/days", FOR_OFFICE, handle_days_list, "Business days and their states", "DayList"),
     .parameters = {{"missing", "close: only days that should be closed and are not; statement: only days of the bank (Monday "
                                "to Friday, no holiday) that are over and of which no statement was read, after the closing "
                                "balance of the last one", false, "DayMissing"}, ORDERED},
     .id = "listDays", .tag = TAG_SETTLEMENTS},
    {POST("/v1/schemes/{scheme}/days/{date}/close", FOR_STAFF, handle_day_close,
          "Closes a business day; a second close returns the first settlement", "Settlement"),
     .answer_statuses = {200},
     .is_long = true, .id = "closeDay", .tag = TAG_SETTLEMENTS, REASONS(REASON_DAY_NOT_ENDED, REASON_EARLIER_DAY_OPEN, REASON_OPENING_PENDING),
     .about = "The service closes days by the clock. This closes a day that has ended without waiting for the clock."},
    {GET("/v1/schemes/{scheme}/returns-to-come/{cup_type}", FOR_OFFICE, handle_returns_to_come,
         "Cups of a type that may still come back, by weeks of issue", "ReturnsToCome"),
     .media = 1u << MEDIA_JSON | 1u << MEDIA_CSV | 1u << MEDIA_HTML,
     .id = "getReturnsToCome", .tag = TAG_REPORTS,
     .about = "The chain ladder projects the weeks of issue through the last closed Sunday: from the cups that came back after "
              "so many weeks to those that will. Bounds are two standard errors (Mack 1993) from it. Without identity, cups "
              "of a type come back in the order in which they went out. CSV has a line for each week. Its last line has no "
              "week: it has the older cups that are out. Whether deposits that nobody will claim may be recognised is "
              "a matter of law and licensed practice."},
    {GET("/v1/schemes/{scheme}/months", FOR_OFFICE, handle_months_list, "Months of a scheme, the newest first", "MonthList"),
     .parameters = {SLICED},
     .id = "listMonths", .tag = TAG_SETTLEMENTS},
    {GET("/v1/schemes/{scheme}/months/{month}", FOR_OFFICE, handle_month_get, "A month with its figures", "Month"),
     .id = "getMonth", .tag = TAG_SETTLEMENTS},
    {POST("/v1/schemes/{scheme}/months/{month}/close", FOR_STAFF, handle_month_close,
          "Proposes to close a month for journals", "Proposed"),
     .answer_statuses = {202},
     .id = "closeMonth", .tag = TAG_SETTLEMENTS, REASONS(REASON_MONTH_NOT_ENDED, REASON_MONTH_CLOSED),
     .about = "The last business day of the month must be closed. When another person approves the proposal, this month "
              "and all before it take no journal any more that is dated in them."},
    {POST("/v1/schemes/{scheme}/months/{month}/reopen", FOR_STAFF, handle_month_reopen,
          "Proposes to reopen a month for journals", "Proposed"),
     .body = &shape_reason, .answer_statuses = {202},
     .id = "reopenMonth", .tag = TAG_SETTLEMENTS, REASONS(REASON_MONTH_OPEN),
     .about = "When another person approves the proposal, this month and all after it are open for journals again."},
    {GET("/v1/settlements", FOR_PARTICIPANT | FOR_OFFICE, handle_settlements_list, "Settlements of a scheme",
         "SettlementList"),
     .parameters = {SCHEME, ORDERED},
     .id = "listSettlements", .tag = TAG_SETTLEMENTS},
    {GET("/v1/settlements/{scheme}/{date}", FOR_PARTICIPANT | FOR_OFFICE, handle_settlement_get,
         "The settlement of a closed day", "Settlement"),
     .media = 1u << MEDIA_JSON | 1u << MEDIA_CSV | 1u << MEDIA_HTML,
     .id = "getSettlement", .tag = TAG_SETTLEMENTS},
    {GET("/v1/fee-notes", FOR_PARTICIPANT | FOR_OFFICE, handle_fee_notes_list, "Fee notes of a scheme", "FeeNoteList"),
     .parameters = {SCHEME, {"participant", "Code of a participant; all unless given", false, "Code"}, ORDERED},
     .id = "listFeeNotes", .tag = TAG_SETTLEMENTS,
     .about = "The close of a month's last day issues a note for each participant with fees. The numbers of a scheme have no "
              "gaps, and a note never changes: a later reversal is in a later note. Whether a note serves as a tax "
              "invoice follows local law: ask a licensed accountant."},
    {GET("/v1/fee-notes/{scheme}/{number}", FOR_PARTICIPANT | FOR_OFFICE, handle_fee_note_get,
         "A fee note: the fees of a participant and month with their tax, in both directions", "FeeNote"),
     .id = "getFeeNote", .tag = TAG_SETTLEMENTS},

    /* payments and journals */
    {POST("/v1/settlements/{scheme}/{date}/approve", FOR_STAFF, handle_settlement_approve,
          "Approves payments of a day: all that the key may approve, while held ones stay held, or those that are named", "Settlement"),
     .body = &shape_approve, .body_optional = true, .answer_statuses = {200},
     .id = "approveSettlement", .tag = TAG_SETTLEMENTS,
     REASONS(REASON_APPROVER_CLOSED_DAY, REASON_SECOND_KEY_NEEDED, REASON_SCHEME_NOT_OPEN, REASON_PAYMENT_UNKNOWN,
             REASON_PAYMENT_STATE, REASON_PAYMENT_HELD),
     .about = "With payments, all of these are approved or none, and a fault points to the payment that cannot be."},
    {GET("/v1/payments", FOR_PARTICIPANT | FOR_OFFICE, handle_payments_list, "Payments of a scheme, by day", "PaymentList"),
     .parameters = {SCHEME, {"status", "Its status", false, "PaymentStatus"},
                    {"held", "Whether it is held and not released", false},
                    {"waiting", "Whether it is neither confirmed nor failed", false},
                    {"to_pools", "Whether it is to another scheme's pool, beside the netting", false},
                    {"participant", "Code of the participant that pays or is paid", false},
                    {"side", "Whether the participant is the payer or the payee; either unless given", false, "PaymentSide"},
                    {"from", "First business day", false}, {"to", "Last business day", false}, ORDERED},
     .id = "listPayments", .tag = TAG_PAYMENTS},
    {GET("/v1/payments/{payment_id}", FOR_PARTICIPANT | FOR_OFFICE, handle_payment_get, "A payment with its changes",
         "Payment"),
     .id = "getPayment", .tag = TAG_PAYMENTS},
    {POST("/v1/payments/{payment_id}/release", FOR_STAFF, handle_payment_release, "Lets a held payment go", "Payment"),
     .body = &shape_note, .body_optional = true, .answer_statuses = {200},
     .id = "releasePayment", .tag = TAG_PAYMENTS,
     REASONS(REASON_PAYMENT_STATE, REASON_PAYMENT_NOT_HELD, REASON_SIGNER_NEEDED, REASON_SCHEME_NOT_OPEN)},
    {POST("/v1/payments/{payment_id}/approve", FOR_STAFF, handle_payment_approve, "Approves a payment", "Payment"),
     .body = &shape_note, .body_optional = true, .answer_statuses = {200},
     .id = "approvePayment", .tag = TAG_PAYMENTS,
     REASONS(REASON_PAYMENT_STATE, REASON_PAYMENT_HELD, REASON_APPROVER_CLOSED_DAY, REASON_SECOND_KEY_NEEDED,
             REASON_SCHEME_NOT_OPEN)},
    {POST("/v1/payments/{payment_id}/confirm", FOR_STAFF, handle_payment_confirm, "Records that the money has moved", "Payment"),
     .body = &shape_confirm, .body_optional = true, .answer_statuses = {200},
     .id = "confirmPayment", .tag = TAG_PAYMENTS, REASONS(REASON_PAYMENT_STATE, REASON_SCHEME_NOT_OPEN, REASON_AMOUNT_DECIMALS)},
    {POST("/v1/payments/{payment_id}/fail", FOR_STAFF, handle_payment_fail,
          "Records that the money did not move, or came back: the amount becomes arrears, which the next pay day settles", "Payment"),
     .body = &shape_reason, .answer_statuses = {200},
     .id = "failPayment", .tag = TAG_PAYMENTS, REASONS(REASON_PAYMENT_STATE, REASON_SCHEME_NOT_OPEN)},
    {GET("/v1/journals", FOR_OFFICE, handle_journals_list, "Journals that wait for a second person", "JournalList"),
     .parameters = {SCHEME, {"status", "open unless given", false, "JournalStatus"}, MINE, ORDERED},
     .id = "listJournals", .tag = TAG_JOURNALS},
    {GET("/v1/journals/{event_id}", FOR_OFFICE, handle_journal_get, "A journal as it was proposed, with its legs by account", "Journal"),
     .parameters = {{"scheme", "Code of the scheme, needed if two schemes have the id", false}},
     .id = "getJournal", .tag = TAG_JOURNALS},
    {POST("/v1/journals/{event_id}/approve", FOR_STAFF, handle_journal_approve,
          "Approves another person's journal: the service then posts it as an entry", "Journal"),
     .answer_statuses = {200}, .parameters = {{"scheme", "Code of the scheme, needed if two schemes have the id", false}},
     .id = "approveJournal", .tag = TAG_JOURNALS,
     REASONS(REASON_PROPOSAL_DECIDED, REASON_BANK_BY_STATEMENT, REASON_MONTH_CLOSED, REASON_SECOND_KEY_NEEDED,
             REASON_SCHEME_NOT_OPEN, REASON_OPENING_PENDING)},
    {POST("/v1/journals/{event_id}/withdraw", FOR_STAFF, handle_journal_withdraw, "Withdraws a proposed journal", "Journal"),
     .body = &shape_reason, .answer_statuses = {200},
     .parameters = {{"scheme", "Code of the scheme, needed if two schemes have the id", false}},
     .id = "withdrawJournal", .tag = TAG_JOURNALS,
     REASONS(REASON_PROPOSAL_DECIDED, REASON_SCHEME_NOT_OPEN, REASON_OPENING_PENDING)},

    /* openings */
    {GET("/v1/openings", FOR_OFFICE, handle_openings_list,
         "Openings, and reversals of openings, that wait for a second person", "OpeningList"),
     .parameters = {SCHEME, {"status", "open unless given", false, "JournalStatus"}, MINE, ORDERED},
     .id = "listOpenings", .tag = TAG_OPENINGS,
     .about = "An opening is proposed by posting it as an event. While it waits, nothing else is posted in the "
              "scheme, and no day closes."},
    {POST("/v1/schemes/{scheme}/opening", FOR_STAFF, NULL, "Proposes the opening of a scheme from a spreadsheet", "PostedEvent"),
     .csv_body = &csv_opening, .event_of_lines = opening_of_request, .answer_statuses = {202, 201, 200},
     .parameters = {{"event_id", "The event's id; follows from the scheme and the lines unless given", false}},
     .id = "loadOpening", .tag = TAG_OPENINGS, .reasons = event_reasons,
     .about = "The lines become an event of the kind opening, as of the start of the scheme's first business day, which is "
              "posted and answered as by POST /v1/events. The same lines again are a duplicate; to propose them again after "
              "a withdrawal, give another event_id. A fault's pointer is /line/column."},
    {GET("/v1/openings/{event_id}", FOR_OFFICE, handle_opening_get,
         "An opening, or the reversal of one, with the balance sheet that it states", "Opening"),
     .parameters = {{"scheme", "Code of the scheme, needed if two schemes have the id", false}},
     .id = "getOpening", .tag = TAG_OPENINGS},
    {POST("/v1/openings/{event_id}/approve", FOR_STAFF, handle_opening_approve,
          "Approves another person's opening, or reversal of one: the service then posts it as an entry", "Opening"),
     .answer_statuses = {200}, .parameters = {{"scheme", "Code of the scheme, needed if two schemes have the id", false}},
     .id = "approveOpening", .tag = TAG_OPENINGS,
     REASONS(REASON_PROPOSAL_DECIDED, REASON_SECOND_KEY_NEEDED, REASON_SCHEME_NOT_OPEN, REASON_OPENING_TOO_LATE,
             REASON_OPENING_NOT_ON_FIRST_DAY, REASON_FIRST_DAY_CLOSED, REASON_OPENING_STANDS)},
    {POST("/v1/openings/{event_id}/withdraw", FOR_STAFF, handle_opening_withdraw,
          "Withdraws a proposed opening, or the reversal of one", "Opening"),
     .body = &shape_reason, .answer_statuses = {200},
     .parameters = {{"scheme", "Code of the scheme, needed if two schemes have the id", false}},
     .id = "withdrawOpening", .tag = TAG_OPENINGS, REASONS(REASON_PROPOSAL_DECIDED, REASON_SCHEME_NOT_OPEN)},

    /* batches for re-makers */
    {GET("/v1/remaking-batches", FOR_OFFICE, handle_remaking_batches_list, "Batches of retired cups for re-makers",
         "RemakingBatchList"),
     .parameters = {SCHEME, ORDERED},
     .id = "listRemakingBatches", .tag = TAG_REPORTS},
    {POST("/v1/remaking-batches", FOR_STAFF, handle_remaking_batch_post,
          "Records a batch of retired cups that left a site for a re-maker", "RemakingBatch"),
     .body = &shape_remaking_batch, .answer_statuses = {201, 200}, .located = true,
     .id = "createRemakingBatch", .tag = TAG_REPORTS,
     REASONS(REASON_SITE_UNKNOWN, REASON_CUP_TYPE_UNKNOWN, REASON_CUP_TYPE_REPEATED, REASON_OCCURRED_IN_FUTURE,
             REASON_MORE_THAN_RETIRED, REASON_BATCH_CONFLICT),
     .about = "The scheme is the site's. A batch holds no more cups than were retired at the site and are in no other "
              "batch. The same batch again is answered 200 and changes nothing. A batch never changes: withdraw a wrong "
              "one, and record another. New cups come back as a supply that names the batch."},
    {GET("/v1/remaking-batches/{scheme}/{batch}", FOR_OFFICE, handle_remaking_batch_get,
         "A batch of retired cups, with the new cups that came back", "RemakingBatch"),
     .id = "getRemakingBatch", .tag = TAG_REPORTS},
    {POST("/v1/remaking-batches/{scheme}/{batch}/withdraw", FOR_STAFF, handle_remaking_batch_withdraw,
          "Withdraws a wrong batch: its cups may go into another one", "RemakingBatch"),
     .body = &shape_reason, .answer_statuses = {200},
     .id = "withdrawRemakingBatch", .tag = TAG_REPORTS, REASONS(REASON_BATCH_WITHDRAWN, REASON_BATCH_SUPPLIED)},

    /* the bank */
    {POST("/v1/settlements/{scheme}/{date}/files", FOR_STAFF, handle_file_post,
          "Writes the approved payments of a day into a file for the bank, and marks them as instructed", "PaymentFile"),
     .body = &shape_file, .answer_statuses = {201, 200}, .located = true,
     .is_long = true, .id = "createPaymentFile", .tag = TAG_BANK,
     REASONS(REASON_NOTHING_APPROVED, REASON_BANK_DETAILS_MISSING, REASON_BANK_ACCOUNT_CHANGED, REASON_PAYMENT_STATE,
             REASON_PAYMENT_DIRECT, REASON_SCHEME_NOT_OPEN),
     .about = "The file moves money: two people approve its payments first, and the bank's own limits hold. A"
              " file can be fetched again with the same bytes. A payment is in one file only."},
    {TIMELINE("/v1/settlements/{scheme}/{date}/files", FOR_OFFICE, handle_files_list, "Payment files of a day", "PaymentFileList"),
     .id = "listPaymentFiles", .tag = TAG_BANK},
    {GET("/v1/files/{file_id}", FOR_STAFF, handle_file_get, "A payment file, the same bytes each time: ISO 20022 pain.001.001.09 or "
         "pain.008.001.08", "PaymentMessage"),
     .media = 1u << MEDIA_XML,
     .id = "getPaymentFile", .tag = TAG_BANK, .tagged = true},
    {POST("/v1/bank-statements", FOR_STAFF, handle_bank_statement_post,
          "Takes a bank statement; the same statement again changes nothing", "BankStatements"),
     .xml_body = "ISO 20022 camt.053.001.08, in UTF-8, without a document type", .answer_statuses = {200}, .parameters = {SCHEME},
     .is_long = true, .id = "postBankStatement", .tag = TAG_BANK, .reasons = statement_reasons,
     .about = "A line that names a payment and has its amount confirms it. A line that came back fails its payment. "
              "All other lines wait in bank_suspense until somebody resolves them."},
    {GET("/v1/bank-statements", FOR_OFFICE, handle_bank_statements_list, "Bank statements of a scheme", "BankStatementList"),
     .parameters = {SCHEME, {"from", "First day on which a statement ends, by the bank's calendar", false},
                    {"to", "Last such day", false}, ORDERED},
     .id = "listBankStatements", .tag = TAG_BANK},
    {GET("/v1/bank-statements/{bank_statement}", FOR_OFFICE, handle_bank_statement_get,
         "A bank statement, with its first 500 lines and what became of each", "BankStatement"),
     .id = "getBankStatement", .tag = TAG_BANK,
     .about = "It ties if it opens with what the statement before closed with, and if its booked lines sum to the "
              "difference to its closing. Lines that an earlier statement had count once."},
    {GET("/v1/bank-statements/{bank_statement}/raw", FOR_OFFICE, handle_bank_message_get,
         "The message in which a bank statement came, the same bytes", "BankMessage"),
     .media = 1u << MEDIA_XML,
     .id = "getBankMessage", .tag = TAG_BANK, .tagged = true},
    {GET("/v1/bank-lines", FOR_OFFICE, handle_bank_lines_list, "Lines of a scheme's bank statements", "BankLineList"),
     .parameters = {SCHEME, {"open", "Whether somebody should look at it", false},
                    {"bank_statement", "A statement, as tern-bay.17: its lines only", false}, ORDERED},
     .id = "listBankLines", .tag = TAG_BANK},
    {GET("/v1/bank-lines/{line}", FOR_OFFICE, handle_bank_line_get, "A line of a bank statement", "BankLine"),
     .id = "getBankLine", .tag = TAG_BANK,
     .about = "An open line has candidates: payments and participants that its texts or its amount point to."},
    {POST("/v1/bank-lines/{line}/resolve", FOR_STAFF, handle_bank_line_resolve,
          "Resolves a bank line: names the payment, participant or account that it is for, and takes it out of bank_suspense", "BankLine"),
     .body = &shape_resolve, .answer_statuses = {200}, .may_propose = true,
     .id = "resolveBankLine", .tag = TAG_BANK,
     REASONS(REASON_LINE_NOT_OPEN, REASON_PAYMENT_UNKNOWN, REASON_PAYMENT_STATE, REASON_PARTICIPANT_UNKNOWN, REASON_SCHEME_UNKNOWN,
             REASON_SCHEME_NOT_OPEN)},

    /* cups with identity */
    {GET("/v1/cups", FOR_ALL, handle_cups_list, "Cups with identity, and where each was seen last", "CupList"),
     .parameters = {{"cup_id", "The identity of a single cup, in any spelling", false}, SLICED},
     .id = "listCups", .tag = TAG_CUPS,
     .about = "Events name cups by ids. A key that is bound to sites gets the cups that were seen at these, and the "
              "whereabouts of those that were seen there last."},
    {GET("/v1/cups/{cup_id}", FOR_ALL, handle_cup_get, "A cup with identity: where it is, and where it was", "Cup"),
     .id = "getCup", .tag = TAG_CUPS,
     .about = "Whereabouts follow from the events that name the cup, in the order in which they happened, without "
              "those that were reversed. They are derived after the events are recorded; current says whether all "
              "were looked at. The newest sightings come first, at most 1000. A key that is bound to sites gets the "
              "sightings at these."},

    /* reports and the books */
    {GET("/v1/reports", FOR_ALL, handle_reports_list, "The reports, their parameters and columns", "ReportList"),
     .id = "listReports", .tag = TAG_REPORTS},
    {GET("/v1/reports/{report}", FOR_ALL, handle_report_get, "A report", "Report"),
     .media = 1u << MEDIA_JSON | 1u << MEDIA_CSV | 1u << MEDIA_HTML,
     .parameters = {SCHEME, AS_OF, {"date", "The business day that was closed", false},
                    {"from", "First business day", false}, {"to", "Last business day", false},
                    {"site", "Code of a site", false}, {"participant", "Code of a participant", false},
                    {"cup_type", "Code of a cup type", false},
                    {"account", "An account, as site_stock(anchor,cup-300)", false},
                    {"state", "A word that the report's description lists", false},
                    {"by", "A word that the report's description lists", false},
                    {"totals", "A word that the report's description lists", false},
                    {"fee", "A word that the report's description lists", false},
                    {"part", "A word that the report's description lists", false},
                    {"order", "The end that it begins with: oldest unless given, but newest on pages", false},
                    {"figure", "A word that the report's description lists", false},
                    {"uncounted_since", "A day, as the report's description says", false},
                    {"after", "For pages only: the place where the page goes on", false}},
     .id = "getReport", .tag = TAG_REPORTS, REASONS(REASON_ROLE_NOT_ALLOWED)},
    {GET("/v1/sites/{site}/day-totals/{date}", FOR_ALL, handle_day_totals_get,
         "The totals of a business day from the site's till", "DayTotals"),
     .id = "getDayTotals", .tag = TAG_REPORTS, .tagged = true},
    {ROW(METHOD_PUT, "/v1/sites/{site}/day-totals/{date}", FOR_POS | FOR_STAFF, handle_day_totals_put,
         "Sets the totals of a business day from the site's till", "DayTotals"),
     .body = &shape_day_totals_put, .answer_statuses = {200, 201}, .dry_run = true, .located = true,
     .id = "putDayTotals", .tag = TAG_REPORTS, REASONS(REASON_AMOUNT_DECIMALS)},
    {POST("/v1/exceptions/resolve", FOR_STAFF, handle_exceptions_resolve,
          "Resolves up to 1000 exceptions with one finding, all or none", "ExceptionsResolved"),
     .body = &shape_exceptions_resolve, .answer_statuses = {200}, .id = "resolveExceptions", .tag = TAG_REPORTS,
     REASONS(REASON_EXCEPTION_UNKNOWN, REASON_ALREADY_RESOLVED, REASON_SECOND_KEY_NEEDED),
     .about = "An exception that takes two people is refused here: resolve it by itself."},
    {GET("/v1/exceptions/{exception_id}", FOR_OFFICE, handle_exception_get, "A recorded fact that a person should look at", "Exception"),
     .id = "getException", .tag = TAG_REPORTS},
    {POST("/v1/exceptions/{exception_id}/resolve", FOR_STAFF, handle_exception_resolve,
          "Resolves an exception: a person has looked at it, and notes the finding", "Exception"),
     .body = &shape_exception_resolve, .answer_statuses = {200}, .may_propose = true,
     .about = "If the operator took out more than was free for it, two people resolve that: the first gets 202 proposed.",
     .id = "resolveException", .tag = TAG_REPORTS, REASONS(REASON_ALREADY_RESOLVED)},
    {GET("/v1/plans", FOR_STAFF, handle_plan, "A plan of moves: which cups to bring where before a business day", "Plan"),
     .media = 1u << MEDIA_JSON | 1u << MEDIA_CSV | 1u << MEDIA_HTML,
     .parameters = {SCHEME, {"date", "First business day planned for, at most 8 days ahead; tomorrow's unless given", false},
                    {"days", "Days that the stock is to last, 1 to 7; 1 unless given", false},
                    {"service_level", "Wanted probability that the stock lasts, from 0.5 to 0.999; 0.95 unless given", false},
                    {"cost_per_km", "Of a haul; 1 of the currency unless given", false},
                    {"cost_per_stop", "Of a haul, besides; 0 unless given", false},
                    {"minimum_load", "Cups: no hauls with fewer between two sites", false},
                    {"haul_boxes", "The most boxes on one haul; any number unless given", false},
                    {"box", "Cups per box; 1 unless given", false}},
     .is_long = true, .id = "getPlan", .tag = TAG_REPORTS, REASONS(REASON_OUT_OF_RANGE),
     .about = PLAN_ABOUT},
    {POST("/v1/plans", FOR_STAFF, handle_plan, "A plan of moves, with boxes and costs of the client's own", "Plan"),
     .media = 1u << MEDIA_JSON | 1u << MEDIA_CSV, .body = &shape_plan_ask, .body_large = true, .answer_statuses = {200},
     .is_long = true, .id = "createPlan", .tag = TAG_REPORTS,
     REASONS(REASON_SCHEME_UNKNOWN, REASON_AMOUNT_DECIMALS, REASON_CUP_TYPE_UNKNOWN, REASON_CUP_TYPE_REPEATED, REASON_SITE_UNKNOWN,
             REASON_SITE_IN_OTHER_SCHEME, REASON_SAME_SITE, REASON_VALUE_REPEATED, REASON_OUT_OF_RANGE),
     .about = PLAN_ABOUT},
    {GET("/v1/purchases", FOR_STAFF, handle_purchases, "What to buy: how many cups of each type, and what a trip costs", "Purchases"),
     .media = 1u << MEDIA_JSON | 1u << MEDIA_CSV | 1u << MEDIA_HTML,
     .parameters = {SCHEME, {"cup_type", "Code of a cup type; all unless given", false},
                    {"service_level", "Wanted probability that a site's stock lasts, from 0.5 to 0.999; 0.95 unless given", false},
                    {"stock_days", "Days that a site's stock is to last, 1 to 14; 1 unless given", false},
                    {"wash_days", "Days that a returned cup waits for its wash beyond the night, 0 to 30; 0 unless given", false},
                    {"horizon_days", "Days over which losses are replaced and demand grows, 1 to 731; 90 unless given", false},
                    {"growth", "Of demand by the end of the horizon, as a part: 0.1 is a tenth more; 0 unless given", false},
                    {"loss_rate", "Cups lost for good per cup issued; measured in the scheme's past unless given", false},
                    {"cup_price", "Of a new cup, as the operator states it", false},
                    {"trip_cost", "Of washing and carrying a cup for one use, as the operator states it; 0 unless given", false},
                    {"disposable_price", "Of a disposable cup, as the operator states it", false},
                    {"disposable_mass_g", "Mass in grams of a disposable cup, as the operator states it", false}},
     .is_long = true, .id = "getPurchases", .tag = TAG_REPORTS,
     .about = PURCHASE_ABOUT},
    {GET("/v1/accounts", FOR_OFFICE, handle_accounts_list, "Accounts of a scheme and their balances", "AccountList"),
     .parameters = {SCHEME, AS_OF, {"account_kind", "Kind of account, as site_clearing", false}, SLICED},
     .id = "listAccounts", .tag = TAG_BOOKS},
    {GET("/v1/posting-rules", FOR_ALL, handle_posting_rules, "The rules by which events become legs",
         "PostingRuleList"),
     .id = "listPostingRules", .tag = TAG_BOOKS},
    {GET("/v1/checks", FOR_OFFICE, handle_checks, "The books' invariants, checked now", "Checks"),
     .parameters = {{"scheme", "Code of the scheme; all unless given", false}},
     .is_long = true, .id = "runChecks", .tag = TAG_BOOKS,
     .about = "The service computes every check anew from the rows; the more rows, the longer it takes. One "
              "such request runs at a time; a second is refused as overloaded."},

    /* for people with browsers; these rows come last, because the document ends before them */
    {FOR_BROWSERS(METHOD_GET, "/sign-in", 0, handle_sign_in_page, "The form to sign in"), .at_once = true,
     .parameters = {{"next", "Target to go to afterwards", false}}},
    {FOR_BROWSERS(METHOD_POST, "/sign-in", 0, handle_sign_in, "Signs in with a key's name and the key"), .guessable = true},
    {FOR_BROWSERS(METHOD_POST, "/sign-out", 0, handle_sign_out, "Signs out")},
    {FOR_BROWSERS(METHOD_GET, "/forms/{operation}", FOR_ALL, handle_form_page, "The form for an operation"),
     .parameters = {{"target", "Path of the operation, with its parts", false}, {"back", "Target to go to afterwards", false},
                    {"fill", "Fields that it begins with, as it would send them", false},
                    {"kind", "Kind of event", false}}},
    {FOR_BROWSERS(METHOD_POST, "/forms/{operation}", FOR_ALL, handle_form_sent, "Does an operation"), .takes_files = true},
    {ROW(METHOD_GET, "/templates/{operation}", FOR_ALL, handle_form_template, "An empty spreadsheet for an operation", "Page"),
     .answer_statuses = {200}, .for_browsers = true, .media = 1u << MEDIA_CSV},
    {FOR_BROWSERS(METHOD_GET, "/counter", FOR_POS, handle_counter_page, "The counter of a site"),
     .parameters = {{"site", "Code of the site; may be left out if the key has one", false},
                    {"recorded", "Event that was just recorded", false},
                    {"again", "It had been recorded before", false}}},
    {FOR_BROWSERS(METHOD_POST, "/counter", FOR_POS, handle_counter_sent, "Records what happened at the counter")},
};
/* clang-format on */

void routes_init(void)
{
    routes_set(routes, sizeof routes / sizeof routes[0]);
}
