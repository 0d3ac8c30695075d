//! What replay and correction cost: `cargo bench --bench ledger`. benches/README.md says what is
//! measured and keeps the numbers.
#![expect(clippy::unwrap_used, reason = "a bench stops at the first surprise")]

#[path = "http.rs"]
#[expect(dead_code, reason = "the kill test uses the rest")]
mod http;

use http::{Connection, Server};
use pourbook::app;
use pourbook::db::{Db, Options, Read as _};
use pourbook::demo;
use pourbook::kernel::{Clock, Instant as At, Mass, Money, Order};
use pourbook::science::ledger::history::{Casting, Closing, Heat, Pooled, Poured, Shell, Verdict};
use pourbook::science::ledger::{Entry, Event, History, Scale, derive};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::time::Instant;

const BINARY: &str = env!("CARGO_BIN_EXE_pourbook");
const RUNS: usize = 5;
/// Castings of the history that is replayed, and how they are cast.
const CASTINGS: i64 = 100_000;
const A_SHELL: i64 = 2;
const A_HEAT: i64 = 5;
/// Requests of each kind in a run.
const REQUESTS: usize = 60;

/// A shop that charges half ingot, half returns, weighs everything and returns all gating.
fn history() -> History {
    let mut story = Story { history: History::default(), seq: 0 };
    let (pool, mut ingot) = (story.lot(0, 0), story.lot(2_000_000_000, 1_800_000));
    for heat_n in 0..CASTINGS / A_SHELL / A_HEAT {
        if heat_n % 20 == 19 {
            ingot = story.lot(2_000_000_000, 1_700_000 + heat_n % 977 * 300);
        }
        story.heat(ingot, pool, heat_n);
    }
    story.history
}

struct Story {
    history: History,
    seq: i64,
}

impl Story {
    fn next(&mut self) -> Order {
        self.seq += 1;
        Order { at: At::from_ms(self.seq * 60_000), seq: self.seq }
    }
    fn log(&mut self, events: Vec<Event>) {
        let order = self.next();
        self.history.entries.extend((0..).zip(events).map(|(part, event)| Entry { order, part, event }));
    }
    fn lot(&mut self, mg: i64, minor: i64) -> i64 {
        let lot = self.seq + 1;
        self.log(vec![Event::LotIn { lot, mass: Mass::from_mg(mg), value: Money::from_minor(minor) }]);
        lot
    }
    fn heat(&mut self, ingot: i64, pool: i64, n: i64) {
        let mg = Mass::from_mg;
        let order = self.next();
        let heat = order.seq;
        self.history.heats.push(Heat { order, crucible: Some(n % 3) });
        self.log(vec![Event::Charge { heat, lot: ingot, mass: mg(60_000_000) }]);
        if n > 0 {
            self.log(vec![Event::Charge { heat, lot: pool, mass: mg(34_000_000) }]);
        }
        let charged = if n > 0 { 94_000_000 } else { 60_000_000 };
        let each = charged * 9 / 10 / A_HEAT;
        let mut castings = Vec::new();
        for _ in 0..A_HEAT {
            let shell = self.next().seq;
            let inside: Vec<i64> = (0..A_SHELL).map(|_| self.next().seq).collect();
            let castings_in = inside.iter().map(|&seq| Casting { seq, tag_rank: seq, estimate: mg(each / 3) }).collect();
            self.history.shells.push(Shell { seq: shell, castings: castings_in, gating: mg(each / 3) });
            self.log(vec![Event::Pour { heat, shell, poured: Poured::Weighed(mg(each)) }]);
            castings.push((shell, inside));
        }
        let pigged = Some(Pooled { mass: mg(charged * 7 / 100), lot: pool });
        self.log(vec![Event::Closing(Closing { heat, pigged, dross: Some(mg(charged / 50)), spilled: None, heel: None })]);
        for (shell, inside) in castings {
            self.log(vec![Event::Gross { shell, gross: mg(each) }]);
            for casting in inside {
                let returned = Some(Pooled { mass: mg(each / 6), lot: pool });
                let net = Event::Net { casting, net: Some(mg(each / 3 - 20_000)), returned };
                self.log(vec![net, Event::Judged { casting, verdict: Verdict::Accepted }]);
            }
        }
    }
}

/// The demonstration shop in a folder, filled once and kept.
fn book() -> PathBuf {
    let kept = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("bench-demo-{}", demo::SEED));
    if !kept.join("pourbook.db").exists() {
        let filling = kept.with_extension("filling");
        if filling.exists() {
            std::fs::remove_dir_all(&filling).unwrap();
        }
        tokio::runtime::Runtime::new().unwrap().block_on(async {
            let db = Db::open(&filling, Options::default(), demo::clock(demo::SEED), app::SETTLERS).await.unwrap();
            demo::fill(&db, demo::SEED, &Clock::system().unwrap()).await.unwrap();
            db.close().await;
        });
        std::fs::rename(&filling, &kept).unwrap();
    }
    kept
}

/// A charge of a heat lit some days before the book ends, and how many movements of stock came after it.
async fn charge(data: &Path, days: i64) -> (String, i64, i64) {
    let db = Db::open(data, Options::default(), Clock::system().unwrap(), app::SETTLERS).await.unwrap();
    let mut read = db.read().await.unwrap();
    let sql = "WITH last(ms) AS (SELECT max(at_ms) FROM movement) \
               SELECT r.id, e.m1_mg, (SELECT count(*) FROM movement m WHERE m.stock = 1 AND m.at_ms >= r.at_ms) \
               FROM last, ledger_line e JOIN record r ON r.seq = e.record_seq AND r.void_ms IS NULL \
               JOIN metal_lot l ON l.seq = e.lot_seq AND l.kind = 'ingot' \
               WHERE e.event = 'charge' AND e.m1_mg > 10000000 AND r.at_ms >= last.ms - ? * 86400000 ORDER BY r.at_ms LIMIT 1";
    let row = read.fetch_one(sql, vec![days.into()]).await.unwrap().unwrap();
    let found = (row.uuid(0).unwrap().to_string(), row.int(1).unwrap(), row.int(2).unwrap());
    drop(read);
    db.close().await;
    found
}

fn median(mut runs: Vec<f64>) -> (f64, f64, f64) {
    runs.sort_by(f64::total_cmp);
    (runs[runs.len() / 2], runs[0], runs[runs.len() - 1])
}

fn print(name: &str, runs: Vec<f64>) -> f64 {
    let (median, low, high) = median(runs);
    println!("{name:<64} {median:>9.2} ms ({low:.2} to {high:.2})");
    median
}

fn timed(mut one: impl FnMut(usize)) -> f64 {
    let begun = Instant::now();
    for n in 0..REQUESTS {
        one(n);
    }
    begun.elapsed().as_secs_f64() * 1000.0 / REQUESTS as f64
}

/// New shells of one casting each, so that no story grows while it is measured.
fn shells(connection: &mut Connection, many: usize) -> Vec<String> {
    let id = |made: &Value| made["id"].as_str().unwrap().to_owned();
    let at = "2026-11-03T08:00:00Z";
    let first = |connection: &mut Connection, path: &str| id(&connection.send("GET", path, None, None).unwrap().1["items"][0]);
    let (pattern, recipe) = (first(connection, "/v1/patterns?limit=1"), first(connection, "/v1/recipes?limit=1"));
    let job = id(&connection.post("/v1/commissions", &json!({"title": "To be dipped", "at": at})));
    let piece = json!({"pattern_id": pattern, "alloy": "C87300", "at": at});
    let shells = (0..many).map(|_| {
        let piece = connection.post(&format!("/v1/commissions/{job}/pieces"), &piece);
        let body = json!({"recipe_id": recipe, "casting_ids": [piece["castings"][0]["id"]], "gating_kg": 0.4, "at": at});
        id(&connection.post("/v1/shells", &body))
    });
    shells.collect()
}

fn correct(connection: &mut Connection, charge: &str, mg: i64, n: usize) {
    let off = if n.is_multiple_of(2) { 20_000 } else { 0 };
    let body = json!({"mass_kg": (mg - off) as f64 / 1e6}).to_string();
    let (status, answer) = connection.patch(&format!("/v1/charges/{charge}"), &body).unwrap();
    assert_eq!(status, 200, "{answer}");
}

fn main() {
    let told = history();
    let entries = told.entries.len();
    let mut movements = 0;
    let replays = (0..RUNS).map(|_| {
        let begun = Instant::now();
        let book = derive(&told, Scale { step: Mass::from_mg(10_000), per_million: 2000 });
        movements = book.movements.len();
        assert!(book.impossible.is_empty(), "{:?}", book.impossible.first());
        begun.elapsed().as_secs_f64() * 1000.0
    });
    let replays = replays.collect();
    let whole = print(&format!("replay of {CASTINGS} castings from nothing, one core"), replays);
    println!("    {entries} entries, {movements} movements; of the 2 s asked for: {:.2}\n", whole / 2000.0);

    let data = tempfile::tempdir().unwrap();
    std::fs::copy(book().join("pourbook.db"), data.path().join("pourbook.db")).unwrap();
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let ages: Vec<(i64, (String, i64, i64))> =
        [31, 365, 900].map(|days| (days, runtime.block_on(charge(data.path(), days)))).into();
    let token = http::token(BINARY, data.path());
    let server = Server::start(BINARY, data.path(), &[]);
    let mut connection = Connection::open(&server.address, &token).unwrap();
    let shells = shells(&mut connection, RUNS * REQUESTS);
    let coat = |connection: &mut Connection, n: usize| {
        let body = json!({"shell_ids": [shells[n]], "kind": "prime", "slurry": "prime", "at": "2026-11-03T10:00:00Z"});
        connection.post("/v1/coats", &body);
    };
    let logs: Vec<f64> = (0..RUNS).map(|run| timed(|n| coat(&mut connection, run * REQUESTS + n))).collect();
    let log = print("a stage log (a coat) over HTTP, demonstration shop", logs);
    for (days, (charge, mg, later)) in ages {
        let runs = (0..RUNS).map(|_| timed(|n| correct(&mut connection, &charge, mg, n))).collect();
        let took = print(&format!("a charge corrected, of {days} days before, {later} movements of stock later"), runs);
        println!("    ratio: correction to stage log {:.2}", took / log);
    }
}
