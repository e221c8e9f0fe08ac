/* SPDX-License-Identifier: ISC */
/* The table of roles as data. */
#include "depositd/role.h"

#include <string.h>

static const struct {
    const char *word, *meaning;
    enum role_reach reach;
    enum role_making making;
} roles[ROLE_COUNT] = {
#define X(name, word, reach, group, making, meaning)                                                         \
    [ROLE_##name] = {#word, meaning, REACH_##reach, MADE_##making},
    ROLE_TABLE(X)
#undef X
};

const char *role_word(enum role role)
{
    return roles[role].word;
}

bool role_parse(const char *word, enum role *role)
{
    for (int i = 0; i < ROLE_COUNT; i++)
        if (strcmp(word, roles[i].word) == 0) {
            *role = (enum role)i;
            return true;
        }
    return false;
}

const char *role_meaning(enum role role)
{
    return roles[role].meaning;
}

enum role_reach role_reach(enum role role)
{
    return roles[role].reach;
}

enum role_making role_making(enum role role)
{
    return roles[role].making;
}
