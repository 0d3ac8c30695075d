//! What the server adds to the database it stands on: `cargo bench`. benches/README.md says
//! what is measured and keeps the numbers.
#![expect(clippy::unwrap_used, reason = "a bench stops at the first surprise")]

#[path = "bed.rs"]
mod bed;
#[path = "http.rs"]
#[expect(dead_code, reason = "the kill test uses the rest")]
mod http;

use bed::{Bed, Replay};
use http::{Connection, Server};
use pourbook::db::Heard;
use std::path::Path;
use std::sync::atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

const BINARY: &str = env!("CARGO_BIN_EXE_pourbook");
const RUNS: usize = 5;
const SECONDS: f64 = 1.5;
/// Blocks of the file that is synced.
const BLOCKS: usize = 256;

/// Runs of one measure: the median and what lay on either side.
struct Measure {
    name: &'static str,
    unit: &'static str,
    runs: Vec<f64>,
}

impl Measure {
    fn median(&self) -> f64 {
        let mut runs = self.runs.clone();
        runs.sort_by(f64::total_cmp);
        runs[runs.len() / 2]
    }
    fn print(&self) {
        let (low, high) = self.runs.iter().fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
        println!("{:<58} {:>10.1} {} ({low:.1} to {high:.1})", self.name, self.median(), self.unit);
    }
}

fn measure(name: &'static str, unit: &'static str, runs: usize, mut one: impl FnMut(usize) -> f64) -> Measure {
    let measure = Measure { name, unit, runs: (0..runs).map(&mut one).collect() };
    measure.print();
    measure
}

/// How often something can be done in a second, by one who does nothing else.
fn rate(mut one: impl FnMut(usize)) -> f64 {
    let begun = Instant::now();
    let mut n = 0;
    while begun.elapsed().as_secs_f64() < SECONDS {
        one(n);
        n += 1;
    }
    n as f64 / begun.elapsed().as_secs_f64()
}

/// Requests a second of so many connections, each kept open and waiting for its answer.
fn requests(server: &Server, bed: &Bed, connections: usize, one: &(dyn Fn(&mut Connection, u64) + Sync)) -> f64 {
    let (done, next, stop) = (AtomicUsize::new(0), AtomicU64::new(0), AtomicBool::new(false));
    let begun = Instant::now();
    std::thread::scope(|scope| {
        for _ in 0..connections {
            scope.spawn(|| {
                let mut connection = Connection::open(&server.address, &bed.token).unwrap();
                while !stop.load(Ordering::Relaxed) {
                    one(&mut connection, next.fetch_add(1, Ordering::Relaxed));
                    done.fetch_add(1, Ordering::Relaxed);
                }
            });
        }
        std::thread::sleep(Duration::from_secs_f64(SECONDS));
        stop.store(true, Ordering::Relaxed);
    });
    done.load(Ordering::Relaxed) as f64 / begun.elapsed().as_secs_f64()
}

fn ratio(what: &str, above: &Measure, below: &Measure) {
    println!("    ratio: {what} {:.2}", above.median() / below.median());
}

fn read_one(data: &Path, bed: &Bed) {
    println!("\nW1: a casting by its tag (the route card)");
    let server = Server::start(BINARY, data, &[]);
    let path = format!("/v1/castings/{}", bed.casting);
    let get = |connection: &mut Connection, _| {
        let (status, _) = connection.send("GET", &path, None, None).unwrap();
        assert_eq!(status, 200);
    };
    let over_http = measure("over HTTP, one connection", "a second", RUNS, |_| requests(&server, bed, 1, &get));
    let mut replay = Replay::open(&data.join("pourbook.db"));
    let inside = measure("the same SQL in process, one snapshot", "a second", RUNS, |_| {
        rate(|_| replay.run(&bed.read, "BEGIN", "ROLLBACK"))
    });
    ratio("SQL alone to HTTP", &inside, &over_http);
}

fn record_one(data: &Path, bed: &Bed) {
    println!("\nW2: one coat recorded, durable before the answer");
    let server = Server::start(BINARY, data, &[]);
    let run = AtomicUsize::new(0);
    let post = |connection: &mut Connection, n: u64| {
        let shell = &bed.shells[usize::try_from(n).unwrap_or(0) % bed.shells.len()];
        let key = format!("bench-{}-{n}", run.load(Ordering::Relaxed));
        let body = r#"{"at":"2026-03-01T12:00:00Z","kind":"backup","slurry":"backup"}"#;
        let (status, said) = connection.send("POST", &format!("/v1/shells/{shell}/coats"), Some(&key), Some(body)).unwrap();
        assert_eq!(status, 201, "{said}");
    };
    let mut measured = Vec::new();
    for (name, connections) in [("over HTTP, 1 at a time", 1), ("over HTTP, 8 at a time", 8), ("over HTTP, 32 at a time", 32)] {
        measured.push(measure(name, "a second", RUNS, |_| {
            run.fetch_add(1, Ordering::Relaxed);
            requests(&server, bed, connections, &post)
        }));
    }
    drop(server);
    let copy = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    std::fs::copy(&bed.fresh, copy.path().join("copy.db")).unwrap();
    let mut replay = Replay::open(&copy.path().join("copy.db"));
    let inside = measure("the same statements in process, one transaction each", "a second", RUNS, |_| {
        rate(|n| replay.run_anew(&bed.writes[n % bed.writes.len()]))
    });
    for (measure, at) in measured.iter().zip([1, 8, 32]) {
        ratio(&format!("HTTP at {at} to SQL alone"), measure, &inside);
    }
    let mut plain = Replay::plain(&copy.path().join("plain.db"));
    measure("one row and a commit, same settings", "a second", RUNS, |_| rate(|_| plain.insert_row()));
    let mut file = std::fs::File::create(copy.path().join("synced")).unwrap();
    std::io::Write::write_all(&mut file, &vec![0; 4096 * BLOCKS]).unwrap();
    file.sync_all().unwrap();
    measure("4 KiB written over and fdatasync, as in a log reused", "a second", RUNS, |_| {
        rate(|n| {
            std::os::unix::fs::FileExt::write_all_at(&file, &[1; 4096], (n % BLOCKS * 4096) as u64).unwrap();
            file.sync_data().unwrap();
        })
    });
}

/// What the counts by month add to a log: the same statements with and without those that
/// keep them, run in turn and rolled back.
fn counts_kept(bed: &Bed) {
    println!("\nWhat the counts by month add to a stage log, in process and rolled back");
    for (name, log) in [("the twentieth pour of a heat", &bed.pour), ("a breakout", &bed.breakout)] {
        let without = log.without_counts();
        let mut replay = Replay::open(&log.before);
        let mut each = |scripts: &[Heard]| timed(|| (0..10).for_each(|_| replay.run(scripts, "BEGIN", "ROLLBACK"))) / 10.0;
        let (mut with, mut less) = (Vec::new(), Vec::new());
        for n in 0..RUNS * 4 {
            // The first are warming up.
            let (a, b) = (each(&log.scripts), each(&without));
            if n >= RUNS {
                with.push(a);
                less.push(b);
            }
        }
        println!("{name}");
        let with = measure("all its statements", "ms", with.len(), |n| with[n]);
        let less = measure("without the counts", "ms", less.len(), |n| less[n]);
        ratio("with to without", &with, &less);
    }
}

fn report(castings: u32) {
    println!("\nLeak report over {castings} castings, one a shell, by recipe");
    let (data, token) = bed::poured(BINARY, castings);
    let mut replay = Replay::open(&data.join("pourbook.db"));
    let all = (bed::TABLES, bed::FACTS, bed::COUNTS, "of all time");
    let year = (bed::TABLES_OF_A_YEAR, bed::FACTS_OF_A_YEAR, bed::COUNTS_OF_A_YEAR, "of a year and an alloy");
    let mut over_tables = Vec::new();
    for (tables, facts, counts, what) in [all, year] {
        assert_eq!(replay.rows(facts), replay.rows(tables), "facts and tables must say the same");
        assert_eq!(replay.rows(counts), replay.rows(tables), "counts and tables must say the same");
        println!("{what}");
        let tables = measure("GROUP BY over the tables of the rooms", "ms", RUNS, |_| timed(|| drop(replay.rows(tables))));
        let facts = measure("GROUP BY over the facts", "ms", RUNS, |_| timed(|| drop(replay.rows(facts))));
        let counts = measure("GROUP BY over the counts by month", "ms", RUNS, |_| timed(|| drop(replay.rows(counts))));
        ratio("tables to facts", &tables, &facts);
        ratio("tables to counts by month", &tables, &counts);
        over_tables.push(tables);
    }
    let server = Server::start(BINARY, &data, &[]);
    let mut connection = Connection::open(&server.address, &token).unwrap();
    let mut get = |name, path: &str| {
        measure(name, "ms", RUNS, |_| timed(|| assert_eq!(connection.send("GET", path, None, None).unwrap().0, 200)))
    };
    let api = get("GET /v1/reports/leaks?by=recipe", "/v1/reports/leaks?by=recipe");
    ratio("GROUP BY over the tables to report over HTTP", &over_tables[0], &api);
    let path = "/v1/reports/leaks?by=recipe&alloy=C90300&from=2026-02-01T00:00:00Z&to=2027-02-01T00:00:00Z";
    let of_a_year = get("the same of a year and an alloy", path);
    ratio("GROUP BY over the tables of that to report over HTTP", &over_tables[1], &of_a_year);
    let not_whole = get("from a minute later, so by the facts", &path.replace("T00:00:00Z&to", "T00:01:00Z&to"));
    ratio("GROUP BY over the tables of that to report over HTTP", &over_tables[1], &not_whole);
    pages(&server, &data, &api);
}

/// Pages beside the report, which reads no page's frame and no session.
fn pages(server: &Server, data: &Path, api: &Measure) {
    let cookie = http::sign_in(BINARY, data, &server.address);
    for (name, path) in [
        ("page: where everything is", "/"),
        // By its id: the rows of a large book have no tags of their own.
        ("page: a route card", "/castings/00000000-0000-0000-0000-0000001eab8f"),
        ("page: dip", "/dip"),
        ("page: break out", "/breakout"),
        ("page: bench", "/bench"),
        ("page: heats", "/heats"),
        ("page: pour day", "/pour-day"),
        ("page: history", "/history"),
        ("page: leaks by recipe", "/reports/leaks?by=recipe"),
    ] {
        let page = measure(name, "ms", RUNS, |_| timed(|| assert!(http::page(&server.address, &cookie, path) > 1000)));
        ratio("page to report", &page, api);
    }
}

fn timed(one: impl FnOnce()) -> f64 {
    let begun = Instant::now();
    one();
    begun.elapsed().as_secs_f64() * 1000.0
}

fn main() {
    if std::env::args().any(|a| a == "--test" || a == "--list") {
        return;
    }
    // Numbers: only the report, over so many castings each.
    let sizes: Vec<u32> = std::env::args().filter_map(|a| a.parse().ok()).collect();
    if !sizes.is_empty() {
        sizes.into_iter().for_each(report);
        return;
    }
    let dir = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let bed = Bed::make(dir.path());
    println!("{RUNS} runs of {SECONDS} s each: median (least to most)");
    read_one(dir.path(), &bed);
    record_one(dir.path(), &bed);
    counts_kept(&bed);
    for castings in [10_000, 100_000] {
        report(castings);
    }
}
