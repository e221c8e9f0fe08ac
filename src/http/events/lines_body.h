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
    int condition; /* index into cup_conditions */
};

#define SHAPE(schema, type, list)                                                                            \
    {                                                                                                        \
        .name = (schema), .size = sizeof(type), .fields = (list),                                            \
        .field_count = sizeof(list) / sizeof(list)[0]                                                        \
    }

extern const char *const cup_conditions[];
/* Lines whose cups may be damaged. */
extern const struct shape cups_line_shape;

struct cup_line cup_line_of(const struct body_line *line);

/* Reads the list with this pointer ("/cups"). A fault: a cup type stands in it twice with one condition. */
void lines_body_read(const char *pointer, const struct shape_list *list, struct cup_lines *cups,
                     struct faults *faults);

#endif
