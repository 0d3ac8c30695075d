//! SQL of castings.

mod floor;

pub use floor::{IN_THE_SHOP, Listed, in_the_shop, listed_of, seen_by, shells_at, standing_at, still_owed};

use crate::book::api::ListFilter;
use crate::db::{Ask, Cell, Read, Row, WriteTx};
use crate::kernel::{Kind, Problem, Seq};
use serde_json::{Value, json};
use uuid::Uuid;

/// Filters of the list of castings.
pub const FILTERS: &[ListFilter] = &[
    ListFilter::Text { name: "stage", sql: "r.seq IN (SELECT seq FROM casting WHERE stage = ?)" },
    ListFilter::Text { name: "alloy", sql: "r.seq IN (SELECT seq FROM casting WHERE alloy = ?)" },
    ListFilter::Found {
        name: "recipe",
        kind: Kind::Recipe,
        sql: "r.seq IN (SELECT c.seq FROM link l JOIN casting c ON c.shell_seq = l.record_seq \
              WHERE l.target_seq = ? AND l.member = 'recipe_id')",
    },
    ListFilter::Found {
        name: "commission",
        kind: Kind::Commission,
        sql: "r.seq IN (SELECT seq FROM casting WHERE commission_seq = ?)",
    },
    ListFilter::Found { name: "pattern", kind: Kind::Pattern, sql: "r.seq IN (SELECT seq FROM casting WHERE pattern_seq = ?)" },
    ListFilter::Found { name: "piece", kind: Kind::Piece, sql: "r.seq IN (SELECT seq FROM casting WHERE piece_seq = ?)" },
];

/// A casting's row.
#[derive(Clone, Debug)]
pub struct CastingRow {
    /// Its number.
    pub seq: Seq,
    /// Its id.
    pub id: Uuid,
    /// Its tag.
    pub tag: String,
    /// Its piece.
    pub piece_seq: Seq,
    /// The commission.
    pub commission_seq: Seq,
    /// The pattern of its part.
    pub pattern_seq: Seq,
    /// The part's name.
    pub part: String,
    /// Which part.
    pub part_n: i64,
    /// Which attempt.
    pub attempt: i64,
    /// The alloy ordered.
    pub alloy: String,
    /// Whether the pattern can be had again.
    pub pattern_kind: String,
    /// Thinnest section in mm.
    pub section_mm: f64,
    /// What the pattern is of.
    pub material: String,
    /// Mass of the pattern in mg.
    pub mass_mg: Option<i64>,
    /// Volume of the pattern.
    pub volume_cm3: Option<f64>,
    /// Where it stands.
    pub stage: String,
    /// Since when, in milliseconds.
    pub stage_ms: Option<i64>,
    /// The verdict at its breakout.
    pub verdict: Option<String>,
    /// The shell it is in.
    pub shell_seq: Option<Seq>,
    /// What its wax weighed, in mg.
    pub wax_mg: Option<i64>,
    /// Whether it is void.
    pub void: bool,
}

const COLUMNS: &str = "c.seq, r.id, c.tag, c.piece_seq, c.commission_seq, c.pattern_seq, c.part, c.part_n, c.attempt, \
     c.alloy, c.pattern_kind, c.section_mm, c.material, c.mass_mg, c.volume_cm3, c.stage, c.stage_ms, c.verdict, \
     c.shell_seq, c.wax_mg, r.void_ms IS NOT NULL";

fn row(row: &Row) -> Result<CastingRow, Problem> {
    Ok(CastingRow {
        seq: row.int(0)?,
        id: row.uuid(1)?,
        tag: row.text(2)?,
        piece_seq: row.int(3)?,
        commission_seq: row.int(4)?,
        pattern_seq: row.int(5)?,
        part: row.text(6)?,
        part_n: row.int(7)?,
        attempt: row.int(8)?,
        alloy: row.text(9)?,
        pattern_kind: row.text(10)?,
        section_mm: row.real(11)?,
        material: row.text(12)?,
        mass_mg: row.opt_int(13)?,
        volume_cm3: row.opt_real(14)?,
        stage: row.text(15)?,
        stage_ms: row.opt_int(16)?,
        verdict: row.opt_text(17)?,
        shell_seq: row.opt_int(18)?,
        wax_mg: row.opt_int(19)?,
        void: row.int(20)? != 0,
    })
}

/// Castings by number.
///
/// # Errors
/// As the database says.
pub async fn by_seqs<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<CastingRow>, Problem> {
    let sql = format!("SELECT {COLUMNS} FROM json_each(?) k JOIN casting c ON c.seq = k.value JOIN record r ON r.seq = c.seq");
    read.fetch(&sql, vec![json!(seqs).to_string().into()]).await?.iter().map(row).collect()
}

/// The thinnest section in mm of all castings in each of some shells.
///
/// # Errors
/// As the database says.
pub async fn thinnest_in<R: Read>(read: &mut R, shells: &[Seq]) -> Result<Vec<(Seq, f64)>, Problem> {
    let sql = "SELECT c.shell_seq, min(c.section_mm) FROM json_each(?) k CROSS JOIN casting c ON c.shell_seq = k.value \
               CROSS JOIN record r ON r.seq = c.seq AND r.void_ms IS NULL GROUP BY c.shell_seq";
    let rows = read.fetch(sql, vec![json!(shells).to_string().into()]).await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.real(1)?))).collect()
}

/// All live castings of some pieces, in order of part and attempt.
///
/// # Errors
/// As the database says.
pub async fn by_pieces<R: Read>(read: &mut R, pieces: &[Seq]) -> Result<Vec<CastingRow>, Problem> {
    let sql = format!(
        "SELECT {COLUMNS} FROM json_each(?) k JOIN casting c ON c.piece_seq = k.value \
         JOIN record r ON r.seq = c.seq AND r.void_ms IS NULL ORDER BY c.piece_seq, c.part_n, c.attempt"
    );
    read.fetch(&sql, vec![json!(pieces).to_string().into()]).await?.iter().map(row).collect()
}

/// All live castings of a commission, in order of piece, part and attempt.
///
/// # Errors
/// As the database says.
pub async fn by_commission<R: Read>(read: &mut R, commission: Seq) -> Result<Vec<CastingRow>, Problem> {
    let sql = format!(
        "SELECT {COLUMNS} FROM casting c JOIN record r ON r.seq = c.seq AND r.void_ms IS NULL \
         WHERE c.commission_seq = ? ORDER BY c.piece_seq, c.part_n, c.attempt"
    );
    read.fetch(&sql, vec![Cell::Int(commission)]).await?.iter().map(row).collect()
}

/// The castings of some commissions, by piece, part and attempt.
///
/// # Errors
/// As the database says.
pub async fn by_commissions<R: Read>(read: &mut R, commissions: &[Seq]) -> Result<Vec<CastingRow>, Problem> {
    let sql = format!(
        "SELECT {COLUMNS} FROM json_each(?) k CROSS JOIN casting c ON c.commission_seq = k.value \
         JOIN record r ON r.seq = c.seq AND r.void_ms IS NULL ORDER BY c.piece_seq, c.part_n, c.attempt"
    );
    read.fetch(&sql, vec![Cell::Text(serde_json::json!(commissions).to_string())]).await?.iter().map(row).collect()
}

/// The pieces that have castings of a pattern.
pub async fn pieces_of_pattern<R: Read>(read: &mut R, pattern: Seq) -> Result<Vec<Seq>, Problem> {
    let rows = read.fetch("SELECT DISTINCT piece_seq FROM casting WHERE pattern_seq = ?", vec![Cell::Int(pattern)]).await?;
    rows.iter().map(|row| row.int(0)).collect()
}

/// A pattern as a part of a piece needs it.
#[derive(Clone, Debug)]
pub struct PatternRow {
    /// Its number.
    pub seq: Seq,
    /// Whether it can be had again.
    pub kind: String,
    /// What it is of.
    pub material: String,
    /// Thinnest section in mm.
    pub section_mm: f64,
    /// Mass in mg.
    pub mass_mg: Option<i64>,
    /// Volume.
    pub volume_cm3: Option<f64>,
}

/// Patterns by number, from what the journal has of them.
pub async fn patterns<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<PatternRow>, Problem> {
    let rows = read
        .fetch(
            "SELECT r.seq, j.body FROM json_each(?) k JOIN record r ON r.seq = k.value JOIN journal j ON j.n = r.journal_n",
            vec![json!(seqs).to_string().into()],
        )
        .await?;
    rows.iter()
        .map(|row| {
            let body: Value = serde_json::from_str(&row.text(1)?).map_err(Problem::internal)?;
            let mg = body["mass_kg"].as_number().and_then(|n| crate::kernel::json::scaled(n, 6));
            Ok(PatternRow {
                seq: row.int(0)?,
                kind: body["kind"].as_str().unwrap_or("file").to_owned(),
                material: body["material"].as_str().unwrap_or_default().to_owned(),
                section_mm: body["section_mm"].as_f64().unwrap_or(0.0),
                mass_mg: mg.and_then(|n| i64::try_from(n).ok()),
                volume_cm3: body["volume_cm3"].as_f64(),
            })
        })
        .collect()
}

/// A piece as its castings need it: commission, pattern, alloy, body.
pub async fn piece<R: Read>(read: &mut R, seq: Seq) -> Result<Option<(Seq, Seq, String, Value)>, Problem> {
    let found = read
        .fetch_one(
            "SELECT p.commission_seq, p.pattern_seq, p.alloy, j.body FROM piece p JOIN record r ON r.seq = p.seq \
             JOIN journal j ON j.n = r.journal_n WHERE p.seq = ?",
            vec![Cell::Int(seq)],
        )
        .await?;
    found
        .map(|row| {
            let body = serde_json::from_str(&row.text(3)?).map_err(Problem::internal)?;
            Ok((row.int(0)?, row.int(1)?, row.text(2)?, body))
        })
        .transpose()
}

/// The tag and attempt of a casting that is on file already.
pub async fn tag_of<R: Read>(read: &mut R, seq: Seq) -> Result<Option<String>, Problem> {
    let found = read.fetch_one("SELECT tag FROM casting WHERE seq = ?", vec![Cell::Int(seq)]).await?;
    found.map(|row| row.text(0)).transpose()
}

/// Names the casting that a recast made.
pub fn set_next(tx: &mut WriteTx, recast: Seq, casting: Seq) {
    tx.push("UPDATE recast SET next_seq = ? WHERE seq = ?", vec![casting.into(), recast.into()]);
}

/// What is settled of one casting.
pub struct Settled {
    /// Which.
    pub seq: Seq,
    /// Where it stands.
    pub stage: &'static str,
    /// Since when.
    pub stage_ms: Option<i64>,
    /// The verdict at its breakout.
    pub verdict: Option<String>,
    /// The shell it is in.
    pub shell: Option<Seq>,
    /// What its wax weighed, in mg.
    pub wax_mg: Option<i64>,
}

/// Writes what was settled.
pub fn write_settled(tx: &mut WriteTx, settled: &[Settled]) {
    let rows: Vec<Value> = settled.iter().map(|s| json!([s.seq, s.stage, s.stage_ms, s.verdict, s.shell, s.wax_mg])).collect();
    tx.push(
        "UPDATE casting SET stage = j.value ->> 1, stage_ms = j.value ->> 2, verdict = j.value ->> 3, \
         shell_seq = j.value ->> 4, wax_mg = j.value ->> 5 FROM json_each(?) j WHERE casting.seq = j.value ->> 0",
        vec![Value::Array(rows).to_string().into()],
    );
}

/// What a casting's answer shows beside its own body.
pub async fn shown<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<(Seq, Value)>, Problem> {
    let rows = read
        .fetch(
            "SELECT c.seq, json_object('tag', c.tag, 'stage', c.stage, 'stage_ms', c.stage_ms, 'verdict', c.verdict, \
             'alloy', c.alloy, 'material', c.material, 'section_mm', c.section_mm, 'wax_mg', c.wax_mg, \
             'unique', c.pattern_kind = 'unique', \
             'shell_tag', (SELECT h.key FROM handle h WHERE h.record_seq = c.shell_seq AND h.space = 'tag'), \
             'shell', (SELECT hex(s.id) FROM record s WHERE s.seq = c.shell_seq), \
             'commission', (SELECT hex(o.id) FROM record o WHERE o.seq = c.commission_seq), \
             'pattern', (SELECT hex(p.id) FROM record p WHERE p.seq = c.pattern_seq)) \
             FROM json_each(?) k JOIN casting c ON c.seq = k.value",
            vec![json!(seqs).to_string().into()],
        )
        .await?;
    rows.iter().map(|row| Ok((row.int(0)?, serde_json::from_str(&row.text(1)?).map_err(Problem::internal)?))).collect()
}

/// What is derived here: a name, and a select of all its rows as text, for comparing with what
/// follows when it is derived anew.
pub const DERIVED: &[(&str, &str)] = &[
    ("stages of castings", "SELECT json_array(seq, stage, stage_ms, verdict, shell_seq, wax_mg) FROM casting ORDER BY seq"),
    (
        "patterns as castings keep them",
        "SELECT json_array(seq, pattern_seq, alloy, pattern_kind, material, section_mm, mass_mg, volume_cm3) FROM casting ORDER BY seq",
    ),
];

/// Of some commissions, those with waxes that were made, not approved, and are in no shell yet: which, how
/// many, nothing, nothing.
#[must_use]
pub fn unapproved(commissions: &[Seq]) -> Ask {
    Ask {
        sql: "SELECT c.commission_seq, count(*), NULL, NULL FROM json_each(?) k CROSS JOIN casting c ON c.commission_seq = k.value \
                AND c.stage = 'wax' AND c.shell_seq IS NULL CROSS JOIN record r ON r.seq = c.seq AND r.void_ms IS NULL \
              WHERE EXISTS (SELECT 1 FROM wax w JOIN record q ON q.seq = w.seq AND q.void_ms IS NULL WHERE w.casting_seq = c.seq) \
                AND NOT EXISTS (SELECT 1 FROM wax w JOIN record q ON q.seq = w.seq AND q.void_ms IS NULL JOIN journal j ON j.n = q.journal_n \
                  WHERE w.casting_seq = c.seq AND j.body ->> 'approved_at' IS NOT NULL) \
              GROUP BY c.commission_seq",
        args: vec![Cell::Text(json!(commissions).to_string())],
    }
}
