/* SPDX-License-Identifier: ISC */
/* GET /v1/me: what a till asks when it starts. */
#include "http/handlers.h"

#include "store/key_store.h"

void handle_me(const struct request *request, struct answer *answer)
{
    enum store_result result = store_key_self(request->pg, request->identity->key, &answer->body);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
}
