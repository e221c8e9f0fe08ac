/* SPDX-License-Identifier: ISC */
/* The tables of labels. */
#include "words/labels.h"

#include <string.h>

/* Names whose label is not the name itself. */
static const struct {
    const char *name, *label;
} labels[] = {
    {"returned_7", "Back within 7 days"},
    {"rate_7", "Rate within 7 days"},
    {"returned_30", "Back within 30 days"},
    {"rate_30", "Rate within 30 days"},
    {"end_to_end", "End-to-end reference"},
    {"charged", "Charged by the operator"},
    {"granted", "Granted to the participant"},
    {"volume_ml", "Volume, ml"},
    {"mass_g", "Mass, g"},
    {"weight_g", "Weight, g"},
    {"remaker", "Re-maker"},
    {"remade", "Re-made"},
    {"days_over", "Days late"},
    {"gln", "GLN"},
    {"iban", "IBAN"},
    {"bic", "BIC"},
    {"wash", "Waiting for a wash"},
    {"out_counted", "Of these in service"},
    {"sites_unknown", "Sites without a par stock"},
    {"demand_mean", "Demand per day"},
    {"demand_sd", "Standard deviation"},
    {"time_out_days", "Days out"},
    {"time_out_by", "Days out found by"},
    {"time_out_trips", "From so many trips"},
    {"loss_rate_by", "Loss rate found by"},
    {"uses_to_pay", "Uses until it has paid"},
    {"uses_to_weigh", "Uses until the mass is equal"},
    {"disposable_mass_g", "Mass of a disposable cup, g"},
    {"advice", "What to do"},
    {"retryable", "A retry helps"},
    {"true", "yes"},
    {"false", "no"},
    {"en", "English"},
    {"fr", "French"},
};

bool words_label(const char *name, char label[static WORDS_LABEL_SIZE])
{
    for (size_t i = 0; i < sizeof labels / sizeof labels[0]; i++)
        if (strcmp(labels[i].name, name) == 0) {
            strcpy(label, labels[i].label);
            return true;
        }
    size_t length = strlen(name);
    for (size_t i = 0; i <= length && length < WORDS_LABEL_SIZE; i++)
        label[i] = name[i];
    for (size_t i = 0; i < length && length < WORDS_LABEL_SIZE; i++)
        if (label[i] == '_' || label[i] == '-')
            label[i] = ' ';
    if (length < WORDS_LABEL_SIZE && label[0] >= 'a' && label[0] <= 'z')
        label[0] = (char)(label[0] - 'a' + 'A');
    return length < WORDS_LABEL_SIZE;
}

/* Makes the first letter a capital: of ASCII, or of those of Latin-1 from U+00E0 on. */
static void capitalise(char *text)
{
    unsigned char first = (unsigned char)text[0], second = first != 0 ? (unsigned char)text[1] : 0;
    if (first >= 'a' && first <= 'z')
        text[0] = (char)(first - 'a' + 'A');
    else if (first == 0xc3 && second >= 0xa0 && second <= 0xbe && second != 0xb7)
        text[1] = (char)(second - 0x20);
}

bool words_label_in(const struct words *words, const char *name, char label[static WORDS_LABEL_SIZE])
{
    char plain[WORDS_LABEL_SIZE];
    if (!words_label(name, label))
        return false;
    const char *text = words_find(words, NULL, label);
    bool is_value = text == NULL && words_plain(name, plain);
    if (is_value)
        text = words_find(words, NULL, plain);
    if (text == NULL || strlen(text) >= WORDS_LABEL_SIZE)
        return false;
    memmove(label, text, strlen(text) + 1);
    if (is_value)
        capitalise(label);
    return true;
}

bool words_plain(const char *word, char plain[static WORDS_LABEL_SIZE])
{
    size_t length = strlen(word);
    if (length == 0 || length >= WORDS_LABEL_SIZE ||
        strspn(word, "abcdefghijklmnopqrstuvwxyz_0123456789") != length || *word < 'a')
        return false;
    for (size_t i = 0; i <= length; i++)
        plain[i] = word[i] == '_' ? ' ' : word[i];
    return true;
}

bool words_are_values(const char *member)
{
    static const char *const names[] = {
        "totals",     "place",       "step",   "waits_for",   "side",         "state",       "status",
        "kind",       "disposition", "role",   "tender",      "section",      "direction",   "netting",
        "condition",  "verdict",     "fee",    "method",      "quantile",     "par_by",      "estimate",
        "assumption", "worst",       "source", "time_out_by", "loss_rate_by", "peak_weekday"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        if (strcmp(names[i], member) == 0)
            return true;
    return false;
}
