-- +goose Up
-- What search looks in: a text for each assembly, each machine and each
-- position without a hose, made from other tables at the end of each
-- transaction. Its id is that of the thing. Pieces of three letters are
-- indexed where the extension for it is there, so that any part of a word is
-- found; without it search reads every text.
CREATE TABLE find_assemblies (
    id   bigint PRIMARY KEY,
    text text COLLATE "C" NOT NULL
);
CREATE TABLE find_machines (
    id   bigint PRIMARY KEY,
    text text COLLATE "C" NOT NULL
);
CREATE TABLE find_positions (
    id   bigint PRIMARY KEY,
    text text COLLATE "C" NOT NULL
);

-- +goose StatementBegin
DO $$
BEGIN
    CREATE EXTENSION IF NOT EXISTS pg_trgm;
    CREATE INDEX find_assemblies_by_text ON find_assemblies USING gin (text gin_trgm_ops);
    CREATE INDEX find_machines_by_text ON find_machines USING gin (text gin_trgm_ops);
    CREATE INDEX find_positions_by_text ON find_positions USING gin (text gin_trgm_ops);
EXCEPTION WHEN OTHERS THEN
    RAISE NOTICE 'search reads every text: the extension pg_trgm cannot be had (%)', SQLERRM;
END
$$;
-- +goose StatementEnd

-- The form of the texts that are there; 0 means none are.
CREATE TABLE find_form (
    id   bigint PRIMARY KEY CHECK (id = 1),
    form bigint NOT NULL
);
INSERT INTO find_form (id, form) VALUES (1, 0);

-- The orders of the list of all assemblies.
CREATE INDEX assemblies_in_order ON assemblies (code);
CREATE INDEX assemblies_scrapped ON assemblies (code) WHERE scrapped_on IS NOT NULL;

-- +goose Down
DROP INDEX assemblies_scrapped;
DROP INDEX assemblies_in_order;
DROP TABLE find_form;
DROP TABLE find_positions;
DROP TABLE find_machines;
DROP TABLE find_assemblies;
