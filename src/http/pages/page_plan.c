/* SPDX-License-Identifier: ISC */
/* The picture shows sites by their places, north at the top, and an arrow for each way. All of it is in the
 * tables as well. Its unit of length is about a pixel of a phone; colours are the style sheet's. */
#include "http/pages/page_plan.h"

#include "http/request/json_body.h"
#include "report/html.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    SITES_MAX = 500,
    WAYS_MAX = 500,
    LABELS_MAX = 40,
    LABEL = 100,
    WIDTH = 420,
    EDGE = 30,
    RADIUS = 4,
    HEAD = 7
};

struct place {
    const char *site;
    double x, y;
    bool gives, gets;
};

struct map {
    struct place places[SITES_MAX];
    size_t count;
    double height;
    bool more; /* sites were left out */
};

/* Takes the sites whose places are known, in degrees. */
static void take_places(struct map *map, const json_t *places)
{
    size_t i;
    json_t *place;
    json_array_foreach((json_t *)places, i, place)
    {
        const json_t *latitude = json_object_get(place, "latitude");
        const json_t *longitude = json_object_get(place, "longitude");
        if (latitude == NULL || longitude == NULL)
            continue;
        if (map->count == SITES_MAX) {
            map->more = true;
            return;
        }
        map->places[map->count++] = (struct place){.site = json_member_text(place, "site"),
                                                   .x = json_number_value(longitude),
                                                   .y = json_number_value(latitude)};
    }
}

/* Turns degrees into units: a degree of longitude is shorter than one of latitude by the cosine of the
 * latitude in the middle. */
static void project(struct map *map)
{
    double west = INFINITY, east = -INFINITY, south = INFINITY, north = -INFINITY;
    for (size_t i = 0; i < map->count; i++) {
        west = fmin(west, map->places[i].x);
        east = fmax(east, map->places[i].x);
        south = fmin(south, map->places[i].y);
        north = fmax(north, map->places[i].y);
    }
    double narrow = fmax(cos((south + north) / 2 * M_PI / 180), 0.01);
    double wide = (east - west) * narrow, high = north - south, most = WIDTH - 2 * EDGE;
    double scale = most / fmax(fmax(wide, high), 1e-6);
    for (size_t i = 0; i < map->count; i++) {
        struct place *place = &map->places[i];
        place->x = EDGE + (most - wide * scale) / 2 + (place->x - west) * narrow * scale;
        place->y = EDGE + (north - place->y) * scale;
    }
    map->height = 2 * EDGE + high * scale;
}

static struct place *find_place(struct map *map, const char *site)
{
    for (size_t i = 0; i < map->count; i++)
        if (strcmp(map->places[i].site, site) == 0)
            return &map->places[i];
    return NULL;
}

/* An arrow that ends before the mark of the site. */
static void add_arrow(struct buffer *page, const struct place *from, const struct place *to)
{
    double across = to->x - from->x, down = to->y - from->y, length = hypot(across, down);
    if (length < 2 * RADIUS + HEAD)
        return;
    double unit_x = across / length, unit_y = down / length;
    double x = to->x - unit_x * (RADIUS + 1), y = to->y - unit_y * (RADIUS + 1);
    double back_x = x - unit_x * HEAD, back_y = y - unit_y * HEAD, side = HEAD / 2.0;
    buffer_printf(
        page, "<path class=\"line s0\" d=\"M%.1f %.1fL%.1f %.1fM%.1f %.1fL%.1f %.1fL%.1f %.1f\"/>\n",
        from->x + unit_x * (RADIUS + 1), from->y + unit_y * (RADIUS + 1), x, y, back_x - unit_y * side,
        back_y + unit_x * side, x, y, back_x + unit_y * side, back_y - unit_x * side);
}

static void add_arrows(struct map *map, struct buffer *page, const json_t *shipments)
{
    size_t i;
    json_t *shipment;
    json_array_foreach((json_t *)shipments, i, shipment)
    {
        struct place *from = find_place(map, json_member_text(shipment, "from"));
        struct place *to = find_place(map, json_member_text(shipment, "to"));
        if (i == WAYS_MAX) {
            map->more = true;
            return;
        }
        if (from == NULL || to == NULL)
            continue;
        from->gives = to->gets = true;
        add_arrow(page, from, to);
    }
}

static void add_sites(const struct map *map, struct buffer *page)
{
    for (size_t i = 0; i < map->count; i++) {
        const struct place *place = &map->places[i];
        buffer_add_text(page, "<g><title>");
        html_text(page, place->site);
        buffer_printf(page, "</title><circle class=\"point s%d\" cx=\"%.1f\" cy=\"%.1f\" r=\"%d\"/></g>\n",
                      place->gives  ? 0
                      : place->gets ? 1
                                    : 5,
                      place->x, place->y, place->gives || place->gets ? RADIUS : RADIUS / 2);
        if (map->count > LABELS_MAX)
            continue;
        buffer_printf(page, "<text class=\"%s\" x=\"%.1f\" y=\"%.1f\">",
                      place->x < LABEL           ? "start"
                      : place->x > WIDTH - LABEL ? "end"
                                                 : "middle",
                      place->x, place->y - 8);
        html_text(page, place->site);
        buffer_add_text(page, "</text>\n");
    }
}

static void draw(struct map *map, struct buffer *page, const json_t *plan)
{
    const json_t *shipments = json_object_get(plan, "shipments");
    char ways[24];
    snprintf(ways, sizeof ways, "%zu", json_array_size(shipments));
    html_picture_begin(page, "Sites, north at the top, and the ways of the cups", WIDTH, map->height);
    html_say(page, "An arrow for each of %1 ways. They are in the table of shipments.", ways);
    buffer_add_text(page, "</desc>\n");
    add_arrows(map, page, shipments);
    add_sites(map, page);
    buffer_add_text(page, "</svg>\n<ul class=\"key\"><li class=\"s0\">");
    html_word(page, "gives cups");
    buffer_add_text(page, "</li><li class=\"s1\">");
    html_word(page, "gets cups");
    buffer_add_text(page, "</li></ul>\n");
    if (map->more)
        html_note(page, "The picture is not whole: there are too many sites or ways.");
    buffer_add_text(page, "</figure>\n");
}

static void add_map(struct page_view *view, const json_t *plan)
{
    struct map *map = calloc(1, sizeof *map);
    if (map == NULL) {
        view->text->failed = true;
        return;
    }
    take_places(map, json_object_get(plan, "places"));
    if (map->count > 1) {
        project(map);
        draw(map, view->text, plan);
    }
    free(map);
}

/* A line of a shipment, with its way. The figures of the way stand in the first line only. False: no memory.
 */
static bool add_line(json_t *lines, const json_t *shipment, json_t *cups, bool first)
{
    static const char *const of_way[] = {"distance_km", "hauls", "cost"};
    json_t *line = json_pack("{s:O, s:O}", "from", json_object_get(shipment, "from"), "to",
                             json_object_get(shipment, "to"));
    bool made = line != NULL && json_object_update(line, cups) == 0;
    for (size_t i = 0; i < sizeof of_way / sizeof of_way[0] && made && first; i++) {
        json_t *figure = json_object_get(shipment, of_way[i]);
        made = figure == NULL || json_object_set(line, of_way[i], figure) == 0;
    }
    if (made)
        return json_array_append_new(lines, line) == 0;
    json_decref(line);
    return false;
}

/* A line for each cup type of each shipment. False: no memory. */
static bool unfold(json_t *plan)
{
    json_t *lines = json_array(), *shipment, *cups;
    bool made = lines != NULL;
    size_t i, k;
    json_array_foreach(json_object_get(plan, "shipments"), i, shipment)
    {
        json_array_foreach(json_object_get(shipment, "cups"), k, cups)
        {
            made = made && add_line(lines, shipment, cups, k == 0);
        }
    }
    if (made)
        return json_object_set_new(plan, "shipments", lines) == 0;
    json_decref(lines);
    return false;
}

static json_int_t cups_of(const json_t *shipments)
{
    size_t i, k;
    json_t *shipment, *line;
    json_int_t cups = 0;
    json_array_foreach((json_t *)shipments, i, shipment)
    {
        json_array_foreach(json_object_get(shipment, "cups"), k, line)
        {
            cups += json_integer_value(json_object_get(line, "quantity"));
        }
    }
    return cups;
}

/* A row for each request for shipments, in place of the request itself. False: no memory. */
static bool count_requests(json_t *plan)
{
    json_t *rows = json_array(), *request;
    bool made = rows != NULL;
    size_t i;
    json_array_foreach(json_object_get(plan, "requests"), i, request)
    {
        json_t *shipments = json_object_get(request, "shipments");
        json_t *row = json_pack("{s:I, s:O, s:I, s:I}", "request", (json_int_t)i + 1, "wanted_on",
                                json_object_get(json_array_get(shipments, 0), "wanted_on"), "shipments",
                                (json_int_t)json_array_size(shipments), "cups", cups_of(shipments));
        made = made && json_array_append_new(rows, row) == 0;
    }
    if (made)
        return json_object_set_new(plan, "requests", rows) == 0;
    json_decref(rows);
    return false;
}

/* The table of places says nothing that a reader of the page needs. */
void page_plan(struct page_view *view, const struct page_scope *scope)
{
    json_t *shown = json_copy((json_t *)scope->object);
    if (shown == NULL) {
        view->text->failed = true;
        return;
    }
    add_map(view, shown);
    (void)json_object_del(shown, "places");
    if (!unfold(shown) || !count_requests(shown))
        view->text->failed = true;
    const struct page_scope plan = {.object = shown};
    page_object(view, &plan);
    json_decref(shown);
}
