/* SPDX-License-Identifier: ISC */
/* The picture of a list counts the shipments of the page that wait, by the days that have passed since they
 * were wanted and by who must act. A shipment that waits for two people counts for each of them. */
#include "http/pages/page_shipments.h"

#include "app/cups/shipments.h"
#include "report/plot.h"
#include "words/words.h"

#include <stdio.h>
#include <string.h>

static const struct report_plot of_list = {PLOT_BARS,   "Shipments that wait, by days late and who must act",
                                           "days_over", "shipments",
                                           "waits_for", NULL};
static const struct report_plot of_cups = {PLOT_BARS, "What became of the cups", "step", "cups", "cup_type",
                                           NULL};

static const struct {
    const char *words;
    json_int_t through; /* days late */
} ages[] = {{"not late", 0}, {"1 or 2 days", 2}, {"3 to 7 days", 7}, {"more than 7 days", INT64_MAX}};

enum { AGES = sizeof ages / sizeof ages[0] };

static size_t age_of(const json_t *shipment)
{
    json_int_t days = json_integer_value(json_object_get(shipment, "days_over"));
    size_t age = 0;
    while (days > ages[age].through)
        age++;
    return age;
}

static bool waits_for(const json_t *shipment, const char *actor)
{
    size_t i;
    json_t *who;
    json_array_foreach(json_object_get(shipment, "waits_for"), i, who)
    {
        if (strcmp(json_string_value(who), actor) == 0)
            return true;
    }
    return false;
}

static unsigned count(const json_t *shipments, size_t age, const char *actor)
{
    unsigned found = 0;
    size_t i;
    json_t *shipment;
    json_array_foreach((json_t *)shipments, i, shipment)
    {
        found += age_of(shipment) == age && waits_for(shipment, actor);
    }
    return found;
}

static const char *in_words(const struct page_view *view, const char *context, const char *english)
{
    const char *words = words_find(view->text->words, context, english);
    return words != NULL ? words : english;
}

static void add_bars(const struct page_view *view, struct plot *plot, const json_t *shipments)
{
    for (size_t age = 0; age < AGES; age++)
        for (const char *const *actor = shipment_actors; *actor != NULL; actor++) {
            char number[16];
            unsigned found = count(shipments, age, *actor);
            snprintf(number, sizeof number, "%u", found);
            if (found > 0)
                plot_add(plot, in_words(view, NULL, ages[age].words), number,
                         in_words(view, "waits_for", *actor), NULL);
        }
}

void page_shipments(struct page_view *view, const struct page_scope *scope)
{
    struct plot *plot = plot_new(&of_list);
    if (plot == NULL) {
        view->text->failed = true;
        return;
    }
    add_bars(view, plot, json_object_get(scope->object, "items"));
    plot_write(plot, view->text);
    plot_free(plot);
    page_object(view, scope);
}

static void add_steps(struct plot *plot, const json_t *cups)
{
    static const char *const steps[] = {"requested", "dispatched", "received", "lost", "missing"};
    for (size_t step = 0; step < sizeof steps / sizeof steps[0]; step++) {
        size_t i;
        json_t *line;
        json_array_foreach((json_t *)cups, i, line)
        {
            json_int_t quantity = json_integer_value(json_object_get(line, steps[step]));
            char number[24];
            snprintf(number, sizeof number, "%lld", quantity);
            if (quantity > 0 || step == 0)
                plot_add(plot, steps[step], number, json_string_value(json_object_get(line, "cup_type")),
                         NULL);
        }
    }
}

void page_shipment(struct page_view *view, const struct page_scope *scope)
{
    struct plot *plot = plot_new(&of_cups);
    if (plot == NULL) {
        view->text->failed = true;
        return;
    }
    add_steps(plot, json_object_get(scope->object, "cups"));
    plot_write(plot, view->text);
    plot_free(plot);
    page_object(view, scope);
}
