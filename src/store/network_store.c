/* SPDX-License-Identifier: ISC */
/* One function per table: runs its query and reads its rows. */
#include "store/network_store.h"

#include "sql.h"

#include <stdio.h>
#include <string.h>

enum store_result store_network_version(struct pg *pg, int64_t *version)
{
    PG_ROWS rows = NULL;
    enum store_result result = pg_query(pg, &sql_network_version, NULL, &rows);
    if (result == STORE_OK)
        *version = pg_int(rows, 0, 0);
    return result;
}

struct loader {
    struct pg *pg;
    struct arena *arena;
    struct network *network;
};

/* Runs a query and makes room for its rows. */
static enum store_result read_table(const struct loader *loader, const struct sql *sql, size_t size,
                                    struct pg_rows **rows, void *items, size_t *count)
{
    enum store_result result = pg_query(loader->pg, sql, NULL, rows);
    if (result != STORE_OK)
        return result;
    *count = (size_t)pg_row_count(*rows);
    void *memory = arena_array(loader->arena, *count + 1, size);
    memcpy(items, &memory, sizeof memory);
    return memory != NULL ? STORE_OK : STORE_FAILED;
}

static void read_code(const struct pg_rows *rows, int row, int column, char code[static CODE_SIZE])
{
    snprintf(code, CODE_SIZE, "%s", pg_text(rows, row, column));
}

static struct money read_money(const struct pg_rows *rows, int row, int column)
{
    return (struct money){pg_int(rows, row, column)};
}

static enum store_result load_cup_types(const struct loader *loader)
{
    PG_ROWS rows = NULL;
    struct cup_type *items;
    struct network *network = loader->network;
    enum store_result result =
        read_table(loader, &sql_network_cup_types, sizeof *items, &rows, &items, &network->cup_type_count);
    if (result != STORE_OK)
        return result;
    for (int i = 0; i < pg_row_count(rows); i++) {
        items[i].id = (int32_t)pg_int(rows, i, 0);
        read_code(rows, i, 1, items[i].code);
    }
    network->cup_types = items;
    return STORE_OK;
}

static enum store_result load_participants(const struct loader *loader)
{
    PG_ROWS rows = NULL;
    struct participant *items;
    struct network *network = loader->network;
    enum store_result result = read_table(loader, &sql_network_participants, sizeof *items, &rows, &items,
                                          &network->participant_count);
    if (result != STORE_OK)
        return result;
    for (int i = 0; i < pg_row_count(rows); i++) {
        items[i].id = (int32_t)pg_int(rows, i, 0);
        read_code(rows, i, 1, items[i].code);
        items[i].tax_registered = pg_bool(rows, i, 2);
    }
    network->participants = items;
    return STORE_OK;
}

static enum store_result load_sites(const struct loader *loader)
{
    PG_ROWS rows = NULL;
    struct site *items;
    struct network *network = loader->network;
    enum store_result result =
        read_table(loader, &sql_network_sites, sizeof *items, &rows, &items, &network->site_count);
    if (result != STORE_OK)
        return result;
    for (int i = 0; i < pg_row_count(rows); i++) {
        struct site *site = &items[i];
        site->id = (int32_t)pg_int(rows, i, 0);
        read_code(rows, i, 1, site->code);
        site->scheme = (int32_t)pg_int(rows, i, 2);
        site->participant = (int32_t)pg_int(rows, i, 3);
        site->kind = (enum site_kind)pg_int(rows, i, 4);
        site->opened_on = pg_date(rows, i, 5);
        site->closed_on = pg_is_null(rows, i, 6) ? DATE_OPEN_ENDED : pg_date(rows, i, 6);
    }
    network->sites = items;
    return STORE_OK;
}

/* Values and terms come ordered by scheme; each scheme gets its stretch of the one array. */
static enum store_result load_values(const struct loader *loader, struct scheme *schemes)
{
    PG_ROWS rows = NULL;
    struct refund_value *items;
    size_t count;
    enum store_result result = read_table(loader, &sql_network_values, sizeof *items, &rows, &items, &count);
    if (result != STORE_OK)
        return result;
    for (size_t i = 0; i < count; i++) {
        items[i].cup_type = (int32_t)pg_int(rows, (int)i, 1);
        items[i].from = pg_date(rows, (int)i, 2);
        items[i].amount = read_money(rows, (int)i, 3);
        for (size_t s = 0; s < loader->network->scheme_count; s++)
            if (schemes[s].id == pg_int(rows, (int)i, 0) && schemes[s].value_count++ == 0)
                schemes[s].values = &items[i];
    }
    return STORE_OK;
}

static enum store_result load_terms(const struct loader *loader, struct scheme *schemes)
{
    PG_ROWS rows = NULL;
    struct terms *items;
    size_t count;
    enum store_result result = read_table(loader, &sql_network_terms, sizeof *items, &rows, &items, &count);
    if (result != STORE_OK)
        return result;
    for (size_t i = 0; i < count; i++) {
        int row = (int)i;
        items[i] = (struct terms){
            .from = pg_date(rows, row, 1),
            .netting = pg_bool(rows, row, 2) ? NETTING_DIRECT : NETTING_CENTRAL,
            .minimum_payment = read_money(rows, row, 3),
            .service_fee = read_money(rows, row, 4),
            .handling_fee = read_money(rows, row, 5),
            .tax_rate = {(int32_t)pg_int(rows, row, 6)},
            .charge_shortages = pg_bool(rows, row, 7),
            .charge_variances = pg_bool(rows, row, 8),
        };
        for (size_t s = 0; s < loader->network->scheme_count; s++)
            if (schemes[s].id == pg_int(rows, row, 0) && schemes[s].terms_count++ == 0)
                schemes[s].terms = &items[i];
    }
    return STORE_OK;
}

static enum store_result load_schemes(const struct loader *loader)
{
    PG_ROWS rows = NULL;
    struct scheme *items;
    struct network *network = loader->network;
    enum store_result result =
        read_table(loader, &sql_network_schemes, sizeof *items, &rows, &items, &network->scheme_count);
    if (result != STORE_OK)
        return result;
    for (int i = 0; i < pg_row_count(rows); i++) {
        struct scheme *scheme = &items[i];
        scheme->id = (int32_t)pg_int(rows, i, 0);
        read_code(rows, i, 1, scheme->code);
        scheme->currency = currency_find(pg_text(rows, i, 2));
        if (scheme->currency == NULL)
            return STORE_FAILED; /* no scheme was ever stored with a currency that is not in the table */
        scheme->stock_terms = pg_bool(rows, i, 3) ? ON_DEPOSIT : ON_LOAN;
        scheme->count_tolerance = (struct cups){pg_int(rows, i, 4)};
        scheme->variance_limited = !pg_is_null(rows, i, 5);
        scheme->variance_limit = read_money(rows, i, 5);
        scheme->carry_days = (int32_t)pg_int(rows, i, 6);
        scheme->close_after_minutes = (int32_t)pg_int(rows, i, 7);
    }
    network->schemes = items;
    result = load_values(loader, items);
    return result == STORE_OK ? load_terms(loader, items) : result;
}

/* An array indexed by id over items that begin with their id. */
static bool index_by_id(struct arena *arena, const void *items, size_t count, size_t size, void *index,
                        int32_t *ids)
{
    *ids = 1;
    for (size_t i = 0; i < count; i++) {
        int32_t id = *(const int32_t *)((const char *)items + i * size);
        if (id >= *ids)
            *ids = id + 1;
    }
    const void **memory = arena_array(arena, (size_t)*ids, sizeof *memory);
    memcpy(index, &memory, sizeof memory);
    for (size_t i = 0; memory != NULL && i < count; i++) {
        const void *item = (const char *)items + i * size;
        memory[*(const int32_t *)item] = item;
    }
    return memory != NULL;
}

static bool index_network(struct network *network, struct arena *arena)
{
    return index_by_id(arena, network->schemes, network->scheme_count, sizeof *network->schemes,
                       &network->scheme_by_id, &network->scheme_ids) &&
           index_by_id(arena, network->participants, network->participant_count,
                       sizeof *network->participants, &network->participant_by_id,
                       &network->participant_ids) &&
           index_by_id(arena, network->sites, network->site_count, sizeof *network->sites,
                       &network->site_by_id, &network->site_ids) &&
           index_by_id(arena, network->cup_types, network->cup_type_count, sizeof *network->cup_types,
                       &network->cup_type_by_id, &network->cup_type_ids);
}

static enum store_result load_key_sites(const struct loader *loader, const struct keyring *keys)
{
    PG_ROWS rows = NULL;
    int32_t *sites;
    size_t count;
    enum store_result result =
        read_table(loader, &sql_network_key_sites, sizeof *sites, &rows, &sites, &count);
    if (result != STORE_OK)
        return result;
    for (size_t i = 0; i < count; i++) {
        int64_t key = pg_int(rows, (int)i, 0);
        struct identity *identity =
            key < keys->key_ids ? (struct identity *)(uintptr_t)keys->by_key[key] : NULL;
        sites[i] = (int32_t)pg_int(rows, (int)i, 1);
        if (identity != NULL && identity->site_count++ == 0)
            identity->sites = &sites[i];
    }
    return STORE_OK;
}

/* The array is indexed by key id, and ids are dense. */
static enum store_result load_origins(const struct loader *loader, struct key_origins *origins)
{
    PG_ROWS rows = NULL;
    enum store_result result = pg_query(loader->pg, &sql_network_key_origins, NULL, &rows);
    if (result != STORE_OK)
        return result;
    int count = pg_row_count(rows);
    origins->key_ids = count > 0 ? (int32_t)pg_int(rows, count - 1, 0) + 1 : 1;
    struct key_origin *items = arena_array(loader->arena, (size_t)origins->key_ids, sizeof *items);
    if (items == NULL)
        return STORE_FAILED;
    memset(items, 0, (size_t)origins->key_ids * sizeof *items);
    for (int i = 0; i < count; i++)
        items[pg_int(rows, i, 0)] = (struct key_origin){
            .holder = (int32_t)pg_int(rows, i, 1),
            .made_by = (int32_t)pg_int(rows, i, 2),
            .renewed_at = pg_is_null(rows, i, 3) ? KEY_NOT_RENEWED : pg_instant(rows, i, 3),
        };
    origins->by_key = items;
    return STORE_OK;
}

static enum store_result load_keys(const struct loader *loader, struct keyring *keys)
{
    PG_ROWS rows = NULL;
    struct identity *items;
    enum store_result result =
        read_table(loader, &sql_network_keys, sizeof *items, &rows, &items, &keys->count);
    if (result != STORE_OK)
        return result;
    for (int i = 0; i < pg_row_count(rows); i++) {
        items[i].key = (int32_t)pg_int(rows, i, 0);
        read_code(rows, i, 1, items[i].name);
        if (!role_parse(pg_text(rows, i, 2), &items[i].role))
            return STORE_FAILED;
        pg_bytes(rows, i, 3, items[i].secret_hash.bytes, SHA256_SIZE);
        items[i].participant = (int32_t)pg_int(rows, i, 4);
    }
    keys->identities = items;
    if (!index_by_id(loader->arena, items, keys->count, sizeof *items, &keys->by_key, &keys->key_ids))
        return STORE_FAILED;
    result = load_origins(loader, &keys->origins);
    return result == STORE_OK ? load_key_sites(loader, keys) : result;
}

enum store_result store_network_load(struct pg *pg, struct arena *arena, struct network *network,
                                     struct keyring *keys)
{
    struct loader loader = {pg, arena, network};
    enum store_result result = store_network_version(pg, &network->version);
    if (result == STORE_OK)
        result = load_cup_types(&loader);
    if (result == STORE_OK)
        result = load_participants(&loader);
    if (result == STORE_OK)
        result = load_sites(&loader);
    if (result == STORE_OK)
        result = load_schemes(&loader);
    if (result == STORE_OK)
        result = load_keys(&loader, keys);
    if (result == STORE_OK && !index_network(network, arena))
        result = STORE_FAILED;
    return result;
}
