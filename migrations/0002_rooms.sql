-- One table for each kind of record of the shop, keyed on the record's seq.

CREATE TABLE client (
    seq  INTEGER PRIMARY KEY REFERENCES record (seq),
    name TEXT NOT NULL
) STRICT;

CREATE TABLE commission (
    seq        INTEGER PRIMARY KEY REFERENCES record (seq),
    number     TEXT NOT NULL UNIQUE,
    title      TEXT NOT NULL,
    client_seq INTEGER REFERENCES record (seq),
    due_on     TEXT
) STRICT;
CREATE INDEX commission_by_client ON commission (client_seq);

CREATE TABLE mould (
    seq              INTEGER PRIMARY KEY REFERENCES record (seq),
    name             TEXT NOT NULL,
    owner_client_seq INTEGER REFERENCES record (seq),
    cost_minor       INTEGER,
    keep_until       TEXT
) STRICT;
CREATE INDEX mould_by_keep ON mould (keep_until) WHERE keep_until IS NOT NULL;

CREATE TABLE pattern (
    seq              INTEGER PRIMARY KEY REFERENCES record (seq),
    name             TEXT NOT NULL,
    material         TEXT NOT NULL,
    kind             TEXT NOT NULL CHECK (kind IN ('mould', 'file', 'unique')),
    mass_mg          INTEGER,
    volume_cm3       REAL,
    section_mm       REAL NOT NULL,
    owner_client_seq INTEGER REFERENCES record (seq),
    CHECK ((mass_mg IS NULL) <> (volume_cm3 IS NULL))
) STRICT;

CREATE TABLE piece (
    seq            INTEGER PRIMARY KEY REFERENCES record (seq),
    commission_seq INTEGER NOT NULL REFERENCES record (seq),
    pattern_seq    INTEGER NOT NULL REFERENCES record (seq),
    alloy          TEXT NOT NULL,
    edition_mark   TEXT,
    maker          TEXT
) STRICT;
CREATE INDEX piece_by_commission ON piece (commission_seq);

-- One attempt to cast one part of one piece. From `stage` on: derived, settled with
-- every record that bears on it.
CREATE TABLE casting (
    seq            INTEGER PRIMARY KEY REFERENCES record (seq),
    tag            TEXT    NOT NULL UNIQUE,
    piece_seq      INTEGER NOT NULL REFERENCES record (seq),
    commission_seq INTEGER NOT NULL REFERENCES record (seq),
    pattern_seq    INTEGER NOT NULL REFERENCES record (seq),
    part           TEXT    NOT NULL,
    part_n         INTEGER NOT NULL,
    attempt        INTEGER NOT NULL CHECK (attempt >= 1),
    alloy          TEXT    NOT NULL,
    pattern_kind   TEXT    NOT NULL,
    material       TEXT    NOT NULL,
    section_mm     REAL    NOT NULL,
    mass_mg        INTEGER,
    volume_cm3     REAL,
    stage          TEXT    NOT NULL DEFAULT 'wax',
    stage_ms       INTEGER,
    verdict        TEXT,
    shell_seq      INTEGER REFERENCES record (seq),
    wax_mg         INTEGER
) STRICT;
CREATE INDEX casting_by_piece ON casting (piece_seq, part_n, attempt);
CREATE INDEX casting_by_pattern ON casting (pattern_seq);
CREATE INDEX casting_by_commission ON casting (commission_seq);
CREATE INDEX casting_by_stage ON casting (stage, seq);
CREATE INDEX casting_by_shell ON casting (shell_seq);

CREATE TABLE wax (
    seq         INTEGER PRIMARY KEY REFERENCES record (seq),
    casting_seq INTEGER NOT NULL REFERENCES record (seq),
    wax_mg      INTEGER,
    made        TEXT,
    mould_seq   INTEGER REFERENCES record (seq)
) STRICT;
CREATE INDEX wax_by_casting ON wax (casting_seq);

CREATE TABLE recast (
    seq         INTEGER PRIMARY KEY REFERENCES record (seq),
    casting_seq INTEGER NOT NULL REFERENCES record (seq),
    next_seq    INTEGER REFERENCES record (seq),
    reason      TEXT NOT NULL
) STRICT;
CREATE INDEX recast_by_casting ON recast (casting_seq);

CREATE TABLE recipe (
    seq  INTEGER PRIMARY KEY REFERENCES record (seq),
    name TEXT NOT NULL
) STRICT;

CREATE TABLE recipe_version (
    seq        INTEGER PRIMARY KEY REFERENCES record (seq),
    recipe_seq INTEGER NOT NULL REFERENCES record (seq),
    version    INTEGER NOT NULL CHECK (version >= 1),
    UNIQUE (recipe_seq, version)
) STRICT;

CREATE TABLE slurry_batch (
    seq        INTEGER PRIMARY KEY REFERENCES record (seq),
    name       TEXT NOT NULL,
    retired_on TEXT
) STRICT;
-- The tanks in use are few.
CREATE INDEX slurry_batch_in_use ON slurry_batch (seq) WHERE retired_on IS NULL;

CREATE TABLE slurry_check (
    seq         INTEGER PRIMARY KEY REFERENCES record (seq),
    batch_seq   INTEGER NOT NULL REFERENCES record (seq),
    viscosity_s REAL
) STRICT;
CREATE INDEX slurry_check_by_batch ON slurry_check (batch_seq);

CREATE TABLE shell (
    seq                INTEGER PRIMARY KEY REFERENCES record (seq),
    tag                TEXT    NOT NULL UNIQUE,
    recipe_seq         INTEGER NOT NULL REFERENCES record (seq),
    recipe_version_seq INTEGER NOT NULL REFERENCES record (seq),
    gating_mg          INTEGER,
    gating_cm3         REAL,
    gating_material    TEXT    NOT NULL
) STRICT;
CREATE INDEX shell_by_recipe ON shell (recipe_seq);
CREATE INDEX shell_by_version ON shell (recipe_version_seq);

CREATE TABLE shell_casting (
    shell_seq   INTEGER NOT NULL REFERENCES record (seq),
    casting_seq INTEGER NOT NULL REFERENCES record (seq),
    PRIMARY KEY (shell_seq, casting_seq)
) STRICT, WITHOUT ROWID;
CREATE INDEX shell_casting_by_casting ON shell_casting (casting_seq);

CREATE TABLE coat (
    seq              INTEGER PRIMARY KEY REFERENCES record (seq),
    shell_seq        INTEGER NOT NULL REFERENCES record (seq),
    kind             TEXT NOT NULL CHECK (kind IN ('prime', 'backup', 'seal')),
    slurry_batch_seq INTEGER REFERENCES record (seq)
) STRICT;
CREATE INDEX coat_by_shell ON coat (shell_seq);

CREATE TABLE patch (
    seq       INTEGER PRIMARY KEY REFERENCES record (seq),
    shell_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;

CREATE TABLE burnout (
    seq      INTEGER PRIMARY KEY REFERENCES record (seq),
    kiln_seq INTEGER NOT NULL REFERENCES record (seq),
    purpose  TEXT NOT NULL,
    peak_c   REAL,
    out_ms   INTEGER
) STRICT;

CREATE TABLE preheat (
    seq      INTEGER PRIMARY KEY REFERENCES record (seq),
    kiln_seq INTEGER NOT NULL REFERENCES record (seq),
    out_ms   INTEGER
) STRICT;

CREATE TABLE metal_lot (
    seq              INTEGER PRIMARY KEY REFERENCES record (seq),
    alloy            TEXT    NOT NULL,
    kind             TEXT    NOT NULL CHECK (kind IN ('ingot', 'returns', 'addition')),
    owner_client_seq INTEGER REFERENCES record (seq)
) STRICT;
CREATE INDEX metal_lot_by_alloy ON metal_lot (alloy, kind);

CREATE TABLE receipt (
    seq     INTEGER PRIMARY KEY REFERENCES record (seq),
    lot_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;

CREATE TABLE count (
    seq     INTEGER PRIMARY KEY REFERENCES record (seq),
    lot_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;

CREATE TABLE out (
    seq     INTEGER PRIMARY KEY REFERENCES record (seq),
    lot_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;

CREATE TABLE transfer (
    seq        INTEGER PRIMARY KEY REFERENCES record (seq),
    lot_seq    INTEGER NOT NULL REFERENCES record (seq),
    to_lot_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;

CREATE TABLE heat (
    seq          INTEGER PRIMARY KEY REFERENCES record (seq),
    number       TEXT    NOT NULL UNIQUE,
    alloy        TEXT    NOT NULL,
    furnace_seq  INTEGER NOT NULL REFERENCES record (seq),
    crucible_seq INTEGER REFERENCES record (seq)
) STRICT;
CREATE INDEX heat_by_crucible ON heat (crucible_seq);

CREATE TABLE charge (
    seq      INTEGER PRIMARY KEY REFERENCES record (seq),
    heat_seq INTEGER NOT NULL REFERENCES record (seq),
    lot_seq  INTEGER NOT NULL REFERENCES record (seq),
    mass_mg  INTEGER NOT NULL
) STRICT;
CREATE INDEX charge_by_heat ON charge (heat_seq);

CREATE TABLE heat_event (
    seq      INTEGER PRIMARY KEY REFERENCES record (seq),
    heat_seq INTEGER NOT NULL REFERENCES record (seq),
    kind     TEXT NOT NULL,
    metal_c  REAL
) STRICT;
CREATE INDEX heat_event_by_heat ON heat_event (heat_seq);

CREATE TABLE pour (
    seq           INTEGER PRIMARY KEY REFERENCES record (seq),
    heat_seq      INTEGER NOT NULL REFERENCES record (seq),
    shell_seq     INTEGER NOT NULL REFERENCES record (seq),
    continues_seq INTEGER REFERENCES record (seq),
    filled        TEXT NOT NULL,
    support       TEXT NOT NULL,
    poured_mg     INTEGER,
    metal_c       REAL
) STRICT;
CREATE INDEX pour_by_heat ON pour (heat_seq);
CREATE INDEX pour_by_shell ON pour (shell_seq);

CREATE TABLE leak (
    seq       INTEGER PRIMARY KEY REFERENCES record (seq),
    pour_seq  INTEGER NOT NULL REFERENCES record (seq),
    place     TEXT NOT NULL,
    lost_mg   INTEGER,
    swept_mg  INTEGER
) STRICT;
CREATE INDEX leak_by_pour ON leak (pour_seq);

CREATE TABLE closing (
    seq      INTEGER PRIMARY KEY REFERENCES record (seq),
    heat_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;
CREATE INDEX closing_by_heat ON closing (heat_seq);

CREATE TABLE shell_breakout (
    seq       INTEGER PRIMARY KEY REFERENCES record (seq),
    shell_seq INTEGER NOT NULL REFERENCES record (seq),
    gross_mg  INTEGER
) STRICT;

CREATE TABLE breakout (
    seq         INTEGER PRIMARY KEY REFERENCES record (seq),
    casting_seq INTEGER NOT NULL REFERENCES record (seq),
    verdict     TEXT NOT NULL,
    gross_mg    INTEGER,
    net_mg      INTEGER
) STRICT;
CREATE INDEX breakout_by_casting ON breakout (casting_seq);

CREATE TABLE cut_off (
    seq         INTEGER PRIMARY KEY REFERENCES record (seq),
    casting_seq INTEGER NOT NULL REFERENCES record (seq),
    net_mg      INTEGER NOT NULL
) STRICT;

CREATE TABLE finding (
    seq         INTEGER PRIMARY KEY REFERENCES record (seq),
    casting_seq INTEGER NOT NULL REFERENCES record (seq),
    code        TEXT NOT NULL,
    severity    TEXT
) STRICT;
CREATE INDEX finding_by_casting ON finding (casting_seq);

CREATE TABLE work (
    seq        INTEGER PRIMARY KEY REFERENCES record (seq),
    on_seq     INTEGER NOT NULL REFERENCES record (seq),
    operation  TEXT NOT NULL,
    minutes    REAL NOT NULL,
    hand_seq   INTEGER REFERENCES record (seq)
) STRICT;
CREATE INDEX work_by_target ON work (on_seq);

CREATE TABLE finish (
    seq         INTEGER PRIMARY KEY REFERENCES record (seq),
    casting_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;

CREATE TABLE scrap (
    seq         INTEGER PRIMARY KEY REFERENCES record (seq),
    casting_seq INTEGER NOT NULL REFERENCES record (seq),
    category    TEXT NOT NULL
) STRICT;

CREATE TABLE delivery (
    seq       INTEGER PRIMARY KEY REFERENCES record (seq),
    piece_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;
CREATE INDEX delivery_by_piece ON delivery (piece_seq);

CREATE TABLE cost (
    seq            INTEGER PRIMARY KEY REFERENCES record (seq),
    commission_seq INTEGER NOT NULL REFERENCES record (seq),
    kind           TEXT NOT NULL,
    amount_minor   INTEGER NOT NULL
) STRICT;
CREATE INDEX cost_by_commission ON cost (commission_seq);

CREATE TABLE patina (
    seq  INTEGER PRIMARY KEY REFERENCES record (seq),
    name TEXT NOT NULL
) STRICT;

CREATE TABLE patina_version (
    seq        INTEGER PRIMARY KEY REFERENCES record (seq),
    patina_seq INTEGER NOT NULL REFERENCES record (seq),
    version    INTEGER NOT NULL CHECK (version >= 1),
    UNIQUE (patina_seq, version)
) STRICT;

CREATE TABLE outside_work (
    seq          INTEGER PRIMARY KEY REFERENCES record (seq),
    due_back_on  TEXT,
    back_ms      INTEGER
) STRICT;
-- What is still away: few, and asked for by the start page.
CREATE INDEX outside_work_away ON outside_work (due_back_on) WHERE back_ms IS NULL;

CREATE TABLE expense (
    seq          INTEGER PRIMARY KEY REFERENCES record (seq),
    kind         TEXT NOT NULL,
    amount_minor INTEGER NOT NULL
) STRICT;

CREATE TABLE incident (
    seq  INTEGER PRIMARY KEY REFERENCES record (seq),
    hurt INTEGER NOT NULL CHECK (hurt IN (0, 1))
) STRICT;

CREATE TABLE payment (
    seq            INTEGER PRIMARY KEY REFERENCES record (seq),
    commission_seq INTEGER NOT NULL REFERENCES record (seq),
    amount_minor   INTEGER NOT NULL
) STRICT;
CREATE INDEX payment_by_commission ON payment (commission_seq);

-- The shop's own entries in the trade catalogue, beside and over the ones built in.
CREATE TABLE trade_entry (
    seq     INTEGER PRIMARY KEY REFERENCES record (seq),
    section TEXT NOT NULL,
    code    TEXT NOT NULL,
    from_on TEXT
) STRICT;
CREATE INDEX trade_entry_by_code ON trade_entry (section, code);

-- Something of a client's that is in the shop until it goes out.
CREATE TABLE property (
    seq        INTEGER PRIMARY KEY REFERENCES record (seq),
    client_seq INTEGER NOT NULL REFERENCES record (seq),
    out_ms     INTEGER
) STRICT;
CREATE INDEX property_here ON property (seq) WHERE out_ms IS NULL;

-- A fair comparison of two ways of working. The seed is given out by the book.
CREATE TABLE trial (
    seq           INTEGER PRIMARY KEY REFERENCES record (seq),
    name          TEXT    NOT NULL,
    factor        TEXT    NOT NULL CHECK (factor IN ('recipe', 'recipe_version', 'support', 'practice')),
    a             TEXT    NOT NULL,
    b             TEXT    NOT NULL,
    a_seq         INTEGER REFERENCES record (seq),
    b_seq         INTEGER REFERENCES record (seq),
    outcome       TEXT    NOT NULL CHECK (outcome IN ('leak', 'short', 'defect')),
    worth_knowing REAL    NOT NULL,
    max_pairs     INTEGER,
    strata        TEXT    NOT NULL,
    seed          TEXT    NOT NULL
) STRICT;

-- Two shells of a trial, in the order in which they were named, and the arm of the first; void
-- ones keep their number.
CREATE TABLE trial_pair (
    seq        INTEGER PRIMARY KEY REFERENCES record (seq),
    trial_seq  INTEGER NOT NULL REFERENCES record (seq),
    n          INTEGER NOT NULL CHECK (n >= 1),
    first_seq  INTEGER NOT NULL REFERENCES record (seq),
    second_seq INTEGER NOT NULL REFERENCES record (seq),
    first_arm  TEXT    NOT NULL CHECK (first_arm IN ('a', 'b')),
    UNIQUE (trial_seq, n)
) STRICT;

CREATE TABLE trial_end (
    seq       INTEGER PRIMARY KEY REFERENCES record (seq),
    trial_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;
CREATE INDEX trial_end_by_trial ON trial_end (trial_seq);

-- A price worked out for a job that was described; versions of a quote bear one number.
CREATE TABLE quote (
    seq         INTEGER PRIMARY KEY REFERENCES record (seq),
    number      TEXT    NOT NULL,
    edition     INTEGER NOT NULL CHECK (edition >= 1),
    title       TEXT    NOT NULL,
    client_seq  INTEGER REFERENCES record (seq),
    valid_until TEXT    NOT NULL,
    price_minor INTEGER,
    p50_minor   INTEGER NOT NULL,
    p80_minor   INTEGER NOT NULL,
    median      REAL    NOT NULL,
    spread      REAL    NOT NULL,
    UNIQUE (number, edition)
) STRICT;

-- What became of a quote: sent, accepted (then it has a commission), declined.
CREATE TABLE quote_step (
    seq            INTEGER PRIMARY KEY REFERENCES record (seq),
    quote_seq      INTEGER NOT NULL REFERENCES record (seq),
    step           TEXT    NOT NULL CHECK (step IN ('sent', 'accepted', 'declined')),
    commission_seq INTEGER REFERENCES record (seq)
) STRICT;
CREATE INDEX quote_step_by_quote ON quote_step (quote_seq);
CREATE INDEX quote_step_by_commission ON quote_step (commission_seq) WHERE commission_seq IS NOT NULL;

CREATE TABLE assembly (
    seq       INTEGER PRIMARY KEY REFERENCES record (seq),
    piece_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;

CREATE TABLE certificate (
    seq       INTEGER PRIMARY KEY REFERENCES record (seq),
    piece_seq INTEGER NOT NULL REFERENCES record (seq),
    number    TEXT
) STRICT;
CREATE INDEX certificate_by_number ON certificate (number) WHERE number IS NOT NULL;

CREATE TABLE piece_loss (
    seq       INTEGER PRIMARY KEY REFERENCES record (seq),
    piece_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;
