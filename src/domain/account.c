/* SPDX-License-Identifier: ISC */
/* Packing and unpacking account numbers. */
#include "depositd/account.h"

#include <assert.h>
#include <string.h>

enum { CUP_TYPE_BITS = 16, OWNER_BITS = 32, HOST_BITS = 16 };

struct kind_info {
    const char *word;
    enum account_scope scope;
    enum account_holds holds;
    enum account_journals journals;
};

static const struct kind_info kinds[] = {
#define X(name, word, number, scope, class, holds, journals)                                                 \
    [number] = {#word, scope, HOLDS_##holds, JOURNALS_##journals},
    ACCOUNT_TABLE(X)
#undef X
};

#define X(name, word, number, scope, class, holds, journals)                                                 \
    static_assert(((number) >= ACCOUNT_FIRST_CUPS) == (HOLDS_##holds != HOLDS_MONEY),                        \
                  "the number of " #word " says cups and its row money, or the other way round");
ACCOUNT_TABLE(X)
#undef X

static const struct kind_info *kind_find(enum account_kind kind)
{
    if ((size_t)kind >= sizeof kinds / sizeof kinds[0] || kinds[kind].word == NULL)
        return NULL;
    return &kinds[kind];
}

struct account account_of(enum account_kind kind, int32_t owner, int32_t cup_type)
{
    enum account_scope scope = account_kind_scope(kind);
    if (scope == SCOPE_SCHEME || scope == SCOPE_CUP_TYPE)
        owner = 0;
    if (scope != SCOPE_CUP_TYPE && scope != SCOPE_SITE_CUP_TYPE && scope != SCOPE_OTHER_CUP_TYPE)
        cup_type = 0;
    assert(owner >= 0 && cup_type >= 0 && cup_type < 1 << CUP_TYPE_BITS);
    return (struct account){(int64_t)kind << (OWNER_BITS + CUP_TYPE_BITS) | (int64_t)owner << CUP_TYPE_BITS |
                            cup_type};
}

int32_t account_pair(int32_t home, int32_t host)
{
    assert(home > 0 && home < ACCOUNT_SCHEMES_MAX && host > 0 && host < ACCOUNT_SCHEMES_MAX);
    return home << HOST_BITS | host;
}

int32_t account_home(struct account account)
{
    return account_owner(account) >> HOST_BITS;
}

int32_t account_host(struct account account)
{
    return account_owner(account) & ((1 << HOST_BITS) - 1);
}

enum account_kind account_kind_of(struct account account)
{
    return (enum account_kind)(account.code >> (OWNER_BITS + CUP_TYPE_BITS));
}

int32_t account_owner(struct account account)
{
    return (int32_t)(account.code >> CUP_TYPE_BITS & UINT32_MAX);
}

int32_t account_cup_type(struct account account)
{
    return (int32_t)(account.code & UINT16_MAX);
}

bool account_counts_cups(struct account account)
{
    return account_kind_of(account) >= ACCOUNT_FIRST_CUPS;
}

int32_t account_unit(struct account account)
{
    return account_counts_cups(account) ? account_cup_type(account) : 0;
}

const char *account_kind_word(enum account_kind kind)
{
    const struct kind_info *info = kind_find(kind);
    return info != NULL ? info->word : NULL;
}

enum account_kind account_kind_parse(const char *word, size_t length)
{
    for (size_t kind = 0; kind < sizeof kinds / sizeof kinds[0]; kind++)
        if (kinds[kind].word != NULL && strlen(kinds[kind].word) == length &&
            memcmp(kinds[kind].word, word, length) == 0)
            return (enum account_kind)kind;
    return ACCOUNT_NONE;
}

enum account_scope account_kind_scope(enum account_kind kind)
{
    const struct kind_info *info = kind_find(kind);
    assert(info != NULL);
    return info->scope;
}

enum account_holds account_kind_holds(enum account_kind kind)
{
    const struct kind_info *info = kind_find(kind);
    assert(info != NULL);
    return info->holds;
}

bool account_kind_takes_journals(enum account_kind kind)
{
    const struct kind_info *info = kind_find(kind);
    assert(info != NULL);
    return info->journals == JOURNALS_OPEN;
}
