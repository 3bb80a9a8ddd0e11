-- +goose Up
-- People, what they may do and how they are known; what a change belongs to;
-- answers given to programs.
ALTER TABLE people ADD COLUMN program BOOLEAN NOT NULL DEFAULT FALSE;
ALTER TABLE people ADD COLUMN gone_on TEXT;
ALTER TABLE people ADD COLUMN gone_reason TEXT NOT NULL DEFAULT '';
ALTER TABLE people ADD COLUMN password_at TIMESTAMP;
CREATE UNIQUE INDEX people_by_name ON people (LOWER(name));

CREATE TABLE person_roles (
    id        INTEGER PRIMARY KEY AUTOINCREMENT,
    person_id INTEGER NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
    site_id   INTEGER REFERENCES sites (id) ON DELETE RESTRICT,
    role      TEXT NOT NULL CHECK (role IN ('manager', 'planner', 'inspector', 'fitter', 'viewer'))
);
CREATE UNIQUE INDEX person_roles_once ON person_roles (person_id, role, COALESCE(site_id, 0));
INSERT INTO person_roles (person_id, role) VALUES (1, 'manager');

-- What is secret stands apart from people and is not in the change log.
CREATE TABLE credentials (
    person_id     INTEGER PRIMARY KEY REFERENCES people (id) ON DELETE RESTRICT,
    password_hash TEXT NOT NULL DEFAULT '',
    generation    INTEGER NOT NULL DEFAULT 1,
    tries         INTEGER NOT NULL DEFAULT 0 CHECK (tries >= 0),
    tried_at      TIMESTAMP
);

CREATE TABLE sessions (
    token      TEXT PRIMARY KEY,
    data       BLOB NOT NULL,
    expires_at TIMESTAMP NOT NULL
);
CREATE INDEX sessions_by_end ON sessions (expires_at);

-- One-time addresses at which somebody chooses a password.
CREATE TABLE invitations (
    id         INTEGER PRIMARY KEY AUTOINCREMENT,
    person_id  INTEGER NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
    hash       TEXT NOT NULL UNIQUE,
    expires_at TIMESTAMP NOT NULL,
    used_at    TIMESTAMP
);

-- Devices on which a person signs in with a PIN.
CREATE TABLE devices (
    id         INTEGER PRIMARY KEY AUTOINCREMENT,
    person_id  INTEGER NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
    name       TEXT NOT NULL DEFAULT '',
    hash       TEXT NOT NULL UNIQUE,
    pin_hash   TEXT NOT NULL,
    tries      INTEGER NOT NULL DEFAULT 0 CHECK (tries >= 0),
    made_at    TIMESTAMP NOT NULL,
    used_at    TIMESTAMP,
    expires_at TIMESTAMP NOT NULL
);
CREATE INDEX devices_by_person ON devices (person_id);

-- Tokens of programs; each program is a person of its own.
CREATE TABLE tokens (
    id        INTEGER PRIMARY KEY AUTOINCREMENT,
    person_id INTEGER NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
    hash      TEXT NOT NULL UNIQUE,
    made_at   TIMESTAMP NOT NULL,
    made_by   INTEGER NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
    ends_at   TIMESTAMP NOT NULL,
    used_at   TIMESTAMP,
    ended_at  TIMESTAMP
);
CREATE INDEX tokens_by_person ON tokens (person_id);

-- Answers already given, so that what is sent twice is done once.
CREATE TABLE answers (
    person_id    INTEGER NOT NULL REFERENCES people (id) ON DELETE RESTRICT,
    once         TEXT NOT NULL CHECK (once <> ''),
    request_hash TEXT NOT NULL,
    status       INTEGER NOT NULL,
    body         BLOB NOT NULL,
    at           TIMESTAMP NOT NULL,
    PRIMARY KEY (person_id, once)
);
CREATE INDEX answers_by_time ON answers (at);

-- What a change belongs to. Hashed where it is there, so not to be altered.
ALTER TABLE changes ADD COLUMN site_id INTEGER;
ALTER TABLE changes ADD COLUMN machine_id INTEGER;
ALTER TABLE changes ADD COLUMN assembly_id INTEGER;
CREATE INDEX changes_by_site ON changes (site_id, seq) WHERE site_id IS NOT NULL;
CREATE INDEX changes_by_machine ON changes (machine_id, seq) WHERE machine_id IS NOT NULL;
CREATE INDEX changes_by_assembly ON changes (assembly_id, seq) WHERE assembly_id IS NOT NULL;
CREATE INDEX changes_by_person ON changes (person_id, seq);
CREATE INDEX changes_with_reason ON changes (seq) WHERE reason <> '';

-- INSERT OR REPLACE takes a row out without asking the trigger that refuses it.
-- +goose StatementBegin
CREATE TRIGGER changes_are_never_replaced BEFORE INSERT ON changes
WHEN EXISTS (SELECT 1 FROM changes WHERE seq = NEW.seq)
BEGIN
    SELECT RAISE(ABORT, 'rows of the change log are never replaced');
END;
-- +goose StatementEnd

-- +goose Down
DROP TRIGGER changes_are_never_replaced;
DROP INDEX changes_with_reason;
DROP INDEX changes_by_person;
DROP INDEX changes_by_assembly;
DROP INDEX changes_by_machine;
DROP INDEX changes_by_site;
ALTER TABLE changes DROP COLUMN assembly_id;
ALTER TABLE changes DROP COLUMN machine_id;
ALTER TABLE changes DROP COLUMN site_id;
DROP TABLE answers;
DROP TABLE tokens;
DROP TABLE devices;
DROP TABLE invitations;
DROP TABLE sessions;
DROP TABLE credentials;
DROP TABLE person_roles;
DROP INDEX people_by_name;
ALTER TABLE people DROP COLUMN password_at;
ALTER TABLE people DROP COLUMN gone_reason;
ALTER TABLE people DROP COLUMN gone_on;
ALTER TABLE people DROP COLUMN program;
