/* SPDX-License-Identifier: ISC */
/* Every reason for which a request, or one event of it, is refused: one row each.
 *
 * From this table come the enum, the wire codes, the HTTP statuses, the titles and the list in the OpenAPI
 * document. A wire code, once published, never changes its meaning. */
#ifndef DEPOSITD_REASON_H
#define DEPOSITD_REASON_H

#include <stdbool.h>

/* X(name, wire code, HTTP status, retryable, title) */
#define REASON_TABLE(X)                                                                                      \
    /* the request as a message */                                                                           \
    X(BAD_FRAMING, bad_framing, 400, false, "The request is no well-formed HTTP message")                    \
    X(NOT_JSON, not_json, 400, false, "The body is not JSON in UTF-8")                                       \
    X(NOT_CSV, not_csv, 400, false, "The body is not CSV in UTF-8")                                          \
    X(UNAUTHENTICATED, unauthenticated, 401, false, "No valid key was given")                                \
    X(ROLE_NOT_ALLOWED, role_not_allowed, 403, false, "The key's role may not do this")                      \
    X(SITE_NOT_ALLOWED, site_not_allowed, 403, false, "The key does not name this site")                     \
    X(CROSS_SITE, cross_site, 403, false, "Another site made the browser send this")                         \
    X(NOT_FOUND, not_found, 404, false, "There is nothing here that the key may know of")                    \
    X(METHOD_NOT_ALLOWED, method_not_allowed, 405, false, "The resource does not have this method")          \
    X(NOT_ACCEPTABLE, not_acceptable, 406, false, "No representation that the request accepts")              \
    X(REQUEST_TIMEOUT, request_timeout, 408, true, "The request came in too slowly; nothing was recorded")   \
    X(PRECONDITION_FAILED, precondition_failed, 412, false, "The resource has changed since")                \
    X(BODY_TOO_LARGE, body_too_large, 413, false, "The body is too large")                                   \
    X(TARGET_TOO_LONG, target_too_long, 414, false, "The request target is too long")                        \
    X(UNSUPPORTED_MEDIA_TYPE, unsupported_media_type, 415, false, "The body's media type is not supported")  \
    X(TOO_MANY_REQUESTS, too_many_requests, 429, true, "The key has made too many requests; wait a little")  \
    X(HEAD_TOO_LARGE, head_too_large, 431, false, "The header fields are too large, or too many")            \
    X(NOT_IMPLEMENTED, not_implemented, 501, false, "The service does not have this method or coding")       \
    X(VERSION_NOT_SUPPORTED, version_not_supported, 505, false, "The service speaks HTTP/1.1 and 1.0")       \
    /* its parameters and its shape */                                                                       \
    X(PARAMETER_UNKNOWN, parameter_unknown, 422, false, "A query parameter is not known here")               \
    X(PARAMETER_MISSING, parameter_missing, 422, false, "A query parameter is missing")                      \
    X(PARAMETER_INVALID, parameter_invalid, 422, false, "A query parameter has no valid value")              \
    X(MEMBER_UNKNOWN, member_unknown, 422, false, "A member is not known here")                              \
    X(MEMBER_MISSING, member_missing, 422, false, "A member is missing")                                     \
    X(WRONG_TYPE, wrong_type, 422, false, "A value has the wrong JSON type")                                 \
    X(BAD_FORMAT, bad_format, 422, false, "A value is not written as it must be")                            \
    X(VALUE_UNKNOWN, value_unknown, 422, false, "A value is none of those allowed")                          \
    X(OUT_OF_RANGE, out_of_range, 422, false, "A number is too small or too large")                          \
    X(TOO_LONG, too_long, 422, false, "A text is too long")                                                  \
    X(TOO_MANY, too_many, 422, false, "A list has too many elements")                                        \
    X(TOO_FEW, too_few, 422, false, "A list has too few elements")                                           \
    X(VALUE_REPEATED, value_repeated, 422, false, "A value stands twice in one list")                        \
    X(PARTICIPANT_REPEATED, participant_repeated, 422, false, "A participant stands twice in one list")      \
    X(CUP_TYPE_REPEATED, cup_type_repeated, 422, false, "A cup type stands twice in one list")               \
    X(FEE_ROW_REPEATED, fee_row_repeated, 422, false, "Two rows of fees are for the same cups")              \
    X(AMOUNT_DECIMALS, amount_decimals, 422, false, "An amount has not exactly its currency's decimals")     \
    /* things that an event names */                                                                         \
    X(SCHEME_UNKNOWN, scheme_unknown, 422, false, "The scheme is not known")                                 \
    X(SITE_UNKNOWN, site_unknown, 422, false, "The site is not known")                                       \
    X(CUP_TYPE_UNKNOWN, cup_type_unknown, 422, false, "The cup type is not known")                           \
    X(PARTICIPANT_UNKNOWN, participant_unknown, 422, false, "The participant is not known")                  \
    X(PARTICIPANT_ELSEWHERE, participant_elsewhere, 422, false, "The participant has no site in the scheme") \
    X(EVENT_UNKNOWN, event_unknown, 422, false, "The event referred to is not known")                        \
    X(SAME_SITE, same_site, 422, false, "The two sites are the same")                                        \
    X(SITE_IN_OTHER_SCHEME, site_in_other_scheme, 422, false, "The other site is in another scheme")         \
    X(NOT_A_DISPATCH, not_a_dispatch, 422, false, "The event referred to is not a dispatch")                 \
    X(BATCH_UNKNOWN, batch_unknown, 422, false, "There is no such batch for a re-maker in the scheme")       \
    /* when it happened */                                                                                   \
    X(OCCURRED_IN_FUTURE, occurred_in_future, 422, false, "The event lies in the future")                    \
    X(SCHEME_NOT_OPEN, scheme_not_open, 422, false, "The scheme has no terms yet")                           \
    X(BEFORE_FIRST_DAY, before_first_day, 422, false, "The event lies before the scheme's first day")        \
    X(SCHEME_ENDED, scheme_ended, 422, false,                                                                \
      "The scheme has ended: it takes returns and the events of accountants")                                \
    X(SITE_NOT_OPEN, site_not_open, 422, false, "The site was not yet open")                                 \
    X(NO_REFUND_VALUE, no_refund_value, 422, false, "The cup type had no refund value in the scheme")        \
    X(NOT_AGREED, not_agreed, 422, false, "The schemes have agreed nothing for such cups")                   \
    X(BEARER_IN_OTHER_SCHEME, bearer_in_other_scheme, 422, false, "The bearer belongs to another scheme")    \
    /* reversal, retire, forfeit, reinstate */                                                               \
    X(SITE_DIFFERS, site_differs, 422, false, "The site is not the reversed event's")                        \
    X(REVERSAL_OF_REVERSAL, reversal_of_reversal, 422, false, "A reversal can't be reversed")                \
    X(ALREADY_REVERSED, already_reversed, 422, false, "The event is reversed already")                       \
    X(DISPATCH_ARRIVED, dispatch_arrived, 422, false, "Part of the dispatch has arrived or is lost")         \
    X(RETIRED_IN_BATCH, retired_in_batch, 422, false, "A batch has taken the retired cups to a re-maker")    \
    X(REVERSAL_NEEDS_ACCOUNTANT, reversal_needs_accountant, 403, false,                                      \
      "This reversal is for an accountant")                                                                  \
    X(RETIRE_NEEDS_HUB, retire_needs_hub, 403, false, "A till retires cups at a hub only")                   \
    X(MORE_THAN_OUT, more_than_out, 422, false, "More cups than customers hold")                             \
    X(MORE_THAN_FORFEITED, more_than_forfeited, 422, false, "More cups than are forfeited")                  \
    X(EVENT_ID_CONFLICT, event_id_conflict, 409, false, "The event id is taken by another event")            \
    X(ACCOUNT_UNKNOWN, account_unknown, 422, false, "There is no such account")                              \
    X(NOT_FOR_JOURNALS, not_for_journals, 422, false, "A journal may not touch this account")                \
    X(BANK_BY_STATEMENT, bank_by_statement, 409, false,                                                      \
      "In this scheme only the bank's statements move the account bank")                                     \
    X(UNBALANCED, unbalanced, 422, false, "The legs do not sum to zero")                                     \
    X(REVERSAL_OF_JOURNAL, reversal_of_journal, 422, false, "A journal is undone by another journal")        \
    /* the opening of a scheme */                                                                            \
    X(OPENING_TOO_LATE, opening_too_late, 409, false,                                                        \
      "The scheme has entries: an opening comes before any other entry")                                     \
    X(OPENING_NOT_ON_FIRST_DAY, opening_not_on_first_day, 422, false,                                        \
      "An opening is as of the scheme's first business day")                                                 \
    X(FIRST_DAY_CLOSED, first_day_closed, 409, false,                                                        \
      "The scheme's first business day is closed already: it takes no opening")                              \
    X(OPENING_STANDS, opening_stands, 409, false,                                                            \
      "An opening is reversed as a whole, while it is the only entry")                                       \
    X(PROPOSAL_DECIDED, proposal_decided, 409, false, "It was approved or withdrawn already")                \
    /* payments */                                                                                           \
    X(PAYMENT_STATE, payment_state, 409, false, "The payment's status does not allow this")                  \
    X(SIGNER_NEEDED, signer_needed, 403, false,                                                              \
      "Only who signed the agreement for the scheme may release this payment")                               \
    X(PAYMENT_HELD, payment_held, 409, false, "The payment is held until somebody releases it")              \
    X(PAYMENT_NOT_HELD, payment_not_held, 409, false, "The payment is not held")                             \
    X(PAYMENT_DIRECT, payment_direct, 409, false, "A payment between participants goes into no file")        \
    X(APPROVER_CLOSED_DAY, approver_closed_day, 409, false,                                                  \
      "This person closed the day: another must approve")                                                    \
    X(SECOND_KEY_NEEDED, second_key_needed, 409, false,                                                      \
      "This person has done their part: another must do this")                                               \
    /* the bank: files to it, and statements from it */                                                      \
    X(NOTHING_APPROVED, nothing_approved, 409, false, "There is nothing approved to put into a file")        \
    X(BANK_DETAILS_MISSING, bank_details_missing, 422, false, "Data that the bank needs is missing")         \
    X(BANK_ACCOUNT_CHANGED, bank_account_changed, 409, false, "The bank account changed since the close")    \
    X(NOT_XML, not_xml, 400, false, "The body is not plain XML in UTF-8")                                    \
    X(NOT_CAMT053, not_camt053, 422, false, "The message is not a camt.053.001.08")                          \
    X(STATEMENT_INVALID, statement_invalid, 422, false, "Part of the statement is missing or malformed")     \
    X(STATEMENT_CURRENCY, statement_currency, 422, false, "The statement is in another currency")            \
    X(STATEMENT_ACCOUNT, statement_account, 422, false, "The statement is of another account")               \
    X(BANK_ACCOUNT_SHARED, bank_account_shared, 409, false, "The bank account serves another scheme")        \
    X(STATEMENT_CONFLICT, statement_conflict, 409, false, "A statement with this id said something else")    \
    X(LINE_NOT_OPEN, line_not_open, 409, false, "The line was matched, or resolved already")                 \
    X(PAYMENT_UNKNOWN, payment_unknown, 422, false, "The payment is not known in the scheme")                \
    /* days and reference data */                                                                            \
    X(DAY_NOT_ENDED, day_not_ended, 409, true, "The business day has not ended")                             \
    X(EARLIER_DAY_OPEN, earlier_day_open, 409, true, "An earlier business day is open")                      \
    X(MONTH_NOT_ENDED, month_not_ended, 409, true, "The last business day of the month is not closed yet")   \
    X(MONTH_CLOSED, month_closed, 409, false, "The month is closed for journals")                            \
    X(MONTH_OPEN, month_open, 409, false, "The month is open for journals")                                  \
    X(DAY_NOT_SEALED, day_not_sealed, 409, true,                                                             \
      "The entry's business day is not closed yet: it has no seal")                                          \
    X(FIXED_ONCE_POSTED, fixed_once_posted, 409, false, "This can't change once anything is posted")         \
    X(NAME_TAKEN, name_taken, 409, false, "The name is taken")                                               \
    X(TWO_PEOPLE_NEEDED, two_people_needed, 409, false,                                                      \
      "A change takes two people: send it by itself as JSON, so that it waits for the second")               \
    X(STARTS_TOO_SOON, starts_too_soon, 422, false, "A new value must start on a later business day")        \
    X(CURRENCY_UNKNOWN, currency_unknown, 422, false, "The currency is not known")                           \
    X(TIME_ZONE_UNKNOWN, time_zone_unknown, 422, false, "The time zone is not known")                        \
    X(SHIPMENT_CONFLICT, shipment_conflict, 409, false, "The id belongs to another shipment")                \
    X(SHIPMENT_DONE, shipment_done, 409, false, "Nothing of the shipment is still to be sent")               \
    X(ALREADY_RESOLVED, already_resolved, 409, false, "The exception was resolved otherwise")                \
    X(EXCEPTION_UNKNOWN, exception_unknown, 422, false, "The exception is not known")                        \
    /* batches for re-makers */                                                                              \
    X(BATCH_CONFLICT, batch_conflict, 409, false, "The code is taken by another batch")                      \
    X(MORE_THAN_RETIRED, more_than_retired, 422, false,                                                      \
      "More cups than were retired at the site and are in no batch")                                         \
    X(BATCH_WITHDRAWN, batch_withdrawn, 409, false, "The batch was withdrawn already")                       \
    X(BATCH_SUPPLIED, batch_supplied, 409, false, "Supplies name the batch: reverse them first")             \
    /* not the client's fault */                                                                             \
    X(INTERNAL_ERROR, internal_error, 500, true, "Something went wrong here; nothing was recorded")          \
    X(SEAL_BROKEN, seal_broken, 500, false,                                                                  \
      "The rows no longer lead to the seal: depositd verify names the changes")                              \
    X(OPENING_PENDING, opening_pending, 503, true,                                                           \
      "The scheme's opening waits for a second person; nothing else is posted until then")                   \
    X(OVERLOADED, overloaded, 503, true, "Too busy, or no database; nothing was recorded")                   \
    X(TOO_SLOW, too_slow, 503, true, "The database took too long; nothing was recorded")                     \
    X(OUTCOME_UNKNOWN, outcome_unknown, 503, true, "The commit's answer was lost; post again, that is safe")

enum reason {
    REASON_NONE = 0,
#define X(name, code, status, retryable, title) REASON_##name,
    REASON_TABLE(X)
#undef X
        REASON_COUNT
};

struct reason_info {
    const char *code;
    int status;
    bool retryable;
    const char *title;
};

/* Never NULL for a reason of the table. */
const struct reason_info *reason_info(enum reason reason);
/* REASON_NONE: no reason has this wire code. */
enum reason reason_find(const char *code);

#endif
