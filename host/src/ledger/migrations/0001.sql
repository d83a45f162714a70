-- The first form of the ledger. This file is never edited once released; a
-- change of the tables is a new file beside it.

-- Numbers that only ever go up, written down before they are used.
CREATE TABLE counter (
    name  TEXT PRIMARY KEY,
    value INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO counter (name, value) VALUES ('session', 0);

CREATE TABLE unit (
    board      TEXT PRIMARY KEY,     -- the board's own number, hexadecimal
    role       TEXT NOT NULL,
    firmware   TEXT NOT NULL,
    protocol   INTEGER NOT NULL,
    first_seen INTEGER NOT NULL,     -- every time: milliseconds since 1970 UTC
    last_seen  INTEGER NOT NULL,
    boot       INTEGER NOT NULL,
    last_stop  TEXT NOT NULL,
    settings   TEXT                  -- settings sent last, JSON
) STRICT;

CREATE TABLE deck (
    id         INTEGER PRIMARY KEY,
    sha256     BLOB NOT NULL UNIQUE, -- of the deck file's content
    name       TEXT NOT NULL,
    format     TEXT NOT NULL,
    cards      INTEGER NOT NULL,
    first_seen INTEGER NOT NULL
) STRICT;

-- AUTOINCREMENT: a job's number is never used again, even if rows were to go.
CREATE TABLE job (
    number   INTEGER PRIMARY KEY AUTOINCREMENT,
    kind     TEXT NOT NULL,
    deck     INTEGER REFERENCES deck (id),
    unit     TEXT,                   -- the board; it may not be known yet
    settings TEXT NOT NULL,          -- JSON
    started  INTEGER NOT NULL,
    ended    INTEGER,                -- NULL: still open
    ending   TEXT,
    CHECK ((ended IS NULL) = (ending IS NULL))
) STRICT;
CREATE INDEX job_of_deck ON job (deck);

CREATE TABLE attempt (
    job          INTEGER NOT NULL REFERENCES job (number),
    card         INTEGER NOT NULL,
    attempt      INTEGER NOT NULL,
    strokes      INTEGER NOT NULL,
    strokes_crc  INTEGER NOT NULL,
    sent         INTEGER NOT NULL,
    verdict      TEXT NOT NULL,
    ended        INTEGER,            -- NULL: sent, and not heard of again yet
    place        INTEGER,            -- in the stack, as the unit counts
    faults       TEXT NOT NULL DEFAULT '[]',  -- JSON
    strokes_made INTEGER NOT NULL DEFAULT 0,
    lines        INTEGER NOT NULL DEFAULT 0,
    length_um    INTEGER NOT NULL DEFAULT 0,
    PRIMARY KEY (job, card, attempt),
    CHECK ((ended IS NULL) = (verdict = 'sent'))
) STRICT, WITHOUT ROWID;
CREATE INDEX attempt_open ON attempt (job) WHERE ended IS NULL;

-- Apart from the attempts, so that lists do not read through it.
CREATE TABLE readings (
    job     INTEGER NOT NULL,
    card    INTEGER NOT NULL,
    attempt INTEGER NOT NULL,
    holes   INTEGER NOT NULL,        -- channels in a line
    lines   INTEGER NOT NULL,
    dark    BLOB NOT NULL,           -- one byte a channel
    open    BLOB NOT NULL,
    samples BLOB NOT NULL,           -- zlib, holes bytes a line
    PRIMARY KEY (job, card, attempt),
    FOREIGN KEY (job, card, attempt) REFERENCES attempt (job, card, attempt)
) STRICT;

CREATE TABLE event (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    at     INTEGER NOT NULL,
    job    INTEGER REFERENCES job (number),
    kind   TEXT NOT NULL,
    detail TEXT NOT NULL             -- JSON
) STRICT;
CREATE INDEX event_of_job ON event (job);
