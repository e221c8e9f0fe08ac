/* SPDX-License-Identifier: ISC */
/* The configuration. The table of settings stands once: defaults, the file, the environment and the template
 * are all read from it, and each value, defaults included, goes through the same parser and bounds. */
#include "base/config.h"
#include "base/log.h"

#include <ctype.h>
#include <errno.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

enum {
    FILE_MAX = 65536,
    VARIABLE_MAX = 64 /* the name of an environment variable */
};

enum kind { TEXT, INTEGER, BOOLEAN, LEVEL };

struct setting {
    const char *name;
    size_t offset; /* in struct config */
    enum kind kind;
    const char *fallback;
    int min; /* of an integer, or of the bytes of a text */
    int max;
    const char *description;
};

#define FIELD(name) #name, offsetof(struct config, name)
#define TEXT_MAX    (CONFIG_TEXT_MAX - 1)

static const struct setting settings[] = {
    {FIELD(dsn), TEXT, "dbname=depositd user=depositd_service", 0, TEXT_MAX,
     "libpq connection string of the service's role"},
    {FIELD(owner_dsn), TEXT, "dbname=depositd", 0, TEXT_MAX,
     "libpq connection string of the owner of the schema, for migrate"},
    {FIELD(listen_address), TEXT, "127.0.0.1", 1, TEXT_MAX, "IP address to listen on"},
    {FIELD(listen_port), INTEGER, "8080", 1, 65535, "TCP port to listen on"},
    {FIELD(max_connections), INTEGER, "1024", 1, 65536, "HTTP connections open at a time"},
    {FIELD(max_connections_per_address), INTEGER, "512", 0, 65536,
     "HTTP connections open at a time from one address, or one /64 of IPv6; 0: any number, for use behind a "
     "trusted proxy"},
    {FIELD(connection_timeout_s), INTEGER, "30", 1, 3600, "seconds until an idle HTTP connection is closed"},
    {FIELD(head_timeout_s), INTEGER, "10", 1, 3600,
     "seconds from the first byte of a request to the end of its head before 408"},
    {FIELD(body_timeout_s), INTEGER, "20", 1, 3600,
     "seconds for the body of a request before 408, and a second more for each body_rate bytes that came in"},
    {FIELD(body_rate), INTEGER, "1024", 1, 1000000000,
     "bytes of a body that extend body_timeout_s by a second"},
    {FIELD(max_body_bytes), INTEGER, "1048576", 1024, 16777216, "bytes in the body of a request"},
    {FIELD(max_reference_bytes), INTEGER, "67108864", 1024, 268435456,
     "bytes in a document of reference data, or in one of many lines; these need an admin's key"},
    {FIELD(key_rate), INTEGER, "1000", 0, 1000000,
     "requests a second that each key may make before 429; 0: any number"},
    {FIELD(key_burst), INTEGER, "5000", 1, 1000000, "requests that a key may make at once after a pause"},
    {FIELD(max_streams), INTEGER, "8", 1, 1024,
     "NDJSON bodies being read, and as many long answers being sent, at a time before 503"},
    {FIELD(spool_folder), TEXT, "/tmp", 1, TEXT_MAX,
     "folder that keeps long answers, and answers to long NDJSON bodies, until they are sent, and lines of "
     "reference data until they are taken"},
    {FIELD(spool_megabytes), INTEGER, "1024", 1, 1048576,
     "MiB for the answer to one NDJSON body, after which the body is read no further; also MiB that a client "
     "may be behind with a long answer, after which the answer is cut off; also MiB of lines of reference data"},
    {FIELD(queue_events), INTEGER, "20000", 1, 1000000, "events waiting for the writer before 503"},
    {FIELD(batch_events), INTEGER, "2000", 1, 100000, "events in one transaction"},
    {FIELD(read_workers), INTEGER, "4", 1, 256, "threads, and database connections, for reading"},
    {FIELD(queue_reads), INTEGER, "256", 1, 65536, "requests waiting for a read worker before 503"},
    {FIELD(feed_waiters), INTEGER, "256", 0, 65536,
     "requests for the feed of many schemes that may wait for news at a time before 503"},
    {FIELD(post_deadline_ms), INTEGER, "20000", 1000, 600000,
     "ms until a post is answered, whatever the database does: half for waiting, half for posting"},
    {FIELD(read_deadline_ms), INTEGER, "15000", 1000, 3600000,
     "ms that the database may take for a read, or for a small change, before 503"},
    {FIELD(long_deadline_s), INTEGER, "900", 10, 86400,
     "seconds that the database may take for a close, checks, reference data, the bank's files, or a step of "
     "migrate"},
    {FIELD(stop_grace_s), INTEGER, "20", 4, 3600,
     "seconds until the service has ended after SIGTERM; work under way by then is cut off"},
    {FIELD(close_by_clock), BOOLEAN, "yes", 0, 0, "whether the service closes business days by itself"},
    {FIELD(closers), INTEGER, "4", 1, 64,
     "days of different schemes that are closed at a time, each by a thread with a database connection"},
    {FIELD(count_days), INTEGER, "30", 1, 3660,
     "days without a count after which the start page asks for one of a site that trades"},
    {FIELD(session_idle_minutes), INTEGER, "30", 1, 1440,
     "minutes without a request after which a browser's session ends"},
    {FIELD(counter_idle_minutes), INTEGER, "240", 1, 1440,
     "the same for keys of role pos, whose sessions are those of a counter"},
    {FIELD(session_hours), INTEGER, "12", 1, 720, "hours after which a browser's session ends in any case"},
    {FIELD(behind_tls), BOOLEAN, "no", 0, 0,
     "whether browsers reach the service by TLS only: then their cookies never travel without it"},
    {FIELD(log_level), LEVEL, "info", 0, 0, "least level that is logged"},
};

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

static const struct {
    const char *word;
    bool value;
} booleans[] = {{"yes", true}, {"true", true}, {"on", true}, {"no", false}, {"false", false}, {"off", false}};

static bool set_text(const struct setting *setting, const char *value, char *field)
{
    size_t length = strlen(value);
    if (length < (size_t)setting->min || length > (size_t)setting->max)
        return false;
    memcpy(field, value, length + 1);
    return true;
}

static bool set_integer(const struct setting *setting, const char *value, int *field)
{
    /* Digits only: strtol would also take spaces and a sign. It saturates beyond any maximum. */
    if (*value == '\0' || value[strspn(value, "0123456789")] != '\0')
        return false;
    long number = strtol(value, NULL, 10);
    if (number < setting->min || number > setting->max)
        return false;
    *field = (int)number;
    return true;
}

static bool set_boolean(const char *value, bool *field)
{
    for (size_t i = 0; i < COUNT(booleans); i++) {
        if (strcmp(value, booleans[i].word) == 0) {
            *field = booleans[i].value;
            return true;
        }
    }
    return false;
}

static bool set_level(const char *value, char *field)
{
    enum log_level level;
    if (!log_level_parse(value, &level))
        return false;
    strcpy(field, value); /* a known word fits */
    return true;
}

static bool set(struct config *config, const struct setting *setting, const char *value)
{
    void *field = (char *)config + setting->offset;
    switch (setting->kind) {
    case TEXT:
        return set_text(setting, value, field);
    case INTEGER:
        return set_integer(setting, value, field);
    case BOOLEAN:
        return set_boolean(value, field);
    case LEVEL:
        return set_level(value, field);
    }
    abort();
}

static void describe_values(const struct setting *setting, char *text, size_t size)
{
    switch (setting->kind) {
    case TEXT:
        snprintf(text, size, "%d to %d bytes", setting->min, setting->max);
        return;
    case INTEGER:
        snprintf(text, size, "%d to %d", setting->min, setting->max);
        return;
    case BOOLEAN:
        snprintf(text, size, "yes, no, true, false, on or off");
        return;
    case LEVEL:
        snprintf(text, size, "debug, info, warning or error");
        return;
    }
    abort();
}

/* Where a value comes from, and where a message about it goes. */
struct source {
    const char *name; /* of the file or the environment variable */
    int line;         /* 0: has none */
    char *error;
    size_t error_size;
};

/* Always false, for its caller to return. */
static PRINTF_LIKE(2, 3) bool fail(const struct source *source, const char *format, ...)
{
    char message[256];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(message, sizeof message, format, arguments);
    va_end(arguments);

    if (source->line > 0)
        snprintf(source->error, source->error_size, "%s:%d: %s", source->name, source->line, message);
    else
        snprintf(source->error, source->error_size, "%s: %s", source->name, message);
    return false;
}

/* The message does not repeat the value: a connection string may hold a password. */
static bool set_or_fail(struct config *config, const struct setting *setting, const char *value,
                        const struct source *source)
{
    if (set(config, setting, value))
        return true;
    char values[64];
    describe_values(setting, values, sizeof values);
    return fail(source, "%s must be %s", setting->name, values);
}

static char *trim(char *text)
{
    while (isspace((unsigned char)*text))
        text++;
    size_t length = strlen(text);
    while (length > 0 && isspace((unsigned char)text[length - 1]))
        length--;
    text[length] = '\0';
    return text;
}

static const struct setting *find_setting(const char *name)
{
    for (size_t i = 0; i < COUNT(settings); i++)
        if (strcmp(settings[i].name, name) == 0)
            return &settings[i];
    return NULL;
}

/* The message does not repeat a line that has no name. */
static bool is_name(const char *text)
{
    while (isalnum((unsigned char)*text) || *text == '_')
        text++;
    return *text == '\0';
}

static bool load_line(struct config *config, char *line, const struct source *source)
{
    char *value = trim(line);
    if (*value == '\0' || *value == '#')
        return true;
    char *name = trim(strsep(&value, "="));
    if (!value || !is_name(name))
        return fail(source, "expected name = value");
    const struct setting *setting = find_setting(name);
    if (!setting)
        return fail(source, "unknown setting \"%.64s\"", name);
    return set_or_fail(config, setting, trim(value), source);
}

/* Into `text` with a terminating NUL. */
static bool read_file(char *text, size_t size, const struct source *source)
{
    FILE *file = fopen(source->name, "re");
    if (!file)
        return fail(source, "%s", strerror(errno));
    size_t length = fread(text, 1, size, file);
    int error = ferror(file) ? errno : 0;
    fclose(file);

    if (error != 0)
        return fail(source, "%s", strerror(error));
    if (length == size)
        return fail(source, "longer than %zu bytes", size - 1);
    if (memchr(text, '\0', length))
        return fail(source, "holds a NUL byte");
    text[length] = '\0';
    return true;
}

static bool load_file(struct config *config, struct source source)
{
    char text[FILE_MAX + 1];
    char *rest = text;

    if (!read_file(text, sizeof text, &source))
        return false;
    while (rest) {
        source.line++;
        if (!load_line(config, strsep(&rest, "\n"), &source))
            return false;
    }
    return true;
}

static void environment_name(const struct setting *setting, char name[static VARIABLE_MAX])
{
    int length = snprintf(name, VARIABLE_MAX, "DEPOSITD_%s", setting->name);
    for (int i = 0; i < length; i++)
        name[i] = (char)toupper((unsigned char)name[i]);
}

static bool load_environment(struct config *config, char *error, size_t error_size)
{
    for (size_t i = 0; i < COUNT(settings); i++) {
        char variable[VARIABLE_MAX];
        environment_name(&settings[i], variable);
        const char *value = getenv(variable);
        struct source source = {.name = variable, .error = error, .error_size = error_size};
        if (value && !set_or_fail(config, &settings[i], value, &source))
            return false;
    }
    return true;
}

bool config_load(struct config *config, const char *path, char *error, size_t error_size)
{
    struct source file = {.name = path, .error = error, .error_size = error_size};

    memset(config, 0, sizeof *config);
    for (size_t i = 0; i < COUNT(settings); i++)
        if (!set(config, &settings[i], settings[i].fallback))
            abort(); /* a default out of its own bounds */
    return (!path || load_file(config, file)) && load_environment(config, error, error_size);
}

void config_print_template(FILE *stream)
{
    fputs("# Settings of depositd. Each line that is commented out shows the default.\n"
          "# A # begins a comment only at the start of a line; values take no quotes.\n"
          "# The environment variable named with a setting overrides it.\n",
          stream);
    for (size_t i = 0; i < COUNT(settings); i++) {
        const struct setting *setting = &settings[i];
        char variable[VARIABLE_MAX];
        char values[64];
        environment_name(setting, variable);
        describe_values(setting, values, sizeof values);
        fprintf(stream, "\n# %s (%s; %s)\n", setting->description, values, variable);
        fprintf(stream, "#%s =%s%s\n", setting->name, *setting->fallback ? " " : "", setting->fallback);
    }
}
