/* SPDX-License-Identifier: ISC */
/* The shapes of reference data and keys in request bodies. A thing that is put has the members that the
 * reference document has for it, less those that its path names: both are views of one array of fields. */
#ifndef DEPOSITD_HTTP_RESOURCES_REFERENCE_SHAPES_H
#define DEPOSITD_HTTP_RESOURCES_REFERENCE_SHAPES_H

#include "http/request/shape.h"

/* Into the rows of store/reference_store.h. */
extern const struct shape shape_cup_type_put;
extern const struct shape shape_participant_put;
extern const struct shape shape_scheme_put;
extern const struct shape shape_terms_put;
extern const struct shape shape_refund_value_put;
extern const struct shape shape_site_put;

/* The reference document, into struct reference. */
extern const struct shape shape_reference;

/* Into struct key_request. */
extern const struct shape shape_key_post;

#endif
