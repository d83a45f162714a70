-- A ledger of form 4 with something in every table, frozen: never edited, so
-- that every later program is shown to read what form 4 held. The readings
-- were pressed by another zlib than the program's.
PRAGMA application_id = 1129804388;
PRAGMA user_version = 4;
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

-- The order in which the ends of attempts were written down, over all jobs.
ALTER TABLE attempt ADD COLUMN end_order INTEGER;
CREATE UNIQUE INDEX attempt_end_order ON attempt (end_order);

-- The deck file itself (zlib), so that a loose card of it can be named later;
-- NULL for a deck that was last met before this form.
ALTER TABLE deck ADD COLUMN content BLOB;
ALTER TABLE deck ADD COLUMN content_length INTEGER;

-- What a unit's reader and punches were found to be like, the newest counting.
CREATE TABLE calibration (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    board  TEXT NOT NULL,
    holes  INTEGER NOT NULL,         -- holes a row of the card format
    at     INTEGER NOT NULL,
    detail TEXT NOT NULL             -- JSON
) STRICT;
CREATE INDEX calibration_of_board ON calibration (board, holes);

-- What each punch's holes in one card were like.
CREATE TABLE punch (
    job         INTEGER NOT NULL,
    card        INTEGER NOT NULL,
    attempt     INTEGER NOT NULL,
    hole        INTEGER NOT NULL,    -- from 1; 0 is the peg punch
    holes       INTEGER NOT NULL,    -- whole holes measured
    diameter_um INTEGER NOT NULL,    -- their mean
    along_um    INTEGER NOT NULL,    -- mean place behind the row's, along the feed
    PRIMARY KEY (job, card, attempt, hole),
    FOREIGN KEY (job, card, attempt) REFERENCES attempt (job, card, attempt)
) STRICT, WITHOUT ROWID;

-- A cloth that is woven by a plan, and where the work on it stands.
CREATE TABLE piece (
    number      INTEGER PRIMARY KEY AUTOINCREMENT,
    name        TEXT NOT NULL,       -- the plan's
    plan_sha256 TEXT NOT NULL,
    plan        TEXT NOT NULL,       -- the plan file
    began       INTEGER NOT NULL,
    ended       INTEGER,             -- NULL while it is on the loom
    place       TEXT NOT NULL,       -- JSON
    board       TEXT,                -- the loom unit that was heard last
    boot        INTEGER,             -- its boot number
    next_event  INTEGER              -- the number of its first event not stored here
) STRICT;

-- What loom units have seen, as it was stored. Two boots of a board are two units.
CREATE TABLE loom_event (
    board    TEXT NOT NULL,
    boot     INTEGER NOT NULL,
    number   INTEGER NOT NULL,       -- the unit's own
    unit_us  INTEGER NOT NULL,       -- microseconds since the unit started
    at       INTEGER NOT NULL,       -- the time of day that is
    error_us INTEGER NOT NULL,       -- which may be wrong by so much
    what     TEXT NOT NULL,
    piece    INTEGER NOT NULL REFERENCES piece (number),
    PRIMARY KEY (board, boot, number)
) STRICT, WITHOUT ROWID;
CREATE INDEX loom_event_of_piece ON loom_event (piece);

-- What came of it, and what the weaver decided.
CREATE TABLE weaving (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    piece  INTEGER NOT NULL REFERENCES piece (number),
    at     INTEGER NOT NULL,
    kind   TEXT NOT NULL,
    detail TEXT NOT NULL             -- JSON
) STRICT;
CREATE INDEX weaving_of_piece ON weaving (piece);

UPDATE counter SET value = 41 WHERE name = 'session';
INSERT INTO unit VALUES ('0011223344556677', 'rig', '0.1.0', 1, 1800000000000, 1800000900000, 6,
    'stop pressed', '{"holes":8}');
INSERT INTO deck VALUES (1, X'abababababababababababababababababababababababababababababababab', 'reed towel', '400', 3, 1800000000000, NULL, NULL);
INSERT INTO job VALUES (1, 'cut', 1, '0011223344556677', '{"cards":"1-3"}', 1800000000000,
    1800000500000, 'stopped');
INSERT INTO job VALUES (2, 'cut', 1, NULL, '{}', 1800000600000, NULL, NULL);
INSERT INTO attempt VALUES (1, 1, 1, 56, 4023233417, 1800000001000, 'good', 1800000010000, 1,
    '[]', 56, 16, 402610, 1);
INSERT INTO attempt VALUES (1, 2, 1, 56, 17, 1800000002000, 'missing', 1800000020000, 2,
    '[{"kind":"missing","stroke":5,"row":4,"hole":3,"measured":12.0,"measured_in":"open permille"}]',
    56, 464, 402590, 2);
INSERT INTO attempt VALUES (2, 2, 1, 56, 18, 1800000601000, 'sent', NULL, NULL, '[]', 0, 0, 0, NULL);
INSERT INTO readings VALUES (1, 1, 1, 8, 16, X'03030303030303030000000000000000', X'dddddddddddddddd0000000000000000',
    X'789c0180007fff00070e151c232a31383f464d545b626970777e858c939aa1a8afb6bdc4cbd2d9e0e7eef5fc030a11181f262d343b424950575e656c737a81888f969da4abb2b9c0c7ced5dce3eaf1f8ff060d141b222930373e454c535a61686f767d848b9299a0a7aeb5bcc3cad1d8dfe6edf4fb020910171e252c333a41484f565d646b727984123b41');
INSERT INTO event VALUES (1, 1800000030000, 1, 'stop', '{"reason":"stop pressed"}');
INSERT INTO piece VALUES (1, 'reed runner', 'cd', 'name = "reed runner"', 1800000700000, NULL,
    '{"place":{"next":1,"in_cloth":1}}', '8899aabbccddeeff', 2, 3);
INSERT INTO loom_event VALUES ('8899aabbccddeeff', 2, 0, 1000000, 1800000701000, 250, 'card forward', 1);
INSERT INTO loom_event VALUES ('8899aabbccddeeff', 2, 1, 1400000, 1800000701400, 250, 'lift', 1);
INSERT INTO loom_event VALUES ('8899aabbccddeeff', 2, 2, 2000000, 1800000702000, 250, 'beat', 1);
INSERT INTO weaving VALUES (1, 1, 1800000700500, 'began', '{"next":0,"in_cloth":0}');
INSERT INTO weaving VALUES (2, 1, 1800000702000, 'pick', '{"pick":0,"section":"hem","card":1,"in_cloth":1}');
