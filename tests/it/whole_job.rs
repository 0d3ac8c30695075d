//! A whole job through the pages as they come: how little is typed, and what comes of it.

use crate::browser::{Browser, Sent};
use crate::kit::TestShop;
use crate::pages::whole;
use pourbook::kernel::Role;
use serde_json::{Value, json};

/// Goes on by some hours, as work does.
fn later(shop: &TestShop, hours: i64) {
    shop.db.clock().set(shop.db.clock().now().plus_ms(hours * 3_600_000));
}

/// The fields seen at once on the slip of a page.
async fn seen(browser: &mut Browser, page: &str, action: &str) -> Vec<String> {
    let html = whole(page, browser.get(page).await);
    Sent::on(&html, action).seen
}

async fn first(shop: &TestShop, path: &str) -> Value {
    shop.get(path).await.is(200)["items"][0].clone()
}

/// What a shop has once: metal, a recipe, a pattern. Answers the pattern's id.
async fn stock(owner: &mut Browser) -> String {
    assert_eq!(seen(owner, "/metal", "/log/metal-lots").await, ["alloy", "kind", "mass_kg", "cost_minor"]);
    let lot = [("alloy", "C87300"), ("mass_kg", "60"), ("cost_minor", "660.50")];
    let lot = owner.log("/metal", "/log/metal-lots", &lot).await;
    whole(&lot, owner.get(&lot).await);
    let recipe = [
        ("name", "Two coats"),
        ("coats.0.kind", "prime"),
        ("coats.0.slurry", "prime"),
        ("coats.0.stucco", "zircon"),
        ("coats.0.dry_hours", "3"),
        ("coats.1.kind", "seal"),
        ("coats.1.slurry", "backup"),
        ("coats.1.dry_hours", "6"),
    ];
    let recipe = owner.log("/recipes", "/log/recipes", &recipe).await;
    assert!(whole(&recipe, owner.get(&recipe).await).contains("Version 1"));
    assert_eq!(seen(owner, "/patterns", "/log/patterns").await, ["name", "material", "mass_kg", "section_mm", "kind"]);
    let pattern = [("name", "Heron"), ("material", "wax_casting"), ("mass_kg", "0.7"), ("section_mm", "5")];
    let pattern = owner.log("/patterns", "/log/patterns", &pattern).await;
    pattern.rsplit('/').next().unwrap().to_owned()
}

/// The job, and three pieces. Answers its page and the tags of its castings.
async fn owed(shop: &TestShop, owner: &mut Browser, pattern_id: &str) -> (String, Vec<String>) {
    assert_eq!(seen(owner, "/jobs", "/log/commissions").await, ["title", "client_id", "due_on"]);
    let job = owner.log("/jobs", "/log/commissions", &[("title", "Two herons"), ("due_on", "2026-04-01")]).await;
    assert_eq!(seen(owner, &job, "/pieces").await, ["pattern_id", "alloy", "edition_mark"]);
    let piece = [("pattern_id", pattern_id), ("alloy", "C87300"), ("edition_mark", "1/3")];
    owner.log(&job, "/pieces", &piece).await;
    let html = whole("copies", owner.get(&format!("{job}?copies=2")).await);
    let edition = Sent::all(&html).into_iter().find(|s| s.fields.iter().any(|(n, _)| n == "rows.0.edition_mark")).unwrap();
    owner.tap(&edition.with("rows.0.edition_mark", "2/3").with("rows.1.edition_mark", "3/3")).await.to();
    let castings = shop.get("/v1/castings").await.is(200);
    let tags: Vec<String> = castings["items"].as_array().unwrap().iter().map(|c| c["tag"].as_str().unwrap().to_owned()).collect();
    assert_eq!(tags.len(), 3);
    let html = whole(&job, owner.get(&job).await);
    assert!(tags.iter().all(|tag| html.contains(&format!("/castings/{tag}"))), "{html}");
    (job, tags)
}

/// Waxes into shells, dipped and fired; one comes out cracked. Answers the pages of the shells.
async fn fired(shop: &TestShop, owner: &mut Browser, tags: &[String]) -> Vec<String> {
    // Wax and shell: the card leads on.
    let html = whole("card", owner.get(&card(&tags[0])).await);
    assert!(html.contains(&format!("href=\"/shells/new?casting={}\"", tags[0])), "{html}");
    assert_eq!(seen(owner, &format!("/castings/{}/wax", tags[0]), "/waxes").await, ["wax_kg"]);
    owner.log(&format!("/castings/{}/wax", tags[0]), "/waxes", &[("wax_kg", "0.72")]).await;
    let page = format!("/shells/new?casting={}", tags[0]);
    assert_eq!(seen(owner, &page, "/log/shells").await, ["casting_ids", "recipe_id", "gating_kg"]);
    let mut shells = Vec::new();
    for tag in tags {
        shells.push(owner.log(&format!("/shells/new?casting={tag}"), "/log/shells", &[("gating_kg", "0.12")]).await);
    }
    // Two coats for the rack, one tap each once the day's reading is there.
    later(shop, 1);
    owner.log("/dip", "/log/coats", &[("viscosity_s", "24"), ("room_c", "21"), ("humidity_percent", "50")]).await;
    later(shop, 4);
    assert_eq!(seen(owner, "/dip", "/log/coats").await, ["shell_ids", "viscosity_s"], "another slurry, another reading");
    owner.log("/dip", "/log/coats", &[]).await;
    assert!(owner.get(&shells[0]).await.is(200).contains("Into the kiln"));
    assert!(owner.get(&card(&tags[0])).await.is(200).contains("Into the kiln"));
    later(shop, 8);
    // Kiln: in by one tap once there is a kiln; afterwards only the bad ones.
    assert_eq!(seen(owner, "/kiln", "/log/burnouts").await, ["shells.*.shell_id", "kiln"]);
    owner.log("/kiln", "/log/burnouts", &[("kiln", "Big kiln")]).await;
    later(shop, 4);
    let burnout = first(shop, "/v1/burnouts").await;
    assert_eq!(burnout["shells"].as_array().unwrap().len(), 3, "{burnout}");
    let out = format!("/log/burnouts/{}", burnout["id"].as_str().unwrap());
    owner.log("/kiln", &out, &[("shells.2.result", "cracked"), ("peak_c", "850")]).await;
    let burnout = first(shop, "/v1/burnouts").await;
    let results: Vec<&str> = burnout["shells"].as_array().unwrap().iter().map(|s| s["result"].as_str().unwrap()).collect();
    assert!(burnout["out_at"].as_str() > burnout["at"].as_str(), "out now, unless said otherwise: {burnout}");
    assert_eq!((results, &burnout["peak_c"]), (vec!["sound", "sound", "cracked"], &json!(850)));
    shells
}

/// The heat: lit, ready, poured, closed.
async fn poured(shop: &TestShop, owner: &mut Browser, shells: &[String]) {
    // Heat: lit, lot and kilograms, ready.
    assert_eq!(seen(owner, "/heats", "/log/heats").await, ["furnace", "alloy", "charge.0.lot_id", "charge.0.mass_kg"]);
    let heat = [("furnace", "Tilting furnace"), ("alloy", "C87300"), ("charge.0.mass_kg", "30")];
    let heat = owner.log("/heats", "/log/heats", &heat).await;
    assert!(seen(owner, &heat, "/events").await.is_empty(), "ready is one tap");
    owner.log(&heat, "/events", &[]).await;
    later(shop, 1);
    // Pour: the shell and full; a leak by where and what was done. What was proposed is assumed.
    assert_eq!(seen(owner, &heat, "/pours").await, ["shell_id", "filled", "leaks.0.where", "leaks.0.response"]);
    owner.log(&heat, "/pours", &[("shell_id", tag_of(&shells[0]))]).await;
    owner
        .log(&heat, "/pours", &[("shell_id", tag_of(&shells[1])), ("leaks.0.where", "gate"), ("leaks.0.response", "plugged")])
        .await;
    let html = whole("/pour-day", owner.get("/pour-day").await);
    assert!(html.contains("came out cracked, no patch on record") && html.contains("All as planned"), "{html}");
    let pour = first(shop, "/v1/pours").await;
    assert_eq!(pour["assumed"], json!(["support", "hands"]), "{pour}");
    owner.log("/pour-day", "/pour-day/planned", &[]).await;
    assert!(first(shop, "/v1/pours").await["assumed"].is_null());
    // Close: what was pigged; dross left empty is not weighed, never 0.
    assert_eq!(seen(owner, &heat, "/closings").await, ["pigged_kg", "dross_kg"]);
    owner.log(&heat, "/closings", &[("pigged_kg", "14")]).await;
    let closing = first(shop, "/v1/closings").await;
    assert_eq!((&closing["pigged_kg"], &closing["dross_kg"]), (&json!(14), &Value::Null));
    later(shop, 20);
}

/// Broken out, cut off, worked on, finished, handed over.
async fn finished(shop: &TestShop, owner: &mut Browser, shells: &[String], tags: &[String]) {
    // Knock-off: the whole tree; the bad ones tapped, the others not judged.
    let page = format!("/shells/{}/breakout", tag_of(&shells[0]));
    assert_eq!(seen(owner, &page, "/breakout").await, ["gross_kg", "castings.0.verdict"]);
    owner.log(&page, "/breakout", &[("gross_kg", "7.1")]).await;
    let page = format!("/shells/{}/breakout", tag_of(&shells[1]));
    let bad = [("castings.0.verdict", "scrap"), ("castings.0.findings.0.code", "A221"), ("castings.0.findings.0.where", "beak")];
    owner.log(&page, "/breakout", &bad).await;
    assert_eq!(first(shop, "/v1/findings").await["where"], "beak");
    let page = format!("/castings/{}/cut-off", tags[0]);
    assert_eq!(seen(owner, &page, "/cut-off").await, ["net_kg"]);
    owner.log(&page, "/cut-off", &[("net_kg", "5.9")]).await;
    // Bench: judged, minutes, finished, handed over.
    let page = format!("/castings/{}/bench", tags[0]);
    let html = whole(&page, owner.get(&page).await);
    let judge = Sent::all(&html).into_iter().find(|s| s.action.starts_with("/log/breakouts/")).unwrap();
    owner.tap(&judge.with("verdict", "accepted")).await.to();
    assert_eq!(seen(owner, &page, "/work").await, ["operation", "minutes"]);
    owner.log(&page, "/work", &[("operation", "chase"), ("minutes", "90")]).await;
    assert!(seen(owner, &page, "/finish").await.is_empty(), "finished is one tap");
    owner.log(&page, "/finish", &[]).await;
    owner.log(&page, "/deliver", &[("to", "the client's door")]).await;
    let html = whole("card", owner.get(&card(&tags[0])).await);
    assert!(html.contains("handed over") && html.contains("Metal cost"), "{html}");
}

fn card(tag: &str) -> String {
    format!("/castings/{tag}")
}

fn tag_of(shell: &str) -> &str {
    shell.rsplit('/').next().unwrap()
}

#[tokio::test]
async fn a_job_from_the_commission_to_the_delivery() {
    let shop = TestShop::open(1).await;
    shop.db.clock().set(pourbook::kernel::Instant::parse("2026-03-02T08:00:00Z").unwrap());
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let pattern_id = stock(&mut owner).await;
    let (job, tags) = owed(&shop, &mut owner, &pattern_id).await;
    let shells = fired(&shop, &mut owner, &tags).await;
    poured(&shop, &mut owner, &shells).await;
    finished(&shop, &mut owner, &shells, &tags).await;
    // The failed one is cast again.
    let page = format!("/castings/{}/bench", tags[1]);
    let again = owner.log(&page, "/recast", &[]).await;
    assert!(whole(&again, owner.get(&again).await).contains("attempt 2"));
    let html = whole(&job, owner.get(&job).await);
    assert!(html.contains("What it cost") && html.contains("attempt 2"), "{html}");
    let html = whole("cost", owner.get(&format!("{job}/cost")).await);
    assert!(html.contains("What its metal cost") && html.contains("From the first hour to the last"), "{html}");
    for page in ["/shells", "/things", "/history", "/bench", "/breakout", "/cut-off", "/clients", "/moulds", "/slurry", "/pages"]
    {
        whole(page, owner.get(page).await);
    }
    shop.closes().await;
}
