-- +goose Up
-- Assemblies, where they sat, and why they came off.
CREATE TABLE assemblies (
    id             INTEGER PRIMARY KEY AUTOINCREMENT,
    site_id        INTEGER NOT NULL REFERENCES sites (id) ON DELETE RESTRICT,
    code           TEXT NOT NULL CHECK (code <> ''),
    layline        TEXT NOT NULL DEFAULT '',
    maker          TEXT NOT NULL DEFAULT '',
    designation    TEXT NOT NULL DEFAULT '',
    construction   TEXT NOT NULL DEFAULT '',
    tube           TEXT NOT NULL DEFAULT '',
    dn             INTEGER NOT NULL DEFAULT 0 CHECK (dn >= 0),
    dash           INTEGER NOT NULL DEFAULT 0 CHECK (dash >= 0),
    rated_bar      REAL CHECK (rated_bar > 0),
    rating_source  TEXT NOT NULL DEFAULT '' CHECK (rating_source IN ('', 'printed', 'typed', 'table')),
    max_c          REAL,
    fluid          TEXT NOT NULL DEFAULT '',
    length_mm      REAL CHECK (length_mm > 0),
    end_a          TEXT NOT NULL DEFAULT '',
    end_a_bar      REAL CHECK (end_a_bar > 0),
    end_b          TEXT NOT NULL DEFAULT '',
    end_b_bar      REAL CHECK (end_b_bar > 0),
    end_make       TEXT NOT NULL DEFAULT '',
    made           TEXT,
    made_text      TEXT NOT NULL DEFAULT '',
    made_ambiguous BOOLEAN NOT NULL DEFAULT FALSE,
    assembled      TEXT,
    assembled_text TEXT NOT NULL DEFAULT '',
    unconfirmed    BOOLEAN NOT NULL DEFAULT FALSE,
    note           TEXT NOT NULL DEFAULT '',
    version        INTEGER NOT NULL DEFAULT 1 CHECK (version > 0)
);
CREATE UNIQUE INDEX assemblies_by_code ON assemblies (LOWER(code));
CREATE INDEX assemblies_by_site ON assemblies (site_id);

-- Every code an assembly ever had, so that none is used again for another.
CREATE TABLE assembly_codes (
    code        TEXT NOT NULL,
    assembly_id INTEGER NOT NULL REFERENCES assemblies (id) ON DELETE RESTRICT
);
CREATE UNIQUE INDEX assembly_codes_by_code ON assembly_codes (LOWER(code));
CREATE INDEX assembly_codes_by_assembly ON assembly_codes (assembly_id);

-- The last number given out as a code; a gap does no harm.
CREATE TABLE code_counters (
    name TEXT PRIMARY KEY,
    last INTEGER NOT NULL CHECK (last >= 0)
);
INSERT INTO code_counters (name, last) VALUES ('assembly', 0);

CREATE TABLE placements (
    id          INTEGER PRIMARY KEY AUTOINCREMENT,
    assembly_id INTEGER NOT NULL REFERENCES assemblies (id) ON DELETE RESTRICT,
    position_id INTEGER NOT NULL REFERENCES positions (id) ON DELETE RESTRICT,
    from_on     TEXT NOT NULL,
    from_hours  REAL CHECK (from_hours >= 0),
    from_text   TEXT NOT NULL DEFAULT '',
    to_on       TEXT CHECK (to_on >= from_on),
    to_hours    REAL CHECK (to_hours >= 0),
    version     INTEGER NOT NULL DEFAULT 1 CHECK (version > 0)
);
CREATE INDEX placements_by_position ON placements (position_id, from_on);
CREATE INDEX placements_by_assembly ON placements (assembly_id, from_on);
CREATE UNIQUE INDEX placements_one_at_a_position ON placements (position_id) WHERE to_on IS NULL;
CREATE UNIQUE INDEX placements_one_of_an_assembly ON placements (assembly_id) WHERE to_on IS NULL;

CREATE TABLE removals (
    id           INTEGER PRIMARY KEY AUTOINCREMENT,
    placement_id INTEGER NOT NULL UNIQUE REFERENCES placements (id) ON DELETE RESTRICT,
    cause        TEXT NOT NULL CHECK (cause IN ('heat', 'pressure', 'assembly', 'outside', 'unknown', 'planned')),
    found_by     TEXT NOT NULL CHECK (found_by IN ('event', 'inspection')),
    reason       TEXT NOT NULL DEFAULT '',
    seen         TEXT NOT NULL DEFAULT '',
    scrapped     BOOLEAN NOT NULL DEFAULT FALSE,
    version      INTEGER NOT NULL DEFAULT 1 CHECK (version > 0)
);

-- +goose Down
DROP TABLE removals;
DROP TABLE placements;
DROP TABLE code_counters;
DROP TABLE assembly_codes;
DROP TABLE assemblies;
