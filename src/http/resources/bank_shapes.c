/* SPDX-License-Identifier: ISC */
/* The shapes for making a payment file, and for resolving a line of a bank statement. */
#include "http/resources/bank_shapes.h"

enum { PAYMENT_ID_MAX = 35 };

static const char *const file_words[] = {
    [FILE_PAYOUTS] = "payouts", [FILE_COLLECTIONS] = "collections", NULL};
static const char *const account_words[] = {
    [RESOLVE_ARREARS] = "arrears",         [RESOLVE_CHARGES] = "bank_charges",
    [RESOLVE_INTEREST] = "interest",       [RESOLVE_OPERATOR] = "operator_account",
    [RESOLVE_BETWEEN] = "between_schemes", NULL,
};

static const struct field file_fields[] = {
    {.name = "type",
     .form = FORM_WORD,
     .required = true,
     .offset = offsetof(struct file_request, type),
     .words = file_words,
     .description =
         "payouts: pain.001.001.09, from the pool to participants; collections: pain.008.001.08, from "
         "participants to the pool"},
};

static const struct field resolve_fields[] = {
    {.name = "payment_id",
     .form = FORM_TEXT,
     .offset = offsetof(struct resolve_request, payment_id),
     .minimum = 1,
     .maximum = PAYMENT_ID_MAX,
     .description =
         "The payment that the line was for: it is confirmed, or fails if the line is its return; a "
         "difference goes to the participant's arrears. With between_schemes: the other pool's payment, if "
         "the line does not name it"},
    {.name = "participant",
     .form = FORM_CODE,
     .offset = offsetof(struct resolve_request, participant),
     .present_offset = offsetof(struct resolve_request, has_participant),
     .description = "Or the participant that the line was from: the amount goes to its arrears, which the "
                    "next pay day settles"},
    {.name = "account",
     .form = FORM_WORD,
     .offset = offsetof(struct resolve_request, account),
     .present_offset = offsetof(struct resolve_request, has_account),
     .words = account_words,
     .description = "Or the account that the amount belongs to: bank_charges, interest, or operator_account "
                    "for the operator's own money, or between_schemes with scheme, which take two people. "
                    "arrears may be "
                    "named with participant"},
    {.name = "scheme",
     .form = FORM_CODE,
     .offset = offsetof(struct resolve_request, scheme),
     .present_offset = offsetof(struct resolve_request, has_scheme),
     .description = "For between_schemes: the scheme that paid for its cups, which this one took back"},
    {.name = "note",
     .form = FORM_TEXT,
     .required = true,
     .offset = offsetof(struct resolve_request, note),
     .minimum = 1,
     .maximum = REASON_CHARACTERS_MAX,
     .description = "How a person found this out; no personal data"},
};

#define COUNT(fields) (sizeof(fields) / sizeof(fields)[0])

const struct shape shape_file = {"PaymentFilePost", sizeof(struct file_request), file_fields,
                                 COUNT(file_fields), .bare = false};
const struct shape shape_resolve = {"BankLineResolve", sizeof(struct resolve_request), resolve_fields,
                                    COUNT(resolve_fields), .bare = false};
