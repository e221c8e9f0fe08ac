/* SPDX-License-Identifier: ISC */
/* GET /v1/checks: checks the invariants of the books now. */
#include "http/resources/handlers.h"

#include "app/proof/checks.h"

#include <string.h>

static void add_result(struct buffer *text, const struct check_result *result)
{
    buffer_printf(text,
                  "{\"check\":\"%s\",\"scheme\":\"%s\",\"verdict\":\"%s\",\"examined\":%lld,\"broken\":%lld,"
                  "\"detail\":",
                  result->check->name, result->scheme->code, result->broken == 0 ? "holds" : "broken",
                  (long long)result->examined, (long long)result->broken);
    buffer_add_json_string(text, result->detail, strlen(result->detail));
    buffer_add_char(text, '}');
}

void handle_checks(const struct request *request, struct answer *answer)
{
    const char *code = request_query(request, "scheme");
    struct check_results results;
    if (code != NULL && request_scheme(request, answer, code) == NULL)
        return;
    if (atomic_flag_test_and_set(&request->service->checking)) {
        faults_add(&answer->faults, REASON_OVERLOADED, NULL, "checks are being run for somebody else");
        return;
    }
    enum store_result result = checks_run(request->pg, request->arena, code, NULL, NULL, &results);
    atomic_flag_clear(&request->service->checking);
    if (result != STORE_OK) {
        answer_store_failure(answer, result);
        return;
    }
    buffer_printf(&answer->body, "{\"verdict\":\"%s\",\"items\":[", results.hold ? "holds" : "broken");
    for (size_t i = 0; i < results.count; i++) {
        buffer_add_text(&answer->body, i > 0 ? ",\n" : "\n");
        add_result(&answer->body, &results.items[i]);
    }
    buffer_add_text(&answer->body, "]}\n");
}
