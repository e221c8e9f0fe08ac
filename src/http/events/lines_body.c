/* SPDX-License-Identifier: ISC */
/* Lines of cups: their shape, and the check that each cup type stands in a list once. */
#include "http/events/lines_body.h"

#include <stdio.h>
#include <string.h>

enum { POINTER_MAX = 96 };

enum condition { CONDITION_SOUND, CONDITION_DAMAGED };
const char *const cup_conditions[] = {[CONDITION_SOUND] = "sound", [CONDITION_DAMAGED] = "damaged", NULL};

/* clang-format off */
#define IN_LINE(member, of_form) .name = #member, .form = of_form, .offset = offsetof(struct body_line, member)
#define CUP_TYPE {IN_LINE(cup_type, FORM_CODE), .required = true, .description = "Code of the cup type"}
#define QUANTITY {IN_LINE(quantity, FORM_INTEGER), .required = true, .minimum = 1, .maximum = QUANTITY_MAX}
#define CONDITION {IN_LINE(condition, FORM_WORD), .words = cup_conditions, \
                   .description = "sound unless it says damaged"}
#define HOME {IN_LINE(home, FORM_CODE), \
              .description = "Code of the scheme whose deposit the cups carry; the site's own unless given"}
/* clang-format on */

static const struct field line_fields[] = {CUP_TYPE, QUANTITY, CONDITION, CUP_IDS(struct body_line, ids)};
static const struct field returned_fields[] = {CUP_TYPE, QUANTITY, CONDITION, HOME,
                                               CUP_IDS(struct body_line, ids)};

const struct shape cups_line_shape = SHAPE("Cups", struct body_line, line_fields);
const struct shape returned_line_shape = SHAPE("ReturnedCups", struct body_line, returned_fields);

struct cup_line cup_line_of(const struct body_line *line)
{
    struct cup_line read = {.damaged = line->condition == CONDITION_DAMAGED,
                            .quantity = {line->quantity},
                            .ids = line->ids.items,
                            .id_count = line->ids.count};
    memcpy(read.cup_type, line->cup_type, CODE_SIZE);
    memcpy(read.home, line->home, CODE_SIZE);
    return read;
}

void cup_line_check(const struct cup_line *line, const char *pointer, struct faults *faults)
{
    char ids[POINTER_MAX + sizeof "/ids"];
    if ((int64_t)line->id_count <= line->quantity.count)
        return;
    snprintf(ids, sizeof ids, "%s/ids", pointer);
    faults_add(faults, REASON_TOO_MANY, ids, "are more than the cups of the line");
}

static bool is_same(const struct cup_line *a, const struct cup_line *b)
{
    return a->damaged == b->damaged && strcmp(a->cup_type, b->cup_type) == 0 && strcmp(a->home, b->home) == 0;
}

/* Lists have at most a hundred lines, so comparing each with each is as fast as sorting. */
static void check_once(const char *list, const struct cup_line *lines, size_t count, struct faults *faults)
{
    char pointer[POINTER_MAX];
    for (size_t i = 1; i < count; i++)
        for (size_t before = 0; before < i; before++)
            if (is_same(&lines[i], &lines[before])) {
                snprintf(pointer, sizeof pointer, "%s/%zu/cup_type", list, i);
                faults_add(faults, REASON_CUP_TYPE_REPEATED, pointer, "stands in the list already");
                break;
            }
}

void lines_body_read(const char *pointer, const struct shape_list *list, struct cup_lines *cups,
                     struct faults *faults)
{
    const struct body_line *lines = list->items;
    if (list->count == 0)
        return;
    struct cup_line *read = arena_array(faults->arena, list->count, sizeof *read);
    if (read == NULL) {
        faults_add(faults, REASON_OVERLOADED, NULL, "out of memory");
        return;
    }
    for (size_t i = 0; i < list->count; i++) {
        char line[POINTER_MAX];
        read[i] = cup_line_of(&lines[i]);
        snprintf(line, sizeof line, "%s/%zu", pointer, i);
        cup_line_check(&read[i], line, faults);
    }
    *cups = (struct cup_lines){.lines = read, .count = list->count};
    check_once(pointer, read, list->count, faults);
}
