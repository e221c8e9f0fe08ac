/* SPDX-License-Identifier: ISC */
/* The chart of accounts with its balances. */
#include "http/resources/handlers.h"

#include "http/request/slice.h"

void handle_accounts_list(const struct request *request, struct answer *answer)
{
    struct list_slice slice;
    struct date as_of = {INT32_MAX};
    const struct scheme *scheme = request_scheme(request, answer, request_query(request, "scheme"));
    if (scheme == NULL || !request_date(request, answer, "as_of", &as_of) ||
        !slice_begin(request, answer, &slice))
        return;
    enum store_result result =
        read_accounts(request->pg, scheme->id, as_of.days != INT32_MAX ? &as_of : NULL, &slice);
    slice_end(request, answer, result, &slice);
}
