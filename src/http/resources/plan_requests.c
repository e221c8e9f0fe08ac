/* SPDX-License-Identifier: ISC */
/* Each pair of sites becomes a shipment. It becomes several only if a line would have more cups than a line
 * may have. The cups should leave on the plan's day for it. */
#include "http/resources/plan_requests.h"

#include "http/request/form_body.h"
#include "http/resources/shipment_shapes.h"

#include <assert.h>
#include <inttypes.h>

/* A form has about four fields for each line, and twelve for each shipment besides. A form with so many lines
 * stays below the most fields that are read. */
enum { LINES_MAX = 500 };

static_assert((int)MOVES_TYPES_MAX <= (int)CUP_LINES_MAX, "a shipment takes all cup types");
static_assert(4 * LINES_MAX + 12 * SHIPMENTS_MAX + 100 <= (int)FORM_FIELDS_MAX, "a form is read whole");

struct writing {
    struct buffer *text;
    const struct cup_plan *plan;
    const char *scheme;
    char wanted_on[DATE_TEXT_MAX];
    size_t requests;
    size_t shipments, lines; /* of the last request */
};

/* The boxes of a line that go with a part: the first part is 0. Not above 0: none are left. */
static int64_t boxes_in(const struct writing *writing, const struct moves_line *line, int64_t part)
{
    int64_t most = QUANTITY_MAX / writing->plan->types[line->type].box;
    int64_t left = line->boxes - part * most;
    return left < most ? left : most;
}

/* How many lines go with a part. */
static size_t lines_in(const struct writing *writing, const struct moves_shipment *shipment, int64_t part)
{
    size_t count = 0;
    for (size_t i = 0; i < shipment->line_count; i++)
        count += boxes_in(writing, &writing->plan->moves.lines[shipment->first_line + i], part) > 0;
    return count;
}

/* Begins another request if the last one is full. */
static void begin_shipment(struct writing *writing, size_t lines)
{
    if (writing->requests == 0 || writing->shipments == SHIPMENTS_MAX || writing->lines + lines > LINES_MAX) {
        buffer_printf(writing->text, "%s\n{\"scheme\":\"%s\",\"shipments\":[",
                      writing->requests > 0 ? "]}," : "", writing->scheme);
        writing->requests++;
        writing->shipments = writing->lines = 0;
    }
    buffer_add_text(writing->text, writing->shipments > 0 ? ",\n" : "\n");
    writing->shipments++;
    writing->lines += lines;
}

static void add_part(struct writing *writing, const struct moves_shipment *shipment, int64_t part)
{
    const struct cup_plan *plan = writing->plan;
    const char *before = "";
    begin_shipment(writing, lines_in(writing, shipment, part));
    buffer_printf(writing->text, "{\"site\":\"%s\",\"to\":\"%s\",\"wanted_on\":\"%s\",\"cups\":[",
                  plan->places[shipment->from].site->code, plan->places[shipment->to].site->code,
                  writing->wanted_on);
    for (size_t i = 0; i < shipment->line_count; i++) {
        const struct moves_line *line = &plan->moves.lines[shipment->first_line + i];
        const struct cup_plan_type *type = &plan->types[line->type];
        int64_t boxes = boxes_in(writing, line, part);
        if (boxes <= 0)
            continue;
        buffer_printf(writing->text, "%s{\"cup_type\":\"%s\",\"quantity\":%" PRId64 "}", before,
                      type->cup_type->code, boxes * type->box);
        before = ",";
    }
    buffer_add_text(writing->text, "]}");
}

void plan_requests(struct buffer *text, const struct cup_plan_question *question, const struct cup_plan *plan)
{
    struct writing writing = {.text = text, .plan = plan, .scheme = question->scheme->code};
    date_format(plan->leave, writing.wanted_on);
    for (size_t i = 0; i < plan->moves.shipment_count; i++) {
        const struct moves_shipment *shipment = &plan->moves.shipments[i];
        for (int64_t part = 0; lines_in(&writing, shipment, part) > 0; part++)
            add_part(&writing, shipment, part);
    }
    if (writing.requests > 0)
        buffer_add_text(text, "]}");
}
