//! SQL of reports that whole months can answer: sums of the counts that stand with the facts.

use super::{Ask, Factor, Unit};
use crate::db::{Cell, Read};
use crate::desk::facts::months::COUNTED;
use crate::kernel::{Instant, Problem};
use serde_json::json;

/// The rows that count every shell.
const ALL: &str = "alloy";

/// Whether the counts by month tell a rate: of shells, by a factor that they know, narrowed to
/// nothing but an alloy and whole months. A beginning is one of those that were counted by.
///
/// # Errors
/// As the database says.
pub async fn tell<R: Read>(read: &mut R, ask: &Ask, outcome: &str) -> Result<bool, Problem> {
    let known = ask.factor == Factor::Month || COUNTED.iter().any(|(name, _)| *name == ask.factor.name());
    if !known || !matches!(outcome, "leaks" | "shorts") || ask.unit != Unit::Shell || ask.within_heats() {
        return Ok(false);
    }
    let mut ends: Vec<i64> = [ask.from, ask.to].into_iter().flatten().map(Instant::ms).collect();
    ends.dedup();
    if ends.is_empty() {
        return Ok(true);
    }
    let sql = "SELECT count(*) FROM json_each(?) k JOIN fact_month m ON m.begin_ms = k.value";
    let begun = read.fetch_one(sql, vec![json!(ends).to_string().into()]).await?;
    Ok(begun.map(|row| row.int(0)).transpose()?.is_some_and(|n| usize::try_from(n) == Ok(ends.len())))
}

/// The query of a rate, by a factor or over all: what `counting` of shells would say.
#[must_use]
pub fn counting(ask: &Ask, outcome: &str, factor: Option<Factor>) -> (String, Vec<Cell>) {
    let (of, level) = match factor {
        None => (ALL, "NULL"),
        Some(Factor::Month) => (ALL, "m.name"),
        Some(factor) => (factor.name(), "nullif(c.level, '')"),
    };
    let hit = if outcome == "leaks" { "sum(c.leaked), sum(c.lost_mg)" } else { "sum(c.short)" };
    let mut args: Vec<Cell> = vec![of.into()];
    let alloy = ask.alloy.as_ref().map_or("", |alloy| {
        args.push(alloy.into());
        " AND c.alloy = ?"
    });
    let mut end = |at: Option<Instant>, given: &'static str, open: &'static str| {
        at.map_or(open, |at| {
            args.push(at.into());
            given
        })
    };
    let from = end(ask.from, "m.begin_ms >= ?", "m.begin_ms >= (SELECT min(month_ms) FROM fact_month_count)");
    let to = end(ask.to, "m.begin_ms < ?", "m.begin_ms <= (SELECT max(month_ms) FROM fact_month_count)");
    let group = factor.map(|_| format!(" GROUP BY {level}")).unwrap_or_default();
    // Month by month, so that of each only the rows of the factor are read.
    let sql = format!(
        "SELECT CAST({level} AS TEXT), sum(c.poured), {hit} FROM fact_month m \
         CROSS JOIN fact_month_count c ON c.month_ms = m.begin_ms AND c.factor = ?{alloy} WHERE {from} AND {to}{group}"
    );
    (sql, args)
}

#[cfg(test)]
mod tests {
    use super::super::{Base, expression};
    use super::*;

    #[test]
    fn levels_are_those_of_reports_that_count_shells() {
        for (name, level) in COUNTED {
            let factor = Factor::parse(name).unwrap();
            assert_eq!(expression(factor, Base::Shells, &[]), *level, "{name}");
            assert!(factor.bands().is_none() && !factor.several(), "{name}");
        }
        // What is left hangs on settings, is several for a shell, or is the month itself.
        let left = |f: &&Factor| f.bands().is_none() && !f.several() && **f != Factor::Month;
        assert_eq!(Factor::ALL.iter().filter(left).count(), COUNTED.len());
    }
}
