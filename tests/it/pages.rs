//! Pages of an empty shop, of a working one, and of one whose names try to break out.

use crate::browser::{Browser, Seen, Sent};
use crate::kit::{TestShop, at, id};
use pourbook::kernel::Role;
use serde_json::{Value, json};

/// The most that a page may weigh.
const MOST: usize = 100_000;

/// Text that would break out of a page that does not escape it (after OWASP's Cross Site
/// Scripting Prevention Cheat Sheet: markup, attributes in both quotes, a URL, a comment, an entity).
pub const HOSTILE: [&str; 6] = [
    "<script>alert(1)</script>",
    "\"><img src=x onerror=alert(1)>",
    "' onmouseover='alert(1)",
    "javascript:alert(1)",
    "--><svg onload=alert(1)>",
    "&lt;em&gt; & </title></main>",
];

/// Marks of a page that every page must bear, and what none may.
#[track_caller]
pub fn whole(path: &str, seen: Seen) -> String {
    let html = seen.is(200);
    assert!(html.len() < MOST, "{path} weighs {}", html.len());
    // A mark of a drawing has a title of its own.
    let drawn = |part: &str| part.split_once("</svg>").map_or_else(String::new, |(_, rest)| rest.to_owned());
    let parts: Vec<&str> = html.split("<svg class=\"plot\"").collect();
    let bare: String = parts.iter().enumerate().map(|(n, part)| if n == 0 { (*part).to_owned() } else { drawn(part) }).collect();
    let count = |text: &str| bare.matches(text).count();
    assert!(html.starts_with("<!doctype html>\n<html lang=\"en\">"), "{path}");
    for once in ["<h1", "<main id=\"main\"", "<title>", "</title>", "</main>", "</html>", "<header", "<footer", "href=\"#main\""]
    {
        assert_eq!(count(once), 1, "{path}: {once}");
    }
    assert_eq!(count("<script"), 1, "{path}: only our own script");
    for never in ["style=\"", "onclick", "onerror=alert(1)>", "onload=alert(1)>", "<em>", "http://", "https://", "NaN", "null"] {
        assert!(!html.contains(never), "{path}: {never}");
    }
    // Every field has a label; every id is there once.
    let ids: Vec<&str> = html.split(" id=\"").skip(1).map(|rest| rest.split('"').next().unwrap()).collect();
    for id in &ids {
        assert_eq!(ids.iter().filter(|other| *other == id).count(), 1, "{path}: id {id}");
    }
    for label in html.split(" for=\"").skip(1).map(|rest| rest.split('"').next().unwrap()) {
        assert!(ids.contains(&label), "{path}: a label for {label}, which is not there");
    }
    html
}

fn tag(record: &Value) -> &str {
    record["tag"].as_str().unwrap()
}

#[tokio::test]
async fn an_empty_shop_has_pages_too() {
    let shop = TestShop::open(1).await;
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let html = whole("/", owner.get("/").await);
    assert!(html.contains("Nothing is in the shop yet") && html.contains("No shell is waiting for a coat"), "{html}");
    for path in ["/find", "/find?q=otter", "/find?q=7K2QD", "/find?q=%25", "/people", "/dip"] {
        whole(path, owner.get(path).await);
    }
    assert!(owner.get("/find?q=otter").await.is(200).contains("Nothing has that tag, number or name"));
    let html = owner.get("/castings/7K2QD").await.is(404);
    assert!(html.contains("There is no casting 7K2QD") && html.contains("href=\"/\""), "{html}");
    assert_eq!(owner.get("/find?q=%FF").await.status, 400);
}

#[tokio::test]
async fn a_casting_is_where_its_records_say() {
    let shop = TestShop::open(1).await;
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let wax = shop.casting().await;
    let in_shell = shop.casting().await;
    let shell = shop.shell(&[&in_shell]).await;
    let (fired, fired_shell) = shop.fired().await;
    let (poured, ..) = shop.poured().await;
    let html = whole("/", owner.get("/").await);
    for (band, casting) in [("wax", &wax), ("shell", &in_shell), ("burnout", &fired), ("pour", &poured)] {
        let section =
            html.split(&format!("<section class=\"band\" id=\"{band}\"")).nth(1).unwrap_or_else(|| panic!("{band}: {html}"));
        let section = section.split("</section>").next().unwrap();
        assert!(section.contains(&format!("href=\"/castings/{}\"", tag(casting))), "{band}: {section}");
        assert!(html.contains(&format!("<a href=\"#{band}\"><b>1</b>")), "{band}: {html}");
    }
    assert!(html.contains("Coat 1 of") && html.contains(&format!("<span class=\"tag\">{}</span>", tag(&shell))), "{html}");
    assert!(html.contains("with nothing on record against them"), "{html}");
    assert!(!html.to_lowercase().contains("ready to pour"));
    let _ = fired_shell;
    // A tag opens the card, however it is typed; a shell's tag its page, a number its job or heat.
    let typed = tag(&poured).to_lowercase().replace('0', "o");
    assert_eq!(owner.get(&format!("/find?q={typed}")).await.to(), format!("/castings/{}", tag(&poured)));
    assert_eq!(owner.get(&format!("/find?q={}", tag(&shell))).await.to(), format!("/shells/{}", tag(&shell)));
    let html = whole("shell", owner.get(&format!("/shells/{}", tag(&shell))).await);
    assert!(html.contains(&format!("/castings/{}", tag(&in_shell))), "{html}");
    let number = shop.get("/v1/commissions?limit=1").await.is(200)["items"][0]["number"].as_str().unwrap().to_owned();
    assert_eq!(owner.get(&format!("/find?q={number}")).await.to(), format!("/jobs/{number}"));
    let heat = shop.get("/v1/heats?limit=1").await.is(200)["items"][0]["number"].as_str().unwrap().to_owned();
    assert_eq!(owner.get(&format!("/find?q={}", heat.to_lowercase())).await.to(), format!("/heats/{heat}"));
}

#[tokio::test]
async fn a_route_card_shows_its_records_and_money_to_those_who_may_see_it() {
    let shop = TestShop::open(1).await;
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let mut hand = Browser::signed_in(&shop, "Bo", Role::Hand).await;
    let (casting, ..) = shop.poured().await;
    shop.breakout(&casting, &json!({"verdict": "accepted"})).await;
    let path = format!("/castings/{}", tag(&casting));
    let html = whole(&path, owner.get(&path).await);
    for said in ["Coat 1, prime", "Burnout", "Poured", "Broken out", "Its route", "typed by owner", "Metal cost", "EUR"] {
        assert!(html.contains(said), "{said}: {html}");
    }
    let html = whole(&path, hand.get(&path).await);
    assert!(!html.contains("Metal cost") && !html.contains("EUR") && html.contains("Poured for it"), "{html}");
    shop.post("/v1/settings", &json!({"name": "units", "from_on": "2026-01-01", "value": "us"})).await.made();
    let html = owner.get(&path).await.is(200);
    assert!(html.contains(" lb") && !html.contains(" kg"), "{html}");
}

#[tokio::test]
async fn what_cannot_be_recast_says_so() {
    let shop = TestShop::open(1).await;
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let pattern = shop.pattern("unique").await;
    let piece = shop.piece(&shop.commission(None).await, &json!({"pattern_id": pattern})).await;
    let tag = piece["castings"][0]["tag"].as_str().unwrap().to_owned();
    assert!(owner.get(&format!("/castings/{tag}")).await.is(200).contains("UNIQUE, CANNOT BE RECAST"));
    let other = shop.casting().await;
    assert!(!owner.get(&format!("/castings/{}", other["tag"].as_str().unwrap())).await.is(200).contains("CANNOT BE RECAST"));
}

#[tokio::test]
async fn names_that_try_to_break_out_stay_text() {
    let shop = TestShop::open(1).await;
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    for (n, text) in HOSTILE.iter().enumerate() {
        let client = shop.post("/v1/clients", &json!({"name": text})).await.made();
        let job = json!({"title": text, "client_id": id(&client), "due_on": "2026-03-30"});
        let job = shop.post("/v1/commissions", &job).await.made();
        let mark: String = text.chars().take(20).collect();
        let piece = json!({"alloy": "C87300", "edition_mark": mark, "maker": text, "parts": [text],
            "pattern": {"name": text, "material": "wax_casting", "mass_kg": 0.7, "section_mm": 6}});
        let piece = shop.post(&format!("/v1/commissions/{}/pieces", id(&job)), &piece).await.made();
        let casting = piece["castings"][0].clone();
        let recipe = json!({"name": text, "at": "2026-01-01T09:00:00Z", "coats": [
            {"kind": "prime", "slurry": text, "stucco": text, "dry_hours": 3}, {"kind": "seal", "slurry": text, "dry_hours": 3}]});
        let recipe = shop.post("/v1/recipes", &recipe).await.made();
        let shell = json!({"recipe_id": id(&recipe), "casting_ids": [id(&casting)], "gating_kg": 0.4, "at": at(2, "09:00"),
            "hands": [format!("{text}{n}")]});
        let shell = shop.post("/v1/shells", &shell).await.made();
        let coat = json!({"shell_ids": [id(&shell)], "kind": "prime", "slurry": text, "stucco": text, "at": at(2, "10:00")});
        shop.post("/v1/coats", &coat).await.made();
        let scrapped = shop.casting().await;
        let _ = shop
            .post(
                &format!("/v1/castings/{}/scrap", id(&scrapped)),
                &json!({"at": at(3, "09:00"), "category": "other", "note": text}),
            )
            .await;
        let query: String = text.bytes().flat_map(|b| format!("%{b:02X}").into_bytes()).map(char::from).collect();
        for path in ["/".to_owned(), "/dip".to_owned(), format!("/castings/{}", tag(&casting)), format!("/find?q={query}")] {
            let html = whole(&path, owner.get(&path).await);
            assert!(!html.contains("<script>") && !html.contains("<img") && !html.contains("<svg"), "{path}: {html}");
            assert!(!html.contains("' onmouseover='"), "{path}: {html}");
            assert!(!html.contains("href=\"javascript:"), "{path}");
        }
        let found = owner.get(&format!("/find?q={query}")).await.is(200);
        assert!(found.contains(tag(&casting)), "{text} is found by its name: {found}");
    }
}

#[tokio::test]
async fn many_castings_do_not_make_a_heavy_page() {
    let shop = TestShop::open(1).await;
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let commission = shop.commission(None).await;
    let long = "A very long name of a piece ".repeat(2);
    let pattern = json!({"name": long.trim(), "material": "wax_casting", "mass_kg": 0.7, "section_mm": 6});
    let pattern = shop.post("/v1/patterns", &pattern).await.made();
    for _ in 0..40 {
        shop.piece(&commission, &json!({"pattern_id": id(&pattern)})).await;
    }
    shop.db.tally().listen();
    let html = whole("/", owner.get("/").await);
    let calls = shop.db.tally().heard().len();
    assert!(html.contains("The oldest 15 of 40") && html.contains("<b>40</b>"), "{html}");
    assert!(calls <= 14, "the start page asks {calls} times");
    let one = shop.casting().await;
    let path = format!("/castings/{}", tag(&one));
    shop.db.tally().listen();
    whole(&path, owner.get(&path).await);
    let calls = shop.db.tally().heard().len();
    assert!(calls <= 20, "a card asks {calls} times");
}

#[tokio::test]
async fn what_pages_are_made_of_is_kept_by_its_version() {
    let shop = TestShop::open(1).await;
    let mut browser = Browser::at(&shop);
    let html = browser.get("/sign-in").await.is(200);
    let css = html.split("href=\"").find(|part| part.starts_with("/assets/pourbook.css?v=")).unwrap().split('"').next().unwrap();
    let seen = browser.get(css).await;
    assert!(seen.header("cache-control").contains("immutable") && seen.header("content-type").starts_with("text/css"));
    assert!(seen.html.contains("prefers-color-scheme: dark") && seen.html.len() < MOST);
    assert!(!seen.html.contains("url(") && !seen.html.contains("@import"), "nothing is fetched from elsewhere");
    assert_eq!(browser.get("/assets/pourbook.css").await.header("cache-control"), "no-cache");
}

#[tokio::test]
async fn a_rack_is_dipped_with_one_tap() {
    let shop = TestShop::open(1).await;
    let mut hand = Browser::signed_in(&shop, "Bo", Role::Hand).await;
    let mut reader = Browser::signed_in(&shop, "Rea", Role::Reader).await;
    let (one, two) = (shop.casting().await, shop.casting().await);
    let recipe = shop.recipe().await;
    let shell =
        |of: &Value, time: &str| json!({"recipe_id": recipe, "casting_ids": [id(of)], "gating_kg": 0.4, "at": at(2, time)});
    let a = shop.post("/v1/shells", &shell(&one, "09:00")).await.made();
    let b = shop.post("/v1/shells", &shell(&two, "09:05")).await.made();
    let html = whole("/dip", hand.get("/dip").await);
    // As it comes, with nothing typed: the dry shells are ticked, the coat is the recipe's next.
    let sent = Sent::on(&html, "/log/coats");
    assert_eq!(sent.seen, ["shell_ids", "viscosity_s", "room_c", "humidity_percent"], "no reading yet today");
    assert_eq!(reader.tap(&sent).await.status, 403, "a reader logs nothing");
    assert_eq!(shop.number("SELECT count(*) FROM coat").await, 0);
    assert_eq!(hand.tap(&sent).await.to(), "/dip");
    // A second tap, a minute later, and a resend after a lost answer: nothing twice.
    shop.db.clock().set(shop.db.clock().now().plus_ms(60_000));
    hand.tap(&sent).await.to();
    assert_eq!(shop.number("SELECT count(*) FROM coat").await, 2);
    let coats = shop.get("/v1/coats").await.is(200);
    assert_eq!((&coats["items"][0]["kind"], &coats["items"][0]["by"]), (&json!("prime"), &json!("Bo")));
    let html = whole("/dip", hand.get("/dip").await);
    assert!(html.contains("Recorded: 2 coats.") && html.contains("Coat 2 of") && html.contains("drying until"), "{html}");
    // One that is still wet may be dipped all the same; what is wrong is named beside what was typed.
    let wet = Sent::on(&html, "/log/coats");
    assert!(hand.tap(&wet).await.is(422).contains("class=\"faults\""), "nothing is ticked");
    let wrong = wet.clone().with("shell_ids", tag(&a)).with("room_c", "22,5").with("viscosity_s", "x");
    let html = hand.tap(&wrong).await.is(422);
    assert!(html.contains("Give a plain number.") && html.contains("value=\"22,5\"") && html.contains("value=\"x\""), "{html}");
    assert_eq!(hand.tap(&Sent::on(&html, "/log/coats").with("viscosity_s", "24")).await.to(), "/dip");
    // The reading of the day is proposed for the next rack: assumed unless somebody says so.
    let html = whole("/dip", hand.get("/dip").await);
    let sent = Sent::all(&html).into_iter().rfind(|s| s.action == "/log/coats").unwrap();
    assert!(sent.fields.contains(&("room_c".to_owned(), "22.5".to_owned())), "{sent:?}");
    assert_eq!(sent.seen, ["shell_ids", "humidity_percent"], "{sent:?}");
    hand.tap(&sent.with("shell_ids", tag(&b))).await.to();
    let coats = shop.get("/v1/coats?limit=1").await.is(200);
    assert_eq!(coats["items"][0]["assumed"], json!(["viscosity_s", "room_c", "hands"]), "{coats}");
    let card = whole("card", hand.get(&format!("/castings/{}", tag(&one))).await);
    assert!(card.contains("Outside practice: a coat went on before the one below was dry"), "{card}");
    assert!(card.contains(&format!("href=\"/kiln?shell={}\"", tag(&a))), "{card}");
    shop.closes().await;
}
