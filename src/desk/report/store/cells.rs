//! What a comparison counts: shells by level, by what is adjusted for, and by heat.

use super::{Base, Rests, expression, parts};
use crate::db::{Cell, Read};
use crate::desk::report::ask::Ask;
use crate::desk::report::factor::Factor;
use crate::kernel::{Problem, Seq};

/// What shells share, where the factor is constant within it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Together {
    /// Nothing that matters.
    Apart,
    /// Their heat.
    Heat,
    /// Their last kiln load.
    Load,
}

/// Shells of a level, a stratum and a heat.
#[derive(Clone, Debug, PartialEq)]
pub struct Counted {
    /// The level as text; `None`: not on record, or counted over all levels.
    pub level: Option<String>,
    /// Levels of what is adjusted for.
    pub stratum: Vec<Option<String>>,
    /// The heat or kiln load.
    pub together: Option<Seq>,
    /// Shells.
    pub of: u32,
    /// Those with the outcome.
    pub events: u32,
    /// Metal lost, in mg.
    pub lost_mg: i64,
}

const LOAD: &str = "(SELECT b.seq FROM bearing y CROSS JOIN burnout b ON b.seq = y.record_seq CROSS JOIN record r ON r.seq = b.seq \
     AND r.void_ms IS NULL WHERE y.on_seq = f.shell_seq ORDER BY r.at_ms DESC, r.seq DESC LIMIT 1)";

/// The query of shells by a factor (`None`: over all its levels), by what is adjusted for, and by heat.
/// A defect counts once a shell, of shells of which a casting was broken out.
#[must_use]
pub fn cells(
    ask: &Ask,
    outcome: &str,
    factor: Option<Factor>,
    rests: &Rests,
    adjust: &[(Factor, Rests)],
    together: Together,
) -> (String, Vec<Cell>) {
    let (mut join, mut join_args, mut columns) = (String::new(), Vec::new(), Vec::new());
    for (n, (factor, rests)) in adjust.iter().enumerate() {
        columns.push(match factor {
            Factor::Month => {
                join =
                    format!("{join} LEFT JOIN json_each(?) m{n} ON f.at_ms >= m{n}.value ->> 0 AND f.at_ms < m{n}.value ->> 1");
                join_args.push(rests.months.to_string().into());
                format!("m{n}.value ->> 2")
            }
            Factor::Superheat => {
                join = format!("{join} LEFT JOIN json_each(?) q{n} ON q{n}.key = f.alloy");
                join_args.push(rests.liquidus.to_string().into());
                super::band(&format!("(f.metal_c - q{n}.value)"), &rests.edges)
            }
            factor => expression(*factor, Base::Shells, &rests.edges),
        });
    }
    let super::Parts { level, from, mut condition, args } = parts(ask, Base::Shells, factor, rests, &join, &join_args);
    let mut all: Vec<Cell> = Vec::new();
    let event = match outcome {
        "leaks" => "f.leaked".to_owned(),
        "shorts" => "f.short".to_owned(),
        _ => {
            condition.push_str(" AND EXISTS (SELECT 1 FROM fact_casting i WHERE i.shell_seq = f.shell_seq AND i.opened = 1)");
            let code = ask.code.as_ref().map_or("", |_| " AND n.code = ?");
            all.extend(ask.code.iter().map(Cell::from));
            format!(
                "EXISTS (SELECT 1 FROM fact_casting i JOIN fact_finding n ON n.casting_seq = i.casting_seq \
                 WHERE i.shell_seq = f.shell_seq AND i.opened = 1{code})"
            )
        }
    };
    let heat = match together {
        Together::Apart => "NULL",
        Together::Heat => "f.heat_seq",
        Together::Load => LOAD,
    };
    all.extend(args);
    let strata: Vec<String> = columns.iter().map(|column| format!(", CAST({column} AS TEXT)")).collect();
    let strata = strata.concat();
    let places: Vec<String> = (0..columns.len()).map(|n| format!(", {}", n + 6)).collect();
    let sql = format!(
        "SELECT count(*), sum({event}), sum(f.lost_mg), {heat}, CAST({level} AS TEXT){strata} FROM {from}{condition} \
         GROUP BY 4, 5{}",
        places.concat()
    );
    (sql, all)
}

/// Counts.
///
/// # Errors
/// As the database says.
pub async fn count<R: Read>(read: &mut R, (sql, args): (String, Vec<Cell>)) -> Result<Vec<Counted>, Problem> {
    let rows = read.fetch(&sql, args).await?;
    let whole = |n: i64| u32::try_from(n).unwrap_or(u32::MAX);
    rows.iter()
        .map(|row| {
            Ok(Counted {
                of: whole(row.int(0)?),
                events: whole(row.opt_int(1)?.unwrap_or(0)),
                lost_mg: row.opt_int(2)?.unwrap_or(0),
                together: row.opt_int(3)?,
                level: row.opt_text(4)?,
                stratum: (5..row.width()).map(|n| row.opt_text(n)).collect::<Result<_, _>>()?,
            })
        })
        .collect()
}

/// The value in minor units and the mass in mg of all that was charged into closed heats that a report is
/// asked of by alloy: what a kilogram of metal stood at.
///
/// # Errors
/// As the database says.
pub async fn charged<R: Read>(read: &mut R, alloy: Option<&str>) -> Result<Option<(i64, i64)>, Problem> {
    let sql = "SELECT sum(value_minor), sum(charged_mg) FROM ledger_heat WHERE closed = 1 AND (? IS NULL OR alloy = ?)";
    let row = read.fetch_one(sql, vec![alloy.into(), alloy.into()]).await?;
    let Some(row) = row else { return Ok(None) };
    Ok(row.opt_int(0)?.zip(row.opt_int(1)?).filter(|(_, mass)| *mass > 0))
}
