/* SPDX-License-Identifier: ISC */
/* Each array of fields begins with the fields that name the thing. A scheme's array ends with the lists that
 * only the document has. The shape for putting a thing leaves out both. */
#include "http/resources/reference_shapes.h"

#include "app/network/keys.h"
#include "app/network/reference.h"
#include "store/agreement_store.h"
#include "words/words.h"

/* Lengths as the ISO 20022 messages have them (Max140Text, Max34Text, Max35Text). */
enum { NAME_MAX_LENGTH = 140, ACCOUNT_MAX_LENGTH = 34, ID_MAX_LENGTH = 35, HOLDER_MAX_LENGTH = 100 };
/* The most elements of a list. The maximum size of the body is another bound. */
enum { LIST_MAX = 50000, NESTED_LIST_MAX = 1000 };
enum { COUNT_DAYS_MAX = 3660, RATE_MAX_LENGTH = 32 };

/* The member of the struct with the field's name, and the field's other properties. */
#define REQUIRED(type, member, form_, ...)                                                                   \
    {                                                                                                        \
        .name = #member, .form = form_, .required = true, .offset = offsetof(struct type, member),           \
        __VA_ARGS__                                                                                          \
    }
#define OPTIONAL(type, member, form_, ...)                                                                   \
    {                                                                                                        \
        .name = #member, .form = form_, .offset = offsetof(struct type, member), __VA_ARGS__                 \
    }
/* A member with a bool has_MEMBER beside it. */
#define NOTED(type, member, form_, ...)                                                                      \
    OPTIONAL(type, member, form_, .present_offset = offsetof(struct type, has_##member), __VA_ARGS__)
#define RANGE(from, to) .minimum = from, .maximum = to
#define SAYS(text)      .description = text
/* A list of rows that note whether they have a fault. */
#define ROWS(shape_, type) .shape = shape_, .faulty_offset = offsetof(struct type, is_faulty)

#define COUNT(array) (sizeof(array) / sizeof(array)[0])
#define SHAPE(shape_name, type, first, count)                                                                \
    {                                                                                                        \
        .name = shape_name, .size = sizeof(struct type), .fields = first, .field_count = count               \
    }

static const struct field date_field[] = {{.name = "", .form = FORM_DATE}};
static const struct shape shape_date = {"Date", sizeof(struct date), date_field, 1, .bare = true};
static const struct field code_field[] = {{.name = "", .form = FORM_CODE}};
static const struct shape shape_code = {"Code", CODE_SIZE, code_field, 1, .bare = true};

static const struct field bank_account_fields[] = {
    OPTIONAL(bank_account, iban, FORM_TEXT, RANGE(15, 34),
             SAYS("In capitals, without spaces; or account and bank_code")),
    OPTIONAL(bank_account, account, FORM_TEXT, RANGE(1, ACCOUNT_MAX_LENGTH), SAYS("National account number")),
    OPTIONAL(bank_account, bank_code, FORM_TEXT, RANGE(1, ID_MAX_LENGTH),
             SAYS("National code of bank and branch")),
};
static const struct shape shape_bank_account =
    SHAPE("BankAccount", bank_account, bank_account_fields, COUNT(bank_account_fields));

static const struct field mandate_fields[] = {
    REQUIRED(mandate, id, FORM_TEXT, RANGE(1, ID_MAX_LENGTH), SAYS("Reference of the direct debit mandate")),
    REQUIRED(mandate, signed_on, FORM_DATE, SAYS("The day it was signed")),
};
static const struct shape shape_mandate = SHAPE("Mandate", mandate, mandate_fields, COUNT(mandate_fields));

static const struct field operator_fields[] = {
    REQUIRED(scheme_operator, name, FORM_TEXT, RANGE(1, NAME_MAX_LENGTH), SAYS("As it stands on payments")),
    REQUIRED(scheme_operator, bank_account, FORM_OBJECT, .shape = &shape_bank_account,
             SAYS("The pool's account")),
    OPTIONAL(scheme_operator, bic, FORM_TEXT, RANGE(8, 11), SAYS("Code of the bank (ISO 9362)")),
    OPTIONAL(scheme_operator, creditor_id, FORM_TEXT, RANGE(1, ID_MAX_LENGTH), SAYS("For collections")),
};
static const struct shape shape_operator =
    SHAPE("Operator", scheme_operator, operator_fields, COUNT(operator_fields));

static const struct field par_stock_fields[] = {
    REQUIRED(par_stock_row, cup_type, FORM_CODE, SAYS("Once in the list")),
    REQUIRED(par_stock_row, quantity, FORM_INTEGER, RANGE(1, QUANTITY_MAX), SAYS("Cups that it should have")),
};
static const struct shape shape_par_stock =
    SHAPE("ParStock", par_stock_row, par_stock_fields, COUNT(par_stock_fields));

static const struct field cup_type_fields[] = {
    REQUIRED(cup_type_row, cup_type, FORM_CODE, SAYS("Its code")),
    REQUIRED(cup_type_row, name, FORM_TEXT, RANGE(1, NAME_MAX_LENGTH), SAYS("For people")),
    REQUIRED(cup_type_row, volume_ml, FORM_INTEGER, RANGE(1, 100000), SAYS("Its volume in millilitres")),
    REQUIRED(cup_type_row, mass_g, FORM_INTEGER, RANGE(1, 100000), SAYS("Its mass in grams")),
    OPTIONAL(cup_type_row, grai, FORM_TEXT, RANGE(14, 30),
             SAYS("GS1 Global Returnable Asset Identifier, AI (8003)")),
};

static const struct field participant_fields[] = {
    REQUIRED(participant_row, participant, FORM_CODE, SAYS("Its code; pool is taken")),
    REQUIRED(participant_row, name, FORM_TEXT, RANGE(1, NAME_MAX_LENGTH), SAYS("As it stands on payments")),
    NOTED(participant_row, bank_account, FORM_OBJECT, .shape = &shape_bank_account,
          SAYS("The account to which it is paid")),
    OPTIONAL(participant_row, bic, FORM_TEXT, RANGE(8, 11), SAYS("Code of its bank (ISO 9362)")),
    NOTED(participant_row, tax_registered, FORM_BOOLEAN,
          SAYS("Whether its handling fees bear tax; true unless given")),
    NOTED(participant_row, mandate, FORM_OBJECT, .shape = &shape_mandate,
          SAYS("Its permission to collect from it")),
};

static const struct field fee_row_fields[] = {
    OPTIONAL(fee_row_row, participant, FORM_CODE,
             SAYS("For cups at its sites; of any participant unless given")),
    NOTED(fee_row_row, site_kind, FORM_WORD, .words = site_kind_words,
          SAYS("For cups at sites of this kind; of any kind unless given")),
    OPTIONAL(fee_row_row, cup_type, FORM_CODE, SAYS("For cups of this type; of any type unless given")),
    NOTED(fee_row_row, service_fee, FORM_AMOUNT, RANGE(0, 1), SAYS("Per cup issued, without tax")),
    NOTED(fee_row_row, handling_fee, FORM_AMOUNT, RANGE(0, 1), SAYS("Per cup returned, without tax")),
    NOTED(fee_row_row, monthly_fee, FORM_AMOUNT, RANGE(0, 1),
          SAYS("Per site and month, without tax; not beside cup_type")),
};
static const struct shape shape_fee_row =
    SHAPE("FeeRowGiven", fee_row_row, fee_row_fields, COUNT(fee_row_fields));

static const struct field terms_fields[] = {
    REQUIRED(terms_row, effective_date, FORM_DATE, SAYS("The business day from which they hold")),
    REQUIRED(terms_row, netting, FORM_WORD, .words = netting_words,
             SAYS("central: all payments go through the pool; direct: participants pay each other")),
    REQUIRED(terms_row, minimum_payment, FORM_AMOUNT, RANGE(0, 1),
             SAYS("Positions below it are carried forward")),
    REQUIRED(terms_row, service_fee, FORM_AMOUNT, RANGE(0, 1), SAYS("Per cup issued, without tax")),
    REQUIRED(terms_row, handling_fee, FORM_AMOUNT, RANGE(0, 1), SAYS("Per cup returned, without tax")),
    REQUIRED(terms_row, tax_rate, FORM_RATE, SAYS("A fraction: 0.15 is 15 %")),
    REQUIRED(terms_row, shortage_terms, FORM_WORD, .words = bearing_words,
             SAYS("Whether sites pay for cups that a count misses")),
    OPTIONAL(terms_row, variance_terms, FORM_WORD, .words = bearing_words,
             SAYS("Whether sites pay for amounts off tariff; absorb unless given")),
    OPTIONAL(terms_row, pay_days, FORM_PAY_DAYS,
             SAYS("The business days on whose close positions are settled: daily, weekdays, or days of the "
                  "month, where a month that lacks a day has its last; daily unless given")),
    NOTED(terms_row, monthly_fee, FORM_AMOUNT, RANGE(0, 1),
          SAYS("Per site and month, without tax, due on the business day dated the 1st; none unless given")),
    OPTIONAL(
        terms_row, fees, FORM_LIST, .shape = &shape_fee_row, RANGE(0, FEE_ROWS_MAX),
        SAYS("Fees for some cups. Each fee by itself comes from a row that states it and fits the cup: one "
             "that names the participant first, then one that names the kind of site, then one that "
             "names the cup type; else the terms' own fee holds")),
};
static const struct shape shape_terms = SHAPE("ReferenceTerms", terms_row, terms_fields, COUNT(terms_fields));

static const struct field refund_value_fields[] = {
    REQUIRED(refund_value_row, cup_type, FORM_CODE, SAYS("Code of the cup type")),
    REQUIRED(refund_value_row, effective_date, FORM_DATE, SAYS("The business day from which it holds")),
    REQUIRED(refund_value_row, amount, FORM_AMOUNT, RANGE(1, 1), SAYS("The value of a cup on return")),
};
static const struct shape shape_refund_value =
    SHAPE("ReferenceRefundValue", refund_value_row, refund_value_fields, COUNT(refund_value_fields));

enum { ACCOUNT_NAME_MAX = 100, OFFICE_CODE_MAX = 32, OFFICE_NAME_MAX = 100 };

static const struct field office_account_fields[] = {
    REQUIRED(
        office_account_row, account, FORM_TEXT, RANGE(1, ACCOUNT_NAME_MAX),
        SAYS("An account of money, as site_clearing(anchor); or a kind, as site_clearing, for all accounts"
             " of the kind that the list does not name themselves")),
    REQUIRED(office_account_row, code, FORM_TEXT, RANGE(1, OFFICE_CODE_MAX),
             SAYS("Its code in the office's own ledger: printable characters of ASCII; several accounts may"
                  " share one")),
    REQUIRED(office_account_row, name, FORM_TEXT, RANGE(1, OFFICE_NAME_MAX),
             SAYS("Its name there; a code has one name")),
};
static const struct shape shape_office_account =
    SHAPE("OfficeAccount", office_account_row, office_account_fields, COUNT(office_account_fields));

static const struct field office_accounts_fields[] = {
    REQUIRED(office_accounts_row, effective_date, FORM_DATE,
             SAYS("The business day from which it holds, in place of the list before")),
    REQUIRED(office_accounts_row, accounts, FORM_LIST, .shape = &shape_office_account, RANGE(0, LIST_MAX),
             SAYS("All accounts that have a code from that day on")),
};
static const struct shape shape_office_accounts = SHAPE(
    "ReferenceOfficeAccounts", office_accounts_row, office_accounts_fields, COUNT(office_accounts_fields));

static const struct field scheme_fields[] = {
    REQUIRED(scheme_row, scheme, FORM_CODE, SAYS("Its code")),
    REQUIRED(scheme_row, currency, FORM_TEXT, RANGE(3, 3), SAYS("ISO 4217")),
    REQUIRED(scheme_row, time_zone, FORM_TEXT, RANGE(1, 64), SAYS("IANA time zone")),
    REQUIRED(scheme_row, cut_off, FORM_TIME, SAYS("When a business day starts")),
    NOTED(scheme_row, close_after_minutes, FORM_INTEGER, RANGE(0, 10080),
          SAYS("Minutes from the end of a day until the clock closes it; 60 unless given")),
    REQUIRED(scheme_row, stock_terms, FORM_WORD, .words = stock_terms_words,
             SAYS("Whether sites place a deposit for cups in their care")),
    NOTED(scheme_row, return_target, FORM_RATE,
          SAYS("Fraction of the cups issued that should come back; 0.90"
               " unless given")),
    NOTED(scheme_row, dual_control, FORM_BOOLEAN,
          SAYS("Whether payments take two people; true unless given")),
    OPTIONAL(scheme_row, count_tolerance, FORM_INTEGER, RANGE(0, QUANTITY_MAX),
             SAYS("Cups by which a count may be off; 0 unless given")),
    NOTED(scheme_row, variance_limit, FORM_AMOUNT, RANGE(0, 1),
          SAYS("A payout is held if the participant's exceptions exceed it; no limit unless given")),
    NOTED(scheme_row, carry_days, FORM_INTEGER, RANGE(0, 3660),
          SAYS("Days for which a small position is carried; 30 unless given")),
    NOTED(scheme_row, loss_bearer, FORM_WORD, .words = loss_bearer_words,
          SAYS("Bearer of cups lost on the road, where the loss does not say; receiver unless given")),
    NOTED(scheme_row, operator, FORM_OBJECT, .shape = &shape_operator, SAYS("The operator of the pool")),
    OPTIONAL(scheme_row, holidays, FORM_LIST, .shape = &shape_date, RANGE(0, NESTED_LIST_MAX),
             SAYS("Days without payments")),
    NOTED(scheme_row, closed_on, FORM_DATE,
          SAYS("Its last day; from the next day on it takes only returns and the events of accountants")),
    NOTED(scheme_row, group, FORM_INTEGER, RANGE(1, SCHEME_GROUPS_MAX),
          SAYS("Whose writer posts its events; schemes of other groups don't wait for them; 1 unless given")),
    OPTIONAL(scheme_row, terms, FORM_LIST, ROWS(&shape_terms, terms_row), RANGE(0, NESTED_LIST_MAX),
             SAYS("By the day they start")),
    OPTIONAL(scheme_row, refund_values, FORM_LIST, ROWS(&shape_refund_value, refund_value_row),
             RANGE(0, LIST_MAX), SAYS("By cup type and the day they start")),
    OPTIONAL(scheme_row, office_accounts, FORM_LIST, ROWS(&shape_office_accounts, office_accounts_row),
             RANGE(0, NESTED_LIST_MAX), SAYS("Codes of the office's own ledger, by the day they start")),
};
enum { SCHEME_LISTS = 3 };

static const struct field site_fields[] = {
    REQUIRED(site_row, site, FORM_CODE, SAYS("Its code")),
    REQUIRED(site_row, scheme, FORM_CODE, SAYS("Code of its scheme")),
    REQUIRED(site_row, participant, FORM_CODE, SAYS("Code of the participant that owns it")),
    REQUIRED(site_row, name, FORM_TEXT, RANGE(1, NAME_MAX_LENGTH), SAYS("For people")),
    REQUIRED(site_row, kind, FORM_WORD, .words = site_kind_words, SAYS("Kind of site")),
    REQUIRED(site_row, opened_on, FORM_DATE, SAYS("Its first day")),
    NOTED(site_row, closed_on, FORM_DATE, SAYS("Its last day")),
    NOTED(site_row, latitude, FORM_NUMBER, RANGE(-90, 90), SAYS("Degrees north")),
    NOTED(site_row, longitude, FORM_NUMBER, RANGE(-180, 180), SAYS("Degrees east")),
    OPTIONAL(site_row, gln, FORM_TEXT, RANGE(13, 13), SAYS("GS1 Global Location Number")),
    OPTIONAL(site_row, par_stock, FORM_LIST, .shape = &shape_par_stock, RANGE(0, CUP_LINES_MAX),
             SAYS("The stock that it should have")),
    NOTED(site_row, count_days, FORM_INTEGER, RANGE(1, COUNT_DAYS_MAX),
          SAYS("Days after which it is to be counted again; as the service is set up unless given")),
};

static const struct field tax_registration_fields[] = {
    REQUIRED(tax_registration_row, participant, FORM_CODE, SAYS("Code of the participant")),
    REQUIRED(tax_registration_row, effective_date, FORM_DATE, SAYS("The business day from which it holds")),
    REQUIRED(tax_registration_row, tax_registered, FORM_BOOLEAN, SAYS("Whether its handling fees bear tax")),
};
static const struct field site_kind_fields[] = {
    REQUIRED(site_kind_row, site, FORM_CODE, SAYS("Code of the site")),
    REQUIRED(site_kind_row, effective_date, FORM_DATE, SAYS("The business day from which it holds")),
    REQUIRED(site_kind_row, kind, FORM_WORD, .words = site_kind_words, SAYS("Kind of site")),
};

static const struct field agreement_value_fields[] = {
    REQUIRED(agreement_value_row, cup_type, FORM_CODE, SAYS("Once in the list")),
    REQUIRED(agreement_value_row, amount, FORM_AMOUNT, RANGE(1, 1),
             SAYS("Owed for each such cup of the home that the host takes back, in the agreed currency")),
};
static const struct shape shape_agreement_value =
    SHAPE("AgreementValue", agreement_value_row, agreement_value_fields, COUNT(agreement_value_fields));

static const struct field agreement_fields[] = {
    REQUIRED(agreement_row, home, FORM_CODE, SAYS("Code of the scheme whose deposit the cups carry")),
    REQUIRED(agreement_row, host, FORM_CODE, SAYS("Code of the scheme that takes them back")),
    REQUIRED(agreement_row, effective_date, FORM_DATE,
             SAYS("The business day of the host from which it holds")),
    REQUIRED(agreement_row, currency, FORM_TEXT, RANGE(3, 3),
             SAYS("ISO 4217: that of one of the two schemes, and the same in all their agreements")),
    REQUIRED(agreement_row, rate, FORM_TEXT, RANGE(1, RATE_MAX_LENGTH),
             SAYS("Units of the other scheme's currency for one unit of this one, with at most 12 decimals; "
                  "1 if they are "
                  "the same")),
    REQUIRED(agreement_row, values, FORM_LIST, .shape = &shape_agreement_value, RANGE(0, CUP_LINES_MAX),
             SAYS("The amount for each cup type that the host takes back; none: the agreement ends")),
    OPTIONAL(agreement_row, signs_for, FORM_CODE,
             SAYS("The scheme for which the proposer signs; its approver signs for the other one. May be "
                  "missing where "
                  "nothing changes")),
};
enum { AGREEMENT_NAMES = 3 };

const struct shape shape_agreement_put =
    SHAPE("AgreementPut", agreement_row, agreement_fields + AGREEMENT_NAMES,
          COUNT(agreement_fields) - AGREEMENT_NAMES);
static const struct shape shape_agreement =
    SHAPE("ReferenceAgreement", agreement_row, agreement_fields, COUNT(agreement_fields));

const struct shape shape_tax_registration_put =
    SHAPE("TaxRegistrationPut", tax_registration_row, tax_registration_fields + 2, 1);
const struct shape shape_site_kind_put = SHAPE("SiteKindPut", site_kind_row, site_kind_fields + 2, 1);
const struct shape shape_cup_type_put =
    SHAPE("CupTypePut", cup_type_row, cup_type_fields + 1, COUNT(cup_type_fields) - 1);
const struct shape shape_participant_put =
    SHAPE("ParticipantPut", participant_row, participant_fields + 1, COUNT(participant_fields) - 1);
const struct shape shape_scheme_put =
    SHAPE("SchemePut", scheme_row, scheme_fields + 1, COUNT(scheme_fields) - 1 - SCHEME_LISTS);
const struct shape shape_terms_put = SHAPE("TermsPut", terms_row, terms_fields + 1, COUNT(terms_fields) - 1);
const struct shape shape_refund_value_put =
    SHAPE("RefundValuePut", refund_value_row, refund_value_fields + 2, COUNT(refund_value_fields) - 2);
const struct shape shape_office_accounts_put = SHAPE(
    "OfficeAccountsPut", office_accounts_row, office_accounts_fields + 1, COUNT(office_accounts_fields) - 1);
const struct shape shape_site_put = SHAPE("SitePut", site_row, site_fields + 1, COUNT(site_fields) - 1);

static const struct shape shape_cup_type =
    SHAPE("ReferenceCupType", cup_type_row, cup_type_fields, COUNT(cup_type_fields));
static const struct shape shape_participant =
    SHAPE("ReferenceParticipant", participant_row, participant_fields, COUNT(participant_fields));
static const struct shape shape_scheme =
    SHAPE("ReferenceScheme", scheme_row, scheme_fields, COUNT(scheme_fields));
static const struct shape shape_site = SHAPE("ReferenceSite", site_row, site_fields, COUNT(site_fields));

static const struct shape shape_tax_registration =
    SHAPE("ReferenceTaxRegistration", tax_registration_row, tax_registration_fields,
          COUNT(tax_registration_fields));
static const struct shape shape_site_kind =
    SHAPE("ReferenceSiteKind", site_kind_row, site_kind_fields, COUNT(site_kind_fields));

static const struct field reference_fields[] = {
    OPTIONAL(reference, cup_types, FORM_LIST, ROWS(&shape_cup_type, cup_type_row), RANGE(0, LIST_MAX),
             SAYS("Cup types")),
    OPTIONAL(reference, participants, FORM_LIST, ROWS(&shape_participant, participant_row),
             RANGE(0, LIST_MAX), SAYS("Participants, who own sites")),
    OPTIONAL(reference, schemes, FORM_LIST, ROWS(&shape_scheme, scheme_row), RANGE(0, NESTED_LIST_MAX),
             SAYS("Deposit pools")),
    OPTIONAL(reference, sites, FORM_LIST, ROWS(&shape_site, site_row), RANGE(0, LIST_MAX),
             SAYS("Sites, where cups change hands")),
    OPTIONAL(reference, tax_registrations, FORM_LIST, ROWS(&shape_tax_registration, tax_registration_row),
             RANGE(0, LIST_MAX), SAYS("Later registrations of participants for tax, by the day they start")),
    OPTIONAL(reference, site_kinds, FORM_LIST, ROWS(&shape_site_kind, site_kind_row), RANGE(0, LIST_MAX),
             SAYS("Later kinds of sites, by the day they start")),
    OPTIONAL(reference, agreements, FORM_LIST, ROWS(&shape_agreement, agreement_row), RANGE(0, LIST_MAX),
             SAYS("Agreements between two schemes, by the day they start")),
};
const struct shape shape_reference =
    SHAPE("ReferenceDocument", reference, reference_fields, COUNT(reference_fields));

static const struct field refund_values_fields[] = {
    REQUIRED(reference, refund_values, FORM_LIST, ROWS(&shape_refund_value, refund_value_row),
             RANGE(0, LIST_MAX), SAYS("By cup type and the day they start")),
};
const struct shape shape_refund_values =
    SHAPE("RefundValuesDocument", reference, refund_values_fields, COUNT(refund_values_fields));

const struct csv_form csv_cup_types = {"cup_types", &shape_cup_type};
const struct csv_form csv_participants = {"participants", &shape_participant};
const struct csv_form csv_sites = {"sites", &shape_site};
const struct csv_form csv_refund_values = {"refund_values", &shape_refund_value};
_Static_assert((int)LIST_MAX == (int)CSV_ROWS_MAX, "a list in CSV may be as long as in JSON");

static const char *const role_words[] = {
#define X(name, word, ...) [ROLE_##name] = #word,
    ROLE_TABLE(X)
#undef X
        NULL};

static const struct field key_fields[] = {
    REQUIRED(key_request, name, FORM_CODE, SAYS("Another name than that of any key in force")),
    REQUIRED(key_request, holder, FORM_TEXT, RANGE(1, HOLDER_MAX_LENGTH),
             SAYS("The person who holds the key; two keys of one holder are one person")),
    REQUIRED(key_request, role, FORM_WORD, .words = role_words, SAYS("Role of the key")),
    OPTIONAL(key_request, sites, FORM_LIST, .shape = &shape_code, RANGE(1, NESTED_LIST_MAX),
             SAYS("For a " ROLES_OF_SITES " key: its sites")),
    OPTIONAL(key_request, participant, FORM_CODE,
             SAYS("For a " ROLES_OF_PARTICIPANT " key: the participant whose sites it may see")),
    NOTED(key_request, language, FORM_WORD, .words = words_codes,
          SAYS("Language of its pages; as the browser prefers unless given")),
};
const struct shape shape_key_post = SHAPE("KeyPost", key_request, key_fields, COUNT(key_fields));

static const struct field language_fields[] = {
    NOTED(key_language, language, FORM_WORD, .words = words_codes,
          SAYS("Language of its pages; as the browser prefers unless given")),
};
const struct shape shape_key_language =
    SHAPE("KeyLanguage", key_language, language_fields, COUNT(language_fields));
