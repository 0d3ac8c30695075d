//! SQL of the counts by month: how many shells were poured, leaked, stayed short and what
//! they lost, by each factor that hangs on the facts alone and is one for each shell.
//!
//! The counts are always the sum of `fact_shell` as it stands: how a shell that is due was
//! counted is noted before its facts are cleared, and once they are made again what differs
//! is taken off and added. Mostly nothing does: a pour has all shells of its heat made anew,
//! a breakout its shell. The months are the
//! shop's; their beginnings stand in `fact_month`, so that a statement can find the month of
//! a shell that nothing has read. A setting that moves them has all counted anew.

use crate::db::{Read as _, WriteTx};
use crate::kernel::{Instant, Problem};
use crate::shop::house::settings::{self, Settings};
use serde_json::json;
use std::sync::LazyLock;

/// The factors, each with the level of a shell `f`. Rows of the alloy count every shell, so
/// that totals and months need none of their own.
pub const COUNTED: &[(&str, &str)] = &[
    ("alloy", "f.alloy"),
    ("recipe", "f.recipe_seq"),
    ("recipe_version", "f.recipe_version_seq"),
    ("support", "f.support"),
    ("furnace", "f.furnace_seq"),
    ("kiln", "f.kiln_seq"),
    ("crucible", "f.crucible_seq"),
    ("pattern", "CASE WHEN f.pattern_low = f.pattern_high THEN f.pattern_low WHEN f.pattern_low IS NOT NULL THEN 'mixed' END"),
    (
        "pattern_material",
        "CASE WHEN f.material_low = f.material_high THEN f.material_low WHEN f.material_low IS NOT NULL THEN 'mixed' END",
    ),
    ("coats", "f.coats"),
    ("fed", "f.fed"),
    ("core", "f.core"),
    ("place_in_heat", "f.place_in_heat"),
    ("patched", "f.patched"),
];

/// What is counted of a shell `f`: month, alloy, leaked, short, lost, and its level by factor.
fn told() -> String {
    let levels: Vec<String> = COUNTED.iter().map(|(name, level)| format!("'{name}', {level}")).collect();
    format!(
        "json_array((SELECT m.begin_ms FROM fact_month m WHERE m.begin_ms <= f.at_ms ORDER BY m.begin_ms DESC LIMIT 1), \
         f.alloy, f.leaked, f.short, f.lost_mg, json_object({}))",
        levels.join(", ")
    )
}

/// Writes down what is counted of the shells that are due, before their facts are cleared.
static NOTE: LazyLock<String> = LazyLock::new(|| {
    let told = told();
    format!(
        "UPDATE fact_due SET was = (SELECT {told} FROM fact_shell f WHERE f.shell_seq = fact_due.seq AND f.poured = 1) \
         WHERE kind = 'shell'"
    )
});

/// Takes off what was written down and adds what is counted now, where they differ. A level
/// that is not on record is an empty text; a shell whose firing was never logged is not counted
/// by kiln.
static COUNT: LazyLock<String> = LazyLock::new(|| {
    let told = told();
    format!(
        "INSERT INTO fact_month_count (month_ms, factor, alloy, level, poured, leaked, short, lost_mg) \
         WITH due(was, now) AS MATERIALIZED ( \
           SELECT d.was, (SELECT {told} FROM fact_shell f WHERE f.shell_seq = d.seq AND f.poured = 1) FROM fact_due d WHERE d.kind = 'shell'), \
         moved(sign, told) AS ( \
           SELECT -1, d.was FROM due d WHERE d.was IS NOT NULL AND d.was IS NOT d.now \
           UNION ALL SELECT 1, d.now FROM due d WHERE d.now IS NOT NULL AND d.now IS NOT d.was), \
         each_way(sign, month_ms, alloy, leaked, short, lost_mg, levels) AS MATERIALIZED ( \
           SELECT v.sign, v.told ->> 0, v.told ->> 1, v.sign * (v.told ->> 2), v.sign * (v.told ->> 3), v.sign * (v.told ->> 4), \
             v.told -> 5 FROM moved v), \
         counted(month_ms, factor, alloy, level, poured, leaked, short, lost_mg) AS ( \
           SELECT w.month_ms, k.key, w.alloy, coalesce(k.value, ''), sum(w.sign), sum(w.leaked), sum(w.short), sum(w.lost_mg) \
           FROM each_way w CROSS JOIN json_each(w.levels) k WHERE k.key <> 'kiln' OR k.value IS NOT NULL GROUP BY 1, 2, 3, 4) \
         SELECT * FROM counted WHERE poured <> 0 OR leaked <> 0 OR short <> 0 OR lost_mg <> 0 \
         ON CONFLICT (month_ms, factor, alloy, level) DO UPDATE SET poured = poured + excluded.poured, \
           leaked = leaked + excluded.leaked, short = short + excluded.short, lost_mg = lost_mg + excluded.lost_mg"
    )
});

/// Rows that came to nothing.
const EMPTY: &str = "DELETE FROM fact_month_count WHERE poured = 0";

/// Notes how the shells that are due are counted; before their facts are cleared.
pub fn note(tx: &mut WriteTx) {
    tx.push(&NOTE, vec![]);
}

/// Counts the shells that are due as their facts now stand, instead of as was noted.
pub fn count(tx: &mut WriteTx) {
    tx.push(&COUNT, vec![]);
    tx.push(EMPTY, vec![]);
}

/// The months of the shop from one instant to another: beginning, end, name. One that the
/// shop moved past ends where it begins.
#[must_use]
pub fn between(settings: &Settings, first: Instant, last: Instant) -> Vec<(Instant, Instant, String)> {
    let mut out = Vec::new();
    let mut day = settings.day(first).first_of_month();
    while let Some(begin) = settings.begin(day).filter(|begin| *begin <= last) {
        let Ok(next) = day.checked_add(jiff::Span::new().months(1)) else { break };
        let Some(end) = settings.begin(next) else { break };
        out.push((begin, end, settings.month(begin)));
        day = next;
    }
    out
}

/// Brings the beginnings of months into line with the settings; where they move, counts all
/// shells anew.
///
/// # Errors
/// As the database says.
pub async fn keep(tx: &mut WriteTx) -> Result<(), Problem> {
    let settings = settings::of(tx).await?;
    let months = between(&settings, Instant::FIRST, Instant::LAST);
    let months = months.into_iter().filter(|(begin, end, _)| begin < end);
    let want: Vec<(i64, String)> = months.map(|(begin, _, name)| (begin.ms(), name)).collect();
    let rows = tx.fetch("SELECT begin_ms, name FROM fact_month ORDER BY begin_ms", vec![]).await?;
    let have = rows.iter().map(|row| Ok((row.int(0)?, row.text(1)?))).collect::<Result<Vec<_>, Problem>>()?;
    if have == want {
        return Ok(());
    }
    tx.push("DELETE FROM fact_month", vec![]);
    tx.push(
        "INSERT INTO fact_month (begin_ms, name) SELECT value ->> 0, value ->> 1 FROM json_each(?)",
        vec![json!(want).to_string().into()],
    );
    tx.push("DELETE FROM fact_month_count", vec![]);
    tx.push("INSERT INTO fact_due (kind, seq) SELECT 'shell', shell_seq FROM fact_shell", vec![]);
    count(tx);
    tx.push("DELETE FROM fact_due", vec![]);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::db::{Db, Options};
    use crate::kernel::Clock;

    async fn book() -> (Db, tempfile::TempDir) {
        let dir = tempfile::tempdir().unwrap();
        let clock = Clock::fixed(Instant::from_ms(0), 5);
        (Db::open(dir.path(), Options::default(), clock, &[]).await.unwrap(), dir)
    }

    #[tokio::test]
    async fn a_new_book_has_the_months_of_its_zone() {
        let (db, _dir) = book().await;
        let mut read = db.read().await.unwrap();
        let rows = read.fetch("SELECT begin_ms, name FROM fact_month ORDER BY 1", vec![]).await.unwrap();
        let have: Vec<(i64, String)> = rows.iter().map(|row| (row.int(0).unwrap(), row.text(1).unwrap())).collect();
        let want = between(&settings::of(&mut read).await.unwrap(), Instant::FIRST, Instant::LAST);
        assert_eq!(have.len(), 3600);
        assert_eq!(have, want.iter().map(|(begin, _, name)| (begin.ms(), name.clone())).collect::<Vec<_>>());
        // Whatever can be read as an instant is in one of them.
        assert!(have[0].0 <= Instant::FIRST.ms());
    }

    #[tokio::test]
    async fn shells_are_counted_without_walking_through_them() {
        let (db, _dir) = book().await;
        let mut read = db.read().await.unwrap();
        for sql in [NOTE.as_str(), COUNT.as_str(), EMPTY] {
            let steps = read.fetch(&format!("EXPLAIN QUERY PLAN {sql}"), vec![]).await.unwrap();
            let steps: Vec<String> = steps.iter().map(|row| row.text(3).unwrap()).collect();
            // What is due, and the levels of one shell.
            let few =
                |step: &String| ["SCAN d", "SCAN v", "SCAN w", "SCAN k", "SCAN counted"].iter().any(|s| step.starts_with(s));
            assert!(!steps.iter().any(|s| s.contains("AUTOMATIC") || s.starts_with("SCAN") && !few(s)), "{steps:?}");
            assert!(sql == EMPTY || steps.iter().any(|s| s.starts_with("SEARCH f ")), "{steps:?}");
        }
    }
}
