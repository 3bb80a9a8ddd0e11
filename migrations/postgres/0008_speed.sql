-- +goose Up
-- What keeps lists and counts quick however large the register is: estimates
-- know where their assembly sits, so that the due list is one walk along an
-- index, and what Today shows is counted as it changes.
ALTER TABLE estimates ADD COLUMN machine_id bigint, ADD COLUMN site_id bigint, ADD COLUMN machine_code text, ADD COLUMN walk_order bigint;
DELETE FROM estimates e WHERE NOT EXISTS (SELECT 1 FROM placements p WHERE p.assembly_id = e.assembly_id AND p.to_on IS NULL);
UPDATE estimates e SET machine_id = m.id, site_id = m.site_id, machine_code = m.code, walk_order = q.walk_order
FROM placements p JOIN positions q ON q.id = p.position_id JOIN machines m ON m.id = q.machine_id
WHERE p.assembly_id = e.assembly_id AND p.to_on IS NULL;
ALTER TABLE estimates ALTER COLUMN machine_id SET NOT NULL, ALTER COLUMN site_id SET NOT NULL,
    ALTER COLUMN machine_code SET NOT NULL, ALTER COLUMN walk_order SET NOT NULL;
DROP INDEX estimates_by_due;
DROP INDEX estimates_incomplete;

-- The order of the due list: stop first, then by date, none last, then by
-- machine and walk. The queries repeat the first expression and the conditions
-- word by word, else the indexes do not serve them.
CREATE INDEX estimates_by_due ON estimates ((CASE WHEN stop_open THEN 0 ELSE 10000000 END + (COALESCE(act_by, DATE '9999-12-31') - DATE '0001-01-01')), machine_code, walk_order, assembly_id);
CREATE INDEX estimates_by_site ON estimates (site_id, (CASE WHEN stop_open THEN 0 ELSE 10000000 END + (COALESCE(act_by, DATE '9999-12-31') - DATE '0001-01-01')), machine_code, walk_order, assembly_id);
CREATE INDEX estimates_incomplete ON estimates ((CASE WHEN stop_open THEN 0 ELSE 10000000 END + (COALESCE(act_by, DATE '9999-12-31') - DATE '0001-01-01')), machine_code, walk_order, assembly_id) WHERE NOT complete;
CREATE INDEX estimates_incomplete_by_site ON estimates (site_id, (CASE WHEN stop_open THEN 0 ELSE 10000000 END + (COALESCE(act_by, DATE '9999-12-31') - DATE '0001-01-01')), machine_code, walk_order, assembly_id) WHERE NOT complete;
CREATE INDEX estimates_over_rating ON estimates ((CASE WHEN stop_open THEN 0 ELSE 10000000 END + (COALESCE(act_by, DATE '9999-12-31') - DATE '0001-01-01')), machine_code, walk_order, assembly_id) WHERE (warnings LIKE '%"over-rating"%' OR warnings LIKE '%"over-200-percent"%');
CREATE INDEX estimates_by_machine ON estimates (machine_id);

-- Where an assembly sits changes with its machine, its position and its placement.
-- +goose StatementBegin
CREATE FUNCTION machines_move_estimates() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    UPDATE estimates SET site_id = NEW.site_id, machine_code = NEW.code WHERE machine_id = NEW.id;
    RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER machines_move_estimates AFTER UPDATE OF site_id, code ON machines FOR EACH ROW
    WHEN (OLD.site_id <> NEW.site_id OR OLD.code <> NEW.code) EXECUTE FUNCTION machines_move_estimates();
-- +goose StatementBegin
CREATE FUNCTION positions_move_estimates() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    UPDATE estimates SET walk_order = NEW.walk_order
    WHERE assembly_id = (SELECT assembly_id FROM placements WHERE position_id = NEW.id AND to_on IS NULL);
    RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER positions_move_estimates AFTER UPDATE OF walk_order ON positions FOR EACH ROW
    WHEN (OLD.walk_order <> NEW.walk_order) EXECUTE FUNCTION positions_move_estimates();
-- +goose StatementBegin
CREATE FUNCTION placements_move_estimates() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    UPDATE estimates SET (machine_id, site_id, machine_code, walk_order) = (
        SELECT m.id, m.site_id, m.code, q.walk_order FROM positions q JOIN machines m ON m.id = q.machine_id WHERE q.id = NEW.position_id)
    WHERE assembly_id = NEW.assembly_id;
    RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER placements_move_estimates AFTER UPDATE OF position_id ON placements FOR EACH ROW
    WHEN (OLD.position_id <> NEW.position_id AND NEW.to_on IS NULL) EXECUTE FUNCTION placements_move_estimates();

-- How many there are of what, by site and where it has one by day, else on day
-- one: kept by triggers. What has days is there for all sites together, too, as
-- site 0. Rows are added up when read, so that no two writers wait for one
-- another; a job puts them together. The register fills it once the schema is
-- brought up.
CREATE TABLE tallies (
    what    text NOT NULL,
    site_id bigint NOT NULL,
    day     date NOT NULL,
    n       bigint NOT NULL
);
CREATE INDEX tallies_by_what ON tallies (what, site_id, day) INCLUDE (n);
-- +goose StatementBegin
CREATE FUNCTION tally_estimates() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'INSERT' THEN
        INSERT INTO tallies (what, site_id, day, n)
        SELECT t.what, t.site_id, t.day, COUNT(*) AS n FROM new_rows e CROSS JOIN LATERAL (VALUES
            ('hoses', e.site_id, DATE '0001-01-01', TRUE),
            ('stop', e.site_id, DATE '0001-01-01', e.stop_open),
            ('incomplete', e.site_id, DATE '0001-01-01', NOT e.complete),
            ('stale', e.site_id, DATE '0001-01-01', e.stale),
            ('over rating', e.site_id, DATE '0001-01-01', COALESCE(e.warnings LIKE '%"over-rating"%' OR e.warnings LIKE '%"over-200-percent"%', FALSE)),
            ('act by', e.site_id, e.act_by, e.act_by IS NOT NULL AND NOT e.stop_open),
            ('act by', 0, e.act_by, e.act_by IS NOT NULL AND NOT e.stop_open),
            ('inspection', e.site_id, e.inspection_due, e.inspection_due IS NOT NULL),
            ('inspection', 0, e.inspection_due, e.inspection_due IS NOT NULL)) AS t (what, site_id, day, counts)
        WHERE t.counts GROUP BY t.what, t.site_id, t.day;
    ELSIF TG_OP = 'DELETE' THEN
        INSERT INTO tallies (what, site_id, day, n)
        SELECT t.what, t.site_id, t.day, -COUNT(*) AS n FROM old_rows e CROSS JOIN LATERAL (VALUES
            ('hoses', e.site_id, DATE '0001-01-01', TRUE),
            ('stop', e.site_id, DATE '0001-01-01', e.stop_open),
            ('incomplete', e.site_id, DATE '0001-01-01', NOT e.complete),
            ('stale', e.site_id, DATE '0001-01-01', e.stale),
            ('over rating', e.site_id, DATE '0001-01-01', COALESCE(e.warnings LIKE '%"over-rating"%' OR e.warnings LIKE '%"over-200-percent"%', FALSE)),
            ('act by', e.site_id, e.act_by, e.act_by IS NOT NULL AND NOT e.stop_open),
            ('act by', 0, e.act_by, e.act_by IS NOT NULL AND NOT e.stop_open),
            ('inspection', e.site_id, e.inspection_due, e.inspection_due IS NOT NULL),
            ('inspection', 0, e.inspection_due, e.inspection_due IS NOT NULL)) AS t (what, site_id, day, counts)
        WHERE t.counts GROUP BY t.what, t.site_id, t.day;
    ELSE
        INSERT INTO tallies (what, site_id, day, n)
        SELECT b.what, b.site_id, b.day, SUM(b.n) FROM (
        SELECT t.what, t.site_id, t.day, 1 AS n FROM new_rows e CROSS JOIN LATERAL (VALUES
            ('hoses', e.site_id, DATE '0001-01-01', TRUE),
            ('stop', e.site_id, DATE '0001-01-01', e.stop_open),
            ('incomplete', e.site_id, DATE '0001-01-01', NOT e.complete),
            ('stale', e.site_id, DATE '0001-01-01', e.stale),
            ('over rating', e.site_id, DATE '0001-01-01', COALESCE(e.warnings LIKE '%"over-rating"%' OR e.warnings LIKE '%"over-200-percent"%', FALSE)),
            ('act by', e.site_id, e.act_by, e.act_by IS NOT NULL AND NOT e.stop_open),
            ('act by', 0, e.act_by, e.act_by IS NOT NULL AND NOT e.stop_open),
            ('inspection', e.site_id, e.inspection_due, e.inspection_due IS NOT NULL),
            ('inspection', 0, e.inspection_due, e.inspection_due IS NOT NULL)) AS t (what, site_id, day, counts)
        WHERE t.counts
        UNION ALL
        SELECT t.what, t.site_id, t.day, -1 AS n FROM old_rows e CROSS JOIN LATERAL (VALUES
            ('hoses', e.site_id, DATE '0001-01-01', TRUE),
            ('stop', e.site_id, DATE '0001-01-01', e.stop_open),
            ('incomplete', e.site_id, DATE '0001-01-01', NOT e.complete),
            ('stale', e.site_id, DATE '0001-01-01', e.stale),
            ('over rating', e.site_id, DATE '0001-01-01', COALESCE(e.warnings LIKE '%"over-rating"%' OR e.warnings LIKE '%"over-200-percent"%', FALSE)),
            ('act by', e.site_id, e.act_by, e.act_by IS NOT NULL AND NOT e.stop_open),
            ('act by', 0, e.act_by, e.act_by IS NOT NULL AND NOT e.stop_open),
            ('inspection', e.site_id, e.inspection_due, e.inspection_due IS NOT NULL),
            ('inspection', 0, e.inspection_due, e.inspection_due IS NOT NULL)) AS t (what, site_id, day, counts)
        WHERE t.counts) b
        GROUP BY b.what, b.site_id, b.day HAVING SUM(b.n) <> 0;
    END IF;
    RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER tally_estimates_added AFTER INSERT ON estimates REFERENCING NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION tally_estimates();
CREATE TRIGGER tally_estimates_changed AFTER UPDATE ON estimates REFERENCING OLD TABLE AS old_rows NEW TABLE AS new_rows
    FOR EACH STATEMENT EXECUTE FUNCTION tally_estimates();
CREATE TRIGGER tally_estimates_deleted AFTER DELETE ON estimates REFERENCING OLD TABLE AS old_rows
    FOR EACH STATEMENT EXECUTE FUNCTION tally_estimates();

-- Machines and positions that are not gone. The row that says at which site
-- something counts is locked, so that it does not move meanwhile.
-- +goose StatementBegin
CREATE FUNCTION tally_machines() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP <> 'INSERT' AND OLD.gone_on IS NULL THEN
        INSERT INTO tallies (what, site_id, day, n) VALUES ('machines', OLD.site_id, DATE '0001-01-01', -1);
    END IF;
    IF TG_OP <> 'DELETE' AND NEW.gone_on IS NULL THEN
        INSERT INTO tallies (what, site_id, day, n) VALUES ('machines', NEW.site_id, DATE '0001-01-01', 1);
    END IF;
    IF TG_OP = 'UPDATE' THEN
        INSERT INTO tallies (what, site_id, day, n)
        SELECT 'positions', s.site_id, DATE '0001-01-01', s.sign * COUNT(*)
        FROM positions q CROSS JOIN (VALUES (OLD.site_id, -1, OLD.gone_on), (NEW.site_id, 1, NEW.gone_on)) AS s (site_id, sign, gone_on)
        WHERE q.machine_id = NEW.id AND q.gone_on IS NULL AND s.gone_on IS NULL GROUP BY s.site_id, s.sign;
    END IF;
    RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER tally_machines_in_out AFTER INSERT OR DELETE ON machines FOR EACH ROW EXECUTE FUNCTION tally_machines();
CREATE TRIGGER tally_machines_changed AFTER UPDATE OF site_id, gone_on ON machines FOR EACH ROW
    WHEN (OLD.site_id <> NEW.site_id OR OLD.gone_on IS DISTINCT FROM NEW.gone_on) EXECUTE FUNCTION tally_machines();
-- +goose StatementBegin
CREATE FUNCTION tally_positions() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP <> 'INSERT' AND OLD.gone_on IS NULL THEN
        INSERT INTO tallies (what, site_id, day, n)
        SELECT 'positions', m.site_id, DATE '0001-01-01', -1 FROM (SELECT site_id FROM machines WHERE id = OLD.machine_id AND gone_on IS NULL FOR SHARE) m;
    END IF;
    IF TG_OP <> 'DELETE' AND NEW.gone_on IS NULL THEN
        INSERT INTO tallies (what, site_id, day, n)
        SELECT 'positions', m.site_id, DATE '0001-01-01', 1 FROM (SELECT site_id FROM machines WHERE id = NEW.machine_id AND gone_on IS NULL FOR SHARE) m;
    END IF;
    RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER tally_positions_in_out AFTER INSERT OR DELETE ON positions FOR EACH ROW EXECUTE FUNCTION tally_positions();
CREATE TRIGGER tally_positions_changed AFTER UPDATE OF machine_id, gone_on ON positions FOR EACH ROW
    WHEN (OLD.machine_id <> NEW.machine_id OR OLD.gone_on IS DISTINCT FROM NEW.gone_on) EXECUTE FUNCTION tally_positions();

-- In store: not scrapped and at no position.
-- +goose StatementBegin
CREATE FUNCTION tally_assemblies() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'UPDATE' AND EXISTS (SELECT 1 FROM placements WHERE assembly_id = NEW.id AND to_on IS NULL) THEN
        RETURN NULL;
    END IF;
    IF TG_OP <> 'INSERT' AND OLD.scrapped_on IS NULL THEN
        INSERT INTO tallies (what, site_id, day, n) VALUES ('in store', OLD.site_id, DATE '0001-01-01', -1);
    END IF;
    IF TG_OP <> 'DELETE' AND NEW.scrapped_on IS NULL THEN
        INSERT INTO tallies (what, site_id, day, n) VALUES ('in store', NEW.site_id, DATE '0001-01-01', 1);
    END IF;
    RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER tally_assemblies_in_out AFTER INSERT OR DELETE ON assemblies FOR EACH ROW EXECUTE FUNCTION tally_assemblies();
CREATE TRIGGER tally_assemblies_changed AFTER UPDATE OF site_id, scrapped_on ON assemblies FOR EACH ROW
    WHEN (OLD.site_id <> NEW.site_id OR OLD.scrapped_on IS DISTINCT FROM NEW.scrapped_on) EXECUTE FUNCTION tally_assemblies();
-- +goose StatementBegin
CREATE FUNCTION tally_placements() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP <> 'INSERT' AND OLD.to_on IS NULL THEN
        INSERT INTO tallies (what, site_id, day, n)
        SELECT 'in store', a.site_id, DATE '0001-01-01', 1 FROM (SELECT site_id FROM assemblies WHERE id = OLD.assembly_id AND scrapped_on IS NULL FOR SHARE) a;
    END IF;
    IF TG_OP <> 'DELETE' AND NEW.to_on IS NULL THEN
        INSERT INTO tallies (what, site_id, day, n)
        SELECT 'in store', a.site_id, DATE '0001-01-01', -1 FROM (SELECT site_id FROM assemblies WHERE id = NEW.assembly_id AND scrapped_on IS NULL FOR SHARE) a;
    END IF;
    RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER tally_placements_in_out AFTER INSERT OR DELETE ON placements FOR EACH ROW EXECUTE FUNCTION tally_placements();
CREATE TRIGGER tally_placements_changed AFTER UPDATE OF to_on, assembly_id ON placements FOR EACH ROW
    WHEN ((OLD.to_on IS NULL) <> (NEW.to_on IS NULL) OR OLD.assembly_id <> NEW.assembly_id) EXECUTE FUNCTION tally_placements();

-- How much a running job has to do, and the order of the list of runs.
ALTER TABLE job_runs ADD COLUMN total bigint NOT NULL DEFAULT 0 CHECK (total >= 0);
CREATE INDEX job_runs_by_start ON job_runs (started);

-- +goose Down
DROP INDEX job_runs_by_start;
ALTER TABLE job_runs DROP COLUMN total;
DROP TRIGGER tally_placements_changed ON placements;
DROP TRIGGER tally_placements_in_out ON placements;
DROP TRIGGER tally_assemblies_changed ON assemblies;
DROP TRIGGER tally_assemblies_in_out ON assemblies;
DROP TRIGGER tally_positions_changed ON positions;
DROP TRIGGER tally_positions_in_out ON positions;
DROP TRIGGER tally_machines_changed ON machines;
DROP TRIGGER tally_machines_in_out ON machines;
DROP TRIGGER tally_estimates_deleted ON estimates;
DROP TRIGGER tally_estimates_changed ON estimates;
DROP TRIGGER tally_estimates_added ON estimates;
DROP TRIGGER placements_move_estimates ON placements;
DROP TRIGGER positions_move_estimates ON positions;
DROP TRIGGER machines_move_estimates ON machines;
DROP FUNCTION tally_placements;
DROP FUNCTION tally_assemblies;
DROP FUNCTION tally_positions;
DROP FUNCTION tally_machines;
DROP FUNCTION tally_estimates;
DROP FUNCTION placements_move_estimates;
DROP FUNCTION positions_move_estimates;
DROP FUNCTION machines_move_estimates;
DROP TABLE tallies;
DROP INDEX estimates_by_machine;
DROP INDEX estimates_over_rating;
DROP INDEX estimates_incomplete_by_site;
DROP INDEX estimates_incomplete;
DROP INDEX estimates_by_site;
DROP INDEX estimates_by_due;
ALTER TABLE estimates DROP COLUMN walk_order, DROP COLUMN machine_code, DROP COLUMN site_id, DROP COLUMN machine_id;
CREATE INDEX estimates_by_due ON estimates ((CASE WHEN stop_open THEN 0 ELSE 10000000 END + (COALESCE(act_by, DATE '9999-12-31') - DATE '0001-01-01')));
CREATE INDEX estimates_incomplete ON estimates (assembly_id) WHERE NOT complete;
