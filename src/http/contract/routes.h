/* SPDX-License-Identifier: ISC */
/* The table of routes, which names all handlers. */
#ifndef DEPOSITD_HTTP_CONTRACT_ROUTES_H
#define DEPOSITD_HTTP_CONTRACT_ROUTES_H

/* Gives the table to the wings below. Once, before there are threads. */
void routes_init(void);

#endif
