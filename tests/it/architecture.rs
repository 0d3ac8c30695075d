//! The walls of the house, held against the source itself; src/lib.rs has the map.

mod rules;
mod scan;
mod sql;

use std::fs;
use std::path::Path;

use rules::{Breach, Source, check};

#[test]
fn no_wall_is_breached() {
    let sources = read_tree(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"));
    assert!(sources.iter().any(|s| s.path == "lib.rs"), "src/lib.rs was not found");
    let breaches = check(&sources);
    let list: Vec<String> = breaches.iter().map(ToString::to_string).collect();
    assert!(breaches.is_empty(), "walls breached:\n  {}", list.join("\n  "));
}

/// Every Rust file below `root`, in order.
fn read_tree(root: &Path) -> Vec<Source> {
    let mut sources: Vec<Source> = crate::house::files_below(root)
        .into_iter()
        .filter(|path| path.extension().is_some_and(|e| e == "rs"))
        .map(|path| Source {
            text: fs::read_to_string(&path).unwrap(),
            path: path.strip_prefix(root).unwrap().to_str().unwrap().replace('\\', "/"),
        })
        .collect();
    sources.sort_by(|a, b| a.path.cmp(&b.path));
    sources
}

fn sources(files: &[(&str, &str)]) -> Vec<Source> {
    let one = |(path, text): &(&str, &str)| Source { path: (*path).to_owned(), text: (*text).to_owned() };
    files.iter().map(one).collect()
}

/// Asserts that one file breaches exactly one wall, on `line`, and says `why`.
#[track_caller]
fn refused(path: &str, text: &str, line: usize, why: &str) {
    let breaches = check(&sources(&[(path, text)]));
    let [Breach { line: at, what, .. }] = breaches.as_slice() else {
        panic!("expected one breach of `{text}` in {path}, got {breaches:?}");
    };
    assert!(*at == line && what.contains(why), "line {at}: {what}, expected line {line}: {why}");
}

#[track_caller]
fn allowed(path: &str, text: &str) {
    assert_eq!(check(&sources(&[(path, text)])), [], "{path}: {text}");
}

#[test]
fn layers_name_only_what_is_below() {
    refused("kernel/id.rs", "use crate::science::share;", 1, "kernel names science");
    refused("kernel/id.rs", "fn f() {\n crate::db::open() }", 2, "kernel names db");
    refused("science/ledger.rs", "use crate::db::Db;", 1, "science names db");
    refused("science/ledger.rs", "use crate::shop::heat::Heat;", 1, "knows no room");
    refused("db/mod.rs", "use crate::web::Reply;", 1, "db names web");
    refused("db/mod.rs", "use crate::science::share;", 1, "db names science");
    refused("web/mod.rs", "use crate::book::Record;", 1, "web names book");
    refused("book/mod.rs", "use crate::science::share;", 1, "book names science");
    refused("book/mod.rs", "use crate::desk::cost::Cost;", 1, "knows no room and no desk");
    allowed("kernel/id.rs", "use super::Seq; use crate::kernel::clock::Clock;");
    allowed("science/ledger.rs", "use crate::kernel::Mass; use crate::science::share;");
    allowed("db/mod.rs", "use crate::kernel::Problem; use self::open::Db;");
    allowed("web/mod.rs", "use crate::{db::Db, kernel::{Problem, id}};");
    allowed("book/mod.rs", "use crate::{db, kernel, web};");
}

#[test]
fn rooms_name_only_rooms_above() {
    refused("shop/casting/verbs.rs", "use crate::shop::metal;", 1, "shop/casting names shop/metal");
    refused("shop/client/mod.rs", "use crate::shop::delivery::Crate;", 1, "rooms above it");
    refused("shop/heat/mod.rs", "use crate::desk::facts;", 1, "rooms know no desk");
    refused("shop/garage/mod.rs", "", 1, "`garage` is no room");
    refused("shop/heat/mod.rs", "use crate::shop::garage;", 1, "`garage` is no room");
    allowed("shop/delivery/verbs.rs", "use crate::shop::{client, heat::Heat}; use crate::book;");
    allowed("shop/heat/verbs.rs", "use super::store; use crate::science::ledger;");
}

#[test]
fn desks_name_only_facts_and_cost() {
    refused("desk/quote/mod.rs", "use crate::desk::plan;", 1, "desk/quote names desk/plan");
    refused("desk/cost/mod.rs", "use super::report::Rate;", 1, "desk/cost names desk/report");
    allowed("desk/quote/mod.rs", "use crate::desk::{cost, facts}; use crate::shop::delivery;");
}

#[test]
fn nobody_names_app_and_only_tests_name_the_testkit() {
    refused("shop/heat/api.rs", "use crate::app::App;", 1, "no room knows app");
    refused("web/page.rs", "fn f() { crate::app::routes(); }", 1, "no room knows app");
    refused("desk/plan/api.rs", "use crate::testkit::TestShop;", 1, "only test code");
    refused("desk/plan/api.rs", "#[cfg(test)]\nmod tests {}\nuse crate::testkit::TestShop;", 3, "only test code");
    allowed("desk/plan/tests.rs", "use crate::testkit::TestShop;");
    allowed("desk/plan/api.rs", "#[cfg(test)] mod tests { use crate::testkit::TestShop; }");
    allowed("main.rs", "use pourbook::app::App;");
    allowed("app.rs", "use crate::{desk::plan, shop::{heat, shell}};");
    allowed("testkit/mod.rs", "use crate::app::App;");
}

#[test]
fn a_path_is_seen_wherever_it_stands() {
    let late = "shop/pattern names shop/heat";
    let file = "shop/pattern/verbs.rs";
    refused(file, "fn f() -> crate::shop::heat::Heat { todo() }", 1, late);
    refused(file, "use crate::{kernel::Mass, shop::{client, heat as h}};", 1, late);
    refused(file, "use super::super::heat::Heat;", 1, late);
    refused(file, "mod inner { use super::super::super::heat::Heat; }", 1, late);
    refused(file, "fn f() { json!({ \"a\": [crate::shop::heat::list()] }) }", 1, late);
    refused(file, "macro_rules! m { () => { $crate::shop::heat::list() } }", 1, late);
    refused(file, "#[serde(with = \"crate::shop::heat::as_kg\")]\nstruct S;", 1, late);
    refused(file, "#[derive(Debug)]\n#[x(crate::shop::heat::Heat)]\nstruct S;", 2, late);
    refused(file, "fn f() { pourbook::shop::heat::list() }", 1, late);
    refused(file, "fn f(x: Vec::<crate::shop::heat::Heat>) {}", 1, late);
    refused(file, "use crate::shop;", 1, "name the room itself");
    refused(file, "use crate::shop::*;", 1, "name the room itself");
    refused(file, "use super::super::{self as all};", 1, "name the room itself");
    refused(file, "use crate::*;", 1, "the root has nothing");
    refused(file, "use crate as book;", 1, "another name");
    refused(file, "use crate::cellar::Rack;", 1, "`cellar` is no part of the house");
    refused("cellar/mod.rs", "", 1, "`cellar` is no part of the house");
    refused("shop/mod.rs", "pub mod heat;\npub use heat::Heat;", 2, "only declares");
    refused(file, "#[path = \"../heat/verbs.rs\"]\nmod heat;", 1, "moves a module");
    refused(file, "include!(\"../heat/verbs.rs\");", 1, "from outside its room");
    refused(file, "pub(crate) mod store;", 1, "private to its room");
    refused(file, "fn f( {", 1, "cannot be read as Rust");
    allowed(file, "/// Not `crate::shop::heat`.\n// crate::shop::heat\npub(crate) fn f() {}");
    allowed(file, "mod store; const A: &str = \"see crate::shop::heat\";");
    allowed(file, "#[cfg(test)]\n#[path = \"verbs_tests.rs\"]\nmod tests;");
    allowed("shop/mod.rs", "//! Rooms.\npub mod heat;");
}

#[test]
fn sql_stands_in_stores() {
    let why = "SQL stands outside";
    for text in [
        "SELECT number FROM heat WHERE id = ?",
        "select number from heat",
        "INSERT INTO heat (number) VALUES (?)",
        "insert or ignore into heat values (1)",
        "UPDATE heat SET number = 1",
        "delete from heat",
        "WITH x AS (SELECT 1) SELECT * FROM x",
        "CREATE TABLE heat (seq INTEGER)",
        "PRAGMA user_version",
    ] {
        refused("shop/heat/verbs.rs", &format!("const Q: &str = \"{text}\";"), 1, why);
        allowed("db/open.rs", &format!("const Q: &str = \"{text}\";"));
    }
    refused("shop/heat/api.rs", "fn f() { query!(r#\"\n SELECT 1 FROM heat\"#) }", 1, why);
    refused("app.rs", "const Q: &str = \"SELECT 1\";", 1, why);
    refused("science/share.rs", "const Q: &str = \"DELETE FROM heat\";", 1, why);
    allowed("shop/heat/store.rs", "const Q: &str = \"SELECT number FROM heat\";");
    allowed("shop/heat/store/list.rs", "const Q: &str = \"SELECT number FROM heat\";");
    allowed("book/journal.rs", "const Q: &str = \"SELECT hash FROM journal\";");
    for prose in [
        "Select the lot from the list, then insert it into the crucible",
        "update the heat before you set the shell down",
        "delete this draft",
        "with metal from the bin",
        "Create a table of rates",
    ] {
        allowed("shop/heat/page.rs", &format!("const T: &str = \"{prose}\";"));
    }
}

#[test]
fn a_table_is_named_by_its_owner() {
    let heat = ("shop/heat/store.rs", "const A: &str = \"INSERT INTO heat (seq) VALUES (?)\";");
    let record = ("book/record.rs", "const A: &str = \"INSERT INTO record (seq) VALUES (?)\";");
    let with = |path: &str, sql: &str| {
        let text = format!("const Q: &str = \"{sql}\";");
        check(&sources(&[heat, record, (path, &text)]))
    };
    let refused = |path: &str, sql: &str, why: &str| {
        let breaches = with(path, sql);
        assert!(!breaches.is_empty(), "{path}: {sql} passed");
        assert!(breaches.iter().all(|b| b.what.contains(why)), "{breaches:?} lacks {why}");
    };
    let bench = "shop/bench/store.rs";
    refused(bench, "SELECT number FROM heat", "shop/bench reads table `heat`");
    refused(bench, "SELECT 1 FROM work w, heat h", "reads table `heat`");
    refused(bench, "SELECT 1 FROM work AS w LEFT JOIN main.heat h ON 1", "reads table `heat`");
    refused(bench, "SELECT (SELECT max(seq) FROM \\\"heat\\\") FROM work", "reads table `heat`");
    refused(bench, "UPDATE heat SET number = 1", "shop/bench writes table `heat`");
    refused(bench, "DELETE FROM heat", "shop/bench writes table `heat`");
    refused(bench, "INSERT INTO heat VALUES (1)", "has one owner");
    refused(bench, "UPDATE record SET void_ms = 1", "which is book's");
    refused("desk/plan/store.rs", "SELECT number FROM heat", "desk/plan reads");
    refused("desk/facts/store.rs", "DELETE FROM heat", "desk/facts writes");
    refused("book/journal.rs", "SELECT number FROM heat", "book reads table `heat`");
    let coat = "impl Room for Coat { const TABLE: &'static str = \"coat\"; }";
    let read = "const Q: &str = \"SELECT 1 FROM coat\";";
    let declared = check(&sources(&[("shop/shell/mod.rs", coat), (bench, read)]));
    assert_eq!(declared.len(), 1, "a declared table is owned: {declared:?}");
    for (path, sql) in [
        (bench, "SELECT 1 FROM work JOIN record USING (seq)"),
        (bench, "WITH heat AS (SELECT 1) SELECT * FROM heat"),
        (bench, "WITH heat(a) AS (SELECT 1) SELECT * FROM heat"),
        (bench, "SELECT a FROM work WHERE a IS DISTINCT FROM heat ORDER BY b, heat"),
        (bench, "SELECT value FROM json_each(?) -- FROM heat"),
        (bench, "SELECT a FROM work WHERE note = 'FROM heat'"),
        (bench, "INSERT INTO work (seq) VALUES (1) ON CONFLICT DO UPDATE SET a = 1"),
        ("desk/facts/store.rs", "SELECT number FROM heat"),
        ("desk/report/store.rs", "SELECT number FROM heat"),
        ("shop/heat/store.rs", "UPDATE OR IGNORE heat SET number = 1"),
        ("testkit/store.rs", "INSERT INTO heat VALUES (1)"),
    ] {
        assert_eq!(with(path, sql), [], "{path}: {sql}");
    }
}

#[test]
fn an_exported_macro_belongs_where_it_is_made() {
    let of = |path: &str, user: (&str, &str)| {
        let made = (path, "#[macro_export]\nmacro_rules! tag { () => {} }");
        check(&sources(&[made, user]))
    };
    let user = ("shop/heat/verbs.rs", "use crate::tag; crate::tag!();");
    assert_eq!(of("kernel/tag.rs", user), []);
    assert_eq!(of("shop/shell/mod.rs", user), []);
    assert_eq!(of("shop/bench/mod.rs", user).len(), 1);
    assert_eq!(check(&sources(&[user])).len(), 1, "nobody makes it");
}

#[test]
fn only_the_clock_reaches_for_time_and_chance() {
    let text = "#[expect(clippy::disallowed_methods, reason = \"the one clock\")]\nfn now() {}";
    refused("shop/heat/verbs.rs", text, 1, "only src/kernel/clock.rs");
    allowed("kernel/clock.rs", text);
}
