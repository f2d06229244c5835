-- Who may come in. Moments are whole microseconds since 1970 in UTC. Nothing here gives a secret away: passphrases
-- are argon2 hashes, sessions and passes are SHA-256 of 256 random bits, passkeys are public keys.

CREATE TABLE account (
    id TEXT PRIMARY KEY,
    name TEXT NOT NULL,
    role TEXT NOT NULL,  -- owner | keeper | sitter | reader
    hash TEXT NOT NULL,  -- argon2id; empty for an account that is opened by passkeys alone
    made_at INTEGER NOT NULL,
    closed_at INTEGER,
    wishes TEXT NOT NULL  -- JSON: units and what else its pages should be like
) WITHOUT ROWID;

CREATE TABLE passkey (
    id TEXT PRIMARY KEY,  -- credential id, base64url
    account TEXT NOT NULL REFERENCES account (id),
    public_key BLOB NOT NULL,
    uses INTEGER NOT NULL,  -- the authenticator's own count
    name TEXT NOT NULL,
    made_at INTEGER NOT NULL,
    used_at INTEGER
) WITHOUT ROWID;

CREATE TABLE session (
    digest TEXT PRIMARY KEY,
    account TEXT NOT NULL REFERENCES account (id),
    made_at INTEGER NOT NULL,
    seen_at INTEGER NOT NULL,
    ends_at INTEGER NOT NULL,
    words TEXT NOT NULL  -- what its browser says it is
) WITHOUT ROWID;

-- Addresses and tokens that are a secret themselves: an invitation, a shared page, a program's token.
CREATE TABLE pass (
    digest TEXT PRIMARY KEY,
    kind TEXT NOT NULL,  -- invitation | share | program
    account TEXT NOT NULL,  -- whom it is for, or whose it is
    name TEXT NOT NULL,
    target TEXT NOT NULL,  -- the shared page, or the right of a program
    made_at INTEGER NOT NULL,
    ends_at INTEGER,
    used_at INTEGER
) WITHOUT ROWID;

CREATE TABLE door_event (
    seq INTEGER PRIMARY KEY,
    at INTEGER NOT NULL,
    what TEXT NOT NULL,
    account TEXT NOT NULL,
    origin TEXT NOT NULL
);

-- Who wrote an entry by a page or a program. Beside the journal, not in it: the same entry by two people is one entry.
CREATE TABLE author (
    entry TEXT PRIMARY KEY,
    account TEXT NOT NULL
) WITHOUT ROWID;
