-- Moments are whole microseconds since 1970 in UTC, except in the stream tables, where they are milliseconds.

CREATE TABLE migration (
    number INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    ran_at INTEGER NOT NULL
);

-- Which store this is: a backup may replace only a backup of the same store.
CREATE TABLE identity (id TEXT NOT NULL);
INSERT INTO identity (id) VALUES (lower(hex(randomblob(16))));

-- Every version of every system's description, as it was given.
CREATE TABLE system_document (
    seq INTEGER PRIMARY KEY,
    system TEXT NOT NULL,
    document TEXT NOT NULL,
    saved_at INTEGER NOT NULL
);
CREATE INDEX system_document_by_system ON system_document (system, saved_at);

CREATE TABLE entry (
    seq INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,
    time INTEGER NOT NULL,
    system TEXT NOT NULL,
    kind TEXT NOT NULL,
    subject TEXT NOT NULL,
    value REAL,
    unit TEXT NOT NULL,
    method TEXT NOT NULL,
    sd REAL,
    "to" TEXT NOT NULL,
    source TEXT NOT NULL,
    recorded_at INTEGER,
    note TEXT NOT NULL,
    extra TEXT,
    stored REAL,
    stored_sd REAL
);
CREATE INDEX entry_by_system ON entry (system);

CREATE TRIGGER entry_is_never_changed BEFORE UPDATE ON entry
BEGIN
    SELECT RAISE(ABORT, 'the journal is append-only: an entry is never changed');
END;
CREATE TRIGGER entry_is_never_removed BEFORE DELETE ON entry
BEGIN
    SELECT RAISE(ABORT, 'the journal is append-only: an entry is never removed');
END;

-- Rows with an impossible time, for the keeper to judge.
CREATE TABLE parked (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    file TEXT NOT NULL,
    line INTEGER NOT NULL,
    reason TEXT NOT NULL,
    row TEXT NOT NULL,
    UNIQUE (file, line, row)
);

CREATE TABLE record (
    kind TEXT NOT NULL,
    name TEXT NOT NULL,
    value TEXT NOT NULL,
    PRIMARY KEY (kind, name)
) WITHOUT ROWID;

-- One channel of probe or equipment data. `revision` grows with every change of its points.
CREATE TABLE stream (
    id INTEGER PRIMARY KEY,
    system TEXT NOT NULL,
    stream TEXT NOT NULL,
    resolution REAL,
    revision INTEGER NOT NULL DEFAULT 0,
    UNIQUE (system, stream)
);

-- The hot tail. No foreign key: it would cost a look-up for every point of a bulk import.
CREATE TABLE point (
    series INTEGER NOT NULL,
    t INTEGER NOT NULL,
    v REAL,
    flag INTEGER NOT NULL,
    PRIMARY KEY (series, t)
) WITHOUT ROWID;

CREATE TABLE roll_1h (
    series INTEGER NOT NULL,
    start INTEGER NOT NULL,
    n INTEGER NOT NULL,
    least REAL NOT NULL,
    greatest REAL NOT NULL,
    total REAL NOT NULL,
    PRIMARY KEY (series, start)
) WITHOUT ROWID;

CREATE TABLE roll_1d (
    series INTEGER NOT NULL,
    start INTEGER NOT NULL,
    n INTEGER NOT NULL,
    least REAL NOT NULL,
    greatest REAL NOT NULL,
    total REAL NOT NULL,
    PRIMARY KEY (series, start)
) WITHOUT ROWID;

-- Whole days that have left the hot tail; how to read them is in store/packing.py.
-- A rowid table: in a WITHOUT ROWID one the blobs would spill into overflow pages.
CREATE TABLE chunk (
    id INTEGER PRIMARY KEY,  -- series * 2^24 + days since 1970-01-01
    n INTEGER NOT NULL,
    t_first INTEGER NOT NULL,
    t_grain INTEGER NOT NULL,
    t_steps BLOB NOT NULL,
    v_scale INTEGER NOT NULL,
    v_first INTEGER NOT NULL,
    v_grain INTEGER NOT NULL,
    v_steps BLOB NOT NULL,
    flags BLOB NOT NULL
);

CREATE TABLE aside (
    name TEXT PRIMARY KEY,
    key TEXT NOT NULL,
    content BLOB NOT NULL
);
