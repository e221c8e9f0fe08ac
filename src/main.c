/* SPDX-License-Identifier: ISC */
/* The command line: one table of commands, each with its own options and help. */
#include "app/closing/close.h"
#include "app/closing/closer.h"
#include "app/network/keys.h"
#include "app/proof/checks.h"
#include "app/service/migrate.h"
#include "app/service/service.h"
#include "base/clock.h"
#include "base/config.h"
#include "base/log.h"
#include "base/memory.h"
#include "http/server/server.h"
#include "version.h"

#include <errno.h>
#include <getopt.h>
#include <pthread.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

/* Exit statuses: of sysexits.h, the two that scripts tell apart from a plain failure; and that of a
 * verification that was not made, which is neither good nor bad news. */
enum { EXIT_NOT_RUN = 2, EXIT_USAGE = 64, EXIT_CONFIGURATION = 78 };
enum { MESSAGE_MAX = 1024, KEY_SITES_MAX = 1000 };

struct options {
    const char *config_path;
    const char *scheme;
    bool has_month;
    struct check_period month;
    struct key_request key;
    char sites[KEY_SITES_MAX][CODE_SIZE];
    const char *operands[2];
    int operand_count;
};

struct command {
    const char *name;
    const char *operands; /* as the usage line shows them */
    int operand_count;
    const char *summary;
    const char *options; /* letters of those it takes besides c and h */
    int (*run)(const struct config *config, struct options *options);
};

/* --- commands ------------------------------------------------------------------------------------------ */

static int fail(const char *message)
{
    fprintf(stderr, "depositd: %s\n", message);
    return EXIT_FAILURE;
}

/* Why a command failed. A failed allocation is no error of the connection; GnuTLS gives no reason when it
 * fails to make a secret. */
static const char *error_of(const struct pg *pg)
{
    if (pg == NULL || memory_has_failed())
        return "out of memory";
    const char *error = pg_last_error(pg);
    return *error != '\0' ? error : "out of memory, or of random numbers";
}

static int print_faults(const struct faults *faults)
{
    for (size_t i = 0; i < faults->count; i++)
        fprintf(stderr, "depositd: %s: %s\n", reason_info(faults->items[i].reason)->code,
                faults->items[i].detail);
    return EXIT_FAILURE;
}

static int wait_for_signal(void)
{
    int signal_number;
    sigset_t signals;
    sigemptyset(&signals);
    sigaddset(&signals, SIGINT);
    sigaddset(&signals, SIGTERM);
    return sigwait(&signals, &signal_number) == 0 ? signal_number : 0;
}

/* Before any thread starts, so that all of them leave the signals to wait_for_signal. */
static void block_signals(void)
{
    sigset_t signals;
    sigemptyset(&signals);
    sigaddset(&signals, SIGINT);
    sigaddset(&signals, SIGTERM);
    pthread_sigmask(SIG_BLOCK, &signals, NULL);
    signal(SIGPIPE, SIG_IGN);
}

/* For a command of its own: it may take long, and Ctrl-C ends it. */
static struct pg *connection_of(const struct config *config, const char *dsn)
{
    return pg_new(dsn, &(struct pg_bounds){.statement_ms = config->long_deadline_s * 1000});
}

/* Lets an unreachable database pass; it may be all right. */
static bool is_unfit_database(const struct config *config, char *why, size_t size)
{
    struct pg *pg = connection_of(config, config->dsn);
    bool unfit = pg != NULL && migrate_version_differs(pg, why, size);
    if (pg != NULL && !unfit && pg_is_pooled(pg)) {
        snprintf(why, size, "%s", pg_last_error(pg));
        unfit = true;
    }
    pg_free(pg);
    return unfit;
}

/* A process that still waits when the grace is over, for the database or for anything else, is ended. The end
 * of the grace is static: the thread outlives those who started it. */
static void *end_after_grace(void *argument)
{
    const struct timespec *until = argument;
    while (clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, until, NULL) == EINTR)
        continue;
    log_write(LOG_ERROR, "the service did not stop within stop_grace_s", NULL);
    _exit(EXIT_FAILURE);
}

/* Work under way has three quarters of the grace to end. */
static void begin_to_stop(struct service *service)
{
    static struct timespec until;
    pthread_t watchman;
    int64_t grace_ms = service->config->stop_grace_s * INT64_C(1000);
    log_write(LOG_INFO, "stopping", NULL);
    atomic_store(&service->stop.at_ms, clock_monotonic_ms() + grace_ms * 3 / 4);
    clock_gettime(CLOCK_MONOTONIC, &until);
    until.tv_sec += service->config->stop_grace_s;
    if (pthread_create(&watchman, NULL, end_after_grace, &until) == 0)
        pthread_detach(watchman);
}

static int run_serve(const struct config *config, struct options *options)
{
    char error[MESSAGE_MAX] = "out of memory, or of threads";
    if (is_unfit_database(config, error, sizeof error))
        return fail(error);
    struct service service = {.config = config,
                              .snapshots = snapshot_cache_new(),
                              .checking = ATOMIC_FLAG_INIT,
                              .planning = ATOMIC_FLAG_INIT};
    struct server *server = NULL;
    (void)options;
    block_signals();
    if (service.snapshots != NULL)
        service.feed_watch = feed_watch_start(config, &service.stop);
    if (service.feed_watch != NULL)
        service.groups = groups_start(config, service.snapshots, &service.stop,
                                      (struct intake_listener){feed_watch_notice, service.feed_watch});
    if (service.groups != NULL)
        service.closer = closer_start(config, service.snapshots, &service.stop);
    if (service.closer != NULL)
        service.probe = probe_start(config, service.groups, &service.stop);
    if (service.probe != NULL)
        server = server_start(&service, error, sizeof error);
    if (server != NULL) {
        log_write(LOG_INFO, "serving", "address", config->listen_address, NULL);
        wait_for_signal();
        begin_to_stop(&service);
    }
    server_stop(server);
    probe_stop(service.probe);
    closer_stop(service.closer);
    groups_stop(service.groups);
    feed_watch_stop(service.feed_watch);
    snapshot_cache_free(service.snapshots);
    return server != NULL ? EXIT_SUCCESS : fail(error);
}

static int run_migrate(const struct config *config, struct options *options)
{
    struct pg *pg = connection_of(config, config->owner_dsn);
    (void)options;
    enum store_result result = pg != NULL ? migrate(pg, stdout) : STORE_FAILED;
    int status = result == STORE_OK ? EXIT_SUCCESS : fail(error_of(pg));
    pg_free(pg);
    return status;
}

static int run_key_create(const struct config *config, struct options *options)
{
    char secret[KEY_SECRET_SIZE];
    struct arena arena;
    struct faults faults;
    struct pg *pg = connection_of(config, config->dsn);
    int status = EXIT_SUCCESS;
    arena_init(&arena, 0);
    faults_init(&faults, &arena);
    snprintf(options->key.name, sizeof options->key.name, "%s", options->operands[1]);
    options->key.sites.codes = options->sites;
    if (options->key.holder == NULL)
        options->key.holder = options->key.name;
    if (pg == NULL || key_create(pg, &options->key, secret, &faults) != REASON_NONE)
        status = faults.count > 0 ? print_faults(&faults) : fail(error_of(pg));
    else
        puts(secret);
    arena_dispose(&arena);
    pg_free(pg);
    return status;
}

static int close_scheme(struct pg *pg, struct snapshot_cache *snapshots, struct close_order *order,
                        const char *code, struct faults *faults)
{
    if (snapshot_refresh(snapshots, pg) != STORE_OK)
        return fail(pg_last_error(pg));
    const struct snapshot *snapshot = snapshot_hold(snapshots);
    const struct scheme *scheme = network_scheme(&snapshot->network, code);
    order->scheme = scheme != NULL ? scheme->id : 0;
    snapshot_release(snapshot);
    if (order->scheme == 0)
        return fail("there is no such scheme");
    if (close_day(pg, snapshots, order, faults) != STORE_OK)
        return fail(pg_last_error(pg));
    return faults->count > 0 ? print_faults(faults) : EXIT_SUCCESS;
}

static int run_close(const struct config *config, struct options *options)
{
    struct arena arena;
    struct faults faults;
    struct close_order order = {0};
    if (!date_parse(options->operands[1], strlen(options->operands[1]), &order.date))
        return fail("a date is written YYYY-MM-DD");
    struct pg *pg = connection_of(config, config->dsn);
    struct snapshot_cache *snapshots = snapshot_cache_new();
    arena_init(&arena, 0);
    faults_init(&faults, &arena);
    int status = pg != NULL && snapshots != NULL
                     ? close_scheme(pg, snapshots, &order, options->operands[0], &faults)
                     : fail("out of memory");
    if (status == EXIT_SUCCESS)
        printf("%s %s is closed\n", options->operands[0], options->operands[1]);
    arena_dispose(&arena);
    snapshot_cache_free(snapshots);
    pg_free(pg);
    return status;
}

/* A check of a scheme that does not exist examines nothing, so it must not look like success. */
static bool has_asked_scheme(const struct options *options, const struct check_results *results)
{
    return options->scheme == NULL || results->count > 0;
}

static int run_check(const struct config *config, struct options *options)
{
    struct arena arena;
    struct check_results results;
    struct pg *pg = connection_of(config, config->dsn);
    arena_init(&arena, 0);
    enum store_result result =
        pg != NULL ? checks_run(pg, &arena, options->scheme, NULL, NULL, &results) : STORE_FAILED;
    int status = result == STORE_OK ? EXIT_SUCCESS : fail(error_of(pg));
    for (size_t i = 0; result == STORE_OK && i < results.count; i++) {
        const struct check_result *item = &results.items[i];
        printf("%-7s %-12s %-20s %10lld examined  %s\n", item->broken > 0 ? "BROKEN" : "holds",
               item->scheme->code, item->check->name, (long long)item->examined, item->detail);
    }
    if (result == STORE_OK && !has_asked_scheme(options, &results))
        status = fail("there is no such scheme");
    else if (result == STORE_OK && !results.hold)
        status = EXIT_FAILURE;
    arena_dispose(&arena);
    pg_free(pg);
    return status;
}

static void print_finding(void *context, const struct scheme *scheme, const struct check *check,
                          const char *finding)
{
    (void)context;
    printf("%s: %s: %s\n", scheme->code, check->name, finding);
}

/* The results stand scheme by scheme. */
static size_t count_schemes(const struct check_results *results)
{
    size_t count = 0;
    for (size_t i = 0; i < results->count; i++)
        count += i == 0 || results->items[i].scheme != results->items[i - 1].scheme;
    return count;
}

/* Returns the exit status. */
static int print_verified(const struct check_period *period, const struct check_results *results)
{
    long long examined = 0, findings = 0;
    size_t check_count;
    (void)checks_of(period, &check_count);
    for (size_t i = 0; i < results->count; i++) {
        examined += results->items[i].examined;
        findings += results->items[i].broken;
    }
    printf("examined %lld things in %zu checks of %zu schemes: %lld do not hold\n", examined, check_count,
           count_schemes(results), findings);
    return results->hold ? EXIT_SUCCESS : EXIT_FAILURE;
}

static int run_verify(const struct config *config, struct options *options)
{
    static const struct check_listener printer = {.found = print_finding};
    struct arena arena;
    struct check_results results;
    struct pg *pg = connection_of(config, config->dsn);
    int status = EXIT_NOT_RUN;
    arena_init(&arena, 0);
    const struct check_period *period = options->has_month ? &options->month : NULL;
    enum store_result result =
        pg != NULL ? checks_run(pg, &arena, options->scheme, period, &printer, &results) : STORE_FAILED;
    if (result != STORE_OK)
        fail(error_of(pg));
    else if (!has_asked_scheme(options, &results))
        fail("there is no such scheme");
    else
        status = print_verified(period, &results);
    arena_dispose(&arena);
    pg_free(pg);
    return status;
}

static const struct command commands[] = {
    {"serve", "", 0, "answer HTTP, post events, close days", "", run_serve},
    {"migrate", "", 0, "bring the database's schema up to this version, as the database's owner", "",
     run_migrate},
    {"key", "create NAME --role ROLE [--holder PERSON] [--site CODE]... [--participant CODE]", 2,
     "make a key and print its secret, this once", "rspH", run_key_create},
    {"close", "SCHEME DATE", 2, "close a business day", "", run_close},
    {"check", "[--scheme CODE]", 0, "prove from the raw rows that the books are right", "S", run_check},
    {"verify", "[--scheme CODE] [--month YYYY-MM]", 0,
     "recompute seals and all derived figures, and name each thing that is wrong", "SM", run_verify},
};

/* --- the command line ---------------------------------------------------------------------------------- */

static void print_usage(FILE *stream)
{
    fputs("usage: depositd COMMAND [--config FILE] ...\n\n", stream);
    for (size_t i = 0; i < sizeof commands / sizeof commands[0]; i++)
        fprintf(stream, "  %-8s %s\n", commands[i].name, commands[i].summary);
    fputs("\ndepositd COMMAND --help tells more. depositd serve --help also lists the settings.\n"
          "depositd --version prints the name and the version.\n",
          stream);
}

/* "pos, participant … or admin". */
static void print_roles(void)
{
    for (unsigned role = 0; role < ROLE_COUNT; role++)
        printf("%s%s", role == 0 ? "" : role + 1 < ROLE_COUNT ? ", " : " or ", role_word((enum role)role));
}

static int print_help(const struct command *command)
{
    printf("usage: depositd %s %s%s[--config FILE]\n\n%s\n", command->name, command->operands,
           *command->operands != '\0' ? " " : "", command->summary);
    if (command->run == run_key_create) {
        fputs("\n  --role ROLE         ", stdout);
        print_roles();
        puts("\n  --holder PERSON     the person who holds the key; the key's name unless given.\n"
             "                      Two keys of one holder count as one person\n"
             "  --site CODE         a site of a " ROLES_OF_SITES " key; may be repeated\n"
             "  --participant CODE  the participant of a " ROLES_OF_PARTICIPANT " key");
    }
    if (command->run == run_verify)
        puts("\nEach finding is a line: SCHEME: CHECK: the thing that is wrong. The last line counts the\n"
             "things that were examined. Exit status: 0 all holds, 1 something does not, 2 the\n"
             "examination failed.\n\n"
             "The command computes leaves, roots and the chain of seals anew from the entries. It does\n"
             "the same for all figures that are kept beside them: ids, balances, days, transfers,\n"
             "positions, the particulars of closed days. A person who can write to the database can\n"
             "also write seals. So compare the last seal and particulars with those that you gave to\n"
             "others before. Changes of reference data and keys are sealed with the next day that\n"
             "closes. No seal covers later changes of a payment or an exception.\n\n"
             "With --month the command reads the entries of one business month and no others. It checks\n"
             "their leaves, roots and seals from the seal before the month on, their particulars, that\n"
             "they balance and book what was agreed with other schemes, and that they lead from the\n"
             "balances before the month to those at its end.\n"
             "It does not find what stands outside of the month, nor what only all entries tell.");
    if (command->run == run_serve) {
        puts("\nThe settings with their defaults follow. Set them in the file that --config names, or in\n"
             "the environment as DEPOSITD_ and the name in capitals. The environment wins.\n");
        config_print_template(stdout);
    }
    return EXIT_SUCCESS;
}

static bool add_site(struct options *options, const char *code)
{
    if (options->key.sites.count == KEY_SITES_MAX || strlen(code) > CODE_MAX)
        return false;
    strcpy(options->sites[options->key.sites.count++], code);
    return true;
}

static bool take_month(const char *text, struct check_period *month)
{
    char first[DATE_TEXT_MAX];
    int length = snprintf(first, sizeof first, "%s-01", text);
    if (length < 0 || (size_t)length >= sizeof first || !date_parse(first, (size_t)length, &month->first))
        return false;
    month->last = (struct date){month->first.days + (int32_t)date_month_day(month->first).last - 1};
    return true;
}

/* False: it is wrong, and has been said so. */
static bool take_option(struct options *options, int letter)
{
    enum role role;
    switch (letter) {
    case 'c':
        options->config_path = optarg;
        return true;
    case 'S':
        options->scheme = optarg;
        return true;
    case 'M':
        options->has_month = take_month(optarg, &options->month);
        if (!options->has_month)
            fprintf(stderr, "depositd: %s is not a month like 2026-11\n", optarg);
        return options->has_month;
    case 'r':
        if (role_parse(optarg, &role)) {
            options->key.role = (int)role;
            return true;
        }
        fprintf(stderr, "depositd: there is no role %s\n", optarg);
        return false;
    case 's':
        return add_site(options, optarg);
    case 'p':
        snprintf(options->key.participant, sizeof options->key.participant, "%s", optarg);
        return true;
    case 'H':
        options->key.holder = optarg;
        return true;
    default:
        return false;
    }
}

static bool parse(const struct command *command, int argc, char **argv, struct options *options, bool *help)
{
    static const struct option long_options[] = {
        {"config", required_argument, NULL, 'c'},
        {"help", no_argument, NULL, 'h'},
        {"role", required_argument, NULL, 'r'},
        {"site", required_argument, NULL, 's'},
        {"participant", required_argument, NULL, 'p'},
        {"holder", required_argument, NULL, 'H'},
        {"scheme", required_argument, NULL, 'S'},
        {"month", required_argument, NULL, 'M'},
        {NULL, 0, NULL, 0},
    };
    int letter;
    options->key.role = -1;
    while ((letter = getopt_long(argc, argv, "c:h", long_options, NULL)) != -1) {
        if (letter == 'h')
            *help = true;
        else if ((letter != 'c' && strchr(command->options, letter) == NULL) || !take_option(options, letter))
            return false;
    }
    while (optind < argc && options->operand_count < 2)
        options->operands[options->operand_count++] = argv[optind++];
    if (*help)
        return true;
    return optind == argc && options->operand_count == command->operand_count &&
           (command->run != run_key_create ||
            (strcmp(options->operands[0], "create") == 0 && options->key.role >= 0));
}

static int run(const struct command *command, struct options *options)
{
    struct config config;
    enum log_level level;
    char error[MESSAGE_MAX];
    if (!config_load(&config, options->config_path, error, sizeof error)) {
        fprintf(stderr, "depositd: %s\n", error);
        return EXIT_CONFIGURATION;
    }
    if (log_level_parse(config.log_level, &level))
        log_set_level(level);
    return command->run(&config, options);
}

int main(int argc, char **argv)
{
    static struct options options;
    bool help = false;
    if (argc == 2 && strcmp(argv[1], "--help") == 0) {
        print_usage(stdout);
        return EXIT_SUCCESS;
    }
    if (argc == 2 && strcmp(argv[1], "--version") == 0) {
        puts("depositd " DEPOSITD_VERSION);
        return EXIT_SUCCESS;
    }
    for (size_t i = 0; argc > 1 && i < sizeof commands / sizeof commands[0]; i++) {
        if (strcmp(argv[1], commands[i].name) != 0)
            continue;
        if (parse(&commands[i], argc - 1, argv + 1, &options, &help))
            return help ? print_help(&commands[i]) : run(&commands[i], &options);
        fprintf(stderr, "usage: depositd %s %s\n", commands[i].name, commands[i].operands);
        return EXIT_USAGE;
    }
    print_usage(stderr);
    return EXIT_USAGE;
}
