-- +goose Up
-- Policies, sites, kinds of machines, machines, circuits and positions. Names
-- and codes are unique whatever the case of their letters.
CREATE TABLE policies (
    id                     INTEGER PRIMARY KEY AUTOINCREMENT,
    name                   TEXT NOT NULL CHECK (name <> ''),
    months_from_assembly   INTEGER CHECK (months_from_assembly > 0),
    months_from_fitting    INTEGER CHECK (months_from_fitting > 0),
    months_from_make       INTEGER CHECK (months_from_make > 0),
    hours_from_fitting     REAL CHECK (hours_from_fitting > 0),
    cycles_from_fitting    REAL CHECK (cycles_from_fitting > 0),
    heat_limit_months      INTEGER CHECK (heat_limit_months > 0),
    storage_months         INTEGER CHECK (storage_months > 0),
    hose_age_months        INTEGER CHECK (hose_age_months > 0),
    inspect_months         INTEGER CHECK (inspect_months > 0),
    damage_limit           REAL CHECK (damage_limit > 0),
    assumed_factor         REAL CHECK (assumed_factor > 0),
    heat_reference_c       REAL,
    ea_kj                  REAL CHECK (ea_kj > 0),
    combine_sum            BOOLEAN NOT NULL DEFAULT FALSE,
    peak_only              BOOLEAN NOT NULL DEFAULT FALSE,
    own_curve_alone        BOOLEAN NOT NULL DEFAULT FALSE,
    own_curve_reason       TEXT NOT NULL DEFAULT '',
    shipped                BOOLEAN NOT NULL DEFAULT FALSE,
    source                 TEXT NOT NULL DEFAULT '',
    exposed_inspect_months INTEGER CHECK (exposed_inspect_months > 0),
    lengthened             TEXT NOT NULL DEFAULT '',
    version                INTEGER NOT NULL DEFAULT 1 CHECK (version > 0),
    CHECK (NOT own_curve_alone OR own_curve_reason <> '')
);
CREATE UNIQUE INDEX policies_by_name ON policies (LOWER(name));

CREATE TABLE sites (
    id        INTEGER PRIMARY KEY AUTOINCREMENT,
    name      TEXT NOT NULL CHECK (name <> ''),
    zone      TEXT NOT NULL CHECK (zone <> ''),
    policy_id INTEGER NOT NULL REFERENCES policies (id) ON DELETE RESTRICT,
    version   INTEGER NOT NULL DEFAULT 1 CHECK (version > 0)
);
CREATE UNIQUE INDEX sites_by_name ON sites (LOWER(name));
CREATE INDEX sites_by_policy ON sites (policy_id);

CREATE TABLE kinds (
    id      INTEGER PRIMARY KEY AUTOINCREMENT,
    name    TEXT NOT NULL CHECK (name <> ''),
    version INTEGER NOT NULL DEFAULT 1 CHECK (version > 0)
);
CREATE UNIQUE INDEX kinds_by_name ON kinds (LOWER(name));

CREATE TABLE machines (
    id                     INTEGER PRIMARY KEY AUTOINCREMENT,
    site_id                INTEGER NOT NULL REFERENCES sites (id) ON DELETE RESTRICT,
    kind_id                INTEGER REFERENCES kinds (id) ON DELETE RESTRICT,
    code                   TEXT NOT NULL CHECK (code <> ''),
    name                   TEXT NOT NULL DEFAULT '',
    serial                 TEXT NOT NULL DEFAULT '',
    planned_hours_per_week REAL CHECK (planned_hours_per_week >= 0 AND planned_hours_per_week <= 168),
    can_hurt               BOOLEAN NOT NULL DEFAULT FALSE,
    note                   TEXT NOT NULL DEFAULT '',
    version                INTEGER NOT NULL DEFAULT 1 CHECK (version > 0)
);
CREATE UNIQUE INDEX machines_by_code ON machines (LOWER(code));
CREATE INDEX machines_in_order ON machines (code);
CREATE INDEX machines_by_site ON machines (site_id, code);
CREATE INDEX machines_by_kind ON machines (kind_id);

CREATE TABLE circuits (
    id         INTEGER PRIMARY KEY AUTOINCREMENT,
    machine_id INTEGER NOT NULL REFERENCES machines (id) ON DELETE RESTRICT,
    name       TEXT NOT NULL CHECK (name <> ''),
    version    INTEGER NOT NULL DEFAULT 1 CHECK (version > 0),
    UNIQUE (id, machine_id)
);
CREATE UNIQUE INDEX circuits_by_name ON circuits (machine_id, LOWER(name));

-- A position's circuit is one of its own machine.
CREATE TABLE positions (
    id          INTEGER PRIMARY KEY AUTOINCREMENT,
    machine_id  INTEGER NOT NULL REFERENCES machines (id) ON DELETE RESTRICT,
    circuit_id  INTEGER,
    name        TEXT NOT NULL CHECK (name <> ''),
    walk_order  INTEGER NOT NULL DEFAULT 0 CHECK (walk_order >= 0),
    can_hurt    BOOLEAN NOT NULL DEFAULT FALSE,
    exposed     BOOLEAN NOT NULL DEFAULT FALSE,
    policy_id   INTEGER REFERENCES policies (id) ON DELETE RESTRICT,
    length_mm   REAL CHECK (length_mm > 0),
    bend_mm     REAL CHECK (bend_mm >= 0),
    straight_mm REAL CHECK (straight_mm >= 0),
    twisted     BOOLEAN NOT NULL DEFAULT FALSE,
    note        TEXT NOT NULL DEFAULT '',
    version     INTEGER NOT NULL DEFAULT 1 CHECK (version > 0),
    FOREIGN KEY (circuit_id, machine_id) REFERENCES circuits (id, machine_id) ON DELETE RESTRICT
);
CREATE UNIQUE INDEX positions_by_name ON positions (machine_id, LOWER(name));
CREATE INDEX positions_by_walk ON positions (machine_id, walk_order);
CREATE INDEX positions_by_circuit ON positions (circuit_id);
CREATE INDEX positions_by_policy ON positions (policy_id) WHERE policy_id IS NOT NULL;

-- +goose Down
DROP TABLE positions;
DROP TABLE circuits;
DROP TABLE machines;
DROP TABLE kinds;
DROP TABLE sites;
DROP TABLE policies;
