/* SPDX-License-Identifier: ISC */
/* Rules for the pages of each answer. A link is left out if its route or report does not exist or the key may
 * not read it. So the tables need not say which roles may follow a link. */
#include "http/pages/page_rules.h"

#include <string.h>

#define MONEY_NOTE                                                                                           \
    "Deposits are other people's money, and payments move it: two people approve them, and the bank's own "  \
    "limits hold. The figures need a licensed accountant."
#define LAW_NOTE                                                                                             \
    "Deposits are other people's money. Trust, unclaimed-property and tax law differ by place: the figures " \
    "need a licensed accountant."
#define SURPLUS_NOTE                                                                                         \
    "Deposits are other people's money. Whose the interest on them is, and whether a surplus may be taken "  \
    "out at all, is a matter of trust law and licensed practice: the figures need a licensed accountant."
#define TAX_NOTE                                                                                             \
    "Rates of tax, what is taxed and what a return must say follow local law: ask a licensed accountant."
#define NOTE_NOTE                                                                                            \
    "Nothing is due by this note: the settlements of the month have these fees. Whether it serves as a tax " \
    "invoice, and what an invoice must say, follows local law: ask a licensed accountant."
#define CUPS_NOTE                                                                                            \
    "Counts say nothing about hygiene: cups go back into service only as local food codes allow, damaged "   \
    "ones never."
#define QUEUE_NOTE                                                                                           \
    "No cup is told from another: of each type, the cups that went out first count as the first to come "    \
    "back. Cups of an opening are the oldest and belong to no period, and a forfeit takes the oldest cups. " \
    "Claims about the environment need evidence that local rules accept."
#define TO_COME_NOTE                                                                                         \
    "An estimate, and no figure of the books. Deposits are other people's money: whether those that nobody " \
    "will claim may be recognised, and when, is a matter of law and licensed practice."
#define ID_NOTE                                                                                              \
    "An identity is no personal data until somebody links it with a person: on a receipt, by a card or a "   \
    "membership. Nothing here links it, and entries can't be erased."
#define PURCHASE_NOTE                                                                                        \
    "An estimate from the scheme's past and from what its operator states, and no figure of the books. "     \
    "Uses "                                                                                                  \
    "are compared with the price and the mass of a disposable cup as stated, and with nothing else. Claims " \
    "about the environment need evidence that local rules accept."
#define OFFICE_NOTE                                                                                          \
    "The worst first: schemes whose pool is short, then those with more days to close, more payments "       \
    "overdue, arrears, and more open things. Deposits are other people's money: the figures need a "         \
    "licensed accountant."
#define CLAIMS_NOTE "Claims about the environment need evidence that local rules accept."

#define JOURNAL       "/v1/reports/journal?scheme={scheme}&from={date}&to={date}"
#define EVENTS_OF_DAY "/v1/events?scheme={scheme}&business_date={date}"
#define WHOLE         "&limit=1000"
#define FIGURE(of)    "/v1/reports/site-figures?scheme={scheme}&site={site}&from={date}&to={date}&figure=" of
#define LINES_OF      "/v1/bank-lines?scheme={scheme}&bank_statement={bank_statement}" WHOLE
#define LEDGER_OF     "/v1/reports/general-ledger?scheme={scheme}&account={account}"
#define PAYMENTS_OF   "/v1/payments?scheme={scheme}&from={date}&to={date}&to_pools=false" WHOLE

#define SHIPMENT         "/v1/shipments/{shipment}?scheme={scheme}"
#define OF_MONTH(report) "/v1/reports/" report "?scheme={scheme}&from={from}&to={to}"
#define RECONCILIATION   "/v1/reports/bank-reconciliation?scheme={scheme}"
#define SEALS            "/v1/seals?scheme={scheme}"
#define JOURNALS         "/v1/journals?scheme={scheme}"
#define JOURNAL_OF_ENTRY "/v1/reports/journal?scheme={scheme}&from={business_date}&to={business_date}"
#define SEE_ENTRY                                                                                            \
    {"Journal of the day", JOURNAL_OF_ENTRY},                                                                \
        {"Events of the day", "/v1/events?scheme={scheme}&business_date={business_date}"},                   \
    {                                                                                                        \
        "The rules by which events become legs", "/v1/posting-rules"                                         \
    }

static const struct page_about abouts[] = {
    {.schema = "Index",
     .title = "Today",
     .plot = {PLOT_LINES, "Cups with customers at the end of each closed day", "date", "cups", NULL, NULL}},
    {.schema = "TaskList", .title = "Where it waits"},
    {.schema = "Office",
     .title = "All schemes",
     .columns = {"scheme", "worst", "currency", "uncovered", "days_not_closed", "late_events",
                 "sites_to_count", "to_collect", "to_pay", "arrears_to_pool", "arrears_of_pool",
                 "payments_overdue", "exceptions_open", "journals_open", "openings_open", "bank_lines_open"},
     .filters = {"state", "currency", "sum_in", "rates", "rate_day"},
     .note = OFFICE_NOTE},
    {.schema = "Settlement",
     .title = "Settlement",
     .columns = {"site", "brought_forward", "collected", "refunded", "fees", "tax", "stock", "other", "net"},
     .rows = "sites",
     .sums = {"positions", "payments"},
     .plot_of = "positions",
     .plot = {PLOT_BARS, "Positions: the amount that each participant owes (+) or is owed (-)", "participant",
              "amount", NULL, NULL},
     .see = {{"Journal of the day", JOURNAL},
             {"Events of the day", EVENTS_OF_DAY},
             {"Fees of the day", "/v1/reports/fees?scheme={scheme}&from={date}&to={date}"},
             {"All settlements", "/v1/settlements?scheme={scheme}"},
             {"Payment files", "/v1/settlements/{scheme}/{date}/files"},
             {"The chain of seals", SEALS}},
     .note = MONEY_NOTE},
    {.schema = "SettlementList", .title = "Settlements", .sums = {"items"}, .note = MONEY_NOTE},
    {.schema = "RemakingBatchList",
     .title = "Batches for re-makers",
     .columns = {"batch", "site", "sent_on", "remaker", "weight_g", "withdrawn"},
     .note = CLAIMS_NOTE},
    {.schema = "RemakingBatch",
     .title = "Batch for a re-maker",
     .see = {{"All batches", "/v1/remaking-batches?scheme={scheme}"},
             {"Retired cups of the site", "/v1/reports/retired-cups?scheme={scheme}&site={site}"},
             {"Recovery", "/v1/reports/recovery?scheme={scheme}"}},
     .note = CLAIMS_NOTE},
    {.schema = "FeeNoteList",
     .title = "Fee notes",
     .columns = {"number", "month", "participant", "charged", "granted", "balance", "currency"},
     .note = TAX_NOTE},
    {.schema = "FeeNote",
     .title = "Fee note",
     .sums = {"charged", "granted"},
     .see =
         {{"Statement of the month",
           "/v1/reports/statement-of-account?scheme={scheme}&participant={participant}&from={from}&to={to}"},
          {"Its fees, day by day",
           "/v1/reports/fees?scheme={scheme}&participant={participant}&from={from}&to={to}"},
          {"All fee notes", "/v1/fee-notes?scheme={scheme}"}},
     .note = NOTE_NOTE},
    {.schema = "CupList",
     .title = "Cups with identity",
     .filters = {"cup_id"},
     .columns = {"cup_id", "cup_type", "place", "site", "since", "scheme", "entry"},
     .note = CUPS_NOTE},
    {.schema = "Cup", .title = "Cup", .see = {{"All cups with identity", "/v1/cups"}}, .note = ID_NOTE},
    {.schema = "PaymentList", .title = "Payments", .sums = {"items"}, .note = MONEY_NOTE},
    {.schema = "Payment",
     .title = "Payment",
     .note = MONEY_NOTE,
     .see = {{"Settlement", "/v1/settlements/{scheme}/{date}"}}},
    {.schema = "DayList", .title = "Business days"},
    {.schema = "ReturnsToCome",
     .title = "Returns still to come",
     .plot_of = "weeks",
     .plot = {PLOT_BARS, "Cups expected back, by the week of issue", "week", "expected", NULL, NULL},
     .see = {{"Return rates by week", "/v1/reports/return-rate?scheme={scheme}&cup_type={cup_type}"}},
     .note = TO_COME_NOTE},
    {.schema = "MonthList",
     .title = "Months",
     .columns = {"month", "state", "proposal", "proposed_at", "proposed_by", "decided_at", "decided_by"}},
    {.schema = "Month",
     .title = "Month",
     .see = {{"Trial balance of the month",
              "/v1/reports/trial-balance?scheme={scheme}&from={from}&as_of={to}"},
             {"Income and expenses of the month", OF_MONTH("income-statement")},
             {"Tax of the month", OF_MONTH("tax")},
             {"Open journals", "/v1/journals?scheme={scheme}"},
             {"All months", "/v1/schemes/{scheme}/months"}},
     .note = LAW_NOTE},
    {.schema = "EntryList",
     .title = "Events",
     .counts = {{"event", "with_an_event"}, {"late", "late"}},
     .columns = {"entry", "business_date", "late", "kind", "site", "occurred_at", "amount", "tariff",
                 "clearing", "reference", "event_id"},
     .filters = {"site", "kind", "business_date", "reference", "late"},
     .note = "Amount: what the till stated. Tariff: what the cups cost on the day of occurrence. Clearing: "
             "what the site owes the pool (+) or is owed (-) by the entry."},
    {.schema = "ShipmentList",
     .title = "Requested shipments",
     .columns = {"shipment", "site", "to", "state", "waits_for", "wanted_on", "days_over", "requested",
                 "dispatched", "received", "lost", "missing"},
     .filters = {"site", "state", "overdue"},
     .see = {{"Those that wait for the sender", "/v1/shipments?scheme={scheme}&waits_for=sender"},
             {"Those that wait for the receiver", "/v1/shipments?scheme={scheme}&waits_for=receiver"},
             {"Those of which cups are missing", "/v1/shipments?scheme={scheme}&waits_for=accountant"},
             {"All cups on the road", "/v1/reports/transfers?scheme={scheme}"}},
     .note = CUPS_NOTE},
    {.schema = "Shipment",
     .title = "Requested shipment",
     .see = {{"Packing list", "/v1/shipments/{shipment}/packing-list?scheme={scheme}"},
             {"Requested shipments that are open", "/v1/shipments?scheme={scheme}&state=open"},
             {"All cups on the road", "/v1/reports/transfers?scheme={scheme}"}},
     .note = CUPS_NOTE},
    {.schema = "PackingList",
     .title = "Packing list",
     .see = {{"The shipment", SHIPMENT}},
     .note = CUPS_NOTE},
    {.schema = "RecordedEvent", .title = "Event", .see = {SEE_ENTRY}},
    {.schema = "RecordedEntry", .title = "Entry", .see = {SEE_ENTRY}},
    {.schema = "Proof",
     .title = "Proof that an entry is sealed",
     .see = {{"Settlement", "/v1/settlements/{scheme}/{business_date}"}, {"The chain of seals", SEALS}}},
    {.schema = "SealList", .title = "The chain of seals"},
    {.schema = "JournalList",
     .title = "Journals",
     .columns = {"reason", "status", "proposed_at", "proposed_by", "occurred_at", "decided_at", "decided_by",
                 "note", "entry", "event_id"},
     .see = {{"Open journals", JOURNALS "&status=open"},
             {"Approved journals", JOURNALS "&status=approved"},
             {"Withdrawn journals", JOURNALS "&status=withdrawn"}}},
    {.schema = "Journal",
     .title = "Journal",
     .see = {{"Open journals", JOURNALS "&status=open"}, {"Accounts", "/v1/accounts?scheme={scheme}"}},
     .note = LAW_NOTE},
    {.schema = "OpeningList",
     .title = "Openings",
     .columns = {"event_id", "status", "proposed_at", "proposed_by", "decided_at", "decided_by", "note",
                 "entry"},
     .note = LAW_NOTE},
    {.schema = "Opening",
     .title = "Opening of a scheme",
     .rows = "accounts",
     .see = {{"All openings of the scheme", "/v1/openings?scheme={scheme}"},
             {"The rules by which events become legs", "/v1/posting-rules"}},
     .note = LAW_NOTE},
    {.schema = "ProposalList",
     .title = "Proposals",
     .columns = {"proposal", "status", "what", "name", "changes", "request", "proposed_at", "proposed_by",
                 "why", "decided_by"},
     .note = MONEY_NOTE},
    {.schema = "Proposal",
     .title = "Proposal",
     .see = {{"All proposals", "/v1/proposals"}},
     .note = MONEY_NOTE},
    {.schema = "ChangeList",
     .title = "Changes of reference data, terms and keys",
     .columns = {"number", "changed_at", "by", "of", "name", "scheme", "before", "after", "why"}},
    {.schema = "KeyList", .title = "Keys"},
    {.schema = "SessionList", .title = "Browsers that signed in with this key"},
    {.schema = "PaymentFileList", .title = "Payment files", .note = MONEY_NOTE},
    {.schema = "BankStatementList",
     .title = "Bank statements",
     .columns = {"bank_statement", "account", "statement", "from", "to", "opening", "booked", "closing",
                 "ties", "lines", "open", "received_at", "received_from"}},
    {.schema = "BankStatement",
     .title = "Bank statement",
     .see = {{"All its lines", "/v1/bank-lines?scheme={scheme}&bank_statement={bank_statement}"},
             {"Its open lines", "/v1/bank-lines?scheme={scheme}&bank_statement={bank_statement}&open=true"},
             {"Reconciliation through its last day", RECONCILIATION "&as_of={to}"},
             {"The bank's message as it came", "/v1/bank-statements/{bank_statement}/raw"},
             {"All statements", "/v1/bank-statements?scheme={scheme}"}}},
    {.schema = "BankLineList",
     .title = "Lines of bank statements",
     .sums = {"items"},
     .columns = {"line", "booked_on", "amount", "disposition", "reference", "end_to_end", "payment_id",
                 "participant", "note", "statement", "entry"},
     .see = {{"Open lines", "/v1/bank-lines?scheme={scheme}&open=true"},
             {"All lines", "/v1/bank-lines?scheme={scheme}"},
             {"Statements", "/v1/bank-statements?scheme={scheme}"}}},
    {.schema = "BankLine",
     .title = "Line of a bank statement",
     .see = {{"Open lines", "/v1/bank-lines?scheme={scheme}&open=true"}},
     .note = MONEY_NOTE},
    {.schema = "Exception",
     .title = "Exception",
     .see = {{"Open exceptions", "/v1/reports/exceptions?scheme={scheme}&state=open&from={business_date}"},
             {"Journal of the day", JOURNAL_OF_ENTRY}}},
    {.schema = "Plan",
     .title = "Plan of moves",
     .filters = {"date", "days", "service_level", "cost_per_km", "cost_per_stop", "minimum_load",
                 "haul_boxes", "box"},
     .see = {{"Stock", "/v1/reports/stock?scheme={scheme}"},
             {"Transfers", "/v1/reports/transfers?scheme={scheme}"},
             {"Shipments", "/v1/shipments?scheme={scheme}&state=open"},
             {"What to buy", "/v1/purchases?scheme={scheme}"}},
     .note = CUPS_NOTE},
    {.schema = "Purchases",
     .title = "What to buy",
     .filters = {"cup_type", "service_level", "stock_days", "wash_days", "horizon_days", "growth",
                 "loss_rate", "cup_price", "trip_cost", "disposable_price", "disposable_mass_g"},
     .plot_of = "cup_types",
     .plot = {PLOT_BARS, "Cups needed by the end of the horizon; the mark: in service now", "cup_type",
              "needed", NULL, "in_service"},
     .see = {{"Plan of moves", "/v1/plans?scheme={scheme}"},
             {"Stock", "/v1/reports/stock?scheme={scheme}"},
             {"Return rates by week", "/v1/reports/return-rate?scheme={scheme}"},
             {"Trips of cups with identity",
              "/v1/reports/trips?scheme={scheme}&from={history_from}&to={history_to}"},
             {"Cups that are gone",
              "/v1/reports/shrinkage?scheme={scheme}&from={history_from}&to={history_to}"},
             {"Recovery", "/v1/reports/recovery?scheme={scheme}"}},
     .note = PURCHASE_NOTE},
    {.schema = "DayTotals", .title = "Totals of a day, as the till has them"},
    {.schema = "Me", .title = "This key", .see = {{"Browsers that signed in", "/v1/me/sessions"}}},
    {.schema = "Scheme",
     .title = "Scheme",
     .see = {{"Terms", "/v1/schemes/{scheme}/terms"},
             {"Refund values", "/v1/schemes/{scheme}/refund-values"},
             {"Codes of the office's ledger", "/v1/schemes/{scheme}/office-accounts"},
             {"Agreements with other schemes", "/v1/schemes/{scheme}/agreements"},
             {"Business days", "/v1/schemes/{scheme}/days"},
             {"Settlements", "/v1/settlements?scheme={scheme}"},
             {"Still open", "/v1/reports/winding-up?scheme={scheme}"}}},
    {.schema = "SiteList", .title = "All sites, by code", .filters = {"scheme", "participant"}},
    {.schema = "ParticipantList", .title = "All participants, by code", .filters = {"scheme"}},
    {.schema = "Site",
     .title = "Site",
     .see = {{"Statement", "/v1/reports/site-statement?scheme={scheme}&site={site}"},
             {"Events", "/v1/events?scheme={scheme}&site={site}"},
             {"Stock", "/v1/reports/stock?scheme={scheme}"},
             {"Count sheet", "/v1/reports/count-sheet?scheme={scheme}&site={site}"},
             {"Its kinds", "/v1/sites/{site}/kind"}}},
    {.schema = "Participant",
     .title = "Participant",
     .see = {{"Sites", "/v1/sites?participant={participant}"},
             {"Registrations for tax", "/v1/participants/{participant}/tax-registration"}}},
    {.schema = "TaxRegistration", .title = "Registration for tax"},
    {.schema = "TaxRegistrationList", .title = "Registrations for tax"},
    {.schema = "SiteKind", .title = "Kind of a site"},
    {.schema = "SiteKindList", .title = "Kinds of a site"},
    {.schema = "CupType", .title = "Cup type"},
    {.schema = "Terms", .title = "Terms"},
    {.schema = "RefundValue", .title = "Refund value"},
    {.schema = "AgreementList",
     .title = "Agreements with other schemes",
     .columns = {"home", "host", "effective_date", "currency", "rate", "values", "signed_for_home",
                 "signed_for_host"}},
    {.schema = "Agreement", .title = "Agreement between two schemes"},
    {.schema = "OfficeAccountsList", .title = "Codes of the office's ledger, by the day they start"},
    {.schema = "OfficeAccounts", .title = "Codes of the office's ledger"},
    {.schema = "AccountList", .title = "Accounts", .sums = {"items"}},
    {.schema = "PostingRuleList",
     .title = "Posting rules",
     .note =
         "n: cups. v: refund value on the posting day. w: refund value on the dispatch's posting day. a: "
         "amount at the "
         "till, or the tariff of the day of occurrence. r: tax rate. service_fee, handling_fee and "
         "monthly_fee: of "
         "the rows of the terms that state the fee and fit the cup, a row that names the participant comes "
         "first, then one that names the kind of site, then one that names the cup type; else the terms' own "
         "fee holds. The tax on each fee is rounded once per site and day."},
    {.schema = "ReportList", .title = "Reports"},
    {.schema = "Checks", .title = "The books' invariants, checked now"},
};

#define STATEMENT_OF(who)                                                                                    \
    "/v1/reports/participant-statement?scheme={scheme}&participant={" who "}&from={date}&to={date}"

#define EVENT_OF(id) "/v1/events/{" id "}?scheme={scheme}"

static const struct page_link links[] = {
    {"Office", "uncovered", "/v1/reports/deposit-cover?scheme={scheme}", NULL, NULL},
    {"Office", "days_not_closed", "/v1/schemes/{scheme}/days?missing=close", NULL, NULL},
    {"Office", "late_events", "/v1/events?scheme={scheme}&late=true&from={late_from}" WHOLE, NULL, NULL},
    {"Office", "sites_to_count",
     "/v1/reports/counts?scheme={scheme}&state=due&uncounted_since={count_before}", NULL, NULL},
    {"Office", "arrears_to_pool", "/v1/reports/ageing?scheme={scheme}", NULL, NULL},
    {"Office", "arrears_of_pool", "/v1/reports/ageing?scheme={scheme}", NULL, NULL},
    {"Office", "exceptions_open", "/v1/reports/exceptions?scheme={scheme}&state=open&from={first_day}", NULL,
     NULL},
    {"Office", "journals_open", "/v1/journals?scheme={scheme}&status=open", NULL, NULL},
    {"Office", "openings_open", "/v1/openings?scheme={scheme}&status=open", NULL, NULL},
    {"Office", "bank_lines_open", "/v1/bank-lines?scheme={scheme}&open=true" WHOLE, NULL, NULL},
    {"Settlement", "participant", STATEMENT_OF("participant"), NULL, NULL},
    {"Settlement", "from", STATEMENT_OF("from"), NULL, NULL},
    {"Settlement", "to", STATEMENT_OF("to"), NULL, NULL},
    {"Settlement", "position", "/v1/payments?scheme={scheme}&participant={participant}&from={date}&to={date}",
     NULL, NULL},
    {"Settlement", "site", "/v1/reports/site-statement?scheme={scheme}&site={site}&from={date}&to={date}",
     NULL, NULL},
    {"Settlement", "collected", FIGURE("collected"), NULL, NULL},
    {"Settlement", "refunded", FIGURE("refunded"), NULL, NULL},
    {"Settlement", "fees", FIGURE("fees"), NULL, NULL},
    {"Settlement", "tax", FIGURE("tax"), NULL, NULL},
    {"Settlement", "stock", FIGURE("stock"), NULL, NULL},
    {"Settlement", "other", FIGURE("other"), NULL, NULL},
    {"Settlement", "brought_forward",
     "/v1/reports/general-ledger?scheme={scheme}&account=site_clearing({site})&from={date}&to={date}", NULL,
     NULL},
    {"Settlement", "paid", PAYMENTS_OF, NULL, NULL},
    {"Settlement", "payments", PAYMENTS_OF, NULL, NULL},
    {"Settlement", "entries", EVENTS_OF_DAY WHOLE, NULL, NULL},
    {"RemakingBatchList", "batch", "/v1/remaking-batches/{scheme}/{batch}", NULL, NULL},
    {NULL, "batch", "/v1/remaking-batches/{scheme}/{batch}", NULL, NULL},
    {"FeeNoteList", "number", "/v1/fee-notes/{scheme}/{number}", NULL, NULL},
    {"FeeNoteList", "charged", "/v1/fee-notes/{scheme}/{number}", NULL, NULL},
    {"FeeNoteList", "granted", "/v1/fee-notes/{scheme}/{number}", NULL, NULL},
    {"FeeNoteList", "balance", "/v1/fee-notes/{scheme}/{number}", NULL, NULL},
    {"ShipmentList", "requested", SHIPMENT, NULL, NULL},
    {"ShipmentList", "dispatched", SHIPMENT, NULL, NULL},
    {"ShipmentList", "received", SHIPMENT, NULL, NULL},
    {"ShipmentList", "lost", SHIPMENT, NULL, NULL},
    {"ShipmentList", "missing", SHIPMENT, NULL, NULL},
    {"SettlementList", "date", "/v1/settlements/{scheme}/{date}", NULL, NULL},
    {"SettlementList", "payments", PAYMENTS_OF, NULL, NULL},
    {"SettlementList", "paid", PAYMENTS_OF, NULL, NULL},
    {"DayList", "date", "/v1/settlements/{scheme}/{date}", "state", "closed"},
    {"DayList", "entries", EVENTS_OF_DAY WHOLE, NULL, NULL},
    {"DayList", "events", EVENTS_OF_DAY WHOLE, NULL, NULL},
    {"DayList", "late_events", EVENTS_OF_DAY WHOLE, NULL, NULL},
    {"Month", "income", OF_MONTH("income-statement"), NULL, NULL},
    {"Month", "expenses", OF_MONTH("income-statement"), NULL, NULL},
    {"Month", "variance", OF_MONTH("income-statement"), NULL, NULL},
    {"Month", "surplus", OF_MONTH("income-statement"), NULL, NULL},
    {"Month", "tax", OF_MONTH("tax"), NULL, NULL},
    {"SealList", "entries", EVENTS_OF_DAY WHOLE, NULL, NULL},
    {"AccountList", "balance", LEDGER_OF "&to={as_of}", NULL, NULL},
    {"AccountList", "balance", LEDGER_OF, NULL, NULL},
    {"BankStatementList", "opening", "/v1/bank-statements/{bank_statement}", NULL, NULL},
    {"BankStatementList", "booked", LINES_OF, NULL, NULL},
    {"BankStatementList", "closing", "/v1/bank-statements/{bank_statement}", NULL, NULL},
    {"BankStatementList", "lines", LINES_OF, NULL, NULL},
    {"BankStatementList", "open", LINES_OF "&open=true", NULL, NULL},
    {"BankStatement", "booked", LINES_OF, NULL, NULL},
    {"BankStatement", "line_count", LINES_OF, NULL, NULL},
    {"BankStatement", "open", LINES_OF "&open=true", NULL, NULL},
    {"BankStatement", "expected_opening", "/v1/bank-statements/{previous}", NULL, NULL},
    {"Plan", "stock", "/v1/reports/general-ledger?scheme={scheme}&account=site_stock({site},{cup_type})",
     NULL, NULL},
    {"Purchases", "on_road", "/v1/reports/transfers?scheme={scheme}", NULL, NULL},
    {"Purchases", "with_customers",
     "/v1/reports/general-ledger?scheme={scheme}&account=with_customers({cup_type})", NULL, NULL},
    {"Purchases", "supplied", "/v1/reports/general-ledger?scheme={scheme}&account=supply({cup_type})", NULL,
     NULL},
    {"TermsList", "effective_date", "/v1/schemes/{scheme}/terms/{effective_date}", NULL, NULL},
    {"RefundValueList", "effective_date", "/v1/schemes/{scheme}/refund-values/{cup_type}/{effective_date}",
     NULL, NULL},
    {"OfficeAccountsList", "effective_date", "/v1/schemes/{scheme}/office-accounts/{effective_date}", NULL,
     NULL},
    {"AgreementList", "effective_date", "/v1/schemes/{home}/agreements/{host}/{effective_date}", NULL, NULL},
    {"TaxRegistrationList", "effective_date",
     "/v1/participants/{participant}/tax-registration/{effective_date}", NULL, NULL},
    {"SiteKindList", "effective_date", "/v1/sites/{site}/kind/{effective_date}", NULL, NULL},
    {"SiteList", "site", "/v1/sites/{site}", NULL, NULL},
    {"PaymentList", "date", "/v1/settlements/{scheme}/{date}", NULL, NULL},
    {"Payment", "date", "/v1/settlements/{scheme}/{date}", NULL, NULL},
    {"BankStatement", "previous", "/v1/bank-statements/{previous}", NULL, NULL},
    {"SealList", "date", "/v1/settlements/{scheme}/{date}", NULL, NULL},
    {"JournalList", "event_id", "/v1/journals/{event_id}?scheme={scheme}", NULL, NULL},
    {"JournalList", "reason", "/v1/journals/{event_id}?scheme={scheme}", NULL, NULL},
    {"RecordedEvent", "event_id", "/v1/journals/{event_id}?scheme={scheme}", "kind", "journal"},
    {"OpeningList", "event_id", "/v1/openings/{event_id}?scheme={scheme}", NULL, NULL},
    {"Opening", "event_id", "/v1/events/{event_id}?scheme={scheme}", "status", "approved"},
    {"ProposalList", "name", "/v1/bank-lines/{name}", "what", "bank_line"},
    {"ProposalList", "name", "/v1/exceptions/{name}", "what", "exception"},
    {"Proposal", "name", "/v1/bank-lines/{name}", "what", "bank_line"},
    {"Proposal", "name", "/v1/exceptions/{name}", "what", "exception"},
    {NULL, "business_date", JOURNAL_OF_ENTRY, NULL, NULL},
    {NULL, "month", "/v1/schemes/{scheme}/months/{month}", NULL, NULL},
    {NULL, "entry", "/v1/entries/{entry}?scheme={scheme}", NULL, NULL},
    {NULL, "account",
     "/v1/reports/general-ledger?scheme={scheme}&account={account}&from={business_date}&to={business_date}",
     NULL, NULL},
    {NULL, "account", "/v1/reports/general-ledger?scheme={scheme}&account={account}", NULL, NULL},
    {NULL, "event_id", EVENT_OF("event_id"), NULL, NULL},
    {NULL, "event_id", "/v1/events/{event_id}", NULL, NULL},
    {NULL, "reverses", EVENT_OF("reverses"), NULL, NULL},
    {NULL, "reversed_by", EVENT_OF("reversed_by"), NULL, NULL},
    {NULL, "dispatch", EVENT_OF("dispatch"), NULL, NULL},
    {NULL, "shipment", SHIPMENT, NULL, NULL},
    {NULL, "payment_id", "/v1/payments/{payment_id}", NULL, NULL},
    {NULL, "bank_statement", "/v1/bank-statements/{bank_statement}", NULL, NULL},
    {NULL, "return_line", "/v1/bank-lines/{return_line}", NULL, NULL},
    {NULL, "line", "/v1/bank-lines/{line}", NULL, NULL},
    {NULL, "exception_id", "/v1/exceptions/{exception_id}", NULL, NULL},
    {NULL, "cup_id", "/v1/cups/{cup_id}", NULL, NULL},
    {NULL, "other_entry", "/v1/entries/{other_entry}?scheme={other_scheme}", NULL, NULL},
    {NULL, "reversed_by_entry", "/v1/entries/{reversed_by_entry}?scheme={scheme}", NULL, NULL},
    {NULL, "proposal", "/v1/proposals/{proposal}", NULL, NULL},
    {NULL, "file_id", "/v1/files/{file_id}", NULL, NULL},
    {NULL, "site", "/v1/sites/{site}", NULL, NULL},
    {NULL, "scheme", "/v1/schemes/{scheme}", NULL, NULL},
    {NULL, "participant", "/v1/participants/{participant}", NULL, NULL},
    {NULL, "cup_type", "/v1/cup-types/{cup_type}", NULL, NULL},
};

static const struct page_see starts[] = {
    {"Settlements", "/v1/settlements?scheme={scheme}"},
    {"Statements", "/v1/reports/statement-of-account?scheme={scheme}"},
    {"Payments", "/v1/payments?scheme={scheme}"},
    {"Fee notes", "/v1/fee-notes?scheme={scheme}"},
    {"Re-making", "/v1/remaking-batches?scheme={scheme}"},
    {"Days", "/v1/schemes/{scheme}/days"},
    {"Months", "/v1/schemes/{scheme}/months"},
    {"Events", "/v1/events?scheme={scheme}"},
    {"Shipments", "/v1/shipments?scheme={scheme}&state=open"},
    {"Accounts", "/v1/accounts?scheme={scheme}"},
    {"Checks", "/v1/checks?scheme={scheme}"},
    {"Seals", SEALS},
    {"Journals", "/v1/journals?scheme={scheme}"},
    {"Openings", "/v1/openings?scheme={scheme}"},
    {"Proposals", "/v1/proposals"},
    {"Changes", "/v1/changes"},
    {"Keys", "/v1/keys"},
    {"Plan", "/v1/plans?scheme={scheme}"},
    {"Purchases", "/v1/purchases?scheme={scheme}"},
    {"Bank", "/v1/bank-statements?scheme={scheme}"},
    {"Bank lines", "/v1/bank-lines?scheme={scheme}"},
    {"Reconciliation", RECONCILIATION},
    {"Reports", "/v1/reports"},
    {"Schemes", "/v1/schemes"},
    {"All schemes", "/v1/office"},
    {"Participants", "/v1/participants"},
    {"Sites", "/v1/sites"},
    {"Cup types", "/v1/cup-types"},
    {"Cups", "/v1/cups"},
    {"This key", "/v1/me"},
};

static const struct {
    const char *report, *note;
} report_notes[] = {
    {"deposit-cover", LAW_NOTE},
    {"liability", LAW_NOTE},
    {"withdrawable", SURPLUS_NOTE},
    {"settlement", MONEY_NOTE},
    {"site-statement", MONEY_NOTE},
    {"statement-of-account", MONEY_NOTE},
    {"participant-statement", MONEY_NOTE},
    {"journal-summary", LAW_NOTE},
    {"participant-journal-summary", MONEY_NOTE},
    {"payments", MONEY_NOTE},
    {"ageing", MONEY_NOTE},
    {"winding-up", LAW_NOTE},
    {"stock", CUPS_NOTE},
    {"transfers", CUPS_NOTE},
    {"counts", CUPS_NOTE},
    {"count-sheet", CUPS_NOTE},
    {"second-counts", CUPS_NOTE},
    {"shrinkage", CUPS_NOTE},
    {"shrinkage-lines", CUPS_NOTE},
    {"return-rate", QUEUE_NOTE},
    {"return-rate-daily", QUEUE_NOTE},
    {"site-flows", CUPS_NOTE},
    {"trips", CLAIMS_NOTE},
    {"trip-counts", CLAIMS_NOTE},
    {"recovery", CLAIMS_NOTE},
    {"damaged-cups", CUPS_NOTE},
    {"retired-cups", CLAIMS_NOTE},
    {"income-statement", LAW_NOTE},
    {"tax", TAX_NOTE},
};

_Static_assert(sizeof links / sizeof links[0] <= PAGE_LINKS_MAX, "each has a place to be remembered in");

const char *page_report_note(const char *report)
{
    for (size_t i = 0; i < sizeof report_notes / sizeof report_notes[0]; i++)
        if (strcmp(report_notes[i].report, report) == 0)
            return report_notes[i].note;
    return NULL;
}

const struct page_about *page_about(const char *schema)
{
    static const struct page_about nothing = {.schema = ""};
    for (size_t i = 0; i < sizeof abouts / sizeof abouts[0]; i++)
        if (strcmp(abouts[i].schema, schema) == 0)
            return &abouts[i];
    return &nothing;
}

const struct page_link *page_links(size_t *count)
{
    *count = sizeof links / sizeof links[0];
    return links;
}

const struct page_see *page_starts(size_t *count)
{
    *count = sizeof starts / sizeof starts[0];
    return starts;
}
