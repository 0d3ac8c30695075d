//! The book's movements against an account of docs/ledger.md that shares no line with it
//! (`tests/reference/outside_ledger.py`), on demonstration shops of two seeds: record by
//! record, account by account, heat by heat. Leaving a movement out must be seen. And what
//! docs/demo.md says of the shown shop.
#![cfg(test)]

#[path = "outside/costs.rs"]
mod costs;
#[path = "outside/counts.rs"]
mod counts;
#[path = "outside/random.rs"]
#[expect(clippy::cast_possible_truncation, reason = "grams of a small shop")]
mod random;
#[path = "outside/shows.rs"]
mod shows;

use pourbook::app;
use pourbook::db::{Db, Options, Read as _, ReadTx};
use pourbook::demo;
use pourbook::kernel::Clock;
use pourbook::science::ledger::Account;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

/// Mass in mg and value in minor units that a record moves from one account to another.
type Moved = BTreeMap<(String, String, String), (i64, i64)>;
/// What accounts hold.
type Held = BTreeMap<String, (i64, i64)>;

async fn ids(read: &mut ReadTx) -> BTreeMap<i64, String> {
    let rows = read.fetch("SELECT seq, id FROM record", vec![]).await.unwrap();
    rows.iter().map(|row| (row.int(0).unwrap(), row.uuid(1).unwrap().to_string())).collect()
}

/// The live records as the outside account takes them.
async fn dump(read: &mut ReadTx, ids: &BTreeMap<i64, String>) -> Value {
    let rows = read
        .fetch(
            "SELECT r.seq, r.kind, r.at_ms, j.body, (SELECT h.key FROM handle h WHERE h.record_seq = r.seq AND h.space = 'tag') \
             FROM record r JOIN journal j ON j.n = r.journal_n WHERE r.void_ms IS NULL",
            vec![],
        )
        .await
        .unwrap();
    let mut records = Vec::new();
    for row in rows {
        let mut body: Map<String, Value> = serde_json::from_str(&row.text(3).unwrap()).unwrap();
        if let Some(tag) = row.opt_text(4).unwrap() {
            body.insert("tag".into(), tag.into());
        }
        let seq = row.int(0).unwrap();
        records
            .push(json!({"seq": seq, "id": ids[&seq], "kind": row.text(1).unwrap(), "at_ms": row.int(2).unwrap(), "body": body}));
    }
    let mut estimates: BTreeMap<String, Value> = BTreeMap::new();
    for row in read.fetch("SELECT shell_seq, gating_mg FROM ledger_shell", vec![]).await.unwrap() {
        estimates.insert(ids[&row.int(0).unwrap()].clone(), json!({"gating_mg": row.int(1).unwrap(), "castings": {}}));
    }
    for row in read.fetch("SELECT shell_seq, casting_seq, estimate_mg FROM ledger_casting", vec![]).await.unwrap() {
        let shell = estimates.get_mut(&ids[&row.int(0).unwrap()]).unwrap();
        shell["castings"][&ids[&row.int(1).unwrap()]] = row.int(2).unwrap().into();
    }
    json!({"records": records, "estimates": estimates})
}

fn outside(document: &Path, more: &[&str]) -> Value {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/outside_ledger.py");
    let run = Command::new("python3").arg(script).arg(document).args(more).output().unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    serde_json::from_slice(&run.stdout).unwrap()
}

fn text(value: &Value) -> String {
    value.as_str().unwrap().to_owned()
}

fn moved_outside(book: &Value) -> Moved {
    let mut out = Moved::new();
    for m in book["movements"].as_array().unwrap() {
        let sum = out.entry((text(&m["source"]), text(&m["from"]), text(&m["to"]))).or_default();
        sum.0 += m["mass_mg"].as_i64().unwrap();
        sum.1 += m["value_minor"].as_i64().unwrap();
    }
    out.retain(|_, moved| *moved != (0, 0));
    out
}

fn name(ids: &BTreeMap<i64, String>, kind: i64, seq: i64) -> String {
    let account = Account::from_code(u8::try_from(kind).unwrap(), (kind <= 4).then_some(seq)).unwrap();
    let known = || ids.get(&seq).unwrap_or_else(|| panic!("{account:?} is no record"));
    if kind <= 4 { format!("{}:{}", account.name(), known()) } else { account.name().to_owned() }
}

async fn moved_here(read: &mut ReadTx, ids: &BTreeMap<i64, String>) -> Moved {
    let sql = "SELECT source_seq, from_kind, from_seq, to_kind, to_seq, sum(mass_mg), sum(value_minor) FROM movement GROUP BY 1, 2, 3, 4, 5";
    let rows = read.fetch(sql, vec![]).await.unwrap();
    let mut out = Moved::new();
    for row in rows {
        let int = |i| row.int(i).unwrap();
        let key = (ids[&int(0)].clone(), name(ids, int(1), int(2)), name(ids, int(3), int(4)));
        out.insert(key, (int(5), int(6)));
    }
    out.retain(|_, moved| *moved != (0, 0));
    out
}

async fn held_here(read: &mut ReadTx, ids: &BTreeMap<i64, String>) -> Held {
    let rows = read.fetch("SELECT kind, seq, mass_mg, value_minor FROM account", vec![]).await.unwrap();
    let mut out = Held::new();
    for row in rows {
        let int = |i| row.int(i).unwrap();
        out.insert(name(ids, int(0), int(1)), (int(2), int(3)));
    }
    out.retain(|_, held| *held != (0, 0));
    out
}

fn held_outside(book: &Value) -> Held {
    let balances = book["balances"].as_object().unwrap();
    let held = |b: &Value| (b["mass_mg"].as_i64().unwrap(), b["value_minor"].as_i64().unwrap());
    balances.iter().map(|(account, b)| (account.clone(), held(b))).filter(|(_, held)| *held != (0, 0)).collect()
}

/// What stands in one and not, or otherwise, in the other.
fn differences<K: Ord + std::fmt::Debug>(here: &BTreeMap<K, (i64, i64)>, there: &BTreeMap<K, (i64, i64)>) -> Vec<String> {
    let mut out: Vec<String> = here
        .iter()
        .filter(|(k, v)| there.get(k) != Some(v))
        .map(|(k, v)| format!("here {k:?} {v:?}, there {:?}", there.get(k)))
        .collect();
    out.extend(there.iter().filter(|(k, _)| !here.contains_key(k)).map(|(k, v)| format!("only there {k:?} {v:?}")));
    out
}

/// The figures of live heats, and the values that rest on castings, as lines to compare.
async fn figures_here(read: &mut ReadTx, ids: &BTreeMap<i64, String>) -> BTreeMap<String, String> {
    let sql = "SELECT h.heat_seq, json_array(h.charged_mg, h.poured_mg, h.pigged_mg, h.dross_mg, h.spilled_mg, h.heel_mg, \
               h.unexplained_mg, h.by_difference, h.closed) FROM ledger_heat h JOIN record r ON r.seq = h.heat_seq AND r.void_ms IS NULL \
               UNION ALL SELECT c.casting_seq, CAST(c.resting_minor AS TEXT) FROM ledger_casting c \
               JOIN record r ON r.seq = c.shell_seq AND r.void_ms IS NULL";
    let rows = read.fetch(sql, vec![]).await.unwrap();
    rows.iter().map(|row| (ids[&row.int(0).unwrap()].clone(), row.text(1).unwrap())).collect()
}

fn figures_outside(book: &Value) -> BTreeMap<String, String> {
    const NAMES: [&str; 9] = [
        "charged_mg",
        "poured_mg",
        "pigged_mg",
        "dross_mg",
        "spilled_mg",
        "heel_mg",
        "unexplained_mg",
        "closed_by_difference",
        "closed",
    ];
    let number = |v: &Value| v.as_i64().unwrap_or_else(|| i64::from(v.as_bool().unwrap()));
    let heat = |h: &Value| Value::from(NAMES.iter().map(|name| number(&h[*name])).collect::<Vec<_>>()).to_string();
    let heats = book["heats"].as_object().unwrap().iter().map(|(id, h)| (id.clone(), heat(h)));
    let castings = book["castings"].as_object().unwrap().iter();
    heats.chain(castings.map(|(id, c)| (id.clone(), c["resting_value_minor"].to_string()))).collect()
}

/// What differs between the book and the outside account of its records, and what moved.
async fn look(db: &Db, document: &Path) -> (Vec<String>, Moved, Held) {
    let mut read = db.read().await.unwrap();
    let ids = ids(&mut read).await;
    std::fs::write(document, dump(&mut read, &ids).await.to_string()).unwrap();
    let (moved, held) = (moved_here(&mut read, &ids).await, held_here(&mut read, &ids).await);
    let book = outside(document, &[]);
    let mut found = differences(&moved, &moved_outside(&book));
    found.extend(differences(&held, &held_outside(&book)));
    let (here, there) = (figures_here(&mut read, &ids).await, figures_outside(&book));
    let other = here.iter().filter(|(id, figures)| there.get(*id) != Some(figures));
    found.extend(other.map(|(id, figures)| format!("{id}: here {figures}, there {:?}", there.get(id))));
    (found, moved, held)
}

/// The comparison can fail: a movement that is left out is seen.
fn missed(document: &Path, moved: &Moved, n: usize) {
    let without = outside(document, &["--drop", &n.to_string()]);
    assert!(!differences(moved, &moved_outside(&without)).is_empty(), "movement {n} is not missed");
}

fn said(found: &[String]) -> String {
    format!("{} differ:\n{}", found.len(), found[..found.len().min(20)].join("\n"))
}

/// What there must be in a demonstration shop, and how much of it at least.
const SHOWN: &[(&str, &str, i64)] = &[
    ("castings", "SELECT count(*) FROM casting", 500),
    ("alloys", "SELECT count(DISTINCT alloy) FROM casting", 3),
    ("recipes", "SELECT count(DISTINCT recipe_seq) FROM shell", 3),
    ("versions of recipes", "SELECT count(*) FROM recipe_version", 4),
    ("trees", "SELECT count(*) FROM (SELECT shell_seq FROM casting GROUP BY 1 HAVING count(*) > 1)", 50),
    ("recasts", "SELECT count(*) FROM recast", 40),
    ("unique pieces made again", "SELECT count(*) FROM practice_flag WHERE code = 'pattern_is_unique'", 1),
    (
        "unique pieces lost",
        "SELECT count(*) FROM casting c WHERE c.pattern_kind = 'unique' AND c.stage = 'scrapped' AND NOT EXISTS \
           (SELECT 1 FROM casting n WHERE n.piece_seq = c.piece_seq AND n.part_n = c.part_n AND n.attempt > c.attempt)",
        1,
    ),
    ("patched shells", "SELECT count(DISTINCT shell_seq) FROM patch", 20),
    ("leaks", "SELECT count(*) FROM leak", 20),
    ("findings", "SELECT count(DISTINCT code) FROM finding", 4),
    ("unweighed pours", "SELECT count(*) FROM pour WHERE poured_mg IS NULL", 20),
    ("bins that held more than the book", "SELECT count(*) FROM practice_flag WHERE code = 'lot_short'", 1),
    ("pools", "SELECT count(*) FROM metal_lot WHERE kind = 'returns'", 3),
    ("corrections", "SELECT count(*) FROM journal WHERE action = 'correct'", 10),
    ("voids", "SELECT count(*) FROM journal WHERE action = 'void'", 10),
    ("pairs of a trial", "SELECT count(*) FROM trial_pair", 15),
    ("quotes", "SELECT count(*) FROM quote", 6),
    ("quotes that became jobs", "SELECT count(*) FROM quote_step WHERE commission_seq IS NOT NULL", 2),
    (
        "pieces of the edition that was quoted",
        "SELECT count(*) FROM link l JOIN quote_step t ON t.commission_seq = l.target_seq \
       JOIN record p ON p.seq = l.record_seq AND p.kind = 'piece' WHERE l.member = 'commission_id'",
        11,
    ),
    ("void pairs", "SELECT count(*) FROM trial_pair p JOIN record r ON r.seq = p.seq WHERE r.void_ms IS NOT NULL", 1),
    (
        "shells poured otherwise than the coin said",
        "SELECT count(*) FROM trial_pair p JOIN fact_shell f ON f.shell_seq IN (p.first_seq, p.second_seq) WHERE f.support = 'half_buried' AND p.n = 7",
        1,
    ),
    ("stages with open work", "SELECT count(DISTINCT stage) FROM casting WHERE stage NOT IN ('delivered', 'scrapped')", 8),
];

async fn compare(seed: u64) {
    let dir = tempfile::tempdir().unwrap();
    // What goes over more than a few hundred movements is worked out on a snapshot.
    let options = Options { most_in_turn: 300, ..Options::default() };
    let db = Db::open(dir.path(), options, demo::clock(seed), app::SETTLERS).await.unwrap();
    let told = demo::fill(&db, seed, &Clock::system().unwrap()).await.unwrap();
    let document = dir.path().join("records.json");
    let (found, moved, held) = look(&db, &document).await;
    assert!(moved.len() > 1000, "{}", moved.len());
    assert!(found.is_empty(), "seed {seed}: {}", said(&found));
    assert_eq!(held["unexplained"].0, told.unexplained_mg, "what the generator let go unexplained");
    for n in [1, 500, 1000] {
        missed(&document, &moved, n);
    }
    let mut read = db.read().await.unwrap();
    for (what, sql, least) in SHOWN {
        let n = read.fetch_one(sql, vec![]).await.unwrap().unwrap().int(0).unwrap();
        assert!(n >= *least, "seed {seed}: {n} {what}");
    }
    drop(read);
    costs::add_up(&db).await;
    let compared = counts::both_ways(&db).await;
    assert!(compared > 2000, "{compared} levels of leaks and shorts");
    if seed == demo::SEED {
        shows::the_bad_spell(&db).await;
        shows::corrections(&db, &document).await;
    }
    assert_eq!(app::rebuild::run(&db).await.unwrap(), Vec::<String>::new());
    db.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_demonstration_shop_is_the_outside_accounts_to_the_milligram_and_the_cent() {
    compare(demo::SEED).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn so_is_a_shop_of_another_seed() {
    compare(7).await;
}

/// What random shops must have done.
const DONE: [&str; 37] = [
    "another crucible at one lighting",
    "blank pour",
    "breakout",
    "cascade",
    "charge",
    "client's metal poured",
    "closed again",
    "closing",
    "correction",
    "correction in words",
    "count",
    "cut-off",
    "delivery",
    "deoxidiser",
    "dry run",
    "finish",
    "gain at a closing",
    "heat",
    "heel",
    "judged again",
    "kept given back",
    "opened again",
    "out",
    "pour",
    "receipt",
    "rod from a lot",
    "rod from outside",
    "scrap",
    "scrap price",
    "second heat",
    "second stream",
    "shell",
    "transfer",
    "tree",
    "void",
    "wax",
    "work",
];

/// What must hold after every movement instant: nothing comes from nowhere, sinks hold no
/// value, and lots, castings and closed heats hold no negative mass. (An open heat may, and a
/// shell within the scale's tolerance until it is complete.)
async fn every_instant(read: &mut ReadTx, ids: &BTreeMap<i64, String>) {
    let sql = "SELECT at_ms, order_seq, from_kind, from_seq, to_kind, to_seq, mass_mg, value_minor FROM movement ORDER BY 1, 2";
    let rows = read.fetch(sql, vec![]).await.unwrap();
    let closings = "SELECT e.heat_seq, r.at_ms, r.seq FROM ledger_line e JOIN record r ON r.seq = e.record_seq AND r.void_ms IS NULL \
                    WHERE e.event = 'closing'";
    let closed = read.fetch(closings, vec![]).await.unwrap();
    let closed: BTreeMap<String, (i64, i64)> =
        closed.iter().map(|row| (name(ids, 2, row.int(0).unwrap()), (row.int(1).unwrap(), row.int(2).unwrap()))).collect();
    let mut held = Held::new();
    for (i, row) in rows.iter().enumerate() {
        let int = |n| row.int(n).unwrap();
        for (kind, seq, sign) in [(int(2), int(3), -1), (int(4), int(5), 1)] {
            let holds = held.entry(name(ids, kind, seq)).or_default();
            *holds = (holds.0 + sign * int(6), holds.1 + sign * int(7));
        }
        assert!(int(6) >= 0, "a movement of less than nothing");
        let last = rows.get(i + 1).is_none_or(|next| (next.int(0).unwrap(), next.int(1).unwrap()) != (int(0), int(1)));
        if !last {
            continue;
        }
        let (mut mass, mut value) = (0, 0);
        for (account, holds) in &held {
            mass += holds.0;
            value += holds.1;
            let sink = ["dross", "spill", "leak", "swarf", "unexplained"].contains(&account.as_str());
            assert!(!sink || holds.1 == 0, "{account} holds value at {}", int(0));
            let shut = closed.get(account).is_some_and(|at| *at <= (int(0), int(1)));
            let never_below = shut || ["lot:", "casting:"].iter().any(|a| account.starts_with(a));
            assert!(!never_below || holds.0 >= 0, "{account} holds {} mg at {}", holds.0, int(0));
            assert!(!account.starts_with("lot:") || holds.1 >= 0, "{account} is worth {} at {}", holds.1, int(0));
        }
        assert_eq!((mass, value), (0, 0), "at {}", int(0));
    }
}

fn renamed<T: Clone>(found: &BTreeMap<String, T>, names: &BTreeMap<String, String>) -> BTreeMap<String, T> {
    found.iter().map(|(id, v)| (names.get(id).unwrap_or(id).clone(), v.clone())).collect()
}

/// The shop's history as corrected from the start, without what was voided, told in another
/// order: the same movements, balances and figures.
async fn told_again(seed: u64, taken: &random::Taken, db: &Db) {
    let dir = tempfile::tempdir().unwrap();
    let again = Db::open(dir.path(), Options::default(), random::clock(seed), app::SETTLERS).await.unwrap();
    let names = random::retell(&again, seed, taken).await;
    let (mut was, mut is) = (db.read().await.unwrap(), again.read().await.unwrap());
    let (ids_was, ids_is) = (ids(&mut was).await, renamed_ids(ids(&mut is).await, &names));
    let found = differences(&moved_here(&mut is, &ids_is).await, &moved_here(&mut was, &ids_was).await);
    assert!(found.is_empty(), "seed {seed}: told again, kept in {}: {}", dir.keep().display(), said(&found));
    let found = differences(&held_here(&mut is, &ids_is).await, &held_here(&mut was, &ids_was).await);
    assert!(found.is_empty(), "seed {seed}: {}", said(&found));
    assert_eq!(renamed(&figures_here(&mut is, &ids_is).await, &names), figures_here(&mut was, &ids_was).await, "seed {seed}");
    drop((was, is));
    again.close().await;
}

fn renamed_ids(found: BTreeMap<i64, String>, names: &BTreeMap<String, String>) -> BTreeMap<i64, String> {
    found.into_iter().map(|(seq, id)| (seq, names.get(&id).unwrap_or(&id).clone())).collect()
}

/// Random shops: what they may do that a good one would not is refused, and counted.
/// `POURBOOK_SEEDS` says how many.
#[tokio::test(flavor = "multi_thread")]
async fn so_is_a_shop_that_does_anything_in_any_order() {
    let mut tried = random::Tried::new();
    let many = std::env::var("POURBOOK_SEEDS").map_or(12, |n| n.parse().unwrap());
    let mut lowered = 0;
    let first = std::env::var("POURBOOK_FIRST_SEED").map_or(1, |n| n.parse().unwrap());
    for seed in first..first + many {
        let dir = tempfile::tempdir().unwrap();
        // Every second shop works its replays out on snapshots.
        let most_in_turn = if seed % 2 == 0 { 0 } else { Options::default().most_in_turn };
        let options = Options { most_in_turn, ..Options::default() };
        let db = Db::open(dir.path(), options, random::clock(seed), app::SETTLERS).await.unwrap();
        let (done, taken) = random::fill(&db, seed, 180).await;
        for (what, (taken, refused)) in done {
            let sum = tried.entry(what).or_default();
            *sum = (sum.0 + taken, sum.1 + refused);
        }
        let document = dir.path().join("records.json");
        let (found, moved, _) = look(&db, &document).await;
        assert!(found.is_empty(), "seed {seed}, kept in {}: {}", dir.keep().display(), said(&found));
        for n in [1, moved.len() / 2, moved.len() * 3 / 4] {
            missed(&document, &moved, n.max(1));
        }
        let mut read = db.read().await.unwrap();
        let ids = ids(&mut read).await;
        every_instant(&mut read, &ids).await;
        // Returns that a price brought below their heat's unit value.
        let sql = "SELECT count(*) FROM movement WHERE scrap_minor IS NOT NULL AND value_minor > 0 \
                   AND value_minor = round(mass_mg * scrap_minor / 1e6)";
        lowered += read.fetch_one(sql, vec![]).await.unwrap().unwrap().int(0).unwrap();
        drop(read);
        counts::both_ways(&db).await;
        assert_eq!(app::rebuild::run(&db).await.unwrap(), Vec::<String>::new(), "seed {seed}");
        told_again(seed, &taken, &db).await;
        db.close().await;
    }
    println!("{tried:?}");
    assert!(lowered > 0 || many < 12, "no scrap price ever told");
    let missing: Vec<&str> = DONE.into_iter().filter(|what| tried.get(what).is_none_or(|t| t.0 == 0)).collect();
    assert!(missing.is_empty() || many < 12, "no {missing:?} was taken: {tried:?}");
}
