/* SPDX-License-Identifier: ISC */
/* /v1/keys: lists, makes and revokes keys, and changes the language of their pages. */
#include "app/network/keys.h"

#include "http/request/slice.h"
#include "http/resources/handlers.h"
#include "http/resources/proposing.h"
#include "http/resources/reference_shapes.h"

void handle_keys_list(const struct request *request, struct answer *answer)
{
    struct key_slice wanted;
    struct json_slice slice;
    if (!slice_begin_keys(request, answer, &wanted))
        return;
    enum store_result result =
        store_key_read(request->pg, NULL, wanted.after, wanted.asked.limit, &answer->body, &slice);
    slice_end_keys(request, answer, &wanted, result, &slice);
}

void handle_keys_post(const struct request *request, struct answer *answer)
{
    struct key_request key;
    char secret[KEY_SECRET_SIZE];
    json_t *body = request_json(request, answer);
    if (body == NULL || !shape_decode(&shape_key_post, body, "", NULL, &key, &answer->faults))
        return;
    struct control control = control_of(request, answer, PROPOSAL_KEY, key.name);
    if (!request_why(request, answer, &control.author.why))
        return;
    enum store_result result = key_add(request->pg, &key, &control, &answer->body, secret, &answer->faults);
    if (result != STORE_OK) {
        answer_store_failure(answer, result);
    } else if (answer->faults.count == 0) {
        answer->status = request->dry_run ? 200 : 201;
        if (control.proposed)
            answer_proposed(request, answer);
        answer_new_key(answer, secret, request->dry_run || control.was_already);
    }
}

void approve_key(const struct request *request, struct answer *answer, const struct kept_write *kept,
                 json_t *body, struct control *control)
{
    struct key_request key;
    if (!shape_decode(&shape_key_post, body, "", NULL, &key, &answer->faults))
        return;
    enum store_result result = key_add_approved(request->pg, &key, kept, control, &answer->faults);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
}

void handle_key_delete(const struct request *request, struct answer *answer)
{
    struct change_author author = {.key = request->identity->key};
    if (!request_why(request, answer, &author.why))
        return;
    enum store_result result =
        key_revoke(request->pg, request->parts[0], &author, request->dry_run, &answer->faults);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
    else
        answer->status = 204;
}

/* `name` NULL: of the caller's own key. */
static void change_language(const struct request *request, struct answer *answer, const char *name)
{
    struct key_language change;
    struct change_author author = {.key = request->identity->key};
    json_t *body = request_json(request, answer);
    if (body == NULL || !shape_decode(&shape_key_language, body, "", NULL, &change, &answer->faults) ||
        !request_why(request, answer, &author.why))
        return;
    change.name = name;
    enum store_result result =
        key_change_language(request->pg, &change, &author, request->dry_run, &answer->body, &answer->faults);
    if (result != STORE_OK)
        answer_store_failure(answer, result);
}

void handle_key_language(const struct request *request, struct answer *answer)
{
    change_language(request, answer, request->parts[0]);
}

void handle_me_language(const struct request *request, struct answer *answer)
{
    change_language(request, answer, NULL);
}
