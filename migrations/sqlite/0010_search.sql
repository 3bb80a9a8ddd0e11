-- +goose Up
-- What search looks in: a text for each assembly, each machine and each
-- position without a hose, made from other tables at the end of each
-- transaction. Its row number is the id of the thing. Pieces of three letters
-- are indexed, so that any part of a word is found.
CREATE VIRTUAL TABLE find_assemblies USING fts5(text, tokenize = 'trigram', columnsize = 0);
CREATE VIRTUAL TABLE find_machines USING fts5(text, tokenize = 'trigram', columnsize = 0);
CREATE VIRTUAL TABLE find_positions USING fts5(text, tokenize = 'trigram', columnsize = 0);

-- The form of the texts that are there; 0 means none are.
CREATE TABLE find_form (
    id   INTEGER PRIMARY KEY CHECK (id = 1),
    form INTEGER NOT NULL
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
