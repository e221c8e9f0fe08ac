/* SPDX-License-Identifier: ISC */
/* The ledger's tables: the statements with which posting reads and writes them.
 *
 * All of it runs within a transaction that holds the head row of each scheme concerned. Most statements are
 * for any number of schemes at once; each row says whose it is. Results are put into the given arena. */
#ifndef DEPOSITD_STORE_LEDGER_STORE_H
#define DEPOSITD_STORE_LEDGER_STORE_H

#include "depositd/exceptions.h"
#include "depositd/fees.h"
#include "depositd/seal.h"
#include "store/pg.h"

struct head {
    int32_t scheme;
    int64_t last_entry;
    int64_t reference_version;
    int64_t calendar_version;
    int64_t gross;          /* the sum of the absolute amounts of all legs, which bounds every balance */
    int32_t unfolded;       /* how many movements are kept beside the balances … */
    int64_t folded_through; /* … of the batches after this entry */
};

/* Takes the scheme's head and holds it until the commit. Nobody else appends meanwhile. */
MUST_CHECK enum store_result store_head_lock(struct pg *pg, int32_t scheme, struct head *head);

/* The calendar of a scheme, to be put into this memory. */
struct calendar_request {
    int32_t scheme;
    struct arena *arena;
    struct calendar *calendar;
};
enum { ALL_CLOSED_DAYS = -1 };
/* Each calendar has the days that are not closed, and as many as `closed_days` before them. The rows are read
 * into memory of `arena` first. */
MUST_CHECK enum store_result store_calendars(struct pg *pg, struct arena *arena,
                                             const struct calendar_request *requests, size_t count,
                                             int closed_days);
/* Creates the missing days up to the day that contains `until`. `schemes` is NULL: for all. *extended: days
 * were missing. */
MUST_CHECK enum store_result store_calendars_extend(struct pg *pg, const int32_t *schemes, size_t count,
                                                    struct instant until, bool *extended);
/* Makes every copy of the scheme's calendar stale. */
MUST_CHECK enum store_result store_calendar_changed(struct pg *pg, int32_t scheme);

/* A proposed event has its id but no entry yet. A withdrawn one never gets one. */
enum event_standing { STANDING_RECORDED, STANDING_PROPOSED, STANDING_WITHDRAWN };

/* An event that the scheme has already, and its answer. */
struct known_event {
    int32_t scheme;
    struct uuid id;
    uint8_t digest[SHA256_SIZE / 2];
    int64_t entry;
    struct date business_date;
    bool late;
    bool has_exceptions;
    enum event_standing standing;
    bool is_opening; /* of a proposed event */
};

struct movement_row {
    struct account account;
    struct date business_date;
    int32_t scheme;
    int64_t amount;
};

struct site_day_row {
    int32_t scheme, site;
    struct date business_date;
    struct activity activity;
    int64_t fees, tax;
};

struct day_counters {
    int32_t scheme;
    struct date date;
    int64_t entries, events, late_events;
    int64_t first_entry, last_entry; /* 0: none yet */
    struct frontier frontier;
};

/* The movements of a batch, which another instance may have posted. */
struct recent_batch {
    int32_t scheme;
    int64_t after_entry, last_entry; /* the last entry before it; its last entry */
    struct movement_row *movements;
    size_t movement_count;
    struct site_day_row *site_days;
    size_t site_day_count;
};

/* A batch's request for one scheme's head, and its findings there. */
struct head_request {
    int32_t scheme;
    bool taken; /* whether store_batch_begin took the head */
    bool has_since;
    int64_t since;               /* the entry up to which the writer knows the ledger, if has_since */
    struct head head;            /* found, as all members below */
    struct recent_batch *recent; /* the batches after `since`, as far as they are kept … */
    size_t recent_count;
    struct day_counters *days; /* … and the days that they are in */
    size_t day_count;
};

/* An event that a scheme may have already. */
struct event_name {
    int32_t scheme;
    struct uuid id;
};

struct batch_begin {
    struct head_request *requests; /* ascending by scheme */
    size_t count;
    const struct event_name *wanted; /* the events to be posted, for look-up; NULL: do not look them up */
    size_t wanted_count;
    int wait_ms;               /* how long to wait for each head; 0: skip heads that somebody holds */
    int64_t version;           /* found: the version of reference data and keys, under these heads … */
    struct known_event *known; /* … and those of the wanted events that their schemes have already */
    size_t known_count;
};
/* Begins the transaction of a batch, in one round trip: takes the heads that are asked for and fills in what
 * was found. STORE_LOCKED: a head was still held after wait_ms. */
MUST_CHECK enum store_result store_batch_begin(struct pg *pg, struct arena *arena, struct batch_begin *begin);
/* Takes the heads if they are as the requests state them, and reference data and keys have that version.
 * STORE_CONFLICT: something differs. STORE_LOCKED: somebody holds a head. */
MUST_CHECK enum store_result store_heads_expect(struct pg *pg, const struct head_request *requests,
                                                size_t count, int64_t version);

MUST_CHECK enum store_result store_exceptions_of(struct pg *pg, struct arena *arena, int32_t scheme,
                                                 int64_t entry, struct exception **exceptions, size_t *count);

struct account_balance {
    int32_t scheme;
    int64_t account;
    int64_t balance; /* found */
};
/* Fills in the present balances. */
MUST_CHECK enum store_result store_balances(struct pg *pg, struct account_balance *accounts, size_t count);

/* Fills in all but scheme and date of these days, which exist. */
MUST_CHECK enum store_result store_day_counters(struct pg *pg, struct day_counters *days, size_t count);

/* A line of cups of an event. */
struct moved_cups {
    int32_t cup_type;
    bool damaged;
    int64_t quantity;
};

struct referred {
    bool found;
    int64_t entry;
    struct date business_date;
    enum entry_kind kind;
    int32_t site; /* 0: none */
    struct leg *legs;
    size_t leg_count;
    bool reversed;
    bool arrived;     /* has receipts or losses that are not reversed */
    int64_t refers;   /* the entry, or the shipment, that this one refers to; 0: none */
    int32_t host;     /* the scheme of that entry, if it is another one's dispatch; else 0 */
    int64_t dispatch; /* the number of the dispatch: its entry, or below 0 that of an opening's shipment; 0:
                         it is no dispatch */
    struct moved_cups *cups;
    size_t cup_count;
};

MUST_CHECK enum store_result store_referred(struct pg *pg, struct arena *arena, int32_t scheme,
                                            const struct uuid *id, struct referred *referred);

struct transfer {
    int32_t sender, receiver;
    int32_t home; /* the scheme of the receiver, if it is another one; else 0 */
    struct date business_date;
    struct transfer_open *lines;
    size_t line_count;
};

/* `dispatch` as in struct referred. */
MUST_CHECK enum store_result store_transfer(struct pg *pg, struct arena *arena, int32_t scheme,
                                            int64_t dispatch, struct transfer *transfer);
/* Until the commit nobody else sends cups from the host home, receives such cups, or takes that back. *held is
 * false if somebody else has it: nobody waits for it here. */
MUST_CHECK enum store_result store_pair_hold(struct pg *pg, int32_t host, int32_t home, bool *held);

struct book_moment {
    int32_t scheme, site;
    struct instant instant;
    struct date day; /* the day of the instant */
};
/* Legs of a site's stock that are posted already but occurred after the moment, as a sum for each account. */
MUST_CHECK enum store_result store_book_after(struct pg *pg, struct arena *arena,
                                              const struct book_moment *moment, struct leg **legs,
                                              size_t *count);

MUST_CHECK enum store_result store_forfeited(struct pg *pg, int32_t scheme, int32_t cup_type, int64_t *cups);

struct entry_row {
    int32_t scheme;
    int64_t entry;
    struct date business_date;
    enum entry_kind kind;
    bool late;
    int32_t site; /* 0: none */
    int32_t key;  /* 0: the service */
    struct instant occurred_at;
    size_t first_leg, leg_count;
    struct sha256 hash;
    const struct event *event; /* NULL: an entry of the close */
};

struct exception_row {
    int32_t scheme;
    int64_t entry;
    int32_t position;
    struct date business_date;
    int32_t site;
    struct exception exception;
};

struct reference_row {
    int32_t scheme;
    int32_t host; /* the scheme of the referred entry, if it is another one; else 0 */
    int64_t referred, entry;
    enum entry_kind kind;
};

/* A dispatch that fulfils a requested shipment. */
struct fulfilment_row {
    int32_t scheme;
    int64_t dispatch;
    struct uuid shipment;
};

struct transfer_row {
    int32_t scheme;
    int64_t dispatch;
    int32_t cup_type;
    bool damaged;
    struct date business_date;
    int32_t sender, receiver;
    int32_t home;                 /* the scheme of the receiver, if it is another one; else 0 */
    int64_t sent, received, lost; /* the numbers to add */
};

struct forfeited_row {
    int32_t scheme;
    int32_t cup_type;
    int64_t cups;
};

/* Cups of an earlier day that a reversal takes back from a site's counts at the counter, issued and taken
 * back: positive numbers. */
struct reversed_row {
    int32_t scheme;
    int32_t site;
    struct date business_date, original_date;
    int64_t issued, returned;
};

/* The agreed amount of an entry for one home; and the host's entry that an entry follows. */
struct agreed_row {
    int32_t scheme;
    int64_t entry;
    struct agreed agreed;
};

struct followed_row {
    int32_t scheme;
    int64_t entry;
    struct followed followed;
};

/* The agreed amounts of an entry, by home. `booked` is zero, because the legs have it. */
MUST_CHECK enum store_result store_agreed_of(struct pg *pg, struct arena *arena, int32_t scheme,
                                             int64_t entry, struct agreed **agreed, size_t *count);
/* The business day of a scheme to which a return at that instant would post by now. *begun: the scheme had
 * business days by then; without any, *date is not set. */
MUST_CHECK enum store_result store_posting_day(struct pg *pg, int32_t scheme, struct instant instant,
                                               struct date *date, bool *begun);

/* A scheme in which entries are posted: its head after them, and which of the movements and site days below
 * are its own. */
struct posted_scheme {
    int32_t scheme;
    int64_t after_entry, last_entry; /* the last entry before them; the last one of them */
    int64_t gross;
    int32_t unfolded;
    size_t first_movement, movement_count;
    size_t first_site_day, site_day_count;
};

/* All changes that a run of entries makes in any number of schemes. */
struct posting_rows {
    struct instant recorded_at;
    bool at_once; /* movements go into the balances, not beside them */
    const struct posted_scheme *schemes;
    size_t scheme_count;
    const struct entry_row *entries; /* of each scheme in their order */
    size_t entry_count;
    const struct leg *legs;
    size_t leg_count;
    const struct movement_row *movements; /* one scheme after the other */
    size_t movement_count;
    const struct site_day_row *site_days; /* likewise */
    size_t site_day_count;
    const struct exception_row *exceptions;
    size_t exception_count;
    const struct reference_row *references;
    size_t reference_count;
    const struct fulfilment_row *fulfilments;
    size_t fulfilment_count;
    const struct transfer_row *transfers;
    size_t transfer_count;
    const struct forfeited_row *forfeited;
    size_t forfeited_count;
    const struct reversed_row *reversed;
    size_t reversed_count;
    const struct agreed_row *agreed;
    size_t agreed_count;
    const struct followed_row *followed;
    size_t followed_count;
    const struct day_counters *const *days; /* that the entries are in */
    size_t day_count;
};

/* Writes all of it, with one statement for each table. */
MUST_CHECK enum store_result store_post(struct pg *pg, struct arena *arena, const struct posting_rows *rows);

/* Adds the movements that are kept beside the balances of these schemes to the balances. store_fold_sums is
 * given their sums; it uses only schemes, movements and site days of its rows. */
MUST_CHECK enum store_result store_fold(struct pg *pg, const int32_t *schemes, size_t count);
MUST_CHECK enum store_result store_fold_sums(struct pg *pg, const struct posting_rows *sums);

#endif
