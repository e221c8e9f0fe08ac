/* SPDX-License-Identifier: ISC */
/* Signing in and out, in a browser. */
#include "http/resources/handlers.h"

#include "app/network/sessions.h"
#include "http/pages/page_sign_in.h"

#include <stdio.h>
#include <string.h>

enum { COOKIE_MAX = 256, UNAUTHENTICATED = 401 };

static void show_form(const struct sign_in *about, struct answer *answer)
{
    page_sign_in(about, &answer->body);
    answer->is_page = true;
}

void handle_sign_in_page(const struct request *request, struct answer *answer)
{
    show_form(&(struct sign_in){.next = page_own_target(request_query(request, "next"))}, answer);
}

/* A secret that was copied from a page or a message often brings spaces or the end of a line. */
static const char *without_spaces(struct arena *arena, const char *text)
{
    text += strspn(text, " \t\r\n");
    size_t length = strlen(text);
    while (length > 0 && strchr(" \t\r\n", text[length - 1]) != NULL)
        length--;
    return arena_copy(arena, text, length);
}

/* NULL: no key in force has this name and secret. */
static const struct identity *key_of_form(const struct request *request)
{
    const char *name = form_value(&request->form, "name"), *secret = form_value(&request->form, "key");
    struct sha256 hash;
    if (name == NULL || secret == NULL)
        return NULL;
    name = without_spaces(request->arena, name);
    secret = without_spaces(request->arena, secret);
    if (name == NULL || secret == NULL)
        return NULL;
    sha256_of(secret, strlen(secret), &hash);
    const struct identity *identity = snapshot_identity(request->snapshot, &hash);
    return identity != NULL && strcmp(identity->name, name) == 0 ? identity : NULL;
}

/* RFC 6265 section 4.1: the cookie is for this service alone, and no script and no other site can use it.
 * `value` "": the browser forgets it. */
static void set_cookie(const struct request *request, struct answer *answer, const char *value)
{
    const struct config *config = request->service->config;
    char text[COOKIE_MAX];
    int length = snprintf(text, sizeof text, "%s=%s; Path=/; Max-Age=%d; HttpOnly; SameSite=Strict%s",
                          session_cookie(config), value, *value != '\0' ? config->session_hours * 3600 : 0,
                          config->behind_tls ? "; Secure" : "");
    answer->cookie = arena_copy(request->arena, text, (size_t)length);
    if (answer->cookie == NULL)
        answer_store_failure(answer, STORE_UNAVAILABLE);
}

/* The page to begin with. A key of a till works at its counter. */
static const char *start_of(const struct identity *identity, const char *next)
{
    if (next != NULL && strcmp(next, "/") != 0)
        return next;
    return identity->role == ROLE_POS ? "/counter" : "/";
}

void handle_sign_in(const struct request *request, struct answer *answer)
{
    const char *next = page_own_target(form_value(&request->form, "next"));
    const struct identity *identity = key_of_form(request);
    char cookie[SECRET_SIZE];
    bool begun = false;
    enum store_result result = STORE_OK;
    if (identity != NULL)
        result = session_begin(request->pg, identity, cookie, &begun);
    if (result != STORE_OK) {
        answer_store_failure(answer, result);
        return;
    }
    if (begun) {
        set_cookie(request, answer, cookie);
        answer_lead_to(answer, start_of(identity, next));
        return;
    }
    answer->status = UNAUTHENTICATED;
    show_form(&(struct sign_in){.name = form_value(&request->form, "name"), .next = next, .was_wrong = true},
              answer);
}

void handle_sign_out(const struct request *request, struct answer *answer)
{
    bool found;
    enum store_result result = STORE_OK;
    if (request->session != 0 && request->identity != NULL)
        result = session_end(request->pg, request->identity->key, request->session, false, &found);
    if (result != STORE_OK) {
        answer_store_failure(answer, result);
        return;
    }
    set_cookie(request, answer, "");
    answer_lead_to(answer, "/sign-in");
}
