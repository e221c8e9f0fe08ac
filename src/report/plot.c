/* SPDX-License-Identifier: ISC */
/* A picture of some rows. Its unit of length is about a pixel of a phone; coordinates are kept in tenths of
 * it. Colours, fonts and line widths are the style sheet's: an element only says its class. */
#include "report/plot.h"

#include "depositd/civil.h"
#include "depositd/money.h"
#include "report/html.h"
#include "words/labels.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    POINTS_MAX = 400,
    BARS_MAX = 60,
    SERIES_MAX = 6,
    LABEL_SIZE = 32,
    DECIMALS = 4, /* that are kept of a value */
    SCALE = 10000,
    WIDTH = 4200, /* tenths */
    LINES_TOP = 220,
    LINES_HEIGHT = 1900,
    LINES_BOTTOM = 480, /* the days and their values */
    BAR_STEP = 180,
    BARS_TOP = 260,
    CHARACTER = 68, /* how wide one is, at most */
    TICKS = 5,
    GAP = 60,
    SENTENCE_MAX = 2048
};

#define VALUE_MAX INT64_C(10000000000000)

struct point {
    char label[LABEL_SIZE]; /* of x */
    char figure[LABEL_SIZE];
    int64_t value;
    int64_t target; /* where has_target */
    bool has_target;
    int32_t at; /* on the x axis: the day, else the number of the label */
    size_t series;
};

struct plot {
    const struct report_plot *about;
    struct point points[POINTS_MAX];
    size_t count;
    char series[SERIES_MAX][LABEL_SIZE];
    size_t series_count;
    bool all_days; /* each label is a business day */
    int32_t labels;
    bool more; /* rows were left out */
};

struct plot *plot_new(const struct report_plot *about)
{
    struct plot *plot = calloc(1, sizeof *plot);
    if (plot == NULL)
        return NULL;
    plot->about = about;
    plot->all_days = true;
    return plot;
}

void plot_free(struct plot *plot)
{
    free(plot);
}

/* Copies a label, which ends with an ellipsis where it is too long; never within a character. */
static void copy_label(char label[static LABEL_SIZE], const char *text)
{
    size_t length = strlen(text);
    if (length < LABEL_SIZE) {
        memcpy(label, text, length + 1);
        return;
    }
    length = LABEL_SIZE - 4;
    while (length > 0 && ((unsigned char)text[length] & 0xc0) == 0x80)
        length--;
    memcpy(label, text, length);
    strcpy(label + length, "\xe2\x80\xa6");
}

/* A decimal in ten-thousandths. False: it is none. */
static bool read_value(const char *text, int64_t *value)
{
    struct decimal number;
    if (text == NULL || !decimal_parse(text, strlen(text), &number))
        return false;
    for (; number.scale > DECIMALS; number.scale--)
        number.unscaled /= 10;
    int64_t most = VALUE_MAX;
    for (; number.scale < DECIMALS && llabs(number.unscaled) < most; number.scale++)
        number.unscaled *= 10;
    *value = number.unscaled > most ? most : number.unscaled < -most ? -most : number.unscaled;
    return true;
}

/* The number of a series; SERIES_MAX: there are too many. */
static size_t series_of(struct plot *plot, const char *name)
{
    char label[LABEL_SIZE];
    copy_label(label, name != NULL ? name : "");
    for (size_t i = 0; i < plot->series_count; i++)
        if (strcmp(plot->series[i], label) == 0)
            return i;
    if (plot->series_count == SERIES_MAX)
        return SERIES_MAX;
    memcpy(plot->series[plot->series_count], label, LABEL_SIZE);
    return plot->series_count++;
}

/* Labels are numbered in the order in which they come. */
static int32_t number_of(const struct plot *plot, const char *label)
{
    for (size_t i = plot->count; i > 0; i--)
        if (strcmp(plot->points[i - 1].label, label) == 0)
            return plot->points[i - 1].at;
    return plot->labels;
}

void plot_add(struct plot *plot, const char *x, const char *y, const char *series, const char *target)
{
    struct date day;
    struct point *point = &plot->points[plot->count];
    int64_t value;
    if (x == NULL || *x == '\0' || !read_value(y, &value))
        return;
    if (plot->count == (plot->about->kind == PLOT_BARS ? BARS_MAX : POINTS_MAX)) {
        plot->more = true;
        return;
    }
    *point = (struct point){.value = value, .series = series_of(plot, series)};
    if (point->series == SERIES_MAX) {
        plot->more = true;
        return;
    }
    point->has_target = read_value(target, &point->target);
    copy_label(point->label, x);
    copy_label(point->figure, y);
    point->at = number_of(plot, point->label);
    if (point->at == plot->labels)
        plot->labels++;
    plot->all_days = plot->all_days && date_parse(x, strlen(x), &day);
    plot->count++;
}

/* --- scales -------------------------------------------------------------------------------------------- */

struct scale {
    int64_t low, high, step; /* values */
    int64_t start, length;   /* tenths; length < 0: upwards */
};

static int64_t position(const struct scale *scale, int64_t value)
{
    return scale->start + (value - scale->low) * scale->length / (scale->high - scale->low);
}

static int64_t round_down(int64_t value, int64_t step)
{
    int64_t rest = value % step;
    return value - (rest < 0 ? rest + step : rest);
}

/* 1, 2 or 5 times a power of ten, so that a handful of steps cover the range. */
static int64_t step_for(int64_t range)
{
    static const int64_t mantissas[] = {1, 2, 5};
    for (int64_t power = 1;; power *= 10)
        for (size_t i = 0; i < 3; i++)
            if (mantissas[i] * power * TICKS >= range)
                return mantissas[i] * power;
}

static void widen(struct scale *scale, int64_t value)
{
    if (value < scale->low)
        scale->low = value;
    if (value > scale->high)
        scale->high = value;
}

/* Bars start at zero; lines need not, unless it is near. */
static struct scale scale_of(const struct plot *plot)
{
    struct scale scale = {plot->points[0].value, plot->points[0].value, 1, 0, 0};
    for (size_t i = 0; i < plot->count; i++) {
        widen(&scale, plot->points[i].value);
        if (plot->points[i].has_target)
            widen(&scale, plot->points[i].target);
    }
    if (plot->about->kind == PLOT_BARS || (scale.low > 0 && scale.low < scale.high / 2) ||
        scale.low == scale.high)
        widen(&scale, 0);
    if (scale.low == scale.high)
        widen(&scale, SCALE);
    scale.step = step_for(scale.high - scale.low);
    scale.low = round_down(scale.low, scale.step);
    scale.high = -round_down(-scale.high, scale.step);
    return scale;
}

/* With the decimals that the step calls for. */
static size_t format_tick(int64_t value, int64_t step, char text[static LABEL_SIZE])
{
    int decimals = step % SCALE == 0  ? 0
                   : step % 1000 == 0 ? 1
                   : step % 100 == 0  ? 2
                   : step % 10 == 0   ? 3
                                      : 4;
    int64_t size = value < 0 ? -value : value;
    struct buffer number;
    buffer_init(&number, LABEL_SIZE);
    buffer_printf(&number, "%s%lld", value < 0 ? "-" : "", (long long)(size / SCALE));
    if (decimals > 0)
        buffer_printf(&number, ".%04lld", (long long)(size % SCALE));
    size_t length = number.failed ? 0 : number.length - (decimals > 0 ? (size_t)(4 - decimals) : 0);
    memcpy(text, length > 0 ? number.data : "", length);
    text[length] = '\0';
    buffer_dispose(&number);
    return length;
}

/* --- writing ------------------------------------------------------------------------------------------- */

static void add_tenths(struct buffer *page, int64_t tenths)
{
    buffer_printf(page, "%s%lld.%lld", tenths < 0 ? "-" : "", llabs(tenths) / 10, llabs(tenths) % 10);
}

static void add_attribute(struct buffer *page, const char *name, int64_t tenths)
{
    buffer_printf(page, " %s=\"", name);
    add_tenths(page, tenths);
    buffer_add_char(page, '"');
}

static void add_line(struct buffer *page, const char *class, int64_t x1, int64_t y1, int64_t x2, int64_t y2)
{
    buffer_printf(page, "<line class=\"%s\"", class);
    add_attribute(page, "x1", x1);
    add_attribute(page, "y1", y1);
    add_attribute(page, "x2", x2);
    add_attribute(page, "y2", y2);
    buffer_add_text(page, "/>\n");
}

static void begin_text(struct buffer *page, const char *class, int64_t x, int64_t y)
{
    buffer_printf(page, "<text class=\"%s\"", class);
    add_attribute(page, "x", x);
    add_attribute(page, "y", y);
    buffer_add_char(page, '>');
}

static void add_text(struct buffer *page, const char *class, int64_t x, int64_t y, const char *text)
{
    begin_text(page, class, x, y);
    html_number(page, text);
    buffer_add_text(page, "</text>\n");
}

static void add_axis_name(struct buffer *page, const char *class, int64_t x, int64_t y, const char *name)
{
    begin_text(page, class, x, y);
    html_plain_label(page, name);
    buffer_add_text(page, "</text>\n");
}

static void begin_picture(const struct plot *plot, struct buffer *page, int64_t height)
{
    buffer_add_text(page, "<svg role=\"img\" viewBox=\"0 0 ");
    add_tenths(page, WIDTH);
    buffer_add_char(page, ' ');
    add_tenths(page, height);
    buffer_add_text(page, "\">\n<title>");
    html_plain_word(page, plot->about->title);
    buffer_add_text(page, "</title>\n");
}

/* The name of a column, in words, within a sentence. */
static void add_name(struct buffer *text, const char *column, bool begins)
{
    char label[WORDS_LABEL_SIZE] = "";
    size_t start = text->length;
    (void)words_label_in(text->words, column, label);
    buffer_add_text(text, *label != '\0' ? label : column);
    if (!begins && !text->failed && text->data[start] >= 'A' && text->data[start] <= 'Z')
        text->data[start] = (char)(text->data[start] - 'A' + 'a');
}

/* The label of x: words for people where it is a word of the machine. */
static const char *label_of(const struct plot *plot, const struct words *words, const struct point *point,
                            char plain[static WORDS_LABEL_SIZE])
{
    const char *text;
    if (!words_are_values(plot->about->x) || !words_plain(point->label, plain))
        return point->label;
    text = words_find(words, plot->about->x, plain);
    return text != NULL ? text : plain;
}

/* The figure with a true minus sign. */
static const char *signed_figure(const struct point *point, char text[static LABEL_SIZE + 2])
{
    bool negative = *point->figure == '-';
    snprintf(text, LABEL_SIZE + 2, "%s%s", negative ? "\xe2\x88\x92" : "", point->figure + negative);
    return text;
}

/* The picture in a sentence; all of it is in the table. */
static void describe(const struct plot *plot, struct buffer *text)
{
    const struct point *least = &plot->points[0], *most = least;
    char lowest[LABEL_SIZE + 2], highest[LABEL_SIZE + 2];
    char first[WORDS_LABEL_SIZE], last[WORDS_LABEL_SIZE];
    struct buffer y, x;
    for (size_t i = 0; i < plot->count; i++) {
        least = plot->points[i].value < least->value ? &plot->points[i] : least;
        most = plot->points[i].value > most->value ? &plot->points[i] : most;
    }
    buffer_init(&y, SENTENCE_MAX);
    buffer_init(&x, SENTENCE_MAX);
    y.words = x.words = text->words;
    add_name(&y, plot->about->y, true);
    add_name(&x, plot->about->x, false);
    if (!y.failed && !x.failed)
        words_say(text, "%1 by %2: least %3 (%4), most %5 (%6). The figures are those of the table.", y.data,
                  x.data, signed_figure(least, lowest), label_of(plot, text->words, least, first),
                  signed_figure(most, highest), label_of(plot, text->words, most, last));
    buffer_dispose(&y);
    buffer_dispose(&x);
}

static void add_description(const struct plot *plot, struct buffer *page)
{
    struct buffer sentence;
    buffer_init(&sentence, SENTENCE_MAX);
    sentence.words = page->words;
    describe(plot, &sentence);
    buffer_add_text(page, "<desc>");
    html_text(page, sentence.data != NULL ? sentence.data : "");
    buffer_add_text(page, "</desc>\n");
    buffer_dispose(&sentence);
}

static int64_t longest(const struct plot *plot, bool of_figures)
{
    size_t most = 0;
    for (size_t i = 0; i < plot->count; i++) {
        size_t length = strlen(of_figures ? plot->points[i].figure : plot->points[i].label);
        most = length > most ? length : most;
    }
    return (int64_t)most * CHARACTER;
}

/* --- lines --------------------------------------------------------------------------------------------- */

struct frame {
    struct scale x, y;
};

static int32_t day_or_number(const struct plot *plot, const struct point *point)
{
    struct date day;
    return plot->all_days && date_parse(point->label, strlen(point->label), &day) ? day.days : point->at;
}

static struct frame frame_of(const struct plot *plot)
{
    char tick[LABEL_SIZE];
    struct frame frame = {.y = scale_of(plot)};
    size_t low = format_tick(frame.y.low, frame.y.step, tick),
           high = format_tick(frame.y.high, frame.y.step, tick);
    int64_t left = GAP + CHARACTER * (int64_t)(low > high ? low : high);
    frame.y.start = LINES_TOP + LINES_HEIGHT;
    frame.y.length = -LINES_HEIGHT;
    int32_t first = day_or_number(plot, &plot->points[0]);
    frame.x = (struct scale){first, first, 1, left, WIDTH - left - GAP};
    for (size_t i = 0; i < plot->count; i++)
        widen(&frame.x, day_or_number(plot, &plot->points[i]));
    if (frame.x.low == frame.x.high)
        frame.x.high++;
    return frame;
}

static void add_levels(struct buffer *page, const struct frame *frame)
{
    char tick[LABEL_SIZE];
    for (int64_t value = frame->y.low; value <= frame->y.high; value += frame->y.step) {
        int64_t y = position(&frame->y, value);
        add_line(page, value == 0 ? "axis" : "grid", frame->x.start, y, frame->x.start + frame->x.length, y);
        format_tick(value, frame->y.step, tick);
        add_text(page, "end", frame->x.start - GAP / 2, y + 35, tick);
    }
}

/* Some of the labels, as many as there is room for: the first and the last among them, which stand within the
 * ends of the axis, and between them those that stand astride their places. */
static void add_labels(const struct plot *plot, struct buffer *page, const struct frame *frame)
{
    int64_t room = longest(plot, false) + 2 * GAP, left = frame->x.start, right = left + frame->x.length;
    int64_t free_from = left;
    bool first = true, last = true; /* still to come */
    for (size_t i = 0; i < plot->count; i++) {
        const char *label = plot->points[i].label;
        int64_t at = position(&frame->x, day_or_number(plot, &plot->points[i]));
        if (at == left && first) {
            add_text(page, "start", at, LINES_TOP + LINES_HEIGHT + 170, label);
            free_from = at + room;
            first = false;
        } else if (at == right && last) {
            add_text(page, "end", at, LINES_TOP + LINES_HEIGHT + 170, label);
            last = false;
        } else if (at - room / 2 >= free_from && at + room / 2 <= right - room) {
            add_text(page, "middle", at, LINES_TOP + LINES_HEIGHT + 170, label);
            free_from = at + room / 2;
        }
    }
    add_axis_name(page, "name end", right, LINES_TOP + LINES_HEIGHT + 360, plot->about->x);
    add_axis_name(page, "name start", 0, 100, plot->about->y);
}

static void add_series(const struct plot *plot, struct buffer *page, const struct frame *frame, size_t series)
{
    buffer_printf(page, "<polyline class=\"line s%zu\" points=\"", series);
    for (size_t i = 0; i < plot->count; i++) {
        const struct point *point = &plot->points[i];
        if (point->series != series)
            continue;
        add_tenths(page, position(&frame->x, day_or_number(plot, point)));
        buffer_add_char(page, ',');
        add_tenths(page, position(&frame->y, point->value));
        buffer_add_char(page, ' ');
    }
    buffer_add_text(page, "\"/>\n");
}

/* A line of one point would not be seen. */
static void add_points(const struct plot *plot, struct buffer *page, const struct frame *frame)
{
    for (size_t i = 0; i < plot->count; i++) {
        const struct point *point = &plot->points[i];
        buffer_printf(page, "<circle class=\"point s%zu\"", point->series);
        add_attribute(page, "cx", position(&frame->x, day_or_number(plot, point)));
        add_attribute(page, "cy", position(&frame->y, point->value));
        buffer_add_text(page, " r=\"2\"/>\n");
    }
}

static void draw_lines(const struct plot *plot, struct buffer *page)
{
    struct frame frame = frame_of(plot);
    const struct point *last = &plot->points[plot->count - 1];
    begin_picture(plot, page, LINES_TOP + LINES_HEIGHT + LINES_BOTTOM);
    add_description(plot, page);
    add_levels(page, &frame);
    add_labels(plot, page, &frame);
    if (last->has_target) {
        int64_t y = position(&frame.y, last->target);
        add_line(page, "target", frame.x.start, y, frame.x.start + frame.x.length, y);
    }
    for (size_t series = 0; series < plot->series_count; series++)
        add_series(plot, page, &frame, series);
    add_points(plot, page, &frame);
    buffer_add_text(page, "</svg>\n");
}

/* --- bars ---------------------------------------------------------------------------------------------- */

static void add_bar(struct buffer *page, const struct scale *x, const struct point *point, int64_t top)
{
    int64_t zero = position(x, 0), end = position(x, point->value);
    buffer_printf(page, "<rect class=\"bar s%zu\"", point->series);
    add_attribute(page, "x", end < zero ? end : zero);
    add_attribute(page, "y", top + 30);
    add_attribute(page, "width", llabs(end - zero));
    add_attribute(page, "height", BAR_STEP - 60);
    buffer_add_text(page, "/>\n");
    if (point->has_target) {
        int64_t at = position(x, point->target); /* it may stand on the bar, so it has the paper around it */
        add_line(page, "halo", at, top + 10, at, top + BAR_STEP - 10);
        add_line(page, "target", at, top + 10, at, top + BAR_STEP - 10);
    }
    add_text(page, "end", WIDTH, top + 125, point->figure);
}

/* A bar for each row, with its figure at the right. */
static void draw_bars(const struct plot *plot, struct buffer *page)
{
    struct scale x = scale_of(plot);
    int64_t left = longest(plot, false), height = BARS_TOP + (int64_t)plot->count * BAR_STEP + GAP;
    left = left < WIDTH / 3 ? left : WIDTH / 3;
    x.start = left + GAP;
    x.length = WIDTH - x.start - longest(plot, true) - GAP;
    begin_picture(plot, page, height);
    add_description(plot, page);
    add_axis_name(page, "name start", 0, 100, plot->about->x);
    add_axis_name(page, "name end", WIDTH, 100, plot->about->y);
    for (size_t i = 0; i < plot->count; i++) {
        char plain[WORDS_LABEL_SIZE];
        int64_t top = BARS_TOP - 60 + (int64_t)i * BAR_STEP;
        if (i == 0 || strcmp(plot->points[i].label, plot->points[i - 1].label) != 0)
            add_text(page, "start", 0, top + 125, label_of(plot, page->words, &plot->points[i], plain));
        add_bar(page, &x, &plot->points[i], top);
    }
    add_line(page, "axis", position(&x, 0), BARS_TOP - 100, position(&x, 0), height - GAP);
    buffer_add_text(page, "</svg>\n");
}

/* --- the figure ---------------------------------------------------------------------------------------- */

static void add_key(const struct plot *plot, struct buffer *page)
{
    bool target = plot->points[plot->count - 1].has_target;
    if (plot->series_count < 2 && !target)
        return;
    buffer_add_text(page, "<ul class=\"key\">");
    for (size_t i = 0; plot->series_count > 1 && i < plot->series_count; i++) {
        buffer_printf(page, "<li class=\"s%zu\">", i);
        html_text(page, plot->series[i]);
        buffer_add_text(page, "</li>");
    }
    if (target) {
        buffer_add_text(page, "<li class=\"target\">");
        html_label(page, plot->about->target);
        buffer_add_text(page, "</li>");
    }
    buffer_add_text(page, "</ul>\n");
}

void plot_write(const struct plot *plot, struct buffer *page)
{
    if (plot->count == 0)
        return;
    buffer_add_text(page, "<figure>\n<figcaption>");
    html_word(page, plot->about->title);
    if (plot->more) {
        char number[24];
        snprintf(number, sizeof number, "%zu", plot->count);
        buffer_add_char(page, ' ');
        html_say(page, "(the first %1)", number);
    }
    buffer_add_text(page, "</figcaption>\n");
    if (plot->about->kind == PLOT_BARS)
        draw_bars(plot, page);
    else
        draw_lines(plot, page);
    add_key(plot, page);
    buffer_add_text(page, "</figure>\n");
}
