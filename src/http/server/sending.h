/* SPDX-License-Identifier: ISC */
/* Sends an answer while it is made. A short answer is sent when it is whole. When an answer grows long, the
 * exchange goes back to the server with the beginning, and the worker, which goes on making the answer, adds
 * the rest to a long_answer. A worker that makes a long answer cannot serve other requests, and each long
 * answer may need room on the disk. So the number of long answers is limited, and some workers always stay
 * free for other requests.
 *
 * If the worker cannot finish the answer, the client can tell, because the end of the chunked body (RFC 9112
 * section 7.1) does not come. A client of HTTP/1.0 could not tell, so for it the answer is kept until its
 * length is known. */
#ifndef DEPOSITD_HTTP_SERVER_SENDING_H
#define DEPOSITD_HTTP_SERVER_SENDING_H

#include "http/server/exchange.h"

/* For answer_goes_on, on the worker's thread. */
MUST_CHECK bool sending_pass_on(struct answer *answer);
/* Called when the worker is done with the answer. True: it is also done with the exchange, which was given
 * back before. */
MUST_CHECK bool sending_end(struct exchange *exchange);

#endif
