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

static const struct report reports[] = {
    {"deposit-cover", "Deposits against the refund value of the cups they are for, and what funds them",
     FOR_OFFICE, false, &sql_report_deposit_cover, .parameters = {AS_OF},
     .columns = {{"section", COLUMN_TEXT, "customers, stock, transit or funding"},
                 {"item", COLUMN_TEXT, "Where the cups are, or a line of the funding"},
                 {"cup_type", COLUMN_TEXT, "Cup type"},
                 {"cups", COLUMN_CUPS, "Cups that a deposit is owed for"},
                 {"refund_value", COLUMN_AMOUNT, "Refund value of a cup on that day"},
                 {"required", COLUMN_AMOUNT, "What the cups are worth; funding: what is owed in deposits"},
                 {"held", COLUMN_AMOUNT, "Deposits held; funding: what stands against them"},
                 {"to_come", COLUMN_AMOUNT,
                  "How much of that a remeasurement across an open day has still to post"},
                 {"difference", COLUMN_AMOUNT,
                  "Held less required; funding: the surplus, its causes, and what they leave unexplained"}}},
    {"trial-balance", "Balances of all accounts, with the totals of each unit", FOR_OFFICE, false,
     &sql_report_trial_balance, .parameters = {AS_OF},
     .columns = {{"account", COLUMN_TEXT, "Account, or total"},
                 {"unit", COLUMN_TEXT, "Currency or cup type"},
                 {"debit", COLUMN_FIGURE, "Debit balance"},
                 {"credit", COLUMN_FIGURE, "Credit balance"}}},
    {"stock", "Where the cups are", FOR_ALL, true, &sql_report_stock, .parameters = {AS_OF},
     .columns = {{"site", COLUMN_TEXT, "Site; empty for places outside sites"},
                 {"place", COLUMN_TEXT,
                  "with_customers, in_transit, retired, unaccounted or supply; empty at a site"},
                 {"cup_type", COLUMN_TEXT, "Cup type"},
                 {"sound", COLUMN_CUPS, "Cups"},
                 {"damaged", COLUMN_CUPS, "Damaged cups"},
                 {"negative", COLUMN_CUPS, "Cups by which the book is below zero, where it can't be"}}},
    {"settlement", "What a close settled, by participant and site", FOR_PARTICIPANT | FOR_OFFICE, true,
     &sql_report_settlement,
     .parameters = {{"date", PARAMETER_DAY, REQUIRED, "Business day that was closed"}},
     .columns = {{"participant", COLUMN_TEXT, "Participant"},
                 {"site", COLUMN_TEXT, "Site; empty in the participant's own line"},
                 {"brought_forward", COLUMN_AMOUNT, "Not settled by the close before"},
                 {"collected", COLUMN_AMOUNT, "Collected at the counter"},
                 {"refunded", COLUMN_AMOUNT, "Paid out at the counter"},
                 {"fees", COLUMN_AMOUNT, "Service fees less handling fees"},
                 {"tax", COLUMN_AMOUNT, "Tax on the one less tax on the other"},
                 {"stock", COLUMN_AMOUNT, "For cups on deposit, counts and losses"},
                 {"other", COLUMN_AMOUNT, "Anything else"},
                 {"net", COLUMN_AMOUNT, "What the site owes (+) or is owed (-)"},
                 {"arrears", COLUMN_AMOUNT, "Payments that failed before"},
                 {"position", COLUMN_AMOUNT, "What the participant owes (+) or is owed (-)"}}},
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
    static const char *const words[] = {[COLUMN_TEXT] = "text",
                                        [COLUMN_AMOUNT] = "amount",
                                        [COLUMN_CUPS] = "cups",
                                        [COLUMN_FIGURE] = "figure"};
    return words[kind];
}

const char *parameter_kind_word(enum parameter_kind kind)
{
    static const char *const words[] = {[PARAMETER_DAY] = "day",
                                        [PARAMETER_SITE] = "site",
                                        [PARAMETER_PARTICIPANT] = "participant",
                                        [PARAMETER_CUP_TYPE] = "cup_type",
                                        [PARAMETER_ACCOUNT] = "account"};
    return words[kind];
}
