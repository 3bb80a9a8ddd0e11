-- +goose Up
-- What is not known of installed assemblies, written with their estimates, and
-- how much was known day by day. Neither is a change.
CREATE TABLE gaps (
    assembly_id bigint NOT NULL REFERENCES assemblies (id) ON DELETE RESTRICT,
    what        text NOT NULL,
    days        bigint NOT NULL CHECK (days >= 0),
    PRIMARY KEY (assembly_id, what)
);

CREATE TABLE known_days (
    site_id bigint NOT NULL REFERENCES sites (id) ON DELETE RESTRICT,
    day     date NOT NULL,
    lacking bigint NOT NULL CHECK (lacking >= 0),
    "of"    bigint NOT NULL CHECK ("of" >= lacking),
    PRIMARY KEY (site_id, day)
);

-- So that gaps are found of what is installed already.
UPDATE estimates SET stale = TRUE;

-- +goose Down
DROP TABLE known_days;
DROP TABLE gaps;
