/* SPDX-License-Identifier: ISC */
/* /v1/me: the key's own data, which a till reads when it starts, and a new secret for the key. */
#include "http/resources/handlers.h"

#include "app/network/keys.h"

void handle_me(const struct request *request, struct answer *answer)
{
    enum store_result result = store_key_self(request->pg, request->identity->key, &answer->body);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
}

void handle_me_renew(const struct request *request, struct answer *answer)
{
    struct change_author author = {.key = request->identity->key};
    char secret[KEY_SECRET_SIZE];
    if (!request_why(request, answer, &author.why))
        return;
    enum store_result result =
        key_renew(request->pg, &author, request->dry_run, &answer->body, secret, &answer->faults);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else if (answer->faults.count == 0)
        answer_new_key(answer, secret, request->dry_run);
}
