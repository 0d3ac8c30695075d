//! Times known only to the day, nights that are an hour longer or shorter, and hands that
//! share a tablet.

use crate::kit::{TestShop, at, at_both, id};
use pourbook::kernel::Role;
use serde_json::{Value, json};

async fn lisbon(shop: &TestShop) {
    shop.post("/v1/settings", &json!({"name": "zone", "from_on": "2025-01-01", "value": "Europe/Lisbon"})).await.made();
}

async fn fire_on(shop: &TestShop, shell: &Value, day: &str, precision: &str) {
    let body = json!({"kiln": "Big kiln", "at": day, "at_precision": precision, "peak_c": 870, "shells": [{"shell_id": id(shell), "result": "sound"}]});
    shop.post("/v1/burnouts", &body).await.made();
}

#[tokio::test]
async fn a_day_is_held_only_against_the_day() {
    at_both(async |shop| {
        for (poured, taken) in [("2026-03-04T00:05:00Z", true), ("2026-03-04T23:55:00Z", true), ("2026-03-03T23:55:00Z", false)] {
            let casting = shop.casting().await;
            let shell = shop.shell(&[&casting]).await;
            fire_on(shop, &shell, &at(4, "18:00"), "day").await;
            let lot = shop.lot(50.0, 100).await;
            let heat = shop.heat_from(&lot, 18.0, &json!({"at": at(3, "20:00")})).await;
            let reply = shop.try_pour(&heat, &shell, 15.0, &json!({"at": poured})).await;
            if taken {
                reply.made();
                assert_eq!(shop.stage(&casting).await, "pour", "{poured}");
            } else {
                reply.refused("not-yet");
            }
        }
        // Known to the minute, the same firing is after the first pour of that day.
        let casting = shop.casting().await;
        let shell = shop.shell(&[&casting]).await;
        fire_on(shop, &shell, &at(4, "18:00"), "minute").await;
        let heat = shop.heat(18.0).await;
        shop.try_pour(&heat, &shell, 15.0, &json!({})).await.refused("not-yet");
    })
    .await;
}

/// Portugal goes from UTC+0 to UTC+1 on 29 March 2026 at 01:00 UTC (IANA time zone
/// database, Europe/Lisbon; EU directive 2000/84): that day has 23 hours.
#[tokio::test]
async fn the_day_that_lacks_an_hour() {
    at_both(async |shop| {
        lisbon(shop).await;
        for (poured, taken) in [
            ("2026-03-28T23:59:00Z", false),
            ("2026-03-29T00:00:00Z", true),
            ("2026-03-29T02:00:00+01:00", true),
            ("2026-03-29T23:59:00+01:00", true),
        ] {
            let casting = shop.casting().await;
            let shell = shop.shell(&[&casting]).await;
            fire_on(shop, &shell, "2026-03-29T12:00:00+01:00", "day").await;
            let lot = shop.lot(50.0, 100).await;
            let heat = shop.heat_from(&lot, 18.0, &json!({"at": "2026-03-28T20:00:00Z"})).await;
            let reply = shop.try_pour(&heat, &shell, 15.0, &json!({"at": poured})).await;
            assert_eq!(reply.status == 201, taken, "{poured}: {:#}", reply.json);
        }
        // 23:30 UTC on the 29th is 00:30 of the 30th in Lisbon: another day, and after it.
        let casting = shop.casting().await;
        let shell = shop.shell(&[&casting]).await;
        let lot = shop.lot(50.0, 100).await;
        let heat = shop.heat_from(&lot, 18.0, &json!({"at": "2026-03-29T20:00:00Z"})).await;
        fire_on(shop, &shell, "2026-03-30T00:30:00+01:00", "day").await;
        shop.try_pour(&heat, &shell, 15.0, &json!({"at": "2026-03-29T22:59:00Z"})).await.refused("not-yet");
        shop.try_pour(&heat, &shell, 15.0, &json!({"at": "2026-03-29T23:00:00Z"})).await.made();
    })
    .await;
}

/// On 26 October 2025 at 01:00 UTC Portugal goes back: 01:30 comes twice, an hour apart.
#[tokio::test]
async fn the_hour_that_comes_twice() {
    at_both(async |shop| {
        lisbon(shop).await;
        let commission = shop.commission(None).await;
        let piece = shop.piece(&commission, &json!({"at": "2025-10-20T08:00:00Z"})).await;
        let recipe = shop.recipe().await;
        let body = json!({"recipe_id": recipe, "casting_ids": [id(&piece["castings"][0])], "gating_kg": 0.5, "at": "2025-10-25T10:00:00Z"});
        let shell = shop.post("/v1/shells", &body).await.made();
        let coat = async |kind: &str, time: &str| {
            let path = format!("/v1/shells/{}/coats", id(&shell));
            shop.post(&path, &json!({"kind": kind, "slurry": kind, "at": time})).await.made()
        };
        // Recorded in the wrong order: the offset tells them apart.
        let second = coat("backup", "2025-10-26T01:30:00+00:00").await;
        coat("prime", "2025-10-26T01:30:00+01:00").await;
        let again = shop.get(&format!("/v1/coats/{}", id(&second))).await.is(200);
        assert_eq!(again["practice_flags"], json!([{"code": "coat_not_dry", "limit": "3 h", "was": "1.0 h"}]), "{again:#}");
    })
    .await;
}

#[tokio::test]
async fn two_hands_on_one_tablet() {
    at_both(async |shop| {
        let (_, shell) = shop.fired().await;
        let heat = shop.heat(18.0).await;
        let body = shop.pour_body(&shell, 15.4, &json!({"hands": ["Ada", "Bea"]}));
        let ask = |who| shop.ask("POST", &format!("/v1/heats/{heat}/pours")).by(Some(who));
        let pour = ask(Role::Hand).key("tablet-1").json(&body).send().await.made();
        assert_eq!(pour["by"], "hand");
        let made: Vec<&str> = pour["first_use"].as_array().unwrap().iter().map(|f| f["name"].as_str().unwrap()).collect();
        assert_eq!(made, ["Ada", "Bea"]);
        assert_eq!(pour["hands"].as_array().unwrap().len(), 2);
        // The tablet changes hands: the same key by another token is the same request.
        let again = ask(Role::Owner).key("tablet-1").json(&body).send().await;
        assert_eq!(again.header("idempotency-replayed"), Some("true"));
        let again = again.made();
        assert_eq!((&again["id"], &again["by"]), (&pour["id"], &json!("hand")));
        // A name is known again however it is written; nobody is made twice.
        let skim = json!({"kind": "skim", "at": at(4, "09:00"), "hands": ["  ada ", pour["hands"][1]]});
        let skim = shop.post(&format!("/v1/heats/{heat}/events"), &skim).await.made();
        assert_eq!(skim["hands"], pour["hands"]);
        assert!(skim.get("first_use").is_none());
        assert_eq!(shop.get("/v1/hands").await.is(200)["items"].as_array().unwrap().len(), 2);
    })
    .await;
}
