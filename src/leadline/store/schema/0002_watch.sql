-- The watch: alarms as they stand and as they went, messages, deliveries, what came in and is no point.
-- Moments are whole microseconds since 1970 in UTC.

CREATE TABLE alarm (
    system TEXT NOT NULL,
    name TEXT NOT NULL,
    subject TEXT NOT NULL,
    state TEXT NOT NULL,
    holds INTEGER NOT NULL,
    latching INTEGER NOT NULL,
    since INTEGER NOT NULL,
    until INTEGER,
    reason TEXT NOT NULL,
    priority TEXT NOT NULL,
    value REAL,
    because TEXT NOT NULL,
    began INTEGER NOT NULL,
    harm_at INTEGER,
    cause TEXT NOT NULL,
    again_at INTEGER,
    PRIMARY KEY (system, name)
) WITHOUT ROWID;

-- Every transition, for ever: figures and cases are worked out from it.
CREATE TABLE alarm_event (
    seq INTEGER PRIMARY KEY,
    at INTEGER NOT NULL,
    system TEXT NOT NULL,
    name TEXT NOT NULL,
    event TEXT NOT NULL,
    before TEXT NOT NULL,
    after TEXT NOT NULL,
    priority TEXT NOT NULL,
    cause TEXT NOT NULL,
    who TEXT NOT NULL,
    words TEXT NOT NULL
);
CREATE INDEX alarm_event_by_time ON alarm_event (at);

CREATE TRIGGER alarm_event_is_never_changed BEFORE UPDATE ON alarm_event
BEGIN
    SELECT RAISE(ABORT, 'what an alarm did is never changed');
END;

-- What somebody must be told. It is closed by an answer, never by having been sent.
CREATE TABLE message (
    id TEXT PRIMARY KEY,
    kind TEXT NOT NULL,  -- alarm proof notice
    system TEXT NOT NULL,
    alarm TEXT NOT NULL,
    priority TEXT NOT NULL,
    subject TEXT NOT NULL,
    text TEXT NOT NULL,
    opened INTEGER NOT NULL,
    harm_at INTEGER,
    calm_at INTEGER,  -- when the condition ended by itself: nobody new is called from then on
    closed INTEGER,
    closed_by TEXT NOT NULL DEFAULT '',
    closed_how TEXT NOT NULL DEFAULT ''
);
CREATE INDEX message_open ON message (opened) WHERE closed IS NULL;
CREATE INDEX message_by_alarm ON message (system, alarm, opened);
CREATE INDEX message_by_time ON message (opened);

-- One message to one person by one path, written before the first try.
CREATE TABLE delivery (
    seq INTEGER PRIMARY KEY,
    message TEXT NOT NULL,
    person TEXT NOT NULL,
    path TEXT NOT NULL,
    turn INTEGER NOT NULL,
    state TEXT NOT NULL,  -- queued trying handed-over delivered acknowledged failed dropped
    opened INTEGER NOT NULL,
    tries INTEGER NOT NULL,
    next_try INTEGER NOT NULL,
    changed INTEGER NOT NULL,
    note TEXT NOT NULL,
    UNIQUE (message, person, path, turn)
);
CREATE INDEX delivery_due ON delivery (next_try) WHERE state = 'queued';
CREATE INDEX delivery_tried ON delivery (changed) WHERE state = 'trying';
CREATE INDEX delivery_by_message ON delivery (message);

-- What came in and is no point, or has an impossible time: kept as it was for the keeper to judge.
CREATE TABLE held (
    seq INTEGER PRIMARY KEY,
    at INTEGER NOT NULL,
    feed TEXT NOT NULL,
    system TEXT NOT NULL,
    stream TEXT NOT NULL,
    words TEXT NOT NULL,
    why TEXT NOT NULL
);
