//! Counts by month: they follow pours, corrections, voids and the shop's zone, and say what the
//! facts say.

#[path = "../outside/counts.rs"]
mod counts;

use crate::kit::{TestShop, at_both, id};
use pourbook::app::rebuild;
use pourbook::kernel::{Actor, Role};
use serde_json::{Value, json};

/// Level, poured and leaked of a report of leaks.
async fn leaks(shop: &TestShop, by: &str) -> Vec<(String, i64, i64)> {
    let report = shop.get(&format!("/v1/reports/leaks?by={by}")).await.is(200);
    let rows = report["rows"].as_array().unwrap();
    let row = |r: &Value| (r["level"].as_str().unwrap().to_owned(), r["poured"].as_i64().unwrap(), r["leaked"].as_i64().unwrap());
    rows.iter().map(row).collect()
}

fn month(name: &str, poured: i64, leaked: i64) -> (String, i64, i64) {
    (name.to_owned(), poured, leaked)
}

/// One shell poured on 4 March; one on 31 March at 11:20 UTC, which is 1 April in Auckland and
/// leaks. Answers the second pour.
async fn poured(shop: &TestShop) -> String {
    shop.poured().await;
    let (_, shell) = shop.fired().await;
    let lot = shop.lot(50.0, 40_000).await;
    let heat = shop.heat_from(&lot, 18.0, &json!({"at": "2026-03-31T10:00:00Z"})).await;
    let leak = json!([{"where": "gate", "response": "froze_off", "lost_kg": 0.2}]);
    let pour = shop.try_pour(&heat, &shell, 15.4, &json!({"at": "2026-03-31T11:20:00Z", "leaks": leak})).await.made();
    id(&pour)
}

#[tokio::test]
async fn they_follow_pours_their_corrections_and_voids() {
    at_both(async |shop| {
        assert_eq!(shop.number("SELECT count(*) FROM fact_month_count").await, 0);
        let pour = poured(shop).await;
        assert_eq!(leaks(shop, "month").await, [month("2026-03", 2, 1)]);
        assert_eq!(leaks(shop, "place_in_heat").await, [month("1", 2, 1)]);
        let shorts = shop.get("/v1/reports/shorts?by=furnace&from=2026-03-01T00:00:00Z").await.is(200);
        assert_eq!((&shorts["overall"]["poured"], &shorts["overall"]["short"]), (&json!(2), &json!(0)));
        assert!(counts::both_ways(&shop.db).await > 100);
        let path = format!("/v1/pours/{pour}");
        shop.patch(&path, &json!({"filled": "short", "support": "standing"})).await.is(200);
        let shorts = shop.get("/v1/reports/shorts?by=support").await.is(200);
        let short: Vec<&Value> = shorts["rows"].as_array().unwrap().iter().map(|r| &r["short"]).collect();
        assert_eq!(short, [&json!(0), &json!(1)], "{shorts}");
        assert!(counts::both_ways(&shop.db).await > 100);
        shop.post(&format!("{path}/void"), &json!({"reason": "another shell", "cascade": true})).await.is(200);
        assert_eq!(leaks(shop, "month").await, [month("2026-03", 1, 0)]);
        assert!(counts::both_ways(&shop.db).await > 50);
        assert_eq!(shop.number("SELECT count(*) FROM fact_month_count WHERE level = 'standing'").await, 0, "none is left empty");
    })
    .await;
}

#[tokio::test]
async fn a_zone_moves_what_was_poured_at_the_edge_of_a_month() {
    at_both(async |shop| {
        poured(shop).await;
        let zone = |from_on: &str, name: &str| json!({"name": "zone", "from_on": from_on, "value": name});
        let auckland = shop.post("/v1/settings", &zone("2020-01-01", "Pacific/Auckland")).await.made();
        let moved = [month("2026-03", 1, 0), month("2026-04", 1, 1)];
        assert_eq!(leaks(shop, "month").await, moved);
        // April begins at 11:00 UTC on 31 March (IANA tz: NZDT is UTC+13).
        let april = shop.get("/v1/reports/leaks?by=recipe&from=2026-03-31T11:00:00Z").await.is(200);
        assert_eq!((&april["overall"]["poured"], &april["overall"]["leaked"]), (&json!(1), &json!(1)));
        assert!(counts::both_ways(&shop.db).await > 100);
        // Other settings leave them as they are.
        shop.post("/v1/settings", &json!({"name": "shell_dry_c", "from_on": "2026-03-01", "value": 210})).await.made();
        assert_eq!(leaks(shop, "month").await, moved);
        shop.patch(&format!("/v1/settings/{}", id(&auckland)), &zone("2020-01-01", "America/New_York")).await.is(200);
        assert_eq!(leaks(shop, "month").await, [month("2026-03", 2, 1)]);
        assert!(counts::both_ways(&shop.db).await > 100);
        // Only from the day on that the shop is there.
        let late = shop.post("/v1/settings", &zone("2026-03-20", "Pacific/Auckland")).await.made();
        assert_eq!(leaks(shop, "month").await, moved);
        shop.closes().await;
        for setting in [&auckland, &late] {
            shop.void(&format!("/v1/settings/{}", id(setting))).await.is(200);
        }
        assert_eq!(leaks(shop, "month").await, [month("2026-03", 2, 1)]);
        assert_eq!(shop.number("SELECT begin_ms FROM fact_month WHERE name = '2026-04'").await, 1_775_001_600_000);
    })
    .await;
}

#[tokio::test]
async fn counts_and_months_that_stand_otherwise_are_named_and_put_right() {
    let shop = TestShop::open(1).await;
    poured(&shop).await;
    for (sql, name) in [
        ("UPDATE fact_month_count SET leaked = leaked + 1 WHERE factor = 'recipe'", "counts by month"),
        ("DELETE FROM fact_month_count WHERE factor = 'alloy'", "counts by month"),
        ("UPDATE fact_month SET begin_ms = begin_ms + 1 WHERE name = '2026-03'", "months of the shop"),
    ] {
        let mut tx = shop.db.write(Actor::new("nobody", Role::Owner)).await.unwrap();
        tx.push(sql, vec![]);
        tx.save(()).await.unwrap();
        let differs = rebuild::run(&shop.db).await.unwrap();
        assert!(differs.iter().any(|d| d.starts_with(name)), "{sql}: {differs:?}");
        assert_eq!(rebuild::run(&shop.db).await.unwrap(), Vec::<String>::new());
    }
    assert_eq!(leaks(&shop, "month").await, [month("2026-03", 2, 1)]);
}
