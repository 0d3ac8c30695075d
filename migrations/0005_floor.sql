-- Who may sign in at the pages. Nothing of this is a record: it is not journalled, and an
-- export leaves it out.

-- A person. `key` is the name as it is looked up; `password` and `pin` are argon2id hashes in
-- PHC form. A PIN opens only an enrolled browser, and only for a hand.
CREATE TABLE login (
    n          INTEGER PRIMARY KEY,
    name       TEXT    NOT NULL,
    key        TEXT    NOT NULL UNIQUE,
    role       TEXT    NOT NULL CHECK (role IN ('owner', 'hand', 'reader')),
    password   TEXT,
    pin        TEXT,
    created_ms INTEGER NOT NULL,
    ended_ms   INTEGER,
    CHECK (pin IS NULL OR role = 'hand')
) STRICT;

-- A browser that the owner enrolled for the floor: a tablet that changes hands.
CREATE TABLE device (
    n          INTEGER PRIMARY KEY,
    hash       BLOB    NOT NULL UNIQUE CHECK (length(hash) = 32),
    name       TEXT    NOT NULL,
    by         TEXT    NOT NULL,
    created_ms INTEGER NOT NULL,
    ended_ms   INTEGER
) STRICT;

-- Who is signed in where; the secret itself is only in the cookie.
CREATE TABLE session (
    hash       BLOB    PRIMARY KEY CHECK (length(hash) = 32),
    login_n    INTEGER NOT NULL REFERENCES login (n),
    device_n   INTEGER REFERENCES device (n),
    created_ms INTEGER NOT NULL,
    seen_ms    INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX session_by_login ON session (login_n);
CREATE INDEX session_by_device ON session (device_n) WHERE device_n IS NOT NULL;

-- The code printed at a first start; there is at most one, and none once it was used.
CREATE TABLE first_run (
    hash BLOB PRIMARY KEY CHECK (length(hash) = 32)
) STRICT, WITHOUT ROWID;

-- A link by which whoever holds it sees how far a job is; its secret is only in the link.
CREATE TABLE progress_link (
    n              INTEGER PRIMARY KEY,
    hash           BLOB    NOT NULL UNIQUE CHECK (length(hash) = 32),
    commission_seq INTEGER NOT NULL REFERENCES record (seq),
    by             TEXT    NOT NULL,
    created_ms     INTEGER NOT NULL,
    ended_ms       INTEGER
) STRICT;
CREATE INDEX progress_link_by_commission ON progress_link (commission_seq);

-- When copies of the book were made.
CREATE TABLE backup_done (
    done_ms INTEGER NOT NULL
) STRICT;
CREATE INDEX backup_done_newest ON backup_done (done_ms);
