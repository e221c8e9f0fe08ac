/* SPDX-License-Identifier: ISC */
/* A payment file for the bank: the data that pain.001 and pain.008 share.
 *
 * The caller has checked the identifiers: accounts, bank codes, mandates, the creditor's id and the
 * references are latin_reference_valid(), and the IBANs and BICs are valid. Names are converted to the bank's
 * characters here. Text is borrowed. The same struct gives the same bytes. Pure; any thread. */
#ifndef DEPOSITD_PAYMENT_PAIN_H
#define DEPOSITD_PAYMENT_PAIN_H

#include "base/buffer.h"
#include "depositd/civil.h"
#include "depositd/money.h"

enum {
    REFERENCE_MAX = 35,      /* Max35Text */
    PAIN_MESSAGE_ID_MAX = 32 /* a block of payments appends "-" and a number to the message's id */
};

/* A name, and an account in either form. */
struct pain_party {
    const char *name;
    const char *iban;      /* NULL: account and bank_code */
    const char *account;   /* at most 34 characters */
    const char *bank_code; /* at most 35 */
    const char *bic;       /* NULL: not given */
};

struct pain_order {
    const char *end_to_end; /* unique for ever */
    struct money amount;    /* more than 0 */
    struct date due_on;
    struct pain_party party; /* the party that is paid, or collected from */
    /* For collections: the mandate, and whether it is used for the first time. */
    const char *mandate_id;
    struct date mandate_signed_on;
    bool first;
    const struct currency *currency; /* in which it is instructed; NULL: the file's, which is the account's */
};

struct pain_file {
    const char *message_id; /* at most PAIN_MESSAGE_ID_MAX characters */
    struct instant created_at;
    const struct currency *currency; /* of the operator's account */
    struct pain_party operator;
    const char *creditor_id;   /* for collections */
    const char *purpose;       /* the purpose of the payments, in the bank's characters, at most 140 */
    struct pain_order *orders; /* writing sorts them into the order of the file */
    size_t count;              /* at least one */
};

#endif
