/* SPDX-License-Identifier: ISC */
/* Answers that are read while they are written: the ring in the file, its bound, and the rules of waking and
 * freeing. */
#include "http/server/long_answer.h"

#include "suite.h"

#include <pthread.h>
#include <semaphore.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

/* Each wait must be answered by one wake, and no wake may come without a wait. */
struct owner {
    bool can_wait, is_gone;
    atomic_int waits;
    sem_t wakes;
};

static struct owner owner;
static struct long_answer *answer;

static bool wait_owner(void *context)
{
    struct owner *waiting = context;
    waiting->waits++;
    return waiting->can_wait;
}

static void wake_owner(void *context)
{
    struct owner *waiting = context;
    sem_post(&waiting->wakes);
}

static bool is_owner_there(void *context)
{
    const struct owner *looked_for = context;
    return !looked_for->is_gone;
}

static int wakes(void)
{
    int count;
    sem_getvalue(&owner.wakes, &count);
    return count;
}

static void make(uint64_t maximum)
{
    owner = (struct owner){.can_wait = true};
    sem_init(&owner.wakes, 0, 0);
    answer = long_answer_new("/tmp", maximum,
                             (struct long_answer_reader){wait_owner, wake_owner, is_owner_there, &owner});
    ck_assert_ptr_nonnull(answer);
}

static void end(void)
{
    long_answer_free(answer);
    answer = NULL;
    sem_destroy(&owner.wakes);
}

static void add(const char *text)
{
    ck_assert(long_answer_add(answer, text, strlen(text)));
}

static void expect(const char *text)
{
    char bytes[64];
    size_t got = 0, length = strlen(text);
    while (got < length) {
        ssize_t more = long_answer_read(answer, bytes + got, length - got);
        ck_assert_int_gt(more, 0);
        got += (size_t)more;
    }
    ck_assert_mem_eq(bytes, text, length);
}

START_TEST(what_was_added_is_read_in_order)
{
    char bytes[8];
    make(100);
    add("opening, ");
    add("");
    add("each day, closing");
    ck_assert_int_eq(long_answer_read(answer, bytes, 4), 4);
    ck_assert_mem_eq(bytes, "open", 4);
    expect("ing, each day, closing");
    ck_assert_uint_eq(long_answer_length(answer), 26);
    ck_assert(long_answer_end(answer, true));
    ck_assert_int_eq(long_answer_read(answer, bytes, sizeof bytes), LONG_ANSWER_COMPLETE);
    ck_assert_int_eq(owner.waits, 0);
}
END_TEST

START_TEST(the_file_is_written_round_and_round)
{
    make(10);
    add("012345");
    expect("0123");
    add("6789abcd"); /* exactly the bytes that fit beside 45, and across the end */
    ck_assert_ptr_null(long_answer_fault(answer));
    expect("456789abc");
    add("efghijklm");
    expect("defghijkl");
    expect("m");
    add("0123456789"); /* the reader has caught up, so all of the room is free */
    expect("0123456789");
}
END_TEST

START_TEST(a_reader_too_far_behind_is_cut_off)
{
    char bytes[16];
    make(10);
    add("012345");
    expect("01");
    ck_assert(!long_answer_add(answer, "6789abc", 7));
    ck_assert_str_eq(long_answer_fault(answer), "the client is further behind than spool_megabytes");
    ck_assert(!long_answer_add(answer, "6", 1)); /* or there would be a gap */
    ck_assert(long_answer_end(answer, false));
    expect("2345"); /* the reader gets the bytes that there were */
    ck_assert_int_eq(long_answer_read(answer, bytes, sizeof bytes), LONG_ANSWER_BROKEN);
}
END_TEST

START_TEST(a_reader_waits_and_is_woken_once)
{
    char bytes[16];
    make(10);
    ck_assert_int_eq(long_answer_read(answer, bytes, sizeof bytes), 0);
    ck_assert_int_eq(owner.waits, 1);
    add("01");
    ck_assert_int_eq(wakes(), 1);
    add("23");
    ck_assert_int_eq(wakes(), 1);
    expect("0123");
    ck_assert_int_eq(long_answer_read(answer, bytes, sizeof bytes), 0);
    ck_assert(long_answer_end(answer, true));
    ck_assert_int_eq(wakes(), 2);
    ck_assert_int_eq(long_answer_read(answer, bytes, sizeof bytes), LONG_ANSWER_COMPLETE);
}
END_TEST

START_TEST(a_reader_that_can_not_wait)
{
    char bytes[16];
    make(10);
    owner.can_wait = false;
    ck_assert_int_eq(long_answer_read(answer, bytes, sizeof bytes), LONG_ANSWER_BROKEN);
    add("01");
    ck_assert_int_eq(wakes(), 0);
}
END_TEST

START_TEST(a_reader_is_looked_for_while_it_waits)
{
    char bytes[16];
    make(10);
    owner.is_gone = true;
    ck_assert(long_answer_look(answer)); /* the reader does not wait, so it says by itself when it leaves */
    ck_assert_int_eq(long_answer_read(answer, bytes, sizeof bytes), 0);
    ck_assert(!long_answer_look(answer));
    owner.is_gone = false;
    ck_assert(long_answer_look(answer));
    add("01");
    ck_assert(!long_answer_leave(answer));
    ck_assert(!long_answer_look(answer));
}
END_TEST

START_TEST(who_is_done_last_frees_it)
{
    make(10);
    add("01");
    ck_assert(long_answer_is_wanted(answer));
    ck_assert(!long_answer_leave(answer)); /* the writer has not ended */
    ck_assert(!long_answer_is_wanted(answer));
    ck_assert(!long_answer_add(answer, "2", 1));
    ck_assert_str_eq(long_answer_fault(answer), "the client has gone");
    ck_assert(!long_answer_end(answer, false)); /* the writer frees it */
    end();
    make(10);
    ck_assert(long_answer_end(answer, true));
    ck_assert(long_answer_leave(answer)); /* the reader frees it */
}
END_TEST

START_TEST(a_file_that_can_not_be_made)
{
    owner = (struct owner){.can_wait = true};
    sem_init(&owner.wakes, 0, 0);
    answer = long_answer_new("/nowhere/at/all", 10,
                             (struct long_answer_reader){wait_owner, wake_owner, is_owner_there, &owner});
    ck_assert_ptr_nonnull(answer);
    ck_assert(!long_answer_add(answer, "0", 1));
    ck_assert_str_eq(long_answer_fault(answer), "the spool's file can't be made");
}
END_TEST

/* --- two threads --------------------------------------------------------------------------------------- */

enum { RING = 1000, TOTAL = 200000 };

static char byte_at(size_t position)
{
    return (char)(position * 2654435761u >> 13);
}

/* The reader counts this up, so that the writer is never further ahead than the ring is long. */
static sem_t room;

static void *write_all(void *argument)
{
    char bytes[300];
    unsigned seed = 7;
    (void)argument;
    for (size_t at = 0; at < TOTAL;) {
        size_t length = (size_t)rand_r(&seed) % sizeof bytes + 1;
        length = length < TOTAL - at ? length : TOTAL - at;
        for (size_t i = 0; i < length; i++) {
            sem_wait(&room);
            bytes[i] = byte_at(at + i);
        }
        if (!long_answer_add(answer, bytes, length))
            return (void *)(uintptr_t)long_answer_fault(answer);
        at += length;
    }
    return long_answer_end(answer, true) ? NULL : "the reader has left";
}

START_TEST(one_writes_while_the_other_reads)
{
    char bytes[170];
    pthread_t writer;
    void *fault;
    size_t at = 0;
    ssize_t got;
    make(RING);
    sem_init(&room, 0, RING);
    ck_assert_int_eq(pthread_create(&writer, NULL, write_all, NULL), 0);
    while ((got = long_answer_read(answer, bytes, sizeof bytes)) >= 0) {
        if (got == 0)
            sem_wait(&owner.wakes);
        for (ssize_t i = 0; i < got; i++, at++) {
            ck_assert(bytes[i] == byte_at(at));
            sem_post(&room);
        }
    }
    pthread_join(writer, &fault);
    ck_assert_ptr_null(fault);
    ck_assert_int_eq(got, LONG_ANSWER_COMPLETE);
    ck_assert_uint_eq(at, TOTAL);
    ck_assert_int_eq(wakes(), 0);
    ck_assert(long_answer_leave(answer));
    sem_destroy(&room);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("long_answer");
    TCase *tests = tcase_create("long_answer");
    tcase_add_checked_fixture(tests, NULL, end);
    tcase_add_test(tests, what_was_added_is_read_in_order);
    tcase_add_test(tests, the_file_is_written_round_and_round);
    tcase_add_test(tests, a_reader_too_far_behind_is_cut_off);
    tcase_add_test(tests, a_reader_waits_and_is_woken_once);
    tcase_add_test(tests, a_reader_that_can_not_wait);
    tcase_add_test(tests, a_reader_is_looked_for_while_it_waits);
    tcase_add_test(tests, who_is_done_last_frees_it);
    tcase_add_test(tests, a_file_that_can_not_be_made);
    tcase_add_test(tests, one_writes_while_the_other_reads);
    tcase_set_timeout(tests, 60);
    suite_add_tcase(suite, tests);
    return suite;
}
