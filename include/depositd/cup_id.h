/* SPDX-License-Identifier: ISC */
/* The identity of a single cup: a Global Returnable Asset Identifier with a serial number (GS1 General
 * Specifications, AI 8003). A scanner or a tag spells it in several ways. All spellings of a cup become one
 * text here: the 14 digits of the element string, then the serial number. Pure; any thread. */
#ifndef DEPOSITD_CUP_ID_H
#define DEPOSITD_CUP_ID_H

#include "depositd/attributes.h"

#include <stdbool.h>
#include <stddef.h>

enum {
    CUP_ID_TYPE_DIGITS = 14, /* of the asset type, with its check digit */
    CUP_ID_SERIAL_MAX = 16,
    CUP_ID_MAX = CUP_ID_TYPE_DIGITS + CUP_ID_SERIAL_MAX,
    CUP_ID_SIZE = CUP_ID_MAX + 1,
    CUP_ID_SPELLING_MAX = 300, /* bytes of a spelling; a Digital Link names a host and has parameters */
    CUP_IDS_MAX = 1000         /* of one line of an event */
};

struct cup_id {
    char text[CUP_ID_SIZE];
};

/* Reads any of these spellings, of `length` bytes (EPC Tag Data Standard, GS1 Digital Link):
 *   09521141123454A1                       the value
 *   (8003)09521141123454A1                 element string for people
 *   ]Q380030952114112345412                element string of a scanner: the symbology's mark and FNC1 (the
 *                                          byte GS) may stand before it, FNC1 after it
 *   urn:epc:id:grai:9521141.12345.A1       EPC URI, whose company prefix has 6 to 12 digits
 *   https://example.org/8003/09521141…     Digital Link, on any host, below any path
 * The check digit must be right, and the serial number must have 1 to 16 characters of GS1's set of 82.
 * False: it is no such identity. */
MUST_CHECK bool cup_id_parse(const char *text, size_t length, struct cup_id *id);

/* Whether the cup is of the asset type that a cup type states as its `grai`, whatever serial that has. */
MUST_CHECK bool cup_id_is_of(const struct cup_id *id, const char *grai);

#endif
