/* SPDX-License-Identifier: ISC */
/* A request has one or many shipments of one scheme. */
#include "http/resources/shipment_shapes.h"

#include "http/events/lines_body.h"

enum { NOTE_MAX_LENGTH = 200 };

#define X(name, word) #word,
static const char *const bearers[] = {BEARER_TABLE(X) NULL};
#undef X

#define MEMBER(type, member, of_form)                                                                        \
    .name = #member, .form = of_form, .offset = offsetof(struct type, member)

static const struct field shipment_fields[] = {
    {MEMBER(shipment_body, site, FORM_CODE), .required = true, .description = "Code of the site that sends"},
    {MEMBER(shipment_body, to, FORM_CODE), .required = true,
     .description = "Code of the site that they are sent to"},
    {MEMBER(shipment_body, wanted_on, FORM_DATE), .required = true,
     .description = "The day by which they should be sent"},
    {MEMBER(shipment_body, cups, FORM_LIST), .required = true, .minimum = 1, .maximum = CUP_LINES_MAX,
     .shape = &cups_line_shape, .description = "Each cup type, with its condition, once"},
    {MEMBER(shipment_body, note, FORM_TEXT), .minimum = 1, .maximum = NOTE_MAX_LENGTH,
     .description = "For the people at both sites; no personal data"},
    {MEMBER(shipment_body, bearer, FORM_WORD), .words = bearers,
     .present_offset = offsetof(struct shipment_body, has_bearer),
     .description = "Bearer of cups lost on the road, as agreed; the scheme's loss_bearer unless given"},
    {MEMBER(shipment_body, shipment, FORM_UUID),
     .present_offset = offsetof(struct shipment_body, has_shipment),
     .description = "Its id, unique in the scheme for ever; a retry repeats it. Made here unless given"},
};
static const struct shape shape_shipment = SHAPE("ShipmentAsked", struct shipment_body, shipment_fields);

static const struct field shipments_fields[] = {
    {MEMBER(shipments_body, scheme, FORM_CODE), .required = true, .description = "Code of the scheme"},
    {MEMBER(shipments_body, shipments, FORM_LIST), .required = true, .minimum = 1, .maximum = SHIPMENTS_MAX,
     .shape = &shape_shipment, .description = "All are kept, or none"},
};
const struct shape shape_shipments = SHAPE("ShipmentsAsked", struct shipments_body, shipments_fields);
