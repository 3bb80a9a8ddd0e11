-- +goose Up
-- What was worked out, and when the jobs ran. Neither is a change: these rows
-- can be made again from the others.

-- Every installed assembly has one row; as_of is NULL until it is estimated.
CREATE TABLE estimates (
    assembly_id      INTEGER PRIMARY KEY REFERENCES assemblies (id) ON DELETE RESTRICT,
    as_of            TEXT,
    input_hash       TEXT NOT NULL DEFAULT '',
    stale            BOOLEAN NOT NULL DEFAULT FALSE,
    rated_bar        REAL,
    rating_confirmed BOOLEAN NOT NULL DEFAULT FALSE,
    complete         BOOLEAN NOT NULL DEFAULT FALSE,
    due              TEXT,
    earliest         TEXT,
    latest           TEXT,
    act_by           TEXT,
    governing        TEXT NOT NULL DEFAULT '',
    used             REAL,
    inspection_due   TEXT,
    hours_now        REAL,
    hours_per_week   REAL,
    stop_open        BOOLEAN NOT NULL DEFAULT FALSE,
    can_hurt         BOOLEAN NOT NULL DEFAULT FALSE,
    missing          TEXT,
    warnings         TEXT,
    problem          TEXT NOT NULL DEFAULT ''
);
INSERT INTO estimates (assembly_id, stale) SELECT assembly_id, TRUE FROM placements WHERE to_on IS NULL;

-- The order of the due list: stop first, then by date, none last. The queries
-- repeat this expression word by word, else the index does not serve them.
CREATE INDEX estimates_by_due ON estimates ((CASE WHEN stop_open THEN '0' ELSE '1' END || COALESCE(act_by, '9999-12-31')));
CREATE INDEX estimates_by_inspection ON estimates (inspection_due);
CREATE INDEX estimates_stale ON estimates (assembly_id) WHERE stale;
CREATE INDEX estimates_incomplete ON estimates (assembly_id) WHERE NOT complete;

CREATE TABLE job_runs (
    id       INTEGER PRIMARY KEY AUTOINCREMENT,
    job      TEXT NOT NULL CHECK (job <> ''),
    for_day  TEXT,
    started  TIMESTAMP NOT NULL,
    finished TIMESTAMP,
    done     INTEGER NOT NULL DEFAULT 0 CHECK (done >= 0),
    problem  TEXT NOT NULL DEFAULT ''
);
CREATE INDEX job_runs_by_job ON job_runs (job, for_day);

-- +goose Down
DROP TABLE job_runs;
DROP TABLE estimates;
