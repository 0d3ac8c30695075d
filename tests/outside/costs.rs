//! All jobs of a demonstration shop together cost what its records do: part by part against sums made
//! here from the records themselves, and job by job against the report, to the minor unit.

use pourbook::db::{Db, Read as _, ReadTx};
use pourbook::demo::{Caller, Who};
use pourbook::kernel::Clock;
use serde_json::Value;
use std::collections::BTreeMap;

/// The shop's rates, in cents (src/demo/opening.rs).
const HOUR: f64 = 2800.0;
const FUEL_KG: f64 = 265.0;
const FUEL_KWH: f64 = 24.0;
const POUR_DAY: i64 = 7500;
const CRUCIBLE: i64 = 1900;

async fn get(caller: &mut Caller, path: &str) -> Value {
    let (status, answer) = caller.ask(Who::Owner, "GET", path, None).await.unwrap();
    assert_eq!(status, 200, "{path}: {answer}");
    answer
}

/// Half to even, of what is a whole number of cents but for the error of a double.
#[expect(clippy::cast_possible_truncation, reason = "cents of a small shop")]
fn cents(amount: f64) -> i64 {
    let near = (amount * 1e6).round() / 1e6;
    let floor = near.floor();
    let even = (floor as i64) + ((floor as i64) & 1);
    if (near - floor - 0.5).abs() < 1e-9 { even } else { near.round() as i64 }
}

async fn bodies(read: &mut ReadTx, kind: &str) -> Vec<(i64, Value)> {
    let sql = "SELECT r.at_ms, j.body FROM record r JOIN journal j ON j.n = r.journal_n WHERE r.kind = ? AND r.void_ms IS NULL";
    let rows = read.fetch(sql, vec![kind.into()]).await.unwrap();
    rows.iter().map(|row| (row.int(0).unwrap(), serde_json::from_str(&row.text(1).unwrap()).unwrap())).collect()
}

/// What the records cost, part by part, as added up here.
async fn by_record(db: &Db) -> BTreeMap<&'static str, i64> {
    let mut read = db.read().await.unwrap();
    let mut out: BTreeMap<&'static str, i64> = BTreeMap::new();
    for (_, work) in bodies(&mut read, "work").await {
        let cost = cents(HOUR * work["minutes"].as_f64().unwrap() / 60.0);
        *out.entry("work").or_default() += cost;
        // 45 % of work.
        #[expect(clippy::cast_precision_loss, reason = "cents of an hour or two")]
        let overhead = cents(cost as f64 * 0.45);
        *out.entry("overhead").or_default() += overhead;
        *out.entry("material").or_default() += work["material_minor"].as_i64().unwrap_or(0);
    }
    for kind in ["burnout", "preheat", "closing"] {
        for (_, body) in bodies(&mut read, kind).await {
            let kg = body["fuel_kg"].as_f64().map(|kg| cents(kg * FUEL_KG));
            let kwh = body["fuel_kwh"].as_f64().map(|kwh| cents(kwh * FUEL_KWH));
            *out.entry("fuel").or_default() += body["fuel_minor"].as_i64().or(kg).or(kwh).unwrap_or(0);
        }
    }
    let heats = bodies(&mut read, "heat").await;
    let in_crucibles = heats.iter().filter(|(_, heat)| heat["crucible"].is_string()).count();
    out.insert("crucible", i64::try_from(in_crucibles).unwrap() * CRUCIBLE);
    // Days of Lisbon: its clock is UTC or an hour on, and nobody pours within an hour of midnight.
    let mut days: Vec<i64> = bodies(&mut read, "pour").await.iter().map(|(at, _)| at.div_euclid(86_400_000)).collect();
    days.sort_unstable();
    days.dedup();
    out.insert("pour_day", i64::try_from(days.len()).unwrap() * POUR_DAY);
    for (_, mould) in bodies(&mut read, "mould").await {
        *out.entry("mould").or_default() += mould["cost_minor"].as_i64().unwrap_or(0);
    }
    for (_, cost) in bodies(&mut read, "cost").await {
        let part = match cost["kind"].as_str().unwrap() {
            "crate" | "freight" => "delivery",
            "base" => "material",
            "print" => "wax",
            other => panic!("the demonstration shop buys no {other}"),
        };
        *out.entry(part).or_default() += cost["amount_minor"].as_i64().unwrap();
    }
    out
}

/// Holds the report of costs against the records and against every job.
pub async fn add_up(db: &Db) {
    let mut caller = Caller::new(db, &Clock::system().unwrap()).await.unwrap();
    let report = get(&mut caller, "/v1/reports/costs?from=2000-01-01T00:00:00Z&to=2100-01-01T00:00:00Z").await;
    let all = &report["all"];
    for (part, minor) in by_record(db).await {
        let told = all[format!("{part}_minor")].as_i64().unwrap_or(0);
        // Waxes are priced by the kg beside what was bought: at least that.
        assert!(if part == "wax" { told > minor } else { told == minor }, "{part}: {told} and {minor}");
    }
    let (mut jobs, mut metal, mut cursor, mut seen) = (0, 0, String::new(), 0);
    loop {
        let page = get(&mut caller, &format!("/v1/commissions?limit=200{cursor}")).await;
        for job in page["items"].as_array().unwrap() {
            let number = job["number"].as_str().unwrap();
            let cost = get(&mut caller, &format!("/v1/commissions/{number}/cost")).await;
            let of_metal = cost["metal"]["total_minor"].as_i64().unwrap();
            let beside = cost["total_minor"].as_i64().unwrap() - of_metal;
            let row = report["jobs"].as_array().unwrap().iter().find(|row| row["number"] == number);
            assert_eq!(row.map_or(0, |row| row["total_minor"].as_i64().unwrap()), beside, "job {number}");
            let pieces: i64 = cost["pieces"].as_array().unwrap().iter().map(|p| p["total_minor"].as_i64().unwrap()).sum();
            assert!(pieces <= of_metal + beside, "job {number}: its pieces cost no more than it");
            (jobs, metal, seen) = (jobs + beside, metal + of_metal, seen + 1);
        }
        match page["next_cursor"].as_str() {
            Some(next) => cursor = format!("&cursor={next}"),
            None => break,
        }
    }
    assert!(seen > 50, "{seen} jobs");
    let apart = report["moulds_minor"].as_i64().unwrap() + report["shop_minor"].as_i64().unwrap();
    assert_eq!(jobs + apart, all["total_minor"].as_i64().unwrap(), "all jobs, with what is on moulds and on nobody");
    // Metal: what rests on castings, in shells and on what was handed over.
    let balance = get(&mut caller, "/v1/metal/balance").await;
    let value = |account: &str| balance[account]["value_minor"].as_i64().unwrap();
    assert_eq!(metal, value("in_castings") + value("in_shells") + value("delivered"), "{balance:#}");
}
