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
    tempo         TEXT,                             -- beats a minute, an exact fraction
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

-- When sound ran: from each start to the next thing that ended it, or the last sign of life.
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

-- A check sum of the entry, none in entries from before format 5.
ALTER TABLE entry ADD COLUMN sum INTEGER;

-- A journal as this format was written, made by hand.
INSERT INTO journal (only, id) VALUES (1, x'00112233445566778899aabbccddeeff');
INSERT INTO entry VALUES (1, x'00112233445566778899aabbccddeeff', 1, 1767225600000000, 3600, x'0123456789abcdef0123456789abcdef', 0, 'began', 'ours', '000000000000000000000000000000a1', '133/2', NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, '0.1.0', -5982463608997759138);
INSERT INTO entry VALUES (2, x'00112233445566778899aabbccddeeff', 2, 1767225610000000, 3600, x'0123456789abcdef0123456789abcdef', 1, 'mark', 'ours', '000000000000000000000000000000a1', '133/2', 'key', 0, 'clean', 5, 0, NULL, NULL, NULL, NULL, NULL, '0.1.0', -8209451804970945589);
INSERT INTO entry VALUES (3, x'00112233445566778899aabbccddeeff', 3, 1767225620000000, 3600, x'0123456789abcdef0123456789abcdef', 2, 'mark', 'ours', '000000000000000000000000000000a1', '104 ms at 60', 'pedal', 1, 'not_clean', 5, 0, NULL, NULL, NULL, NULL, NULL, '0.1.0', -5612054893216394762);
INSERT INTO entry VALUES (4, x'00112233445566778899aabbccddeeff', 4, 1767225630000000, 3600, x'0123456789abcdef0123456789abcdef', 3, 'word', 'ours', '000000000000000000000000000000a1', '133/2', 'key', NULL, NULL, NULL, NULL, x'0123456789abcdef0123456789abcdef', 1, 'light, and ''even''', NULL, NULL, '0.1.0', 1122964946580205605);
INSERT INTO entry VALUES (5, x'00112233445566778899aabbccddeeff', 5, 1767225640000000, 3600, x'0123456789abcdef0123456789abcdef', 4, 'undo', 'ours', '000000000000000000000000000000a1', '133/2', 'key', NULL, NULL, NULL, NULL, x'0123456789abcdef0123456789abcdef', 1, NULL, NULL, NULL, '0.1.0', -8986597410527166837);
INSERT INTO entry VALUES (6, x'00112233445566778899aabbccddeeff', 6, 1767225650000000, 3600, x'0123456789abcdef0123456789abcdef', 5, 'ended', 'ours', '000000000000000000000000000000a1', '133/2', NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, '0.1.0', 53231634810801642);
PRAGMA application_id = 1196586350;
PRAGMA user_version = 6;
