/* SPDX-License-Identifier: ISC */
/* A single member, which is required in one shape and optional in the other. */
#include "http/resources/payment_shapes.h"

#include "depositd/event.h"

enum { PAYMENT_ID_CHARACTERS = 35, PAYMENTS_MAX = 1000 };

#define REASON(must)                                                                                         \
    {                                                                                                        \
        .name = "reason", .form = FORM_TEXT, .required = must,                                               \
        .offset = offsetof(struct stated_reason, reason), .minimum = 1, .maximum = REASON_CHARACTERS_MAX,    \
        .description = "Why; no personal data"                                                               \
    }

static const struct field reason_field[] = {REASON(true)};
static const struct field note_field[] = {REASON(false)};

const struct shape shape_reason = {"StatedReason", sizeof(struct stated_reason), reason_field, 1,
                                   .bare = false};
const struct shape shape_note = {"Note", sizeof(struct stated_reason), note_field, 1, .bare = false};

static const struct field confirm_fields[] = {
    REASON(false),
    {.name = "amount",
     .form = FORM_AMOUNT,
     .offset = offsetof(struct stated_confirmation, amount),
     .present_offset = offsetof(struct stated_confirmation, has_amount),
     .minimum = 1,
     .maximum = 1,
     .description = "As the bank booked it in the scheme's currency; needed for a payment to another pool "
                    "that is instructed in "
                    "another currency"},
};
_Static_assert(offsetof(struct stated_confirmation, stated) == 0, "the reason's place is the same");
const struct shape shape_confirm = {"PaymentConfirm", sizeof(struct stated_confirmation), confirm_fields, 2,
                                    .bare = false};

static const struct field id_field[] = {
    {.name = "", .form = FORM_TEXT, .minimum = 1, .maximum = PAYMENT_ID_CHARACTERS}};
static const struct shape shape_payment_id = {"PaymentId", sizeof(const char *), id_field, 1, .bare = true};
static const struct field approve_fields[] = {
    {.name = "payments",
     .form = FORM_LIST,
     .offset = offsetof(struct stated_approval, payments),
     .minimum = 1,
     .maximum = PAYMENTS_MAX,
     .shape = &shape_payment_id,
     .description = "Only these; all that the key may approve, unless given"},
    {.name = "reason",
     .form = FORM_TEXT,
     .offset = offsetof(struct stated_approval, reason),
     .minimum = 1,
     .maximum = REASON_CHARACTERS_MAX,
     .description = "Why; no personal data"},
};

const struct shape shape_approve = {"SettlementApprove", sizeof(struct stated_approval), approve_fields, 2,
                                    .bare = false};
