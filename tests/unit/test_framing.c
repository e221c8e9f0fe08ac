/* SPDX-License-Identifier: ISC */
/* The reader of framing against framing_cases.txt. Each case is read whole, byte by byte and in pieces cut by
 * chance, with the same result. A second reader must find the bytes that are passed on well-formed, with the
 * stand-in of a refusal at their end. */
#include "http/server/framing.h"

#include "suite.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { TEXT_MAX = 40000, ROUNDS = 60, MUTATIONS = 60 };

struct text {
    char bytes[TEXT_MAX];
    size_t length;
};

struct outcome {
    struct text passed;
    enum reason reason;
    uint64_t requests;
    bool within;
};

static void add(struct text *text, const char *bytes, size_t length)
{
    ck_assert_uint_le(text->length + length, TEXT_MAX);
    memcpy(text->bytes + text->length, bytes, length);
    text->length += length;
}

/* \r \n \t \0 \\ \xNN, and \RN(text) for N times the text. */
static const char *add_escape(struct text *text, const char *escape)
{
    static const char letters[] = "rnt0\\", bytes[] = "\r\n\t\0\\";
    char *end;
    if (escape[1] == 'x') {
        const char digits[3] = {escape[2], escape[3], '\0'};
        char byte = (char)strtoul(digits, NULL, 16);
        add(text, &byte, 1);
        return escape + 4;
    }
    if (escape[1] == 'R') {
        unsigned long times = strtoul(escape + 2, &end, 10);
        const char *close = strchr(end, ')');
        struct text *once = calloc(1, sizeof *once);
        for (const char *c = end + 1; c < close;)
            if (*c == '\\')
                c = add_escape(once, c);
            else
                add(once, c++, 1);
        for (unsigned long i = 0; i < times; i++)
            add(text, once->bytes, once->length);
        free(once);
        return close + 1;
    }
    const char *letter = strchr(letters, escape[1]);
    ck_assert_ptr_nonnull(letter);
    add(text, &bytes[letter - letters], 1);
    return escape + 2;
}

static void unescape(const char *escaped, struct text *text)
{
    text->length = 0;
    while (*escaped != '\0')
        if (*escaped == '\\')
            escaped = add_escape(text, escaped);
        else
            add(text, escaped++, 1);
}

static size_t whole(size_t left)
{
    return left;
}

static size_t one(size_t left)
{
    (void)left;
    return 1;
}

static size_t some(size_t left)
{
    size_t most = rand() % 3 == 0 ? 1 + (size_t)rand() % left : 1 + (size_t)rand() % 7;
    return most < left ? most : left;
}

/* Gives the reader the input in pieces, as the socket does. Each piece is on the heap, so that reads beyond
 * it are found. */
static void read_in_pieces(struct framing *framing, const struct text *input, size_t (*piece)(size_t),
                           struct outcome *outcome)
{
    struct text *held = calloc(1, sizeof *held);
    outcome->passed.length = 0;
    for (size_t at = 0; at < input->length;) {
        size_t length = piece(input->length - at), all = held->length + length;
        char *bytes = malloc(all + FRAMING_SLACK);
        memcpy(bytes, held->bytes, held->length);
        memcpy(bytes + held->length, input->bytes + at, length);
        at += length;
        struct framing_split split = framing_read(framing, bytes, all);
        ck_assert_uint_le(split.pass + split.hold, all + 1);
        ck_assert_uint_lt(split.hold, FRAMING_HEAD_MAX);
        add(&outcome->passed, bytes, split.pass);
        held->length = 0;
        add(held, bytes + split.pass, split.hold);
        free(bytes);
    }
    outcome->reason = framing->reason;
    outcome->requests = framing->requests;
    outcome->within = framing->reason == REASON_NONE && framing_is_within(framing, held->length);
    free(held);
}

static void read_new(const struct text *input, size_t (*piece)(size_t), struct outcome *outcome)
{
    struct framing framing;
    framing_init(&framing);
    read_in_pieces(&framing, input, piece, outcome);
    ck_assert((framing.reason == REASON_NONE) == (framing.detail == NULL));
}

static bool same(const struct outcome *a, const struct outcome *b)
{
    return a->passed.length == b->passed.length && a->reason == b->reason && a->requests == b->requests &&
           a->within == b->within && memcmp(a->passed.bytes, b->passed.bytes, a->passed.length) == 0;
}

/* Lets the reader refuse the request after the input, if it has not done so before. Then all the bytes that
 * libmicrohttpd gets are well-formed and end with a request, and a second reader changes nothing in them. */
static void check_stand_in(const struct text *input, struct outcome *first, struct outcome *second)
{
    struct framing framing;
    char piece[FRAMING_SLACK];
    size_t length;
    bool can;
    framing_init(&framing);
    read_in_pieces(&framing, input, whole, first);
    framing_refuse(&framing, REASON_REQUEST_TIMEOUT, "late");
    while ((length = framing_stand_in(&framing, piece, sizeof piece, &can)) > 0)
        add(&first->passed, piece, length);
    if (!can)
        return;
    read_new(&first->passed, whole, second);
    ck_assert_msg(second->reason == REASON_NONE && !second->within, "%s: %.*s",
                  second->reason == REASON_NONE ? "not complete" : reason_info(second->reason)->code,
                  (int)first->passed.length, first->passed.bytes);
    ck_assert_uint_eq(second->requests, framing.requests);
    ck_assert_uint_eq(second->passed.length, first->passed.length);
    ck_assert_mem_eq(second->passed.bytes, first->passed.bytes, first->passed.length);
}

/* The words of a row: the verdict on the input, the number of its requests, the input, and the bytes that are
 * passed on ("=": all of it). The verdict "more" says that the end is still to come. */
struct row {
    char *word, *requests, *input, *passed;
};

static bool split_row(char *line, struct row *row)
{
    line[strcspn(line, "\n")] = '\0';
    if (*line == '#' || *line == '\0')
        return false;
    row->word = strsep(&line, "|");
    row->requests = strsep(&line, "|");
    row->input = strsep(&line, "|");
    row->passed = strsep(&line, "|");
    ck_assert_msg(row->passed != NULL, "%s: a row has four columns", row->word);
    return true;
}

static const char *word_of(const struct outcome *outcome)
{
    return outcome->reason != REASON_NONE ? reason_info(outcome->reason)->code
           : outcome->within              ? "more"
                                          : "ok";
}

static void check_row(const struct row *row)
{
    static struct text input, passed;
    static struct outcome outcome, other, another;
    unescape(row->input, &input);
    unescape(strcmp(row->passed, "=") == 0 ? row->input : row->passed, &passed);
    read_new(&input, whole, &outcome);
    ck_assert_msg(strcmp(word_of(&outcome), row->word) == 0, "%s: %s", row->input, word_of(&outcome));
    ck_assert_msg(outcome.requests == strtoul(row->requests, NULL, 10), "%s: %ju requests", row->input,
                  (uintmax_t)outcome.requests);
    ck_assert_msg(outcome.passed.length == passed.length &&
                      memcmp(outcome.passed.bytes, passed.bytes, passed.length) == 0,
                  "%s passes on %.*s", row->input, (int)outcome.passed.length, outcome.passed.bytes);
    read_new(&input, one, &other);
    ck_assert_msg(same(&outcome, &other), "%s byte by byte: %s", row->input, word_of(&other));
    for (int round = 0; round < ROUNDS; round++) {
        read_new(&input, some, &other);
        ck_assert_msg(same(&outcome, &other), "%s in pieces: %s", row->input, word_of(&other));
    }
    size_t length = input.length;
    for (size_t step = length / 500 + 1; input.length > 0;
         input.length -= step < input.length ? step : input.length)
        check_stand_in(&input, &other, &another);
}

static void for_each_row(void (*check)(const struct row *))
{
    static char line[TEXT_MAX];
    struct row row;
    FILE *file = fopen(FRAMING_CASES, "r");
    ck_assert_ptr_nonnull(file);
    size_t rows = 0;
    while (fgets(line, sizeof line, file) != NULL)
        if (split_row(line, &row)) {
            check(&row);
            rows++;
        }
    fclose(file);
    ck_assert_uint_gt(rows, 0);
}

START_TEST(cases)
{
    srand(1);
    for_each_row(check_row);
}
END_TEST

/* Changes, drops or doubles a byte somewhere. The input must still give the same whole and in pieces, and the
 * bytes that are passed on must be well-formed. */
static void mutate(struct text *text)
{
    static const char bytes[] = "\r\n\t \0:;,/0aZ\x7f\xff";
    size_t at = (size_t)rand() % text->length;
    switch (rand() % 3) {
    case 0:
        text->bytes[at] = bytes[(size_t)rand() % sizeof bytes];
        return;
    case 1:
        memmove(text->bytes + at, text->bytes + at + 1, text->length - at - 1);
        text->length--;
        return;
    default:
        memmove(text->bytes + at + 1, text->bytes + at, text->length - at);
        text->length++;
    }
}

static void check_mutated(const struct row *row)
{
    static struct text input;
    static struct outcome outcome, other, another;
    for (int round = 0; round < MUTATIONS; round++) {
        unescape(row->input, &input);
        if (input.length > 2000)
            return;
        for (int changes = 1 + rand() % 3; changes > 0 && input.length > 1; changes--)
            mutate(&input);
        read_new(&input, whole, &outcome);
        read_new(&input, some, &other);
        ck_assert_msg(same(&outcome, &other), "%.*s", (int)input.length, input.bytes);
        check_stand_in(&input, &other, &another);
    }
}

START_TEST(changed_by_chance)
{
    srand(2);
    for_each_row(check_mutated);
}
END_TEST

/* The reader can't make up a large body, so it gives up the connection. */
START_TEST(a_body_too_large_to_be_made_up)
{
    struct framing framing;
    char bytes[200 + FRAMING_SLACK];
    bool can = true;
    framing_init(&framing);
    snprintf(bytes, sizeof bytes, "POST / HTTP/1.1\r\nHost:a\r\nContent-Length: %d\r\n\r\n",
             FRAMING_FILL_MAX + 1);
    ck_assert_uint_eq(framing_read(&framing, bytes, strlen(bytes)).hold, 0);
    framing_refuse(&framing, REASON_REQUEST_TIMEOUT, "late");
    ck_assert_uint_eq(framing_stand_in(&framing, bytes, FRAMING_SLACK, &can), 0);
    ck_assert(!can);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("framing");
    TCase *tcase = tcase_create("framing");
    tcase_set_timeout(tcase, 300);
    tcase_add_test(tcase, cases);
    tcase_add_test(tcase, changed_by_chance);
    tcase_add_test(tcase, a_body_too_large_to_be_made_up);
    suite_add_tcase(suite, tcase);
    return suite;
}
