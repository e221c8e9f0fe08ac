/* SPDX-License-Identifier: ISC */
/* GET /: the reader's tasks, the present state of its network, a slice of its schemes, and a line per route.
 */
#include "http/resources/handlers.h"

#include "http/request/json_text.h"
#include "http/request/router.h"
#include "http/request/slice.h"
#include "http/resources/tasks.h"
#include "version.h"

#include <string.h>

/* More schemes than that are shown without a picture of each. */
enum { IN_FULL_MAX = 20 };

/* The schemes of a slice, and whether there are more after them. */
struct chosen {
    int32_t *ids;
    size_t count;
    const char *last; /* code */
    bool more;
};

/* False: out of memory, and a fault has been added. */
static bool choose(const struct request *request, struct answer *answer, const struct key_slice *wanted,
                   struct chosen *chosen)
{
    const struct network *network = &request->snapshot->network;
    const bool *known = request_known_schemes(request);
    *chosen =
        (struct chosen){.ids = arena_array(request->arena, (size_t)wanted->asked.limit, sizeof(int32_t))};
    if (known == NULL || chosen->ids == NULL) {
        answer_store_failure(answer, STORE_UNAVAILABLE);
        return false;
    }
    for (size_t i = 0; i < network->scheme_count && !chosen->more; i++) {
        const struct scheme *scheme = &network->schemes[i];
        if (!known[scheme->id] || (wanted->after != NULL && strcmp(scheme->code, wanted->after) <= 0))
            continue;
        chosen->more = chosen->count == (size_t)wanted->asked.limit;
        if (chosen->more)
            break;
        chosen->ids[chosen->count++] = scheme->id;
        chosen->last = scheme->code;
    }
    return true;
}

static enum store_result add_schemes(const struct request *request, const struct chosen *chosen,
                                     struct buffer *text)
{
    const struct identity *identity = request->identity;
    const struct glance_reader reader = {.for_operator = identity_has_all(identity),
                                         .by_day = chosen->count <= IN_FULL_MAX,
                                         .participant = identity->participant};
    member_begin(text, "schemes");
    buffer_add_char(text, '[');
    enum store_result result = read_glance(request->pg, chosen->ids, chosen->count, &reader, text);
    buffer_add_char(text, ']');
    return result;
}

static void add_routes(struct buffer *text)
{
    size_t count;
    const struct route *routes = routes_documented(&count);
    member_begin(text, "routes");
    buffer_add_char(text, '[');
    for (size_t i = 0; i < count; i++) {
        element_begin(text);
        buffer_add_text(text, "\n{");
        member_string(text, "method", method_word(routes[i].method));
        member_string(text, "path", routes[i].path);
        member_string(text, "summary", routes[i].summary);
        buffer_add_char(text, '}');
    }
    buffer_add_char(text, ']');
}

void handle_index(const struct request *request, struct answer *answer)
{
    struct key_slice wanted;
    struct chosen chosen;
    struct buffer *text = &answer->body;
    if (!slice_read_keys(request, answer, &wanted) || !choose(request, answer, &wanted, &chosen))
        return;
    buffer_add_char(text, '{');
    member_string(text, "service", "depositd");
    member_string(text, "version", DEPOSITD_VERSION);
    member_string(text, "openapi", "/openapi.json");
    if (wanted.after == NULL && !tasks_add(request, answer))
        return;
    enum store_result result = add_schemes(request, &chosen, text);
    if (result != STORE_OK) {
        answer_store_failure(answer, result);
        return;
    }
    add_routes(text);
    if (chosen.more)
        slice_add_next(request, answer, chosen.last);
    buffer_add_text(text, "}\n");
}
