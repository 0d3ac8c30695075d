//! Leaks and shorts asked both ways: over whole months, which the counts by month answer, and
//! from another millisecond on, in which nothing was poured, which the facts answer. But for
//! the filters as asked, both answers are the same.

use pourbook::db::{Db, Read as _};
use pourbook::demo::{Caller, Who};
use pourbook::kernel::{Clock, Instant};
use serde_json::Value;

/// The factors that are counted by month.
const COUNTED: [&str; 15] = [
    "alloy",
    "recipe",
    "recipe_version",
    "support",
    "furnace",
    "kiln",
    "crucible",
    "pattern",
    "pattern_material",
    "coats",
    "fed",
    "core",
    "place_in_heat",
    "patched",
    "month",
];

/// A millisecond of the year 1900 with which no month begins.
const LONG_AGO: i64 = -2_208_988_799_999;

type Range = (Option<i64>, Option<i64>);

struct Asker<'d> {
    db: &'d Db,
    caller: Caller,
}

impl Asker<'_> {
    /// A report without its filters, and whether the counts by month were asked for it.
    async fn report(&mut self, name: &str, by: &str, (from, to): Range, alloy: Option<&str>) -> (Value, bool) {
        let ends = [("from", from), ("to", to)].map(|(member, at)| at.map(|at| format!("&{member}={}", Instant::from_ms(at))));
        let [from, to] = ends.map(Option::unwrap_or_default);
        let alloy = alloy.map(|alloy| format!("&alloy={alloy}")).unwrap_or_default();
        let path = format!("/v1/reports/{name}?by={by}{from}{to}{alloy}");
        self.db.tally().listen();
        let (status, mut answer) = self.caller.ask(Who::Owner, "GET", &path, None).await.unwrap();
        let counted = self.db.tally().heard().iter().any(|(sql, _)| sql.contains("fact_month_count"));
        assert_eq!(status, 200, "{path}: {answer}");
        answer.as_object_mut().unwrap().remove("filters");
        (answer, counted)
    }
}

async fn numbers(db: &Db, sql: &str) -> Vec<i64> {
    let mut read = db.read().await.unwrap();
    read.fetch(sql, vec![]).await.unwrap().iter().map(|row| row.int(0).unwrap()).collect()
}

/// Asks every report both ways over some ranges of months; answers how many levels were
/// compared.
pub async fn both_ways(db: &Db) -> usize {
    let caller = Caller::new(db, &Clock::system().unwrap()).await.unwrap();
    let mut asker = Asker { db, caller };
    let mut read = db.read().await.unwrap();
    let rows = read.fetch("SELECT DISTINCT alloy FROM fact_shell WHERE poured = 1 ORDER BY 1", vec![]).await.unwrap();
    let alloys: Vec<String> = rows.iter().map(|row| row.text(0).unwrap()).collect();
    drop(read);
    let months = "SELECT DISTINCT m.begin_ms FROM fact_month m JOIN fact_month_count c ON c.month_ms = m.begin_ms ORDER BY 1";
    let months = numbers(db, months).await;
    let at = |part: usize| months.get(months.len() * part / 4).copied();
    let ranges = [(None, None), (at(1), None), (None, at(3)), (at(1), at(3))];
    let mut compared = 0;
    for range in ranges {
        let before = range.0.map_or(LONG_AGO, |from| from - 1);
        assert_eq!(numbers(db, &format!("SELECT count(*) FROM fact_shell WHERE at_ms = {before}")).await, [0]);
        for alloy in std::iter::once(None).chain(alloys.iter().map(|alloy| Some(alloy.as_str()))) {
            for name in ["leaks", "shorts"] {
                for by in COUNTED {
                    let (counted, by_month) = asker.report(name, by, range, alloy).await;
                    let (plain, also) = asker.report(name, by, (Some(before), range.1), alloy).await;
                    assert!(by_month && !also, "{name} by {by}: by month {by_month}, else {also}");
                    assert_eq!(counted, plain, "{name} by {by}, {range:?}, {alloy:?}");
                    compared += counted["rows"].as_array().unwrap().len();
                }
            }
        }
    }
    for more in ["by=section_band", "by=hand", "by=slurry_batch", "by=practice_flag", "by=recipe&unit=casting"] {
        db.tally().listen();
        let (status, _) = asker.caller.ask(Who::Owner, "GET", &format!("/v1/reports/leaks?{more}"), None).await.unwrap();
        let counted = db.tally().heard().iter().any(|(sql, _)| sql.contains("fact_month_count"));
        assert!(status == 200 && !counted, "{more}");
    }
    compared
}
