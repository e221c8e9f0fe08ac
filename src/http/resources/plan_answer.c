/* SPDX-License-Identifier: ISC */
/* Writes a plan. Cups that move are whole boxes, and are told in cups; figures that are foreseen have one
 * decimal. */
#include "http/resources/plan_answer.h"

#include "http/resources/plan_requests.h"

#include <inttypes.h>
#include <stdio.h>

static void add_amount(struct buffer *text, const struct cup_plan_question *question, struct money amount)
{
    char figure[MONEY_TEXT_MAX];
    money_format(amount, question->scheme->currency->decimals, figure);
    buffer_add_text(text, figure);
}

static void add_date(struct buffer *text, const char *name, struct date date)
{
    char day[DATE_TEXT_MAX];
    date_format(date, day);
    buffer_printf(text, ",\"%s\":\"%s\"", name, day);
}

static void add_money(struct buffer *text, const char *name, const struct cup_plan_question *question,
                      struct money amount)
{
    buffer_printf(text, ",\"%s\":\"", name);
    add_amount(text, question, amount);
    buffer_add_char(text, '"');
}

/* A fraction as 0.95, with the digits that it needs, but at least two. */
static void add_rate(struct buffer *text, const char *name, struct rate rate)
{
    char digits[16];
    snprintf(digits, sizeof digits, "%06d", rate.ppm % PPM);
    for (size_t last = 5; last > 1 && digits[last] == '0'; last--)
        digits[last] = '\0';
    buffer_printf(text, ",\"%s\":\"%d.%s\"", name, rate.ppm / PPM, digits);
}

static int64_t hauls_of(const struct cup_plan *plan)
{
    int64_t hauls = 0;
    for (size_t i = 0; i < plan->moves.shipment_count; i++)
        hauls += plan->moves.shipments[i].hauls;
    return hauls;
}

static void add_head(struct buffer *text, const struct cup_plan_question *question,
                     const struct cup_plan *plan)
{
    buffer_printf(text, "{\"scheme\":\"%s\",\"currency\":\"%s\"", question->scheme->code,
                  question->scheme->currency->code);
    add_date(text, "date", question->date);
    buffer_printf(text, ",\"days\":%u", question->days);
    add_rate(text, "service_level", question->service_level);
    add_date(text, "history_from", plan->from);
    add_date(text, "history_to", plan->to);
    add_money(text, "cost_per_km", question, question->terms.per_km);
    add_money(text, "cost_per_stop", question, question->terms.per_stop);
    buffer_printf(text, ",\"minimum_load\":%" PRId64, question->terms.minimum_load.count);
    if (question->terms.haul_boxes > 0)
        buffer_printf(text, ",\"haul_boxes\":%" PRId64, question->terms.haul_boxes);
    buffer_printf(text, ",\"hauls\":%" PRId64, hauls_of(plan));
    add_money(text, "cost", question, plan->moves.cost);
    add_money(text, "bound", question, plan->moves.bound);
    buffer_printf(text, ",\"gap\":\"%.4f\"", moves_gap(&plan->moves));
}

static void add_lines(struct buffer *text, const struct cup_plan *plan, const struct moves_shipment *shipment)
{
    buffer_add_text(text, ",\"cups\":[");
    for (size_t i = 0; i < shipment->line_count; i++) {
        const struct moves_line *line = &plan->moves.lines[shipment->first_line + i];
        const struct cup_plan_type *type = &plan->types[line->type];
        buffer_printf(text, "%s{\"cup_type\":\"%s\",\"quantity\":%" PRId64 ",\"boxes\":%" PRId64 "}",
                      i > 0 ? "," : "", type->cup_type->code, line->boxes * type->box, line->boxes);
    }
    buffer_add_char(text, ']');
}

static void add_shipments(struct buffer *text, const struct cup_plan_question *question,
                          const struct cup_plan *plan)
{
    buffer_add_text(text, ",\"shipments\":[");
    for (size_t i = 0; i < plan->moves.shipment_count; i++) {
        const struct moves_shipment *shipment = &plan->moves.shipments[i];
        buffer_printf(text, "%s{\"from\":\"%s\",\"to\":\"%s\"", i > 0 ? ",\n" : "\n",
                      plan->places[shipment->from].site->code, plan->places[shipment->to].site->code);
        add_lines(text, plan, shipment);
        if (shipment->distance_m >= 0)
            buffer_printf(text, ",\"distance_km\":\"%.1f\"", shipment->distance_m / 1000);
        buffer_printf(text, ",\"hauls\":%" PRId64, shipment->hauls);
        add_money(text, "cost", question, shipment->cost);
        buffer_add_char(text, '}');
    }
    buffer_add_char(text, ']');
}

static void add_errors(struct buffer *text, double expected, double error, double error_last_week)
{
    buffer_printf(
        text,
        ",\"expected_demand\":\"%.1f\",\"forecast_error\":\"%.1f\",\"error_same_day_last_week\":\"%.1f\"",
        expected, error, error_last_week);
}

static const char *const sites_by[] = {
    [FORECAST_LAST_WEEK] = "sites_by_same_day_last_week",
    [FORECAST_LEVEL] = "sites_by_level",
    [FORECAST_WEEKLY] = "sites_by_level_and_weekday",
};

/* The boxes that were asked for and are not to be had: as many would have to be bought, or come back first.
 */
static void add_types(struct buffer *text, const struct cup_plan *plan)
{
    buffer_add_text(text, ",\"cup_types\":[");
    for (size_t i = 0; i < plan->type_count; i++) {
        const struct cup_plan_type *type = &plan->types[i];
        const struct moves_balance *boxes = &type->boxes;
        buffer_printf(text, "%s{\"cup_type\":\"%s\",\"box\":%" PRId64, i > 0 ? ",\n" : "\n",
                      type->cup_type->code, type->box);
        add_errors(text, type->expected, type->error, type->error_last_week);
        for (int method = 0; method < FORECAST_METHODS; method++)
            buffer_printf(text, ",\"%s\":%" PRId64, sites_by[method], type->sites[method]);
        buffer_printf(text,
                      ",\"surplus\":%" PRId64 ",\"need\":%" PRId64 ",\"moved\":%" PRId64 ",\"left\":%" PRId64
                      ",\"short\":%" PRId64 "}",
                      boxes->surplus * type->box, boxes->need * type->box, boxes->received * type->box,
                      (boxes->share - boxes->received) * type->box, (boxes->need - boxes->share) * type->box);
    }
    buffer_add_char(text, ']');
}

static int64_t box_of(const struct cup_plan_question *question, const struct cup_plan_cell *cell)
{
    return question->box[cell->cup_type->id];
}

static void add_sites(struct buffer *text, const struct cup_plan_question *question,
                      const struct cup_plan *plan)
{
    buffer_add_text(text, ",\"sites\":[");
    for (size_t i = 0; i < plan->cell_count; i++) {
        const struct cup_plan_cell *cell = &plan->cells[i];
        int64_t box = box_of(question, cell);
        buffer_printf(text,
                      "%s{\"site\":\"%s\",\"cup_type\":\"%s\",\"stock\":%" PRId64 ",\"awaited\":%" PRId64
                      ",\"promised\":%" PRId64 ",\"expected_stock\":%" PRId64,
                      i > 0 ? ",\n" : "\n", cell->site->code, cell->cup_type->code, cell->stock,
                      cell->awaited, cell->promised, cell->expected_stock);
        if (cell->foreseen) {
            add_errors(text, cell->expected, cell->error, cell->error_last_week);
            buffer_printf(text, ",\"method\":\"%s\",\"quantile\":\"%s\"", forecast_method_word(cell->method),
                          par_basis_word(cell->par_basis));
        }
        if (cell->basis != PLAN_UNKNOWN)
            buffer_printf(text, ",\"par\":%" PRId64, cell->par);
        buffer_printf(text,
                      ",\"par_by\":\"%s\",\"surplus\":%" PRId64 ",\"need\":%" PRId64 ",\"sends\":%" PRId64
                      ",\"gets\":%" PRId64 "}",
                      plan_basis_word(cell->basis), cell->boxes.surplus * box, cell->boxes.need * box,
                      cell->boxes.sent * box, cell->boxes.received * box);
    }
    buffer_add_char(text, ']');
}

static void add_places(struct buffer *text, const struct cup_plan *plan)
{
    buffer_add_text(text, ",\"places\":[");
    for (size_t i = 0; i < plan->place_count; i++) {
        const struct cup_plan_place *place = &plan->places[i];
        buffer_printf(text, "%s{\"site\":\"%s\"", i > 0 ? ",\n" : "\n", place->site->code);
        if (place->placed)
            buffer_printf(text, ",\"latitude\":%.7f,\"longitude\":%.7f", place->at.latitude,
                          place->at.longitude);
        buffer_add_char(text, '}');
    }
    buffer_add_char(text, ']');
}

void plan_json(struct buffer *text, const struct cup_plan_question *question, const struct cup_plan *plan)
{
    add_head(text, question, plan);
    add_shipments(text, question, plan);
    buffer_add_text(text, ",\"requests\":[");
    plan_requests(text, question, plan);
    buffer_add_char(text, ']');
    add_types(text, plan);
    add_sites(text, question, plan);
    add_places(text, plan);
    buffer_add_char(text, '}');
}

/* Codes and figures need no quotes. */
void plan_csv(struct buffer *text, const struct cup_plan_question *question, const struct cup_plan *plan)
{
    buffer_add_text(text, "from,to,cup_type,quantity,boxes,distance_km,hauls,cost,scheme,currency\r\n");
    for (size_t i = 0; i < plan->moves.shipment_count; i++) {
        const struct moves_shipment *shipment = &plan->moves.shipments[i];
        for (size_t k = 0; k < shipment->line_count; k++) {
            const struct moves_line *line = &plan->moves.lines[shipment->first_line + k];
            const struct cup_plan_type *type = &plan->types[line->type];
            buffer_printf(text, "%s,%s,%s,%" PRId64 ",%" PRId64 ",", plan->places[shipment->from].site->code,
                          plan->places[shipment->to].site->code, type->cup_type->code,
                          line->boxes * type->box, line->boxes);
            if (shipment->distance_m >= 0)
                buffer_printf(text, "%.1f", shipment->distance_m / 1000);
            buffer_add_char(text, ',');
            if (k == 0)
                buffer_add_integer(text, shipment->hauls);
            buffer_add_char(text, ',');
            if (k == 0)
                add_amount(text, question, shipment->cost);
            buffer_printf(text, ",%s,%s\r\n", question->scheme->code, question->scheme->currency->code);
        }
    }
}
