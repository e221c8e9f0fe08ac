/* SPDX-License-Identifier: ISC */
/* One function per table: runs its query and reads its rows. */
#include "store/network_store.h"

#include "base/clock.h"
#include "sql.h"
#include "store/pg_ask.h"
#include "store/reference_store.h"

#include <string.h>

enum store_result store_network_version(struct pg *pg, int64_t *version)
{
    return pg_ask(pg, &sql_network_version, PG_NO_ARGS, pg_one(NULL, take_int, version));
}

struct loader {
    struct pg *pg;
    struct arena *arena;
    struct network *network;
};

#define LOAD(loader, sql, take, shared, list, count)                                                         \
    pg_ask((loader)->pg, sql, PG_NO_ARGS, PG_LIST((loader)->arena, take, shared, list, count))

static void take_cup_type(struct pg_row *row, void *into)
{
    struct cup_type *cup_type = into;
    cup_type->id = row_int32(row);
    row_text_into(row, cup_type->code, CODE_SIZE);
    cup_type->name = row_copy(row);
}

static void take_participant(struct pg_row *row, void *into)
{
    struct participant *participant = into;
    participant->id = row_int32(row);
    row_text_into(row, participant->code, CODE_SIZE);
    participant->name = row_copy(row);
    participant->tax_registered = row_bool(row);
}

static void take_site(struct pg_row *row, void *into)
{
    struct site *site = into;
    site->id = row_int32(row);
    row_text_into(row, site->code, CODE_SIZE);
    site->name = row_copy(row);
    site->scheme = row_int32(row);
    site->participant = row_int32(row);
    site->kind = (enum site_kind)row_word(row, site_kind_words, SITE_KINDS);
    site->opened_on = row_date(row);
    site->closed_on = row_date_or(row, DATE_OPEN_ENDED);
}

static void take_scheme(struct pg_row *row, void *into)
{
    struct scheme *scheme = into;
    scheme->id = row_int32(row);
    row_text_into(row, scheme->code, CODE_SIZE);
    scheme->currency = currency_find(row_text(row));
    row_check(row, scheme->currency != NULL); /* only currencies of the table are ever stored */
    scheme->stock_terms = row_bool(row) ? ON_DEPOSIT : ON_LOAN;
    scheme->count_tolerance.count = row_int(row);
    scheme->variance_limited = !row_is_null(row);
    scheme->variance_limit.minor = row_int_or_0(row);
    scheme->carry_days = row_int32(row);
    scheme->close_after_minutes = row_int32(row);
    scheme->loss_bearer = (enum bearer)(row_word(row, loss_bearer_words, BEARER_OPERATOR) + 1);
    scheme->closed_on = row_date_or(row, DATE_OPEN_ENDED);
    scheme->group = row_int32(row);
    scheme->first_start = row_instant_or(row, clock_now());
}

/* The schemes whose values and terms are read. */
struct schemes {
    struct scheme *items;
    size_t count;
};

/* NULL: there is no scheme with this id. */
static struct scheme *scheme_with(const struct schemes *schemes, int32_t id)
{
    for (size_t i = 0; i < schemes->count; i++)
        if (schemes->items[i].id == id)
            return &schemes->items[i];
    return NULL;
}

/* Values and terms come ordered by scheme. Each scheme gets its stretch of the one array. */
static void take_value(struct pg_row *row, void *into)
{
    struct refund_value *value = into;
    struct scheme *scheme = scheme_with(row->shared, row_int32(row));
    value->cup_type = row_int32(row);
    value->from = row_date(row);
    value->amount.minor = row_int(row);
    if (scheme != NULL && scheme->value_count++ == 0)
        scheme->values = value;
}

static void take_terms(struct pg_row *row, void *into)
{
    struct terms *terms = into;
    struct scheme *scheme = scheme_with(row->shared, row_int32(row));
    terms->from = row_date(row);
    terms->netting = row_bool(row) ? NETTING_DIRECT : NETTING_CENTRAL;
    terms->minimum_payment.minor = row_int(row);
    for (int kind = 0; kind < FEE_KINDS; kind++)
        terms->fee[kind].minor = row_int(row);
    terms->tax_rate.ppm = row_int32(row);
    terms->charge_shortages = row_bool(row);
    terms->charge_variances = row_bool(row);
    terms->pay_days.weekdays = (uint32_t)row_int32(row);
    terms->pay_days.month_days = (uint32_t)row_int32(row);
    if (scheme != NULL && scheme->terms_count++ == 0)
        scheme->terms = terms;
}

/* NULL: the scheme has no terms from that date. They are the loader's own, so that they may be filled in. */
static struct terms *terms_from(const struct scheme *scheme, struct date from)
{
    for (size_t i = 0; scheme != NULL && i < scheme->terms_count; i++)
        if (scheme->terms[i].from.days == from.days)
            return (struct terms *)(uintptr_t)&scheme->terms[i];
    return NULL;
}

/* Rows come ordered by scheme and date; each document of terms gets its stretch of the one array. */
static void take_fee_row(struct pg_row *row, void *into)
{
    struct fee_row *fee_row = into;
    const struct scheme *scheme = scheme_with(row->shared, row_int32(row));
    struct terms *terms = terms_from(scheme, row_date(row));
    fee_row->participant = row_int32_or_0(row);
    fee_row->names_kind = !row_is_null(row);
    if (fee_row->names_kind)
        fee_row->site_kind = (enum site_kind)row_word(row, site_kind_words, SITE_KINDS);
    else
        row_skip(row);
    fee_row->cup_type = row_int32_or_0(row);
    for (int kind = 0; kind < FEE_KINDS; kind++) {
        fee_row->states[kind] = !row_is_null(row);
        fee_row->fee[kind].minor = row_int_or_0(row);
    }
    if (terms != NULL && terms->fee_row_count++ == 0)
        terms->fee_rows = fee_row;
}

static enum store_result load_schemes(const struct loader *loader)
{
    struct schemes schemes;
    struct refund_value *values;
    struct terms *terms;
    struct fee_row *fee_rows;
    size_t count;
    enum store_result result =
        LOAD(loader, &sql_network_schemes, take_scheme, NULL, &schemes.items, &schemes.count);
    if (result == STORE_OK)
        result = LOAD(loader, &sql_network_values, take_value, &schemes, &values, &count);
    if (result == STORE_OK)
        result = LOAD(loader, &sql_network_terms, take_terms, &schemes, &terms, &count);
    if (result == STORE_OK)
        result = LOAD(loader, &sql_network_fee_rows, take_fee_row, &schemes, &fee_rows, &count);
    if (result == STORE_OK) {
        loader->network->schemes = schemes.items;
        loader->network->scheme_count = schemes.count;
    }
    return result;
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
    for (size_t i = 0; i < network->scheme_count; i++)
        if (network->schemes[i].group > network->highest_group)
            network->highest_group = network->schemes[i].group;
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

/* Dated rows begin with the id of their owner and are in its order. Returns the owner's first row and counts
 * its rows. */
static const void *dated_of(int32_t owner, const void *rows, size_t count, size_t size, size_t *own)
{
    const char *first = rows;
    size_t low = 0, high = count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (*(const int32_t *)(const void *)(first + middle * size) < owner)
            low = middle + 1;
        else
            high = middle;
    }
    for (*own = 0; low + *own < count; ++*own)
        if (*(const int32_t *)(const void *)(first + (low + *own) * size) != owner)
            break;
    return *own > 0 ? first + low * size : NULL;
}

static void take_registration(struct pg_row *row, void *into)
{
    struct tax_registration *registration = into;
    registration->participant = row_int32(row);
    registration->from = row_date(row);
    registration->registered = row_bool(row);
}

static enum store_result load_participants(const struct loader *loader)
{
    struct participant *participants;
    struct tax_registration *dated;
    size_t dated_count, count = 0;
    enum store_result result =
        LOAD(loader, &sql_network_participants, take_participant, NULL, &participants, &count);
    if (result == STORE_OK)
        result = LOAD(loader, &sql_network_tax_registrations, take_registration, NULL, &dated, &dated_count);
    if (result != STORE_OK)
        return result;
    for (size_t i = 0; i < count; i++)
        participants[i].registrations = dated_of(participants[i].id, dated, dated_count, sizeof *dated,
                                                 &participants[i].registration_count);
    loader->network->participants = participants;
    loader->network->participant_count = count;
    return STORE_OK;
}

static void take_site_kind(struct pg_row *row, void *into)
{
    struct site_kind_change *change = into;
    change->site = row_int32(row);
    change->from = row_date(row);
    change->kind = (enum site_kind)row_word(row, site_kind_words, SITE_KINDS);
}

static enum store_result load_sites(const struct loader *loader)
{
    struct site *sites;
    struct site_kind_change *dated;
    size_t dated_count, count = 0;
    enum store_result result = LOAD(loader, &sql_network_sites, take_site, NULL, &sites, &count);
    if (result == STORE_OK)
        result = LOAD(loader, &sql_network_site_kinds, take_site_kind, NULL, &dated, &dated_count);
    if (result != STORE_OK)
        return result;
    for (size_t i = 0; i < count; i++)
        sites[i].kinds = dated_of(sites[i].id, dated, dated_count, sizeof *dated, &sites[i].kind_count);
    loader->network->sites = sites;
    loader->network->site_count = count;
    return STORE_OK;
}

static void take_agreement(struct pg_row *row, void *into)
{
    struct agreement *agreement = into;
    agreement->home = row_int32(row);
    agreement->host = row_int32(row);
    agreement->from = row_date(row);
    agreement->in_host_currency = row_bool(row);
    agreement->rate.e12 = row_int(row);
    const int64_t *cup_types = row_ints(row, &agreement->value_count);
    const int64_t *amounts = row_ints_of(row, agreement->value_count);
    struct agreement_value *values = arena_array(row->arena, agreement->value_count + 1, sizeof *values);
    row_check_memory(row, values);
    for (size_t i = 0; !row->failed && i < agreement->value_count; i++)
        values[i] = (struct agreement_value){(int32_t)cup_types[i], {amounts[i]}};
    agreement->values = values;
}

/* Sites come ordered by key; each key gets its stretch of the one array. */
static void take_key_site(struct pg_row *row, void *into)
{
    const struct keyring *keys = row->shared;
    int32_t *site = into;
    int32_t key = row_int32(row);
    struct identity *identity = key < keys->key_ids ? (struct identity *)(uintptr_t)keys->by_key[key] : NULL;
    *site = row_int32(row);
    if (identity != NULL && identity->site_count++ == 0)
        identity->sites = site;
}

struct origin_row {
    int32_t key;
    struct key_origin origin;
};

static void take_origin(struct pg_row *row, void *into)
{
    struct origin_row *item = into;
    item->key = row_int32(row);
    item->origin.holder = row_int32(row);
    item->origin.made_by = row_int32_or_0(row);
    item->origin.renewed_at = row_instant_or(row, KEY_NOT_RENEWED);
}

/* The array is indexed by key id, and ids are dense. The rows come by id. */
static enum store_result load_origins(const struct loader *loader, struct key_origins *origins)
{
    struct origin_row *rows;
    size_t count;
    enum store_result result = LOAD(loader, &sql_network_key_origins, take_origin, NULL, &rows, &count);
    if (result != STORE_OK)
        return result;
    origins->key_ids = count > 0 ? rows[count - 1].key + 1 : 1;
    struct key_origin *by_key = arena_array(loader->arena, (size_t)origins->key_ids, sizeof *by_key);
    if (by_key == NULL)
        return STORE_FAILED;
    for (size_t i = 0; i < count; i++)
        by_key[rows[i].key] = rows[i].origin;
    origins->by_key = by_key;
    return STORE_OK;
}

static void take_key(struct pg_row *row, void *into)
{
    struct identity *identity = into;
    identity->key = row_int32(row);
    row_text_into(row, identity->name, CODE_SIZE);
    row_check(row, role_parse(row_text(row), &identity->role));
    row_bytes(row, identity->secret_hash.bytes, SHA256_SIZE);
    identity->participant = row_int32_or_0(row);
    row_text_into(row, identity->language, LANGUAGE_SIZE);
}

static enum store_result load_keys(const struct loader *loader, struct keyring *keys)
{
    struct identity *items;
    int32_t *sites;
    size_t site_count;
    enum store_result result = LOAD(loader, &sql_network_keys, take_key, NULL, &items, &keys->count);
    if (result != STORE_OK)
        return result;
    keys->identities = items;
    if (!index_by_id(loader->arena, items, keys->count, sizeof *items, &keys->by_key, &keys->key_ids))
        return STORE_FAILED;
    result = load_origins(loader, &keys->origins);
    if (result != STORE_OK)
        return result;
    return LOAD(loader, &sql_network_key_sites, take_key_site, keys, &sites, &site_count);
}

enum store_result store_network_load(struct pg *pg, struct arena *arena, struct network *network,
                                     struct keyring *keys)
{
    struct loader loader = {pg, arena, network};
    enum store_result result = store_network_version(pg, &network->version);
    if (result == STORE_OK)
        result = LOAD(&loader, &sql_network_cup_types, take_cup_type, NULL, &network->cup_types,
                      &network->cup_type_count);
    if (result == STORE_OK)
        result = load_participants(&loader);
    if (result == STORE_OK)
        result = load_sites(&loader);
    if (result == STORE_OK)
        result = load_schemes(&loader);
    if (result == STORE_OK)
        result = LOAD(&loader, &sql_network_agreements, take_agreement, NULL, &network->agreements,
                      &network->agreement_count);
    if (result == STORE_OK)
        result = load_keys(&loader, keys);
    if (result == STORE_OK && !index_network(network, arena))
        result = STORE_FAILED;
    return result;
}
