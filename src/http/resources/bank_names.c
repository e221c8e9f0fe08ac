/* SPDX-License-Identifier: ISC */
/* Taking names apart. */
#include "http/resources/bank_names.h"

#include <stdlib.h>
#include <string.h>

enum { NUMBER_DIGITS_MAX = 15 };

bool bank_number(const char *text)
{
    size_t digits = strspn(text, "0123456789");
    return digits > 0 && digits <= NUMBER_DIGITS_MAX && text[digits] == '\0';
}

const struct scheme *bank_named(const struct request *request, const char *name, int64_t *number)
{
    char code[CODE_SIZE];
    const char *point = strrchr(name, '.');
    if (point == NULL || point == name || point - name > CODE_MAX || !bank_number(point + 1))
        return NULL;
    memcpy(code, name, (size_t)(point - name));
    code[point - name] = '\0';
    *number = strtoll(point + 1, NULL, 10);
    return network_scheme(&request->snapshot->network, code);
}
