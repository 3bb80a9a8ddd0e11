-- +goose Up
-- What changing the register needs: what was done at once, what left the fleet
-- or was thrown away, what machines of a kind usually have, how a person wants
-- values printed.
CREATE TABLE acts (
    id        INTEGER PRIMARY KEY AUTOINCREMENT,
    at        TIMESTAMP NOT NULL,
    person_id INTEGER NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
    origin    TEXT NOT NULL,
    title     TEXT NOT NULL DEFAULT '',
    undone_by INTEGER REFERENCES acts (id) ON DELETE RESTRICT
);
CREATE INDEX acts_by_person ON acts (person_id, at);

ALTER TABLE changes ADD COLUMN act_id INTEGER REFERENCES acts (id) ON DELETE RESTRICT;
CREATE INDEX changes_by_act ON changes (act_id) WHERE act_id IS NOT NULL;

ALTER TABLE machines ADD COLUMN gone_on TEXT;
ALTER TABLE machines ADD COLUMN gone_reason TEXT NOT NULL DEFAULT '';
ALTER TABLE positions ADD COLUMN gone_on TEXT;
ALTER TABLE positions ADD COLUMN gone_reason TEXT NOT NULL DEFAULT '';

ALTER TABLE assemblies ADD COLUMN scrapped_on TEXT;
ALTER TABLE assemblies ADD COLUMN scrapped_reason TEXT NOT NULL DEFAULT '';
UPDATE assemblies SET scrapped_on = (
    SELECT MAX(p.to_on) FROM placements p JOIN removals r ON r.placement_id = p.id
    WHERE p.assembly_id = assemblies.id AND r.scrapped);
ALTER TABLE removals DROP COLUMN scrapped;

CREATE TABLE kind_positions (
    id         INTEGER PRIMARY KEY AUTOINCREMENT,
    kind_id    INTEGER NOT NULL REFERENCES kinds (id) ON DELETE RESTRICT,
    circuit    TEXT NOT NULL DEFAULT '',
    name       TEXT NOT NULL CHECK (name <> ''),
    walk_order INTEGER NOT NULL DEFAULT 0 CHECK (walk_order >= 0),
    can_hurt   BOOLEAN NOT NULL DEFAULT FALSE,
    exposed    BOOLEAN NOT NULL DEFAULT FALSE,
    length_mm  REAL CHECK (length_mm > 0),
    note       TEXT NOT NULL DEFAULT '',
    version    INTEGER NOT NULL DEFAULT 1 CHECK (version > 0)
);
CREATE UNIQUE INDEX kind_positions_by_name ON kind_positions (kind_id, LOWER(name));

ALTER TABLE people ADD COLUMN pressure_unit TEXT NOT NULL DEFAULT '' CHECK (pressure_unit IN ('', 'bar', 'psi', 'MPa'));
ALTER TABLE people ADD COLUMN temperature_unit TEXT NOT NULL DEFAULT '' CHECK (temperature_unit IN ('', 'degC', 'degF'));
ALTER TABLE people ADD COLUMN length_unit TEXT NOT NULL DEFAULT '' CHECK (length_unit IN ('', 'mm', 'inch'));
ALTER TABLE people ADD COLUMN date_style TEXT NOT NULL DEFAULT '' CHECK (date_style IN ('', 'iso', 'dmy', 'dmy/', 'mdy'));

CREATE TABLE saved_lists (
    id        INTEGER PRIMARY KEY AUTOINCREMENT,
    person_id INTEGER NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
    name      TEXT NOT NULL CHECK (name <> ''),
    address   TEXT NOT NULL CHECK (address <> '')
);
CREATE UNIQUE INDEX saved_lists_by_name ON saved_lists (person_id, LOWER(name));

-- +goose Down
DROP TABLE saved_lists;
ALTER TABLE people DROP COLUMN date_style;
ALTER TABLE people DROP COLUMN length_unit;
ALTER TABLE people DROP COLUMN temperature_unit;
ALTER TABLE people DROP COLUMN pressure_unit;
DROP TABLE kind_positions;
ALTER TABLE removals ADD COLUMN scrapped BOOLEAN NOT NULL DEFAULT FALSE;
UPDATE removals SET scrapped = TRUE WHERE placement_id IN (
    SELECT p.id FROM placements p JOIN assemblies a ON a.id = p.assembly_id WHERE a.scrapped_on = p.to_on);
ALTER TABLE assemblies DROP COLUMN scrapped_reason;
ALTER TABLE assemblies DROP COLUMN scrapped_on;
ALTER TABLE positions DROP COLUMN gone_reason;
ALTER TABLE positions DROP COLUMN gone_on;
ALTER TABLE machines DROP COLUMN gone_reason;
ALTER TABLE machines DROP COLUMN gone_on;
DROP INDEX changes_by_act;
ALTER TABLE changes DROP COLUMN act_id;
DROP TABLE acts;
