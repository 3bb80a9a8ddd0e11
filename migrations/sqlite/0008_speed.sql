-- +goose Up
-- What keeps lists and counts quick however large the register is: estimates
-- know where their assembly sits, so that the due list is one walk along an
-- index, and what Today shows is counted as it changes.
CREATE TABLE estimates_placed (
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
    problem          TEXT NOT NULL DEFAULT '',
    machine_id       INTEGER NOT NULL,
    site_id          INTEGER NOT NULL,
    machine_code     TEXT NOT NULL,
    walk_order       INTEGER NOT NULL
);
INSERT INTO estimates_placed
SELECT e.*, m.id, m.site_id, m.code, q.walk_order
FROM estimates e JOIN placements p ON p.assembly_id = e.assembly_id AND p.to_on IS NULL
    JOIN positions q ON q.id = p.position_id JOIN machines m ON m.id = q.machine_id;
DROP TABLE estimates;
ALTER TABLE estimates_placed RENAME TO estimates;

-- The order of the due list: stop first, then by date, none last, then by
-- machine and walk. The queries repeat the first expression and the conditions
-- word by word, else the indexes do not serve them.
CREATE INDEX estimates_by_due ON estimates ((CASE WHEN stop_open THEN '0' ELSE '1' END || COALESCE(act_by, '9999-12-31')), machine_code, walk_order, assembly_id);
CREATE INDEX estimates_by_site ON estimates (site_id, (CASE WHEN stop_open THEN '0' ELSE '1' END || COALESCE(act_by, '9999-12-31')), machine_code, walk_order, assembly_id);
CREATE INDEX estimates_incomplete ON estimates ((CASE WHEN stop_open THEN '0' ELSE '1' END || COALESCE(act_by, '9999-12-31')), machine_code, walk_order, assembly_id) WHERE NOT complete;
CREATE INDEX estimates_incomplete_by_site ON estimates (site_id, (CASE WHEN stop_open THEN '0' ELSE '1' END || COALESCE(act_by, '9999-12-31')), machine_code, walk_order, assembly_id) WHERE NOT complete;
CREATE INDEX estimates_over_rating ON estimates ((CASE WHEN stop_open THEN '0' ELSE '1' END || COALESCE(act_by, '9999-12-31')), machine_code, walk_order, assembly_id) WHERE (warnings LIKE '%"over-rating"%' OR warnings LIKE '%"over-200-percent"%');
CREATE INDEX estimates_by_inspection ON estimates (inspection_due);
CREATE INDEX estimates_stale ON estimates (assembly_id) WHERE stale;
CREATE INDEX estimates_by_machine ON estimates (machine_id);

-- Where an assembly sits changes with its machine, its position and its placement.
-- +goose StatementBegin
CREATE TRIGGER machines_move_estimates AFTER UPDATE OF site_id, code ON machines
WHEN OLD.site_id <> NEW.site_id OR OLD.code <> NEW.code
BEGIN
    UPDATE estimates SET site_id = NEW.site_id, machine_code = NEW.code WHERE machine_id = NEW.id;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER positions_move_estimates AFTER UPDATE OF walk_order ON positions
WHEN OLD.walk_order <> NEW.walk_order
BEGIN
    UPDATE estimates SET walk_order = NEW.walk_order
    WHERE assembly_id = (SELECT assembly_id FROM placements WHERE position_id = NEW.id AND to_on IS NULL);
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER placements_move_estimates AFTER UPDATE OF position_id ON placements
WHEN OLD.position_id <> NEW.position_id AND NEW.to_on IS NULL
BEGIN
    UPDATE estimates SET (machine_id, site_id, machine_code, walk_order) = (
        SELECT m.id, m.site_id, m.code, q.walk_order FROM positions q JOIN machines m ON m.id = q.machine_id WHERE q.id = NEW.position_id)
    WHERE assembly_id = NEW.assembly_id;
END;
-- +goose StatementEnd

-- How many there are of what, by site and where it has one by day, else on day
-- one: kept by triggers. What has days is there for all sites together, too, as
-- site 0. The register fills it once the schema is brought up.
CREATE TABLE tallies (
    what    TEXT NOT NULL,
    site_id INTEGER NOT NULL,
    day     TEXT NOT NULL,
    n       INTEGER NOT NULL,
    PRIMARY KEY (what, site_id, day)
) WITHOUT ROWID;
-- +goose StatementBegin
CREATE TRIGGER tally_estimates_added AFTER INSERT ON estimates
BEGIN
    INSERT INTO tallies (what, site_id, day, n) SELECT 'hoses', NEW.site_id, '0001-01-01', 1 WHERE TRUE
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
    INSERT INTO tallies (what, site_id, day, n) SELECT 'stop', NEW.site_id, '0001-01-01', 1 WHERE NEW.stop_open
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
    INSERT INTO tallies (what, site_id, day, n) SELECT 'incomplete', NEW.site_id, '0001-01-01', 1 WHERE NOT NEW.complete
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
    INSERT INTO tallies (what, site_id, day, n) SELECT 'stale', NEW.site_id, '0001-01-01', 1 WHERE NEW.stale
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
    INSERT INTO tallies (what, site_id, day, n) SELECT 'over rating', NEW.site_id, '0001-01-01', 1 WHERE COALESCE(NEW.warnings LIKE '%"over-rating"%' OR NEW.warnings LIKE '%"over-200-percent"%', FALSE)
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
    INSERT INTO tallies (what, site_id, day, n) SELECT 'act by', NEW.site_id, NEW.act_by, 1 WHERE NEW.act_by IS NOT NULL AND NOT NEW.stop_open
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
    INSERT INTO tallies (what, site_id, day, n) SELECT 'act by', 0, NEW.act_by, 1 WHERE NEW.act_by IS NOT NULL AND NOT NEW.stop_open
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
    INSERT INTO tallies (what, site_id, day, n) SELECT 'inspection', NEW.site_id, NEW.inspection_due, 1 WHERE NEW.inspection_due IS NOT NULL
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
    INSERT INTO tallies (what, site_id, day, n) SELECT 'inspection', 0, NEW.inspection_due, 1 WHERE NEW.inspection_due IS NOT NULL
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER tally_estimates_deleted AFTER DELETE ON estimates
BEGIN
    UPDATE tallies SET n = n - 1 WHERE what = 'hoses' AND site_id = OLD.site_id AND day = '0001-01-01';
    UPDATE tallies SET n = n - 1 WHERE what = 'stop' AND site_id = OLD.site_id AND day = '0001-01-01' AND OLD.stop_open;
    UPDATE tallies SET n = n - 1 WHERE what = 'incomplete' AND site_id = OLD.site_id AND day = '0001-01-01' AND NOT OLD.complete;
    UPDATE tallies SET n = n - 1 WHERE what = 'stale' AND site_id = OLD.site_id AND day = '0001-01-01' AND OLD.stale;
    UPDATE tallies SET n = n - 1 WHERE what = 'over rating' AND site_id = OLD.site_id AND day = '0001-01-01' AND COALESCE(OLD.warnings LIKE '%"over-rating"%' OR OLD.warnings LIKE '%"over-200-percent"%', FALSE);
    UPDATE tallies SET n = n - 1 WHERE what = 'act by' AND site_id = OLD.site_id AND day = OLD.act_by AND OLD.act_by IS NOT NULL AND NOT OLD.stop_open;
    UPDATE tallies SET n = n - 1 WHERE what = 'act by' AND site_id = 0 AND day = OLD.act_by AND OLD.act_by IS NOT NULL AND NOT OLD.stop_open;
    UPDATE tallies SET n = n - 1 WHERE what = 'inspection' AND site_id = OLD.site_id AND day = OLD.inspection_due AND OLD.inspection_due IS NOT NULL;
    UPDATE tallies SET n = n - 1 WHERE what = 'inspection' AND site_id = 0 AND day = OLD.inspection_due AND OLD.inspection_due IS NOT NULL;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER tally_hoses AFTER UPDATE OF site_id ON estimates
WHEN OLD.site_id <> NEW.site_id
BEGIN
    UPDATE tallies SET n = n - 1 WHERE what = 'hoses' AND site_id = OLD.site_id AND day = '0001-01-01';
    INSERT INTO tallies (what, site_id, day, n) SELECT 'hoses', NEW.site_id, '0001-01-01', 1 WHERE TRUE
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER tally_stop AFTER UPDATE OF site_id, stop_open ON estimates
WHEN OLD.site_id <> NEW.site_id OR OLD.stop_open IS NOT NEW.stop_open
BEGIN
    UPDATE tallies SET n = n - 1 WHERE what = 'stop' AND site_id = OLD.site_id AND day = '0001-01-01' AND OLD.stop_open;
    INSERT INTO tallies (what, site_id, day, n) SELECT 'stop', NEW.site_id, '0001-01-01', 1 WHERE NEW.stop_open
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER tally_incomplete AFTER UPDATE OF site_id, complete ON estimates
WHEN OLD.site_id <> NEW.site_id OR OLD.complete IS NOT NEW.complete
BEGIN
    UPDATE tallies SET n = n - 1 WHERE what = 'incomplete' AND site_id = OLD.site_id AND day = '0001-01-01' AND NOT OLD.complete;
    INSERT INTO tallies (what, site_id, day, n) SELECT 'incomplete', NEW.site_id, '0001-01-01', 1 WHERE NOT NEW.complete
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER tally_stale AFTER UPDATE OF site_id, stale ON estimates
WHEN OLD.site_id <> NEW.site_id OR OLD.stale IS NOT NEW.stale
BEGIN
    UPDATE tallies SET n = n - 1 WHERE what = 'stale' AND site_id = OLD.site_id AND day = '0001-01-01' AND OLD.stale;
    INSERT INTO tallies (what, site_id, day, n) SELECT 'stale', NEW.site_id, '0001-01-01', 1 WHERE NEW.stale
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER tally_over_rating AFTER UPDATE OF site_id, warnings ON estimates
WHEN OLD.site_id <> NEW.site_id OR OLD.warnings IS NOT NEW.warnings
BEGIN
    UPDATE tallies SET n = n - 1 WHERE what = 'over rating' AND site_id = OLD.site_id AND day = '0001-01-01' AND COALESCE(OLD.warnings LIKE '%"over-rating"%' OR OLD.warnings LIKE '%"over-200-percent"%', FALSE);
    INSERT INTO tallies (what, site_id, day, n) SELECT 'over rating', NEW.site_id, '0001-01-01', 1 WHERE COALESCE(NEW.warnings LIKE '%"over-rating"%' OR NEW.warnings LIKE '%"over-200-percent"%', FALSE)
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER tally_act_by AFTER UPDATE OF site_id, act_by, stop_open ON estimates
WHEN OLD.site_id <> NEW.site_id OR OLD.act_by IS NOT NEW.act_by OR OLD.stop_open IS NOT NEW.stop_open
BEGIN
    UPDATE tallies SET n = n - 1 WHERE what = 'act by' AND site_id = OLD.site_id AND day = OLD.act_by AND OLD.act_by IS NOT NULL AND NOT OLD.stop_open;
    UPDATE tallies SET n = n - 1 WHERE what = 'act by' AND site_id = 0 AND day = OLD.act_by AND OLD.act_by IS NOT NULL AND NOT OLD.stop_open;
    INSERT INTO tallies (what, site_id, day, n) SELECT 'act by', NEW.site_id, NEW.act_by, 1 WHERE NEW.act_by IS NOT NULL AND NOT NEW.stop_open
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
    INSERT INTO tallies (what, site_id, day, n) SELECT 'act by', 0, NEW.act_by, 1 WHERE NEW.act_by IS NOT NULL AND NOT NEW.stop_open
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER tally_inspection AFTER UPDATE OF site_id, inspection_due ON estimates
WHEN OLD.site_id <> NEW.site_id OR OLD.inspection_due IS NOT NEW.inspection_due
BEGIN
    UPDATE tallies SET n = n - 1 WHERE what = 'inspection' AND site_id = OLD.site_id AND day = OLD.inspection_due AND OLD.inspection_due IS NOT NULL;
    UPDATE tallies SET n = n - 1 WHERE what = 'inspection' AND site_id = 0 AND day = OLD.inspection_due AND OLD.inspection_due IS NOT NULL;
    INSERT INTO tallies (what, site_id, day, n) SELECT 'inspection', NEW.site_id, NEW.inspection_due, 1 WHERE NEW.inspection_due IS NOT NULL
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
    INSERT INTO tallies (what, site_id, day, n) SELECT 'inspection', 0, NEW.inspection_due, 1 WHERE NEW.inspection_due IS NOT NULL
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
END;
-- +goose StatementEnd

-- Machines and positions that are not gone.
-- +goose StatementBegin
CREATE TRIGGER tally_machines_added AFTER INSERT ON machines WHEN NEW.gone_on IS NULL
BEGIN
    INSERT INTO tallies (what, site_id, day, n) SELECT 'machines', NEW.site_id, '0001-01-01', 1 WHERE TRUE
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER tally_machines_deleted AFTER DELETE ON machines WHEN OLD.gone_on IS NULL
BEGIN
    UPDATE tallies SET n = n - 1 WHERE what = 'machines' AND site_id = OLD.site_id AND day = '0001-01-01';
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER tally_machines_changed AFTER UPDATE OF site_id, gone_on ON machines
WHEN OLD.site_id <> NEW.site_id OR OLD.gone_on IS NOT NEW.gone_on
BEGIN
    UPDATE tallies SET n = n - 1 WHERE what = 'machines' AND site_id = OLD.site_id AND day = '0001-01-01' AND OLD.gone_on IS NULL;
    UPDATE tallies SET n = n - (SELECT COUNT(*) FROM positions WHERE machine_id = NEW.id AND gone_on IS NULL) WHERE what = 'positions' AND site_id = OLD.site_id AND day = '0001-01-01' AND OLD.gone_on IS NULL;
    INSERT INTO tallies (what, site_id, day, n) SELECT 'machines', NEW.site_id, '0001-01-01', 1 WHERE NEW.gone_on IS NULL
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
    INSERT INTO tallies (what, site_id, day, n) SELECT 'positions', NEW.site_id, '0001-01-01', (SELECT COUNT(*) FROM positions WHERE machine_id = NEW.id AND gone_on IS NULL) WHERE NEW.gone_on IS NULL
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER tally_positions_added AFTER INSERT ON positions WHEN NEW.gone_on IS NULL
BEGIN
    INSERT INTO tallies (what, site_id, day, n) SELECT 'positions', site_id, '0001-01-01', 1 FROM machines WHERE id = NEW.machine_id AND gone_on IS NULL
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER tally_positions_deleted AFTER DELETE ON positions WHEN OLD.gone_on IS NULL
BEGIN
    UPDATE tallies SET n = n - 1 WHERE what = 'positions' AND site_id = (SELECT site_id FROM machines WHERE id = OLD.machine_id AND gone_on IS NULL) AND day = '0001-01-01';
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER tally_positions_changed AFTER UPDATE OF machine_id, gone_on ON positions
WHEN OLD.machine_id <> NEW.machine_id OR OLD.gone_on IS NOT NEW.gone_on
BEGIN
    UPDATE tallies SET n = n - 1 WHERE what = 'positions' AND site_id = (SELECT site_id FROM machines WHERE id = OLD.machine_id AND gone_on IS NULL) AND day = '0001-01-01' AND OLD.gone_on IS NULL;
    INSERT INTO tallies (what, site_id, day, n) SELECT 'positions', site_id, '0001-01-01', 1 FROM machines
        WHERE id = NEW.machine_id AND gone_on IS NULL AND NEW.gone_on IS NULL
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
END;
-- +goose StatementEnd

-- In store: not scrapped and at no position.
-- +goose StatementBegin
CREATE TRIGGER tally_assemblies_added AFTER INSERT ON assemblies WHEN NEW.scrapped_on IS NULL
BEGIN
    INSERT INTO tallies (what, site_id, day, n) SELECT 'in store', NEW.site_id, '0001-01-01', 1 WHERE TRUE
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER tally_assemblies_deleted AFTER DELETE ON assemblies WHEN OLD.scrapped_on IS NULL
BEGIN
    UPDATE tallies SET n = n - 1 WHERE what = 'in store' AND site_id = OLD.site_id AND day = '0001-01-01';
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER tally_assemblies_changed AFTER UPDATE OF site_id, scrapped_on ON assemblies
WHEN (OLD.site_id <> NEW.site_id OR OLD.scrapped_on IS NOT NEW.scrapped_on)
    AND NOT EXISTS (SELECT 1 FROM placements WHERE assembly_id = NEW.id AND to_on IS NULL)
BEGIN
    UPDATE tallies SET n = n - 1 WHERE what = 'in store' AND site_id = OLD.site_id AND day = '0001-01-01' AND OLD.scrapped_on IS NULL;
    INSERT INTO tallies (what, site_id, day, n) SELECT 'in store', NEW.site_id, '0001-01-01', 1 WHERE NEW.scrapped_on IS NULL
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER tally_placements_added AFTER INSERT ON placements WHEN NEW.to_on IS NULL
BEGIN
    UPDATE tallies SET n = n - 1 WHERE what = 'in store' AND site_id = (SELECT site_id FROM assemblies WHERE id = NEW.assembly_id AND scrapped_on IS NULL) AND day = '0001-01-01';
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER tally_placements_deleted AFTER DELETE ON placements WHEN OLD.to_on IS NULL
BEGIN
    INSERT INTO tallies (what, site_id, day, n) SELECT 'in store', site_id, '0001-01-01', 1 FROM assemblies
        WHERE id = OLD.assembly_id AND scrapped_on IS NULL
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER tally_placements_changed AFTER UPDATE OF to_on, assembly_id ON placements
WHEN (OLD.to_on IS NULL) <> (NEW.to_on IS NULL) OR OLD.assembly_id <> NEW.assembly_id
BEGIN
    INSERT INTO tallies (what, site_id, day, n) SELECT 'in store', site_id, '0001-01-01', 1 FROM assemblies
        WHERE id = OLD.assembly_id AND scrapped_on IS NULL AND OLD.to_on IS NULL
        ON CONFLICT (what, site_id, day) DO UPDATE SET n = n + excluded.n;
    UPDATE tallies SET n = n - 1 WHERE what = 'in store' AND site_id = (SELECT site_id FROM assemblies WHERE id = NEW.assembly_id AND scrapped_on IS NULL) AND day = '0001-01-01' AND NEW.to_on IS NULL;
END;
-- +goose StatementEnd

-- How much a running job has to do, and the order of the list of runs.
ALTER TABLE job_runs ADD COLUMN total INTEGER NOT NULL DEFAULT 0 CHECK (total >= 0);
CREATE INDEX job_runs_by_start ON job_runs (started);

-- +goose Down
DROP INDEX job_runs_by_start;
ALTER TABLE job_runs DROP COLUMN total;
DROP TRIGGER tally_placements_changed;
DROP TRIGGER tally_placements_deleted;
DROP TRIGGER tally_placements_added;
DROP TRIGGER tally_assemblies_changed;
DROP TRIGGER tally_assemblies_deleted;
DROP TRIGGER tally_assemblies_added;
DROP TRIGGER tally_positions_changed;
DROP TRIGGER tally_positions_deleted;
DROP TRIGGER tally_positions_added;
DROP TRIGGER tally_machines_changed;
DROP TRIGGER tally_machines_deleted;
DROP TRIGGER tally_machines_added;
DROP TRIGGER tally_inspection;
DROP TRIGGER tally_act_by;
DROP TRIGGER tally_over_rating;
DROP TRIGGER tally_stale;
DROP TRIGGER tally_incomplete;
DROP TRIGGER tally_stop;
DROP TRIGGER tally_hoses;
DROP TRIGGER tally_estimates_deleted;
DROP TRIGGER tally_estimates_added;
DROP TRIGGER placements_move_estimates;
DROP TRIGGER positions_move_estimates;
DROP TRIGGER machines_move_estimates;
DROP TABLE tallies;
DROP INDEX estimates_by_machine;
DROP INDEX estimates_stale;
DROP INDEX estimates_by_inspection;
DROP INDEX estimates_over_rating;
DROP INDEX estimates_incomplete_by_site;
DROP INDEX estimates_incomplete;
DROP INDEX estimates_by_site;
DROP INDEX estimates_by_due;
ALTER TABLE estimates DROP COLUMN walk_order;
ALTER TABLE estimates DROP COLUMN machine_code;
ALTER TABLE estimates DROP COLUMN site_id;
ALTER TABLE estimates DROP COLUMN machine_id;
CREATE INDEX estimates_by_due ON estimates ((CASE WHEN stop_open THEN '0' ELSE '1' END || COALESCE(act_by, '9999-12-31')));
CREATE INDEX estimates_by_inspection ON estimates (inspection_due);
CREATE INDEX estimates_stale ON estimates (assembly_id) WHERE stale;
CREATE INDEX estimates_incomplete ON estimates (assembly_id) WHERE NOT complete;
