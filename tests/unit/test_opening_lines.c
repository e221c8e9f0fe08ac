/* SPDX-License-Identifier: ISC */
/* An opening in CSV: the event that its lines become, where a fault of the event is found in the lines, and
 * the faults of lines that do not have the cells of their kind. */
#include "http/events/opening_lines.h"

#include "http/request/json_body.h"
#include "suite.h"

#include <stdlib.h>
#include <string.h>

#define HEADER "what,site,to,dispatch,cup_type,quantity,condition,participant,amount\n"
#define ID     "6f1c0d9e-6a1b-4c55-9d0e-3b1f6f2a7c10"

static struct arena arena;
static struct faults faults;
static struct csv_body body;
static const struct opening_head given = {"tern-bay", ID, "2026-12-01T03:00:00-03:30"};
static const struct opening_head derived = {"tern-bay", NULL, "2026-12-01T03:00:00-03:30"};

static void begin(void)
{
    json_body_init();
    arena_init(&arena, 0);
    faults_init(&faults, &arena);
}

static void end(void)
{
    arena_dispose(&arena);
}

/* NULL: there are faults, whose places are those of the CSV. */
static json_t *event_of(const char *text, const struct opening_head *head)
{
    json_t *lines = csv_body_read(&csv_opening, text, strlen(text), &body, &faults);
    json_t *event = lines != NULL ? opening_of_lines(lines, head, &body, &faults) : NULL;
    if (lines != NULL && event == NULL)
        csv_body_place_faults(&body, lines, &faults);
    json_decref(lines);
    return event;
}

static const char all[] = HEADER "bank,,,,,,,,1250.00\n"
                                 "stock,anchor,,,cup-300,40,,,\n"
                                 "stock,anchor,,,cup-300,2,damaged,,\n"
                                 "shipment,anchor,brick,,cup-300,5,,,\n"
                                 "with_customers,,,,cup-300,300,,,\n"
                                 "\n"
                                 "shipment,brick,anchor," ID ",cup-300,7,,,\n"
                                 "retired,,,,cup-300,9,,,\n"
                                 "shipment,anchor,brick,,cup-450,1,damaged,,\n"
                                 "unaccounted,,,,cup-450,4,,,\n"
                                 "due,,,,,,,hearth,80.00\n"
                                 "due,,,,,,,miller,-12.50\n";

START_TEST(test_the_event)
{
    json_t *event = event_of(all, &given);
    json_t *expected =
        json_loads("{\"event_id\":\"" ID "\",\"kind\":\"opening\",\"scheme\":\"tern-bay\","
                   "\"occurred_at\":\"2026-12-01T03:00:00-03:30\",\"bank\":\"1250.00\",\"places\":["
                   "{\"site\":\"anchor\",\"cup_type\":\"cup-300\",\"quantity\":40},"
                   "{\"site\":\"anchor\",\"cup_type\":\"cup-300\",\"quantity\":2,\"condition\":\"damaged\"},"
                   "{\"place\":\"with_customers\",\"cup_type\":\"cup-300\",\"quantity\":300},"
                   "{\"place\":\"retired\",\"cup_type\":\"cup-300\",\"quantity\":9},"
                   "{\"place\":\"unaccounted\",\"cup_type\":\"cup-450\",\"quantity\":4}],\"shipments\":["
                   "{\"site\":\"anchor\",\"to\":\"brick\",\"dispatch\":\"?\",\"cups\":["
                   "{\"cup_type\":\"cup-300\",\"quantity\":5},"
                   "{\"cup_type\":\"cup-450\",\"quantity\":1,\"condition\":\"damaged\"}]},"
                   "{\"site\":\"brick\",\"to\":\"anchor\",\"dispatch\":\"" ID "\",\"cups\":["
                   "{\"cup_type\":\"cup-300\",\"quantity\":7}]}],\"due\":["
                   "{\"participant\":\"hearth\",\"amount\":\"80.00\"},"
                   "{\"participant\":\"miller\",\"amount\":\"-12.50\"}]}",
                   0, NULL);
    ck_assert_ptr_nonnull(event);
    json_t *shipment = json_array_get(json_object_get(event, "shipments"), 0);
    const char *dispatch = json_string_value(json_object_get(shipment, "dispatch"));
    ck_assert_uint_eq(strlen(dispatch), UUID_TEXT_MAX - 1);
    ck_assert_int_eq(dispatch[14], '8'); /* RFC 9562 section 5.8 */
    json_object_set_new(shipment, "dispatch", json_string("?"));
    ck_assert(json_equal(event, expected));
    json_decref(event);
    json_decref(expected);
}
END_TEST

/* The event's parts, and the line and column that each was made of. */
static const struct {
    const char *pointer, *place;
} places[] = {
    {"/bank", "/2/amount"},
    {"/places/0/site", "/3/site"},
    {"/places/1", "/4"},
    {"/places/4/cup_type", "/11/cup_type"},
    {"/shipments/0/to", "/5/to"},
    {"/shipments/0/cups/0/quantity", "/5/quantity"},
    {"/shipments/0/cups/1/cup_type", "/10/cup_type"},
    {"/shipments/1/dispatch", "/8/dispatch"},
    {"/due/1/participant", "/13/participant"},
    {"/due/10/participant", "/due/10/participant"},
    {"/places", "/places"},
    {"/scheme", "/scheme"},
    {"", ""},
};

START_TEST(test_places)
{
    json_t *event = event_of(all, &given);
    ck_assert_ptr_nonnull(event);
    faults_add(&faults, REASON_VALUE_UNKNOWN, places[_i].pointer, "is wrong");
    csv_body_place_faults(&body, NULL, &faults);
    ck_assert_str_eq(faults.items[0].pointer, places[_i].place);
    json_decref(event);
}
END_TEST

START_TEST(test_the_same_lines_have_the_same_id)
{
    static const char *const texts[] = {
        HEADER "stock,anchor,,,cup-300,40,,,\nbank,,,,,,,,1.00\n",
        "amount;quantity;what;cup_type;site\r\n;40;stock;cup-300;anchor\r\n1.00;;bank;;\r\n",
        HEADER "bank,,,,,,,,1.00\nstock,anchor,,,cup-300,40,,,\n",
        HEADER "stock,anchor,,,cup-300,41,,,\nbank,,,,,,,,1.00\n",
    };
    json_t *events[4];
    for (int i = 0; i < 4; i++)
        events[i] = event_of(texts[i], &derived);
    for (int i = 1; i < 4; i++)
        ck_assert_int_eq(json_equal(events[0], events[i]), i < 3);
    for (int i = 0; i < 4; i++)
        json_decref(events[i]);
}
END_TEST

static const struct {
    const char *text;
    const char *faults; /* pointer and reason of each */
} refused[] = {
    {HEADER, " member_missing  member_missing"},
    {HEADER "bank,,,,,,,,1.00\n", " member_missing"},
    {HEADER "stock,anchor,,,cup-300,1,,,\n", " member_missing"},
    {"amount\n1.00\n", "/1/what member_missing"},
    {HEADER "bank,,,,,,,,1.00\nstock,anchor,,,,,,,\n",
     "/3/cup_type member_missing /3/quantity member_missing"},
    {HEADER "bank,,,,,,,hearth,1.00\nwith_customers,anchor,,,cup-300,3,sound,,\n",
     "/2/participant member_unknown /3/site member_unknown /3/condition member_unknown"},
    {HEADER "bank,,,,,,,,1.00\nbank,,,,,,,,1.00\n", "/3/what too_many"},
    {HEADER "bunk,,,,,,,,1.00\nstock,Anchor,,7,cup-300,0,chipped,,x\n",
     "/2/what value_unknown /3/site bad_format /3/dispatch bad_format /3/quantity out_of_range "
     "/3/condition value_unknown /3/amount bad_format"},
};

START_TEST(test_refused)
{
    char found[1024] = "";
    ck_assert_ptr_null(event_of(refused[_i].text, &given));
    for (size_t i = 0; i < faults.count; i++) {
        strcat(found, i > 0 ? " " : "");
        strcat(found, faults.items[i].pointer);
        strcat(found, " ");
        strcat(found, reason_info(faults.items[i].reason)->code);
    }
    ck_assert_str_eq(found, refused[_i].faults);
}
END_TEST

Suite *file_suite(void)
{
    Suite *suite = suite_create("opening_lines");
    TCase *tests = tcase_create("opening_lines");
    tcase_add_checked_fixture(tests, begin, end);
    tcase_add_test(tests, test_the_event);
    tcase_add_loop_test(tests, test_places, 0, sizeof places / sizeof places[0]);
    tcase_add_test(tests, test_the_same_lines_have_the_same_id);
    tcase_add_loop_test(tests, test_refused, 0, sizeof refused / sizeof refused[0]);
    suite_add_tcase(suite, tests);
    return suite;
}
