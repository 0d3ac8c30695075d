//! Metal as callers see it: what arrives late, what is corrected, and the ends of the range.

use crate::kit::{TestShop, at, at_both, id};
use serde_json::{Value, json};

async fn charged(shop: &TestShop, heat: &str) -> Value {
    shop.get(&format!("/v1/heats/{heat}/balance")).await.is(200)["charged_kg"].clone()
}

/// A heat of 10 kg in a crucible.
async fn lit(shop: &TestShop, crucible: &str, time: &str) -> String {
    let lot = shop.lot(20.0, 1000).await;
    shop.heat_from(&lot, 10.0, &json!({"crucible": crucible, "at": at(4, time), "despite": ["crucible_in_use"]})).await
}

async fn closed(shop: &TestShop, heat: &str, time: &str, pigged: f64, heel: f64) -> Value {
    let body = json!({"at": at(4, time), "pigged_kg": pigged, "heel_kg": heel});
    shop.post(&format!("/v1/heats/{heat}/closings"), &body).await.made()
}

#[tokio::test]
async fn a_heel_goes_to_the_heat_that_comes_between() {
    at_both(async |shop| {
        let first = lit(shop, "Clay", "08:00").await;
        closed(shop, &first, "08:30", 8.0, 2.0).await;
        let last = lit(shop, "Clay", "10:00").await;
        assert_eq!(charged(shop, &last).await, json!(12.0));
        // Recorded late: lit between the two.
        let between = lit(shop, "Clay", "09:00").await;
        assert_eq!((charged(shop, &between).await, charged(shop, &last).await), (json!(12.0), json!(10.0)));
        // It was another crucible after all; then it was that one; then it never was.
        shop.patch(&format!("/v1/heats/{between}"), &json!({"crucible": "Graphite"})).await.is(200);
        assert_eq!((charged(shop, &between).await, charged(shop, &last).await), (json!(10.0), json!(12.0)));
        shop.patch(&format!("/v1/heats/{between}"), &json!({"crucible": "Clay"})).await.is(200);
        assert_eq!((charged(shop, &between).await, charged(shop, &last).await), (json!(12.0), json!(10.0)));
        shop.patch(&format!("/v1/heats/{between}"), &json!({"at": at(4, "11:00")})).await.is(200);
        assert_eq!((charged(shop, &between).await, charged(shop, &last).await), (json!(10.0), json!(12.0)));
        shop.patch(&format!("/v1/heats/{between}"), &json!({"at": at(4, "09:00")})).await.is(200);
        let cascade = json!({"reason": "never lit", "cascade": true});
        shop.post(&format!("/v1/heats/{between}/void"), &cascade).await.is(200);
        assert_eq!(charged(shop, &last).await, json!(12.0));
    })
    .await;
}

#[tokio::test]
async fn a_heel_lost_may_not_leave_a_closing_that_does_not_balance() {
    at_both(async |shop| {
        let first = lit(shop, "Clay", "08:00").await;
        closed(shop, &first, "08:30", 8.0, 2.0).await;
        let last = lit(shop, "Clay", "10:00").await;
        closed(shop, &last, "11:00", 12.0, 0.0).await;
        let lot = shop.lot(20.0, 1000).await;
        let more = json!({"crucible": "Clay", "at": at(4, "09:00"), "despite": ["crucible_in_use"]});
        // 12 kg pigged of what would then be 10 charged.
        shop.light(&lot, 10.0, &more).await.refused("residual-too-large");
    })
    .await;
}

#[tokio::test]
async fn what_was_sent_along_follows_a_corrected_time() {
    at_both(async |shop| {
        let heat = lit(shop, "Clay", "08:00").await;
        let path = format!("/v1/heats/{heat}");
        let own = json!({"lot_id": shop.lot(20.0, 1000).await, "mass_kg": 1, "at": at(4, "08:20")});
        shop.post(&format!("{path}/charges"), &own).await.made();
        shop.patch(&path, &json!({"at": at(4, "08:10")})).await.is(200);
        let lines = shop.get(&path).await.is(200)["charge"].clone();
        let times: Vec<&str> = lines.as_array().unwrap().iter().map(|l| l["at"].as_str().unwrap()).collect();
        assert_eq!(times, [at(4, "08:10"), at(4, "08:20")]);

        let (casting, shell) = shop.fired().await;
        shop.pour(&heat, &shell, 5.0).await;
        let tree = json!({"at": at(5, "09:00"), "castings": [{"casting_id": id(&casting), "verdict": "accepted"}]});
        let tree = shop.post(&format!("/v1/shells/{}/breakout", id(&shell)), &tree).await.made();
        let cut = json!({"at": at(5, "10:00"), "net_kg": 4});
        shop.post(&format!("/v1/castings/{}/cut-off", id(&casting)), &cut).await.made();
        // Not opened after it was cut off: as it would be refused from the start.
        let path = format!("/v1/shell-breakouts/{}", id(&tree));
        shop.patch(&path, &json!({"at": at(5, "11:00")})).await.refused("times-contradict");
        shop.patch(&path, &json!({"at": at(5, "09:30")})).await.is(200);
    })
    .await;
}

#[tokio::test]
async fn scrap_of_a_casting_poured_later_has_a_pool() {
    at_both(async |shop| {
        let casting = shop.casting().await;
        let shell = shop.shell(&[&casting]).await;
        shop.coats(&shell).await;
        shop.fire(&shell).await;
        let cause = json!({"at": at(3, "13:00"), "cause": {"category": "wax"}});
        let scrap = shop.post(&format!("/v1/castings/{}/scrap", id(&casting)), &cause).await.made();
        assert!(scrap["returned_lot_id"].is_string(), "{scrap:#}");
        // Poured all the same, and weighed: its metal goes back into that pool.
        let heat = shop.heat(18.0).await;
        shop.pour(&heat, &shell, 15.0).await;
        let cut = json!({"at": at(5, "10:00"), "net_kg": 12, "despite": ["not_on_record"]});
        shop.post(&format!("/v1/castings/{}/cut-off", id(&casting)), &cut).await.made();
        let pool = shop.get(&format!("/v1/metal-lots/{}", scrap["returned_lot_id"].as_str().unwrap())).await.is(200);
        assert_eq!((&pool["kind"], &pool["mass_kg"]), (&json!("returns"), &json!(12.0)));
    })
    .await;
}

#[tokio::test]
async fn the_caps_of_mass_and_money() {
    at_both(async |shop| {
        let (casting, shell) = shop.fired().await;
        let lot = shop.lot(1_000_000.0, 1_000_000_000_000).await;
        let heat = shop.heat_from(&lot, 1_000_000.0, &json!({})).await;
        shop.pour(&heat, &shell, 600_000.0).await;
        shop.close(&heat, 399_999.999_999, 0.000_001).await;
        let out = json!({"net_kg": 500_000, "gross_kg": 600_000, "returned_kg": 99_999.999_999});
        shop.breakout(&casting, &out).await;
        let balance = shop.get(&format!("/v1/heats/{heat}/balance")).await.is(200);
        // 10¹² minor for 10⁶ kg: one a milligram.
        assert_eq!((&balance["unexplained_kg"], &balance["unit_cost_minor_per_kg"]), (&json!(0.0), &json!(1_000_000.0)));
        let pools = shop.get("/v1/metal-lots?kind=returns").await.is(200);
        assert_eq!(pools["items"][0]["value_minor"], 499_999_999_998_i64);
        for (name, too_much) in [("mass_kg", json!(1_000_000.000_001)), ("cost_minor", json!(1_000_000_000_001_i64))] {
            let mut body = json!({"alloy": "C87300", "kind": "ingot", "mass_kg": 1, "cost_minor": 1, "at": at(1, "08:00")});
            body[name] = too_much;
            assert_eq!(shop.post("/v1/metal-lots", &body).await.faults()[0].0, format!("/{name}"));
        }
    })
    .await;
}

#[tokio::test]
async fn a_milligram() {
    at_both(async |shop| {
        let (casting, shell) = shop.fired().await;
        let lot = shop.lot(0.000_001, 1).await;
        let heat = shop.heat_from(&lot, 0.000_001, &json!({})).await;
        shop.pour(&heat, &shell, 0.000_001).await;
        shop.close(&heat, 0.0, 0.0).await;
        shop.breakout(&casting, &json!({"net_kg": 0.000_001})).await;
        let card = shop.get(&format!("/v1/castings/{}", id(&casting))).await.is(200);
        assert_eq!(
            (&card["metal"]["mass_kg"], &card["cost"]["metal"]["total_minor"]),
            (&json!(0.000_001), &json!(1)),
            "{card:#}"
        );
    })
    .await;
}

#[tokio::test]
async fn a_heat_whose_charge_was_voided_to_nothing() {
    at_both(async |shop| {
        let heat = lit(shop, "Clay", "08:00").await;
        let line = shop.get(&format!("/v1/heats/{heat}")).await.is(200)["charge"][0].clone();
        shop.void(&format!("/v1/charges/{}", id(&line))).await.is(200);
        assert_eq!(charged(shop, &heat).await, json!(0.0));
        let body = json!({"at": at(4, "09:30"), "pigged_kg": 1});
        shop.post(&format!("/v1/heats/{heat}/closings"), &body).await.refused("residual-too-large");
        closed(shop, &heat, "09:40", 0.0, 0.0).await;
        let (_, shell) = shop.fired().await;
        shop.try_pour(&heat, &shell, 2.0, &json!({})).await.refused("residual-too-large");
    })
    .await;
}

#[tokio::test]
async fn three_hundred_receipts_in_a_pool() {
    let shop = TestShop::open(8).await;
    let body = json!({"alloy": "C87300", "kind": "returns", "mass_kg": 0, "cost_minor": 0, "at": "2026-01-05T10:00:00Z"});
    let pool = id(&shop.post("/v1/metal-lots", &body).await.made());
    let (minutes, path) = (60_000, format!("/v1/metal-lots/{pool}/receipts"));
    // Each an hour before the one recorded before it.
    let last = pourbook::kernel::Instant::parse("2026-02-20T10:00:00Z").unwrap();
    for n in 0..300 {
        let body = json!({"at": last.plus_ms(-60 * minutes * n).to_string(), "mass_kg": 1, "cost_minor": 3});
        shop.post(&path, &body).await.made();
    }
    let heat = shop.heat_from(&pool, 100.0, &json!({})).await;
    let lot = shop.get(&format!("/v1/metal-lots/{pool}")).await.is(200);
    assert_eq!((&lot["mass_kg"], &lot["value_minor"]), (&json!(200.0), &json!(600)));
    assert_eq!(charged(&shop, &heat).await, json!(100.0));
    shop.closes().await;
}
