-- The table that the first migration itself needs: the service's role, shared by all databases of the
-- cluster, and the list of migrations applied. Run by the owner, under a lock that ends with the transaction;
-- may be run again.
SELECT pg_advisory_xact_lock(hashtext('depositd migrate'));
DO $$ BEGIN
    IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'depositd_service') THEN
        CREATE ROLE depositd_service LOGIN;
    END IF;
EXCEPTION WHEN duplicate_object OR unique_violation THEN NULL; -- another database's migration was faster
END $$;
CREATE TABLE IF NOT EXISTS schema_version (
    version    integer PRIMARY KEY,
    name       text NOT NULL,
    applied_at timestamptz NOT NULL DEFAULT now()
);
