//! What the benches run on: a shop with coated shells, the statements of one reading and of
//! one stage log as the driver heard them, and large books of poured castings.

use axum::body::{Body, to_bytes};
use axum::http::Request;
use pourbook::app;
use pourbook::book::token;
use pourbook::db::{Cell, Db, Heard, Options};
use pourbook::kernel::{Actor, Clock, Role};
use serde_json::{Value, json};
use sqlx::sqlite::{SqliteArguments, SqliteConnectOptions, SqliteJournalMode, SqliteSynchronous};
use sqlx::{Arguments as _, AssertSqlSafe, Connection as _, Executor as _, Row as _, SqliteConnection};
use std::path::{Path, PathBuf};
use tower::ServiceExt as _;

/// Shells that coats are recorded on, so that no story grows long.
const SHELLS: usize = 1500;

/// A small shop, and what the driver heard.
pub struct Bed {
    pub token: String,
    /// A casting with a whole route.
    pub casting: String,
    pub shells: Vec<String>,
    /// The scripts of `GET /v1/castings/{tag}`.
    pub read: Vec<Heard>,
    /// The scripts of one coat on each shell.
    pub writes: Vec<Log>,
    /// The book as it stood before the benches wrote.
    pub fresh: PathBuf,
    /// The last pour of a heat of twenty shells.
    pub pour: Again,
    /// A breakout of one of them.
    pub breakout: Again,
}

/// A stage log that was heard, and the book before it: in it, it may be run and rolled back.
pub struct Again {
    pub before: PathBuf,
    pub scripts: Vec<Heard>,
}

impl Again {
    /// The same without what keeps the counts by month.
    pub fn without_counts(&self) -> Vec<Heard> {
        let keeps = |part: &&str| {
            part.starts_with("UPDATE fact_due")
                || part.starts_with("INSERT INTO fact_month_count")
                || part.starts_with("DELETE FROM fact_month_count")
        };
        let mut left_out = 0;
        let mut without = |sql: &String| {
            let parts: Vec<&str> = sql.split(";\n").collect();
            left_out += parts.iter().filter(|p| keeps(p)).count();
            parts.into_iter().filter(|p| !keeps(p)).collect::<Vec<_>>().join(";\n")
        };
        let scripts = self.scripts.iter().map(|(sql, args)| (without(sql), args.clone())).collect();
        assert_eq!(left_out, 3, "three statements keep the counts, and have no values");
        scripts
    }
}

/// One stage log: its scripts, and what in them must be new each time.
pub struct Log {
    scripts: Vec<Heard>,
    seq: i64,
    n: i64,
    id: Vec<u8>,
    key: String,
}

struct Caller {
    service: axum::Router,
    token: String,
}

impl Caller {
    async fn call(&self, request: axum::http::request::Builder, body: Option<Value>) -> Value {
        let body = body.map_or_else(Body::empty, |b| Body::from(b.to_string()));
        let request = request
            .header("authorization", format!("Bearer {}", self.token))
            .header("content-type", "application/json")
            .body(body)
            .unwrap();
        let response = self.service.clone().oneshot(request).await.unwrap();
        let ok = response.status().is_success();
        let answer: Value = serde_json::from_slice(&to_bytes(response.into_body(), 1 << 22).await.unwrap()).unwrap();
        assert!(ok, "{answer}");
        answer
    }
    async fn post(&self, path: &str, body: Value) -> Value {
        self.call(Request::post(path), Some(body)).await
    }
}

fn text(value: &Value) -> String {
    value.as_str().unwrap().to_owned()
}

impl Bed {
    /// Makes the shop in a folder.
    pub fn make(dir: &Path) -> Self {
        let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
        runtime.block_on(Self::make_in(dir))
    }

    async fn make_in(dir: &Path) -> Self {
        let clock = Clock::system().unwrap();
        let db = Db::open(dir, Options::default(), clock.clone(), app::SETTLERS).await.unwrap();
        let secret = token::mint(&clock);
        let mut tx = db.write(Actor::new("Owner", Role::Owner)).await.unwrap();
        token::keep(&mut tx, &secret, "Owner", Role::Owner);
        tx.save(()).await.unwrap();
        let shop = Caller { service: app::service(&db), token: secret.clone() };
        let (castings, shells) = shells(&shop).await;
        route(&shop, &castings[0], &shells[0]).await;
        let casting = castings[0].clone();
        let get = |path: String| shop.call(Request::get(path), None);
        get(format!("/v1/castings/{casting}")).await;
        db.tally().listen();
        get(format!("/v1/castings/{casting}")).await;
        let read = db.tally().heard();
        let shells = shells[1..].to_vec();
        let mut writes = Vec::new();
        for (i, shell) in shells.iter().enumerate() {
            let key = format!("template-{i}");
            let request = Request::post(format!("/v1/shells/{shell}/coats")).header("idempotency-key", &key);
            db.tally().listen();
            let made =
                shop.call(request, Some(json!({"at": "2026-03-01T12:00:00Z", "kind": "backup", "slurry": "backup"}))).await;
            // The reading of the token came first, the reading of the answer last.
            let heard: Vec<Heard> = db.tally().heard().into_iter().collect();
            writes.push(log(heard, &text(&made["id"]), key));
        }
        let (pour, breakout) = pours(&shop, &db, dir, &castings[1400..1420], &shells[1399..1419]).await;
        db.close().await;
        let fresh = dir.join("fresh.copy");
        pourbook::db::backup_to(&dir.join("pourbook.db"), &fresh).await.unwrap();
        Self { token: secret, casting, shells, read, writes, fresh, pour, breakout }
    }
}

/// Picks the writing scripts out of what was heard, with the numbers dealt in them.
fn log(heard: Vec<Heard>, id: &str, key: String) -> Log {
    let begin = heard.iter().position(|(sql, _)| sql.starts_with("BEGIN IMMEDIATE")).unwrap();
    let end = heard.iter().position(|(sql, _)| sql.ends_with("RELEASE turn")).unwrap();
    let scripts: Vec<Heard> = heard[begin..=end].to_vec();
    let id = uuid::Uuid::parse_str(id).unwrap().as_bytes().to_vec();
    // The first values of the last script are those of the journal line: n, record_seq.
    let all: Vec<&Cell> =
        scripts.iter().filter(|(sql, _)| sql.contains("INSERT INTO journal")).flat_map(|(_, args)| args).collect();
    let (Cell::Int(n), Cell::Int(seq)) = (all[0], all[1]) else { unreachable!("a journal line begins with two numbers") };
    Log { seq: *seq, n: *n, id, key, scripts }
}

async fn shells(shop: &Caller) -> (Vec<String>, Vec<String>) {
    let recipe = json!({"name": "Standard", "at": "2026-01-01T00:00:00Z", "final_dry_hours": 24, "coats": [
        {"kind": "prime", "slurry": "prime", "dry_hours": 3}, {"kind": "backup", "slurry": "backup", "dry_hours": 6}]});
    let recipe = shop.post("/v1/recipes", recipe).await;
    let (mut castings, mut shells, mut path) = (Vec::new(), Vec::new(), String::new());
    for n in 0..=SHELLS {
        if n % 50 == 0 {
            let commission = shop.post("/v1/commissions", json!({"title": "Many"})).await;
            path = format!("/v1/commissions/{}/pieces", text(&commission["number"]));
        }
        let piece =
            json!({"pattern": {"name": "Heron", "material": "wax_casting", "mass_kg": 1.2, "section_mm": 5}, "alloy": "C87300"});
        let tag = text(&shop.post(&path, piece).await["castings"][0]["tag"]);
        let shell = json!({"recipe_id": recipe["id"], "casting_ids": [tag], "gating_kg": 0.5, "at": "2026-03-01T10:00:00Z"});
        shells.push(text(&shop.post("/v1/shells", shell).await["tag"]));
        castings.push(tag);
    }
    (castings, shells)
}

/// Takes one casting through its route.
async fn route(shop: &Caller, casting: &str, shell: &str) {
    for (hour, kind) in [(11, "prime"), (15, "backup"), (20, "backup")] {
        let coat = json!({"at": format!("2026-03-01T{hour}:00:00Z"), "kind": kind, "slurry": kind});
        shop.post(&format!("/v1/shells/{shell}/coats"), coat).await;
    }
    let load =
        json!({"kiln": "Big", "at": "2026-03-03T12:00:00Z", "peak_c": 870, "shells": [{"shell_id": shell, "result": "sound"}]});
    shop.post("/v1/burnouts", load).await;
    let lot = json!({"alloy": "C87300", "kind": "ingot", "mass_kg": 100, "cost_minor": 90000, "at": "2026-01-05T10:00:00Z"});
    let lot = shop.post("/v1/metal-lots", lot).await;
    let heat = json!({"alloy": "C87300", "furnace": "Gas", "crucible": "No 30", "at": "2026-03-04T08:00:00Z",
        "charge": [{"lot_id": lot["id"], "mass_kg": 18}]});
    let heat = text(&shop.post("/v1/heats", heat).await["number"]);
    let pour = json!({"shell_id": shell, "at": "2026-03-04T09:10:00Z", "support": "open_rack", "filled": "full", "poured_kg": 15.4,
        "leaks": [{"where": "gate", "response": "froze_off", "lost_kg": 0.2}]});
    shop.post(&format!("/v1/heats/{heat}/pours"), pour).await;
    let close = json!({"at": "2026-03-04T09:30:00Z", "pigged_kg": 2.3, "dross_kg": 0.2});
    shop.post(&format!("/v1/heats/{heat}/closings"), close).await;
    let opened = json!({"casting_id": casting, "at": "2026-03-05T09:30:00Z", "verdict": "accepted", "gross_kg": 15.2, "net_kg": 11.0,
        "returned_kg": 4.1});
    shop.post("/v1/breakouts", opened).await;
}

/// Pours shells from one heat and opens the first; answers the last pour and the breakout.
async fn pours(shop: &Caller, db: &Db, dir: &Path, castings: &[String], shells: &[String]) -> (Again, Again) {
    let loaded: Vec<Value> = shells.iter().map(|shell| json!({"shell_id": shell, "result": "sound"})).collect();
    shop.post("/v1/burnouts", json!({"kiln": "Big", "at": "2026-03-03T14:00:00Z", "peak_c": 870, "shells": loaded})).await;
    let lot = json!({"alloy": "C87300", "kind": "ingot", "mass_kg": 900, "cost_minor": 900_000, "at": "2026-01-05T10:00:00Z"});
    let lot = shop.post("/v1/metal-lots", lot).await;
    let heat = json!({"alloy": "C87300", "furnace": "Gas", "crucible": "No 400", "at": "2026-03-05T08:00:00Z",
        "charge": [{"lot_id": lot["id"], "mass_kg": 400}]});
    let path = format!("/v1/heats/{}/pours", text(&shop.post("/v1/heats", heat).await["number"]));
    let mut heard = None;
    for (n, shell) in shells.iter().enumerate() {
        let pour = json!({"shell_id": shell, "at": format!("2026-03-05T09:{}:00Z", 10 + n), "support": "open_rack", "filled": "full",
            "poured_kg": 15.4});
        if n + 1 == shells.len() {
            heard = Some(again(shop, db, &dir.join("pour.copy"), &path, pour).await);
        } else {
            shop.post(&path, pour).await;
        }
    }
    let opened = json!({"casting_id": castings[0], "at": "2026-03-06T09:30:00Z", "verdict": "accepted", "gross_kg": 15.2});
    let breakout = again(shop, db, &dir.join("breakout.copy"), "/v1/breakouts", opened).await;
    (heard.unwrap(), breakout)
}

/// Records something once the book is copied, and hears it.
async fn again(shop: &Caller, db: &Db, before: &Path, path: &str, body: Value) -> Again {
    pourbook::db::backup_to(&before.with_file_name("pourbook.db"), before).await.unwrap();
    db.tally().listen();
    shop.post(path, body).await;
    let heard = db.tally().heard();
    let begin = heard.iter().position(|(sql, _)| sql.starts_with("BEGIN IMMEDIATE")).unwrap();
    let end = heard.iter().position(|(sql, _)| sql.ends_with("RELEASE turn")).unwrap();
    let mut scripts = heard[begin..=end].to_vec();
    // Whoever runs them begins and ends.
    scripts[0].0 = scripts[0].0.replacen("BEGIN IMMEDIATE;\n", "", 1);
    Again { before: before.to_owned(), scripts }
}

/// The same driver with the same settings, and nothing of the server.
pub struct Replay {
    runtime: tokio::runtime::Runtime,
    conn: SqliteConnection,
    times: i64,
}

impl Replay {
    /// Opens a book.
    pub fn open(file: &Path) -> Self {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        let options = SqliteConnectOptions::new()
            .filename(file)
            .create_if_missing(true)
            .journal_mode(SqliteJournalMode::Wal)
            .synchronous(SqliteSynchronous::Full)
            .foreign_keys(true)
            .statement_cache_capacity(400);
        let options = sqlx::ConnectOptions::disable_statement_logging(options);
        let conn = runtime.block_on(SqliteConnection::connect_with(&options)).unwrap();
        Self { runtime, conn, times: 0 }
    }

    /// Opens an empty file with one plain table.
    pub fn plain(file: &Path) -> Self {
        let mut this = Self::open(file);
        this.runtime.block_on(this.conn.execute("CREATE TABLE plain (n INTEGER PRIMARY KEY, text TEXT)")).unwrap();
        this
    }

    /// One row, one commit.
    pub fn insert_row(&mut self) {
        self.runtime.block_on(self.conn.execute(sqlx::query("INSERT INTO plain (text) VALUES (?)").bind("a row"))).unwrap();
    }

    /// Runs scripts between two statements.
    pub fn run(&mut self, scripts: &[Heard], before: &'static str, after: &'static str) {
        self.runtime.block_on(async {
            self.conn.execute(before).await.unwrap();
            for (sql, args) in scripts {
                let query = sqlx::query_with(AssertSqlSafe(sql.clone()), bound(args.iter().cloned()));
                self.conn.fetch_all(query).await.unwrap();
            }
            self.conn.execute(after).await.unwrap();
        });
    }

    /// Runs a stage log as a new one: new numbers, a new id, a new key. It opens its own
    /// transaction.
    pub fn run_anew(&mut self, log: &Log) {
        self.times += 1;
        let ahead = 1_000_000 + self.times;
        let mut id = log.id.clone();
        id[8..].copy_from_slice(&ahead.to_be_bytes());
        let anew = |cell: &Cell| match cell {
            Cell::Int(v) if *v == log.seq => Cell::Int(ahead),
            Cell::Int(v) if *v == log.n => Cell::Int(ahead),
            Cell::Blob(b) if *b == log.id => Cell::Blob(id.clone()),
            Cell::Text(t) if *t == log.key => Cell::Text(format!("anew-{ahead}")),
            other => other.clone(),
        };
        self.runtime.block_on(async {
            for (sql, args) in &log.scripts {
                let query = sqlx::query_with(AssertSqlSafe(sql.clone()), bound(args.iter().map(anew)));
                self.conn.fetch_all(query).await.unwrap();
            }
            self.conn.execute("COMMIT").await.unwrap();
        });
    }

    /// The rows of a query of whole numbers.
    pub fn rows(&mut self, sql: &'static str) -> Vec<Vec<i64>> {
        let rows = self.runtime.block_on(self.conn.fetch_all(sql)).unwrap();
        rows.iter().map(|row| (0..row.len()).map(|i| row.get(i)).collect()).collect()
    }
}

fn bound(cells: impl Iterator<Item = Cell>) -> SqliteArguments {
    let mut out = SqliteArguments::default();
    for cell in cells {
        match cell {
            Cell::Null => out.add(None::<i64>),
            Cell::Int(v) => out.add(v),
            Cell::Real(v) => out.add(v),
            Cell::Text(v) => out.add(v),
            Cell::Blob(v) => out.add(v),
        }
        .unwrap();
    }
    out
}

/// Shells poured and leaked by recipe, from the facts.
pub const FACTS: &str = "SELECT recipe_seq, count(*), sum(leaked), sum(lost_mg) FROM fact_shell WHERE poured = 1 GROUP BY recipe_seq ORDER BY recipe_seq";
/// The same from the tables of the rooms.
pub const TABLES: &str = "SELECT s.recipe_seq, count(*), sum(x.leaks > 0), sum(x.lost) FROM \
    (SELECT p.shell_seq AS shell, count(l.seq) AS leaks, coalesce(sum(l.lost_mg), 0) AS lost \
     FROM pour p JOIN record r ON r.seq = p.seq AND r.void_ms IS NULL \
     LEFT JOIN (leak l JOIN record q ON q.seq = l.seq AND q.void_ms IS NULL) ON l.pour_seq = p.seq GROUP BY p.shell_seq) x \
    JOIN shell s ON s.seq = x.shell JOIN record o ON o.seq = s.seq AND o.void_ms IS NULL GROUP BY s.recipe_seq ORDER BY s.recipe_seq";

/// Shells poured and leaked by recipe, from the counts by month, as the report asks them.
pub const COUNTS: &str = "SELECT CAST(nullif(c.level, '') AS INTEGER), sum(c.poured), sum(c.leaked), sum(c.lost_mg) FROM fact_month m \
    CROSS JOIN fact_month_count c ON c.month_ms = m.begin_ms AND c.factor = 'recipe' \
    WHERE m.begin_ms >= (SELECT min(month_ms) FROM fact_month_count) AND m.begin_ms <= (SELECT max(month_ms) FROM fact_month_count) \
    GROUP BY nullif(c.level, '')";
/// Of a year (2026-02 to 2027-01, UTC) and an alloy only: from the counts, the facts and the tables.
pub const COUNTS_OF_A_YEAR: &str = "SELECT CAST(nullif(c.level, '') AS INTEGER), sum(c.poured), sum(c.leaked), sum(c.lost_mg) \
    FROM fact_month m CROSS JOIN fact_month_count c ON c.month_ms = m.begin_ms AND c.factor = 'recipe' AND c.alloy = 'C90300' \
    WHERE m.begin_ms >= 1769904000000 AND m.begin_ms < 1801440000000 GROUP BY nullif(c.level, '')";
pub const FACTS_OF_A_YEAR: &str = "SELECT recipe_seq, count(*), sum(leaked), sum(lost_mg) FROM fact_shell WHERE poured = 1 AND alloy = 'C90300' \
    AND at_ms >= 1769904000000 AND at_ms < 1801440000000 GROUP BY recipe_seq ORDER BY recipe_seq";
pub const TABLES_OF_A_YEAR: &str = "SELECT s.recipe_seq, count(*), sum(x.leaks > 0), sum(x.lost) FROM \
    (SELECT p.shell_seq AS shell, count(l.seq) AS leaks, coalesce(sum(l.lost_mg), 0) AS lost \
     FROM pour p JOIN record r ON r.seq = p.seq AND r.void_ms IS NULL AND r.at_ms >= 1769904000000 AND r.at_ms < 1801440000000 \
     JOIN heat h ON h.seq = p.heat_seq AND h.alloy = 'C90300' \
     LEFT JOIN (leak l JOIN record q ON q.seq = l.seq AND q.void_ms IS NULL) ON l.pour_seq = p.seq GROUP BY p.shell_seq) x \
    JOIN shell s ON s.seq = x.shell JOIN record o ON o.seq = s.seq AND o.void_ms IS NULL GROUP BY s.recipe_seq ORDER BY s.recipe_seq";

/// Rows of a large book, written straight into its tables: `:n` castings, one a shell, one
/// pour each, thirty to a heat, eight recipes, every eleventh shell leaking. Only what leak
/// reports read; record numbers are 1 to 100 for the shop, then heats, castings, shells,
/// pours and leaks in blocks of a million.
const POURED: &[&str] = &[
    "CREATE TEMP TABLE k AS WITH RECURSIVE k(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM k WHERE i + 1 < (SELECT n FROM many)) SELECT i FROM k",
    "CREATE TEMP TABLE made (seq INTEGER PRIMARY KEY, kind TEXT, at_ms INTEGER)",
    "INSERT INTO made SELECT 1, 'commission', 1767225600000 UNION ALL SELECT 2, 'pattern', 1767225600000 UNION ALL SELECT 3, 'piece', 1767225600000 UNION ALL SELECT 4, 'furnace', 1767225600000",
    "INSERT INTO made SELECT 10 + i, 'recipe', 1767225600000 FROM k WHERE i < 8",
    "INSERT INTO made SELECT 20 + i, 'recipe_version', 1767225600000 FROM k WHERE i < 8",
    "INSERT INTO made SELECT 1000000 + i / 30, 'heat', 1767225600000 + 600000 * min(i) FROM k GROUP BY i / 30",
    "INSERT INTO made SELECT 2000000 + i, 'casting', 1767225600000 + 600000 * i FROM k",
    "INSERT INTO made SELECT 3000000 + i, 'shell', 1767225600000 + 600000 * i FROM k",
    "INSERT INTO made SELECT 4000000 + i, 'pour', 1767225600000 + 600000 * i FROM k",
    "INSERT INTO made SELECT 5000000 + i, 'leak', 1767225600000 + 600000 * i FROM k WHERE i % 11 = 0",
    "INSERT INTO journal (n, record_seq, at_ms, by, action, version, body, salt, digest, hash) SELECT seq, seq, at_ms, 'bench', 'create', 1, '{}', x'00', zeroblob(32), zeroblob(32) FROM made",
    "INSERT INTO record (seq, id, kind, at_ms, at_precision, recorded_ms, by, version, journal_n, act_n) SELECT seq, unhex(printf('%032x', seq)), kind, at_ms, 'minute', at_ms, 'bench', 1, seq, seq FROM made",
    "INSERT INTO thing (seq, kind, name) VALUES (4, 'furnace', 'Gas')",
    "INSERT INTO commission (seq, number, title) VALUES (1, '26-001', 'Many')",
    "INSERT INTO pattern (seq, name, material, kind, mass_mg, section_mm) VALUES (2, 'Heron', 'wax_casting', 'file', 1200000, 5)",
    "INSERT INTO piece (seq, commission_seq, pattern_seq, alloy) VALUES (3, 1, 2, 'C87300')",
    "INSERT INTO recipe SELECT 10 + i, 'Recipe ' || i FROM k WHERE i < 8",
    "INSERT INTO recipe_version SELECT 20 + i, 10 + i, 1 FROM k WHERE i < 8",
    "INSERT INTO heat (seq, number, alloy, furnace_seq) SELECT DISTINCT 1000000 + i / 30, 'H' || (i / 30), CASE i / 30 % 3 WHEN 0 THEN 'C90300' ELSE 'C87300' END, 4 FROM k",
    "INSERT INTO casting (seq, tag, piece_seq, commission_seq, pattern_seq, part, part_n, attempt, alloy, pattern_kind, material, section_mm, stage, shell_seq) SELECT 2000000 + i, 'c' || i, 3, 1, 2, 'whole', 0, 1, 'C87300', 'file', 'wax_casting', 5, CASE WHEN i % 200 = 0 THEN 'pour' ELSE 'delivered' END, 3000000 + i FROM k",
    "INSERT INTO shell (seq, tag, recipe_seq, recipe_version_seq, gating_material) SELECT 3000000 + i, 's' || i, 10 + i % 8, 20 + i % 8, 'wax_casting' FROM k",
    "INSERT INTO shell_casting SELECT 3000000 + i, 2000000 + i FROM k",
    "INSERT INTO bearing SELECT 2000000 + i, 3000000 + i FROM k UNION ALL SELECT 3000000 + i, 4000000 + i FROM k",
    "INSERT INTO pour (seq, heat_seq, shell_seq, filled, support, poured_mg) SELECT 4000000 + i, 1000000 + i / 30, 3000000 + i, 'full', 'open_rack', 12000000 FROM k",
    "INSERT INTO leak (seq, pour_seq, place, lost_mg) SELECT 5000000 + i, 4000000 + i, 'gate', 200000 FROM k WHERE i % 11 = 0",
    "INSERT INTO fact_shell (shell_seq, at_ms, poured, leaked, short, lost_mg, alloy, heat_seq, furnace_seq, recipe_seq, recipe_version_seq, support, patched, shell_clean) SELECT 3000000 + i, 1767225600000 + 600000 * i, 1, i % 11 = 0, 0, (i % 11 = 0) * 200000, CASE i / 30 % 3 WHEN 0 THEN 'C90300' ELSE 'C87300' END, 1000000 + i / 30, 4, 10 + i % 8, 20 + i % 8, 'open_rack', 0, 1 FROM k",
    "INSERT INTO fact_casting (casting_seq, shell_seq, at_ms, poured, alloy, commission_seq, pattern_seq, material, section_mm, attempt, opened, judged, good, shell_clean, pour_clean) SELECT 2000000 + i, 3000000 + i, 1767225600000 + 600000 * i, 1, CASE i / 30 % 3 WHEN 0 THEN 'C90300' ELSE 'C87300' END, 1, 2, 'wax_casting', 5, 1, 0, 0, 0, 1, i % 11 <> 0 FROM k",
    "INSERT INTO fact_month_count (month_ms, factor, alloy, level, poured, leaked, short, lost_mg) \
     SELECT unixepoch(f.at_ms / 1000, 'unixepoch', 'start of month') * 1000, k.column1, f.alloy, CASE k.column1 WHEN 'alloy' THEN f.alloy \
       WHEN 'recipe' THEN f.recipe_seq WHEN 'recipe_version' THEN f.recipe_version_seq WHEN 'support' THEN f.support \
       WHEN 'furnace' THEN f.furnace_seq WHEN 'patched' THEN f.patched ELSE '' END, count(*), sum(f.leaked), sum(f.short), sum(f.lost_mg) \
     FROM fact_shell f CROSS JOIN (VALUES ('alloy'), ('recipe'), ('recipe_version'), ('support'), ('furnace'), ('crucible'), ('pattern'), \
       ('pattern_material'), ('coats'), ('fed'), ('core'), ('place_in_heat'), ('patched')) k GROUP BY 1, 2, 3, 4",
    "ANALYZE",
];

/// A book of so many poured castings, kept in `target/` from one bench to the next.
pub fn poured(binary: &str, castings: u32) -> (PathBuf, String) {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("target/bench-poured-{castings}"));
    let (done, kept) = (dir.join("done"), dir.join("token"));
    // A book of another schema is made anew.
    let schema = include_str!("../migrations/HASHES");
    if std::fs::read_to_string(&done).is_ok_and(|made| made == schema) {
        return (dir.clone(), std::fs::read_to_string(kept).unwrap());
    }
    if dir.exists() {
        std::fs::remove_dir_all(&dir).unwrap();
    }
    std::fs::create_dir_all(&dir).unwrap();
    let token = crate::http::token(binary, &dir);
    let mut replay = Replay::open(&dir.join("pourbook.db"));
    replay.runtime.block_on(async {
        let conn = &mut replay.conn;
        conn.execute("CREATE TEMP TABLE many (n INTEGER)").await.unwrap();
        sqlx::query("INSERT INTO many VALUES (?)").bind(castings).execute(&mut *conn).await.unwrap();
        conn.execute("BEGIN IMMEDIATE").await.unwrap();
        for sql in POURED {
            conn.execute(*sql).await.unwrap();
        }
        conn.execute("COMMIT").await.unwrap();
    });
    std::fs::write(&kept, &token).unwrap();
    std::fs::write(&done, schema).unwrap();
    (dir, token)
}
