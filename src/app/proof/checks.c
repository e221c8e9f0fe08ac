/* SPDX-License-Identifier: ISC */
/* The table of checks, and the code that runs them. */
#include "app/proof/checks.h"

#include "base/log.h"
#include "base/memory.h"
#include "sql.h"
#include "store/network_store.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum { FINDING_MAX = 256 };

static const struct check checks[] = {
    {"legs_balance", "The legs of each entry, and all balances, sum to zero in each unit",
     &sql_check_legs_balance, NULL},
    {"balances_match_legs", "Balances are the sums of their legs", &sql_check_balances_match_legs, NULL},
    {"deposit_cover", "Deposits held are the refund value of the cups they are for", &sql_check_deposit_cover,
     NULL},
    {"cups_conserved", "Every cup that was supplied or visits is somewhere", &sql_check_cups_conserved, NULL},
    {"between_cups", "Cups that visit another scheme are those that are abroad for their home",
     &sql_check_between_cups, NULL},
    {"between_money", "Two schemes agree on what they owe each other, with what is under way",
     &sql_check_between_money, NULL},
    {"between_books", "Entries between two schemes book what was agreed, and kept sums are theirs",
     &sql_check_between_books, NULL},
    {"between_follows", "Each return of a home's cups at a host is followed once, as it was recorded",
     &sql_check_between_follows, NULL},
    {"positions_cleared",
     "Closes cleared the accounts that they settled, and payments reproduce the positions",
     &sql_check_positions_cleared, NULL},
    {"payments_match", "The amounts settled and not paid are the sum of the payments under way",
     &sql_check_payments_match, NULL},
    {"bank_reconciles",
     "The account bank moved once for each booked line of the bank, and for nothing else that is not named",
     &sql_check_bank_reconciles, NULL},
    {"journals_by_two", "One key proposed each journal and another approved it", &sql_check_journals_by_two,
     NULL},
    {"operator_matches",
     "Two people agreed on the operator's own money, and what it took out beyond the free amount is listed",
     &sql_check_operator_matches, NULL},
    {"entries_gapless", "Entries are numbered without gaps, and days count theirs",
     &sql_check_entries_gapless, NULL},
    {"events_once", "Every event is one entry", &sql_check_events_once, NULL},
    {"site_days_match", "The figures of a site's day follow from its events and legs",
     &sql_check_site_days_match, NULL},
    {"fees_match", "Fees follow from the events and the terms of their days", &sql_check_fees_match, NULL},
    {"fee_notes_match", "Fee notes have no gaps, and say what the fees of their months came to",
     &sql_check_fee_notes_match, NULL},
    {"cup_days_match",
     "The kept figures of a closed day's cups and deposits follow from its events and balances",
     &sql_check_cup_days_match, NULL},
    {"cup_flows_match",
     "The kept flows of cups to and from customers, and the return rate, follow from events and balances",
     &sql_check_cup_flows_match, NULL},
    {"transfers_match", "Transfers follow from dispatches, receipts and losses", &sql_check_transfers_match,
     NULL},
    {"cups_match", "The sightings of cups with identity follow from the events that name them",
     &sql_check_cups_match, NULL},
    {"funding", "The money that stands against the deposits is explained by its causes", &sql_check_funding,
     NULL},
    {"seals_verify", "Sealed days verify from the raw entries", NULL, check_seals},
    {"days_match", "Business days follow each other without a gap, and are closed in order, each with a seal",
     &sql_check_days_match, NULL},
    {"entries_match_events", "The columns beside an entry's leaf follow from event, legs and calendar",
     &sql_check_entries_match_events, NULL},
    {"changes_verify", "Reference data and keys follow from their recorded changes, and no change is missing",
     &sql_check_changes_verify, NULL},
    {"lists_match", "Lists of open things and counts of payments follow from their rows",
     &sql_check_lists_match, NULL},
    {"particulars_verify", "The other facts that were fixed with a closed day have not changed", NULL,
     check_particulars},
};

static const struct check period_checks[] = {
    {"month_matches",
     "The entries of the month balance, and lead from the balances before it to those at its end",
     &sql_check_month_matches, NULL},
    {"seals_verify", "Sealed days verify from the raw entries, and follow the seal before them", NULL,
     check_seals},
    {"particulars_verify", "The other facts that were fixed with a closed day have not changed", NULL,
     check_particulars},
};

const struct check *checks_of(const struct check_period *period, size_t *count)
{
    *count =
        period != NULL ? sizeof period_checks / sizeof period_checks[0] : sizeof checks / sizeof checks[0];
    return period != NULL ? period_checks : checks;
}

static void tell(const struct check_scope *scope, const char *finding)
{
    if (scope->listener != NULL)
        scope->listener->found(scope->listener->context, scope->scheme, scope->check, finding);
}

void check_examined(const struct check_scope *scope, struct check_figures *figures, bool broken,
                    const char *format, ...)
{
    char finding[FINDING_MAX];
    va_list arguments;
    figures->examined++;
    if (!broken || memory_has_failed()) /* if memory has failed, the check was not made, and run() says so */
        return;
    va_start(arguments, format);
    vsnprintf(finding, sizeof finding, format, arguments);
    va_end(arguments);
    if (figures->broken++ == 0)
        figures->detail = arena_copy(scope->arena, finding, strlen(finding));
    tell(scope, finding);
}

/* Reports the findings, and keeps the first. */
static void take_findings(const struct check_scope *scope, struct check_figures *figures, char *lines)
{
    int64_t told = 0;
    char *rest = lines, *line;
    char more[FINDING_MAX];
    for (; (line = strsep(&rest, "\n")) != NULL && figures->broken > 0; told++)
        tell(scope, line);
    if (told > 0 && told < figures->broken) {
        snprintf(more, sizeof more, "and %lld more", (long long)(figures->broken - told));
        tell(scope, more);
    }
    figures->detail = lines;
}

/* A superuser may have changed a row so that a statement cannot be computed: the JSON is malformed, or a
 * number is too large. That is a finding, and the other checks go on. */
static enum store_result could_not_compute(const struct check_scope *scope, struct check_figures *figures)
{
    const char *error = pg_last_error(scope->pg);
    check_examined(scope, figures, true, "could not be computed: %.*s", (int)strcspn(error, "\n"), error);
    return pg_back_to_mark(scope->pg);
}

static enum store_result run_sql(const struct check_scope *scope, struct check_figures *figures)
{
    char *lines;
    enum store_result result = pg_mark(scope->pg);
    if (result != STORE_OK)
        return result;
    if (scope->period == NULL)
        result = read_check(scope->pg, scope->arena, scope->check->sql, scope->scheme->id, figures, &lines);
    else
        result = read_check_of_days(
            scope->pg, scope->arena, scope->check->sql,
            &(struct check_days){scope->scheme->id, scope->period->first, scope->period->last}, figures,
            &lines);
    if (result == STORE_REFUSED || result == STORE_OUT_OF_RANGE)
        return could_not_compute(scope, figures);
    if (result == STORE_OK)
        take_findings(scope, figures, lines);
    return result;
}

static enum store_result run(const struct check_scope *scope, struct check_result *result)
{
    struct check_figures figures = {0};
    enum store_result stored =
        scope->check->sql != NULL ? run_sql(scope, &figures) : scope->check->run(scope, &figures);
    *result = (struct check_result){
        .check = scope->check,
        .scheme = scope->scheme,
        .examined = figures.examined,
        .broken = figures.broken,
        .detail = figures.broken > 0 && figures.detail != NULL ? figures.detail : scope->check->title};
    return stored == STORE_OK && memory_has_failed() ? STORE_UNAVAILABLE : stored;
}

static enum store_result run_all(struct check_scope *scope, const char *code, struct check_results *results)
{
    const struct network *network = scope->network;
    size_t count;
    const struct check *table = checks_of(scope->period, &count);
    *results = (struct check_results){.hold = true};
    results->items = arena_array(scope->arena, network->scheme_count * count + 1, sizeof *results->items);
    if (results->items == NULL)
        return STORE_FAILED;
    for (size_t s = 0; s < network->scheme_count; s++) {
        scope->scheme = &network->schemes[s];
        if (code != NULL && strcmp(code, scope->scheme->code) != 0)
            continue;
        for (size_t i = 0; i < count; i++) {
            struct check_result *result = &results->items[results->count++];
            scope->check = &table[i];
            enum store_result stored = run(scope, result);
            if (stored != STORE_OK)
                return stored;
            results->hold = results->hold && result->broken == 0;
        }
    }
    return STORE_OK;
}

/* For the start page. A database that takes no writes keeps the verdicts of an earlier run. */
static void keep_verdicts(struct pg *pg, struct arena *arena, const struct check_results *results)
{
    struct check_verdict *verdicts = arena_array(arena, results->count, sizeof *verdicts);
    size_t count = 0;
    for (size_t i = 0; i < results->count && verdicts != NULL; i++) {
        if (count == 0 || verdicts[count - 1].scheme != results->items[i].scheme->id)
            verdicts[count++].scheme = results->items[i].scheme->id;
        verdicts[count - 1].broken += results->items[i].broken > 0;
    }
    if (count > 0 && store_check_run_put(pg, verdicts, count) != STORE_OK)
        log_write(LOG_WARNING, "the verdicts of the checks were not kept", "error", pg_last_error(pg), NULL);
}

enum store_result checks_run(struct pg *pg, struct arena *arena, const char *scheme,
                             const struct check_period *period, const struct check_listener *listener,
                             struct check_results *results)
{
    struct network *network = arena_alloc(arena, sizeof *network);
    struct keyring keys;
    if (network == NULL)
        return STORE_FAILED;
    struct check_scope scope = {
        .period = period, .pg = pg, .arena = arena, .network = network, .listener = listener};
    enum store_result result = pg_begin_read(pg);
    if (result == STORE_OK)
        result = store_network_load(pg, arena, network, &keys);
    if (result == STORE_OK)
        result = run_all(&scope, scheme, results);
    if (result == STORE_OK)
        result = pg_commit(pg);
    if (result != STORE_OK)
        pg_rollback(pg);
    else if (period == NULL)
        keep_verdicts(pg, arena, results);
    return result;
}
