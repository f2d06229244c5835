-- Photographs and other files kept with an entry of the journal. Moments are whole microseconds since 1970 in UTC.

-- A rowid table, the blobs last and the small one first: a list reads neither, a small picture not the large one.
CREATE TABLE attachment (
    id TEXT NOT NULL,  -- 16 hex digits: BLAKE2b of `content`
    entry TEXT NOT NULL,
    name TEXT NOT NULL,
    media_type TEXT NOT NULL,
    size INTEGER NOT NULL,
    added_at INTEGER NOT NULL,
    note TEXT NOT NULL,
    small BLOB,  -- a JPEG; only of a picture
    content BLOB NOT NULL,
    PRIMARY KEY (id, entry)
);
CREATE INDEX attachment_by_entry ON attachment (entry, added_at);
