-- Schema 1: the chains of entries, the names that can be claimed once, and what this record says of itself.

-- body holds the RFC 8785 bytes of the whole entry as they were hashed; digest = SHA-256(prev, then body).
-- The other columns are copies of what stands in the body, for queries: the body is the truth.
CREATE TABLE entry (
    bench TEXT NOT NULL,
    seq INTEGER NOT NULL,
    at_us INTEGER NOT NULL,
    wall_us INTEGER NOT NULL,
    mono_us INTEGER NOT NULL,
    kind TEXT NOT NULL,
    v INTEGER NOT NULL,
    unit TEXT,
    station TEXT,
    operator TEXT,
    body BLOB NOT NULL,
    prev BLOB NOT NULL,
    digest BLOB NOT NULL,
    PRIMARY KEY (bench, seq)
);

-- The log of one unit.
CREATE INDEX entry_unit ON entry (unit, bench, seq) WHERE unit IS NOT NULL;

-- The few entries that a program must know before it may act, without walking through years of others.
CREATE INDEX entry_line ON entry (bench, seq) WHERE kind IN ('line_stopped', 'line_lifted');

CREATE TABLE once (
    name TEXT NOT NULL PRIMARY KEY,
    bench TEXT NOT NULL,
    seq INTEGER NOT NULL
);

-- One row: a record is real or simulated from its first moment on.
CREATE TABLE record (
    only_row INTEGER NOT NULL PRIMARY KEY CHECK (only_row = 1),
    simulated INTEGER NOT NULL CHECK (simulated IN (0, 1)),
    made_wall_us INTEGER NOT NULL
);

CREATE TABLE schema_version (
    version INTEGER NOT NULL PRIMARY KEY
);

-- REPLACE deletes without asking the triggers on DELETE, so whatever would replace is refused by itself.
CREATE TRIGGER entry_follows BEFORE INSERT ON entry
WHEN EXISTS (SELECT 1 FROM entry WHERE bench = NEW.bench AND seq = NEW.seq)
    OR NEW.prev IS NOT coalesce(
        (SELECT digest FROM entry WHERE bench = NEW.bench AND seq = NEW.seq - 1),
        CASE WHEN NEW.seq = 1 THEN zeroblob(32) END
    )
BEGIN SELECT RAISE(ABORT, 'an entry follows the last one of its bench and points at it'); END;

CREATE TRIGGER once_is_once BEFORE INSERT ON once
WHEN EXISTS (SELECT 1 FROM once WHERE name = NEW.name)
BEGIN SELECT RAISE(ABORT, 'a name is claimed only once'); END;

CREATE TRIGGER record_is_one BEFORE INSERT ON record
WHEN EXISTS (SELECT 1 FROM record)
BEGIN SELECT RAISE(ABORT, 'a record stays real or simulated'); END;

CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry
BEGIN SELECT RAISE(ABORT, 'entries are never changed: append another'); END;

CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry
BEGIN SELECT RAISE(ABORT, 'entries are never deleted: append another'); END;

CREATE TRIGGER once_no_update BEFORE UPDATE ON once
BEGIN SELECT RAISE(ABORT, 'a claimed name is never changed'); END;

CREATE TRIGGER once_no_delete BEFORE DELETE ON once
BEGIN SELECT RAISE(ABORT, 'a claimed name is never given back'); END;

CREATE TRIGGER record_no_update BEFORE UPDATE ON record
BEGIN SELECT RAISE(ABORT, 'a record stays real or simulated'); END;

CREATE TRIGGER record_no_delete BEFORE DELETE ON record
BEGIN SELECT RAISE(ABORT, 'a record stays real or simulated'); END;
