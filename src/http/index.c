/* SPDX-License-Identifier: ISC */
/* GET /: what the key's network looks like now, scheme by scheme, and a line per route. The deposit cover is
 * that of the report, added up, so that the two can't differ. */
#include "http/handlers.h"

#include "depositd/money.h"
#include "http/json_text.h"
#include "http/reading.h"
#include "http/router.h"
#include "store/json_page.h"

#include <string.h>

struct cover {
    const struct report *report;
    unsigned decimals;
    struct money required, held, difference;
    bool failed;
};

static const char *cell(const struct cover *cover, const char *const *cells, const char *name)
{
    for (size_t i = 0; i < report_column_count(cover->report); i++)
        if (strcmp(cover->report->columns[i].name, name) == 0)
            return cells[i];
    return NULL;
}

static void add_amount(struct cover *cover, const char *text, struct money *sum)
{
    struct decimal amount;
    if (text == NULL || !decimal_parse(text, strlen(text), &amount) || amount.scale != cover->decimals ||
        !money_add(*sum, (struct money){amount.unscaled}, sum))
        cover->failed = true;
}

/* The lines of the funding say the same once more, by account. */
static bool add_row(void *context, const char *const *cells)
{
    struct cover *cover = context;
    const char *section = cells != NULL ? cell(cover, cells, "section") : NULL;
    if (section == NULL || strcmp(section, "funding") == 0)
        return true;
    add_amount(cover, cell(cover, cells, "required"), &cover->required);
    add_amount(cover, cell(cover, cells, "held"), &cover->held);
    add_amount(cover, cell(cover, cells, "difference"), &cover->difference);
    return !cover->failed;
}

static void member_amount(struct buffer *text, const struct cover *cover, const char *name,
                          struct money amount)
{
    char digits[MONEY_TEXT_MAX];
    money_format(amount, cover->decimals, digits);
    member_string(text, name, digits);
}

static enum store_result add_cover(const struct request *request, const struct scheme *scheme,
                                   struct buffer *text)
{
    struct cover cover = {.report = report_find("deposit-cover"), .decimals = scheme->currency->decimals};
    struct report_argument as_of = {.kind = ARGUMENT_DAY};
    struct date first;
    enum store_result result = read_day_current(request->pg, scheme->id, &as_of.day, &first);
    const struct report_query query = {.sql = cover.report->sql,
                                       .scheme = scheme->id,
                                       .arguments = &as_of,
                                       .argument_count = 1,
                                       .column_count = report_column_count(cover.report)};
    if (result == STORE_OK)
        result = read_report(request->pg, request->arena, &query, add_row, &cover);
    if (result == STORE_OK && cover.failed)
        result = STORE_FAILED;
    member_begin(text, "cover");
    buffer_add_char(text, '{');
    member_amount(text, &cover, "required", cover.required);
    member_amount(text, &cover, "held", cover.held);
    member_amount(text, &cover, "difference", cover.difference);
    buffer_add_char(text, '}');
    return result;
}

static enum store_result add_scheme(const struct request *request, const struct scheme *scheme,
                                    struct buffer *text)
{
    const struct identity *identity = request->identity;
    bool office = (1u << identity->role & FOR_OFFICE) != 0;
    element_begin(text);
    buffer_add_char(text, '\n');
    enum store_result result = read_glance(request->pg, scheme->id, office, identity->participant, text);
    if (result != STORE_OK || !office)
        return result;
    json_reopen(text);
    result = add_cover(request, scheme, text);
    buffer_add_char(text, '}');
    return result;
}

static void add_routes(struct buffer *text)
{
    size_t count;
    const struct route *routes = routes_all(&count);
    member_begin(text, "routes");
    buffer_add_char(text, '[');
    for (size_t i = 0; i < count; i++) {
        element_begin(text);
        buffer_add_text(text, "\n{");
        member_string(text, "method", method_word(routes[i].method));
        member_string(text, "path", routes[i].path);
        member_string(text, "summary", routes[i].summary);
        buffer_add_char(text, '}');
    }
    buffer_add_char(text, ']');
}

void handle_index(const struct request *request, struct answer *answer)
{
    const struct network *network = &request->snapshot->network;
    struct buffer *text = &answer->body;
    enum store_result result = STORE_OK;
    buffer_add_char(text, '{');
    member_string(text, "service", "depositd");
    member_string(text, "openapi", "/openapi.json");
    member_begin(text, "schemes");
    buffer_add_char(text, '[');
    for (size_t i = 0; result == STORE_OK && i < network->scheme_count; i++)
        if (request_knows_scheme(request, &network->schemes[i]))
            result = add_scheme(request, &network->schemes[i], text);
    if (result != STORE_OK) {
        answer_store_failure(answer, result);
        return;
    }
    buffer_add_char(text, ']');
    add_routes(text);
    buffer_add_text(text, "}\n");
}
