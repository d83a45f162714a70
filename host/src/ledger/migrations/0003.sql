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
