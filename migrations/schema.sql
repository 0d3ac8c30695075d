CREATE TABLE account (
    kind        INTEGER NOT NULL,
    seq         INTEGER NOT NULL,
    mass_mg     INTEGER NOT NULL,
    value_minor INTEGER NOT NULL,
    PRIMARY KEY (kind, seq)
) STRICT, WITHOUT ROWID;

CREATE TABLE assembly (
    seq       INTEGER PRIMARY KEY REFERENCES record (seq),
    piece_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;

CREATE TABLE backup_done (
    done_ms INTEGER NOT NULL
) STRICT;

CREATE INDEX backup_done_newest ON backup_done (done_ms);

CREATE TABLE bearing (
    on_seq     INTEGER NOT NULL REFERENCES record (seq),
    record_seq INTEGER NOT NULL REFERENCES record (seq),
    PRIMARY KEY (on_seq, record_seq)
) STRICT, WITHOUT ROWID;

CREATE INDEX bearing_by_record ON bearing (record_seq);

CREATE TABLE breakout (
    seq         INTEGER PRIMARY KEY REFERENCES record (seq),
    casting_seq INTEGER NOT NULL REFERENCES record (seq),
    verdict     TEXT NOT NULL,
    gross_mg    INTEGER,
    net_mg      INTEGER
) STRICT;

CREATE INDEX breakout_by_casting ON breakout (casting_seq);

CREATE TABLE burnout (
    seq      INTEGER PRIMARY KEY REFERENCES record (seq),
    kiln_seq INTEGER NOT NULL REFERENCES record (seq),
    purpose  TEXT NOT NULL,
    peak_c   REAL,
    out_ms   INTEGER
) STRICT;

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

CREATE INDEX casting_by_commission ON casting (commission_seq);

CREATE INDEX casting_by_pattern ON casting (pattern_seq);

CREATE INDEX casting_by_piece ON casting (piece_seq, part_n, attempt);

CREATE INDEX casting_by_shell ON casting (shell_seq);

CREATE INDEX casting_by_stage ON casting (stage, seq);

CREATE TABLE certificate (
    seq       INTEGER PRIMARY KEY REFERENCES record (seq),
    piece_seq INTEGER NOT NULL REFERENCES record (seq),
    number    TEXT
) STRICT;

CREATE INDEX certificate_by_number ON certificate (number) WHERE number IS NOT NULL;

CREATE TABLE charge (
    seq      INTEGER PRIMARY KEY REFERENCES record (seq),
    heat_seq INTEGER NOT NULL REFERENCES record (seq),
    lot_seq  INTEGER NOT NULL REFERENCES record (seq),
    mass_mg  INTEGER NOT NULL
) STRICT;

CREATE INDEX charge_by_heat ON charge (heat_seq);

CREATE TABLE client (
    seq  INTEGER PRIMARY KEY REFERENCES record (seq),
    name TEXT NOT NULL
) STRICT;

CREATE TABLE closing (
    seq      INTEGER PRIMARY KEY REFERENCES record (seq),
    heat_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;

CREATE INDEX closing_by_heat ON closing (heat_seq);

CREATE TABLE coat (
    seq              INTEGER PRIMARY KEY REFERENCES record (seq),
    shell_seq        INTEGER NOT NULL REFERENCES record (seq),
    kind             TEXT NOT NULL CHECK (kind IN ('prime', 'backup', 'seal')),
    slurry_batch_seq INTEGER REFERENCES record (seq)
) STRICT;

CREATE INDEX coat_by_shell ON coat (shell_seq);

CREATE TABLE commission (
    seq        INTEGER PRIMARY KEY REFERENCES record (seq),
    number     TEXT NOT NULL UNIQUE,
    title      TEXT NOT NULL,
    client_seq INTEGER REFERENCES record (seq),
    due_on     TEXT
) STRICT;

CREATE INDEX commission_by_client ON commission (client_seq);

CREATE TABLE cost (
    seq            INTEGER PRIMARY KEY REFERENCES record (seq),
    commission_seq INTEGER NOT NULL REFERENCES record (seq),
    kind           TEXT NOT NULL,
    amount_minor   INTEGER NOT NULL
) STRICT;

CREATE INDEX cost_by_commission ON cost (commission_seq);

CREATE TABLE count (
    seq     INTEGER PRIMARY KEY REFERENCES record (seq),
    lot_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;

CREATE TABLE cut_off (
    seq         INTEGER PRIMARY KEY REFERENCES record (seq),
    casting_seq INTEGER NOT NULL REFERENCES record (seq),
    net_mg      INTEGER NOT NULL
) STRICT;

CREATE TABLE delivery (
    seq       INTEGER PRIMARY KEY REFERENCES record (seq),
    piece_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;

CREATE INDEX delivery_by_piece ON delivery (piece_seq);

CREATE TABLE device (
    n          INTEGER PRIMARY KEY,
    hash       BLOB    NOT NULL UNIQUE CHECK (length(hash) = 32),
    name       TEXT    NOT NULL,
    by         TEXT    NOT NULL,
    created_ms INTEGER NOT NULL,
    ended_ms   INTEGER
) STRICT;

CREATE TABLE expense (
    seq          INTEGER PRIMARY KEY REFERENCES record (seq),
    kind         TEXT NOT NULL,
    amount_minor INTEGER NOT NULL
) STRICT;

CREATE TABLE fact_batch (
    shell_seq INTEGER NOT NULL REFERENCES record (seq),
    batch_seq INTEGER NOT NULL REFERENCES record (seq),
    PRIMARY KEY (shell_seq, batch_seq)
) STRICT, WITHOUT ROWID;

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

CREATE INDEX fact_casting_by_commission ON fact_casting (commission_seq, shell_seq);

CREATE INDEX fact_casting_by_pattern ON fact_casting (pattern_seq, shell_seq);

CREATE INDEX fact_casting_by_shell ON fact_casting (shell_seq);

CREATE INDEX fact_casting_by_time ON fact_casting (poured, at_ms);

CREATE TABLE fact_due (
    kind TEXT    NOT NULL CHECK (kind IN ('shell', 'heat')),
    seq  INTEGER NOT NULL,
    was  TEXT,
    PRIMARY KEY (kind, seq)
) STRICT, WITHOUT ROWID;

CREATE TABLE fact_finding (
    casting_seq INTEGER NOT NULL REFERENCES record (seq),
    code        TEXT    NOT NULL,
    findings    INTEGER NOT NULL,
    PRIMARY KEY (casting_seq, code)
) STRICT, WITHOUT ROWID;

CREATE TABLE fact_hand (
    shell_seq INTEGER NOT NULL REFERENCES record (seq),
    hand_seq  INTEGER NOT NULL REFERENCES record (seq),
    PRIMARY KEY (shell_seq, hand_seq)
) STRICT, WITHOUT ROWID;

CREATE TABLE fact_heat (
    heat_seq     INTEGER PRIMARY KEY REFERENCES record (seq),
    at_ms        INTEGER NOT NULL,
    alloy        TEXT    NOT NULL,
    furnace_seq  INTEGER NOT NULL REFERENCES record (seq),
    crucible_seq INTEGER REFERENCES record (seq)
) STRICT;

CREATE INDEX fact_heat_by_time ON fact_heat (at_ms);

CREATE TABLE fact_month (
    begin_ms INTEGER PRIMARY KEY,
    name     TEXT    NOT NULL
) STRICT;

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

CREATE INDEX fact_month_count_empty ON fact_month_count (poured) WHERE poured = 0;

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

CREATE INDEX fact_shell_by_heat ON fact_shell (heat_seq);

CREATE INDEX fact_shell_by_recipe ON fact_shell (poured, alloy, recipe_seq, at_ms, leaked, short, lost_mg);

CREATE INDEX fact_shell_by_time ON fact_shell (poured, at_ms, alloy, recipe_seq, leaked, short, lost_mg);

CREATE TABLE finding (
    seq         INTEGER PRIMARY KEY REFERENCES record (seq),
    casting_seq INTEGER NOT NULL REFERENCES record (seq),
    code        TEXT NOT NULL,
    severity    TEXT
) STRICT;

CREATE INDEX finding_by_casting ON finding (casting_seq);

CREATE TABLE finish (
    seq         INTEGER PRIMARY KEY REFERENCES record (seq),
    casting_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;

CREATE TABLE first_run (
    hash BLOB PRIMARY KEY CHECK (length(hash) = 32)
) STRICT, WITHOUT ROWID;

CREATE TABLE handle (
    space      TEXT    NOT NULL,
    key        TEXT    NOT NULL,
    record_seq INTEGER NOT NULL REFERENCES record (seq),
    PRIMARY KEY (space, key)
) STRICT, WITHOUT ROWID;

CREATE INDEX handle_by_record ON handle (record_seq);

CREATE TABLE heat (
    seq          INTEGER PRIMARY KEY REFERENCES record (seq),
    number       TEXT    NOT NULL UNIQUE,
    alloy        TEXT    NOT NULL,
    furnace_seq  INTEGER NOT NULL REFERENCES record (seq),
    crucible_seq INTEGER REFERENCES record (seq)
) STRICT;

CREATE INDEX heat_by_crucible ON heat (crucible_seq);

CREATE TABLE heat_event (
    seq      INTEGER PRIMARY KEY REFERENCES record (seq),
    heat_seq INTEGER NOT NULL REFERENCES record (seq),
    kind     TEXT NOT NULL,
    metal_c  REAL
) STRICT;

CREATE INDEX heat_event_by_heat ON heat_event (heat_seq);

CREATE TABLE idempotency (
    key         TEXT    PRIMARY KEY,
    fingerprint BLOB    NOT NULL CHECK (length(fingerprint) = 32),
    record_seq  INTEGER NOT NULL REFERENCES record (seq),
    answer      TEXT    NOT NULL,
    at_ms       INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE incident (
    seq  INTEGER PRIMARY KEY REFERENCES record (seq),
    hurt INTEGER NOT NULL CHECK (hurt IN (0, 1))
) STRICT;

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

CREATE TABLE leak (
    seq       INTEGER PRIMARY KEY REFERENCES record (seq),
    pour_seq  INTEGER NOT NULL REFERENCES record (seq),
    place     TEXT NOT NULL,
    lost_mg   INTEGER,
    swept_mg  INTEGER
) STRICT;

CREATE INDEX leak_by_pour ON leak (pour_seq);

CREATE TABLE ledger_casting (
    casting_seq    INTEGER PRIMARY KEY REFERENCES record (seq),
    shell_seq      INTEGER NOT NULL REFERENCES record (seq),
    tag            TEXT    NOT NULL DEFAULT '',
    alloy          TEXT    NOT NULL DEFAULT '',
    client_seq     INTEGER REFERENCES record (seq),
    estimate_mg    INTEGER NOT NULL DEFAULT 0,
    mass_mg        INTEGER NOT NULL DEFAULT 0,
    net_mg         INTEGER,
    poured_mg      INTEGER NOT NULL DEFAULT 0,
    resting_minor  INTEGER NOT NULL DEFAULT 0,
    share_minor    INTEGER NOT NULL DEFAULT 0,
    at_unit_minor  INTEGER NOT NULL DEFAULT 0,
    state          TEXT    NOT NULL DEFAULT 'open',
    provisional    INTEGER NOT NULL DEFAULT 0
) STRICT;

CREATE INDEX ledger_casting_by_shell ON ledger_casting (shell_seq);

CREATE TABLE ledger_heat (
    heat_seq       INTEGER PRIMARY KEY REFERENCES record (seq),
    crucible_seq   INTEGER REFERENCES record (seq),
    alloy          TEXT    NOT NULL,
    charged_mg     INTEGER NOT NULL DEFAULT 0,
    poured_mg      INTEGER NOT NULL DEFAULT 0,
    pigged_mg      INTEGER NOT NULL DEFAULT 0,
    dross_mg       INTEGER NOT NULL DEFAULT 0,
    spilled_mg     INTEGER NOT NULL DEFAULT 0,
    heel_mg        INTEGER NOT NULL DEFAULT 0,
    unexplained_mg INTEGER NOT NULL DEFAULT 0,
    closed         INTEGER NOT NULL DEFAULT 0,
    by_difference  INTEGER NOT NULL DEFAULT 0,
    value_minor    INTEGER NOT NULL DEFAULT 0,
    standing_minor INTEGER NOT NULL DEFAULT 0
) STRICT;

CREATE INDEX ledger_heat_by_crucible ON ledger_heat (crucible_seq);

CREATE INDEX ledger_heat_open ON ledger_heat (heat_seq) WHERE closed = 0;

CREATE TABLE ledger_line (
    record_seq  INTEGER NOT NULL REFERENCES record (seq),
    part        INTEGER NOT NULL,
    event       TEXT    NOT NULL,
    heat_seq    INTEGER REFERENCES record (seq),
    shell_seq   INTEGER REFERENCES record (seq),
    casting_seq INTEGER REFERENCES record (seq),
    lot_seq     INTEGER REFERENCES record (seq),
    pour_seq    INTEGER REFERENCES record (seq),
    m1_mg       INTEGER,
    m2_mg       INTEGER,
    m3_mg       INTEGER,
    m4_mg       INTEGER,
    value_minor INTEGER,
    word        TEXT,
    PRIMARY KEY (record_seq, part)
) STRICT, WITHOUT ROWID;

CREATE INDEX ledger_line_by_casting ON ledger_line (casting_seq) WHERE casting_seq IS NOT NULL;

CREATE INDEX ledger_line_by_heat ON ledger_line (heat_seq, event) WHERE heat_seq IS NOT NULL;

CREATE INDEX ledger_line_by_pour ON ledger_line (pour_seq) WHERE pour_seq IS NOT NULL;

CREATE INDEX ledger_line_by_shell ON ledger_line (shell_seq, event) WHERE shell_seq IS NOT NULL;

CREATE TABLE ledger_shell (
    shell_seq      INTEGER PRIMARY KEY REFERENCES record (seq),
    gating_wax_mg  INTEGER,
    gating_cm3     REAL,
    gating_material TEXT NOT NULL,
    gating_mg      INTEGER NOT NULL DEFAULT 0,
    estimate_mg    INTEGER NOT NULL DEFAULT 0,
    poured_mg      INTEGER NOT NULL DEFAULT 0,
    leaked_mg      INTEGER NOT NULL DEFAULT 0,
    gross_mg       INTEGER,
    complete       INTEGER NOT NULL DEFAULT 0,
    standing_minor INTEGER NOT NULL DEFAULT 0
) STRICT;

CREATE TABLE link (
    record_seq INTEGER NOT NULL REFERENCES record (seq),
    target_seq INTEGER NOT NULL REFERENCES record (seq),
    member     TEXT    NOT NULL,
    PRIMARY KEY (target_seq, record_seq, member)
) STRICT, WITHOUT ROWID;

CREATE INDEX link_by_record ON link (record_seq);

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

CREATE TABLE metal_lot (
    seq              INTEGER PRIMARY KEY REFERENCES record (seq),
    alloy            TEXT    NOT NULL,
    kind             TEXT    NOT NULL CHECK (kind IN ('ingot', 'returns', 'addition')),
    owner_client_seq INTEGER REFERENCES record (seq)
) STRICT;

CREATE INDEX metal_lot_by_alloy ON metal_lot (alloy, kind);

CREATE TABLE mould (
    seq              INTEGER PRIMARY KEY REFERENCES record (seq),
    name             TEXT NOT NULL,
    owner_client_seq INTEGER REFERENCES record (seq),
    cost_minor       INTEGER,
    keep_until       TEXT
) STRICT;

CREATE INDEX mould_by_keep ON mould (keep_until) WHERE keep_until IS NOT NULL;

CREATE TABLE movement (
    source_seq  INTEGER NOT NULL REFERENCES record (seq),
    line        INTEGER NOT NULL,
    at_ms       INTEGER NOT NULL,
    order_seq   INTEGER NOT NULL REFERENCES record (seq),
    from_kind   INTEGER NOT NULL,
    from_seq    INTEGER NOT NULL,
    to_kind     INTEGER NOT NULL,
    to_seq      INTEGER NOT NULL,
    mass_mg     INTEGER NOT NULL CHECK (mass_mg >= 0),
    value_minor INTEGER NOT NULL,
    unit_heat   INTEGER,
    stock       INTEGER NOT NULL CHECK (stock IN (0, 1)),
    scrap_minor INTEGER,
    PRIMARY KEY (source_seq, line)
) STRICT, WITHOUT ROWID;

CREATE INDEX movement_by_time ON movement (at_ms, order_seq, stock);

CREATE INDEX movement_from ON movement (from_kind, from_seq, at_ms, order_seq);

CREATE TRIGGER movement_made AFTER INSERT ON movement BEGIN
    INSERT INTO account (kind, seq, mass_mg, value_minor)
    VALUES (new.from_kind, new.from_seq, -new.mass_mg, -new.value_minor), (new.to_kind, new.to_seq, new.mass_mg, new.value_minor)
    ON CONFLICT (kind, seq) DO UPDATE SET mass_mg = mass_mg + excluded.mass_mg, value_minor = value_minor + excluded.value_minor;
END;

CREATE INDEX movement_to ON movement (to_kind, to_seq, at_ms, order_seq);

CREATE TRIGGER movement_unmade AFTER DELETE ON movement BEGIN
    INSERT INTO account (kind, seq, mass_mg, value_minor)
    VALUES (old.from_kind, old.from_seq, old.mass_mg, old.value_minor), (old.to_kind, old.to_seq, -old.mass_mg, -old.value_minor)
    ON CONFLICT (kind, seq) DO UPDATE SET mass_mg = mass_mg + excluded.mass_mg, value_minor = value_minor + excluded.value_minor;
END;

CREATE TABLE out (
    seq     INTEGER PRIMARY KEY REFERENCES record (seq),
    lot_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;

CREATE TABLE outside_work (
    seq          INTEGER PRIMARY KEY REFERENCES record (seq),
    due_back_on  TEXT,
    back_ms      INTEGER
) STRICT;

CREATE INDEX outside_work_away ON outside_work (due_back_on) WHERE back_ms IS NULL;

CREATE TABLE patch (
    seq       INTEGER PRIMARY KEY REFERENCES record (seq),
    shell_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;

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

CREATE TABLE payment (
    seq            INTEGER PRIMARY KEY REFERENCES record (seq),
    commission_seq INTEGER NOT NULL REFERENCES record (seq),
    amount_minor   INTEGER NOT NULL
) STRICT;

CREATE INDEX payment_by_commission ON payment (commission_seq);

CREATE TABLE piece (
    seq            INTEGER PRIMARY KEY REFERENCES record (seq),
    commission_seq INTEGER NOT NULL REFERENCES record (seq),
    pattern_seq    INTEGER NOT NULL REFERENCES record (seq),
    alloy          TEXT NOT NULL,
    edition_mark   TEXT,
    maker          TEXT
) STRICT;

CREATE INDEX piece_by_commission ON piece (commission_seq);

CREATE TABLE piece_loss (
    seq       INTEGER PRIMARY KEY REFERENCES record (seq),
    piece_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;

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

CREATE TABLE practice_flag (
    record_seq INTEGER NOT NULL REFERENCES record (seq),
    code       TEXT    NOT NULL,
    limit_text TEXT,
    was_text   TEXT,
    on_seq     INTEGER NOT NULL DEFAULT 0,
    PRIMARY KEY (record_seq, code, on_seq)
) STRICT, WITHOUT ROWID;

CREATE INDEX practice_flag_by_code ON practice_flag (code, record_seq);

CREATE TABLE preheat (
    seq      INTEGER PRIMARY KEY REFERENCES record (seq),
    kiln_seq INTEGER NOT NULL REFERENCES record (seq),
    out_ms   INTEGER
) STRICT;

CREATE TABLE progress_link (
    n              INTEGER PRIMARY KEY,
    hash           BLOB    NOT NULL UNIQUE CHECK (length(hash) = 32),
    commission_seq INTEGER NOT NULL REFERENCES record (seq),
    by             TEXT    NOT NULL,
    created_ms     INTEGER NOT NULL,
    ended_ms       INTEGER
) STRICT;

CREATE INDEX progress_link_by_commission ON progress_link (commission_seq);

CREATE TABLE property (
    seq        INTEGER PRIMARY KEY REFERENCES record (seq),
    client_seq INTEGER NOT NULL REFERENCES record (seq),
    out_ms     INTEGER
) STRICT;

CREATE INDEX property_here ON property (seq) WHERE out_ms IS NULL;

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

CREATE TABLE quote_step (
    seq            INTEGER PRIMARY KEY REFERENCES record (seq),
    quote_seq      INTEGER NOT NULL REFERENCES record (seq),
    step           TEXT    NOT NULL CHECK (step IN ('sent', 'accepted', 'declined')),
    commission_seq INTEGER REFERENCES record (seq)
) STRICT;

CREATE INDEX quote_step_by_commission ON quote_step (commission_seq) WHERE commission_seq IS NOT NULL;

CREATE INDEX quote_step_by_quote ON quote_step (quote_seq);

CREATE TABLE rate (
    seq          INTEGER PRIMARY KEY REFERENCES record (seq),
    what         TEXT NOT NULL,
    alloy        TEXT,
    subject_seq  INTEGER REFERENCES record (seq),
    from_on      TEXT NOT NULL,
    amount_minor INTEGER CHECK (amount_minor >= 0)
) STRICT;

CREATE INDEX rate_by_what ON rate (what, from_on);

CREATE TABLE recast (
    seq         INTEGER PRIMARY KEY REFERENCES record (seq),
    casting_seq INTEGER NOT NULL REFERENCES record (seq),
    next_seq    INTEGER REFERENCES record (seq),
    reason      TEXT NOT NULL
) STRICT;

CREATE INDEX recast_by_casting ON recast (casting_seq);

CREATE TABLE receipt (
    seq     INTEGER PRIMARY KEY REFERENCES record (seq),
    lot_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;

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

CREATE TABLE record_hand (
    record_seq INTEGER NOT NULL REFERENCES record (seq),
    hand_seq   INTEGER NOT NULL REFERENCES record (seq),
    PRIMARY KEY (record_seq, hand_seq)
) STRICT, WITHOUT ROWID;

CREATE INDEX record_hand_by_hand ON record_hand (hand_seq);

CREATE TABLE scrap (
    seq         INTEGER PRIMARY KEY REFERENCES record (seq),
    casting_seq INTEGER NOT NULL REFERENCES record (seq),
    category    TEXT NOT NULL
) STRICT;

CREATE TABLE series (
    name TEXT    PRIMARY KEY,
    next INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE session (
    hash       BLOB    PRIMARY KEY CHECK (length(hash) = 32),
    login_n    INTEGER NOT NULL REFERENCES login (n),
    device_n   INTEGER REFERENCES device (n),
    created_ms INTEGER NOT NULL,
    seen_ms    INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE INDEX session_by_device ON session (device_n) WHERE device_n IS NOT NULL;

CREATE INDEX session_by_login ON session (login_n);

CREATE TABLE setting (
    seq     INTEGER PRIMARY KEY REFERENCES record (seq),
    name    TEXT NOT NULL,
    from_on TEXT NOT NULL,
    value   TEXT NOT NULL
) STRICT;

CREATE INDEX setting_by_name ON setting (name, from_on);

CREATE TABLE shell (
    seq                INTEGER PRIMARY KEY REFERENCES record (seq),
    tag                TEXT    NOT NULL UNIQUE,
    recipe_seq         INTEGER NOT NULL REFERENCES record (seq),
    recipe_version_seq INTEGER NOT NULL REFERENCES record (seq),
    gating_mg          INTEGER,
    gating_cm3         REAL,
    gating_material    TEXT    NOT NULL
) STRICT;

CREATE TABLE shell_breakout (
    seq       INTEGER PRIMARY KEY REFERENCES record (seq),
    shell_seq INTEGER NOT NULL REFERENCES record (seq),
    gross_mg  INTEGER
) STRICT;

CREATE INDEX shell_by_recipe ON shell (recipe_seq);

CREATE INDEX shell_by_version ON shell (recipe_version_seq);

CREATE TABLE shell_casting (
    shell_seq   INTEGER NOT NULL REFERENCES record (seq),
    casting_seq INTEGER NOT NULL REFERENCES record (seq),
    PRIMARY KEY (shell_seq, casting_seq)
) STRICT, WITHOUT ROWID;

CREATE INDEX shell_casting_by_casting ON shell_casting (casting_seq);

CREATE TABLE slurry_batch (
    seq        INTEGER PRIMARY KEY REFERENCES record (seq),
    name       TEXT NOT NULL,
    retired_on TEXT
) STRICT;

CREATE INDEX slurry_batch_in_use ON slurry_batch (seq) WHERE retired_on IS NULL;

CREATE TABLE slurry_check (
    seq         INTEGER PRIMARY KEY REFERENCES record (seq),
    batch_seq   INTEGER NOT NULL REFERENCES record (seq),
    viscosity_s REAL
) STRICT;

CREATE INDEX slurry_check_by_batch ON slurry_check (batch_seq);

CREATE TABLE thing (
    seq  INTEGER PRIMARY KEY REFERENCES record (seq),
    kind TEXT NOT NULL CHECK (kind IN ('hand', 'kiln', 'furnace', 'crucible', 'supplier')),
    name TEXT NOT NULL
) STRICT;

CREATE TABLE token (
    hash       BLOB    PRIMARY KEY CHECK (length(hash) = 32),
    name       TEXT    NOT NULL,
    role       TEXT    NOT NULL CHECK (role IN ('owner', 'hand', 'reader')),
    created_ms INTEGER NOT NULL,
    revoked_ms INTEGER
) STRICT, WITHOUT ROWID;

CREATE TABLE trade_entry (
    seq     INTEGER PRIMARY KEY REFERENCES record (seq),
    section TEXT NOT NULL,
    code    TEXT NOT NULL,
    from_on TEXT
) STRICT;

CREATE INDEX trade_entry_by_code ON trade_entry (section, code);

CREATE TABLE transfer (
    seq        INTEGER PRIMARY KEY REFERENCES record (seq),
    lot_seq    INTEGER NOT NULL REFERENCES record (seq),
    to_lot_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;

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

CREATE TABLE trial_end (
    seq       INTEGER PRIMARY KEY REFERENCES record (seq),
    trial_seq INTEGER NOT NULL REFERENCES record (seq)
) STRICT;

CREATE INDEX trial_end_by_trial ON trial_end (trial_seq);

CREATE TABLE trial_pair (
    seq        INTEGER PRIMARY KEY REFERENCES record (seq),
    trial_seq  INTEGER NOT NULL REFERENCES record (seq),
    n          INTEGER NOT NULL CHECK (n >= 1),
    first_seq  INTEGER NOT NULL REFERENCES record (seq),
    second_seq INTEGER NOT NULL REFERENCES record (seq),
    first_arm  TEXT    NOT NULL CHECK (first_arm IN ('a', 'b')),
    UNIQUE (trial_seq, n)
) STRICT;

CREATE TABLE wax (
    seq         INTEGER PRIMARY KEY REFERENCES record (seq),
    casting_seq INTEGER NOT NULL REFERENCES record (seq),
    wax_mg      INTEGER,
    made        TEXT,
    mould_seq   INTEGER REFERENCES record (seq)
) STRICT;

CREATE INDEX wax_by_casting ON wax (casting_seq);

CREATE TABLE work (
    seq        INTEGER PRIMARY KEY REFERENCES record (seq),
    on_seq     INTEGER NOT NULL REFERENCES record (seq),
    operation  TEXT NOT NULL,
    minutes    REAL NOT NULL,
    hand_seq   INTEGER REFERENCES record (seq)
) STRICT;

CREATE INDEX work_by_target ON work (on_seq);
