/* SPDX-License-Identifier: ISC */
/* The picture has a lane for each place where the cup was, and time goes to the right. A line follows the cup
 * from lane to lane, with a mark for each sighting. All of it is in the table as well. Its unit of length is
 * about a pixel of a phone; colours are the style sheet's. */
#include "http/pages/page_cup.h"

#include "depositd/civil.h"
#include "http/request/json_body.h"
#include "report/html.h"
#include "words/labels.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    SEEN_MAX = 200,
    LANES_MAX = 12,
    LABEL_SIZE = 32,
    WIDTH = 420,
    EDGE = 8,
    CHARACTER = 7, /* how wide one is, at most */
    LANE = 24,
    FEET = 24 /* the days */
};

struct seen {
    int64_t at; /* microseconds */
    size_t lane;
    const char *day, *time, *kind;
};

struct journey {
    struct seen seen[SEEN_MAX];
    size_t count;
    char lanes[LANES_MAX][LABEL_SIZE];
    size_t lane_count;
    bool more; /* sightings were left out */
};

/* Copies a label, cut where it is too long; never within a character. */
static void copy_label(char label[static LABEL_SIZE], const char *text)
{
    size_t length = strlen(text);
    if (length >= LABEL_SIZE)
        for (length = LABEL_SIZE - 1; length > 0 && ((unsigned char)text[length] & 0xc0) == 0x80;)
            length--;
    memcpy(label, text, length);
    label[length] = '\0';
}

/* A member's value in words, in the page's language. */
static void name_value(const struct words *words, const char *member, const char *value,
                       char label[static LABEL_SIZE])
{
    char plain[WORDS_LABEL_SIZE] = "";
    bool known = words_plain(value, plain);
    const char *text = known ? words_find(words, member, plain) : NULL;
    copy_label(label, text != NULL ? text : known ? plain : value);
}

/* A place in words: a site's code where the cup is at a site. */
static void name_place(const struct words *words, const json_t *sighting, char label[static LABEL_SIZE])
{
    const char *place = json_member_text(sighting, "place"), *site = json_member_text(sighting, "site");
    if (strcmp(place, "site_stock") == 0 && *site != '\0')
        copy_label(label, site);
    else
        name_value(words, "place", place, label);
}

/* LANES_MAX: there are too many. */
static size_t lane_of(struct journey *journey, const char *label)
{
    for (size_t i = 0; i < journey->lane_count; i++)
        if (strcmp(journey->lanes[i], label) == 0)
            return i;
    if (journey->lane_count == LANES_MAX)
        return LANES_MAX;
    strcpy(journey->lanes[journey->lane_count], label);
    return journey->lane_count++;
}

/* Takes a sighting, unless a reversal took it back. */
static void take(const struct words *words, struct journey *journey, const json_t *sighting)
{
    char label[LABEL_SIZE];
    struct instant at;
    const char *time = json_member_text(sighting, "occurred_at");
    if (json_object_get(sighting, "reversed_by_entry") != NULL || !instant_parse(time, strlen(time), &at))
        return;
    name_place(words, sighting, label);
    size_t lane = lane_of(journey, label);
    if (lane == LANES_MAX || journey->count == SEEN_MAX) {
        journey->more = true;
        return;
    }
    journey->seen[journey->count++] = (struct seen){.at = at.us,
                                                    .lane = lane,
                                                    .day = json_member_text(sighting, "business_date"),
                                                    .time = time,
                                                    .kind = json_member_text(sighting, "kind")};
}

/* The latest sightings, the oldest of these first. */
static void take_all(const struct words *words, struct journey *journey, const json_t *sightings)
{
    size_t count = json_array_size(sightings), first = count < SEEN_MAX ? count : SEEN_MAX;
    journey->more = count > first;
    for (size_t i = first; i > 0; i--)
        take(words, journey, json_array_get(sightings, i - 1));
}

static double left_of(const struct journey *journey)
{
    size_t most = 0;
    for (size_t i = 0; i < journey->lane_count; i++) {
        size_t length = strlen(journey->lanes[i]);
        most = length > most ? length : most;
    }
    double left = (double)most * CHARACTER + EDGE;
    return left < WIDTH / 2.0 ? left : WIDTH / 2.0;
}

static double x_of(const struct journey *journey, size_t index)
{
    int64_t first = journey->seen[0].at, all = journey->seen[journey->count - 1].at - first;
    double left = left_of(journey), wide = WIDTH - EDGE - left;
    return all > 0 ? left + wide * (double)(journey->seen[index].at - first) / (double)all : left;
}

static double y_of(size_t lane)
{
    return LANE * ((double)lane + 0.5);
}

static void add_lanes(const struct journey *journey, struct buffer *page)
{
    double left = left_of(journey);
    for (size_t i = 0; i < journey->lane_count; i++) {
        buffer_printf(page,
                      "<line class=\"grid\" x1=\"%.1f\" y1=\"%.1f\" x2=\"%d\" y2=\"%.1f\"/>\n"
                      "<text class=\"start\" x=\"0\" y=\"%.1f\">",
                      left, y_of(i), WIDTH - EDGE, y_of(i), y_of(i) + 4);
        html_text(page, journey->lanes[i]);
        buffer_add_text(page, "</text>\n");
    }
}

/* The cup stays in its lane until it is seen elsewhere. */
static void add_way(const struct journey *journey, struct buffer *page)
{
    buffer_add_text(page, "<polyline class=\"line s0\" points=\"");
    for (size_t i = 0; i < journey->count; i++) {
        if (i > 0)
            buffer_printf(page, "%.1f,%.1f ", x_of(journey, i), y_of(journey->seen[i - 1].lane));
        buffer_printf(page, "%.1f,%.1f ", x_of(journey, i), y_of(journey->seen[i].lane));
    }
    buffer_add_text(page, "\"/>\n");
    for (size_t i = 0; i < journey->count; i++) {
        char kind[LABEL_SIZE];
        name_value(page->words, "kind", journey->seen[i].kind, kind);
        buffer_add_text(page, "<g><title>");
        html_text(page, journey->seen[i].time);
        buffer_add_char(page, ' ');
        html_text(page, kind);
        buffer_printf(page, "</title><circle class=\"point s0\" cx=\"%.1f\" cy=\"%.1f\" r=\"3\"/></g>\n",
                      x_of(journey, i), y_of(journey->seen[i].lane));
    }
}

static void add_day(struct buffer *page, const char *class, double x, double y, const char *day)
{
    buffer_printf(page, "<text class=\"%s\" x=\"%.1f\" y=\"%.1f\">", class, x, y);
    html_text(page, day);
    buffer_add_text(page, "</text>\n");
}

static void draw(const struct journey *journey, struct buffer *page)
{
    const struct seen *first = &journey->seen[0], *last = &journey->seen[journey->count - 1];
    double height = LANE * (double)journey->lane_count;
    char times[24], places[24];
    snprintf(times, sizeof times, "%zu", journey->count);
    snprintf(places, sizeof places, "%zu", journey->lane_count);
    html_picture_begin(page, "The cup's journey", WIDTH, height + FEET);
    html_say(page, "From %1 to %2 it was seen %3 times, at %4 places. They are in the table of sightings.",
             first->day, last->day, times, places);
    buffer_add_text(page, "</desc>\n");
    add_lanes(journey, page);
    add_way(journey, page);
    add_day(page, "start", left_of(journey), height + FEET / 2.0 + 4, first->day);
    if (strcmp(first->day, last->day) != 0)
        add_day(page, "end", WIDTH - EDGE, height + FEET / 2.0 + 4, last->day);
    buffer_add_text(page, "</svg>\n");
    if (journey->more)
        html_note(page, "The picture is not whole: there are too many sightings or places.");
    buffer_add_text(page, "</figure>\n");
}

static void add_journey(struct page_view *view, const json_t *sightings)
{
    struct journey *journey = calloc(1, sizeof *journey);
    if (journey == NULL) {
        view->text->failed = true;
        return;
    }
    take_all(view->text->words, journey, sightings);
    if (journey->count > 1)
        draw(journey, view->text);
    free(journey);
}

void page_cup(struct page_view *view, const struct page_scope *scope)
{
    add_journey(view, json_object_get(scope->object, "sightings"));
    page_object(view, scope);
}
