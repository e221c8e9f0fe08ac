/* SPDX-License-Identifier: ISC */
/* GET /v1/office: all schemes that the reader knows, the worst first, with what is uncovered, late, owed and
 * open in each. Amounts of different currencies are added only at rates that the reader states. */
#include "app/office/overview.h"

#include "http/request/json_text.h"
#include "http/request/query_body.h"
#include "http/request/route.h"
#include "http/resources/handlers.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

enum { RATES_MAX = 200, TEXT_MAX = 4000, CURRENCY_CODE = 3 };

struct office_body {
    const char *state, *currency, *sum_in, *rates;
    struct date rate_day;
    bool has_rate_day;
};

#define FIELD(member, form_, ...)                                                                            \
    {                                                                                                        \
        .name = #member, .form = form_, .offset = offsetof(struct office_body, member), __VA_ARGS__          \
    }
#define RANGE(from, to) .minimum = from, .maximum = to

static const struct field fields[] = {
    FIELD(state, FORM_TEXT, RANGE(1, TEXT_MAX)),
    FIELD(currency, FORM_TEXT, RANGE(1, TEXT_MAX)),
    FIELD(sum_in, FORM_TEXT, RANGE(1, TEXT_MAX)),
    FIELD(rates, FORM_TEXT, RANGE(1, TEXT_MAX)),
    FIELD(rate_day, FORM_DATE, .present_offset = offsetof(struct office_body, has_rate_day)),
};
static const struct shape shape_office = {"OfficeAsk", sizeof(struct office_body), fields,
                                          sizeof fields / sizeof fields[0], false};

struct asking {
    const struct request *request;
    struct answer *answer;
    struct office_body body;
    struct overview_question question;
    const struct currency *only, *sum_in; /* NULL: any; none */
    struct overview_rate rates[RATES_MAX];
    size_t rate_count;
    struct overview overview;
};

/* --- the question ----------------------------------------------------------------------------------------
 */

static void blame(struct asking *asking, const char *parameter, const char *detail)
{
    faults_add_parameter(&asking->answer->faults, REASON_PARAMETER_INVALID, parameter, "%s", detail);
}

static const struct currency *read_currency(struct asking *asking, const char *parameter, const char *code)
{
    const struct currency *currency = code != NULL ? currency_find(code) : NULL;
    if (code != NULL && currency == NULL)
        blame(asking, parameter, "must be a currency of ISO 4217, as CAD");
    return currency;
}

static void read_state(struct asking *asking)
{
    const char *word = asking->body.state;
    for (int i = 0; word != NULL && i < OVERVIEW_STATES; i++)
        if (strcmp(word, overview_states[i]) == 0) {
            asking->question.has_state = true;
            asking->question.state = (enum overview_state)i;
        }
    if (word != NULL && !asking->question.has_state)
        blame(asking, "state", "must be uncovered, late, owed, open or clear");
}

/* One of CAD:0.68,ISK:0.0067. False: it is none. */
static bool read_rate(struct asking *asking, const char *text, size_t length)
{
    char code[CURRENCY_CODE + 1] = "";
    struct overview_rate *rate = &asking->rates[asking->rate_count];
    if (length <= CURRENCY_CODE + 1 || text[CURRENCY_CODE] != ':' || asking->rate_count == RATES_MAX)
        return false;
    memcpy(code, text, CURRENCY_CODE);
    rate->of = currency_find(code);
    if (rate->of == NULL || rate->of == asking->sum_in ||
        !decimal_parse(text + CURRENCY_CODE + 1, length - CURRENCY_CODE - 1, &rate->rate) ||
        rate->rate.unscaled <= 0 || rate->rate.unscaled > MONEY_STATED_MAX)
        return false;
    for (size_t i = 0; i < asking->rate_count; i++)
        if (asking->rates[i].of == rate->of)
            return false;
    asking->rate_count++;
    return true;
}

static void read_rates(struct asking *asking)
{
    const char *at = asking->body.rates;
    while (at != NULL) {
        size_t length = strcspn(at, ",");
        if (!read_rate(asking, at, length)) {
            blame(asking, "rates", "must be rates as CAD:0.68,ISK:0.0067, each currency once");
            return;
        }
        at = at[length] == ',' ? at + length + 1 : NULL;
    }
}

/* A rate says nothing without the day that it is of, nor without the currency that it leads to. */
static void read_sum(struct asking *asking)
{
    const struct office_body *body = &asking->body;
    asking->sum_in = read_currency(asking, "sum_in", body->sum_in);
    read_rates(asking);
    if (body->rates != NULL && body->sum_in == NULL)
        blame(asking, "rates", "need sum_in, the currency that they lead to");
    if (body->rates != NULL && !body->has_rate_day)
        blame(asking, "rate_day", "must say of which day the rates are");
}

/* False: out of memory. */
static bool choose_schemes(struct asking *asking)
{
    const struct request *request = asking->request;
    const struct network *network = &request->snapshot->network;
    const bool *known = request_known_schemes(request);
    int32_t *ids = arena_array(request->arena, network->scheme_count + 1, sizeof *ids);
    if (known == NULL || ids == NULL)
        return false;
    for (size_t i = 0; i < network->scheme_count; i++) {
        const struct scheme *scheme = &network->schemes[i];
        if (known[scheme->id] && (asking->only == NULL || scheme->currency == asking->only))
            ids[asking->question.scheme_count++] = scheme->id;
    }
    asking->question.schemes = ids;
    return true;
}

/* A sum that leaves a currency out would be taken for the whole. */
static void check_rates(struct asking *asking)
{
    for (size_t i = 0; asking->sum_in != NULL && i < asking->overview.sum_count; i++) {
        const struct currency *currency = asking->overview.sums[i].currency;
        bool found = currency == asking->sum_in;
        for (size_t k = 0; k < asking->rate_count; k++)
            found = found || asking->rates[k].of == currency;
        if (!found)
            faults_add_parameter(&asking->answer->faults, REASON_PARAMETER_INVALID, "rates",
                                 "must have a rate for %s", currency->code);
    }
}

/* --- the answer ------------------------------------------------------------------------------------------
 */

static const char *const amount_names[] = {
#define X(name, word) [OVERVIEW_AMOUNT_##name] = #word,
    OVERVIEW_AMOUNT_TABLE(X)
#undef X
};

static const char *const count_names[] = {
#define X(name, word, ...) [OVERVIEW_COUNT_##name] = #word,
    OVERVIEW_COUNT_TABLE(X)
#undef X
};

static void add_amount(struct buffer *text, struct money amount, const struct currency *currency)
{
    char figure[MONEY_TEXT_MAX];
    money_format(amount, currency->decimals, figure);
    buffer_add_text(text, figure);
}

static void add_date(struct buffer *text, const char *name, struct date date)
{
    char day[DATE_TEXT_MAX];
    date_format(date, day);
    member_string(text, name, day);
}

static void add_amounts(struct buffer *text, const struct money amounts[static OVERVIEW_AMOUNTS],
                        const struct currency *currency)
{
    for (size_t i = 0; i < OVERVIEW_AMOUNTS; i++) {
        member_begin(text, amount_names[i]);
        buffer_add_char(text, '"');
        add_amount(text, amounts[i], currency);
        buffer_add_char(text, '"');
    }
}

static void add_count(struct buffer *text, const char *name, int64_t count)
{
    member_begin(text, name);
    buffer_add_integer(text, count);
}

static void add_row(struct buffer *text, const struct overview_row *row)
{
    element_begin(text);
    buffer_add_text(text, "\n{");
    member_string(text, "scheme", row->scheme->code);
    member_string(text, "worst", overview_states[overview_worst(row)]);
    member_string(text, "currency", row->scheme->currency->code);
    add_date(text, "business_date", row->today);
    add_amounts(text, row->amounts, row->scheme->currency);
    add_count(text, "payments_overdue", row->overdue);
    for (size_t i = 0; i < OVERVIEW_COUNTS; i++)
        add_count(text, count_names[i], row->counts[i]);
    add_count(text, "late_events", row->late_events);
    if (row->late_events > 0)
        add_date(text, "late_from", row->late_from);
    if (row->first_day != NULL)
        member_string(text, "first_day", row->first_day);
    if (row->count_before != NULL)
        member_string(text, "count_before", row->count_before);
    buffer_add_char(text, '}');
}

static void add_sums(struct buffer *text, const struct overview_sums *sums)
{
    buffer_add_char(text, '{');
    member_string(text, "currency", sums->currency->code);
    add_count(text, "schemes", sums->schemes);
    add_amounts(text, sums->amounts, sums->currency);
}

static void add_rates(struct buffer *text, const struct asking *asking)
{
    add_date(text, "rate_day", asking->body.rate_day);
    member_begin(text, "rates");
    buffer_add_char(text, '[');
    for (size_t i = 0; i < asking->rate_count; i++) {
        char rate[MONEY_TEXT_MAX];
        money_format((struct money){asking->rates[i].rate.unscaled}, asking->rates[i].rate.scale, rate);
        element_begin(text);
        buffer_add_char(text, '{');
        member_string(text, "of", asking->rates[i].of->code);
        member_string(text, "rate", rate);
        buffer_add_char(text, '}');
    }
    buffer_add_char(text, ']');
}

static void add_one(struct asking *asking)
{
    struct overview_sums one;
    struct buffer *text = &asking->answer->body;
    if (!overview_in_one(&asking->overview, asking->sum_in, asking->rates, asking->rate_count, &one)) {
        faults_add(&asking->answer->faults, REASON_OUT_OF_RANGE, NULL, "A sum over all schemes is too large");
        return;
    }
    member_begin(text, "in_one_currency");
    add_sums(text, &one);
    if (asking->rate_count > 0)
        add_rates(text, asking);
    buffer_add_char(text, '}');
}

static void write_json(struct asking *asking)
{
    struct buffer *text = &asking->answer->body;
    buffer_add_char(text, '{');
    member_begin(text, "items");
    buffer_add_char(text, '[');
    for (size_t i = 0; i < asking->overview.count; i++)
        add_row(text, &asking->overview.rows[i]);
    buffer_add_char(text, ']');
    member_begin(text, "currencies");
    buffer_add_char(text, '[');
    for (size_t i = 0; i < asking->overview.sum_count; i++) {
        element_begin(text);
        add_sums(text, &asking->overview.sums[i]);
        buffer_add_char(text, '}');
    }
    buffer_add_char(text, ']');
    if (asking->sum_in != NULL)
        add_one(asking);
    buffer_add_text(text, "}\n");
}

/* Codes and figures need no quotes. */
static void write_csv(struct asking *asking)
{
    struct buffer *text = &asking->answer->body;
    buffer_add_text(text, "scheme,worst,business_date");
    for (size_t i = 0; i < OVERVIEW_AMOUNTS; i++)
        buffer_printf(text, ",%s", amount_names[i]);
    buffer_add_text(text, ",payments_overdue");
    for (size_t i = 0; i < OVERVIEW_COUNTS; i++)
        buffer_printf(text, ",%s", count_names[i]);
    buffer_add_text(text, ",late_events,currency\r\n");
    for (size_t i = 0; i < asking->overview.count; i++) {
        const struct overview_row *row = &asking->overview.rows[i];
        char day[DATE_TEXT_MAX];
        date_format(row->today, day);
        buffer_printf(text, "%s,%s,%s", row->scheme->code, overview_states[overview_worst(row)], day);
        for (size_t k = 0; k < OVERVIEW_AMOUNTS; k++) {
            buffer_add_char(text, ',');
            add_amount(text, row->amounts[k], row->scheme->currency);
        }
        buffer_printf(text, ",%" PRId64, row->overdue);
        for (size_t k = 0; k < OVERVIEW_COUNTS; k++)
            buffer_printf(text, ",%" PRId64, row->counts[k]);
        buffer_printf(text, ",%" PRId64 ",%s\r\n", row->late_events, row->scheme->currency->code);
    }
    asking->answer->file_name = "office.csv";
}

void handle_office(const struct request *request, struct answer *answer)
{
    struct asking asking = {.request = request, .answer = answer};
    if (!query_decode(request, answer, &shape_office, NULL, &asking.body))
        return;
    asking.question = (struct overview_question){.network = &request->snapshot->network,
                                                 .key = request->identity->key,
                                                 .count_days = request->service->config->count_days};
    asking.only = read_currency(&asking, "currency", asking.body.currency);
    read_state(&asking);
    read_sum(&asking);
    if (answer->faults.count > 0)
        return;
    enum store_result result =
        choose_schemes(&asking)
            ? overview_read(request->pg, request->arena, &asking.question, &asking.overview, &answer->faults)
            : STORE_UNAVAILABLE;
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    check_rates(&asking);
    if (answer->faults.count > 0)
        return;
    if (answer->media == MEDIA_CSV)
        write_csv(&asking);
    else
        write_json(&asking);
}
