-- The spine: one envelope for every record, its journal, what it refers to, who may write.

-- Every record of every kind. `seq` is dealt at first recording and kept for ever. `act_n` is
-- the first journal line of the act that recorded it: records of one act have it alike.
CREATE TABLE record (
    seq          INTEGER PRIMARY KEY AUTOINCREMENT,
    id           BLOB    NOT NULL UNIQUE CHECK (length(id) = 16),
    kind         TEXT    NOT NULL,
    at_ms        INTEGER NOT NULL,
    at_precision TEXT    NOT NULL CHECK (at_precision IN ('minute', 'hour', 'day')),
    recorded_ms  INTEGER NOT NULL,
    by           TEXT    NOT NULL,
    version      INTEGER NOT NULL CHECK (version >= 1),
    journal_n    INTEGER NOT NULL REFERENCES journal (n) DEFERRABLE INITIALLY DEFERRED,
    act_n        INTEGER NOT NULL REFERENCES journal (n) DEFERRABLE INITIALLY DEFERRED,
    void_ms      INTEGER,
    void_reason  TEXT,
    CHECK ((void_ms IS NULL) = (void_reason IS NULL))
) STRICT;
CREATE INDEX record_by_kind ON record (kind, at_ms, seq);

-- Who changed what, when, from what to what; each line's hash covers the one before.
CREATE TABLE journal (
    n          INTEGER PRIMARY KEY AUTOINCREMENT,
    record_seq INTEGER NOT NULL REFERENCES record (seq) DEFERRABLE INITIALLY DEFERRED,
    at_ms      INTEGER NOT NULL,
    by         TEXT    NOT NULL,
    action     TEXT    NOT NULL CHECK (action IN ('create', 'correct', 'void', 'forget')),
    version    INTEGER NOT NULL,
    reason     TEXT,
    body       TEXT,
    salt       BLOB,
    digest     BLOB    NOT NULL CHECK (length(digest) = 32),
    hash       BLOB    NOT NULL CHECK (length(hash) = 32)
) STRICT;
CREATE INDEX journal_by_record ON journal (record_seq, n);

-- What a record refers to, by which member.
CREATE TABLE link (
    record_seq INTEGER NOT NULL REFERENCES record (seq),
    target_seq INTEGER NOT NULL REFERENCES record (seq),
    member     TEXT    NOT NULL,
    PRIMARY KEY (target_seq, record_seq, member)
) STRICT, WITHOUT ROWID;
CREATE INDEX link_by_record ON link (record_seq);

-- The story of a shell, casting or heat: the records that bear on it.
CREATE TABLE bearing (
    on_seq     INTEGER NOT NULL REFERENCES record (seq),
    record_seq INTEGER NOT NULL REFERENCES record (seq),
    PRIMARY KEY (on_seq, record_seq)
) STRICT, WITHOUT ROWID;
CREATE INDEX bearing_by_record ON bearing (record_seq);

-- What was outside a window then in force. `on_seq`: the shell, for records on many shells;
-- -1 for what a record was said in spite of, -2 for what follows from other records than
-- its shell's; else 0.
CREATE TABLE practice_flag (
    record_seq INTEGER NOT NULL REFERENCES record (seq),
    code       TEXT    NOT NULL,
    limit_text TEXT,
    was_text   TEXT,
    on_seq     INTEGER NOT NULL DEFAULT 0,
    PRIMARY KEY (record_seq, code, on_seq)
) STRICT, WITHOUT ROWID;
CREATE INDEX practice_flag_by_code ON practice_flag (code, record_seq);

-- A key belongs to one request for ever.
CREATE TABLE idempotency (
    key         TEXT    PRIMARY KEY,
    fingerprint BLOB    NOT NULL CHECK (length(fingerprint) = 32),
    record_seq  INTEGER NOT NULL REFERENCES record (seq),
    answer      TEXT    NOT NULL,
    at_ms       INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE token (
    hash       BLOB    PRIMARY KEY CHECK (length(hash) = 32),
    name       TEXT    NOT NULL,
    role       TEXT    NOT NULL CHECK (role IN ('owner', 'hand', 'reader')),
    created_ms INTEGER NOT NULL,
    revoked_ms INTEGER
) STRICT, WITHOUT ROWID;

-- Short names people use: tags of castings and shells, numbers of commissions and heats,
-- names of hands, kilns, furnaces, crucibles and suppliers.
CREATE TABLE handle (
    space      TEXT    NOT NULL,
    key        TEXT    NOT NULL,
    record_seq INTEGER NOT NULL REFERENCES record (seq),
    PRIMARY KEY (space, key)
) STRICT, WITHOUT ROWID;
CREATE INDEX handle_by_record ON handle (record_seq);

-- Series that are dealt in order: tags, numbers within a year.
CREATE TABLE series (
    name TEXT    PRIMARY KEY,
    next INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- A named thing of the shop: hand, kiln, furnace, crucible, supplier.
CREATE TABLE thing (
    seq  INTEGER PRIMARY KEY REFERENCES record (seq),
    kind TEXT NOT NULL CHECK (kind IN ('hand', 'kiln', 'furnace', 'crucible', 'supplier')),
    name TEXT NOT NULL
) STRICT;

-- Who did it (`by` typed it).
CREATE TABLE record_hand (
    record_seq INTEGER NOT NULL REFERENCES record (seq),
    hand_seq   INTEGER NOT NULL REFERENCES record (seq),
    PRIMARY KEY (record_seq, hand_seq)
) STRICT, WITHOUT ROWID;
CREATE INDEX record_hand_by_hand ON record_hand (hand_seq);

-- Dated settings and rates: in force from a day until the next row of that name.
CREATE TABLE setting (
    seq     INTEGER PRIMARY KEY REFERENCES record (seq),
    name    TEXT NOT NULL,
    from_on TEXT NOT NULL,
    value   TEXT NOT NULL
) STRICT;
CREATE INDEX setting_by_name ON setting (name, from_on);

-- What the shop reckons with from a day on: money an hour, a kilogram, a day. The subject is an
-- alloy by its name, or a hand or a recipe by its record; neither: the rate of all of them.
CREATE TABLE rate (
    seq          INTEGER PRIMARY KEY REFERENCES record (seq),
    what         TEXT NOT NULL,
    alloy        TEXT,
    subject_seq  INTEGER REFERENCES record (seq),
    from_on      TEXT NOT NULL,
    amount_minor INTEGER CHECK (amount_minor >= 0)
) STRICT;
CREATE INDEX rate_by_what ON rate (what, from_on);
