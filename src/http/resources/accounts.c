/* SPDX-License-Identifier: ISC */
/* The chart of accounts with its balances. */
#include "http/resources/handlers.h"

#include "http/request/slice.h"

#include <string.h>

/* ACCOUNT_NONE: any kind. False: a fault has been added. */
static bool kind_asked(const struct request *request, struct answer *answer, enum account_kind *kind)
{
    const char *word = request_query(request, "account_kind");
    *kind = word != NULL ? account_kind_parse(word, strlen(word)) : ACCOUNT_NONE;
    if (word == NULL || *kind != ACCOUNT_NONE)
        return true;
    faults_add_parameter(&answer->faults, REASON_PARAMETER_INVALID, "account_kind", "is no kind of account");
    return false;
}

void handle_accounts_list(const struct request *request, struct answer *answer)
{
    struct list_slice slice;
    struct date as_of = {INT32_MAX};
    enum account_kind kind;
    const struct scheme *scheme = request_scheme(request, answer, request_query(request, "scheme"));
    if (scheme == NULL || !kind_asked(request, answer, &kind) ||
        !request_date(request, answer, "as_of", &as_of) || !slice_begin(request, answer, &slice))
        return;
    enum store_result result =
        read_accounts(request->pg, scheme->id, kind, as_of.days != INT32_MAX ? &as_of : NULL, &slice);
    slice_end(request, answer, result, &slice);
}
