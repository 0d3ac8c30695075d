-- The metal ledger. `ledger_line` is what records say of metal; the rest is derived from
-- it and can be remade.

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
CREATE INDEX ledger_line_by_heat ON ledger_line (heat_seq, event) WHERE heat_seq IS NOT NULL;
CREATE INDEX ledger_line_by_shell ON ledger_line (shell_seq, event) WHERE shell_seq IS NOT NULL;
CREATE INDEX ledger_line_by_casting ON ledger_line (casting_seq) WHERE casting_seq IS NOT NULL;
CREATE INDEX ledger_line_by_pour ON ledger_line (pour_seq) WHERE pour_seq IS NOT NULL;

-- A heat's crucible, and its figures as derived.
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
-- The heats that stand open: few, and asked for by pages.
CREATE INDEX ledger_heat_open ON ledger_heat (heat_seq) WHERE closed = 0;
CREATE INDEX ledger_heat_by_crucible ON ledger_heat (crucible_seq);

-- A shell's gating as estimated metal, and its figures as derived.
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

-- A casting's estimated metal and its figures as derived.
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

-- Metal going from one account to another at one instant. Accounts: (kind, seq), the kinds
-- as src/science/ledger/account.rs numbers them; seq is 0 where there is one of a kind.
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
CREATE INDEX movement_from ON movement (from_kind, from_seq, at_ms, order_seq);
CREATE INDEX movement_to ON movement (to_kind, to_seq, at_ms, order_seq);
CREATE INDEX movement_by_time ON movement (at_ms, order_seq, stock);

-- What every account holds now; kept by the triggers below.
CREATE TABLE account (
    kind        INTEGER NOT NULL,
    seq         INTEGER NOT NULL,
    mass_mg     INTEGER NOT NULL,
    value_minor INTEGER NOT NULL,
    PRIMARY KEY (kind, seq)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER movement_made AFTER INSERT ON movement BEGIN
    INSERT INTO account (kind, seq, mass_mg, value_minor)
    VALUES (new.from_kind, new.from_seq, -new.mass_mg, -new.value_minor), (new.to_kind, new.to_seq, new.mass_mg, new.value_minor)
    ON CONFLICT (kind, seq) DO UPDATE SET mass_mg = mass_mg + excluded.mass_mg, value_minor = value_minor + excluded.value_minor;
END;

CREATE TRIGGER movement_unmade AFTER DELETE ON movement BEGIN
    INSERT INTO account (kind, seq, mass_mg, value_minor)
    VALUES (old.from_kind, old.from_seq, old.mass_mg, old.value_minor), (old.to_kind, old.to_seq, -old.mass_mg, -old.value_minor)
    ON CONFLICT (kind, seq) DO UPDATE SET mass_mg = mass_mg + excluded.mass_mg, value_minor = value_minor + excluded.value_minor;
END;
