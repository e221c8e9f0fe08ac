/* SPDX-License-Identifier: ISC */
/* The shape of JSON bodies, as tables: the members that an object may have, their forms, and their places in
 * a C struct.
 *
 * A walk over such a table checks a body (all its faults at once, each with its pointer) and fills the
 * struct. Another walk writes the JSON Schema for the OpenAPI document. Strings and lists are put into the
 * arena of the faults, unless another one is given. */
#ifndef DEPOSITD_HTTP_REQUEST_SHAPE_H
#define DEPOSITD_HTTP_REQUEST_SHAPE_H

#include "app/transaction/fault.h"
#include "base/buffer.h"

#include <jansson.h>
#include <stddef.h>

enum form {
    FORM_CODE,     /* [a-z0-9][a-z0-9-]{0,31}          -> char[CODE_SIZE] */
    FORM_TEXT,     /* UTF-8, min..max characters        -> const char * */
    FORM_WORD,     /* one of words[]                    -> int (its index) */
    FORM_INTEGER,  /* JSON integer, min..max            -> int64_t */
    FORM_BOOLEAN,  /*                                   -> bool */
    FORM_AMOUNT,   /* decimal string, min..max of its sign: min 0 means not negative -> struct decimal */
    FORM_RATE,     /* decimal string of 0 to 1          -> struct rate */
    FORM_NUMBER,   /* any JSON number, min..max         -> double (latitude, longitude) */
    FORM_UUID,     /*                                   -> struct uuid */
    FORM_INSTANT,  /* RFC 3339                          -> struct instant */
    FORM_DATE,     /* YYYY-MM-DD                        -> struct date */
    FORM_TIME,     /* HH:MM, 00:00 to 23:59             -> int64_t minutes */
    FORM_PAY_DAYS, /* daily, list of weekdays or of days of the month -> struct pay_days */
    FORM_CUP_IDS,  /* list of identities of cups, in any spelling -> struct shape_list of struct cup_id */
    FORM_OBJECT,   /* of shape                          -> embedded struct */
    FORM_LIST      /* min..max elements of shape        -> struct shape_list */
};

struct shape_list {
    void *items; /* array of the element shape's struct */
    size_t count;
};

struct field {
    const char *name;
    enum form form;
    bool required;
    size_t offset;
    int64_t minimum, maximum;
    const char *const *words;  /* FORM_WORD; NULL-ended */
    const struct shape *shape; /* FORM_OBJECT: its shape; FORM_LIST: the shape of each element */
    size_t present_offset;     /* of a bool that says whether the member was there; 0: there is none */
    const char *description;   /* for the document */
    /* FORM_LIST: of a bool in each element's struct; 0: there is none. It becomes true if the element has a
     * fault of its own. A fault in a list within the element is not, if that list notes faults as well. */
    size_t faulty_offset;
};

struct shape {
    const char *name; /* the component schema's */
    size_t size;      /* of the struct */
    const struct field *fields;
    size_t field_count;
    /* A list of bare texts rather than objects: the form of each element. `fields` then has a single field,
     * with the name "". */
    bool bare;
};

/* Whether the text has the form of a code. */
bool shape_is_code(const char *text, size_t length);

/* Decodes `json` into `into` (shape->size bytes, which start as a copy of `defaults`, or as zeros if that is
 * NULL). Faults go to `faults`, with pointers that begin with `pointer`. True: no fault was added. */
MUST_CHECK bool shape_decode(const struct shape *shape, const json_t *json, const char *pointer,
                             const void *defaults, void *into, struct faults *faults);
/* The same from zeros, with texts and lists in memory of the arena, which may end before the faults do. */
MUST_CHECK bool shape_decode_within(struct arena *arena, const struct shape *shape, const json_t *json,
                                    const char *pointer, void *into, struct faults *faults);

#endif
