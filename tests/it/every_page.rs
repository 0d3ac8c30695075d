//! Every page that the server has, by its own list: what it asks the database, and what it
//! makes of words that try to break out.

use crate::browser::{Browser, Sent};
use crate::kit::{TestShop, at, id};
use crate::pages::{HOSTILE, whole};
use pourbook::app;
use pourbook::db::{Cell, Read as _};
use pourbook::kernel::Role;
use pourbook::web::inside::Inside;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// The most driver calls that a page may make, whatever there is in the shop.
const MOST: usize = 32;
/// Pages that may ask more: each asks several of the API's lists.
const MORE: [(&str, usize); 3] = [("/reports/behind", 40), ("/jobs/{id}", 40), ("/jobs/{id}/cost", 48)];
/// Statements that walk through all of a table, and why that is right.
const WALKS: [(&str, &str); 7] = [
    ("first_run", "one row, or none"),
    // Weak: the one sum over all accounts; a total kept by kind would spare it.
    ("account", "where all metal is, is the sum of all accounts"),
    ("setting_row", "the settings are few, and kept between requests"),
    ("setting", "the settings are few, and kept between requests"),
    ("login", "those who may sign in are few"),
    ("device", "the tablets are few"),
    ("fact_", "a report counts over all that it is asked of, from facts made for it"),
];

/// A link to a job, made as the owner makes it: its secret.
async fn progress_secret(shop: &TestShop, number: &str) -> String {
    let mut owner = Browser::signed_in(shop, "Olive", Role::Owner).await;
    let html = owner.post(&format!("/jobs/{number}/links"), &[]).await.is(200);
    let begin = html.find("/progress/").unwrap() + "/progress/".len();
    html[begin..].split('"').next().unwrap().to_owned()
}

/// One of each thing, and the values that stand for the parts of paths.
struct Filled {
    shop: TestShop,
    parts: BTreeMap<&'static str, String>,
}

async fn filled(more: usize) -> Filled {
    let shop = TestShop::open(1).await;
    let commission = shop.commission(None).await;
    let job = shop.get(&format!("/v1/commissions/{commission}")).await.is(200);
    let client = shop.post("/v1/clients", &json!({"name": "Olga Birch"})).await.made();
    let mould = shop.post("/v1/moulds", &json!({"name": "Heron, rubber"})).await.made();
    let batch = shop.post("/v1/slurry-batches", &json!({"name": "Tank", "at": at(1, "09:00")})).await.made();
    let mut last = None;
    for _ in 0..more {
        shop.fired().await;
        last = Some(shop.poured().await);
    }
    let (casting, shell, heat, _) = last.unwrap();
    let heat = shop.get(&format!("/v1/heats/{heat}")).await.is(200);
    let pattern = shop.pattern("file").await;
    let edition_of = pattern.clone();
    let patina = json!({"name": "Green", "steps": [{"kind": "heat", "metal_c": 120}]});
    let patina = id(&shop.post("/v1/patinas", &patina).await.made());
    let secret = progress_secret(&shop, job["number"].as_str().unwrap()).await;
    let certificate = crate::grid::live(&shop, "certificates", Role::Owner).await.rsplit('/').next().unwrap().to_owned();
    let trial = crate::grid::live(&shop, "trial-pairs", Role::Owner).await;
    let trial = shop.get(&trial).await.is(200)["trial_id"].as_str().unwrap().to_owned();
    let quote = crate::grid::live(&shop, "quotes", Role::Owner).await.rsplit('/').next().unwrap().to_owned();
    let recipe = shop.recipe().await;
    let lot = shop.lot(5.0, 1).await;
    let text = |value: &Value, name: &str| value[name].as_str().unwrap().to_owned();
    let parts = BTreeMap::from([
        ("/clients/{id}", id(&client)),
        ("/jobs/{id}", text(&job, "number")),
        ("/jobs/{id}/class", text(&job, "number")),
        ("/jobs/{id}/links", text(&job, "number")),
        ("/patterns/{id}/edition", edition_of),
        ("/progress/{secret}", secret),
        ("/patinas/{id}", patina),
        ("/certificates/{id}", certificate),
        ("/jobs/{id}/cost", text(&job, "number")),
        ("/patterns/{id}", pattern),
        ("/moulds/{id}", id(&mould)),
        ("/recipes/{id}", recipe),
        ("/slurry/{id}", id(&batch)),
        ("/shells/{tag}", text(&shell, "tag")),
        ("/shells/{tag}/breakout", text(&shell, "tag")),
        ("/castings/{tag}", text(&casting, "tag")),
        ("/castings/{tag}/wax", text(&casting, "tag")),
        ("/castings/{tag}/cut-off", text(&casting, "tag")),
        ("/castings/{tag}/bench", text(&casting, "tag")),
        ("/heats/{id}", text(&heat, "number")),
        ("/pour-days/{id}", "2026-03-04".to_owned()),
        ("/heats/{id}/balance", text(&heat, "number")),
        ("/metal/{id}", lot),
        ("/trials/{id}", trial),
        ("/quotes/{id}", quote.clone()),
        ("/quotes/{id}/letter", quote.clone()),
        ("/quotes/{id}/letter.pdf", quote),
        ("/records/{id}", id(&client)),
    ]);
    Filled { shop, parts }
}

/// The address of every page to look at.
fn addresses(filled: &Filled) -> Vec<(&'static str, String)> {
    let kit = app::kit(&filled.shop.db);
    let pages = app::pages(&kit, &Inside::new(app::routes(&kit)));
    let mut out: Vec<(&'static str, String)> = Vec::new();
    for page in pages.all.iter().filter(|p| !p.takes_form) {
        let path = match page.path.find('{') {
            None => page.path.to_owned(),
            Some(begin) => {
                let end = page.path.find('}').unwrap();
                let part = filled.parts.get(page.path).unwrap_or_else(|| panic!("{} has no value for its part", page.path));
                format!("{}{part}{}", &page.path[..begin], &page.path[end + 1..])
            }
        };
        let path = if page.path == "/reports/behind" { format!("{path}?outcome=leaks&by=alloy&level=C87300") } else { path };
        out.push((page.path, path));
    }
    assert!(out.len() > 55, "{out:?}");
    out
}

/// What walks through all of a table in the plan of a statement, or sorts what it need not.
async fn walks(shop: &TestShop, sql: &str, args: Vec<Cell>) -> Vec<String> {
    let mut read = shop.db.read().await.unwrap();
    let steps = read.fetch(&format!("EXPLAIN QUERY PLAN {sql}"), args).await.unwrap_or_else(|e| panic!("{e:?}: {sql}"));
    let steps: Vec<String> = steps.iter().map(|row| row.text(3).unwrap()).collect();
    steps
        .into_iter()
        .filter(|step| {
            // A Bloom filter on a table's own key is made by reading all of the table.
            let whole = step.starts_with("SCAN ") && !step.contains("VIRTUAL TABLE") && !step.contains(" INDEX ");
            whole || step.starts_with("BLOOM FILTER") && step.ends_with("(seq=?)")
        })
        .collect()
}

#[tokio::test]
async fn no_page_walks_through_the_book_or_asks_more_as_it_grows() {
    let (few, many) = (filled(1).await, filled(4).await);
    let mut calls: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    let mut walked: BTreeMap<String, String> = BTreeMap::new();
    for filled in [&few, &many] {
        let mut owner = Browser::signed_in(&filled.shop, "Ada", Role::Owner).await;
        for (page, path) in addresses(filled) {
            // What is kept between requests is there already.
            owner.get(&path).await;
            filled.shop.db.tally().listen();
            let seen = owner.get(&path).await;
            let heard = filled.shop.db.tally().heard();
            assert!(matches!(seen.status, 200 | 303), "{path}: {} {}", seen.status, seen.html);
            calls.entry(page).or_default().push(heard.len());
            for (sql, args) in
                heard.into_iter().filter(|(sql, _)| ["SELECT", "WITH"].iter().any(|w| sql.trim_start().starts_with(w)))
            {
                for step in walks(&filled.shop, &sql, args).await {
                    let tables = walked_tables(&step, &sql);
                    if tables.iter().all(|table| !is_a_set_of_its_own(table, &sql)) {
                        for table in tables {
                            walked.entry(table).or_insert_with(|| format!("{page}: {step}: {sql}"));
                        }
                    }
                }
            }
        }
    }
    for (page, calls) in &calls {
        let most = MORE.iter().find(|(p, _)| p == page).map_or(MOST, |(_, most)| *most);
        assert!(calls.iter().all(|n| *n <= most), "{page} makes {calls:?} calls, at most {most}");
        assert!(calls[1] <= calls[0] + 1, "{page} makes more calls the more there is: {calls:?}");
    }
    walked.retain(|walked, _| !WALKS.iter().any(|(table, _)| walked.starts_with(table)));
    assert_eq!(walked, BTreeMap::new());
}

/// What a step walks through: the tables that its name may stand for in the statement; none
/// where that is a query in brackets.
fn walked_tables(step: &str, sql: &str) -> Vec<String> {
    let of = step.trim_start_matches("SCAN ").split(' ').next().unwrap();
    if sql.contains(&format!(") {of} ")) || sql.ends_with(&format!(") {of}")) {
        return Vec::new();
    }
    let words: Vec<&str> = sql.split(|c: char| !(c.is_alphanumeric() || c == '_')).filter(|w| !w.is_empty()).collect();
    let named = words.windows(3).filter(|w| matches!(w[0], "FROM" | "JOIN") && w[2] == of && w[1] != of);
    let named: Vec<String> = named.map(|w| w[1].to_owned()).collect();
    if named.is_empty() { vec![of.to_owned()] } else { named }
}

/// Whether it is a set that the statement itself gathered, of the few it was asked for.
fn is_a_set_of_its_own(table: &str, sql: &str) -> bool {
    table.starts_with('(')
        || table == "CONSTANT"
        || table == "json_each"
        || ["(", " AS MATERIALIZED", " AS ("].iter().any(|after| {
            let made = format!("{table}{after}");
            sql.match_indices(&made).any(|(at, _)| sql[..at].ends_with([' ', ',']) && sql.contains("WITH"))
        })
}

#[tokio::test]
async fn words_that_try_to_break_out_stay_words_in_every_slip() {
    let filled = filled(1).await;
    let mut owner = Browser::signed_in(&filled.shop, "Ada", Role::Owner).await;
    let mut slips = 0;
    for (_, path) in addresses(&filled) {
        let seen = owner.get(&path).await;
        if seen.status != 200 || !seen.header("content-type").starts_with("text/html") {
            continue;
        }
        for sent in Sent::all(&seen.html).into_iter().filter(|s| s.action.starts_with("/log/") && !s.action.contains("/void")) {
            slips += 1;
            for text in HOSTILE {
                let mut hostile = sent.clone();
                for (name, value) in &mut hostile.fields {
                    if !name.starts_with('_') && !name.ends_with("_id") && !name.ends_with("_ids") {
                        text.clone_into(value);
                    }
                }
                let seen = owner.tap(&hostile).await;
                assert!(
                    matches!(seen.status, 303 | 409 | 412 | 422 | 404),
                    "{path} {}: {} {}",
                    sent.action,
                    seen.status,
                    seen.html
                );
                let html = if seen.status == 303 { owner.get(seen.to()).await.html } else { seen.html };
                assert!(!html.contains("<script>alert") && !html.contains("<img src=x"), "{path} {}: {html}", sent.action);
                assert!(
                    !html.contains("' onmouseover='") && !html.contains("<svg onload") && !html.contains("<em>"),
                    "{path}: {html}"
                );
            }
        }
    }
    assert!(slips > 25, "only {slips} slips");
    // What was taken is shown as words wherever it is listed.
    for (_, path) in addresses(&filled) {
        let html = owner.get(&path).await.html;
        assert!(!html.contains("<script>alert") && !html.contains("<svg onload"), "{path}: {html}");
    }
}

#[tokio::test]
async fn every_page_is_whole_with_nothing_in_the_shop_and_with_much() {
    let empty = TestShop::open(1).await;
    let mut owner = Browser::signed_in(&empty, "Ada", Role::Owner).await;
    let kit = app::kit(&empty.db);
    let pages = app::pages(&kit, &Inside::new(app::routes(&kit)));
    for page in pages.all.iter().filter(|p| !p.takes_form && !p.path.contains('{')) {
        let seen = owner.get(page.path).await;
        match (seen.status, page.path) {
            (200, _) if seen.header("content-type").starts_with("text/html") => drop(whole(page.path, seen)),
            (200, path) => assert!(seen.header("content-type").starts_with("text/csv"), "{path}"),
            (303, "/setup") | (404, "/reports/behind") => {}
            (status, path) => panic!("{path}: {status} {}", seen.html),
        }
    }
    let filled = filled(2).await;
    let long =
        |n: usize, most: usize| format!("{n} {}", "Windbewegterdoppelflügel".repeat(9)).chars().take(most).collect::<String>();
    for n in 0..60 {
        filled.shop.post("/v1/clients", &json!({"name": long(n, 120)})).await.made();
        filled.shop.post("/v1/commissions", &json!({"title": long(n, 200), "due_on": "2026-04-01"})).await.made();
        let pattern = json!({"name": long(n, 120), "material": "wax_casting", "mass_kg": 0.7, "section_mm": 6});
        filled.shop.post("/v1/patterns", &pattern).await.made();
        filled.shop.post("/v1/suppliers", &json!({"name": long(n, 64)})).await.made();
        filled.shop.lot(1.0, 1).await;
    }
    let mut owner = Browser::signed_in(&filled.shop, "Ada", Role::Owner).await;
    for (_, path) in addresses(&filled) {
        let seen = owner.get(&path).await;
        if seen.status == 200 && seen.header("content-type").starts_with("text/html") {
            whole(&path, seen);
        }
    }
}
