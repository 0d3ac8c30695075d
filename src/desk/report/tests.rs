use super::ask::{Ask, Unit};
use super::factor::{Factor, months};
use super::store::{self, Rests};
use crate::db::{Db, Options};
use crate::kernel::{Clock, Instant};
use crate::shop::house::settings;
use serde_json::json;

async fn book() -> (Db, tempfile::TempDir) {
    let dir = tempfile::tempdir().unwrap();
    let clock = Clock::fixed(Instant::parse("2026-06-01T12:00:00Z").unwrap(), 5);
    (Db::open(dir.path(), Options::default(), clock, &[]).await.unwrap(), dir)
}

fn ask(factor: Factor, filtered: bool) -> Ask {
    let some = |n: i64| filtered.then_some(n);
    Ask {
        factor,
        from: some(0).map(Instant::from_ms),
        to: some(9).map(Instant::from_ms),
        alloy: filtered.then(|| "C87300".into()),
        recipe: some(1),
        pattern: some(2),
        commission: some(3),
        unit: Unit::Shell,
        code: filtered.then(|| "A111".into()),
        ..Ask::by(factor)
    }
}

#[tokio::test]
async fn no_report_walks_through_records_or_the_journal() {
    let (db, _dir) = book().await;
    let mut read = db.read().await.unwrap();
    let rests = Rests { edges: vec![1.0, 2.0], months: json!([[0, 9, "1970-01"]]), liquidus: json!({"C87300": 971}) };
    let mut seen = 0;
    for factor in Factor::ALL.iter().copied() {
        for filtered in [false, true] {
            for unit in [Unit::Shell, Unit::Casting] {
                let ask = Ask { unit, ..ask(factor, filtered) };
                let mut queries = vec![store::pareto(&ask), store::unpoured(&ask), store::heats(&ask, None, &rests)];
                queries.push(store::heats(&ask, Some(factor), &rests));
                for count in [
                    store::rate_of("leaks", &ask),
                    store::rate_of("shorts", &ask),
                    store::rate_of("defects", &ask),
                    store::MARKS,
                    store::UNOPENED,
                ] {
                    queries.push(store::counting(&ask, &count, Some(factor), &rests));
                    queries.push(store::counting(&ask, &count, None, &rests));
                }
                for query in queries {
                    let sql = query.0.clone();
                    let steps = store::plan(&mut read, query).await;
                    seen += steps.len();
                    assert!(!steps.iter().any(|step| walks(step)), "{}: {steps:?}\n{sql}", factor.name());
                }
            }
        }
    }
    assert!(seen > 1000, "{seen} steps");
    let control = store::plan(&mut read, store::walks()).await;
    assert!(control.iter().any(|step| walks(step)), "{control:?}");
}

/// Whether a step goes through all records, or all of the journal; `r` and `j` are what every
/// query calls them.
fn walks(step: &str) -> bool {
    ["SCAN record", "SCAN journal", "SCAN r", "SCAN j"].iter().any(|w| step == *w || step.starts_with(&format!("{w} ")))
}

#[tokio::test]
async fn months_are_the_shops_own() {
    let (db, _dir) = book().await;
    let settings = settings::of(&mut db.read().await.unwrap()).await.unwrap();
    let at = |text: &str| Instant::parse(text).unwrap();
    let listed = months(&settings, at("2025-12-31T23:59:00Z"), at("2026-03-01T00:00:00Z"));
    let begin = |text: &str| at(text).ms();
    let want = json!([
        [begin("2025-12-01T00:00:00Z"), begin("2026-01-01T00:00:00Z"), "2025-12"],
        [begin("2026-01-01T00:00:00Z"), begin("2026-02-01T00:00:00Z"), "2026-01"],
        [begin("2026-02-01T00:00:00Z"), begin("2026-03-01T00:00:00Z"), "2026-02"],
        [begin("2026-03-01T00:00:00Z"), begin("2026-04-01T00:00:00Z"), "2026-03"],
    ]);
    assert_eq!(listed, want);
}

#[tokio::test]
async fn reports_on_the_ledger_go_by_its_indexes() {
    let (db, _dir) = book().await;
    let mut read = db.read().await.unwrap();
    let some = |n: i64| Some(Instant::from_ms(n));
    let heats =
        store::closed::Which { from: some(0), to: some(9), alloy: Some("C87300".into()), furnace: Some(1), crucible: Some(2) };
    let lost = store::lost::Which {
        from: some(0),
        to: some(9),
        alloy: Some("C87300".into()),
        recipe: Some(1),
        pattern: Some(2),
        commission: Some(3),
    };
    let mut seen = 0;
    for query in [
        store::closed::query(&heats),
        store::closed::query(&store::closed::Which::default()),
        store::lost::query(&lost),
        store::lost::query(&store::lost::Which::default()),
        store::lost::sinks_query(&lost),
        store::lost::sinks_query(&store::lost::Which::default()),
    ] {
        let sql = query.0.clone();
        let steps = store::plan(&mut read, query).await;
        seen += steps.len();
        let scans = ["SCAN q", "SCAN m", "SCAN movement", "SCAN c", "SCAN h"];
        assert!(!steps.iter().any(|s| walks(s) || scans.contains(&s.as_str())), "{steps:?}\n{sql}");
    }
    let steps = store::owned::plan(&mut read).await;
    assert!(!steps.iter().any(|s| s.starts_with("SCAN m ") || s == "SCAN m"), "{steps:?}");
    assert!(seen > 20, "{seen} steps");
}

#[tokio::test]
async fn reports_by_whole_months_read_the_rows_of_their_factor_only() {
    let (db, _dir) = book().await;
    let mut read = db.read().await.unwrap();
    let mut seen = 0;
    for factor in [None, Some(Factor::Month), Some(Factor::Recipe), Some(Factor::PlaceInHeat)] {
        for (from, to, alloy) in [(false, false, false), (true, false, true), (false, true, false), (true, true, true)] {
            let end = |given: bool| given.then_some(Instant::from_ms(0));
            let alloy = alloy.then(|| "C87300".into());
            let ask = Ask { from: end(from), to: end(to), alloy, ..Ask::by(Factor::Recipe) };
            let query = store::months::counting(&ask, "leaks", factor);
            let steps = store::plan(&mut read, query).await;
            assert!(steps.iter().any(|s| s.contains("month_ms=? AND factor=?")), "{steps:?}");
            assert!(!steps.iter().any(|s| s.starts_with("SCAN")), "{steps:?}");
            seen += steps.len();
        }
    }
    assert!(seen > 50, "{seen} steps");
}

#[tokio::test]
async fn only_whole_months_and_an_alloy_are_told_by_month() {
    let (db, _dir) = book().await;
    let mut read = db.read().await.unwrap();
    let at = |text: &str| Some(Instant::parse(text).unwrap());
    let plain = || Ask { alloy: Some("C87300".into()), ..Ask::by(Factor::Recipe) };
    let whole = || Ask { from: at("2026-03-01T00:00:00Z"), to: at("2026-05-01T00:00:00Z"), ..plain() };
    for told in [plain(), whole(), Ask { from: None, ..whole() }, Ask { to: whole().from, ..whole() }] {
        assert!(store::months::tell(&mut read, &told, "shorts").await.unwrap(), "{told:?}");
    }
    for not in [
        Ask { from: at("2026-03-01T00:00:00.001Z"), ..whole() },
        Ask { to: at("2026-04-30T23:59:59.999Z"), ..whole() },
        Ask { to: at("2026-03-02T00:00:00Z"), ..plain() },
        Ask { recipe: Some(1), ..whole() },
        Ask { pattern: Some(1), ..whole() },
        Ask { commission: Some(1), ..whole() },
        Ask { unit: Unit::Casting, ..whole() },
        Ask { factor: Factor::Hand, ..whole() },
        Ask { factor: Factor::Section, ..whole() },
    ] {
        assert!(!store::months::tell(&mut read, &not, "shorts").await.unwrap(), "{not:?}");
    }
    assert!(!store::months::tell(&mut read, &whole(), "defects").await.unwrap());
}
