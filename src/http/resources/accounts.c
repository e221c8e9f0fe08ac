/* SPDX-License-Identifier: ISC */
/* The chart of accounts with its balances. */
#include "http/resources/handlers.h"

#include "http/request/reading.h"

void handle_accounts_list(const struct request *request, struct answer *answer)
{
    struct list_page page;
    struct date as_of = {INT32_MAX};
    const struct scheme *scheme = request_scheme(request, answer, request_query(request, "scheme"));
    if (scheme == NULL || !request_date(request, answer, "as_of", &as_of) ||
        !page_begin(request, answer, &page))
        return;
    enum store_result result =
        read_accounts(request->pg, scheme->id, as_of.days != INT32_MAX ? &as_of : NULL, &page);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else
        page_end(request, answer, &page, false);
}
