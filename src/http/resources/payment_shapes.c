/* SPDX-License-Identifier: ISC */
/* A single member, which is required in one shape and optional in the other. */
#include "http/resources/payment_shapes.h"

#include "depositd/event.h"

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
