/* SPDX-License-Identifier: ISC */
/* The reports there are. A new one is a row here and a file under sql/reports. */
#include "report/report.h"

#include "depositd/access.h"
#include "sql.h"

#include <string.h>

#define AS_OF                                                                                                \
    {                                                                                                        \
        "as_of", PARAMETER_DAY, OR_TODAY, "Business day at whose end the balances are taken"                 \
    }
#define FROM                                                                                                 \
    {                                                                                                        \
        "from", PARAMETER_DAY, OR_MONTH_AGO, "First business day"                                            \
    }
#define FROM_TODAY_ON_PAGES                                                                                  \
    {                                                                                                        \
        "from", PARAMETER_DAY, OR_TODAY_ON_PAGES, "First business day"                                       \
    }
#define TO                                                                                                   \
    {                                                                                                        \
        "to", PARAMETER_DAY, OR_TODAY, "Last business day"                                                   \
    }
#define ONE_SITE                                                                                             \
    {                                                                                                        \
        "site", PARAMETER_SITE, OR_NULL, "Code of a site; all unless given"                                  \
    }
#define ONE_PARTICIPANT                                                                                      \
    {                                                                                                        \
        "participant", PARAMETER_PARTICIPANT, OR_NULL, "Code of a participant; all unless given"             \
    }
#define ONE_CUP_TYPE                                                                                         \
    {                                                                                                        \
        "cup_type", PARAMETER_CUP_TYPE, OR_NULL, "Code of a cup type; all unless given"                      \
    }

/* Where columns lead. Keys bound to sites may read some reports. Where possible, these lead to pages that
 * such keys may read: the events of the site's day rather than its journal. */
#define OF_SCHEME(report)  "/v1/reports/" report "?scheme={scheme}"
#define TO_EVENT           "/v1/events/{event_id}?scheme={scheme}"
#define TO_ENTRY           "/v1/entries/{entry}?scheme={scheme}"
#define TO_EVENTS_OF_DAY   "/v1/events?scheme={scheme}&site={site}&business_date={date}"
#define TO_SETTLEMENT      "/v1/settlements/{scheme}/{date}"
#define TO_CLOSE           "/v1/settlements/{scheme}/{settlement}"
#define TO_LEDGER_OF_DAY   OF_SCHEME("general-ledger") "&account={account}&from={date}&to={date}"
#define TO_LEDGER          OF_SCHEME("general-ledger") "&account={account}&from={from}&to={to}"
#define TO_LEDGER_AS_OF    OF_SCHEME("general-ledger") "&account={account}&from={from}&to={as_of}"
#define TO_JOURNAL_OF_DAY  OF_SCHEME("journal") "&site={site}&from={date}&to={date}"
#define TO_PAYMENTS_OF_DAY OF_SCHEME("payments") "&participant={participant}&from={date}&to={date}"
#define TO_PARTICIPANT     OF_SCHEME("participant-statement") "&participant={participant}&from={date}&to={date}"
#define TO_FEES            OF_SCHEME("fees") "&site={site}&from={date}&to={date}"
#define TO_FEES_OF_DAY     OF_SCHEME("fees") "&participant={participant}&from={date}&to={date}"
#define TO_FEES_OF_PERIOD  OF_SCHEME("fees") "&site={site}&from={from}&to={to}"
#define TO_SITE_OF_PERIOD  OF_SCHEME("site-statement") "&site={site}&from={from}&to={to}"
#define TO_SITE            OF_SCHEME("site-statement") "&site={site}&from={date}&to={date}"

/* One of the figures of sites: the events and legs that it sums. */
#define TO_FIGURE(figure) OF_SCHEME("site-figures") "&site={site}&from={date}&to={date}&figure=" figure
#define TO_FLOW(figure)                                                                                      \
    OF_SCHEME("site-figures") "&from={from}&to={to}{&site}&cup_type={cup_type}&figure=" figure
#define TO_RETURNS_BY_DAY                                                                                    \
    OF_SCHEME("return-rate-daily") "&from={first_day}&to={last_day}{&cup_type}&as_of={as_of}"
#define TO_SITES_FIGURE(figure) OF_SCHEME("site-figures") "&site={site}&from={from}&to={to}&figure=" figure
/* The entries that a figure of shrinkage sums: of a site, or the losses that the operator bears. */
#define TO_SHRINKAGE(part)                                                                                   \
    OF_SCHEME("shrinkage-lines") "&site={site}&cup_type={cup_type}&from={from}&to={to}&part=" part
#define TO_OPERATORS_LOSSES                                                                                  \
    OF_SCHEME("shrinkage-lines") "&cup_type={cup_type}&from={from}&to={to}&part=lost_by_operator"
#define TO_FIGURE_OF_TYPE(figure) TO_SITES_FIGURE(figure) "&cup_type={cup_type}"
#define TO_PART_OF_DAY(part)      TO_LEDGER_OF_DAY "&part=" part
#define TO_BALANCE                OF_SCHEME("general-ledger") "&account={account}&to={as_of}"

#define ORDER                                                                                                \
    {                                                                                                        \
        "order", PARAMETER_CHOICE, OR_FIRST_ON_PAGES,                                                        \
            "newest or oldest: the end that it begins with; oldest unless given, but on pages", orders       \
    }
#define TOTALS                                                                                               \
    {                                                                                                        \
        "totals", PARAMETER_CHOICE, OR_NULL, "shown or left_out, for an import; shown unless given",         \
            totals_choices                                                                                   \
    }

#define TOTALS_ON_PAGES(text)                                                                                \
    {                                                                                                        \
        "totals", PARAMETER_CHOICE, OR_FIRST_ON_PAGES, text, totals_choices                                  \
    }
#define RETURNS_THROUGH                                                                                      \
    {                                                                                                        \
        "as_of", PARAMETER_DAY, OR_TODAY, "Business day through which returns count"                         \
    }

static const char *const orders[] = {"newest", "oldest", NULL};
static const char *const totals_choices[] = {"shown", "left_out", NULL};
static const char *const issue_periods[] = {"week", "month", "all", NULL};
static const char *const line_choices[] = {"account", "code", NULL};
static const char *const transfer_states[] = {"in_transit", "short", "over", "late", NULL};
static const char *const reconciliation_states[] = {"breaks", "in_transit", NULL};
static const char *const figures_of_sites[] = {"issued", "returned", "collected", "refunded", "fees",
                                               "tax",    "stock",    "other",     NULL};
static const char *const parts_of_ledger[] = {"counter",   "forfeits", "reinstatements", "remeasurements",
                                              "reversals", "settled",  "payments",       "failures",
                                              "other",     NULL};
static const char *const fee_kinds[] = {"service", "handling", "standing", NULL};
static const char *const total_states[] = {"missing", NULL};
static const char *const exception_states[] = {"open", "resolved", NULL};
static const char *const count_states[] = {"due", NULL};
static const char *const shrinkage_parts[] = {"missing", "found", "lost", "all", "lost_by_operator", NULL};

static const struct report reports[] = {
    {"deposit-cover", "Deposits against the refund value of the cups they are for, and what funds them",
     FOR_OFFICE, false, false, &sql_report_deposit_cover, .layout = &render_cover, .parameters = {AS_OF},
     .columns = {{"section", COLUMN_TEXT, "customers, stock, transit or funding"},
                 {"item", COLUMN_TEXT, "Where the cups are, or a line of the funding"},
                 {"cup_type", COLUMN_TEXT, "Cup type",
                  OF_SCHEME("liability") "&cup_type={cup_type}&to={as_of}"},
                 {"cups", COLUMN_CUPS, "Cups that a deposit is owed for"},
                 {"refund_value", COLUMN_AMOUNT, "Refund value of a cup on that day"},
                 {"required", COLUMN_AMOUNT, "Value of the cups; funding: the deposits owed"},
                 {"held", COLUMN_AMOUNT, "Deposits held; funding: the money against them"},
                 {"to_come", COLUMN_AMOUNT,
                  "Part of that which a remeasurement across an open day has still to post"},
                 {"difference", COLUMN_AMOUNT,
                  "Held less required; funding: the surplus, its causes, and the unexplained rest"}}},
    {"trial-balance", "Balances of all accounts, with the totals of each unit", FOR_OFFICE, false, false,
     &sql_report_trial_balance, .totals = {"account", {"total"}},
     .parameters = {AS_OF,
                    {"from", PARAMETER_DAY, OR_NULL,
                     "First business day of a period: with it also balances at its beginning and movements"}},
     .columns = {{"account", COLUMN_TEXT, "Account, or total",
                  OF_SCHEME("general-ledger") "&account={account}&from={moved_on}&to={as_of}"},
                 {"unit", COLUMN_TEXT, "Currency or cup type"},
                 {"debit", COLUMN_FIGURE, "Debit balance: with from, at the end of the period", TO_BALANCE},
                 {"credit", COLUMN_FIGURE, "Credit balance: likewise", TO_BALANCE},
                 {"moved_on", COLUMN_TEXT, "Business day on which it last moved"},
                 {"code", COLUMN_TEXT, "Its code in the office's own ledger"},
                 {"name", COLUMN_TEXT, "Its name there"},
                 {"opening_debit", COLUMN_FIGURE, "Debit balance at the beginning of the period",
                  TO_LEDGER_AS_OF, "from"},
                 {"opening_credit", COLUMN_FIGURE, "Credit balance at the beginning of the period",
                  TO_LEDGER_AS_OF, "from"},
                 {"movement_debit", COLUMN_FIGURE, "Net movement of the period, if it is a debit",
                  TO_LEDGER_AS_OF, "from"},
                 {"movement_credit", COLUMN_FIGURE, "Net movement of the period, if it is a credit",
                  TO_LEDGER_AS_OF, "from"}}},
    {"income-statement",
     "Income and expenses of a period beside those of the one before, and the operator's surplus", FOR_OFFICE,
     false, false, &sql_report_income_statement, .totals = {"account", {"total"}}, .parameters = {FROM, TO},
     .columns =
         {{"section", COLUMN_TEXT,
           "income, expenses, variance (between refund values and till amounts), and the result: surplus "
           "or shortfall"},
          {"account", COLUMN_TEXT, "Account, or total", TO_LEDGER},
          {"amount", COLUMN_AMOUNT, "What the operator earned (+) or lost (-) in the period", TO_LEDGER},
          {"previous", COLUMN_AMOUNT,
           "The same of the period before: of as many days, or of the month before a whole month",
           OF_SCHEME("general-ledger") "&account={account}&from={previous_from}&to={previous_to}"},
          {"previous_from", COLUMN_TEXT, "First business day of the period before"},
          {"previous_to", COLUMN_TEXT, "Its last business day"},
          {"code", COLUMN_TEXT, "The account's code in the office's own ledger"},
          {"name", COLUMN_TEXT, "Its name there"}}},
    {"tax", "The tax of a period by direction, supply and rate", FOR_OFFICE, false, false, &sql_report_tax,
     .totals = {"what", {"total"}}, .parameters = {FROM, TO},
     .columns = {{"direction", COLUMN_TEXT,
                  "output: owed to the tax office; input: recoverable from it; empty: journals, and the sum"},
                 {"what", COLUMN_TEXT,
                  "service_fees, standing_fees, forfeits, reinstated, handling_fees, journals, or total"},
                 {"rate", COLUMN_RATE, "Rate of tax; empty if a version that kept no rates closed the days"},
                 {"base", COLUMN_AMOUNT,
                  "The amount that the tax is on, without it: supplied (+) or received (-)", TO_LEDGER},
                 {"tax", COLUMN_AMOUNT, "Tax: owed to the tax office (+), or recoverable (-)",
                  OF_SCHEME("general-ledger") "&account=tax&from={from}&to={to}"},
                 {"account", COLUMN_TEXT, "Account that has the base", TO_LEDGER}}},
    {"stock",
     "Where the cups are",
     FOR_ALL,
     true,
     false,
     &sql_report_stock,
     {PLOT_BARS, "Cups by place", "place", "sound", "cup_type", NULL},
     .totals = {"site", {"total"}},
     .parameters = {AS_OF,
                    {"totals", PARAMETER_CHOICE, OR_FIRST_ON_PAGES,
                     "shown: with last lines of the sums of each place; left_out unless given, but on pages",
                     totals_choices}},
     .columns = {{"site", COLUMN_TEXT, "Site; empty for places outside sites"},
                 {"place", COLUMN_TEXT,
                  "with_customers, in_transit, retired, unaccounted or supply; empty at a site"},
                 {"cup_type", COLUMN_TEXT, "Cup type"},
                 {"sound", COLUMN_CUPS, "Cups", TO_BALANCE},
                 {"damaged", COLUMN_CUPS, "Damaged cups",
                  OF_SCHEME("general-ledger") "&account=damaged({site},{cup_type})&to={as_of}"},
                 {"negative", COLUMN_CUPS, "Cups by which the book is below zero, where it can't be"},
                 {"counted_on", COLUMN_TEXT, "Business day of the last count",
                  "/v1/events?scheme={scheme}&site={site}&kind=count&business_date={counted_on}"},
                 {"days_since_count", COLUMN_CUPS, "How many days ago that was",
                  "/v1/events?scheme={scheme}&site={site}&kind=count&business_date={counted_on}"},
                 {"account", COLUMN_TEXT, "Account of the sound cups", TO_BALANCE}}},
    {"settlement", "The settlement of a close, by participant and site", FOR_PARTICIPANT | FOR_OFFICE, true,
     false, &sql_report_settlement, .page = TO_SETTLEMENT,
     .parameters = {{"date", PARAMETER_DAY, REQUIRED, "Business day that was closed"}},
     .columns = {{"participant", COLUMN_TEXT, "Participant", TO_PARTICIPANT},
                 {"site", COLUMN_TEXT, "Site; empty in the participant's own line", TO_SITE},
                 {"brought_forward", COLUMN_AMOUNT, "Not settled by the close before",
                  OF_SCHEME("general-ledger") "&account=site_clearing({site})&from={date}&to={date}"},
                 {"collected", COLUMN_AMOUNT, "Collected at the counter", TO_FIGURE("collected")},
                 {"refunded", COLUMN_AMOUNT, "Paid out at the counter", TO_FIGURE("refunded")},
                 {"fees", COLUMN_AMOUNT, "Service fees less handling fees", TO_FIGURE("fees")},
                 {"tax", COLUMN_AMOUNT, "Tax on service fees less tax on handling fees", TO_FIGURE("tax")},
                 {"stock", COLUMN_AMOUNT, "For cups on deposit, counts and losses", TO_FIGURE("stock")},
                 {"other", COLUMN_AMOUNT, "Anything else, such as journals", TO_FIGURE("other")},
                 {"net", COLUMN_AMOUNT, "The amount that the site owes (+) or is owed (-)", TO_SITE},
                 {"arrears", COLUMN_AMOUNT, "Payments that failed before"},
                 {"position", COLUMN_AMOUNT, "The amount that the participant owes (+) or is owed (-)",
                  TO_PAYMENTS_OF_DAY},
                 {"carried", COLUMN_AMOUNT, "The part of it that waits for a later pay day"},
                 {"next_pay_day", COLUMN_TEXT, "If the day was no pay day: the next one"},
                 {"service_fee", COLUMN_AMOUNT, "Of its fees: per cup issued, without tax",
                  TO_FEES "&fee=service"},
                 {"service_tax", COLUMN_AMOUNT, "Tax on it", TO_FEES "&fee=service"},
                 {"handling_fee", COLUMN_AMOUNT, "Less: per cup returned, without tax",
                  TO_FEES "&fee=handling"},
                 {"handling_tax", COLUMN_AMOUNT, "Less: tax on it", TO_FEES "&fee=handling"},
                 {"standing_fee", COLUMN_AMOUNT, "Per month, without tax", TO_FEES "&fee=standing"},
                 {"standing_tax", COLUMN_AMOUNT, "Tax on it", TO_FEES "&fee=standing"}}},
    {"site-statement",
     "A site's activity each day, and how its dealings with the pool add up",
     FOR_ALL,
     true,
     false,
     &sql_report_site_statement,
     {PLOT_LINES, "Not settled at the end of the day", "date", "closing", "site", NULL},
     .parameters = {FROM, TO, ONE_SITE},
     .columns = {{"date", COLUMN_TEXT, "Business day", TO_JOURNAL_OF_DAY},
                 {"site", COLUMN_TEXT, "Site"},
                 {"issued", COLUMN_CUPS, "Cups issued, less reversed", TO_FIGURE("issued")},
                 {"returned", COLUMN_CUPS, "Cups returned, less reversed", TO_FIGURE("returned")},
                 {"opening", COLUMN_AMOUNT,
                  "Not settled yet: the amount that the site owes (+) or is owed (-)", TO_LEDGER_OF_DAY},
                 {"collected", COLUMN_AMOUNT, "Collected at the counter (on deposit: beyond the cups' value)",
                  TO_FIGURE("collected")},
                 {"refunded", COLUMN_AMOUNT, "Less: paid out at the counter (on deposit: likewise)",
                  TO_FIGURE("refunded")},
                 {"fees", COLUMN_AMOUNT, "Service fees less handling fees", TO_FIGURE("fees")},
                 {"tax", COLUMN_AMOUNT, "Tax on service fees less tax on handling fees", TO_FIGURE("tax")},
                 {"stock", COLUMN_AMOUNT, "For cups on deposit, transfers, counts and losses",
                  TO_FIGURE("stock")},
                 {"other", COLUMN_AMOUNT, "Anything else, such as journals", TO_FIGURE("other")},
                 {"settled", COLUMN_AMOUNT, "Taken into the participant's settlement", TO_CLOSE},
                 {"closing", COLUMN_AMOUNT, "The sum: the opening amount of the next day", TO_LEDGER_OF_DAY},
                 {"account", COLUMN_TEXT, "Account that it is the balance of", TO_LEDGER_OF_DAY},
                 {"settlement", COLUMN_TEXT, "The day, once it is closed", TO_CLOSE}}},
    {"site-figures",
     "What the figures of sites are made of: cups that events state, and legs that move amounts", FOR_ALL,
     true, false, &sql_report_site_figures, .totals = {"figure", {"total"}},
     .parameters = {FROM_TODAY_ON_PAGES,
                    TO,
                    ONE_SITE,
                    {"figure", PARAMETER_CHOICE, OR_NULL,
                     "One of the site statement's figures; with it a last line has the sum",
                     figures_of_sites},
                    ONE_CUP_TYPE},
     .columns = {{"date", COLUMN_TEXT, "Business day"},
                 {"site", COLUMN_TEXT, "Site", TO_SITE},
                 {"figure", COLUMN_TEXT, "The figure that it is part of, or total"},
                 {"entry", COLUMN_CUPS, "Number of the entry", TO_ENTRY},
                 {"kind", COLUMN_TEXT, "Kind of entry"},
                 {"event_id", COLUMN_TEXT, "Event, unless the close posted it", TO_EVENT},
                 {"reference", COLUMN_TEXT, "Reference that the event states"},
                 {"cup_type", COLUMN_TEXT, "Cup type, of cups issued and returned"},
                 {"cups", COLUMN_CUPS, "Cups, less reversed"},
                 {"amount", COLUMN_AMOUNT, "Amount, with the sign of the figure"}}},
    {"participant-statement",
     "The amount that a participant owes (+) or is owed (-): at its sites, settled, in arrears",
     FOR_PARTICIPANT | FOR_OFFICE, true, false, &sql_report_participant_statement,
     .parameters = {FROM, TO, ONE_PARTICIPANT},
     .columns =
         {{"date", COLUMN_TEXT, "Business day"},
          {"participant", COLUMN_TEXT, "Participant"},
          {"account", COLUMN_TEXT,
           "Dealings of a site, amounts settled and not paid, or payments that failed", TO_LEDGER_OF_DAY},
          {"site", COLUMN_TEXT, "Site; empty for settled and failed amounts", TO_SITE},
          {"opening", COLUMN_AMOUNT, "Balance at the beginning of the day", TO_LEDGER_OF_DAY},
          {"collected", COLUMN_AMOUNT, "Collected at the counter", TO_FIGURE("collected")},
          {"refunded", COLUMN_AMOUNT, "Less: paid out at the counter", TO_FIGURE("refunded")},
          {"fees", COLUMN_AMOUNT, "Service fees less handling fees", TO_FIGURE("fees")},
          {"tax", COLUMN_AMOUNT, "Tax on service fees less tax on handling fees", TO_FIGURE("tax")},
          {"stock", COLUMN_AMOUNT, "For cups on deposit, transfers, counts and losses", TO_FIGURE("stock")},
          {"other", COLUMN_AMOUNT, "Anything else, such as journals", TO_FIGURE("other")},
          {"settled", COLUMN_AMOUNT, "Moved between the lines by the close", TO_CLOSE},
          {"paid", COLUMN_AMOUNT, "Payments confirmed, and what bank lines were resolved to",
           TO_PART_OF_DAY("payments")},
          {"failed", COLUMN_AMOUNT, "Moved between the lines by payments that failed",
           TO_PART_OF_DAY("failures")},
          {"closing", COLUMN_AMOUNT, "The sum: the opening amount of the next day", TO_LEDGER_OF_DAY},
          {"settlement", COLUMN_TEXT, "The day, once it is closed", TO_CLOSE},
          {"service_fee", COLUMN_AMOUNT, "Of its fees: per cup issued, without tax", TO_FEES "&fee=service"},
          {"service_tax", COLUMN_AMOUNT, "Tax on it", TO_FEES "&fee=service"},
          {"handling_fee", COLUMN_AMOUNT, "Less: per cup returned, without tax", TO_FEES "&fee=handling"},
          {"handling_tax", COLUMN_AMOUNT, "Less: tax on it", TO_FEES "&fee=handling"},
          {"standing_fee", COLUMN_AMOUNT, "Per month, without tax", TO_FEES "&fee=standing"},
          {"standing_tax", COLUMN_AMOUNT, "Tax on it", TO_FEES "&fee=standing"}}},
    {"statement-of-account", "What was in a participant's favour (+) and what it owed (-), as a document",
     FOR_PARTICIPANT | FOR_OFFICE, true, false, &sql_report_statement_of_account, .layout = &render_statement,
     .parameters = {FROM, TO, ONE_PARTICIPANT},
     .columns =
         {{"participant", COLUMN_TEXT, "Participant"},
          {"section", COLUMN_TEXT,
           "operator and participant: the parties; opening; day and payment: each changes the balance; "
           "closing: the sums of these, and the balance; due: a part of the closing balance; site: the days "
           "at a site; sites: at all of them"},
          {"date", COLUMN_TEXT, "Business day", TO_PARTICIPANT},
          {"site", COLUMN_TEXT, "Site", TO_SITE_OF_PERIOD},
          {"name", COLUMN_TEXT, "Name of the party or site"},
          {"item", COLUMN_TEXT,
           "Of a payment: confirmed, failed, or bank_line, which a person resolved. Of what is due: payment; "
           "next_settlement: payments that failed, and what else it takes up; not_settled: dealings since "
           "the last one; other"},
          {"payment_id", COLUMN_TEXT, "Payment", "/v1/payments/{payment_id}"},
          {"due_on", COLUMN_TEXT, "Banking day on which the payment is due"},
          {"status", COLUMN_TEXT, "How far the payment is now"},
          {"collected", COLUMN_AMOUNT, "Collected at the counter", TO_SITES_FIGURE("collected")},
          {"refunded", COLUMN_AMOUNT, "Paid out at the counter", TO_SITES_FIGURE("refunded")},
          {"service_fee", COLUMN_AMOUNT, "Service fees, per cup issued, without tax",
           TO_FEES_OF_DAY "&fee=service", .or_link = TO_FEES_OF_PERIOD "&fee=service"},
          {"service_tax", COLUMN_AMOUNT, "Tax on them", TO_FEES_OF_DAY "&fee=service",
           .or_link = TO_FEES_OF_PERIOD "&fee=service"},
          {"handling_fee", COLUMN_AMOUNT, "Handling fees, per cup returned, without tax",
           TO_FEES_OF_DAY "&fee=handling", .or_link = TO_FEES_OF_PERIOD "&fee=handling"},
          {"handling_tax", COLUMN_AMOUNT, "Tax on them", TO_FEES_OF_DAY "&fee=handling",
           .or_link = TO_FEES_OF_PERIOD "&fee=handling"},
          {"standing_fee", COLUMN_AMOUNT, "Standing fees, per month, without tax",
           TO_FEES_OF_DAY "&fee=standing", .or_link = TO_FEES_OF_PERIOD "&fee=standing"},
          {"standing_tax", COLUMN_AMOUNT, "Tax on them", TO_FEES_OF_DAY "&fee=standing",
           .or_link = TO_FEES_OF_PERIOD "&fee=standing"},
          {"transfers_and_losses", COLUMN_AMOUNT, "For cups on deposit, transfers, counts and losses",
           TO_SITES_FIGURE("stock")},
          {"other", COLUMN_AMOUNT, "Anything else, such as journals", TO_SITES_FIGURE("other")},
          {"paid", COLUMN_AMOUNT, "Paid by the participant (+) or to it (-)", "/v1/payments/{payment_id}"},
          {"amount", COLUMN_AMOUNT, "The sum of the row, or the part of the closing balance",
           "/v1/payments/{payment_id}"},
          {"balance", COLUMN_AMOUNT, "The balance after it"}}},
    {"fees", "The fees that closes charged, by the row of the terms that gave each",
     FOR_PARTICIPANT | FOR_OFFICE, true, false, &sql_report_fees, .totals = {"fee", {"total"}},
     .parameters = {FROM,
                    TO,
                    ONE_SITE,
                    ONE_PARTICIPANT,
                    {"fee", PARAMETER_CHOICE, OR_NULL, "One kind of fee; with it a last line has the sums",
                     fee_kinds}},
     .columns =
         {{"date", COLUMN_TEXT, "Business day that was closed", TO_SETTLEMENT},
          {"participant", COLUMN_TEXT, "Participant", TO_PARTICIPANT},
          {"site", COLUMN_TEXT, "Site", TO_SITE},
          {"fee", COLUMN_TEXT,
           "service: the site owes it per cup issued; handling: it is owed to the site per cup returned; "
           "standing: the site owes it per month"},
          {"terms", COLUMN_TEXT, "The day from which the terms hold", "/v1/schemes/{scheme}/terms/{terms}"},
          {"row", COLUMN_CUPS, "Number of the row in fees of the terms; 0: the terms' own fee"},
          {"quantity", COLUMN_CUPS, "Cups less reversed ones, or months"},
          {"each", COLUMN_AMOUNT, "The fee for one, without tax"},
          {"amount", COLUMN_AMOUNT, "The fee for all, without tax"},
          {"tax_rate", COLUMN_RATE, "Tax rate that applies to it"},
          {"tax", COLUMN_AMOUNT, "Tax on the whole fee of the site and day, in the fee's first line"}}},
    {"payments", "The payments that closes made: payer, payee, amount, due day and account",
     FOR_PARTICIPANT | FOR_OFFICE, true, false, &sql_report_payments,
     .parameters = {FROM, TO, ONE_PARTICIPANT},
     .columns = {{"date", COLUMN_TEXT, "Business day that was closed", TO_SETTLEMENT},
                 {"payment_id", COLUMN_TEXT, "End-to-end reference of the payment"},
                 {"payer", COLUMN_TEXT, "Participant that pays, or the pool"},
                 {"payer_name", COLUMN_TEXT, "Its name"},
                 {"payee", COLUMN_TEXT, "Participant that is paid, or the pool"},
                 {"payee_name", COLUMN_TEXT, "Its name"},
                 {"amount", COLUMN_AMOUNT, "Amount"},
                 {"due_on", COLUMN_TEXT, "Banking day on which it is due"},
                 {"status", COLUMN_TEXT, "computed, approved, instructed, confirmed or failed"},
                 {"held", COLUMN_TEXT, "Why it waits for a person to release it"},
                 {"iban", COLUMN_TEXT, "The payee's account"},
                 {"bank_account", COLUMN_TEXT, "Its national account number, where it has no IBAN"},
                 {"bank_code", COLUMN_TEXT, "National code of bank and branch"},
                 {"bic", COLUMN_TEXT, "The payee's bank"}}},
    {"liability",
     "The amount owed to holders of cups, by cup type and day",
     FOR_OFFICE,
     false,
     false,
     &sql_report_liability,
     {PLOT_LINES, "Deposits held", "date", "closing", "cup_type", NULL},
     .parameters = {FROM, TO, ONE_CUP_TYPE},
     .columns = {{"date", COLUMN_TEXT, "Business day", OF_SCHEME("journal") "&from={date}&to={date}"},
                 {"cup_type", COLUMN_TEXT, "Cup type"},
                 {"opening", COLUMN_AMOUNT, "Owed at the beginning of the day", TO_LEDGER_OF_DAY},
                 {"issued", COLUMN_AMOUNT, "For cups issued", TO_PART_OF_DAY("counter")},
                 {"refunded", COLUMN_AMOUNT, "Less: for cups returned", TO_PART_OF_DAY("counter")},
                 {"forfeited", COLUMN_AMOUNT, "Less: forfeited", TO_PART_OF_DAY("forfeits")},
                 {"reinstated", COLUMN_AMOUNT, "Forfeited before, and reinstated",
                  TO_PART_OF_DAY("reinstatements")},
                 {"remeasured", COLUMN_AMOUNT, "Change by a new refund value",
                  TO_PART_OF_DAY("remeasurements")},
                 {"reversed", COLUMN_AMOUNT, "By reversals of any of these", TO_PART_OF_DAY("reversals")},
                 {"closing", COLUMN_AMOUNT, "The sum: the opening amount of the next day", TO_LEDGER_OF_DAY},
                 {"cups_out", COLUMN_CUPS, "Cups with customers at the end of the day",
                  OF_SCHEME("general-ledger") "&account=with_customers({cup_type})&from={date}&to={date}"},
                 {"account", COLUMN_TEXT, "Account that it is the balance of", TO_LEDGER_OF_DAY},
                 {"settlement", COLUMN_TEXT, "The day, once it is closed", TO_CLOSE}}},
    {"general-ledger", "An account's opening balance and its legs, with the balance after each", FOR_OFFICE,
     false, true, &sql_report_general_ledger, .totals = {"kind", {"movement", "closing"}},
     .parameters =
         {{"account", PARAMETER_ACCOUNT, REQUIRED, "Account, as site_clearing(anchor)"},
          FROM,
          TO,
          {"totals", PARAMETER_CHOICE, OR_FIRST_ON_PAGES,
           "shown: with last lines of the sums, movement (net) and closing; left_out unless given, but "
           "on pages",
           totals_choices},
          {"part", PARAMETER_CHOICE, OR_NULL, "Only legs of this part, without balances; all unless given",
           parts_of_ledger}},
     .columns = {{"entry", COLUMN_CUPS, "Number of the entry", TO_ENTRY},
                 {"date", COLUMN_TEXT, "Business day"},
                 {"kind", COLUMN_TEXT, "Kind of entry; opening, movement or closing: the sums of the period"},
                 {"site", COLUMN_TEXT, "Site of the entry"},
                 {"event_id", COLUMN_TEXT, "Event, unless the close posted it", TO_EVENT},
                 {"unit", COLUMN_TEXT, "Currency or cup type"},
                 {"debit", COLUMN_FIGURE, "Debit"},
                 {"credit", COLUMN_FIGURE, "Credit"},
                 {"balance", COLUMN_FIGURE, "Balance, debits positive"},
                 {"code", COLUMN_TEXT, "The account's code in the office's own ledger on that day"},
                 {"name", COLUMN_TEXT, "Its name there"},
                 {"counterparty", COLUMN_TEXT,
                  "Sites and participants of the entry's other accounts, if there are no more than two"},
                 {"reference", COLUMN_TEXT, "Reference that the event states"},
                 {"payment_id", COLUMN_TEXT, "Payment that the entry is of", "/v1/payments/{payment_id}"}}},
    {"journal", "All entries with their legs, in their order", FOR_OFFICE, false, true, &sql_report_journal,
     .parameters = {FROM_TODAY_ON_PAGES, TO, ONE_SITE},
     .columns = {{"entry", COLUMN_CUPS, "Number of the entry", TO_ENTRY},
                 {"date", COLUMN_TEXT, "Business day"},
                 {"kind", COLUMN_TEXT, "Kind of entry"},
                 {"site", COLUMN_TEXT, "Site of the entry"},
                 {"event_id", COLUMN_TEXT, "Event, unless the close posted it", TO_EVENT},
                 {"account", COLUMN_TEXT, "Account of the leg", TO_LEDGER_OF_DAY},
                 {"unit", COLUMN_TEXT, "Currency or cup type"},
                 {"debit", COLUMN_FIGURE, "Debit"},
                 {"credit", COLUMN_FIGURE, "Credit"}}},
    {"journal-summary",
     "The movement of each account of money in each day, with the codes of the office's ledger", FOR_OFFICE,
     false, false, &sql_report_journal_summary, .totals = {"line", {"total"}},
     .parameters = {FROM,
                    TO,
                    {"by", PARAMETER_CHOICE, OR_NULL,
                     "A line for each account, or for each code and side; account unless given",
                     line_choices},
                    TOTALS},
     .columns =
         {{"scheme", COLUMN_TEXT, "Scheme"},
          {"date", COLUMN_TEXT, "Business day", OF_SCHEME("journal") "&from={date}&to={date}"},
          {"currency", COLUMN_TEXT, "Currency"},
          {"code", COLUMN_TEXT, "Code in the office's own ledger on that day; empty: none"},
          {"name", COLUMN_TEXT, "Its name there"},
          {"line", COLUMN_TEXT, "account, code (several accounts may share one), or total"},
          {"account", COLUMN_TEXT, "Account; empty in a line over several", TO_LEDGER_OF_DAY},
          {"debit", COLUMN_AMOUNT, "Debit: the net movement of the day, if it is one", TO_LEDGER_OF_DAY},
          {"credit", COLUMN_AMOUNT, "Credit: likewise", TO_LEDGER_OF_DAY},
          {"text", COLUMN_TEXT, "Text for the booking"},
          {"accounts", COLUMN_CUPS, "Lines by account that it sums"},
          {"without_code", COLUMN_CUPS, "Of these, in the total: lines without a code"},
          {"first_entry", COLUMN_CUPS, "The day's first entry", "/v1/entries/{first_entry}?scheme={scheme}"},
          {"last_entry", COLUMN_CUPS, "The day's last entry", "/v1/entries/{last_entry}?scheme={scheme}"},
          {"settlement", COLUMN_TEXT, "The day, once it is closed: only then its figures are final",
           TO_CLOSE}}},
    {"participant-journal-summary",
     "The days of a participant's dealings with the pool, as the participant would book them",
     FOR_PARTICIPANT | FOR_OFFICE, true, false, &sql_report_participant_journal_summary,
     .totals = {"line", {"total"}}, .parameters = {FROM, TO, ONE_PARTICIPANT, TOTALS},
     .columns = {{"scheme", COLUMN_TEXT, "Scheme"},
                 {"date", COLUMN_TEXT, "Business day", TO_PARTICIPANT},
                 {"currency", COLUMN_TEXT, "Currency"},
                 {"participant", COLUMN_TEXT, "Participant", TO_PARTICIPANT},
                 {"line", COLUMN_TEXT, "item or total"},
                 {"item", COLUMN_TEXT,
                  "deposits_collected, deposits_refunded, service_fee, service_fee_tax, handling_fee, "
                  "handling_fee_tax, losses or (on deposit) stock_deposits, other, payments; pool: the other "
                  "side of "
                  "all of them"},
                 {"debit", COLUMN_AMOUNT, "The participant's debit"},
                 {"credit", COLUMN_AMOUNT, "The participant's credit"},
                 {"text", COLUMN_TEXT, "Text for the booking"},
                 {"opening", COLUMN_AMOUNT, "pool: what the participant owed (+) or was owed (-) before"},
                 {"closing", COLUMN_AMOUNT, "pool: the same at the end of the day"},
                 {"settlement", COLUMN_TEXT, "The day, once it is closed: only then its figures are final",
                  TO_CLOSE}}},
    {"transfers", "Dispatches that are not squared: on the road, short, or over", FOR_OFFICE, false, false,
     &sql_report_transfers,
     .parameters =
         {AS_OF,
          {"state", PARAMETER_CHOICE, OR_NULL,
           "in_transit, short, over, or late: cups on the road for longer than a day; all unless given",
           transfer_states},
          ORDER},
     .columns = {{"date", COLUMN_TEXT, "Business day of the dispatch"},
                 {"age_days", COLUMN_CUPS, "Days since then"},
                 {"entry", COLUMN_CUPS, "Number of its entry", TO_ENTRY},
                 {"event_id", COLUMN_TEXT, "The dispatch", TO_EVENT},
                 {"sender", COLUMN_TEXT, "Site that sent"},
                 {"receiver", COLUMN_TEXT, "Site that it was sent to"},
                 {"cup_type", COLUMN_TEXT, "Cup type"},
                 {"condition", COLUMN_TEXT, "sound or damaged"},
                 {"sent", COLUMN_CUPS, "Cups sent"},
                 {"received", COLUMN_CUPS, "Cups received"},
                 {"lost", COLUMN_CUPS, "Cups given up as lost"},
                 {"in_transit", COLUMN_CUPS, "Cups still on the road",
                  OF_SCHEME("general-ledger") "&account=in_transit({cup_type})&to={as_of}"},
                 {"over", COLUMN_CUPS, "Cups received or lost beyond those sent"},
                 {"state", COLUMN_TEXT, "in_transit (nothing came yet), short or over"}}},
    {"exceptions", "Recorded facts that a person should look at", FOR_OFFICE, false, true,
     &sql_report_exceptions,
     .parameters = {FROM,
                    TO,
                    ONE_SITE,
                    {"state", PARAMETER_CHOICE, OR_NULL, "open or resolved; both unless given",
                     exception_states},
                    ORDER},
     .columns = {{"exception_id", COLUMN_TEXT, "The id to resolve it by", "/v1/exceptions/{exception_id}"},
                 {"date", COLUMN_TEXT, "Business day"},
                 {"entry", COLUMN_CUPS, "Number of the entry", TO_ENTRY},
                 {"event_id", COLUMN_TEXT, "Event", TO_EVENT},
                 {"kind", COLUMN_TEXT, "The meaning of the exception"},
                 {"site", COLUMN_TEXT, "Site", TO_SITE},
                 {"cup_type", COLUMN_TEXT, "Cup type"},
                 {"quantity", COLUMN_CUPS, "Cups that it is about"},
                 {"amount", COLUMN_AMOUNT, "Amount that it is about"},
                 {"state", COLUMN_TEXT, "open or resolved"},
                 {"resolved_at", COLUMN_TIME, "When it was resolved"},
                 {"resolved_by", COLUMN_TEXT, "Name of the key that resolved it"},
                 {"by_entry", COLUMN_CUPS, "Or the entry that made it good",
                  "/v1/entries/{by_entry}?scheme={scheme}"},
                 {"note", COLUMN_TEXT, "The finding"},
                 {"cup_id", COLUMN_TEXT, "Cup with identity that it is about", "/v1/cups/{cup_id}"}}},
    {"counts", "When each site that trades was counted last, the longest ago first", FOR_OFFICE, false, false,
     &sql_report_counts,
     .parameters = {{"uncounted_since", PARAMETER_DAY, OR_NULL,
                     "Only sites that nobody has counted since this day; all unless given"},
                    {"state", PARAMETER_CHOICE, OR_NULL,
                     "due: of sites that say how often they are counted only those whose days are over, "
                     "whatever uncounted_since says",
                     count_states}},
     .columns = {{"site", COLUMN_TEXT, "Site", "/v1/sites/{site}"},
                 {"counted", COLUMN_TEXT, "Business day of the last count; empty: it was never counted"},
                 {"entry", COLUMN_CUPS, "Number of the count's entry", TO_ENTRY},
                 {"since", COLUMN_TEXT, "The same day, or the first day of a site that was never counted"},
                 {"days", COLUMN_CUPS, "Days since then"},
                 {"count_days", COLUMN_CUPS, "Days after which the site says that it is to be counted again"},
                 {"due_on", COLUMN_TEXT, "The day on which that time ends"}}},
    {"count-sheet", "Sheets on which to write what is counted at a site", FOR_ALL, true, false,
     &sql_report_count_sheet, .layout = &render_count_sheet, .parameters = {ONE_SITE},
     .columns = {{"site", COLUMN_TEXT, "Site", "/v1/sites/{site}"},
                 {"site_name", COLUMN_TEXT, "Its name"},
                 {"cup_type", COLUMN_TEXT, "Cup type to count"},
                 {"name", COLUMN_TEXT, "Its name"},
                 {"volume_ml", COLUMN_CUPS, "Its volume in millilitres"}}},
    {"second-counts", "Counts that were off by more than the tolerance, and that nobody has repeated",
     FOR_OFFICE, false, false, &sql_report_second_counts,
     .columns = {{"date", COLUMN_TEXT, "Business day of the count",
                  "/v1/events?scheme={scheme}&site={site}&kind=count&business_date={date}"},
                 {"site", COLUMN_TEXT, "Site to count again", OF_SCHEME("count-sheet") "&site={site}"},
                 {"cup_type", COLUMN_TEXT, "Cup type to count again"},
                 {"entry", COLUMN_CUPS, "Number of the count's entry", TO_ENTRY},
                 {"event_id", COLUMN_TEXT, "The count", TO_EVENT},
                 {"difference", COLUMN_CUPS, "Counted less book"},
                 {"amount", COLUMN_AMOUNT, "Refund value of so many cups on that day"},
                 {"days", COLUMN_CUPS, "Days since then"},
                 {"exception_id", COLUMN_TEXT, "Exception of the count, to resolve if the count is right",
                  "/v1/exceptions/{exception_id}"}}},
    {"shrinkage", "Cups that are gone: missed or found by counts, and lost in transit", FOR_OFFICE, false,
     false, &sql_report_shrinkage, .parameters = {FROM, TO, ONE_SITE, ONE_CUP_TYPE},
     .columns = {{"site", COLUMN_TEXT, "Site; empty: losses that the operator bears", TO_SITE_OF_PERIOD},
                 {"cup_type", COLUMN_TEXT, "Cup type"},
                 {"missing", COLUMN_CUPS, "Cups that counts missed, less reversed", TO_SHRINKAGE("missing")},
                 {"found", COLUMN_CUPS, "Cups that counts found beyond the book, less reversed",
                  TO_SHRINKAGE("found")},
                 {"lost", COLUMN_CUPS, "Cups lost in transit, at the site that bears the loss",
                  TO_SHRINKAGE("lost"), .or_link = TO_OPERATORS_LOSSES},
                 {"gone", COLUMN_CUPS, "Missing less found, and lost", TO_SHRINKAGE("all"),
                  .or_link = TO_OPERATORS_LOSSES},
                 {"amount", COLUMN_AMOUNT, "Refund value of these on the days that the entries posted to",
                  TO_SHRINKAGE("all"), .or_link = TO_OPERATORS_LOSSES},
                 {"issued", COLUMN_CUPS, "Cups issued, less reversed", TO_FIGURE_OF_TYPE("issued")},
                 {"returned", COLUMN_CUPS, "Cups returned, less reversed", TO_FIGURE_OF_TYPE("returned")},
                 {"rate", COLUMN_RATE, "Cups gone over cups handled, which are those issued and returned"}}},
    {"shrinkage-lines", "The counts and losses by which cups are gone, with their reversals", FOR_OFFICE,
     false, false, &sql_report_shrinkage_lines, .totals = {"section", {"total"}},
     .parameters = {FROM,
                    TO,
                    ONE_SITE,
                    ONE_CUP_TYPE,
                    {"part", PARAMETER_CHOICE, OR_NULL,
                     "One of the figures of shrinkage; with it a last line has the sum", shrinkage_parts}},
     .columns = {{"date", COLUMN_TEXT, "Business day"},
                 {"site", COLUMN_TEXT, "Site; empty: the operator bears the loss", TO_SITE},
                 {"cup_type", COLUMN_TEXT, "Cup type"},
                 {"section", COLUMN_TEXT, "missing or found by a count, lost in transit, or total"},
                 {"entry", COLUMN_CUPS, "Number of the entry", TO_ENTRY},
                 {"kind", COLUMN_TEXT, "Kind of entry"},
                 {"event_id", COLUMN_TEXT, "Event", TO_EVENT},
                 {"cups", COLUMN_CUPS, "Cups gone (+) or found (-)"},
                 {"amount", COLUMN_AMOUNT, "Their refund value on that day"}}},
    {"day-totals", "The tills' own totals against the recorded events, by the day of occurrence", FOR_OFFICE,
     false, false, &sql_report_day_totals,
     .parameters = {FROM,
                    TO,
                    ONE_SITE,
                    {"state", PARAMETER_CHOICE, OR_NULL,
                     "missing: closed days that a till has still to state, after the last one that it "
                     "stated; all unless given",
                     total_states}},
     .columns =
         {{"date", COLUMN_TEXT, "Business day in which it happened", TO_EVENTS_OF_DAY},
          {"site", COLUMN_TEXT, "Site", TO_SITE},
          {"issued_stated", COLUMN_CUPS, "Cups issued, as stated", "/v1/sites/{site}/day-totals/{date}"},
          {"issued_recorded", COLUMN_CUPS, "Cups issued, less reversed"},
          {"issued_difference", COLUMN_CUPS, "Stated less recorded"},
          {"returned_stated", COLUMN_CUPS, "Cups returned, as stated", "/v1/sites/{site}/day-totals/{date}"},
          {"returned_recorded", COLUMN_CUPS, "Cups returned, less reversed"},
          {"returned_difference", COLUMN_CUPS, "Stated less recorded"},
          {"collected_stated", COLUMN_AMOUNT, "Collected, as stated", "/v1/sites/{site}/day-totals/{date}"},
          {"collected_recorded", COLUMN_AMOUNT, "Collected, less reversed"},
          {"collected_difference", COLUMN_AMOUNT, "Stated less recorded"},
          {"refunded_stated", COLUMN_AMOUNT, "Paid out, as stated", "/v1/sites/{site}/day-totals/{date}"},
          {"refunded_recorded", COLUMN_AMOUNT, "Paid out, less reversed"},
          {"refunded_difference", COLUMN_AMOUNT, "Stated less recorded"}}},
    {"ageing", "The amounts that participants owe (+) and are owed (-), by the time they are overdue",
     FOR_OFFICE, false, false, &sql_report_ageing, .totals = {"participant", {"total_arrears", "total_due"}},
     .parameters = {AS_OF,
                    {"totals", PARAMETER_CHOICE, OR_FIRST_ON_PAGES,
                     "shown: with last lines of the sums by side; left_out unless given, but on pages",
                     totals_choices}},
     .columns = {{"participant", COLUMN_TEXT, "Participant",
                  OF_SCHEME("participant-statement") "&participant={participant}&to={as_of}"},
                 {"side", COLUMN_TEXT, "receivable or payable"},
                 {"account", COLUMN_TEXT,
                  "Settled and not paid, or payments that failed; empty: carried forward",
                  OF_SCHEME("general-ledger") "&account={account}&to={as_of}"},
                 {"first_due_on", COLUMN_TEXT, "The earliest day on which any of it was first due"},
                 {"current", COLUMN_AMOUNT, "Not overdue"},
                 {"days_1_7", COLUMN_AMOUNT, "Overdue by 1 to 7 days"},
                 {"days_8_30", COLUMN_AMOUNT, "By 8 to 30 days"},
                 {"days_31_60", COLUMN_AMOUNT, "By 31 to 60 days"},
                 {"days_over_60", COLUMN_AMOUNT, "By more than 60 days"},
                 {"undated", COLUMN_AMOUNT,
                  "Of no payment: from bank lines that a person resolved, and journals"},
                 {"total", COLUMN_AMOUNT, "The sum, with what is carried", TO_BALANCE},
                 {"carried", COLUMN_AMOUNT, "Not due yet: carried forward by the last close",
                  OF_SCHEME("participant-statement") "&participant={participant}&to={as_of}"},
                 {"waits_for", COLUMN_TEXT,
                  "pay_day: it is settled on the next pay day; size: it was too small on the last one"},
                 {"next_pay_day", COLUMN_TEXT, "The next pay day after the last close"}}},
    {"bank-reconciliation", "From the bank's balance to the ledger's, in rows that sum", FOR_OFFICE, false,
     false, &sql_report_bank_reconciliation, .totals = {"section", {"ledger"}},
     .parameters =
         {AS_OF,
          {"state", PARAMETER_CHOICE, OR_NULL,
           "breaks: only what does not tie; in_transit: only what is on one side; all rows unless given",
           reconciliation_states}},
     .columns =
         {{"section", COLUMN_TEXT,
           "statement: what the last one through that day closed with; before: what there was before the "
           "first one; break: what the bank states and does not tie; told_again: the same, but the bank has "
           "told these days again and that ties; in_transit: on one side only; not_explained; ledger: the "
           "sum, which is the account bank"},
          {"item", COLUMN_TEXT, "What the row is"},
          {"bank_account", COLUMN_TEXT, "The account at the bank"},
          {"bank_statement", COLUMN_TEXT, "Statement", "/v1/bank-statements/{bank_statement}"},
          {"date", COLUMN_TEXT,
           "Of a statement its last day, by the bank's calendar; of an entry its business day"},
          {"line", COLUMN_TEXT, "Line of the statement", "/v1/bank-lines/{line}"},
          {"payment_id", COLUMN_TEXT, "Payment", "/v1/payments/{payment_id}"},
          {"participant", COLUMN_TEXT, "Participant that pays or is paid",
           OF_SCHEME("participant-statement") "&participant={participant}"},
          {"entry", COLUMN_CUPS, "Number of its entry", TO_ENTRY},
          {"account", COLUMN_TEXT, "Account of the ledger", OF_SCHEME("general-ledger") "&account={account}"},
          {"amount", COLUMN_AMOUNT,
           "Adds to the ledger (+), or takes from it (-); the last row is the sum of all before it",
           OF_SCHEME("general-ledger") "&account={account}&to={date}"}}},
    {"withdrawable", "The amount that the operator could take out now without touching money of others",
     FOR_OFFICE, false, false, &sql_report_withdrawable, .totals = {"step", {"withdrawable", "shortfall"}},
     .columns = {{"step", COLUMN_TEXT,
                  "bank; deposits, due_to_participants, tax and not_identified, which are taken off; "
                  "due_from_participants and left_unidentified, which do not count; and the result: "
                  "withdrawable or shortfall"},
                 {"item", COLUMN_TEXT, "Kind of account"},
                 {"account", COLUMN_TEXT, "The account, if it is only one",
                  OF_SCHEME("general-ledger") "&account={account}"},
                 {"participant", COLUMN_TEXT, "Participant, over all its sites",
                  OF_SCHEME("participant-statement") "&participant={participant}"},
                 {"cup_type", COLUMN_TEXT, "Cup type", OF_SCHEME("deposit-cover")},
                 {"balance", COLUMN_AMOUNT, "What there is or others owe (+), or what is owed to others (-)",
                  OF_SCHEME("general-ledger") "&account={account}"},
                 {"counted", COLUMN_AMOUNT, "What of it counts; in the result the sum"}}},
    {"winding-up", "The things that are still open, with the next step: of a participant, or of the scheme",
     FOR_OFFICE, false, false, &sql_report_winding_up, .parameters = {ONE_PARTICIPANT},
     .columns =
         {{"what", COLUMN_TEXT, "Kind of thing"},
          {"participant", COLUMN_TEXT, "Participant; empty: the scheme's own",
           OF_SCHEME("participant-statement") "&participant={participant}"},
          {"last_day", COLUMN_TEXT, "Last day of the last of its sites, if all have one; of the scheme"},
          {"site", COLUMN_TEXT, "Site", OF_SCHEME("site-statement") "&site={site}"},
          {"cup_type", COLUMN_TEXT, "Cup type"},
          {"cups", COLUMN_CUPS, "Cups", OF_SCHEME("general-ledger") "&account=site_stock({site},{cup_type})"},
          {"amount", COLUMN_AMOUNT,
           "Owed by the participant (+) or to it (-); the scheme's own: held, or on the line",
           OF_SCHEME("general-ledger") "&account={account}"},
          {"date", COLUMN_TEXT, "Day of the thing: its last, its due day, the next pay day"},
          {"account", COLUMN_TEXT, "Account that has the balance",
           OF_SCHEME("general-ledger") "&account={account}"},
          {"payment_id", COLUMN_TEXT, "Payment", "/v1/payments/{payment_id}"},
          {"entry", COLUMN_CUPS, "Number of the entry", TO_ENTRY},
          {"name", COLUMN_TEXT, "Kind of exception, name of a key, number of a bank line, or id of an event"},
          {"next_step", COLUMN_TEXT, "How it comes to an end"}}},
    {"return-rate",
     "Cups of each period of issue that came back, wherever they did, against the target",
     FOR_OFFICE,
     false,
     false,
     &sql_report_return_rate,
     {PLOT_LINES, "Return rate so far, by the period of issue", "first_day", "rate", "cup_type", "target"},
     .totals = {"cup_type", {"total"}},
     .parameters = {{"from", PARAMETER_DAY, OR_NULL,
                     "First business day of issue; unless given the first of twelve weeks or months"},
                    TO,
                    {"by", PARAMETER_CHOICE, OR_FIRST_ON_PAGES,
                     "Periods: week (from Monday on), month, or all days as one; week unless given",
                     issue_periods},
                    ONE_CUP_TYPE,
                    RETURNS_THROUGH,
                    TOTALS_ON_PAGES(
                        "shown: with lines over all cup types; left_out unless given, but on pages")},
     .columns = {{"first_day", COLUMN_TEXT, "First business day of issue"},
                 {"last_day", COLUMN_TEXT, "Last business day of issue"},
                 {"cup_type", COLUMN_TEXT, "Cup type, or total",
                  "/v1/schemes/{scheme}/returns-to-come/{cup_type}"},
                 {"issued", COLUMN_CUPS, "Cups issued, less those that reversals took back",
                  TO_RETURNS_BY_DAY},
                 {"returned_7", COLUMN_CUPS,
                  "Of these: came back within 7 days; empty until all have had these", TO_RETURNS_BY_DAY},
                 {"rate_7", COLUMN_RATE, "Their share"},
                 {"returned_30", COLUMN_CUPS, "Came back within 30 days; empty until all have had these",
                  TO_RETURNS_BY_DAY},
                 {"rate_30", COLUMN_RATE, "Their share"},
                 {"returned", COLUMN_CUPS, "Came back so far", TO_RETURNS_BY_DAY},
                 {"rate", COLUMN_RATE, "Their share"},
                 {"forfeited", COLUMN_CUPS, "Forfeited, less reinstated", TO_RETURNS_BY_DAY},
                 {"out", COLUMN_CUPS, "Still with customers", TO_RETURNS_BY_DAY},
                 {"target", COLUMN_RATE, "The scheme's target"},
                 {"state", COLUMN_TEXT,
                  "whole: all of its cups have had 30 days; running: some have not; cut_short: the report "
                  "leaves out some of its days"}}},
    {"trips",
     "Trips of cups with identity: how often they come back, how long they are out, how old they are",
     FOR_OFFICE, false, false, &sql_report_trips, .parameters = {FROM, TO, ONE_CUP_TYPE},
     .columns = {{"cup_type", COLUMN_TEXT, "Cup type"},
                 {"cups", COLUMN_CUPS, "Cups that were named when they were issued in the period",
                  OF_SCHEME("trip-counts") "&from={from}&to={to}&cup_type={cup_type}"},
                 {"issues", COLUMN_CUPS, "How often they were issued"},
                 {"trips", COLUMN_CUPS, "How often they came back, anywhere, before they were issued again",
                  OF_SCHEME("trip-counts") "&from={from}&to={to}&cup_type={cup_type}"},
                 {"issues_per_cup", COLUMN_TEXT, "Issues per cup"},
                 {"trips_per_cup", COLUMN_TEXT, "Trips per cup"},
                 {"rate", COLUMN_RATE, "Trips over issues"},
                 {"hours_out", COLUMN_TEXT, "Hours from issue to return: mean"},
                 {"hours_out_half", COLUMN_TEXT, "Hours within which half of the trips ended"},
                 {"hours_out_most", COLUMN_TEXT, "Hours within which nine of ten trips ended"},
                 {"age_days", COLUMN_TEXT, "Days from a cup's first sighting to the end of the period: mean"},
                 {"retired", COLUMN_CUPS, "Named cups that were retired in the period"},
                 {"trips_until_retired", COLUMN_TEXT, "Trips that these made in all: mean"}}},
    {"trip-counts",
     "How many cups with identity made how many trips",
     FOR_OFFICE,
     false,
     false,
     &sql_report_trip_counts,
     {PLOT_BARS, "Cups by their trips", "trips", "cups", "cup_type", NULL},
     .parameters = {FROM, TO, ONE_CUP_TYPE},
     .columns = {{"cup_type", COLUMN_TEXT, "Cup type"},
                 {"trips", COLUMN_CUPS, "Trips of a cup"},
                 {"cups", COLUMN_CUPS, "Cups that made so many"},
                 {"share", COLUMN_RATE, "Their share of the type's cups"}}},
    {"return-rate-daily",
     "Cups of each day of issue that came back, wherever they did",
     FOR_OFFICE,
     false,
     false,
     &sql_report_return_rate_daily,
     {PLOT_LINES, "Return rate so far, by the day of issue", "date", "rate", "cup_type", "target"},
     .totals = {"date", {"total"}},
     .parameters = {FROM, TO, ONE_CUP_TYPE, RETURNS_THROUGH,
                    TOTALS_ON_PAGES(
                        "shown: with a last line of the sums; left_out unless given, but on pages")},
     .columns = {{"date", COLUMN_TEXT, "Business day of issue, or total"},
                 {"cup_type", COLUMN_TEXT, "Cup type"},
                 {"posted", COLUMN_CUPS, "Cups issued as posted to the day, less reversals of that day",
                  OF_SCHEME("site-figures") "&from={date}&to={date}&cup_type={cup_type}&figure=issued"},
                 {"issued", COLUMN_CUPS, "Of these, without those that reversals of later days took back"},
                 {"returned_7", COLUMN_CUPS, "Of these: came back within 7 days"},
                 {"returned_30", COLUMN_CUPS, "Came back within 30 days"},
                 {"returned", COLUMN_CUPS, "Came back so far"},
                 {"rate", COLUMN_RATE, "Their share"},
                 {"forfeited", COLUMN_CUPS, "Forfeited, less reinstated"},
                 {"out", COLUMN_CUPS, "Still with customers"},
                 {"target", COLUMN_RATE, "The scheme's target"}}},
    {"site-flows", "Cups that each site handed out and took back, and the difference", FOR_OFFICE, false,
     false, &sql_report_site_flows, .totals = {"site", {"total"}},
     .parameters =
         {FROM, TO, ONE_SITE, ONE_CUP_TYPE,
          TOTALS_ON_PAGES(
              "shown: with last lines of the sums of each cup type; left_out unless given, but on pages")},
     .columns = {{"site", COLUMN_TEXT, "Site, or total", TO_SITE_OF_PERIOD},
                 {"cup_type", COLUMN_TEXT, "Cup type"},
                 {"issued", COLUMN_CUPS, "Cups that it handed out, less reversed", TO_FLOW("issued")},
                 {"returned", COLUMN_CUPS, "Cups that it took back, wherever they came from",
                  TO_FLOW("returned")},
                 {"net", COLUMN_CUPS, "Handed out less taken back"}}},
    {"damaged-cups", "Damaged cups that wait at sites to be collected", FOR_ALL, true, false,
     &sql_report_damaged_cups, .parameters = {AS_OF},
     .columns = {{"site", COLUMN_TEXT, "Site", "/v1/sites/{site}"},
                 {"participant", COLUMN_TEXT, "Participant that owns it"},
                 {"cup_type", COLUMN_TEXT, "Cup type"},
                 {"cups", COLUMN_CUPS, "Damaged cups that are there", TO_BALANCE},
                 {"since", COLUMN_TEXT, "The first day after the last one that ended without any"},
                 {"days", COLUMN_CUPS, "Days since then"},
                 {"account", COLUMN_TEXT, "Account of the damaged cups", TO_BALANCE}}},
    {"retired-cups", "Cups retired at each site, and those that no batch has taken to a re-maker", FOR_OFFICE,
     false, false, &sql_report_retired_cups, .parameters = {ONE_SITE},
     .columns = {{"site", COLUMN_TEXT, "Site", "/v1/events?scheme={scheme}&site={site}&kind=retire"},
                 {"cup_type", COLUMN_TEXT, "Cup type"},
                 {"retired", COLUMN_CUPS, "Cups retired there so far, less reversed"},
                 {"batched", COLUMN_CUPS, "Of these: cups in batches that are not withdrawn"},
                 {"waiting", COLUMN_CUPS, "The others, which still wait for a batch"}}},
    {"recovery", "Cups and grams retired, to be made into new things, against those supplied", FOR_OFFICE,
     false, false, &sql_report_recovery, .parameters = {FROM, TO},
     .columns = {{"cup_type", COLUMN_TEXT, "Cup type"},
                 {"supplied", COLUMN_CUPS, "Cups supplied",
                  OF_SCHEME("general-ledger") "&account=supply({cup_type})&from={from}&to={to}"},
                 {"supplied_g", COLUMN_CUPS, "Grams of these, by their type"},
                 {"retired", COLUMN_CUPS, "Cups retired", TO_LEDGER},
                 {"weighed", COLUMN_CUPS, "Of these: cups whose mass was stated at retirement"},
                 {"retired_g", COLUMN_CUPS, "Grams retired: as stated, of the others by their type"},
                 {"share_of_cups", COLUMN_RATE, "Cups retired over cups supplied in the period"},
                 {"share_of_grams", COLUMN_RATE, "Grams retired over grams supplied in the period"},
                 {"account", COLUMN_TEXT, "Account of retired cups", TO_LEDGER},
                 {"in_service", COLUMN_CUPS, "Sound cups at sites and on the road at the end of the period"},
                 {"with_customers", COLUMN_CUPS, "Cups with customers at the end of the period",
                  OF_SCHEME("general-ledger") "&account=with_customers({cup_type})&to={to}"},
                 {"lost", COLUMN_CUPS, "Cups unaccounted for at the end of the period",
                  OF_SCHEME("general-ledger") "&account=unaccounted({cup_type})&to={to}"},
                 {"batches", COLUMN_CUPS, "Batches with such cups that were sent in the period"},
                 {"batched", COLUMN_CUPS, "Cups in these batches"},
                 {"remade", COLUMN_CUPS, "New cups of supplies that name a batch, less reversed"},
                 {"return_rate", COLUMN_RATE, "Cups returned over cups issued in the period"},
                 {"target", COLUMN_RATE, "The scheme's target for it"}}},
};

const struct report *reports_all(size_t *count)
{
    *count = sizeof reports / sizeof reports[0];
    return reports;
}

const struct report *report_find(const char *name)
{
    for (size_t i = 0; i < sizeof reports / sizeof reports[0]; i++)
        if (strcmp(reports[i].name, name) == 0)
            return &reports[i];
    return NULL;
}

size_t report_column_count(const struct report *report)
{
    size_t count = 0;
    while (count < REPORT_COLUMNS_MAX && report->columns[count].name != NULL)
        count++;
    return count;
}

size_t report_parameter_count(const struct report *report)
{
    size_t count = 0;
    while (count < REPORT_PARAMETERS_MAX && report->parameters[count].name != NULL)
        count++;
    return count;
}

const char *column_kind_word(enum column_kind kind)
{
    static const char *const words[] = {
        [COLUMN_TEXT] = "text",     [COLUMN_AMOUNT] = "amount", [COLUMN_CUPS] = "cups",
        [COLUMN_FIGURE] = "figure", [COLUMN_RATE] = "rate",     [COLUMN_TIME] = "text"};
    return words[kind];
}

const char *parameter_kind_word(enum parameter_kind kind)
{
    static const char *const words[] = {[PARAMETER_DAY] = "day",
                                        [PARAMETER_SITE] = "site",
                                        [PARAMETER_PARTICIPANT] = "participant",
                                        [PARAMETER_CUP_TYPE] = "cup_type",
                                        [PARAMETER_ACCOUNT] = "account",
                                        [PARAMETER_CHOICE] = "choice"};
    return words[kind];
}
