//! Heels: metal left in a pot is the first charge of the next heat in it, whichever that is
//! once a heat between them is voided, comes late, or turns out to have been in another pot.

use crate::kit::{TestShop, at, at_both, id};
use serde_json::{Value, json};

/// A heat of one pour in a pot, lit on a day; it is charged 10 kg and leaves a heel.
async fn heat(shop: &TestShop, pot: &str, day: u32, heel: f64) -> String {
    let (_, shell) = shop.fired().await;
    let lot = shop.lot(20.0, 1000 * i64::from(day)).await;
    let heat = shop.heat_from(&lot, 10.0, &json!({"crucible": pot, "at": at(day, "08:00")})).await;
    shop.try_pour(&heat, &shell, 9.0 - heel, &json!({"at": at(day, "09:10")})).await.made();
    let body = json!({"at": at(day, "09:30"), "pigged_kg": 0.9, "dross_kg": 0.1, "heel_kg": heel});
    shop.post(&format!("/v1/heats/{heat}/close"), &body).await.made();
    heat
}

async fn charged(shop: &TestShop, heats: &[&String]) -> Vec<Value> {
    let mut out = Vec::new();
    for heat in heats {
        out.push(shop.get(&format!("/v1/heats/{heat}/balance")).await.is(200)["charged_kg"].clone());
    }
    out
}

#[tokio::test]
async fn the_next_heat_in_the_pot_takes_it() {
    at_both(async |shop| {
        let one = heat(shop, "Big", 4, 0.2).await;
        let three = heat(shop, "Big", 8, 0.3).await;
        assert_eq!(charged(shop, &[&one, &three]).await, [json!(10.0), json!(10.2)]);
        // One between them comes late and takes the first heel; its own goes on.
        let two = heat(shop, "Big", 6, 0.4).await;
        assert_eq!(charged(shop, &[&two, &three]).await, [json!(10.2), json!(10.4)]);
        assert_eq!(app_rebuild(shop).await, Vec::<String>::new());
        // It was in another pot after all.
        shop.patch(&format!("/v1/heats/{two}"), &json!({"crucible": "Small"})).await.is(200);
        assert_eq!(charged(shop, &[&two, &three]).await, [json!(10.0), json!(10.2)]);
        assert_eq!(app_rebuild(shop).await, Vec::<String>::new());
        shop.patch(&format!("/v1/heats/{two}"), &json!({"crucible": "Big"})).await.is(200);
        assert_eq!(charged(shop, &[&two, &three]).await, [json!(10.2), json!(10.4)]);
        // It never happened.
        shop.post(&format!("/v1/heats/{two}/void"), &json!({"reason": "logged twice", "cascade": true})).await.is(200);
        assert_eq!(charged(shop, &[&three]).await, [json!(10.2)]);
        shop.closes().await;
    })
    .await;
}

async fn app_rebuild(shop: &TestShop) -> Vec<String> {
    pourbook::app::rebuild::run(&shop.db).await.unwrap()
}

#[tokio::test]
async fn a_heel_corrected_or_gone_is_missed_by_the_next_heat() {
    at_both(async |shop| {
        let one = heat(shop, "Big", 4, 0.2).await;
        let two = heat(shop, "Big", 6, 0.4).await;
        let closing = shop.get(&format!("/v1/heats/{one}")).await.is(200)["closings"][0].clone();
        shop.patch(&format!("/v1/closings/{}", id(&closing)), &json!({"heel_kg": 0.25})).await.is(200);
        assert_eq!(charged(shop, &[&two]).await, [json!(10.25)]);
        shop.post(&format!("/v1/closings/{}/void", id(&closing)), &json!({"reason": "not yet"})).await.is(200);
        assert_eq!(charged(shop, &[&two]).await, [json!(10.0)]);
        shop.closes().await;
    })
    .await;
}
