/* SPDX-License-Identifier: ISC */
/* Amounts are added as whole numbers of the smallest unit that they are written with. */
#include "http/pages/page_amounts.h"

#include <string.h>

static bool amount_of(const json_t *value, struct decimal *amount)
{
    const char *text = json_string_value(value);
    return text != NULL && decimal_parse(text, strlen(text), amount);
}

bool page_is_amount(const char *name, const json_t *value)
{
    static const char *const others[] = {"rate",   "target", "latitude", "longitude", "distance_km",
                                         "demand", "error",  "days",     "per_cup",   "uses"};
    struct decimal amount;
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++)
        if (strstr(name, others[i]) != NULL)
            return false;
    /* The value of an assumption may be an amount or another figure. */
    return strcmp(name, "value") != 0 && amount_of(value, &amount);
}

const char *page_currency(const struct page_scope *scope)
{
    return json_string_value(page_member(scope, "currency"));
}

/* The sum so far. */
struct sum {
    struct decimal total;
    bool begun;
};

static bool add(struct sum *sum, const json_t *value)
{
    struct decimal amount;
    struct money total = {sum->total.unscaled};
    if (value == NULL)
        return true;
    if (!amount_of(value, &amount) || (sum->begun && amount.scale != sum->total.scale) ||
        !money_add(total, (struct money){amount.unscaled}, &total))
        return false;
    *sum = (struct sum){{total.minor, amount.scale}, true};
    return true;
}

static bool add_list(struct sum *sum, const json_t *list, const char *name)
{
    bool added = true;
    for (size_t i = 0; added && i < json_array_size(list); i++)
        added = add(sum, json_object_get(json_array_get(list, i), name));
    return added;
}

bool page_sum(const json_t *list, const char *rows, const char *name, char text[static MONEY_TEXT_MAX])
{
    struct sum sum = {.begun = false};
    bool added = rows != NULL || add_list(&sum, list, name);
    for (size_t i = 0; rows != NULL && added && i < json_array_size(list); i++)
        added = add_list(&sum, json_object_get(json_array_get(list, i), rows), name);
    if (added)
        money_format((struct money){sum.total.unscaled}, sum.total.scale, text);
    return added && sum.begun;
}

json_t *page_turned(const json_t *amount)
{
    struct decimal number;
    char text[MONEY_TEXT_MAX];
    if (!amount_of(amount, &number))
        return NULL;
    money_format((struct money){-number.unscaled}, number.scale, text);
    return json_string(text);
}
