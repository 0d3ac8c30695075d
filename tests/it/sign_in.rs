//! The door: first start, signing in and out, guessing, tablets of the floor, other sites.

use crate::browser::{Browser, PASSWORD, take_in};
use crate::kit::{TestShop, at};
use pourbook::book::session;
use pourbook::kernel::Role;
use serde_json::json;

const HOUR: i64 = 3_600_000;

fn later(shop: &TestShop, ms: i64) {
    let clock = shop.db.clock();
    clock.set(clock.now().plus_ms(ms));
}

fn ada(code: &str) -> [(&str, &str); 3] {
    [("code", code), ("name", "Ada"), ("password", PASSWORD)]
}

#[tokio::test]
async fn the_first_start_makes_one_owner_and_no_second() {
    let shop = TestShop::open(8).await;
    let mut browser = Browser::at(&shop);
    assert_eq!(browser.get("/").await.to(), "/sign-in");
    let old = session::first_run_code(&shop.db).await.unwrap().unwrap();
    let code = session::first_run_code(&shop.db).await.unwrap().unwrap();
    assert_eq!(code.len(), 24);
    assert_eq!(browser.get("/sign-in").await.to(), "/setup");
    assert!(browser.get("/setup").await.is(200).contains("Code from the console"));

    let html = browser.post("/setup", &[("code", "0000-0000"), ("name", ""), ("password", "short")]).await.is(422);
    for said in ["That is not the code", "Give a name of", "at least 10 characters"] {
        assert!(html.to_lowercase().contains(&said.to_lowercase()), "{said}: {html}");
    }
    assert!(html.contains("value=\"0000-0000\""), "what was typed is kept");
    assert!(!html.contains("short"), "but for the password");
    browser.post("/setup", &ada(&old)).await.is(422);

    // Ten at once with the right code: one owner.
    let mut racing = Vec::new();
    for n in 0..10 {
        let (mut one, code) = (Browser::at(&shop), code.clone());
        racing.push(tokio::spawn(async move {
            let name = format!("Ada {n}");
            one.post("/setup", &[("code", &code), ("name", &name), ("password", PASSWORD)]).await.status
        }));
    }
    let mut statuses = Vec::new();
    for one in racing {
        statuses.push(one.await.unwrap());
    }
    statuses.sort_unstable();
    assert_eq!(statuses, [vec![303], vec![422; 9]].concat());
    assert_eq!(shop.number("SELECT count(*) FROM login WHERE role = 'owner'").await, 1);
    assert_eq!(shop.number("SELECT count(*) FROM first_run").await, 0);
    browser.post("/setup", &ada(&code)).await.is(422);
    assert_eq!(browser.get("/setup").await.to(), "/sign-in");
    assert_eq!(session::first_run_code(&shop.db).await.unwrap(), None, "a book with an owner prints none");
}

#[tokio::test]
async fn the_code_may_be_typed_as_it_is_read() {
    let shop = TestShop::open(1).await;
    let code = session::first_run_code(&shop.db).await.unwrap().unwrap();
    let typed = format!(" {} ", code.replace('-', " ").replace('0', "O").replace('1', "l").to_uppercase());
    let mut browser = Browser::at(&shop);
    assert_eq!(browser.post("/setup", &ada(&typed)).await.to(), "/");
    assert!(browser.get("/").await.is(200).contains("Ada"));
    let kept: i64 = shop
        .number(&format!("SELECT count(*) FROM session WHERE CAST(hash AS TEXT) = '{}'", browser.cookies["pourbook_session"]))
        .await;
    assert_eq!(kept, 0, "the book does not know the secret itself");
}

#[tokio::test]
async fn an_owner_from_the_command_line_makes_the_code_worthless() {
    let shop = TestShop::open(1).await;
    let code = session::first_run_code(&shop.db).await.unwrap().unwrap();
    take_in(&shop, "Bo", Role::Owner).await;
    let mut browser = Browser::at(&shop);
    browser.get("/sign-in").await.is(200);
    assert_eq!(browser.get("/setup").await.to(), "/sign-in");
    browser.post("/setup", &ada(&code)).await.is(422);
}

#[tokio::test]
async fn a_session_ends_when_signed_out_and_when_it_runs_out() {
    let shop = TestShop::open(1).await;
    let mut browser = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let stolen = browser.clone();
    browser.get("/people").await.is(200);
    assert_eq!(browser.post("/sign-out", &[]).await.to(), "/sign-in");
    assert!(browser.cookies.is_empty());
    assert_eq!(stolen.clone().get("/people").await.to(), "/sign-in?then=%2Fpeople", "its cookie is worth nothing any more");
    assert_eq!(stolen.clone().call("/v1/clients", &json!({"name": "X"})).await.status, 401);

    // Used every day it lasts a month; unused, a week.
    let mut busy = browser.other();
    busy.post("/sign-in", &[("name", " ADA "), ("password", PASSWORD), ("then", "/people")]).await.to();
    for _ in 1..=29 {
        later(&shop, 24 * HOUR);
        busy.get("/people").await.is(200);
    }
    later(&shop, 24 * HOUR + 1000);
    assert_eq!(busy.get("/people").await.status, 303);
    let mut fresh = browser.other();
    fresh.post("/sign-in", &[("name", "Ada"), ("password", PASSWORD)]).await.to();
    later(&shop, 7 * 24 * HOUR + 1);
    assert_eq!(fresh.get("/people").await.status, 303);
}

#[tokio::test]
async fn signing_in_makes_a_new_session_and_ends_the_old() {
    let shop = TestShop::open(1).await;
    let mut browser = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let before = browser.clone();
    browser.post("/sign-in", &[("name", "Ada"), ("password", PASSWORD)]).await.to();
    assert_ne!(browser.cookies, before.cookies);
    assert_eq!(before.clone().get("/").await.status, 303);
    browser.get("/").await.is(200);
    // A session that a stranger set is not taken over.
    let mut fixed = browser.other();
    fixed.cookies.insert("pourbook_session".into(), "pb_chosen".into());
    fixed.post("/sign-in", &[("name", "Ada"), ("password", PASSWORD)]).await.to();
    assert_ne!(fixed.cookies["pourbook_session"], "pb_chosen");
    // Nobody is sent to another site.
    let to = fixed.post("/sign-in", &[("name", "Ada"), ("password", PASSWORD), ("then", "//evil.example/")]).await;
    assert_eq!(to.to(), "/");
}

#[tokio::test]
async fn guessing_is_slow_and_learns_nothing() {
    let shop = TestShop::open(1).await;
    take_in(&shop, "Ada", Role::Owner).await;
    let mut browser = Browser::at(&shop);
    let known = browser.post("/sign-in", &[("name", "Ada"), ("password", "wrong")]).await.is(422);
    let unknown = browser.post("/sign-in", &[("name", "Eve"), ("password", "wrong")]).await.is(422);
    assert_eq!(known.replace("Ada", "Eve"), unknown, "the same page, whether there is an Ada or an Eve");
    for _ in 0..4 {
        browser.post("/sign-in", &[("name", "Ada"), ("password", "wrong")]).await.is(422);
    }
    let html = browser.post("/sign-in", &[("name", "Ada"), ("password", PASSWORD)]).await.is(429);
    assert!(html.contains("Try again in 3 seconds"), "not even the right one is taken: {html}");
    later(&shop, 3000);
    assert_eq!(browser.post("/sign-in", &[("name", "Ada"), ("password", PASSWORD)]).await.to(), "/");
    // As many at once are counted too.
    let mut racing = Vec::new();
    for _ in 0..12 {
        let mut one = browser.other();
        racing.push(tokio::spawn(async move { one.post("/sign-in", &[("name", "Bo"), ("password", "wrong")]).await.status }));
    }
    let mut statuses = Vec::new();
    for one in racing {
        statuses.push(one.await.unwrap());
    }
    statuses.sort_unstable();
    assert_eq!(statuses, [vec![422; 5], vec![429; 7]].concat());
}

#[tokio::test]
async fn another_site_writes_nothing() {
    let shop = TestShop::open(1).await;
    let mut browser = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let before = shop.written().await;
    let forged: [&[(&'static str, &str)]; 6] = [
        &[("sec-fetch-site", "cross-site")],
        &[("sec-fetch-site", "same-site")],
        &[("origin", "http://evil.example")],
        &[("origin", "null")],
        &[("origin", "http://shop.local.evil.example")],
        &[("sec-fetch-site", "cross-site"), ("origin", "http://shop.local")],
    ];
    for headers in forged {
        browser.sends = headers.iter().map(|(n, v)| (*n, (*v).to_owned())).collect();
        let html = browser.post("/people", &[("name", "Mallory"), ("password", PASSWORD), ("role", "owner")]).await;
        assert_eq!(html.status, 403, "{headers:?}");
        assert_eq!(browser.call("/v1/clients", &json!({"name": "Mallory"})).await.status, 403, "{headers:?}");
        assert_eq!(browser.post("/sign-out", &[]).await.status, 403, "{headers:?}");
        assert_eq!(browser.post("/sign-in", &[("name", "Ada"), ("password", PASSWORD)]).await.status, 403, "{headers:?}");
    }
    assert_eq!(shop.written().await, before);
    assert_eq!(shop.number("SELECT count(*) FROM login").await, 1);
    for headers in [vec![("origin", "http://shop.local")], vec![("sec-fetch-site", "same-origin")], vec![]] {
        browser.sends = headers.into_iter().map(|(n, v)| (n, v.to_owned())).collect();
        browser.call("/v1/clients", &json!({"name": "Marsh Lane"})).await.is(201);
    }
}

#[tokio::test]
async fn a_page_and_the_api_know_one_person() {
    let shop = TestShop::open(1).await;
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let made: serde_json::Value =
        serde_json::from_str(&owner.call("/v1/clients", &json!({"name": "Marsh Lane"})).await.is(201)).unwrap();
    assert_eq!(made["by"], "Ada");
    let mut reader = Browser::signed_in(&shop, "Rea", Role::Reader).await;
    reader.get("/").await.is(200);
    assert_eq!(reader.call("/v1/clients", &json!({"name": "X"})).await.status, 403);
    assert_eq!(reader.get("/people").await.status, 403);
    let lots = json!({"alloy": "C87300", "kind": "ingot", "mass_kg": 60, "cost_minor": 54000, "at": at(1, "09:00")});
    owner.call("/v1/metal-lots", &lots).await.is(201);
    let seen = reader.get("/v1/metal-lots").await;
    assert!(seen.status == 200 && !seen.html.contains("_minor"), "money is not a reader's: {}", seen.html);
    // A wrong token beside a right session is still a wrong token.
    let mut both = owner.clone();
    both.sends.push(("authorization", "Bearer pb_wrong".into()));
    assert_eq!(both.call("/v1/clients", &json!({"name": "X"})).await.status, 401);
}

#[tokio::test]
async fn hands_come_to_the_floors_tablet_by_pin() {
    let shop = TestShop::open(1).await;
    let mut tablet = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let desk = tablet.clone();
    let html = tablet.post("/people", &[("name", "Bo"), ("role", "hand"), ("pin", "1111")]).await.is(422);
    assert!(html.contains("not all alike"), "{html}");
    tablet.post("/people", &[("name", "Bo"), ("role", "reader"), ("pin", "4711")]).await.is(422);
    tablet.post("/people", &[("name", "Bo"), ("role", "hand"), ("pin", "4711")]).await.is(200);
    tablet.post("/people", &[("name", "bo"), ("role", "hand"), ("pin", "4711")]).await.is(422);
    // A PIN opens nothing but an enrolled browser.
    let pin = [("way", "pin"), ("name", "Bo"), ("pin", "4711")];
    let mut home = tablet.other();
    home.post("/sign-in", &pin).await.is(422);
    home.cookies.insert("pourbook_floor".into(), "pb_made_up".into());
    home.post("/sign-in", &pin).await.is(422);

    assert_eq!(tablet.post("/people/enrol", &[("tablet", "Dip room")]).await.to(), "/sign-in");
    assert!(!tablet.cookies.contains_key("pourbook_session"), "the owner is signed out there");
    assert_eq!(desk.clone().get("/people").await.status, 303, "and nowhere else is left with that session");
    let html = tablet.get("/sign-in").await.is(200);
    assert!(html.contains("Dip room") && html.contains("value=\"Bo\"") && !html.contains("value=\"Ada\""), "{html}");
    let mut wrong = tablet.clone();
    wrong.post("/sign-in", &[("way", "pin"), ("name", "Bo"), ("pin", "4712")]).await.is(422);
    assert_eq!(tablet.post("/sign-in", &pin).await.to(), "/");
    let made = tablet.call("/v1/clients", &json!({"name": "Marsh Lane"})).await.is(201);
    assert!(made.contains("\"by\":\"Bo\""), "{made}");
    assert_eq!(tablet.get("/people").await.status, 403);

    // The owner on the floor's tablet is a hand there.
    let mut ada = tablet.clone();
    ada.post("/sign-in", &[("name", "Ada"), ("password", PASSWORD)]).await.to();
    assert_eq!(ada.get("/people").await.status, 403);
    // An hour unused, and the tablet asks who it is; what was typed is kept.
    let mut bo = ada.clone();
    bo.post("/sign-in", &pin).await.to();
    later(&shop, HOUR + 1);
    let html = bo.post("/log/coats", &[("shell", "7K2QD"), ("viscosity_s", "24<\"5")]).await.is(401);
    assert!(html.contains("What you typed is kept") && html.contains("shell=7K2QD&#38;viscosity_s=24%3C%225"), "{html}");
    let kept = [("kept_path", "/log/coats"), ("kept", "shell=7K2QD&viscosity_s=24%3C%225")];
    let html = bo.post("/sign-in", &[pin.as_slice(), kept.as_slice()].concat()).await.is(200);
    assert!(html.contains("action=\"/log/coats\"") && html.contains("value=\"24&#60;&#34;5\""), "{html}");

    // A lost tablet is shut out, with whoever is signed in there.
    let mut owner = home.other();
    owner.post("/sign-in", &[("name", "Ada"), ("password", PASSWORD)]).await.to();
    let n = shop.number("SELECT n FROM device").await.to_string();
    owner.post("/people/shut", &[("n", &n)]).await.is(200);
    assert_eq!(bo.get("/").await.status, 303);
    bo.post("/sign-in", &pin).await.is(422);
}

#[tokio::test]
async fn who_is_shut_out_or_given_a_new_pin_is_signed_out() {
    let shop = TestShop::open(1).await;
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let mut hand = Browser::signed_in(&shop, "Bo", Role::Hand).await;
    owner.post("/people/pin", &[("name", "Bo"), ("pin", "9071")]).await.is(200);
    assert_eq!(hand.get("/").await.status, 303);
    hand.post("/sign-in", &[("name", "Bo"), ("password", PASSWORD)]).await.to();
    owner.post("/people/end", &[("name", "Bo")]).await.is(200);
    assert_eq!(hand.get("/").await.status, 303);
    hand.post("/sign-in", &[("name", "Bo"), ("password", PASSWORD)]).await.is(422);
    assert_eq!(owner.post("/people/end", &[("name", "ada")]).await.status, 403, "not oneself");
    owner.get("/people").await.is(200);
}

#[tokio::test]
async fn the_command_line_lets_in_and_shuts_out() {
    let dir = tempfile::tempdir().unwrap();
    let run = |args: &[&str]| {
        let output =
            std::process::Command::new(env!("CARGO_BIN_EXE_pourbook")).args(args).env("POURBOOK_DATA", dir.path()).output();
        let output = output.unwrap();
        (output.status.success(), String::from_utf8(output.stdout).unwrap().trim().to_owned())
    };
    let (done, first) = run(&["account", "Ada", "--role", "owner"]);
    assert!(done && first.len() == 23, "{first}");
    let (_, second) = run(&["account", "ada", "--role", "owner"]);
    let clock = pourbook::kernel::Clock::system().unwrap();
    let db = pourbook::db::Db::open(dir.path(), pourbook::db::Options::default(), clock, pourbook::app::SETTLERS).await.unwrap();
    let login = session::by_name(&mut db.read().await.unwrap(), "Ada").await.unwrap().unwrap();
    for (password, fits) in [(&first, false), (&second, true)] {
        assert_eq!(pourbook::book::secret::matches(login.password.clone(), password).await.unwrap(), fits);
    }
    assert_eq!(session::first_run_code(&db).await.unwrap(), None);
    db.close().await;
    assert!(run(&["account", "Ada", "--end"]).0 && !run(&["account", "Ada", "--end"]).0);
}

#[tokio::test]
async fn what_a_page_may_do_in_a_browser_is_little() {
    let shop = TestShop::open(1).await;
    let mut browser = Browser::at(&shop);
    for path in ["/sign-in", "/assets/pourbook.css", "/problems/not-yet", "/nowhere", "/v1/clients", "/api"] {
        let seen = browser.get(path).await;
        assert_eq!(seen.header("x-content-type-options"), "nosniff", "{path}");
        assert_eq!(seen.header("referrer-policy"), "same-origin", "{path}");
        let policy = seen.header("content-security-policy").to_owned();
        assert!(policy.starts_with("default-src 'none'; script-src 'self'; "), "{path}: {policy}");
        for part in ["form-action 'self'", "base-uri 'none'", "frame-ancestors 'none'", "connect-src 'self'"] {
            assert!(policy.contains(part), "{path}: {policy}");
        }
        assert_eq!(policy.contains("unsafe"), path == "/api", "{path}: {policy}");
        assert!(path == "/api" || !seen.html.contains("<style") && !seen.html.contains(" style="), "{path}");
    }
}

#[tokio::test]
async fn ones_own_password_is_changed_with_the_one_in_use() {
    let shop = TestShop::open(1).await;
    let mut ada = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let mut elsewhere = ada.other();
    assert_eq!(elsewhere.post("/sign-in", &[("name", "Ada"), ("password", PASSWORD)]).await.to(), "/");
    let html = ada.post("/me/password", &[("now", "not the one"), ("new", "short")]).await.is(422);
    assert!(html.contains("That is not the one") && html.contains("at least 10 characters"), "{html}");
    assert!(
        ada.post("/me/password", &[("now", PASSWORD), ("new", "password12")]).await.is(422).contains("first that are guessed")
    );
    let new = "seven grey herons";
    assert_eq!(ada.post("/me/password", &[("now", PASSWORD), ("new", new)]).await.to(), "/me?done=1");
    assert!(ada.get("/me?done=1").await.is(200).contains("It is changed"), "this session goes on");
    assert_eq!(elsewhere.get("/").await.to(), "/sign-in", "every other one has ended");
    assert_eq!(elsewhere.post("/sign-in", &[("name", "Ada"), ("password", PASSWORD)]).await.status, 422);
    assert_eq!(elsewhere.post("/sign-in", &[("name", "Ada"), ("password", new)]).await.to(), "/");
    assert_eq!(ada.post("/me/pin", &[("pin_now", "4711"), ("pin_new", "2580")]).await.status, 422, "an owner has no PIN");
}
