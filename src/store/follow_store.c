/* SPDX-License-Identifier: ISC */
/* One function for each statement. */
#include "store/follow_store.h"

#include "sql.h"
#include "store/leg_rows.h"
#include "store/pg_ask.h"

static void take_pair(struct pg_row *row, void *into)
{
    struct pair_behind *pair = into;
    pair->home = row_int32(row);
    pair->host = row_int32(row);
}

enum store_result store_pairs_behind(struct pg *pg, struct arena *arena, struct pair_behind last,
                                     struct pair_behind **pairs, size_t *count)
{
    return pg_ask(pg, &sql_follow_behind, PG_ARGS(arg_int(last.home), arg_int(last.host)),
                  PG_LIST(arena, take_pair, NULL, pairs, count));
}

enum store_result store_following_take(struct pg *pg, struct pair_behind pair, int64_t *entry, bool *taken)
{
    return pg_ask(pg, &sql_follow_take, PG_ARGS(arg_int(pair.home), arg_int(pair.host)),
                  pg_maybe(NULL, take_int, entry, taken));
}

enum store_result store_following_move(struct pg *pg, struct pair_behind pair, int64_t entry)
{
    return pg_run(pg, &sql_follow_move, PG_ARGS(arg_int(pair.home), arg_int(pair.host), arg_int(entry)));
}

static void take_cups(struct pg_row *row, struct entry_to_follow *entry)
{
    const int64_t *types = row_ints(row, &entry->cup_count);
    const int64_t *quantities = row_ints_of(row, entry->cup_count);
    entry->cups = arena_array(row->arena, entry->cup_count + 1, sizeof *entry->cups);
    row_check_memory(row, entry->cups);
    for (size_t i = 0; !row->failed && i < entry->cup_count; i++)
        entry->cups[i] = (struct moved_cups){.cup_type = (int32_t)types[i], .quantity = quantities[i]};
}

static void take_entry(struct pg_row *row, void *into)
{
    struct entry_to_follow *entry = into;
    const struct pair_behind *pair = row->shared;
    *entry = (struct entry_to_follow){
        .followed.host = pair->host, .agreed.home = pair->home, .agreed.host = pair->host};
    entry->followed.entry = row_int(row);
    entry->followed.event_id = row_uuid(row);
    row_bytes(row, entry->followed.hash.bytes, SHA256_SIZE);
    entry->occurred_at = row_instant(row);
    entry->agreed.exact.minor = row_int(row);
    entry->agreed.in_host_currency = row_bool(row);
    entry->agreed.rate_e12 = row_int(row);
    entry->reversed = row_int_or_0(row);
    take_cups(row, entry);
}

enum store_result store_entries_to_follow(struct pg *pg, struct arena *arena,
                                          const struct follow_range *range, struct entry_to_follow **entries,
                                          size_t *count)
{
    return pg_ask(pg, &sql_follow_entries,
                  PG_ARGS(arg_int(range->pair.home), arg_int(range->pair.host), arg_int(range->after),
                          arg_int(range->limit)),
                  PG_LIST(arena, take_entry, (void *)&range->pair, entries, count));
}

static void take_follower(struct pg_row *row, void *into)
{
    struct follower_entry *follower = into;
    follower->entry = row_int(row);
    follower->business_date = row_date(row);
    struct stored_legs list = row_legs(row);
    follower->legs = list.legs;
    follower->leg_count = list.count;
}

enum store_result store_follower_of(struct pg *pg, struct arena *arena, struct pair_behind pair,
                                    int64_t host_entry, struct follower_entry *follower, bool *found)
{
    *follower = (struct follower_entry){0};
    return pg_ask(pg, &sql_follower_of, PG_ARGS(arg_int(pair.home), arg_int(pair.host), arg_int(host_entry)),
                  pg_maybe(arena, take_follower, follower, found));
}
