/* SPDX-License-Identifier: ISC */
/* Payment files: makes them, lists them, and returns them as they were made. */
#include "http/resources/handlers.h"

#include "app/office/payment_file.h"
#include "http/request/slice.h"
#include "http/resources/bank_shapes.h"
#include "store/bank_store.h"

#include <stdio.h>
#include <string.h>

/* The scheme and the day of the path; NULL: an answer has been given. */
static const struct scheme *settlement_asked(const struct request *request, struct answer *answer,
                                             struct date *day)
{
    const struct scheme *scheme = request_scheme(request, answer, request->parts[0]);
    if (scheme == NULL || date_parse(request->parts[1], strlen(request->parts[1]), day))
        return scheme;
    answer_not_found(answer);
    return NULL;
}

void handle_file_post(const struct request *request, struct answer *answer)
{
    struct file_request asked;
    struct uuid file_id;
    struct payment_file_order order = {
        .key = request->identity->key,
        .dry_run = request->dry_run,
        .json = &answer->body,
        .file_id = &file_id,
    };
    const struct scheme *scheme = settlement_asked(request, answer, &order.day);
    json_t *body = scheme != NULL ? request_json(request, answer) : NULL;
    if (body == NULL || !shape_decode(&shape_file, body, "", NULL, &asked, &answer->faults))
        return;
    order.scheme = scheme->id;
    order.collections = asked.type == FILE_COLLECTIONS;
    enum store_result result =
        payment_file_make(request->pg, request->service->snapshots, &order, &answer->faults);
    if (result != STORE_OK) {
        answer_store_failure(answer, result);
    } else if (answer->faults.count > 0) {
        return;
    } else if (request->dry_run) {
        answer_mark_dry_run(answer);
    } else {
        char id[UUID_TEXT_MAX], location[UUID_TEXT_MAX + sizeof "/v1/files/"];
        uuid_format(&file_id, id);
        answer->location = arena_copy(request->arena, location,
                                      (size_t)snprintf(location, sizeof location, "/v1/files/%s", id));
        answer->status = 201;
    }
}

void handle_files_list(const struct request *request, struct answer *answer)
{
    struct list_slice slice;
    struct date day;
    const struct scheme *scheme = settlement_asked(request, answer, &day);
    if (scheme == NULL || !slice_begin(request, answer, &slice))
        return;
    enum store_result result = read_files(request->pg, scheme->id, day, &slice);
    slice_end(request, answer, result, &slice);
}

/* The hash of the file is a strong validator. */
void handle_file_get(const struct request *request, struct answer *answer)
{
    struct uuid id;
    char hash[SHA256_HEX_MAX], tag[SHA256_HEX_MAX + 2];
    bool found = false;
    enum store_result result = STORE_OK;
    if (uuid_parse(request->parts[0], strlen(request->parts[0]), &id))
        result = read_file(request->pg, &id, NULL, &answer->body, hash, &found);
    if (result != STORE_OK) {
        answer_store_failure(answer, result);
    } else if (!found) {
        answer_not_found(answer);
    } else {
        int length = snprintf(tag, sizeof tag, "\"%s\"", hash);
        answer->etag = arena_copy(request->arena, tag, (size_t)length);
    }
}
