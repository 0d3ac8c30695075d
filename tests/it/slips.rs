//! What is typed on a page: recorded once, undone at once, refused with everything still there.

use crate::browser::Browser;
use crate::kit::{TestShop, at, id};
use crate::pages::whole;
use pourbook::kernel::Role;
use serde_json::{Value, json};

/// The value of a hidden field of the first slip that goes to `to`.
fn hidden(html: &str, to: &str, name: &str) -> String {
    let slip = html.split(&format!("action=\"/log/{to}\"")).nth(1).unwrap_or_else(|| panic!("no slip to {to}: {html}"));
    let at = format!("name=\"{name}\" value=\"");
    slip.split(&at).nth(1).unwrap_or_else(|| panic!("no {name}")).split('"').next().unwrap().to_owned()
}

#[tokio::test]
async fn a_slip_is_recorded_once_and_undone_at_once() {
    let shop = TestShop::open(1).await;
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let html = whole("/clients", owner.get("/clients").await);
    let key = hidden(&html, "clients", "_key");
    let form = [
        ("_to", "clients"),
        ("_from", "/clients"),
        ("_back", "/clients/{made}"),
        ("_key", &key),
        ("name", "Olga Birch"),
        ("email", "olga@birch.example"),
    ];
    let page = owner.post("/log/clients", &form).await.to().to_owned();
    let again = owner.post("/log/clients", &form).await.to().to_owned();
    assert_eq!(page, again, "sent twice, recorded once");
    let html = whole(&page, owner.get(&page).await);
    assert!(html.contains("Olga Birch") && html.contains("Recorded: client.") && html.contains("action=\"/undo\""), "{html}");
    assert_eq!(owner.post("/undo", &[("_back", "/clients")]).await.to(), "/clients");
    let html = whole("/clients", owner.get("/clients").await);
    assert!(html.contains("No client is on file yet") && !html.contains("/undo"), "{html}");
    // Half a minute later there is nothing to undo from the line at the top.
    owner
        .post("/log/clients", &[("_to", "clients"), ("_from", "/clients"), ("_back", "/clients"), ("name", "Ib Rowan")])
        .await
        .to();
    shop.db.clock().set(shop.db.clock().now().plus_ms(31_000));
    let html = owner.get("/clients").await.is(200);
    assert!(html.contains("Ib Rowan") && !html.contains("/undo"), "{html}");
    assert!(owner.post("/undo", &[("_back", "/clients")]).await.is(404).contains("from its history"));
}

#[tokio::test]
async fn what_is_wrong_is_named_and_what_was_typed_is_still_there() {
    let shop = TestShop::open(1).await;
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let long = "n".repeat(121);
    let form = [
        ("_to", "clients"),
        ("_from", "/clients"),
        ("_back", "/clients/{made}"),
        ("_key", "one"),
        ("name", long.as_str()),
        ("email", "<b>\"'&"),
        ("notes", "Rings twice"),
    ];
    let html = owner.post("/log/clients", &form).await.is(422);
    assert!(html.contains("<title>Error: Clients") && html.contains("class=\"faults\""), "{html}");
    assert!(html.contains(&long) && html.contains("Rings twice") && html.contains("&#60;b&#62;"), "{html}");
    assert!(html.contains("href=\"#slip-clients-name\"") && html.contains("id=\"slip-clients-name\""), "{html}");
    assert_eq!(hidden(&html, "clients", "_key"), "one", "the key stays");
    let html = owner.get("/clients").await.is(200);
    assert!(html.contains("No client is on file yet"), "{html}");
    // What is nowhere, what may not be done, and who is not there.
    assert_eq!(owner.post("/log/nowhere", &[("name", "x")]).await.status, 404);
    let mut reader = Browser::signed_in(&shop, "Rudd", Role::Reader).await;
    assert!(!reader.get("/clients").await.is(200).contains("/log/"));
    assert_eq!(reader.post("/log/clients", &[("name", "x"), ("_from", "/clients")]).await.status, 403);
    let mut nobody = Browser::at(&shop);
    assert!(nobody.post("/log/clients", &[("name", "Kept & typed")]).await.is(401).contains("Kept%20%26%20typed"));
}

#[tokio::test]
async fn a_refusal_is_said_in_words_and_taken_when_said_again() {
    let shop = TestShop::open(1).await;
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let casting = shop.casting().await;
    let to = format!("castings/{}/cut-off", id(&casting));
    // Not broken out on record: an outbox would wait, a page asks whether it happened all the same.
    let mut form = vec![("_to", to.as_str()), ("_from", "/clients"), ("_back", "/"), ("_script", "1"), ("net_kg", "0.5")];
    let told = owner.post(&format!("/log/{to}"), &form).await;
    assert_eq!(told.header("content-type"), "application/json");
    let told: Value = serde_json::from_str(&told.is(409)).unwrap();
    assert!(told["detail"].as_str().is_some_and(|d| !d.is_empty()), "{told}");
    let lot = shop.lot(5.0, 1).await;
    let to_heat = format!("heats/{}/charges", shop.heat_from(&lot, 2.0, &json!({"at": at(4, "09:00")})).await);
    form = vec![("_to", to_heat.as_str()), ("_from", "/clients"), ("_back", "/"), ("_script", "1")];
    form.extend([("lot_id", lot.as_str()), ("mass_kg", "9")]);
    let told: Value = serde_json::from_str(&owner.post(&format!("/log/{to_heat}"), &form).await.is(409)).unwrap();
    assert_eq!((&told["despite"], &told["type"]), (&json!(["lot_short"]), &json!("/problems/lot-short")), "{told}");
    assert_eq!(told["words"], "There really was more than the book says");
    form.push(("_despite", "lot_short"));
    let told: Value = serde_json::from_str(&owner.post(&format!("/log/{to_heat}"), &form).await.is(200)).unwrap();
    assert_eq!(told["record"]["despite"], json!(["lot_short"]), "{told}");
}

#[tokio::test]
async fn what_waited_is_dated_by_its_age_and_a_wrong_clock_is_said() {
    let shop = TestShop::open(1).await;
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let lot = shop.lot(5.0, 1).await;
    let heat = shop.heat_from(&lot, 2.0, &json!({"at": at(31, "09:00")})).await;
    let to = format!("heats/{heat}/events");
    shop.db.clock().set(pourbook::kernel::Instant::parse(&at(31, "13:00")).unwrap());
    // Tapped 50 minutes ago; the device's clock is 20 minutes fast.
    let now = pourbook::kernel::Instant::parse(&at(31, "13:00")).unwrap();
    let (age, clock) = ((50 * 60_000).to_string(), (now.ms() + 20 * 60_000).to_string());
    let form = |age: &str| {
        vec![
            ("_to".to_owned(), to.clone()),
            ("_script".to_owned(), "1".to_owned()),
            ("_key".to_owned(), "tap-1".to_owned()),
            ("kind".to_owned(), "ready".to_owned()),
            ("_age_ms".to_owned(), age.to_owned()),
            ("_clock_ms".to_owned(), clock.clone()),
        ]
    };
    let sent = form(&age);
    let pairs: Vec<(&str, &str)> = sent.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    let told: Value = serde_json::from_str(&owner.post(&format!("/log/{to}"), &pairs).await.is(200)).unwrap();
    assert_eq!(told["record"]["at"], at(31, "12:10"), "{told}");
    assert_eq!(told["clock_off_ms"], 20 * 60_000);
    // The answer was lost; it is sent again a while later and was recorded already.
    shop.db.clock().set(shop.db.clock().now().plus_ms(90_000));
    let later = form(&(50 * 60_000 + 90_000 + 7).to_string());
    let pairs: Vec<(&str, &str)> = later.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    let again: Value = serde_json::from_str(&owner.post(&format!("/log/{to}"), &pairs).await.is(200)).unwrap();
    assert_eq!((&again["again"], &again["record"]["id"]), (&json!(true), &told["record"]["id"]), "{again}");
}

#[tokio::test]
async fn what_nobody_confirmed_is_assumed_and_in_no_factor() {
    let shop = TestShop::open(1).await;
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let (_, shell) = shop.fired().await;
    let lot = shop.lot(20.0, 1).await;
    let heat = shop.heat_from(&lot, 10.0, &json!({"at": at(4, "09:00")})).await;
    let to = format!("heats/{heat}/pours");
    let time = at(4, "10:00");
    let shell_tag = shell["tag"].as_str().unwrap().to_owned();
    let form = [
        ("_to", to.as_str()),
        ("_script", "1"),
        ("shell_id", shell_tag.as_str()),
        ("at", time.as_str()),
        ("filled", "full"),
        ("support", "buried"),
        ("_assumed.support", "buried"),
        ("hands", "Bo"),
        ("_assumed.hands", "Ada"),
    ];
    let told: Value = serde_json::from_str(&owner.post(&format!("/log/{to}"), &form).await.is(200)).unwrap();
    assert_eq!(told["record"]["assumed"], json!(["support"]), "hands were changed, so somebody said them: {told}");
    let by = |factor: &str| format!("/v1/reports/leaks?by={factor}");
    let report = shop.get(&by("support")).await.is(200);
    assert!(!report["rows"].as_array().unwrap().iter().any(|row| row["level"] == "buried"), "{report}");
    let report = shop.get(&by("hand")).await.is(200);
    assert!(report["rows"].as_array().unwrap().iter().any(|row| row["level"] == "Bo"), "{report}");
    let pour = told["record"]["id"].as_str().unwrap();
    shop.patch(&format!("/v1/pours/{pour}"), &json!({"assumed": [], "reason": "as planned"})).await.is(200);
    let report = shop.get(&by("support")).await.is(200);
    assert!(report["rows"].as_array().unwrap().iter().any(|row| row["level"] == "buried"), "{report}");
    shop.closes().await;
}

#[tokio::test]
async fn a_record_has_a_page_with_its_history_and_is_undone_there() {
    let shop = TestShop::open(1).await;
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let client = shop.post("/v1/clients", &json!({"name": "Olga <Birch>", "notes": "Rings & waits"})).await.made();
    shop.patch(&format!("/v1/clients/{}", id(&client)), &json!({"phone": "5550100", "reason": "she moved"})).await.is(200);
    let path = format!("/records/{}", id(&client));
    let html = whole(&path, owner.get(&path).await);
    for said in ["Olga &#60;Birch&#62;", "Rings &#38; waits", "phone from nothing to 5550100", "she moved", "Undo this record"] {
        assert!(html.contains(said), "{said}: {html}");
    }
    let html = whole("/history", owner.get("/history").await);
    assert!(html.contains("Client corrected") && html.contains(&path), "{html}");
    let to = format!("clients/{}/void", id(&client));
    let form = [("_to", to.as_str()), ("_from", path.as_str()), ("_back", path.as_str()), ("reason", "")];
    assert!(owner.post(&format!("/log/{to}"), &form).await.is(422).contains("class=\"faults\""));
    let form = [("_to", to.as_str()), ("_from", path.as_str()), ("_back", path.as_str()), ("reason", "typed twice")];
    assert_eq!(owner.post(&format!("/log/{to}"), &form).await.to(), path);
    let html = whole(&path, owner.get(&path).await);
    assert!(html.contains("Undone") && html.contains("typed twice") && !html.contains("Undo this record"), "{html}");
    assert_eq!(owner.get("/records/7").await.status, 404);
    assert_eq!(owner.get("/records/0190b0d0-0000-7000-8000-000000000000").await.status, 404);
}
