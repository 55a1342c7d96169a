-- The journal: what happened, in the order it was stored. Nothing is ever changed or removed.
CREATE TABLE journal (
    only INTEGER PRIMARY KEY CHECK (only = 1),
    id   BLOB NOT NULL CHECK (length(id) = 16)      -- this journal's uuid
) STRICT;

CREATE TABLE entry (
    arrival       INTEGER PRIMARY KEY AUTOINCREMENT, -- the order of storing in this file
    journal       BLOB NOT NULL CHECK (length(journal) = 16), -- the journal that stored it first
    seq           INTEGER NOT NULL CHECK (seq > 0),
    utc_us        INTEGER NOT NULL,                 -- microseconds since 1970
    offset_s      INTEGER NOT NULL,                 -- local time is utc + offset, seconds
    session       BLOB NOT NULL CHECK (length(session) = 16),
    number        INTEGER NOT NULL,                 -- of the record in its session
    kind          TEXT NOT NULL,
    drill         TEXT NOT NULL,
    stage         TEXT,                             -- fingerprint, 32 hexadecimal digits
    tempo         TEXT,                             -- the rung: beats a minute, an exact fraction, or
                                                    -- from format 3 on `104 ms at 60`: tones opened
    by            TEXT,                             -- key, pedal, ear, assumed
    repetition    INTEGER,
    mark          TEXT,                             -- clean, not_clean
    needed        INTEGER,                          -- clean ones in a row that clear, as it was
    free          INTEGER,
    names_session BLOB,                             -- the mark an undo or a word names
    names_number  INTEGER,
    words         TEXT,
    thresholds    TEXT,                             -- JSON
    measures      TEXT,                             -- JSON
    version       TEXT NOT NULL,                    -- of the program
    UNIQUE (journal, seq),
    UNIQUE (session, number)
) STRICT;

CREATE INDEX entry_by_stage ON entry (stage);
CREATE INDEX entry_by_time ON entry (utc_us, journal, seq);
CREATE INDEX entry_by_name ON entry (names_session, names_number) WHERE kind = 'undo';
CREATE INDEX entry_by_place ON entry (utc_us, journal, seq) WHERE kind IN ('began', 'place');
CREATE INDEX entry_by_discrimination ON entry (utc_us, journal, seq) WHERE kind = 'discriminated';
CREATE INDEX entry_by_drill ON entry (drill, stage) WHERE kind = 'mark' AND stage IS NOT NULL;

CREATE TRIGGER entry_is_never_changed BEFORE UPDATE ON entry
BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END;
CREATE TRIGGER entry_is_never_removed BEFORE DELETE ON entry
BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END;

-- The mark of each repetition that counts: the last that was not taken back.
CREATE VIEW standing_mark AS
SELECT arrival, journal, seq, utc_us, offset_s, session, repetition, drill, stage, tempo, by, mark
FROM (
    SELECT entry.*, row_number() OVER (
        PARTITION BY session, repetition ORDER BY utc_us DESC, journal DESC, seq DESC
    ) AS place
    FROM entry
    WHERE kind = 'mark' AND NOT EXISTS (
        SELECT 1 FROM entry AS undo
        WHERE undo.kind = 'undo'
          AND undo.names_session = entry.session AND undo.names_number = entry.number
    )
)
WHERE place = 1;

-- A cell's counts; assumed ones apart.
CREATE VIEW cell_summary AS
SELECT stage, tempo,
       sum(mark = 'clean' AND by <> 'assumed') AS clean,
       sum(mark = 'not_clean') AS not_clean,
       sum(mark = 'clean' AND by = 'assumed') AS assumed,
       max(utc_us) AS last_us
FROM standing_mark GROUP BY stage, tempo;

-- A day's counts by the player's own calendar, drill by drill.
CREATE VIEW day_summary AS
SELECT date(utc_us / 1000000 + offset_s, 'unixepoch') AS day, drill,
       sum(mark = 'clean' AND by <> 'assumed') AS clean,
       sum(mark = 'not_clean') AS not_clean,
       sum(mark = 'clean' AND by = 'assumed') AS assumed
FROM standing_mark GROUP BY day, drill;

-- When sound ran: from each start for as long as it was heard; where that is not known (before
-- format 5) to the next thing that ended it, and where nothing did to the last sign of life.
CREATE VIEW playing AS
SELECT session, drill, offset_s, utc_us AS from_us,
       coalesce(
           utc_us + 1000 * (SELECT json_extract(stop.measures, '$.heard_ms') FROM entry AS stop
            WHERE stop.session = start.session AND stop.number > start.number
              AND stop.kind IN ('paused', 'ended') ORDER BY stop.number LIMIT 1),
           (SELECT min(stop.utc_us) FROM entry AS stop
            WHERE stop.session = start.session AND stop.number > start.number
              AND stop.kind IN ('paused', 'ended')),
           (SELECT max(sign.utc_us) FROM entry AS sign WHERE sign.session = start.session)
       ) AS to_us
FROM entry AS start WHERE kind = 'playing';

-- A check sum of the entry, none in entries from before format 5. Added as an older journal gets it,
-- so that the two are the same.
ALTER TABLE entry ADD COLUMN sum INTEGER;
