/* SPDX-License-Identifier: ISC */
/* Shapes: one table of bodies against the faults that each must give, the members that a good body fills, and
 * the JSON Schema of every form. The rules are the interface's own; pointers are those of RFC 6901. */
#include "http/request/shape_schema.h"

#include "depositd/civil.h"
#include "depositd/event.h"
#include "depositd/money.h"
#include "depositd/pay_days.h"
#include "suite.h"

#include <stdlib.h>
#include <string.h>

struct inner {
    char code[CODE_SIZE];
    int64_t number;
};

struct outer {
    char code[CODE_SIZE];
    const char *text;
    int word;
    int64_t integer;
    bool flag, has_flag;
    struct decimal amount, paid, price;
    struct rate rate;
    double number;
    struct uuid uuid;
    struct instant instant;
    struct date date;
    int64_t time;
    struct pay_days pay_days;
    struct inner object;
    struct shape_list list, codes;
};

static const char *const words[] = {"red", "green", NULL};

static const struct field inner_fields[] = {
    {.name = "code", .form = FORM_CODE, .required = true, .offset = offsetof(struct inner, code)},
    {.name = "number", .form = FORM_INTEGER, .offset = offsetof(struct inner, number), .maximum = 9},
};
static const struct shape inner = {"Inner", sizeof(struct inner), inner_fields, 2, false};

static const struct field bare_field[] = {{.name = "", .form = FORM_CODE}};
static const struct shape bare = {"Bare", CODE_SIZE, bare_field, 1, true};

#define FIELD(member, of_form) .name = #member, .form = of_form, .offset = offsetof(struct outer, member)
static const struct field outer_fields[] = {
    {FIELD(code, FORM_CODE), .required = true, .description = "Its \"code\""},
    {FIELD(text, FORM_TEXT), .minimum = 1, .maximum = 5},
    {FIELD(word, FORM_WORD), .words = words},
    {FIELD(integer, FORM_INTEGER), .minimum = -1, .maximum = 1000000},
    {FIELD(flag, FORM_BOOLEAN), .present_offset = offsetof(struct outer, has_flag)},
    {FIELD(amount, FORM_AMOUNT), .minimum = -1, .maximum = 1},
    {FIELD(paid, FORM_AMOUNT), .minimum = 0, .maximum = 1},
    {FIELD(price, FORM_AMOUNT), .minimum = 1, .maximum = 1},
    {FIELD(rate, FORM_RATE)},
    {FIELD(number, FORM_NUMBER), .minimum = -90, .maximum = 90},
    {FIELD(uuid, FORM_UUID)},
    {FIELD(instant, FORM_INSTANT)},
    {FIELD(date, FORM_DATE)},
    {FIELD(time, FORM_TIME)},
    {FIELD(pay_days, FORM_PAY_DAYS)},
    {FIELD(object, FORM_OBJECT), .shape = &inner},
    {FIELD(list, FORM_LIST), .minimum = 1, .maximum = 3, .shape = &inner},
    {FIELD(codes, FORM_LIST), .minimum = 0, .maximum = 2, .shape = &bare},
};
static const struct shape outer = {"Outer", sizeof(struct outer), outer_fields,
                                   sizeof outer_fields / sizeof outer_fields[0], false};

/* Decodes under "/body", and gives the faults as "reason pointer" lines. */
static bool decode(const char *text, const struct outer *defaults, struct arena *arena, struct outer *into,
                   char *found, size_t size)
{
    struct faults faults;
    json_t *json = json_loads(text, JSON_DECODE_ANY, NULL);
    ck_assert_msg(json != NULL, "not JSON: %s", text);
    faults_init(&faults, arena);
    bool good = shape_decode(&outer, json, "/body", defaults, into, &faults);
    json_decref(json);
    found[0] = '\0';
    for (size_t i = 0; i < faults.count; i++) {
        ck_assert(faults.items[i].detail[0] != '\0');
        size_t length = strlen(found);
        snprintf(found + length, size - length, "%s%s %s", i > 0 ? ", " : "",
                 reason_info(faults.items[i].reason)->code, faults.items[i].pointer);
    }
    ck_assert_int_eq(good, faults.count == 0);
    return good;
}

/* Members beside code are put into {"code":"a",…}. */
static const struct {
    const char *members, *faults;
} cases[] = {
    {"", ""},
    {"\"text\":\"\"", "bad_format /body/text"},
    {"\"text\":\"12345\"", ""},
    {"\"text\":\"123456\"", "too_long /body/text"},
    {"\"text\":\"\u00e4\u20ac\U0001F375..\"", ""}, /* characters, not bytes */
    {"\"text\":7", "wrong_type /body/text"},
    {"\"text\":null", "wrong_type /body/text"},
    {"\"word\":\"red\"", ""},
    {"\"word\":\"Red\"", "value_unknown /body/word"},
    {"\"word\":[]", "wrong_type /body/word"},
    {"\"integer\":-1", ""},
    {"\"integer\":1000000", ""},
    {"\"integer\":-2", "out_of_range /body/integer"},
    {"\"integer\":1000001", "out_of_range /body/integer"},
    {"\"integer\":9223372036854775807", "out_of_range /body/integer"},
    {"\"integer\":1.5", "wrong_type /body/integer"},
    {"\"integer\":\"1\"", "wrong_type /body/integer"},
    {"\"integer\":true", "wrong_type /body/integer"},
    {"\"flag\":true", ""},
    {"\"flag\":1", "wrong_type /body/flag"},
    {"\"amount\":\"2.50\"", ""},
    {"\"amount\":\"-2.50\"", ""},
    {"\"amount\":2.50", "wrong_type /body/amount"},
    {"\"amount\":2", "wrong_type /body/amount"},
    {"\"amount\":\"2,50\"", "bad_format /body/amount"},
    {"\"amount\":\"2.\"", "bad_format /body/amount"},
    {"\"amount\":\"+2\"", "bad_format /body/amount"},
    {"\"amount\":\"02\"", "bad_format /body/amount"},
    {"\"amount\":\" 2\"", "bad_format /body/amount"},
    {"\"amount\":\"1e3\"", "bad_format /body/amount"},
    {"\"amount\":\"1000000000000\"", ""}, /* in the smallest unit in which it is written */
    {"\"amount\":\"10000000000.00\"", ""},
    {"\"amount\":\"-10000000000.00\"", ""},
    {"\"amount\":\"10000000000.01\"", "out_of_range /body/amount"},
    {"\"amount\":\"-10000000000.01\"", "out_of_range /body/amount"},
    {"\"amount\":\"12345678901234567.00\"", "out_of_range /body/amount"}, /* well-formed at any length */
    {"\"amount\":\"-12345678901234567.00\"", "out_of_range /body/amount"},
    {"\"amount\":\"99999999999999999999999999999999\"", "out_of_range /body/amount"},
    {"\"amount\":\"99999999999999999999999999999999.\"", "bad_format /body/amount"},
    {"\"paid\":\"0.00\"", ""},
    {"\"paid\":\"-0.00\"", ""},
    {"\"paid\":\"-0.01\"", "out_of_range /body/paid"},
    {"\"price\":\"0.01\"", ""},
    {"\"price\":\"0.00\"", "out_of_range /body/price"},
    {"\"rate\":\"0\"", ""},
    {"\"rate\":\"1\"", ""},
    {"\"rate\":\"1.000000\"", ""},
    {"\"rate\":\"0.000001\"", ""},
    {"\"rate\":\"1.000001\"", "out_of_range /body/rate"},
    {"\"rate\":\"999999999999999999\"", "out_of_range /body/rate"},
    {"\"rate\":\"-0.1\"", "out_of_range /body/rate"},
    {"\"rate\":\"0.0000001\"", "bad_format /body/rate"},
    {"\"rate\":0.15", "wrong_type /body/rate"},
    {"\"number\":90", ""},
    {"\"number\":-90.0", ""},
    {"\"number\":90.0001", "out_of_range /body/number"},
    {"\"number\":\"1\"", "wrong_type /body/number"},
    {"\"uuid\":\"6f1c0000-0000-4000-8000-00000000000A\"", ""},
    {"\"uuid\":\"6f1c\"", "bad_format /body/uuid"},
    {"\"uuid\":1", "wrong_type /body/uuid"},
    {"\"instant\":\"2026-05-12T07:30:00-02:30\"", ""},
    {"\"instant\":\"2026-05-12T07:30:00\"", "bad_format /body/instant"},
    {"\"instant\":0", "wrong_type /body/instant"},
    {"\"date\":\"2026-02-28\"", ""},
    {"\"date\":\"2026-02-29\"", "bad_format /body/date"},
    {"\"date\":20260228", "wrong_type /body/date"},
    {"\"time\":\"00:00\"", ""},
    {"\"time\":\"23:59\"", ""},
    {"\"time\":\"24:00\"", "bad_format /body/time"},
    {"\"time\":\"23:60\"", "bad_format /body/time"},
    {"\"time\":\"3:00\"", "bad_format /body/time"},
    {"\"time\":\"03:00:00\"", "bad_format /body/time"},
    {"\"time\":\"0x:00\"", "bad_format /body/time"},
    {"\"time\":3", "wrong_type /body/time"},
    {"\"pay_days\":\"daily\"", ""},
    {"\"pay_days\":[\"fri\",\"mon\"]", ""},
    {"\"pay_days\":[1,15,31]", ""},
    {"\"pay_days\":\"fri\"", "value_unknown /body/pay_days"},
    {"\"pay_days\":15", "wrong_type /body/pay_days"},
    {"\"pay_days\":{}", "wrong_type /body/pay_days"},
    {"\"pay_days\":[]", "too_few /body/pay_days"},
    {"\"pay_days\":[\"fri\",\"Sat\"]", "value_unknown /body/pay_days/1"},
    {"\"pay_days\":[\"fri\",\"mon\",\"fri\"]", "value_repeated /body/pay_days/2"},
    {"\"pay_days\":[0,32,15,15]",
     "out_of_range /body/pay_days/0, out_of_range /body/pay_days/1, value_repeated /body/pay_days/3"},
    {"\"pay_days\":[1,\"fri\",1.5]", "wrong_type /body/pay_days/1, wrong_type /body/pay_days/2"},
    {"\"pay_days\":[\"fri\",1]", "wrong_type /body/pay_days/1"},
    {"\"pay_days\":[null]", "wrong_type /body/pay_days/0"},
    {"\"pay_days\":[1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1,1]",
     "too_many /body/pay_days"},
    {"\"object\":{\"code\":\"b\"}", ""},
    {"\"object\":{}", "member_missing /body/object/code"},
    {"\"object\":[]", "wrong_type /body/object"},
    {"\"list\":[{\"code\":\"b\"},{\"code\":\"c\",\"number\":9}]", ""},
    {"\"list\":[]", "too_few /body/list"},
    {"\"list\":[1,2,3,4]", "too_many /body/list"},
    {"\"list\":{}", "wrong_type /body/list"},
    {"\"list\":[{\"code\":\"b\"},7,{\"code\":\"-\",\"number\":10}]",
     "wrong_type /body/list/1, bad_format /body/list/2/code, out_of_range /body/list/2/number"},
    {"\"codes\":[]", ""},
    {"\"codes\":[\"a\",\"b\"]", ""},
    {"\"codes\":[\"a\",\"B\"]", "bad_format /body/codes/1"},
    {"\"codes\":[\"a\",{}]", "wrong_type /body/codes/1"},
    {"\"cod\":1", "member_unknown /body/cod"},
    {"\"\":1", "member_unknown /body/"},
    {"\"a/b~c\":1", "member_unknown /body/a~1b~0c"},
    {"\"x\":1,\"text\":1,\"integer\":\"1\",\"y\":{}",
     "member_unknown /body/x, wrong_type /body/text, wrong_type /body/integer, member_unknown /body/y"},
};

START_TEST(each_fault_is_told_with_its_place)
{
    struct arena arena;
    struct outer into;
    char body[512], found[2048];
    arena_init(&arena, 0);
    snprintf(body, sizeof body, "{\"code\":\"a\"%s%s}", cases[_i].members[0] != '\0' ? "," : "",
             cases[_i].members);
    decode(body, NULL, &arena, &into, found, sizeof found);
    ck_assert_msg(strcmp(found, cases[_i].faults) == 0, "%s: %s", body, found);
    arena_dispose(&arena);
}
END_TEST

static const struct {
    const char *code;
    bool good;
} codes[] = {
    {"a", true},
    {"0", true},
    {"a-0-", true},
    {"abcdefghijklmnopqrstuvwxyz012345", true},
    {"abcdefghijklmnopqrstuvwxyz0123456", false},
    {"", false},
    {"-a", false},
    {"A", false},
    {"a_b", false},
    {"a b", false},
    {"\u00e4", false},
};

START_TEST(codes_have_one_spelling)
{
    struct arena arena;
    struct outer into;
    char body[128], found[128];
    arena_init(&arena, 0);
    snprintf(body, sizeof body, "{\"code\":\"%s\"}", codes[_i].code);
    bool good = decode(body, NULL, &arena, &into, found, sizeof found);
    ck_assert_msg(good == codes[_i].good, "%s", body);
    ck_assert_str_eq(found, good ? "" : "bad_format /body/code");
    ck_assert_str_eq(into.code, good ? codes[_i].code : "");
    arena_dispose(&arena);
}
END_TEST

START_TEST(a_body_must_be_an_object_with_what_is_required)
{
    struct arena arena;
    struct outer into;
    char found[128];
    arena_init(&arena, 0);
    ck_assert(!decode("{}", NULL, &arena, &into, found, sizeof found));
    ck_assert_str_eq(found, "member_missing /body/code");
    ck_assert(!decode("[]", NULL, &arena, &into, found, sizeof found));
    ck_assert_str_eq(found, "wrong_type /body");
    ck_assert(!decode("null", NULL, &arena, &into, found, sizeof found));
    ck_assert_str_eq(found, "wrong_type /body");
    arena_dispose(&arena);
}
END_TEST

START_TEST(a_good_body_fills_the_struct)
{
    static const char text[] =
        "{\"code\":\"anchor\",\"text\":\"\u00e4\",\"word\":\"green\",\"integer\":12,\"flag\":false,"
        "\"amount\":"
        "\"-2.50\",\"rate\":\"0.15\",\"number\":47.5,\"uuid\":\"00010203-0405-0607-0809-0a0b0c0d0e0F\","
        "\"instant\":\"1970-01-01T00:00:01.5Z\",\"date\":\"1970-01-02\",\"time\":\"03:30\",\"pay_days\":["
        "\"sun\",\"mon\"],\"object\":{"
        "\"code\":"
        "\"b\",\"number\":3},\"list\":[{\"code\":\"c\"},{\"code\":\"d\",\"number\":4}],\"codes\":[\"e\","
        "\"f\"]}";
    struct arena arena;
    struct outer into;
    char found[128];
    arena_init(&arena, 0);
    ck_assert(decode(text, NULL, &arena, &into, found, sizeof found));
    ck_assert_str_eq(into.code, "anchor");
    ck_assert_str_eq(into.text, "\u00e4");
    ck_assert_int_eq(into.word, 1);
    ck_assert_int_eq(into.integer, 12);
    ck_assert(!into.flag && into.has_flag);
    ck_assert(into.amount.unscaled == -250 && into.amount.scale == 2);
    ck_assert_int_eq(into.rate.ppm, 150000);
    ck_assert(into.number == 47.5);
    for (uint8_t i = 0; i < 16; i++)
        ck_assert_int_eq(into.uuid.bytes[i], i);
    ck_assert_int_eq(into.instant.us, 1500000);
    ck_assert_int_eq(into.date.days, 1);
    ck_assert_int_eq(into.time, 210);
    ck_assert(into.pay_days.weekdays == 0x41 && into.pay_days.month_days == 0);
    ck_assert_str_eq(into.object.code, "b");
    ck_assert_int_eq(into.object.number, 3);
    const struct inner *list = into.list.items;
    ck_assert_uint_eq(into.list.count, 2);
    ck_assert_str_eq(list[0].code, "c");
    ck_assert_int_eq(list[0].number, 0);
    ck_assert_str_eq(list[1].code, "d");
    ck_assert_int_eq(list[1].number, 4);
    ck_assert_uint_eq(into.codes.count, 2);
    ck_assert_str_eq((const char *)into.codes.items + CODE_SIZE, "f");
    arena_dispose(&arena);
}
END_TEST

START_TEST(what_is_absent_stays_as_the_defaults_say)
{
    struct arena arena;
    struct outer into, defaults = {.integer = 60, .word = 1, .flag = true};
    char found[128];
    arena_init(&arena, 0);
    ck_assert(decode("{\"code\":\"a\",\"word\":\"red\"}", &defaults, &arena, &into, found, sizeof found));
    ck_assert_int_eq(into.integer, 60);
    ck_assert_int_eq(into.word, 0);
    ck_assert(into.flag && !into.has_flag);
    ck_assert(decode("{\"code\":\"a\"}", NULL, &arena, &into, found, sizeof found));
    ck_assert_int_eq(into.integer, 0);
    arena_dispose(&arena);
}
END_TEST

/* A name of the client's own can be as long as its body. Then the pointer ends at the object that holds the
 * name, and no character is cut in two. */
START_TEST(a_name_too_long_for_a_pointer_is_left_out)
{
    struct arena arena;
    struct outer into;
    char body[2048] = "{\"code\":\"a\",\"", found[128];
    arena_init(&arena, 0);
    for (int i = 0; i < 400; i++)
        strcat(body, "\u20ac");
    strcat(body, "\":1}");
    ck_assert(!decode(body, NULL, &arena, &into, found, sizeof found));
    ck_assert_str_eq(found, "member_unknown /body");
    arena_dispose(&arena);
}
END_TEST

START_TEST(faults_beyond_the_maximum_still_refuse)
{
    struct arena arena;
    struct faults faults;
    struct outer into;
    json_t *json = json_pack("{s:s, s:i}", "code", "a", "x", 1);
    arena_init(&arena, 0);
    faults_init(&faults, &arena);
    for (int i = 0; i < FAULTS_MAX; i++)
        faults_add(&faults, REASON_TOO_LONG, "", "before");
    ck_assert(!shape_decode(&outer, json, "", NULL, &into, &faults));
    ck_assert_uint_eq(faults.count, FAULTS_MAX);
    json_decref(json);
    arena_dispose(&arena);
}
END_TEST

START_TEST(without_memory_nothing_is_accepted)
{
    struct arena arena;
    struct outer into;
    char found[128];
    arena_init(&arena, 64); /* too little for the list; the fault's texts are cut to nothing */
    ck_assert(!decode("{\"code\":\"a\",\"list\":[{\"code\":\"b\"},{\"code\":\"b\"},{\"code\":\"b\"}]}", NULL,
                      &arena, &into, found, sizeof found));
    ck_assert_msg(strncmp(found, "overloaded", 10) == 0, "%s", found);
    arena_dispose(&arena);
}
END_TEST

static const struct {
    const char *member, *schema;
} schemas[] = {
    {"code",
     "{\"type\":\"string\",\"pattern\":\"^[a-z0-9][a-z0-9-]{0,31}$\",\"description\":\"Its \\\"code\\\"\"}"},
    {"text", "{\"type\":\"string\",\"minLength\":1,\"maxLength\":5}"},
    {"word", "{\"type\":\"string\",\"enum\":[\"red\",\"green\"]}"},
    {"integer", "{\"type\":\"integer\",\"minimum\":-1,\"maximum\":1000000}"},
    {"flag", "{\"type\":\"boolean\"}"},
    {"amount", "{\"type\":\"string\",\"pattern\":\"^-?(0|[1-9][0-9]*)(\\\\.[0-9]{1,6})?$\"}"},
    {"paid", "{\"type\":\"string\",\"pattern\":\"^(0|[1-9][0-9]*)(\\\\.[0-9]{1,6})?$\"}"},
    {"price", "{\"type\":\"string\",\"pattern\":\"^(0|[1-9][0-9]*)(\\\\.[0-9]{1,6})?$\","
              "\"not\":{\"pattern\":\"^0(\\\\.0+)?$\"}}"},
    {"rate", "{\"type\":\"string\",\"pattern\":\"^(0(\\\\.[0-9]{1,6})?|1(\\\\.0{1,6})?)$\"}"},
    {"number", "{\"type\":\"number\",\"minimum\":-90,\"maximum\":90}"},
    {"uuid", "{\"type\":\"string\",\"format\":\"uuid\"}"},
    {"instant", "{\"type\":\"string\",\"format\":\"date-time\"}"},
    {"date", "{\"type\":\"string\",\"format\":\"date\"}"},
    {"time", "{\"type\":\"string\",\"pattern\":\"^([01][0-9]|2[0-3]):[0-5][0-9]$\"}"},
    {"pay_days",
     "{\"oneOf\":[{\"const\":\"daily\"},{\"type\":\"array\",\"minItems\":1,\"uniqueItems\":true,\"items\":"
     "{\"type\":\"string\",\"enum\":[\"mon\",\"tue\",\"wed\",\"thu\",\"fri\",\"sat\",\"sun\"]}},"
     "{\"type\":\"array\",\"minItems\":1,\"uniqueItems\":true,"
     "\"items\":{\"type\":\"integer\",\"minimum\":1,\"maximum\":31}}]}"},
    {"object", "{\"$ref\":\"#/components/schemas/Inner\"}"},
    {"list", "{\"type\":\"array\",\"minItems\":1,\"maxItems\":3,\"items\":"
             "{\"$ref\":\"#/components/schemas/Inner\"}}"},
    {"codes", "{\"type\":\"array\",\"minItems\":0,\"maxItems\":2,\"items\":"
              "{\"$ref\":\"#/components/schemas/Bare\"}}"},
};

START_TEST(the_schema_says_what_is_accepted)
{
    struct buffer text;
    buffer_init(&text, 65536);
    shape_schema(&outer, &text);
    json_t *schema = json_loads(text.data, JSON_REJECT_DUPLICATES, NULL);
    ck_assert_msg(schema != NULL, "%s", text.data);
    const json_t *members = json_object_get(schema, "properties");
    ck_assert_uint_eq(json_object_size(members), sizeof schemas / sizeof schemas[0]);
    for (size_t i = 0; i < sizeof schemas / sizeof schemas[0]; i++) {
        json_t *expected = json_loads(schemas[i].schema, 0, NULL);
        ck_assert_msg(json_equal(json_object_get(members, schemas[i].member), expected), "%s",
                      schemas[i].member);
        json_decref(expected);
    }
    ck_assert_str_eq(json_string_value(json_object_get(schema, "type")), "object");
    ck_assert(json_is_false(json_object_get(schema, "additionalProperties")));
    ck_assert_uint_eq(json_array_size(json_object_get(schema, "required")), 1);
    json_decref(schema);

    buffer_reset(&text);
    shape_schema(&bare, &text);
    ck_assert_str_eq(text.data, "{\"type\":\"string\",\"pattern\":\"^[a-z0-9][a-z0-9-]{0,31}$\"}");
    buffer_dispose(&text);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("shape");
    TCase *tests = tcase_create("shape");
    tcase_add_loop_test(tests, each_fault_is_told_with_its_place, 0, (int)(sizeof cases / sizeof cases[0]));
    tcase_add_loop_test(tests, codes_have_one_spelling, 0, (int)(sizeof codes / sizeof codes[0]));
    tcase_add_test(tests, a_body_must_be_an_object_with_what_is_required);
    tcase_add_test(tests, a_good_body_fills_the_struct);
    tcase_add_test(tests, what_is_absent_stays_as_the_defaults_say);
    tcase_add_test(tests, a_name_too_long_for_a_pointer_is_left_out);
    tcase_add_test(tests, faults_beyond_the_maximum_still_refuse);
    tcase_add_test(tests, without_memory_nothing_is_accepted);
    tcase_add_test(tests, the_schema_says_what_is_accepted);
    suite_add_tcase(suite, tests);
    return suite;
}
