-- +goose Up
-- Looks at assemblies, and what they saw.
CREATE TABLE inspections (
    id          INTEGER PRIMARY KEY AUTOINCREMENT,
    assembly_id INTEGER NOT NULL REFERENCES assemblies (id) ON DELETE RESTRICT,
    position_id INTEGER NOT NULL REFERENCES positions (id) ON DELETE RESTRICT,
    on_day      TEXT NOT NULL,
    "by"        TEXT NOT NULL DEFAULT '',
    verdict     TEXT NOT NULL CHECK (verdict IN ('stop', 'replace', 'correct', 'watch', 'sound')),
    note        TEXT NOT NULL DEFAULT '',
    version     INTEGER NOT NULL DEFAULT 1 CHECK (version > 0)
);
CREATE INDEX inspections_by_assembly ON inspections (assembly_id, on_day);
CREATE INDEX inspections_by_position ON inspections (position_id);

CREATE TABLE findings (
    id            INTEGER PRIMARY KEY AUTOINCREMENT,
    inspection_id INTEGER NOT NULL REFERENCES inspections (id) ON DELETE RESTRICT,
    assembly_id   INTEGER NOT NULL REFERENCES assemblies (id) ON DELETE RESTRICT,
    "number"      INTEGER NOT NULL DEFAULT 0 CHECK ("number" >= 0),
    class         TEXT NOT NULL CHECK (class IN ('stop', 'replace', 'correct', 'watch')),
    place         TEXT NOT NULL DEFAULT '',
    act_by        TEXT,
    note          TEXT NOT NULL DEFAULT '',
    seen_on       TEXT NOT NULL,
    closed_on     TEXT CHECK (closed_on >= seen_on),
    closed_how    TEXT NOT NULL DEFAULT '' CHECK (closed_how IN ('', 'removed', 'released', 'done')),
    closed_reason TEXT NOT NULL DEFAULT '',
    version       INTEGER NOT NULL DEFAULT 1 CHECK (version > 0),
    CHECK ((closed_on IS NULL) = (closed_how = ''))
);
CREATE INDEX findings_by_assembly ON findings (assembly_id, seen_on);
CREATE INDEX findings_by_inspection ON findings (inspection_id);

-- +goose Down
DROP TABLE findings;
DROP TABLE inspections;
