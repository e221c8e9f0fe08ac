/* SPDX-License-Identifier: ISC */
/* The binary contains the migrations in their order: version n is the nth. */
#include "app/service/migrate.h"

#include "sql.h"
#include "store/pg_ask.h"

enum { MESSAGE_MAX = 512 };

static enum store_result run_text(struct pg *pg, const struct sql *sql)
{
    char message[MESSAGE_MAX];
    enum store_result result = pg_execute_text(pg, sql->text, message, sizeof message);
    if (result != STORE_OK)
        fprintf(stderr, "%s: %s\n", sql->name, message);
    return result;
}

static enum store_result apply(struct pg *pg, size_t version, FILE *stream)
{
    const struct sql *migration = &sql_migrations[version - 1];
    enum store_result result = run_text(pg, migration);
    if (result != STORE_OK)
        return result;
    fprintf(stream, "applied %s\n", migration->name);
    return pg_run(pg, &sql_migrate_applied, PG_ARGS(arg_int((int64_t)version), arg_text(migration->name)));
}

static enum store_result read_version(struct pg *pg, size_t *version)
{
    int64_t number;
    enum store_result result = pg_ask(pg, &sql_migrate_version, PG_NO_ARGS, pg_one(NULL, take_int, &number));
    if (result == STORE_OK)
        *version = (size_t)number;
    return result;
}

static enum store_result apply_missing(struct pg *pg, FILE *stream)
{
    size_t version;
    enum store_result result = read_version(pg, &version);
    if (result != STORE_OK)
        return result;
    if (version > sql_migration_count) {
        fprintf(stderr, "the database is at version %zu, this depositd knows %zu: use a newer one\n", version,
                sql_migration_count);
        return STORE_REFUSED;
    }
    while (version < sql_migration_count && result == STORE_OK)
        result = apply(pg, ++version, stream);
    if (result == STORE_OK)
        fprintf(stream, "the schema is at version %zu\n", version);
    return result;
}

enum store_result migrate(struct pg *pg, FILE *stream)
{
    enum store_result result = pg_begin(pg);
    if (result == STORE_OK)
        result = run_text(pg, &sql_migrate_prepare);
    if (result == STORE_OK)
        result = apply_missing(pg, stream);
    if (result == STORE_OK)
        result = pg_commit(pg);
    pg_rollback(pg);
    return result;
}

bool migrate_version_differs(struct pg *pg, char *why, size_t size)
{
    size_t version = 0; /* also if the version cannot be read, because a table or a grant is missing */
    if (pg_ready(pg) != STORE_OK)
        return false;
    enum store_result result = read_version(pg, &version);
    if ((result != STORE_OK && result != STORE_FAILED) || version == sql_migration_count)
        return false;
    snprintf(why, size, "the database is not at version %zu, with which this depositd works: %s",
             sql_migration_count,
             version < sql_migration_count ? "run `depositd migrate`" : "use a newer depositd");
    return true;
}
