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
