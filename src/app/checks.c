/* SPDX-License-Identifier: ISC */
/* The table of checks, and running them. */
#include "app/checks.h"

#include "sql.h"
#include "store/network_store.h"

#include <string.h>

static const struct check checks[] = {
    {"legs_balance", "The legs of each entry, and all balances, sum to zero in each unit",
     &sql_check_legs_balance, NULL},
    {"balances_match_legs", "Balances are the sums of their legs", &sql_check_balances_match_legs, NULL},
    {"deposit_cover", "Deposits held are the refund value of the cups they are for", &sql_check_deposit_cover,
     NULL},
    {"cups_conserved", "What was supplied is somewhere", &sql_check_cups_conserved, NULL},
    {"positions_cleared", "Closes cleared what they settled, and payments reproduce the positions",
     &sql_check_positions_cleared, NULL},
    {"payments_match", "What is settled and not paid is the sum of the payments that are under way",
     &sql_check_payments_match, NULL},
    {"journals_by_two", "Each journal is what one key proposed and another approved",
     &sql_check_journals_by_two, NULL},
    {"entries_gapless", "Entries are numbered without gaps, and days count theirs",
     &sql_check_entries_gapless, NULL},
    {"events_once", "Every event is one entry", &sql_check_events_once, NULL},
    {"site_days_match", "What sites did in a day is what events and legs say", &sql_check_site_days_match,
     NULL},
    {"cup_days_match", "What closes kept of cups and their deposits is what sites did and balances moved",
     &sql_check_cup_days_match, NULL},
    {"transfers_match", "Transfers are what dispatches, receipts and losses say", &sql_check_transfers_match,
     NULL},
    {"funding", "What stands against the deposits is explained by its causes", &sql_check_funding, NULL},
    {"seals_verify", "Sealed days verify from the raw entries", NULL, check_seals},
};

enum { CHECK_COUNT = sizeof checks / sizeof checks[0] };

const struct check *checks_all(size_t *count)
{
    *count = CHECK_COUNT;
    return checks;
}

static enum store_result run(const struct check_scope *scope, const struct check *check,
                             struct check_result *result)
{
    struct check_figures figures = {0};
    enum store_result stored =
        check->sql != NULL ? read_check(scope->pg, scope->arena, check->sql, scope->scheme->id, &figures)
                           : check->run(scope, &figures);
    *result = (struct check_result){.check = check,
                                    .scheme = scope->scheme,
                                    .examined = figures.examined,
                                    .broken = figures.broken,
                                    .detail = figures.broken > 0 && figures.detail != NULL ? figures.detail
                                                                                           : check->title};
    return stored;
}

static enum store_result run_all(struct check_scope *scope, const char *code, struct check_results *results)
{
    const struct network *network = scope->network;
    *results = (struct check_results){.hold = true};
    results->items =
        arena_array(scope->arena, network->scheme_count * CHECK_COUNT + 1, sizeof *results->items);
    if (results->items == NULL)
        return STORE_FAILED;
    for (size_t s = 0; s < network->scheme_count; s++) {
        scope->scheme = &network->schemes[s];
        if (code != NULL && strcmp(code, scope->scheme->code) != 0)
            continue;
        for (size_t i = 0; i < CHECK_COUNT; i++) {
            struct check_result *result = &results->items[results->count++];
            enum store_result stored = run(scope, &checks[i], result);
            if (stored != STORE_OK)
                return stored;
            results->hold = results->hold && result->broken == 0;
        }
    }
    return STORE_OK;
}

enum store_result checks_run(struct pg *pg, struct arena *arena, const char *scheme,
                             struct check_results *results)
{
    struct network *network = arena_alloc(arena, sizeof *network);
    struct keyring keys;
    if (network == NULL)
        return STORE_FAILED;
    struct check_scope scope = {.pg = pg, .arena = arena, .network = network};
    enum store_result result = pg_begin_read(pg);
    if (result == STORE_OK)
        result = store_network_load(pg, arena, network, &keys);
    if (result == STORE_OK)
        result = run_all(&scope, scheme, results);
    if (result == STORE_OK)
        result = pg_commit(pg);
    if (result != STORE_OK)
        pg_rollback(pg);
    return result;
}
