-- Photographs of animals and groups. Moments are whole microseconds since 1970 in UTC.

-- A rowid table, the blobs last and the small one first: a list reads neither, a small picture not the large one.
CREATE TABLE photo (
    id TEXT NOT NULL,  -- 16 hex digits: BLAKE2b of `content`
    system TEXT NOT NULL,
    subject TEXT NOT NULL,
    taken_at INTEGER NOT NULL,
    added_at INTEGER NOT NULL,
    media_type TEXT NOT NULL,
    width INTEGER NOT NULL,
    height INTEGER NOT NULL,
    note TEXT NOT NULL,
    small BLOB NOT NULL,
    content BLOB NOT NULL,
    PRIMARY KEY (id, system, subject)
);
CREATE INDEX photo_by_subject ON photo (system, subject, taken_at);
