/* SPDX-License-Identifier: ISC */
/* Events as clients post them: the interface's table of kinds and members, restated here and compared with
 * the shapes; each fault with its place; and the rule by which two bodies are the same event. */
#include "http/events/event_body.h"

#include "suite.h"

#include <stdlib.h>
#include <string.h>

#define ID      "6f1c0000-0000-4000-8000-00000000000a"
#define OTHER   "6f1c0000-0000-4000-8000-00000000000b"
#define INSTANT "2026-05-12T07:30:00-02:30"

/* Reads a body, and gives the faults as "reason pointer" lines. */
struct reading {
    struct arena arena;
    struct buffer scratch;
    struct faults faults;
    struct event event;
    char found[4096];
};

static void reading_init(struct reading *reading)
{
    arena_init(&reading->arena, 0);
    buffer_init(&reading->scratch, EVENT_TEXT_MAX);
}

static void reading_dispose(struct reading *reading)
{
    arena_dispose(&reading->arena);
    buffer_dispose(&reading->scratch);
}

static bool read_json(struct reading *reading, const json_t *json)
{
    faults_init(&reading->faults, &reading->arena);
    bool good = event_body_read(json, &reading->event, &reading->scratch, &reading->faults);
    reading->found[0] = '\0';
    for (size_t i = 0; i < reading->faults.count; i++) {
        const struct fault *fault = &reading->faults.items[i];
        size_t length = strlen(reading->found);
        snprintf(reading->found + length, sizeof reading->found - length, "%s%s %s", i > 0 ? ", " : "",
                 reason_info(fault->reason)->code, fault->pointer);
    }
    ck_assert_int_eq(good, reading->faults.count == 0);
    return good;
}

static bool read_text(struct reading *reading, const char *text)
{
    json_t *json = json_loads(text, JSON_DECODE_ANY, NULL);
    ck_assert_msg(json != NULL, "not JSON: %s", text);
    bool good = read_json(reading, json);
    json_decref(json);
    return good;
}

/* The interface's table. Besides these each kind has event_id, kind, occurred_at and, optional, reference. */
static const struct {
    const char *kind, *required[4], *optional[3];
} kinds[] = {
    {"issue", {"site", "issued"}, {"amount", "tender"}},
    {"return", {"site", "returned"}, {"amount", "tender"}},
    {"exchange", {"site", "returned", "issued"}, {"amount", "tender"}},
    {"supply", {"site", "cups"}, {"batch"}},
    {"damage", {"site", "cups"}, {0}},
    {"retire", {"site", "cups"}, {"mass_g"}},
    {"dispatch", {"site", "cups", "to"}, {"shipment"}},
    {"receipt", {"site", "cups", "dispatch"}, {"host"}},
    {"transit_loss", {"site", "cups", "dispatch"}, {"host", "bearer"}},
    {"count", {"site", "cups"}, {0}},
    {"reversal", {"site", "reverses"}, {0}},
    {"forfeit", {"scheme", "cups"}, {0}},
    {"reinstate", {"scheme", "cups"}, {0}},
    {"journal", {"scheme", "legs", "reason"}, {0}},
    {"opening", {"scheme", "places", "bank"}, {"shipments", "due"}},
};
enum { KINDS = sizeof kinds / sizeof kinds[0] };

/* A good value of each member. In a count, `cups` has another. */
static const struct {
    const char *name, *value;
} members[] = {
    {"site", "\"anchor\""},
    {"scheme", "\"tern-bay\""},
    {"issued", "[{\"cup_type\":\"cup-300\",\"quantity\":2}]"},
    {"returned", "[{\"cup_type\":\"cup-300\",\"quantity\":1,\"condition\":\"damaged\"}]"},
    {"cups", "[{\"cup_type\":\"cup-300\",\"quantity\":3}]"},
    {"amount", "\"5.00\""},
    {"tender", "\"card\""},
    {"mass_g", "47"},
    {"to", "\"dock\""},
    {"dispatch", "\"" OTHER "\""},
    {"reverses", "\"" OTHER "\""},
    {"batch", "\"tb-1\""},
    {"host", "\"petrel-island\""},
    {"shipment", "\"" OTHER "\""},
    {"bearer", "\"operator\""},
    {"legs", "[{\"account\":\"bank\",\"amount\":\"-5.00\"},{\"account\":\"tax\",\"amount\":\"5.00\"}]"},
    {"reason", "\"text\""},
    {"approved_by", "\"key\""},
    {"places", "[{\"place\":\"retired\",\"cup_type\":\"cup-300\",\"quantity\":3}]"},
    {"shipments", "[{\"dispatch\":\"" OTHER "\",\"site\":\"anchor\",\"to\":\"dock\",\"cups\":[{\"cup_type\":"
                  "\"cup-300\",\"quantity\":1}]}]"},
    {"bank", "\"-5.00\""},
    {"due", "[{\"participant\":\"hearth\",\"amount\":\"-1.00\"}]"},
};
enum { MEMBERS = sizeof members / sizeof members[0] };

static void add_member(json_t *body, const char *name)
{
    const char *kind = json_string_value(json_object_get(body, "kind"));
    for (size_t i = 0; i < MEMBERS; i++)
        if (strcmp(members[i].name, name) == 0) {
            bool counted = strcmp(kind, "count") == 0 && strcmp(name, "cups") == 0;
            const char *value = counted ? "[{\"cup_type\":\"cup-300\",\"counted\":0}]" : members[i].value;
            json_object_set_new(body, name, json_loads(value, JSON_DECODE_ANY, NULL));
            return;
        }
    ck_abort_msg("no value for %s", name);
}

/* A body with the members that the kind requires, and no others. */
static json_t *minimal(size_t kind)
{
    json_t *body =
        json_pack("{s:s, s:s, s:s}", "event_id", ID, "kind", kinds[kind].kind, "occurred_at", INSTANT);
    for (size_t i = 0; i < 4 && kinds[kind].required[i] != NULL; i++)
        add_member(body, kinds[kind].required[i]);
    return body;
}

static bool is_one_of(const char *name, const char *const *names, size_t count)
{
    for (size_t i = 0; i < count && names[i] != NULL; i++)
        if (strcmp(names[i], name) == 0)
            return true;
    return false;
}

START_TEST(each_kind_is_read_with_what_it_requires)
{
    struct reading reading;
    json_t *body = minimal((size_t)_i);
    reading_init(&reading);
    ck_assert_msg(read_json(&reading, body), "%s", reading.found);
    ck_assert_str_eq(entry_kind_word(reading.event.kind), kinds[_i].kind);
    ck_assert(!reading.event.amount_stated && reading.event.tender == TENDER_NONE);
    ck_assert(reading.event.mass_g == -1 && reading.event.reference == NULL);
    json_decref(body);
    reading_dispose(&reading);
}
END_TEST

START_TEST(each_kind_misses_what_it_requires)
{
    static const char *const common[] = {"event_id", "kind", "occurred_at"};
    struct reading reading;
    char expected[64];
    reading_init(&reading);
    for (size_t i = 0; i < 7; i++) {
        const char *name = i < 3 ? common[i] : kinds[_i].required[i - 3];
        if (name == NULL)
            break;
        json_t *body = minimal((size_t)_i);
        json_object_del(body, name);
        ck_assert(!read_json(&reading, body));
        snprintf(expected, sizeof expected, "member_missing /%s", name);
        ck_assert_str_eq(reading.found, expected);
        json_decref(body);
    }
    reading_dispose(&reading);
}
END_TEST

START_TEST(each_kind_has_its_members_and_no_others)
{
    struct reading reading;
    char expected[64];
    reading_init(&reading);
    for (size_t i = 0; i < MEMBERS; i++) {
        const char *name = members[i].name;
        bool known = is_one_of(name, kinds[_i].required, 4) || is_one_of(name, kinds[_i].optional, 3);
        json_t *body = minimal((size_t)_i);
        add_member(body, name);
        json_object_set_new(body, "reference", json_string("till 2/1187"));
        ck_assert_msg(read_json(&reading, body) == known, "%s of %s: %s", name, kinds[_i].kind,
                      reading.found);
        snprintf(expected, sizeof expected, "member_unknown /%s", name);
        ck_assert_str_eq(reading.found, known ? "" : expected);
        json_decref(body);
    }
    reading_dispose(&reading);
}
END_TEST

/* A member that is read and then dropped would be lost to the ledger, and two events that differ in it would
 * be taken for one. */
START_TEST(the_text_holds_every_member_of_its_kind)
{
    struct reading reading;
    json_t *body = minimal((size_t)_i);
    reading_init(&reading);
    for (size_t i = 0; i < 3 && kinds[_i].optional[i] != NULL; i++)
        add_member(body, kinds[_i].optional[i]);
    json_object_set_new(body, "reference", json_string("till 2/1187"));
    json_object_set_new(body, "occurred_at", json_string("2026-05-12T10:00:00Z"));
    ck_assert_msg(read_json(&reading, body), "%s", reading.found);
    json_t *text = json_loadb(reading.event.text, reading.event.text_length, 0, NULL);
    ck_assert_msg(json_equal(text, body),
                  "fill_event in event_body.c, or canonical.c, changes a member: %.*s",
                  (int)reading.event.text_length, reading.event.text);
    json_decref(text);
    json_decref(body);
    reading_dispose(&reading);
}
END_TEST

/* Cups that come back, are sent or arrive may be in either condition. In all other kinds the kind says
 * whether the cups are sound or damaged. */
START_TEST(a_condition_is_said_where_there_is_a_choice)
{
    static const char *const lists[] = {"issued", "returned", "cups"};
    static const char *const transfers[] = {"dispatch", "receipt", "transit_loss"};
    struct reading reading;
    char expected[64];
    reading_init(&reading);
    for (size_t i = 0; i < 3; i++) {
        if (!is_one_of(lists[i], kinds[_i].required, 4))
            continue;
        bool choice = i == 1 || (i == 2 && is_one_of(kinds[_i].kind, transfers, 3));
        json_t *body = minimal((size_t)_i);
        json_t *line = json_array_get(json_object_get(body, lists[i]), 0);
        json_object_set_new(line, "condition", json_string("damaged"));
        ck_assert_msg(read_json(&reading, body) == choice, "%s of %s", lists[i], kinds[_i].kind);
        snprintf(expected, sizeof expected, "member_unknown /%s/0/condition", lists[i]);
        ck_assert_str_eq(reading.found, choice ? "" : expected);
        json_decref(body);
    }
    reading_dispose(&reading);
}
END_TEST

START_TEST(there_are_no_other_kinds)
{
    size_t count = 0;
    for (int kind = 0; kind <= KIND_LIMIT; kind++)
        count += event_body_shape((enum entry_kind)kind) != NULL;
    ck_assert_uint_eq(count, KINDS);
    ck_assert(event_body_shape(KIND_FEES) == NULL);
}
END_TEST

#define HEAD(kind)                                                                                           \
    "{\"event_id\":\"" ID "\",\"kind\":\"" kind "\",\"occurred_at\":\"" INSTANT "\",\"site\":\"anchor\","
#define LINE(number)       "{\"cup_type\":\"cup-300\",\"quantity\":" number "}"
#define OF_HOME(code)      "{\"cup_type\":\"cup-300\",\"quantity\":1,\"home\":\"" code "\"}"
#define NAMED(number, ids) "{\"cup_type\":\"cup-300\",\"quantity\":" number ",\"ids\":[" ids "]}"
#define LEG(amount)        "{\"account\":\"bank\",\"amount\":\"" amount "\"}"
#define JOURNAL(legs)                                                                                        \
    "{\"event_id\":\"" ID "\",\"kind\":\"journal\",\"occurred_at\":\"" INSTANT "\",\"scheme\":\"tern-bay\"," \
    "\"reason\":\"interest\",\"legs\":[" legs "]}"
#define ISSUE(rest) HEAD("issue") "\"issued\":[" LINE("2") "]," rest "}"

/* Bodies and their faults. */
static const struct {
    const char *body, *faults;
} cases[] = {
    /* not an event at all */
    {"7", "wrong_type "},
    {"[]", "wrong_type "},
    {"{}", "member_missing /kind"},
    {"{\"kind\":1,\"x\":2}", "wrong_type /kind"},
    {"{\"kind\":\"Issue\"}", "value_unknown /kind"},
    {"{\"kind\":\"\"}", "value_unknown /kind"},
    {"{\"kind\":\"payment_confirmed\"}", "value_unknown /kind"},
    {"{\"kind\":\"bank_line\"}", "value_unknown /kind"},
    {"{\"kind\":\"fees\"}", "value_unknown /kind"},
    {"{\"kind\":\"settle\"}", "value_unknown /kind"},
    {"{\"kind\":\"remeasurement\"}", "value_unknown /kind"},
    /* all faults at once, first those of the members that are present */
    {"{\"kind\":\"issue\",\"event_id\":\"x\",\"site\":\"A\",\"sites\":1}",
     "bad_format /event_id, bad_format /site, member_unknown /sites, member_missing /occurred_at, "
     "member_missing /issued"},
    /* lists of cups */
    {HEAD("issue") "\"issued\":[]}", "too_few /issued"},
    {HEAD("issue") "\"issued\":{}}", "wrong_type /issued"},
    {HEAD("issue") "\"issued\":[5]}", "wrong_type /issued/0"},
    {HEAD("issue") "\"issued\":[{}]}",
     "member_missing /issued/0/cup_type, member_missing /issued/0/quantity"},
    {HEAD("issue") "\"issued\":[" LINE("1") "]}", ""},
    {HEAD("issue") "\"issued\":[" LINE("1000000") "]}", ""},
    {HEAD("issue") "\"issued\":[" LINE("0") "]}", "out_of_range /issued/0/quantity"},
    {HEAD("issue") "\"issued\":[" LINE("-1") "]}", "out_of_range /issued/0/quantity"},
    {HEAD("issue") "\"issued\":[" LINE("1000001") "]}", "out_of_range /issued/0/quantity"},
    {HEAD("issue") "\"issued\":[" LINE("2.0") "]}", "wrong_type /issued/0/quantity"},
    {HEAD("issue") "\"issued\":[" LINE("\"2\"") "]}", "wrong_type /issued/0/quantity"},
    {HEAD("issue") "\"issued\":[" LINE("1") "," LINE("2") "]}", "cup_type_repeated /issued/1/cup_type"},
    {HEAD("issue") "\"issued\":[" LINE("1") "," LINE("1") "," LINE("1") "]}",
     "cup_type_repeated /issued/1/cup_type, cup_type_repeated /issued/2/cup_type"},
    {HEAD("issue") "\"issued\":[{\"cup_type\":\"cup-300\",\"quantity\":1,\"condition\":\"sound\"}]}",
     "member_unknown /issued/0/condition"},
    {HEAD("supply") "\"cups\":[{\"cup_type\":\"cup-300\",\"quantity\":1,\"condition\":\"damaged\"}]}",
     "member_unknown /cups/0/condition"},
    {HEAD("return") "\"returned\":[{\"cup_type\":\"cup-300\",\"quantity\":1,\"condition\":\"broken\"}]}",
     "value_unknown /returned/0/condition"},
    /* a cup type may stand once in each condition; the condition sound may be left out */
    {HEAD("return") "\"returned\":[" LINE(
         "1") ",{\"cup_type\":\"cup-300\",\"quantity\":1,\"condition\":\"damaged\"}]}",
     ""},
    {HEAD("return") "\"returned\":[" LINE(
         "1") ",{\"cup_type\":\"cup-300\",\"quantity\":1,\"condition\":\"sound\"}]}",
     "cup_type_repeated /returned/1/cup_type"},
    /* and once for each scheme whose deposit it carries */
    {HEAD("return") "\"returned\":[" LINE("1") "," OF_HOME("skerry") "," OF_HOME("eider") "]}", ""},
    {HEAD("return") "\"returned\":[" OF_HOME("skerry") "," OF_HOME("skerry") "]}",
     "cup_type_repeated /returned/1/cup_type"},
    {HEAD("return") "\"returned\":[" OF_HOME("no code") "]}", "bad_format /returned/0/home"},
    {HEAD("issue") "\"issued\":[" OF_HOME("skerry") "]}", "member_unknown /issued/0/home"},
    {HEAD("exchange") "\"returned\":[" LINE("1") "],\"issued\":[" LINE("1") "]}", ""},
    {HEAD("count") "\"cups\":[{\"cup_type\":\"cup-300\",\"counted\":0}]}", ""},
    {HEAD("count") "\"cups\":[{\"cup_type\":\"cup-300\",\"counted\":1000000}]}", ""},
    {HEAD("count") "\"cups\":[{\"cup_type\":\"cup-300\",\"counted\":1000001}]}",
     "out_of_range /cups/0/counted"},
    {HEAD("count") "\"cups\":[{\"cup_type\":\"cup-300\",\"counted\":-1}]}", "out_of_range /cups/0/counted"},
    {HEAD("count") "\"cups\":[" LINE("1") "]}",
     "member_unknown /cups/0/quantity, member_missing /cups/0/counted"},
    {HEAD("supply") "\"cups\":[{\"cup_type\":\"cup-300\",\"counted\":1}]}",
     "member_unknown /cups/0/counted, member_missing /cups/0/quantity"},
    {HEAD("count") "\"cups\":[{\"cup_type\":\"cup-300\",\"counted\":1},{\"cup_type\":\"cup-300\",\"counted\":"
                   "1}]}",
     "cup_type_repeated /cups/1/cup_type"},
    /* identities of cups; "00614141123452400" is the one of test_cup_id.c */
    {HEAD("supply") "\"cups\":[" NAMED("2", "\"00614141123452400\"") "]}", ""},
    {HEAD("issue") "\"issued\":[" NAMED("1", "\"00614141123452400\",\"00614141123452401\"") "]}",
     "too_many /issued/0/ids"},
    {HEAD("issue") "\"issued\":[" NAMED("2", "\"00614141123452400\",\"00614141123452400\"") "]}", ""},
    {HEAD("return") "\"returned\":[" NAMED("3", "\"00614141123452400\",\"00614141123452\",7") "]}",
     "bad_format /returned/0/ids/1, wrong_type /returned/0/ids/2"},
    {HEAD("damage") "\"cups\":[" NAMED("1", "") "]}", "too_few /cups/0/ids"},
    {HEAD("count") "\"cups\":[{\"cup_type\":\"cup-300\",\"counted\":0,\"ids\":[\"00614141123452400\"]}]}",
     "too_many /cups/0/ids"},
    {HEAD("count") "\"cups\":[{\"cup_type\":\"cup-300\",\"counted\":1,\"ids\":[\"00614141123452400\"]}]}",
     ""},
    /* amounts, as far as they can be told without the currency */
    {ISSUE("\"amount\":\"0\""), ""},
    {ISSUE("\"amount\":\"-0.01\""), "out_of_range /amount"},
    {ISSUE("\"amount\":\"10000000000.00\""), ""},
    {ISSUE("\"amount\":\"10000000000.01\""), "out_of_range /amount"},
    {ISSUE("\"amount\":5.00"), "wrong_type /amount"},
    {ISSUE("\"amount\":\"5,00\""), "bad_format /amount"},
    {HEAD("return") "\"returned\":[" LINE("2") "],\"amount\":\"-1\"}", "out_of_range /amount"},
    {HEAD("exchange") "\"returned\":[" LINE("2") "],\"issued\":[" LINE("1") "],\"amount\":\"-2.50\"}", ""},
    {HEAD("exchange") "\"returned\":[" LINE("2") "],\"issued\":[" LINE(
         "1") "],\"amount\":\"-10000000000.01\"}",
     "out_of_range /amount"},
    {ISSUE("\"tender\":\"cheque\""), "value_unknown /tender"},
    /* a reference of 64 characters, which need not be bytes */
    {ISSUE("\"reference\":\"\""), ""},
    {ISSUE("\"reference\":\"0123456789012345678901234567890123456789012345678901234567890123\""), ""},
    {ISSUE("\"reference\":\"01234567890123456789012345678901234567890123456789012345678901234\""),
     "too_long /reference"},
    {ISSUE("\"reference\":"
           "\"\u20ac\u20ac\u20ac\u20ac\u20ac\u20ac\u20ac\u20ac\u20ac\u20ac\u20ac\u20ac\u20ac\u20ac"
           "\u20ac\u20ac\u20ac\u20ac\u20ac\u20ac\u20ac\u20ac\u20ac\u20ac\u20ac\u20ac\u20ac\u20ac\u20ac\u20ac"
           "\""),
     ""},
    {ISSUE("\"reference\":1187"), "wrong_type /reference"},
    {ISSUE("\"reference\":null"), "wrong_type /reference"},
    /* the others */
    {HEAD("dispatch") "\"cups\":[" LINE("2") "],\"to\":\"dock\"}", ""},
    {HEAD("dispatch") "\"cups\":[" LINE("2") "],\"to\":\"anchor\"}", "same_site /to"},
    {HEAD("receipt") "\"cups\":[" LINE("2") "],\"dispatch\":\"dock\"}", "bad_format /dispatch"},
    {HEAD("transit_loss") "\"cups\":[" LINE("2") "],\"dispatch\":\"" OTHER "\",\"bearer\":\"site\"}",
     "value_unknown /bearer"},
    {HEAD("retire") "\"cups\":[" LINE("2") "],\"mass_g\":0}", ""},
    {HEAD("retire") "\"cups\":[" LINE("2") "],\"mass_g\":-1}", "out_of_range /mass_g"},
    {HEAD("retire") "\"cups\":[" LINE("2") "],\"mass_g\":47.5}", "wrong_type /mass_g"},
    {HEAD("reversal") "\"reverses\":7}", "wrong_type /reverses"},
    {"{\"event_id\":\"" ID "\",\"kind\":\"reversal\",\"occurred_at\":\"" INSTANT "\",\"scheme\":\"tern-bay\","
     "\"reverses\":\"" OTHER "\"}",
     ""}, /* of kinds that name a scheme */
    {JOURNAL(LEG("-5.00") "," LEG("5.00")), ""},
    {JOURNAL(LEG("-5.00")), "too_few /legs"},
    {JOURNAL(LEG("0.00") "," LEG("5.00")), "out_of_range /legs/0/amount"},
    {JOURNAL(LEG("5,00") "," LEG("5.00")), "bad_format /legs/0/amount"},
    {JOURNAL("{\"account\":\"\",\"amount\":\"1\"}," LEG("5.00")), "bad_format /legs/0/account"},
    {JOURNAL("{\"account\":1,\"cups\":1}," LEG("5.00")),
     "wrong_type /legs/0/account, member_unknown /legs/0/cups, member_missing /legs/0/amount"},
    {HEAD("reversal") "\"scheme\":\"tern-bay\",\"reverses\":\"" OTHER "\"}", "member_unknown /scheme"},
};

START_TEST(each_fault_is_told_with_its_place)
{
    struct reading reading;
    reading_init(&reading);
    read_text(&reading, cases[_i].body);
    ck_assert_msg(strcmp(reading.found, cases[_i].faults) == 0, "%s: %s", cases[_i].body, reading.found);
    reading_dispose(&reading);
}
END_TEST

START_TEST(a_list_has_a_hundred_lines_at_most)
{
    struct reading reading;
    json_t *body = minimal(0);
    json_t *lines = json_array();
    reading_init(&reading);
    json_object_set_new(body, "issued", lines);
    for (int i = 0; i < CUP_LINES_MAX; i++) {
        char code[16];
        snprintf(code, sizeof code, "cup-%d", i);
        json_array_append_new(lines, json_pack("{s:s, s:i}", "cup_type", code, "quantity", i + 1));
    }
    ck_assert_msg(read_json(&reading, body), "%s", reading.found);
    ck_assert_uint_eq(reading.event.issued.count, CUP_LINES_MAX);
    ck_assert_str_eq(reading.event.issued.lines[99].cup_type, "cup-99");
    ck_assert_int_eq(reading.event.issued.lines[99].quantity.count, 100);
    json_array_append_new(lines, json_pack("{s:s, s:i}", "cup_type", "one-more", "quantity", 1));
    ck_assert(!read_json(&reading, body));
    ck_assert_str_eq(reading.found, "too_many /issued");
    json_decref(body);
    reading_dispose(&reading);
}
END_TEST

START_TEST(the_event_holds_what_the_body_says)
{
    struct reading reading;
    const struct event *event = &reading.event;
    reading_init(&reading);
    ck_assert(read_text(
        &reading, HEAD("exchange") "\"returned\":[{\"cup_type\":\"cup-450\",\"quantity\":3,"
                                   "\"condition\":\"damaged\"}],\"issued\":[" LINE(
                                       "2") "],\"amount\":"
                                            "\"-0.50\",\"tender\":\"voucher\",\"reference\":\"\u00e4\"}"));
    struct uuid id;
    struct instant instant;
    ck_assert(uuid_parse(ID, strlen(ID), &id));
    ck_assert(instant_parse("2026-05-12T10:00:00Z", 20, &instant));
    ck_assert_mem_eq(&event->id, &id, sizeof id);
    ck_assert_int_eq(event->occurred_at.us, instant.us);
    ck_assert_int_eq(event->kind, KIND_EXCHANGE);
    ck_assert_str_eq(event->site, "anchor");
    ck_assert_str_eq(event->scheme, "");
    ck_assert(event->amount_stated && event->amount.unscaled == -50 && event->amount.scale == 2);
    ck_assert_int_eq(event->tender, TENDER_VOUCHER);
    ck_assert_str_eq(event->reference, "\u00e4");
    ck_assert_uint_eq(event->returned.count, 1);
    ck_assert_str_eq(event->returned.lines[0].cup_type, "cup-450");
    ck_assert(event->returned.lines[0].damaged && event->returned.lines[0].quantity.count == 3);
    ck_assert(!event->issued.lines[0].damaged && event->cups.count == 0);
    ck_assert_str_eq(event->returned.lines[0].home, "");

    ck_assert(read_text(&reading, HEAD("return") "\"returned\":[" OF_HOME("skerry") "]}"));
    ck_assert_str_eq(event->returned.lines[0].home, "skerry");
    ck_assert_ptr_nonnull(
        strstr(event->text, "{\"cup_type\":\"cup-300\",\"home\":\"skerry\",\"quantity\":1}"));

    ck_assert(read_text(&reading, HEAD("transit_loss") "\"cups\":[" LINE("2") "],\"dispatch\":\"" OTHER
                                                                              "\",\"bearer\":\"receiver\"}"));
    ck_assert(uuid_parse(OTHER, strlen(OTHER), &id));
    ck_assert_mem_eq(&event->refers, &id, sizeof id);
    ck_assert_int_eq(event->bearer, BEARER_RECEIVER);
    ck_assert(
        read_text(&reading, HEAD("transit_loss") "\"cups\":[" LINE("2") "],\"dispatch\":\"" OTHER "\"}"));
    ck_assert_int_eq(event->bearer, BEARER_NONE);
    ck_assert_ptr_null(strstr(event->text, "bearer"));
    reading_dispose(&reading);
}
END_TEST

/* Words are indexes in the shapes and numbers in the domain. */
START_TEST(every_tender_and_bearer_is_the_one_it_says)
{
    struct reading reading;
    char body[512];
    reading_init(&reading);
    for (enum tender tender = TENDER_CASH; tender <= TENDER_OTHER; tender++) {
        snprintf(body, sizeof body, ISSUE("\"tender\":\"%s\""), tender_word(tender));
        ck_assert(read_text(&reading, body));
        ck_assert_int_eq(reading.event.tender, tender);
    }
    for (enum bearer bearer = BEARER_SENDER; bearer <= BEARER_OPERATOR; bearer++) {
        snprintf(body, sizeof body,
                 HEAD("transit_loss") "\"cups\":[" LINE("2") "],\"dispatch\":\"" OTHER
                                                             "\",\"bearer\":\"%s\"}",
                 bearer_word(bearer));
        ck_assert(read_text(&reading, body));
        ck_assert_int_eq(reading.event.bearer, bearer);
    }
    reading_dispose(&reading);
}
END_TEST

static struct sha256 digest_of(struct reading *reading, const char *body)
{
    ck_assert_msg(read_text(reading, body), "%s: %s", body, reading->found);
    return reading->event.digest;
}

/* A replay is compared after parsing. Order of members, white space, UTC offset and case of the id don't
 * matter. A body without an amount differs from one with an amount. */
START_TEST(the_digest_is_of_the_content_not_of_the_bytes)
{
    static const char first[] = ISSUE("\"amount\":\"5.00\",\"tender\":\"card\"");
    static const char same[] =
        " { \"tender\":\"card\", \"amount\":\"5.00\", \"site\":\"anchor\", \"kind\":\"issue\", \"issued\":\n"
        "[ {\"quantity\":2,\"cup_type\":\"cup-300\"} ], \"occurred_at\":\"2026-05-12T10:00:00.000Z\", "
        "\"event_id\":"
        "\"6F1C0000-0000-4000-8000-00000000000A\" }";
    static const char *const others[] = {
        ISSUE("\"tender\":\"card\""),
        ISSUE("\"amount\":\"5.01\",\"tender\":\"card\""),
        ISSUE("\"amount\":\"5.00\",\"tender\":\"cash\""),
        ISSUE("\"amount\":\"5.00\""),
        ISSUE("\"amount\":\"5.00\",\"tender\":\"card\",\"reference\":\"\""),
        HEAD("supply") "\"cups\":[" LINE("2") "]}",
        HEAD("damage") "\"cups\":[" LINE("2") "]}",
        HEAD("issue") "\"issued\":[" LINE("3") "],\"amount\":\"5.00\",\"tender\":\"card\"}",
    };
    struct reading reading;
    struct sha256 digests[sizeof others / sizeof others[0] + 1];
    size_t count = 0;
    reading_init(&reading);
    digests[count++] = digest_of(&reading, first);
    struct sha256 again = digest_of(&reading, same);
    ck_assert_mem_eq(&again, &digests[0], sizeof again);
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++) {
        digests[count] = digest_of(&reading, others[i]);
        for (size_t before = 0; before < count; before++)
            ck_assert_mem_ne(&digests[before], &digests[count], sizeof again);
        count++;
    }
    reading_dispose(&reading);
}
END_TEST

/* RFC 8785: members sorted, no white space. The digest is SHA-256 of that text. */
START_TEST(the_text_is_canonical)
{
    static const char canonical[] =
        "{\"amount\":\"5.00\",\"event_id\":\"" ID "\",\"issued\":[{\"cup_type\":\"cup-300\",\"quantity\":2}],"
        "\"kind\":\"issue\",\"occurred_at\":\"2026-05-12T10:00:00Z\",\"site\":\"anchor\",\"tender\":"
        "\"card\"}";
    struct reading reading;
    struct sha256 digest;
    reading_init(&reading);
    ck_assert(read_text(&reading, ISSUE("\"tender\":\"card\",\"amount\":\"5.00\"")));
    ck_assert_str_eq(reading.event.text, canonical);
    ck_assert_uint_eq(reading.event.text_length, strlen(canonical));
    sha256_of(canonical, strlen(canonical), &digest);
    ck_assert_mem_eq(&reading.event.digest, &digest, sizeof digest);
    reading_dispose(&reading);
}
END_TEST

/* All spellings of a cup are one content, and the text has the plain one. */
START_TEST(the_text_has_one_spelling_of_a_cup)
{
    static const char *const spellings[] = {"00614141123452A/1", "(8003)00614141123452A/1",
                                            "urn:epc:id:grai:0614141.12345.A%2F1",
                                            "https://example.org/8003/00614141123452A%2F1"};
    struct reading reading;
    char body[512];
    reading_init(&reading);
    for (size_t i = 0; i < sizeof spellings / sizeof spellings[0]; i++) {
        snprintf(body, sizeof body,
                 HEAD("supply") "\"cups\":[{\"cup_type\":\"cup-300\",\"quantity\":2,\"ids\":[\"%s\"]}]}",
                 spellings[i]);
        ck_assert_msg(read_text(&reading, body), "%s: %s", body, reading.found);
        ck_assert_str_eq(
            reading.event.text,
            "{\"cups\":[{\"cup_type\":\"cup-300\",\"ids\":[\"00614141123452A/1\"],\"quantity\":2}],"
            "\"event_id\":\"" ID "\",\"kind\":\"supply\",\"occurred_at\":\"2026-05-12T10:00:00Z\","
            "\"site\":\"anchor\"}");
        ck_assert_uint_eq(reading.event.cups.lines[0].id_count, 1);
    }
    reading_dispose(&reading);
}
END_TEST

/* The answer to an event that can't be read still has the event's id, if it has one. */
START_TEST(the_id_is_read_whatever_the_rest_is)
{
    static const struct {
        const char *body;
        bool known;
    } bodies[] = {
        {"{\"event_id\":\"" ID "\",\"kind\":\"journal\",\"x\":[]}", true},
        {"{\"event_id\":\"" ID "\"}", true},
        {"{\"event_id\":\"6f1c\"}", false},
        {"{\"event_id\":7}", false},
        {"{\"event_id\":null}", false},
        {"{}", false},
        {"[\"" ID "\"]", false},
        {"7", false},
    };
    struct uuid expected, id;
    ck_assert(uuid_parse(ID, strlen(ID), &expected));
    for (size_t i = 0; i < sizeof bodies / sizeof bodies[0]; i++) {
        json_t *json = json_loads(bodies[i].body, JSON_DECODE_ANY, NULL);
        bool known = event_body_id(json, &id);
        ck_assert_msg(known == bodies[i].known, "%s", bodies[i].body);
        if (known)
            ck_assert_mem_eq(&id, &expected, sizeof id);
        json_decref(json);
    }
}
END_TEST

START_TEST(without_memory_no_event_is_read)
{
    for (size_t room = 16; room < 1000; room += 16) {
        struct arena arena;
        struct buffer scratch;
        struct faults faults;
        struct event event;
        json_t *json = json_loads(ISSUE("\"reference\":\"till 2/1187\""), 0, NULL);
        arena_init(&arena, room);
        buffer_init(&scratch, EVENT_TEXT_MAX);
        faults_init(&faults, &arena);
        if (event_body_read(json, &event, &scratch, &faults))
            ck_assert(event.text != NULL && event.reference != NULL && event.issued.lines != NULL);
        else
            ck_assert_int_eq(faults.items[0].reason, REASON_OVERLOADED);
        ck_assert_msg(room > 100 || faults.count > 0, "%zu bytes were enough", room);
        json_decref(json);
        buffer_dispose(&scratch);
        arena_dispose(&arena);
    }
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("event_body");
    TCase *tests = tcase_create("event_body");
    tcase_add_loop_test(tests, each_kind_is_read_with_what_it_requires, 0, KINDS);
    tcase_add_loop_test(tests, each_kind_misses_what_it_requires, 0, KINDS);
    tcase_add_loop_test(tests, each_kind_has_its_members_and_no_others, 0, KINDS);
    tcase_add_loop_test(tests, the_text_holds_every_member_of_its_kind, 0, KINDS);
    tcase_add_loop_test(tests, a_condition_is_said_where_there_is_a_choice, 0, KINDS);
    tcase_add_test(tests, there_are_no_other_kinds);
    tcase_add_loop_test(tests, each_fault_is_told_with_its_place, 0, (int)(sizeof cases / sizeof cases[0]));
    tcase_add_test(tests, a_list_has_a_hundred_lines_at_most);
    tcase_add_test(tests, the_event_holds_what_the_body_says);
    tcase_add_test(tests, every_tender_and_bearer_is_the_one_it_says);
    tcase_add_test(tests, the_digest_is_of_the_content_not_of_the_bytes);
    tcase_add_test(tests, the_text_is_canonical);
    tcase_add_test(tests, the_text_has_one_spelling_of_a_cup);
    tcase_add_test(tests, the_id_is_read_whatever_the_rest_is);
    tcase_add_test(tests, without_memory_no_event_is_read);
    suite_add_tcase(suite, tests);
    return suite;
}
