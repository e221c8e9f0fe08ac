/* SPDX-License-Identifier: ISC */
/* Keys are reference data. Making or revoking a key raises the version under the heads of all schemes, so the
 * next event is judged by the new keys. */
#include "app/network/keys.h"

#include "app/transaction/transaction.h"
#include "base/clock.h"
#include "words/words.h"

#include <stdio.h>
#include <string.h>

#define KEY_PREFIX "dk_"

/* Checks the members that a role's key must name or must not name. */
static void check_reach(const struct key_request *request, struct faults *faults)
{
    bool names_participant = request->participant[0] != '\0';
    enum role_reach reach = role_reach((enum role)request->role);
    if (reach == REACH_SITES && request->sites.count == 0)
        faults_add(faults, REASON_MEMBER_MISSING, "/sites",
                   "a " ROLES_OF_SITES " key names the sites it is for");
    if (reach != REACH_SITES && request->sites.count > 0)
        faults_add(faults, REASON_MEMBER_UNKNOWN, "/sites", "only a " ROLES_OF_SITES " key names sites");
    if (reach == REACH_PARTICIPANT && !names_participant)
        faults_add(faults, REASON_MEMBER_MISSING, "/participant",
                   "a " ROLES_OF_PARTICIPANT " key names its participant");
    if (reach != REACH_PARTICIPANT && names_participant)
        faults_add(faults, REASON_MEMBER_UNKNOWN, "/participant",
                   "only a " ROLES_OF_PARTICIPANT " key names a participant");
}

static bool is_blank(const char *text)
{
    return text[strspn(text, " \t\n\r\f\v")] == '\0';
}

static void check_facts(const struct key_row *row, const struct key_facts *facts, struct faults *faults)
{
    if (is_blank(row->holder))
        faults_add(faults, REASON_BAD_FORMAT, "/holder", "names nobody");
    if (facts->name_taken)
        faults_add(faults, REASON_NAME_TAKEN, "/name", "a key of this name is in force");
    if (row->participant != NULL && !facts->participant_known)
        faults_add(faults, REASON_PARTICIPANT_UNKNOWN, "/participant", "is not known");
    for (size_t i = 0; i < facts->unknown_site_count; i++) {
        char pointer[32];
        snprintf(pointer, sizeof pointer, "/sites/%d", (int)facts->unknown_sites[i]);
        faults_add(faults, REASON_SITE_UNKNOWN, pointer, "is not known");
    }
}

static bool make_row(const struct key_request *request, int32_t made_by, struct arena *arena,
                     struct key_row *row)
{
    const char **sites = arena_array(arena, request->sites.count + 1, sizeof *sites);
    if (sites == NULL)
        return false;
    for (size_t i = 0; i < request->sites.count; i++)
        sites[i] = request->sites.codes[i];
    row->name = request->name;
    row->role = (enum role)request->role;
    row->participant = request->participant[0] != '\0' ? request->participant : NULL;
    row->sites = sites;
    row->site_count = request->sites.count;
    row->holder = request->holder;
    row->language = request->has_language ? words_codes[request->language] : NULL;
    row->made_by = made_by;
    return true;
}

static enum store_result add_row(struct pg *pg, const struct key_row *row, struct control *control,
                                 struct buffer *json, struct faults *faults)
{
    struct key_facts facts;
    struct json_slice slice;
    enum store_result result = store_key_facts(pg, faults->arena, row, &facts);
    if (result == STORE_OK)
        check_facts(row, &facts, faults);
    if (result != STORE_OK || faults->count > 0)
        return result;
    result = store_key_add(pg, row);
    if (result == STORE_OK && json != NULL)
        result = store_key_read(pg, row->name, NULL, 0, json, &slice);
    return result == STORE_OK ? control_end(pg, faults->arena, control) : result;
}

static enum store_result add(struct pg *pg, const struct key_row *row, struct control *control,
                             struct buffer *json, struct faults *faults)
{
    int64_t version;
    enum store_result result = pg_begin(pg);
    if (result == STORE_OK)
        result = store_reference_lock(pg, &control->author, control->now, &version);
    if (result == STORE_OK)
        result = control_begin(pg, control, faults);
    if (result == STORE_OK && !control->decided)
        result = add_row(pg, row, control, json, faults);
    return transaction_end(pg, result, faults, !control->dry_run);
}

enum store_result key_add(struct pg *pg, const struct key_request *request, struct control *control,
                          struct buffer *json, char secret[static KEY_SECRET_SIZE], struct faults *faults)
{
    struct key_row row;
    check_reach(request, faults);
    if (!make_row(request, control->author.key, faults->arena, &row) ||
        !secret_make(KEY_PREFIX, secret, &row.secret_hash))
        return STORE_FAILED;
    control->secret_hash = &row.secret_hash;
    return add(pg, &row, control, json, faults);
}

enum store_result key_add_approved(struct pg *pg, const struct key_request *request,
                                   const struct kept_write *kept, struct control *control,
                                   struct faults *faults)
{
    struct key_row row;
    if (!make_row(request, kept->proposed_by, faults->arena, &row))
        return STORE_FAILED;
    row.secret_hash = kept->secret_hash;
    return add(pg, &row, control, NULL, faults);
}

enum reason key_create(struct pg *pg, const struct key_request *request, char secret[static KEY_SECRET_SIZE],
                       struct faults *faults)
{
    struct control command_line = {.now = clock_now()};
    enum store_result result = key_add(pg, request, &command_line, NULL, secret, faults);
    if (result == STORE_OK)
        return faults->count > 0 ? faults->items[0].reason : REASON_NONE;
    if (result == STORE_OUTCOME_UNKNOWN)
        return REASON_OUTCOME_UNKNOWN;
    return result == STORE_UNAVAILABLE || result == STORE_CONFLICT || result == STORE_LOCKED
               ? REASON_OVERLOADED
               : REASON_INTERNAL_ERROR;
}

enum store_result key_renew(struct pg *pg, const struct change_author *author, bool dry_run,
                            struct buffer *json, char secret[static KEY_SECRET_SIZE], struct faults *faults)
{
    int64_t version;
    struct sha256 hash;
    const char *name = NULL;
    struct json_slice slice;
    struct instant now = clock_now();
    if (!secret_make(KEY_PREFIX, secret, &hash))
        return STORE_FAILED;
    enum store_result result = pg_begin(pg);
    if (result == STORE_OK)
        result = store_reference_lock(pg, author, now, &version);
    if (result == STORE_OK)
        result = store_key_renew(pg, faults->arena, author->key, &hash, now, &name);
    if (result == STORE_OK && name == NULL)
        faults_refuse(faults, REASON_UNAUTHENTICATED);
    else if (result == STORE_OK)
        result = store_key_read(pg, name, NULL, 0, json, &slice);
    return transaction_end(pg, result, faults, !dry_run);
}

enum store_result key_change_language(struct pg *pg, const struct key_language *change,
                                      const struct change_author *author, bool dry_run, struct buffer *json,
                                      struct faults *faults)
{
    int64_t version;
    const char *found = NULL, *language = change->has_language ? words_codes[change->language] : NULL;
    struct json_slice slice;
    enum store_result result = pg_begin(pg);
    if (result == STORE_OK)
        result = store_reference_lock(pg, author, clock_now(), &version);
    if (result == STORE_OK)
        result = store_key_language(pg, faults->arena, change->name == NULL ? author->key : 0, change->name,
                                    language, &found);
    if (result == STORE_OK && found == NULL && change->name == NULL)
        faults_refuse(faults, REASON_UNAUTHENTICATED);
    else if (result == STORE_OK && found == NULL)
        faults_add(faults, REASON_NOT_FOUND, NULL, "there is no key of this name");
    else if (result == STORE_OK)
        result = store_key_read(pg, found, NULL, 0, json, &slice);
    return transaction_end(pg, result, faults, !dry_run);
}

enum store_result key_revoke(struct pg *pg, const char *name, const struct change_author *author,
                             bool dry_run, struct faults *faults)
{
    int64_t version;
    bool found = false;
    enum store_result result = pg_begin(pg);
    if (result == STORE_OK)
        result = store_reference_lock(pg, author, clock_now(), &version);
    if (result == STORE_OK)
        result = store_key_revoke(pg, name, author->key, &found);
    if (result == STORE_OK && !found)
        faults_add(faults, REASON_NOT_FOUND, NULL, "there is no key of this name");
    return transaction_end(pg, result, faults, !dry_run);
}
