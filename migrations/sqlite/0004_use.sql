-- +goose Up
-- How much machines run, and under what conditions.
CREATE TABLE readings (
    id         INTEGER PRIMARY KEY AUTOINCREMENT,
    machine_id INTEGER NOT NULL REFERENCES machines (id) ON DELETE RESTRICT,
    on_day     TEXT NOT NULL,
    hours      REAL NOT NULL CHECK (hours >= 0),
    source     TEXT NOT NULL DEFAULT '',
    disputed   BOOLEAN NOT NULL DEFAULT FALSE,
    note       TEXT NOT NULL DEFAULT '',
    version    INTEGER NOT NULL DEFAULT 1 CHECK (version > 0)
);
CREATE UNIQUE INDEX readings_by_machine ON readings (machine_id, on_day, hours);

CREATE TABLE meter_events (
    id         INTEGER PRIMARY KEY AUTOINCREMENT,
    machine_id INTEGER NOT NULL REFERENCES machines (id) ON DELETE RESTRICT,
    on_day     TEXT NOT NULL,
    old_end    REAL NOT NULL CHECK (old_end >= 0),
    new_start  REAL NOT NULL CHECK (new_start >= 0),
    note       TEXT NOT NULL DEFAULT '',
    version    INTEGER NOT NULL DEFAULT 1 CHECK (version > 0)
);
CREATE INDEX meter_events_by_machine ON meter_events (machine_id, on_day);

CREATE TABLE lay_ups (
    id         INTEGER PRIMARY KEY AUTOINCREMENT,
    machine_id INTEGER NOT NULL REFERENCES machines (id) ON DELETE RESTRICT,
    from_on    TEXT NOT NULL,
    to_on      TEXT CHECK (to_on > from_on),
    reason     TEXT NOT NULL DEFAULT '',
    version    INTEGER NOT NULL DEFAULT 1 CHECK (version > 0)
);
CREATE INDEX lay_ups_by_machine ON lay_ups (machine_id, from_on);

-- owner_id is a position, a circuit or a machine, as level says.
CREATE TABLE conditions (
    id             INTEGER PRIMARY KEY AUTOINCREMENT,
    level          TEXT NOT NULL CHECK (level IN ('position', 'circuit', 'machine')),
    owner_id       INTEGER NOT NULL,
    from_on        TEXT NOT NULL,
    fluid_c        REAL,
    surroundings_c REAL,
    always_hot     BOOLEAN,
    temperatures   TEXT,
    adapter_bar    REAL CHECK (adapter_bar > 0),
    working_bar    REAL CHECK (working_bar >= 0),
    cycles         TEXT,
    no_cycles      BOOLEAN,
    recorded       BOOLEAN,
    assessed_on    TEXT,
    basis          TEXT NOT NULL CHECK (basis IN ('measured', 'assumed')),
    note           TEXT NOT NULL DEFAULT '',
    version        INTEGER NOT NULL DEFAULT 1 CHECK (version > 0)
);
CREATE INDEX conditions_by_owner ON conditions (level, owner_id, from_on);

CREATE TABLE duties (
    id             INTEGER PRIMARY KEY AUTOINCREMENT,
    kind_id        INTEGER NOT NULL REFERENCES kinds (id) ON DELETE RESTRICT,
    circuit        TEXT NOT NULL DEFAULT '',
    fluid_c        REAL,
    surroundings_c REAL,
    always_hot     BOOLEAN,
    temperatures   TEXT,
    adapter_bar    REAL CHECK (adapter_bar > 0),
    working_bar    REAL CHECK (working_bar >= 0),
    cycles         TEXT,
    no_cycles      BOOLEAN,
    recorded       BOOLEAN,
    assessed_on    TEXT,
    note           TEXT NOT NULL DEFAULT '',
    version        INTEGER NOT NULL DEFAULT 1 CHECK (version > 0)
);
CREATE UNIQUE INDEX duties_by_circuit ON duties (kind_id, LOWER(circuit));

-- +goose Down
DROP TABLE duties;
DROP TABLE conditions;
DROP TABLE lay_ups;
DROP TABLE meter_events;
DROP TABLE readings;
