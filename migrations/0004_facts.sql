-- Facts: what reports count, one narrow row for each shell, casting and heat, settled in
-- the transaction of the record that they follow from. All derived; can be remade.
-- What hangs on settings (months, bands) or on the ledger (masses) is found when asked.

-- What a turn must make anew: emptied before it ends. `was` is how a shell was counted by month.
CREATE TABLE fact_due (
    kind TEXT    NOT NULL CHECK (kind IN ('shell', 'heat')),
    seq  INTEGER NOT NULL,
    was  TEXT,
    PRIMARY KEY (kind, seq)
) STRICT, WITHOUT ROWID;

-- A shell that was poured, lost, or given up. `at_ms` is its pour, else its loss.
-- Low and high are of the castings that were poured in it: they differ where it is mixed.
CREATE TABLE fact_shell (
    shell_seq          INTEGER PRIMARY KEY REFERENCES record (seq),
    at_ms              INTEGER NOT NULL,
    poured             INTEGER NOT NULL CHECK (poured IN (0, 1)),
    leaked             INTEGER NOT NULL CHECK (leaked IN (0, 1)),
    short              INTEGER NOT NULL CHECK (short IN (0, 1)),
    lost_mg            INTEGER NOT NULL,
    alloy              TEXT,
    heat_seq           INTEGER REFERENCES record (seq),
    furnace_seq        INTEGER REFERENCES record (seq),
    crucible_seq       INTEGER REFERENCES record (seq),
    kiln_seq           INTEGER REFERENCES record (seq),
    recipe_seq         INTEGER NOT NULL REFERENCES record (seq),
    recipe_version_seq INTEGER NOT NULL REFERENCES record (seq),
    support            TEXT,
    fed                TEXT,
    core               TEXT,
    coats              INTEGER,
    patched            INTEGER NOT NULL CHECK (patched IN (0, 1)),
    place_in_heat      INTEGER,
    metal_c            REAL,
    shell_c            REAL,
    minutes_out        REAL,
    drying_short_h     REAL,
    pattern_low        INTEGER,
    pattern_high       INTEGER,
    material_low       TEXT,
    material_high      TEXT,
    section_low        REAL,
    section_high       REAL,
    -- The route's first two stages, as fact_casting has them; the first time in a kiln.
    shell_clean        INTEGER NOT NULL CHECK (shell_clean IN (0, 1)),
    burnout_clean      INTEGER CHECK (burnout_clean IN (0, 1)),
    fired_ms           INTEGER
) STRICT;
CREATE INDEX fact_shell_by_time ON fact_shell (poured, at_ms, alloy, recipe_seq, leaked, short, lost_mg);
CREATE INDEX fact_shell_by_recipe ON fact_shell (poured, alloy, recipe_seq, at_ms, leaked, short, lost_mg);
CREATE INDEX fact_shell_by_heat ON fact_shell (heat_seq);

-- A casting in such a shell that was poured, lost with its shell, or given up in it.
-- The marks of the route: 1 came through clean, 0 lost or worked over, NULL not there (yet).
CREATE TABLE fact_casting (
    casting_seq    INTEGER PRIMARY KEY REFERENCES record (seq),
    shell_seq      INTEGER NOT NULL REFERENCES record (seq),
    at_ms          INTEGER NOT NULL,
    poured         INTEGER NOT NULL CHECK (poured IN (0, 1)),
    alloy          TEXT    NOT NULL,
    commission_seq INTEGER NOT NULL REFERENCES record (seq),
    pattern_seq    INTEGER NOT NULL REFERENCES record (seq),
    material       TEXT    NOT NULL,
    section_mm     REAL    NOT NULL,
    attempt        INTEGER NOT NULL,
    -- Broken out; judged or given up; good as it stands; accepted at once.
    opened         INTEGER NOT NULL CHECK (opened IN (0, 1)),
    judged         INTEGER NOT NULL CHECK (judged IN (0, 1)),
    good           INTEGER NOT NULL CHECK (good IN (0, 1)),
    first_pass     INTEGER CHECK (first_pass IN (0, 1)),
    shell_clean    INTEGER NOT NULL CHECK (shell_clean IN (0, 1)),
    burnout_clean  INTEGER CHECK (burnout_clean IN (0, 1)),
    pour_clean     INTEGER CHECK (pour_clean IN (0, 1)),
    breakout_clean INTEGER CHECK (breakout_clean IN (0, 1)),
    bench_clean    INTEGER CHECK (bench_clean IN (0, 1))
) STRICT;
CREATE INDEX fact_casting_by_shell ON fact_casting (shell_seq);
CREATE INDEX fact_casting_by_time ON fact_casting (poured, at_ms);
CREATE INDEX fact_casting_by_commission ON fact_casting (commission_seq, shell_seq);
CREATE INDEX fact_casting_by_pattern ON fact_casting (pattern_seq, shell_seq);

-- Findings on such a casting, by code.
CREATE TABLE fact_finding (
    casting_seq INTEGER NOT NULL REFERENCES record (seq),
    code        TEXT    NOT NULL,
    findings    INTEGER NOT NULL,
    PRIMARY KEY (casting_seq, code)
) STRICT, WITHOUT ROWID;

-- Where a shell has several levels of a factor: the batches it was dipped in, and the
-- hands that dipped, patched, fired and poured it.
CREATE TABLE fact_batch (
    shell_seq INTEGER NOT NULL REFERENCES record (seq),
    batch_seq INTEGER NOT NULL REFERENCES record (seq),
    PRIMARY KEY (shell_seq, batch_seq)
) STRICT, WITHOUT ROWID;
CREATE TABLE fact_hand (
    shell_seq INTEGER NOT NULL REFERENCES record (seq),
    hand_seq  INTEGER NOT NULL REFERENCES record (seq),
    PRIMARY KEY (shell_seq, hand_seq)
) STRICT, WITHOUT ROWID;

-- A heat; `at_ms` is its first pour, else when it was lit.
CREATE TABLE fact_heat (
    heat_seq     INTEGER PRIMARY KEY REFERENCES record (seq),
    at_ms        INTEGER NOT NULL,
    alloy        TEXT    NOT NULL,
    furnace_seq  INTEGER NOT NULL REFERENCES record (seq),
    crucible_seq INTEGER REFERENCES record (seq)
) STRICT;
CREATE INDEX fact_heat_by_time ON fact_heat (at_ms);

-- The shop's months, from 1900 to 2200: when each begins. Made anew when the zone is set.
CREATE TABLE fact_month (
    begin_ms INTEGER PRIMARY KEY,
    name     TEXT    NOT NULL
) STRICT;
WITH RECURSIVE months (n) AS (SELECT -840 UNION ALL SELECT n + 1 FROM months WHERE n < 2759)
INSERT INTO fact_month (begin_ms, name)
SELECT unixepoch('1970-01-01', n || ' months') * 1000, strftime('%Y-%m', '1970-01-01', n || ' months') FROM months;

-- Poured shells counted by the month's beginning, a factor and its level, and the alloy: the
-- sum of fact_shell, kept with it. A level not on record is ''; records are their numbers.
CREATE TABLE fact_month_count (
    month_ms INTEGER NOT NULL,
    factor   TEXT    NOT NULL,
    alloy    TEXT    NOT NULL,
    level    ANY     NOT NULL,
    poured   INTEGER NOT NULL,
    leaked   INTEGER NOT NULL,
    short    INTEGER NOT NULL,
    lost_mg  INTEGER NOT NULL,
    PRIMARY KEY (month_ms, factor, alloy, level)
) STRICT, WITHOUT ROWID;
-- Rows that came to nothing, to be deleted.
CREATE INDEX fact_month_count_empty ON fact_month_count (poured) WHERE poured = 0;
