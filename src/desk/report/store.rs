//! SQL of reports: counts over facts, masses from the metal ledger.

pub mod cells;
pub mod chart;
pub mod closed;
pub mod lost;
pub mod model;
pub mod months;
mod noted;
pub mod owned;
pub mod progress;

pub use noted::noted;

use super::ask::{Ask, Unit};
use super::factor::{Factor, MIXED};
use crate::db::{Cell, Read, Row};
use crate::kernel::{Instant, Problem, Seq};
use serde_json::{Value, json};

/// What is counted: shells (`f`), or castings (`c`) with their shells.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Base {
    /// Shells that were poured.
    Shells,
    /// Castings that were poured.
    Castings,
    /// Castings that were poured, lost or given up in a shell.
    All,
    /// Heats (`h`).
    Heats,
}

/// What a level rests on besides the facts.
#[derive(Clone, Debug, Default)]
pub struct Rests {
    /// Edges of bands.
    pub edges: Vec<f64>,
    /// Months: beginning, end, name.
    pub months: Value,
    /// Liquidus in °C by alloy.
    pub liquidus: Value,
}

/// A query in parts; values stand in the order of the parts.
#[derive(Clone, Debug, Default)]
struct Parts {
    level: String,
    from: String,
    condition: String,
    args: Vec<Cell>,
}

/// One level with what was counted at it; `None` where a sum had nothing to add.
#[derive(Clone, Debug)]
pub struct Counted {
    /// The level as text.
    pub level: Option<String>,
    /// The counts and sums, in the order asked for.
    pub sums: Vec<Option<f64>>,
}

impl Counted {
    /// A count; 0 where there was nothing to add.
    #[must_use]
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "counts of rows, never negative, below 2^32")]
    pub fn count(&self, i: usize) -> u32 {
        self.sum(i) as u32
    }
    /// A sum; 0 where there was nothing to add.
    #[must_use]
    pub fn sum(&self, i: usize) -> f64 {
        self.sums.get(i).copied().flatten().unwrap_or(0.0)
    }
    fn read(row: &Row) -> Result<Self, Problem> {
        let sums = (1..row.width()).map(|i| row.opt_real(i)).collect::<Result<_, _>>()?;
        Ok(Self { level: row.opt_text(0)?, sums })
    }
}

fn band(value: &str, edges: &[f64]) -> String {
    let steps: Vec<String> = edges.iter().enumerate().map(|(n, edge)| format!("WHEN {value} < {edge:?} THEN {n}")).collect();
    format!("CASE WHEN {value} IS NULL THEN NULL {} ELSE {} END", steps.join(" "), edges.len())
}

fn agreed(low: &str, high: &str) -> String {
    format!("CASE WHEN {low} = {high} THEN {low} WHEN {low} IS NOT NULL THEN '{MIXED}' END")
}

/// The expression of a level.
fn expression(factor: Factor, base: Base, edges: &[f64]) -> String {
    let of_castings = matches!(base, Base::Castings | Base::All);
    let own = match base {
        Base::Heats => "h",
        _ => "f",
    };
    match factor {
        Factor::Alloy => {
            if of_castings {
                "c.alloy".into()
            } else {
                format!("{own}.alloy")
            }
        }
        Factor::Recipe => "f.recipe_seq".into(),
        Factor::RecipeVersion => "f.recipe_version_seq".into(),
        Factor::Support => "f.support".into(),
        Factor::Furnace => format!("{own}.furnace_seq"),
        Factor::Crucible => format!("{own}.crucible_seq"),
        Factor::Kiln => "f.kiln_seq".into(),
        Factor::Pattern if of_castings => "c.pattern_seq".into(),
        Factor::Pattern => agreed("f.pattern_low", "f.pattern_high"),
        Factor::PatternMaterial if of_castings => "c.material".into(),
        Factor::PatternMaterial => agreed("f.material_low", "f.material_high"),
        Factor::Section if of_castings => band("c.section_mm", edges),
        Factor::Section => {
            agreed(&format!("({})", band("f.section_low", edges)), &format!("({})", band("f.section_high", edges)))
        }
        Factor::ShellTemperature => band("f.shell_c", edges),
        Factor::Superheat => band("(f.metal_c - q.value)", edges),
        Factor::MinutesOut => band("f.minutes_out", edges),
        Factor::DryingShortfall => band("f.drying_short_h", edges),
        Factor::Coats => "f.coats".into(),
        Factor::Fed => "f.fed".into(),
        Factor::Core => "f.core".into(),
        Factor::PlaceInHeat => "f.place_in_heat".into(),
        Factor::Patched => "f.patched".into(),
        Factor::SlurryBatch => "x.batch_seq".into(),
        Factor::Hand => "x.hand_seq".into(),
        Factor::PracticeFlag => "x.code".into(),
        Factor::Month => "m.value ->> 2".into(),
    }
}

/// The flags of what happened to a shell up to its pour.
const FLAGS: &str = " LEFT JOIN (SELECT DISTINCT y.on_seq AS shell_seq, p.code FROM practice_flag p JOIN bearing y ON y.record_seq = p.record_seq \
     JOIN record r ON r.seq = p.record_seq AND r.void_ms IS NULL AND r.kind IN ('coat', 'patch', 'burnout', 'preheat', 'pour') \
     WHERE p.on_seq <= 0 OR p.on_seq = y.on_seq) x ON x.shell_seq = f.shell_seq";

/// The parts of a query over facts, by a factor or (`None`) over all.
fn parts(ask: &Ask, base: Base, factor: Option<Factor>, rests: &Rests, join: &str, join_args: &[Cell]) -> Parts {
    let mut out = Parts { level: "NULL".into(), ..Parts::default() };
    let time = match base {
        Base::Shells => "f.at_ms",
        Base::Heats => "h.at_ms",
        Base::Castings | Base::All => "c.at_ms",
    };
    let mut conditions: Vec<String> = Vec::new();
    let facts = match base {
        Base::Shells => "fact_shell f",
        Base::Heats => "fact_heat h",
        Base::Castings | Base::All => "fact_casting c JOIN fact_shell f ON f.shell_seq = c.shell_seq",
    };
    if factor == Some(Factor::Month) {
        out.from = format!("json_each(?) m CROSS JOIN {facts}");
        out.args.push(rests.months.to_string().into());
        conditions.push(format!("{time} >= m.value ->> 0 AND {time} < m.value ->> 1"));
    } else {
        facts.clone_into(&mut out.from);
    }
    out.from.push_str(join);
    out.args.extend(join_args.iter().cloned());
    if let Some(factor) = factor {
        out.level = expression(factor, base, &rests.edges);
        match factor {
            Factor::SlurryBatch => out.from.push_str(" LEFT JOIN fact_batch x ON x.shell_seq = f.shell_seq"),
            Factor::Hand => out.from.push_str(" LEFT JOIN fact_hand x ON x.shell_seq = f.shell_seq"),
            Factor::PracticeFlag => out.from.push_str(FLAGS),
            Factor::Superheat => {
                out.from.push_str(" LEFT JOIN json_each(?) q ON q.key = f.alloy");
                out.args.push(rests.liquidus.to_string().into());
            }
            // A shell whose firing was never logged stays out of what is counted by kiln.
            Factor::Kiln => conditions.push("f.kiln_seq IS NOT NULL".into()),
            _ => {}
        }
    }
    match base {
        Base::Shells => conditions.push("f.poured = 1".into()),
        Base::Castings => conditions.push("c.poured = 1".into()),
        Base::All | Base::Heats => {}
    }
    filter(ask, base, time, &mut conditions, &mut out.args);
    out.condition = if conditions.is_empty() { String::new() } else { format!(" WHERE {}", conditions.join(" AND ")) };
    out
}

fn filter(ask: &Ask, base: Base, time: &str, conditions: &mut Vec<String>, args: &mut Vec<Cell>) {
    let mut add = |condition: String, value: Cell| {
        conditions.push(condition);
        args.push(value);
    };
    if let Some(from) = ask.from {
        add(format!("{time} >= ?"), from.into());
    }
    if let Some(to) = ask.to {
        add(format!("{time} < ?"), to.into());
    }
    let inside = |column: &str| match base {
        Base::Shells => format!("f.shell_seq IN (SELECT i.shell_seq FROM fact_casting i WHERE i.poured = 1 AND i.{column} = ?)"),
        _ => format!("c.{column} = ?"),
    };
    if let Some(alloy) = &ask.alloy {
        let of = match base {
            Base::Shells => "f",
            Base::Heats => "h",
            Base::Castings | Base::All => "c",
        };
        add(format!("{of}.alloy = ?"), alloy.into());
    }
    if let Some(recipe) = ask.recipe {
        add("f.recipe_seq = ?".into(), recipe.into());
    }
    if let Some(pattern) = ask.pattern {
        add(inside("pattern_seq"), pattern.into());
    }
    if let Some(commission) = ask.commission {
        add(inside("commission_seq"), commission.into());
    }
}

/// Columns, base and join of a count.
#[derive(Clone, Debug)]
pub struct Count {
    /// What is counted.
    pub base: Base,
    /// The columns.
    pub columns: &'static str,
    /// A further join.
    pub join: &'static str,
    /// Its values.
    pub args: Vec<Cell>,
    /// A further condition.
    pub condition: &'static str,
}

/// Findings by casting, all or of one code.
const FINDINGS: &str = " LEFT JOIN (SELECT casting_seq, sum(findings) AS findings FROM fact_finding GROUP BY casting_seq) n \
     ON n.casting_seq = c.casting_seq";
const FINDINGS_OF: &str = " LEFT JOIN (SELECT casting_seq, sum(findings) AS findings FROM fact_finding WHERE code = ? GROUP BY casting_seq) n \
     ON n.casting_seq = c.casting_seq";

/// What a rate counts: all, those that have it, and a sum.
#[must_use]
pub fn rate_of(outcome: &str, ask: &Ask) -> Count {
    let plain = |base, columns| Count { base, columns, join: "", args: Vec::new(), condition: "" };
    match (outcome, ask.unit) {
        ("leaks", Unit::Shell) => plain(Base::Shells, "count(*), sum(f.leaked), sum(f.lost_mg)"),
        ("leaks", Unit::Casting) => plain(Base::Castings, "count(*), sum(f.leaked)"),
        ("shorts", Unit::Shell) => plain(Base::Shells, "count(*), sum(f.short)"),
        ("shorts", Unit::Casting) => plain(Base::Castings, "count(*), sum(f.short)"),
        _ => Count {
            base: Base::Castings,
            columns: "count(*), count(n.casting_seq), sum(n.findings)",
            join: if ask.code.is_some() { FINDINGS_OF } else { FINDINGS },
            args: ask.code.iter().map(Cell::from).collect(),
            condition: "c.opened = 1",
        },
    }
}

/// The marks that yields count, over castings: see `yields`.
pub const MARKS: Count = Count {
    base: Base::All,
    columns: "sum(c.judged), sum(CASE WHEN c.judged AND l.poured_mg > 0 AND l.net_mg IS NOT NULL THEN l.net_mg END), \
      sum(CASE WHEN c.judged AND l.poured_mg > 0 AND l.net_mg IS NOT NULL THEN l.poured_mg END), \
      sum(CASE WHEN c.good AND l.poured_mg > 0 THEN l.net_mg END), \
      sum(CASE WHEN c.judged AND l.poured_mg > 0 AND (l.net_mg IS NOT NULL OR NOT c.good) THEN l.poured_mg END), \
      count(CASE WHEN c.attempt = 1 THEN c.first_pass END), sum(CASE WHEN c.attempt = 1 THEN c.first_pass END), \
      sum(c.attempt = 1 AND c.poured AND NOT c.judged), \
      count(c.shell_clean), sum(c.shell_clean), count(c.burnout_clean), sum(c.burnout_clean), count(c.pour_clean), sum(c.pour_clean), \
      count(c.breakout_clean), sum(c.breakout_clean), count(c.bench_clean), sum(c.bench_clean)",
    join: " LEFT JOIN ledger_casting l ON l.casting_seq = c.casting_seq",
    args: Vec::new(),
    condition: "",
};

/// The query of a count, by a factor or over all.
#[must_use]
pub fn counting(ask: &Ask, count: &Count, factor: Option<Factor>, rests: &Rests) -> (String, Vec<Cell>) {
    let Parts { level, from, mut condition, args } = parts(ask, count.base, factor, rests, count.join, &count.args);
    if !count.condition.is_empty() {
        condition.push_str(if condition.is_empty() { " WHERE " } else { " AND " });
        condition.push_str(count.condition);
    }
    // Grouped as stored, not as text: then an index in that order will do.
    let group = factor.map(|_| format!(" GROUP BY {level}")).unwrap_or_default();
    (format!("SELECT CAST({level} AS TEXT), {} FROM {from}{condition}{group}", count.columns), args)
}

/// Findings by code, most first, over what a report counts.
#[must_use]
pub fn pareto(ask: &Ask) -> (String, Vec<Cell>) {
    let join = " JOIN fact_finding n ON n.casting_seq = c.casting_seq";
    let Parts { from, condition, args, .. } = parts(ask, Base::Castings, None, &Rests::default(), join, &[]);
    let sql = format!(
        "SELECT n.code, sum(n.findings), count(*) FROM {from}{condition} AND c.opened = 1 GROUP BY n.code ORDER BY 2 DESC, 1"
    );
    (sql, args)
}

/// Every closed heat in parts: what of its metal went to each level. `flow` is the metal of
/// a heat in a shell, `part` that of a casting (its share of its shell's, as the ledger has
/// it); a heat with a casting that waits, or a good one that was never weighed, is in
/// `waits`. A heat that poured nothing is whole at its own level, where the factor is one of
/// heats.
#[must_use]
pub fn heats(ask: &Ask, factor: Option<Factor>, rests: &Rests) -> (String, Vec<Cell>) {
    let join = " JOIN part p ON p.casting = c.casting_seq";
    let cell = parts(ask, Base::All, factor, rests, join, &[]);
    let mut args = cell.args;
    let idle = if !ask.within_heats() && factor.is_none_or(Factor::of_heat) {
        let own = parts(ask, Base::Heats, factor, rests, "", &[]);
        args.extend(own.args);
        let joined = if own.condition.is_empty() { " WHERE" } else { " AND" };
        format!(
            " UNION ALL SELECT {}, h.heat_seq, 1.0, NULL FROM {}{}{joined} NOT EXISTS (SELECT 1 FROM part p WHERE p.heat = h.heat_seq)",
            own.level, own.from, own.condition
        )
    } else {
        String::new()
    };
    let group = if factor.is_some() { " GROUP BY z.level" } else { "" };
    let sql = format!(
        "WITH flow(heat, shell, mg) AS MATERIALIZED ( \
           SELECT v.from_seq, v.to_seq, sum(v.mass_mg) FROM movement v WHERE v.from_kind = 2 AND v.to_kind = 3 GROUP BY 1, 2), \
         filled(shell, mg) AS MATERIALIZED (SELECT shell, sum(mg) FROM flow GROUP BY shell), \
         spread(shell, mg, n) AS MATERIALIZED (SELECT shell_seq, sum(poured_mg), count(*) FROM ledger_casting GROUP BY shell_seq), \
         part(heat, casting, mg, net) AS MATERIALIZED ( \
           SELECT w.heat, c.casting_seq, w.mg * CASE WHEN s.mg > 0 THEN l.poured_mg * 1.0 / s.mg ELSE 1.0 / s.n END, \
             CASE WHEN c.good AND k.mg > 0 THEN l.net_mg * (w.mg * 1.0 / k.mg) END \
           FROM flow w JOIN filled k ON k.shell = w.shell JOIN fact_casting c ON c.shell_seq = w.shell \
           JOIN ledger_casting l ON l.casting_seq = c.casting_seq JOIN spread s ON s.shell = w.shell), \
         whole(heat, mg) AS MATERIALIZED (SELECT heat, sum(mg) FROM part GROUP BY heat), \
         waits(heat) AS MATERIALIZED (SELECT DISTINCT w.heat FROM flow w JOIN fact_casting c ON c.shell_seq = w.shell \
           JOIN ledger_casting l ON l.casting_seq = c.casting_seq WHERE c.poured AND (NOT c.judged OR c.good AND l.net_mg IS NULL)), \
         cell(level, heat, share, net) AS ( \
           SELECT z.level, z.heat, z.mg / o.mg, z.net FROM ( \
             SELECT {} AS level, p.heat, sum(p.mg) AS mg, sum(p.net) AS net FROM {}{} GROUP BY 1, 2) z \
           JOIN whole o ON o.heat = z.heat AND o.mg > 0{idle}) \
         SELECT CAST(z.level AS TEXT), count(*), sum(z.share * h.charged_mg), sum(z.share * h.poured_mg), \
           sum(z.share * (h.charged_mg - h.poured_mg - h.pigged_mg - h.heel_mg - h.spilled_mg)), \
           sum(CASE WHEN h.poured_mg > 0 AND z.heat NOT IN waits THEN z.share * h.charged_mg END), \
           sum(CASE WHEN h.poured_mg > 0 AND z.heat NOT IN waits THEN coalesce(z.net, 0) END) \
         FROM cell z JOIN ledger_heat h ON h.heat_seq = z.heat AND h.closed = 1{group}",
        cell.level, cell.from, cell.condition
    );
    (sql, args)
}

/// What stands in a shell and was not poured yet: shells, castings.
#[must_use]
pub fn unpoured(ask: &Ask) -> (String, Vec<Cell>) {
    let mut sql = String::from(
        "SELECT NULL, count(DISTINCT c.shell_seq), count(*) FROM casting c JOIN shell s ON s.seq = c.shell_seq \
         JOIN record r ON r.seq = s.seq WHERE c.stage IN ('shell', 'burnout', 'preheat')",
    );
    let mut args: Vec<Cell> = Vec::new();
    let mut add = |condition: &str, value: Option<Cell>| {
        if let Some(value) = value {
            sql.push_str(condition);
            args.push(value);
        }
    };
    add(" AND r.at_ms < ?", ask.to.map(Cell::from));
    add(" AND c.alloy = ?", ask.alloy.as_ref().map(Cell::from));
    add(" AND s.recipe_seq = ?", ask.recipe.map(Cell::from));
    add(" AND c.pattern_seq = ?", ask.pattern.map(Cell::from));
    add(" AND c.commission_seq = ?", ask.commission.map(Cell::from));
    (sql, args)
}

/// Castings that were poured and not broken out, nor given up or finished without.
pub const UNOPENED: Count =
    Count { base: Base::Castings, columns: "count(*)", join: "", args: Vec::new(), condition: "c.opened = 0 AND c.judged = 0" };

/// Counts.
///
/// # Errors
/// As the database says.
pub async fn fetch<R: Read>(read: &mut R, (sql, args): (String, Vec<Cell>)) -> Result<Vec<Counted>, Problem> {
    read.fetch(&sql, args).await?.iter().map(Counted::read).collect()
}

/// The first and the last instant that facts tell of.
///
/// # Errors
/// As the database says.
pub async fn reach<R: Read>(read: &mut R) -> Result<Option<(Instant, Instant)>, Problem> {
    // Each end by itself, so that an index has it at hand.
    let ends = [("heat", ""), ("casting", " WHERE poured = 0"), ("casting", " WHERE poured = 1"), ("shell", " WHERE poured = 0")];
    let ends = ends.into_iter().chain([("shell", " WHERE poured = 1")]);
    let each: Vec<String> =
        ends.flat_map(|(of, kept)| ["min", "max"].map(|end| format!("SELECT {end}(at_ms) AS t FROM fact_{of}{kept}"))).collect();
    let row = read.fetch_one(&format!("SELECT min(t), max(t) FROM ({})", each.join(" UNION ALL ")), vec![]).await?;
    let Some(row) = row else { return Ok(None) };
    Ok(row.opt_int(0)?.zip(row.opt_int(1)?).map(|(a, b)| (Instant::from_ms(a), Instant::from_ms(b))))
}

/// Names and ids of the levels of a factor that are records.
///
/// # Errors
/// As the database says.
pub async fn names<R: Read>(read: &mut R, factor: Factor, seqs: &[Seq]) -> Result<Vec<(Seq, String, String)>, Problem> {
    let sql = match factor {
        Factor::Recipe => {
            "SELECT r.seq, r.id, q.name FROM json_each(?) k JOIN record r ON r.seq = k.value JOIN recipe q ON q.seq = r.seq"
        }
        Factor::RecipeVersion => {
            "SELECT r.seq, r.id, q.name || ' ' || v.version FROM json_each(?) k JOIN record r ON r.seq = k.value \
             JOIN recipe_version v ON v.seq = r.seq JOIN recipe q ON q.seq = v.recipe_seq"
        }
        Factor::Pattern => {
            "SELECT r.seq, r.id, q.name FROM json_each(?) k JOIN record r ON r.seq = k.value JOIN pattern q ON q.seq = r.seq"
        }
        Factor::SlurryBatch => {
            "SELECT r.seq, r.id, q.name FROM json_each(?) k JOIN record r ON r.seq = k.value JOIN slurry_batch q ON q.seq = r.seq"
        }
        Factor::Furnace | Factor::Kiln | Factor::Crucible | Factor::Hand => {
            "SELECT r.seq, r.id, q.name FROM json_each(?) k JOIN record r ON r.seq = k.value JOIN thing q ON q.seq = r.seq"
        }
        _ => return Ok(Vec::new()),
    };
    let rows = read.fetch(sql, vec![json!(seqs).to_string().into()]).await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.text(2)?, row.uuid(1)?.to_string()))).collect()
}

/// The steps in which a query would be carried out.
#[cfg(test)]
pub async fn plan<R: Read>(read: &mut R, (sql, args): (String, Vec<Cell>)) -> Vec<String> {
    let steps = read.fetch(&format!("EXPLAIN QUERY PLAN {sql}"), args).await.unwrap();
    steps.iter().map(|row| row.text(3).unwrap()).collect()
}

/// A query that walks through all records: the look for such must see it.
#[cfg(test)]
pub fn walks() -> (String, Vec<Cell>) {
    ("SELECT count(*) FROM record r WHERE r.by = 'x'".into(), Vec::new())
}

/// The shells or castings that a figure counts at a level, newest first, and whether each
/// counts as one: leaked, short, with a finding, good.
///
/// # Errors
/// As the database says.
pub async fn behind<R: Read>(
    read: &mut R,
    ask: &Ask,
    count: &Count,
    outcome: &str,
    rests: &Rests,
    told: Option<&str>,
    most: i64,
) -> Result<Vec<(Seq, bool)>, Problem> {
    let Parts { level, from, mut condition, mut args } = parts(ask, count.base, Some(ask.factor), rests, count.join, &count.args);
    condition.push_str(if condition.is_empty() { " WHERE " } else { " AND " });
    if !count.condition.is_empty() {
        condition.push_str(count.condition);
        condition.push_str(" AND ");
    }
    let (unit, time) = if count.base == Base::Shells { ("f.shell_seq", "f.at_ms") } else { ("c.casting_seq", "c.at_ms") };
    let hit = match outcome {
        "leaks" => "f.leaked",
        "shorts" => "f.short",
        "yields" => "c.good",
        _ => "n.casting_seq IS NOT NULL",
    };
    args.extend([told.into(), Cell::Int(most)]);
    let sql = format!(
        "SELECT {unit}, max(coalesce({hit}, 0)) FROM {from}{condition}CAST({level} AS TEXT) IS ? GROUP BY 1 ORDER BY max({time}) DESC, 1 DESC LIMIT ?"
    );
    let rows = read.fetch(&sql, args).await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.int(1)? != 0))).collect()
}
