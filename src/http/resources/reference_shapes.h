/* SPDX-License-Identifier: ISC */
/* The shapes of reference data and keys in request bodies. The body for putting a thing has the members of
 * the thing in the reference document, without those that the path names. Both shapes use the same array of
 * fields. */
#ifndef DEPOSITD_HTTP_RESOURCES_REFERENCE_SHAPES_H
#define DEPOSITD_HTTP_RESOURCES_REFERENCE_SHAPES_H

#include "http/request/csv_body.h"

/* Fill the rows of store/reference_store.h. */
extern const struct shape shape_cup_type_put;
extern const struct shape shape_participant_put;
extern const struct shape shape_scheme_put;
extern const struct shape shape_terms_put;
extern const struct shape shape_refund_value_put;
extern const struct shape shape_office_accounts_put;
extern const struct shape shape_site_put;
extern const struct shape shape_tax_registration_put;
extern const struct shape shape_site_kind_put;
extern const struct shape shape_agreement_put;

/* Fills struct reference with the reference document. */
extern const struct shape shape_reference;

/* Fills the same struct with the refund values of a single scheme. */
extern const struct shape shape_refund_values;

/* The CSV for lists of one kind, which become the documents above. */
extern const struct csv_form csv_cup_types, csv_participants, csv_sites, csv_refund_values;

/* Fills struct key_request. */
extern const struct shape shape_key_post;
extern const struct shape shape_key_language;

#endif
