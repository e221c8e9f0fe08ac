-- How the checks ended when they were last run, by scheme. The start page shows it.

CREATE TABLE check_run (
    scheme     integer PRIMARY KEY,
    checked_at timestamptz NOT NULL,
    broken     integer NOT NULL -- checks
);
GRANT SELECT, INSERT ON check_run TO depositd_service;
GRANT UPDATE (checked_at, broken) ON check_run TO depositd_service;
