/* SPDX-License-Identifier: ISC */
/* Sending an answer while it is made. An answer that stays short is sent when it is whole, as ever. Of one
 * that grows, the exchange goes back to the server with its beginning, and the worker, which goes on making
 * it, adds the rest to a long_answer. A worker that long answers hold is not there for others, so that some
 * workers are always left to them; and each may need room on the disk, so that there are only so many.
 *
 * If it can't be made to its end, the client can tell: what ends the chunked body (RFC 9112 section 7.1) does
 * not come. A client of HTTP/1.0 could not, so that for it the answer is kept until its length is known. */
#ifndef DEPOSITD_HTTP_SERVER_SENDING_H
#define DEPOSITD_HTTP_SERVER_SENDING_H

#include "http/server/exchange.h"

/* For answer_goes_on, on the worker's thread. */
MUST_CHECK bool sending_pass_on(struct answer *answer);
/* The worker is done with the answer. True: and with the exchange, which had been given back before. */
MUST_CHECK bool sending_end(struct exchange *exchange);

#endif
