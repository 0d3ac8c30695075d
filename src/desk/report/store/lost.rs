//! Castings that were given up or lost, and metal that went into the sinks.

use crate::db::{Cell, Read};
use crate::kernel::{Instant, Mass, Money, Problem, Seq};
use uuid::Uuid;

/// What is looked at.
#[derive(Clone, Debug, Default)]
pub struct Which {
    /// Lost from here, inclusive.
    pub from: Option<Instant>,
    /// Lost up to here, exclusive.
    pub to: Option<Instant>,
    /// Poured as that, or ordered in that if never poured.
    pub alloy: Option<String>,
    /// In a shell of that recipe.
    pub recipe: Option<Seq>,
    /// Of that pattern.
    pub pattern: Option<Seq>,
    /// Of that commission.
    pub commission: Option<Seq>,
}

impl Which {
    /// Whether it is narrowed by what belongs to castings alone.
    #[must_use]
    pub const fn of_castings(&self) -> bool {
        self.recipe.is_some() || self.pattern.is_some() || self.commission.is_some()
    }
}

/// A casting that was lost.
#[derive(Clone, Debug)]
pub struct LostCasting {
    /// Its number.
    pub seq: Seq,
    /// Its id.
    pub id: Uuid,
    /// Its tag.
    pub tag: String,
    /// When.
    pub at: Instant,
    /// The metal in it: its net, else its share of what was poured.
    pub mass: Mass,
    /// The value that rests on it.
    pub value: Money,
    /// Minutes of work on it.
    pub minutes: f64,
    /// The cause said when it was given up, and the stage said with it.
    pub cause: Option<(String, Option<String>)>,
    /// Its gravest finding.
    pub finding: Option<String>,
}

/// The query of castings that were lost, oldest first.
#[must_use]
pub fn query(which: &Which) -> (String, Vec<Cell>) {
    let mut sql = String::from(
        "SELECT c.seq, r.id, c.tag, c.stage_ms, coalesce(l.net_mg, l.poured_mg, 0), \
         CASE WHEN l.state = 'failed' THEN l.resting_minor + l.share_minor ELSE 0 END, \
         coalesce((SELECT sum(w.minutes) FROM work w CROSS JOIN record x ON x.seq = w.seq AND x.void_ms IS NULL WHERE w.on_seq = c.seq), 0.0), \
         (SELECT json_array(s.category, j.body ->> 'stage') FROM bearing y CROSS JOIN scrap s ON s.seq = y.record_seq \
            CROSS JOIN record x ON x.seq = s.seq AND x.void_ms IS NULL CROSS JOIN journal j ON j.n = x.journal_n \
          WHERE y.on_seq = c.seq ORDER BY x.at_ms, x.seq LIMIT 1), \
         (SELECT n.code FROM finding n CROSS JOIN record x ON x.seq = n.seq AND x.void_ms IS NULL WHERE n.casting_seq = c.seq \
          ORDER BY CASE n.severity WHEN 'critical' THEN 0 WHEN 'major' THEN 1 WHEN 'minor' THEN 3 ELSE 2 END, n.code LIMIT 1) \
         FROM casting c CROSS JOIN record r ON r.seq = c.seq AND r.void_ms IS NULL \
         LEFT JOIN ledger_casting l ON l.casting_seq = c.seq LEFT JOIN fact_casting f ON f.casting_seq = c.seq \
         LEFT JOIN shell s ON s.seq = c.shell_seq WHERE c.stage = 'scrapped'",
    );
    let mut args: Vec<Cell> = Vec::new();
    let mut add = |condition: &str, value: Option<Cell>| {
        if let Some(value) = value {
            sql.push_str(condition);
            args.push(value);
        }
    };
    add(" AND c.stage_ms >= ?", which.from.map(Cell::from));
    add(" AND c.stage_ms < ?", which.to.map(Cell::from));
    add(" AND coalesce(f.alloy, c.alloy) = ?", which.alloy.as_ref().map(Cell::from));
    add(" AND s.recipe_seq = ?", which.recipe.map(Cell::from));
    add(" AND c.pattern_seq = ?", which.pattern.map(Cell::from));
    add(" AND c.commission_seq = ?", which.commission.map(Cell::from));
    sql.push_str(" ORDER BY c.stage_ms, c.seq");
    (sql, args)
}

/// Castings that were lost, oldest first.
///
/// # Errors
/// As the database says.
pub async fn castings<R: Read>(read: &mut R, which: &Which) -> Result<Vec<LostCasting>, Problem> {
    let (sql, args) = query(which);
    let rows = read.fetch(&sql, args).await?;
    rows.iter()
        .map(|row| {
            let cause = match row.opt_text(7)? {
                None => None,
                Some(text) => {
                    let said: (String, Option<String>) = serde_json::from_str(&text).map_err(Problem::internal)?;
                    Some(said)
                }
            };
            Ok(LostCasting {
                seq: row.int(0)?,
                id: row.uuid(1)?,
                tag: row.text(2)?,
                at: Instant::from_ms(row.opt_int(3)?.unwrap_or(0)),
                mass: Mass::from_mg(row.int(4)?),
                value: Money::from_minor(row.int(5)?),
                minutes: row.real(6)?,
                cause,
                finding: row.opt_text(8)?,
            })
        })
        .collect()
}

/// The query of what went into each sink, less what came out of it.
#[must_use]
pub fn sinks_query(which: &Which) -> (String, Vec<Cell>) {
    let (mut time, mut times) = (String::new(), Vec::new());
    if let Some(from) = which.from {
        time.push_str(" AND m.at_ms >= ?");
        times.push(Cell::from(from));
    }
    if let Some(to) = which.to {
        time.push_str(" AND m.at_ms < ?");
        times.push(Cell::from(to));
    }
    let mut args = [times.clone(), times].concat();
    let alloy = if let Some(alloy) = &which.alloy {
        args.push(alloy.into());
        " WHERE CASE g.kind WHEN 1 THEN (SELECT alloy FROM metal_lot WHERE seq = g.seq) \
           WHEN 2 THEN (SELECT alloy FROM ledger_heat WHERE heat_seq = g.seq) WHEN 3 THEN (SELECT alloy FROM fact_shell WHERE shell_seq = g.seq) \
           WHEN 4 THEN (SELECT alloy FROM fact_casting WHERE casting_seq = g.seq) END = ?"
    } else {
        ""
    };
    let sql = format!(
        "SELECT g.sink, sum(g.mass) FROM ( \
           SELECT m.to_kind AS sink, m.mass_mg AS mass, m.from_kind AS kind, m.from_seq AS seq FROM movement m \
             WHERE m.to_kind IN (11, 12, 13, 14, 15) AND m.to_seq = 0{time} \
           UNION ALL SELECT m.from_kind, -m.mass_mg, m.to_kind, m.to_seq FROM movement m \
             WHERE m.from_kind IN (11, 12, 13, 14, 15) AND m.from_seq = 0{time}) g{alloy} GROUP BY g.sink ORDER BY g.sink"
    );
    (sql, args)
}

/// What went into each sink, less what came out of it.
///
/// # Errors
/// As the database says.
pub async fn sinks<R: Read>(read: &mut R, which: &Which) -> Result<Vec<(i64, Mass)>, Problem> {
    let (sql, args) = sinks_query(which);
    read.fetch(&sql, args).await?.iter().map(|row| Ok((row.int(0)?, Mass::from_mg(row.int(1)?)))).collect()
}
