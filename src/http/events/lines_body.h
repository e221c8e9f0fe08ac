/* SPDX-License-Identifier: ISC */
/* Lists of cups in the bodies of events. */
#ifndef DEPOSITD_HTTP_EVENTS_LINES_BODY_H
#define DEPOSITD_HTTP_EVENTS_LINES_BODY_H

#include "depositd/event.h"
#include "http/request/shape.h"

/* A line of a list of cups, as the body has it. */
struct body_line {
    char cup_type[CODE_SIZE];
    int64_t quantity;
    char home[CODE_SIZE];
    int condition;         /* index into cup_conditions */
    struct shape_list ids; /* of struct cup_id */
};

/* The row of identities in the shape of a line. */
#define CUP_IDS(type, member)                                                                                \
    {                                                                                                        \
        .name = "ids", .form = FORM_CUP_IDS, .offset = offsetof(type, member), .minimum = 1,                 \
        .maximum = CUP_IDS_MAX,                                                                              \
        .description = "Identities of some of the cups: GRAI with serial number, as an element string, an "  \
                       "EPC URI or a GS1 Digital Link"                                                       \
    }

#define SHAPE(schema, type, list)                                                                            \
    {                                                                                                        \
        .name = (schema), .size = sizeof(type), .fields = (list),                                            \
        .field_count = sizeof(list) / sizeof(list)[0]                                                        \
    }

extern const char *const cup_conditions[];
/* Lines whose cups may be damaged. */
extern const struct shape cups_line_shape;
/* Lines of cups that customers hand back, which may carry another scheme's deposit. */
extern const struct shape returned_line_shape;

struct cup_line cup_line_of(const struct body_line *line);

/* Adds a fault if the line, whose pointer this is, has more identities than cups. */
void cup_line_check(const struct cup_line *line, const char *pointer, struct faults *faults);

/* Reads the list with this pointer ("/cups"). Faults: a cup type stands in it twice with one condition and
 * home; a line has more identities than cups. */
void lines_body_read(const char *pointer, const struct shape_list *list, struct cup_lines *cups,
                     struct faults *faults);

#endif
