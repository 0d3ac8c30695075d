//! Likely slips: refused once with the word to say, taken when it is said, and flagged.

use crate::kit::{Reply, TestShop, at, at_both, id};
use serde_json::{Value, json};

/// Asks once, twice with another word, then with the one that the refusal names.
async fn said_again(shop: &TestShop, path: &str, body: &Value, refusal: &str, code: &str) -> Value {
    let reply = shop.post(path, body).await;
    assert_eq!(reply.status, 409, "{:#}", reply.json);
    let problem = reply.refused(refusal);
    if refusal != "pattern-is-unique" {
        assert_eq!(problem["despite"], json!([code]), "{problem:#}");
    }
    let mut again = body.clone();
    let other = if code == "lot_short" { "crucible_in_use" } else { "lot_short" };
    again["despite"] = json!([other]);
    shop.post(path, &again).await.refused(refusal);
    again["despite"] = json!([code]);
    let made = shop.post(path, &again).await.made();
    flagged(&made, code);
    made
}

#[track_caller]
fn flagged(record: &Value, code: &str) {
    let flags = record["practice_flags"].as_array().unwrap();
    assert!(flags.iter().any(|f| f["code"] == code), "{code} is not flagged: {record:#}");
}

#[tokio::test]
async fn fired_but_never_logged() {
    at_both(async |shop| {
        let casting = shop.casting().await;
        let shell = shop.shell(&[&casting]).await;
        let heat = shop.heat(18.0).await;
        let path = format!("/v1/heats/{heat}/pours");
        let pour = said_again(shop, &path, &shop.pour_body(&shell, 15.4, &json!({})), "not-yet", "not_on_record").await;
        assert_eq!(shop.stage(&casting).await, "pour");
        // Once the burnout turns up after all, nothing is missing any more.
        shop.fire(&shell).await;
        assert_eq!(shop.stage(&casting).await, "pour");
        shop.void(&format!("/v1/pours/{}", id(&pour))).await.is(200);
        assert_eq!(shop.stage(&casting).await, "burnout");
    })
    .await;
}

#[tokio::test]
async fn every_stage_that_may_be_missing() {
    at_both(async |shop| {
        let preheat = |shell: &Value| json!({"kiln": "Small kiln", "at": at(4, "06:00"), "shell_ids": [id(shell)]});
        let casting = shop.casting().await;
        let shell = shop.shell(&[&casting]).await;
        said_again(shop, "/v1/preheats", &preheat(&shell), "not-yet", "not_on_record").await;
        assert_eq!(shop.stage(&casting).await, "preheat");
        for (action, body, stage) in
            [("cut-off", json!({"at": at(5, "10:00"), "net_kg": 11}), "bench"), ("finish", json!({"at": at(6, "10:00")}), "done")]
        {
            let (casting, shell) = shop.fired().await;
            shop.pour(&shop.heat(18.0).await, &shell, 15.4).await;
            said_again(shop, &format!("/v1/castings/{}/{action}", id(&casting)), &body, "not-yet", "not_on_record").await;
            assert_eq!(shop.stage(&casting).await, stage);
        }
        // A shell and a pour cannot be done without, whatever is said.
        let (casting, _) = shop.fired().await;
        let problem = shop.try_breakout(&casting, &json!({"despite": ["not_on_record"]})).await.refused("not-yet");
        assert_eq!(problem["despite"], json!([]));
    })
    .await;
}

#[tokio::test]
async fn poured_from_a_heat_of_another_alloy() {
    at_both(async |shop| {
        let (casting, shell) = shop.fired().await;
        let lot = shop.lot(50.0, 100).await;
        let heat = shop.heat_from(&lot, 18.0, &json!({"alloy": "C90300"})).await;
        let path = format!("/v1/heats/{heat}/pours");
        said_again(shop, &path, &shop.pour_body(&shell, 15.4, &json!({})), "alloy-differs", "alloy_differs").await;
        // Both are kept.
        assert_eq!(shop.get(&format!("/v1/castings/{}", id(&casting))).await.is(200)["alloy"], "C87300");
        assert_eq!(shop.get(&format!("/v1/heats/{heat}")).await.is(200)["alloy"], "C90300");
        // Its gating goes back into the pool of what was poured.
        shop.breakout(&casting, &json!({"gross_kg": 15.2, "net_kg": 11, "returned_kg": 4.1})).await;
        let pools = shop.get("/v1/metal-lots?kind=returns&alloy=C90300").await.is(200);
        assert_eq!(pools["items"][0]["mass_kg"], 4.1, "{pools:#}");
    })
    .await;
}

#[tokio::test]
async fn a_heat_that_was_of_another_alloy() {
    at_both(async |shop| {
        let (_, _, heat, pour) = shop.poured().await;
        let (heat, pour) = (format!("/v1/heats/{heat}"), format!("/v1/pours/{}", id(&pour)));
        let other = |despite: Value| json!({"alloy": "C90300", "despite": despite});
        shop.patch(&heat, &other(json!([]))).await.refused("alloy-differs");
        shop.patch(&heat, &other(json!(["alloy_differs"]))).await.is(200);
        let flags = async || -> Vec<Value> {
            let flags = shop.get(&pour).await.is(200)["practice_flags"].as_array().unwrap().clone();
            flags.into_iter().filter(|f| f["code"] == "alloy_differs").collect()
        };
        assert_eq!(flags().await, [json!({"code": "alloy_differs", "limit": "C87300", "was": "C90300"})]);
        // It was said; nothing else of heat and pour is held up by it.
        shop.patch(&heat, &json!({"notes": "red shavings"})).await.is(200);
        shop.patch(&pour, &json!({"pour_seconds": 9})).await.is(200);
        shop.patch(&heat, &json!({"alloy": "C87300", "despite": []})).await.is(200);
        assert_eq!(flags().await, Vec::<Value>::new());
        // Or the pour says it.
        shop.patch(&pour, &json!({"despite": ["alloy_differs"]})).await.is(200);
        shop.patch(&heat, &other(json!([]))).await.is(200);
        assert_eq!(flags().await, [json!({"code": "alloy_differs"})]);
    })
    .await;
}

#[tokio::test]
async fn the_bin_held_more_than_the_book() {
    at_both(async |shop| {
        let lot = shop.lot(5.0, 4500).await;
        let body = json!({"alloy": "C87300", "furnace": "Gas", "at": at(4, "08:00"), "charge": [{"lot_id": lot, "mass_kg": 6}]});
        let reply = shop.post("/v1/heats", &body).await.refused("lot-short");
        assert_eq!(reply["short_kg"], 1.0);
        said_again(shop, "/v1/heats", &body, "lot-short", "lot_short").await;
        let balance = shop.get("/v1/metal/balance").await.is(200);
        assert_eq!(balance["by_sink"]["unexplained"], json!({"mass_kg": -1.0, "value_minor": 0}), "{balance:#}");
        assert_eq!(balance["in_heats"], json!({"mass_kg": 6.0, "value_minor": 4500}));
        assert_eq!(shop.get(&format!("/v1/metal-lots/{lot}")).await.is(200)["mass_kg"], 0.0);
    })
    .await;
}

#[tokio::test]
async fn a_unique_pattern_cast_again() {
    at_both(async |shop| {
        let pattern = shop.pattern("unique").await;
        let piece = shop.piece(&shop.commission(None).await, &json!({"pattern_id": pattern, "at": at(1, "08:00")})).await;
        let path = format!("/v1/castings/{}", id(&piece["castings"][0]));
        shop.post(&format!("{path}/scrap"), &json!({"at": at(2, "09:00"), "cause": {"category": "wax", "text": "fell"}}))
            .await
            .made();
        let recast = format!("{path}/recast");
        shop.post(&recast, &json!({"at": at(2, "10:00"), "despite": ["pattern_is_unique"]})).await.refused("pattern-is-unique");
        shop.post(&recast, &json!({"at": at(2, "10:00"), "how": "remodelled"})).await.refused("pattern-is-unique");
        let body = json!({"at": at(2, "10:00"), "how": "remodelled", "despite": ["pattern_is_unique"]});
        let next = shop.post(&recast, &body).await.made();
        assert_eq!((next["attempt"].clone(), next["stage"].clone()), (json!(2), json!("wax")));
        let made = shop.get(&format!("/v1/recasts/{}", next["recast_id"].as_str().unwrap())).await.is(200);
        flagged(&made, "pattern_is_unique");
        assert_eq!((made["how"].clone(), made["reason"].clone()), (json!("remodelled"), json!("scrapped")));
        // A part is cast again from its last attempt.
        shop.post(&recast, &body).await.refused("out-of-route");
    })
    .await;
}

async fn clients_lot(shop: &TestShop, client: &str) -> String {
    let body = json!({"alloy": "C87300", "kind": "ingot", "mass_kg": 50, "cost_minor": 0, "at": at(1, "08:00"), "owner_client_id": client});
    id(&shop.post("/v1/metal-lots", &body).await.made())
}

#[tokio::test]
async fn a_clients_metal_in_anothers_work() {
    at_both(async |shop| {
        let (ada, bea) = (shop.client("Ada").await, shop.client("Bea").await);
        let lot = clients_lot(shop, &ada).await;
        let mut shells = Vec::new();
        for client in [Some(&ada), Some(&bea), None] {
            let casting = shop.casting_of(&shop.commission(client.map(String::as_str)).await).await;
            let shell = shop.shell(&[&casting]).await;
            shop.fire(&shell).await;
            shells.push(shell);
        }
        let heat = shop.heat_from(&lot, 30.0, &json!({})).await;
        let path = format!("/v1/heats/{heat}/pours");
        // Into Ada's own work without a word.
        shop.pour(&heat, &shells[0], 9.0).await;
        for (n, shell) in shells[1..].iter().enumerate() {
            let body = shop.pour_body(shell, 9.0, &json!({"at": at(4, &format!("09:2{n}"))}));
            said_again(shop, &path, &body, "client-metal", "client_metal").await;
        }
        let value = shop.get("/v1/metal/balance").await.is(200)["bought"]["value_minor"].clone();
        assert_eq!(value, 0, "a client's metal has no value in the shop's book");
    })
    .await;
}

#[tokio::test]
async fn a_crucible_in_two_open_heats() {
    at_both(async |shop| {
        let lot = shop.lot(80.0, 100).await;
        let first = shop.heat_from(&lot, 10.0, &json!({"crucible": "Clay"})).await;
        let body = json!({"alloy": "C87300", "furnace": "Gas", "crucible": "CLAY", "at": at(4, "09:00"), "charge": [{"lot_id": lot, "mass_kg": 6}]});
        said_again(shop, "/v1/heats", &body, "crucible-in-use", "crucible_in_use").await;
        // Of another day, once both are closed: nothing to say.
        shop.close(&first, 9.9, 0.1).await;
        let late = json!({"alloy": "C87300", "furnace": "Gas", "crucible": "Clay", "at": at(3, "09:00"), "charge": [{"lot_id": lot, "mass_kg": 6}]});
        let reply: Reply = shop.post("/v1/heats", &late).await;
        reply.made();
    })
    .await;
}
