/* SPDX-License-Identifier: ISC */
/* The log. A line is put together on the stack and leaves with one write(2), so that lines of different
 * threads, and of processes that share a pipe, never mix (POSIX: writes of up to PIPE_BUF bytes to a pipe are
 * atomic).
 *
 * Values may come from outside. Every byte that is not printable ASCII is escaped, so that nobody can forge a
 * line with a line break, or send commands to the terminal of a reader. */
#include "base/log.h"
#include "base/clock.h"

#include <errno.h>
#include <limits.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

struct line {
    size_t length;
    char text[PIPE_BUF];
};

static const char *const level_names[] = {
    [LOG_DEBUG] = "debug", [LOG_INFO] = "info", [LOG_WARNING] = "warning", [LOG_ERROR] = "error"};

static _Atomic enum log_level threshold = LOG_INFO;

void log_set_level(enum log_level level)
{
    atomic_store(&threshold, level);
}

bool log_level_parse(const char *text, enum log_level *level)
{
    for (unsigned i = LOG_DEBUG; i <= LOG_ERROR; i++) {
        if (strcmp(text, level_names[i]) == 0) {
            *level = (enum log_level)i;
            return true;
        }
    }
    return false;
}

/* Cuts at the end of the line, where one byte stays free for the line break. */
static void add(struct line *line, const char *text, size_t length)
{
    size_t left = sizeof line->text - 1 - line->length;
    size_t fitting = length < left ? length : left;
    memcpy(line->text + line->length, text, fitting);
    line->length += fitting;
}

static void add_text(struct line *line, const char *text)
{
    add(line, text, strlen(text));
}

static bool is_plain(char character)
{
    return character > ' ' && character < 0x7f && character != '"' && character != '\\' && character != '=';
}

static void add_escaped(struct line *line, char character)
{
    char escape[8];

    if (character == '\n')
        add_text(line, "\\n");
    else if (character == '"' || character == '\\')
        add(line, (char[]){'\\', character}, 2);
    else if (character >= ' ' && character < 0x7f)
        add(line, &character, 1);
    else
        add(line, escape, (size_t)snprintf(escape, sizeof escape, "\\x%02x", (unsigned char)character));
}

static void add_value(struct line *line, const char *value)
{
    const char *end = value;
    while (is_plain(*end))
        end++;
    if (*end == '\0' && end > value) {
        add(line, value, (size_t)(end - value));
        return;
    }
    add_text(line, "\"");
    for (; *value != '\0'; value++)
        add_escaped(line, *value);
    add_text(line, "\"");
}

/* Milliseconds always have three digits here: a log is read in columns. */
static void add_time(struct line *line, struct instant now)
{
    time_t seconds = (time_t)(now.us / 1000000);
    struct tm utc;
    char text[64];

    gmtime_r(&seconds, &utc);
    add(line, text, strftime(text, sizeof text, "ts=%Y-%m-%dT%H:%M:%S.", &utc));
    add(line, text, (size_t)snprintf(text, sizeof text, "%03dZ", (int)(now.us % 1000000 / 1000)));
}

void log_write(enum log_level level, const char *message, ...)
{
    if (level < atomic_load(&threshold))
        return;

    struct line line = {.length = 0};
    add_time(&line, clock_now());
    add_text(&line, " level=");
    add_text(&line, level_names[level]);
    add_text(&line, " msg=");
    add_value(&line, message);

    va_list fields;
    va_start(fields, message);
    for (const char *key; (key = va_arg(fields, const char *)) != NULL;) {
        const char *value = va_arg(fields, const char *);
        add_text(&line, " ");
        add_text(&line, key);
        add_text(&line, "=");
        add_value(&line, value ? value : "");
    }
    va_end(fields);

    line.text[line.length++] = '\n';
    while (write(STDERR_FILENO, line.text, line.length) < 0 && errno == EINTR)
        continue;
}
