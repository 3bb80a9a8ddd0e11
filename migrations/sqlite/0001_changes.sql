-- +goose Up
-- Who changes the register, and the log of every change.
CREATE TABLE people (
    id      INTEGER PRIMARY KEY AUTOINCREMENT,
    name    TEXT NOT NULL CHECK (name <> ''),
    email   TEXT NOT NULL DEFAULT '',
    version INTEGER NOT NULL DEFAULT 1 CHECK (version > 0)
);

-- The one person there is until people can be added.
INSERT INTO people (id, name) VALUES (1, 'local');

CREATE TABLE imports (
    id        INTEGER PRIMARY KEY AUTOINCREMENT,
    file_name TEXT NOT NULL DEFAULT '',
    file_hash TEXT NOT NULL DEFAULT '',
    kind      TEXT NOT NULL CHECK (kind IN ('machines', 'hoses', 'readings')),
    at        TIMESTAMP NOT NULL,
    person_id INTEGER NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
    "rows"    INTEGER NOT NULL DEFAULT 0 CHECK ("rows" >= 0),
    added_n   INTEGER NOT NULL DEFAULT 0 CHECK (added_n >= 0),
    changed_n INTEGER NOT NULL DEFAULT 0 CHECK (changed_n >= 0),
    same_n    INTEGER NOT NULL DEFAULT 0 CHECK (same_n >= 0),
    refused_n INTEGER NOT NULL DEFAULT 0 CHECK (refused_n >= 0),
    undone_at TIMESTAMP
);
CREATE INDEX imports_by_file ON imports (file_hash);

CREATE TABLE header_choices (
    id          INTEGER PRIMARY KEY AUTOINCREMENT,
    kind        TEXT NOT NULL CHECK (kind IN ('machines', 'hoses', 'readings')),
    header_hash TEXT NOT NULL,
    meanings    TEXT NOT NULL DEFAULT '',
    UNIQUE (kind, header_hash)
);

-- Rows are chained by hash and never altered; see register.Change.
CREATE TABLE changes (
    seq       INTEGER PRIMARY KEY,
    at        TIMESTAMP NOT NULL,
    person_id INTEGER NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
    origin    TEXT NOT NULL,
    import_id INTEGER REFERENCES imports (id) ON DELETE RESTRICT,
    entity    TEXT NOT NULL,
    entity_id INTEGER NOT NULL,
    action    TEXT NOT NULL CHECK (action IN ('added', 'changed', 'deleted')),
    "before"  TEXT NOT NULL DEFAULT '',
    "after"   TEXT NOT NULL DEFAULT '',
    reason    TEXT NOT NULL DEFAULT '',
    prev_hash TEXT NOT NULL,
    hash      TEXT NOT NULL
);
CREATE INDEX changes_by_entity ON changes (entity, entity_id);
CREATE INDEX changes_by_import ON changes (import_id) WHERE import_id IS NOT NULL;

-- The last link of the chain: one row.
CREATE TABLE chain_head (
    id   INTEGER PRIMARY KEY CHECK (id = 1),
    seq  INTEGER NOT NULL,
    hash TEXT NOT NULL
);
INSERT INTO chain_head (id, seq, hash) VALUES (1, 0, '');

-- +goose StatementBegin
CREATE TRIGGER changes_are_never_altered BEFORE UPDATE ON changes
BEGIN
    SELECT RAISE(ABORT, 'rows of the change log are never altered');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER changes_are_never_deleted BEFORE DELETE ON changes
BEGIN
    SELECT RAISE(ABORT, 'rows of the change log are never deleted');
END;
-- +goose StatementEnd

-- +goose Down
DROP TRIGGER changes_are_never_deleted;
DROP TRIGGER changes_are_never_altered;
DROP TABLE chain_head;
DROP TABLE changes;
DROP TABLE header_choices;
DROP TABLE imports;
DROP TABLE people;
