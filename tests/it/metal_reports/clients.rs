//! A client's own metal: where it may go, and the statement of where it went.

use super::{near, row};
use crate::kit::{TestShop, at, at_both, id};
use serde_json::{Value, json};

async fn clients_lot(shop: &TestShop, client: &str, kg: f64) -> String {
    let body = json!({"alloy": "C87300", "kind": "ingot", "mass_kg": kg, "cost_minor": 0, "at": at(1, "08:00"), "owner_client_id": client});
    id(&shop.post("/v1/metal-lots", &body).await.made())
}

/// A casting of a client's work, fired.
async fn work_of(shop: &TestShop, client: &str) -> (Value, Value) {
    let casting = shop.casting_of(&shop.commission(Some(client)).await).await;
    let shell = shop.shell(&[&casting]).await;
    shop.coats(&shell).await;
    shop.fire(&shell).await;
    (casting, shell)
}

/// The statement, whole to the milligram.
async fn statement(shop: &TestShop, client: &str, query: &str) -> Value {
    let found = shop.get(&format!("/v1/clients/{client}/metal-statement{query}")).await.is(200);
    assert_eq!(found["closing_difference_mg"], 0, "{found:#}");
    let last = found["lines"].as_array().unwrap().last();
    let on_hand = last.map_or(&found["opening"]["on_hand_kg"], |line| &line["on_hand_kg"]);
    assert_eq!(on_hand, &found["closing"]["on_hand_kg"], "{found:#}");
    found
}

#[tokio::test]
async fn a_heat_of_two_owners_is_shared_by_what_each_charged() {
    at_both(async |shop| {
        let ada = shop.client("Ada").await;
        let (own, ours) = (clients_lot(shop, &ada, 30.0).await, shop.lot(100.0, 90_000).await);
        let (casting, shell) = work_of(shop, &ada).await;
        let charge = json!({"charge": [{"lot_id": own, "mass_kg": 20}, {"lot_id": ours, "mass_kg": 10}]});
        let heat = shop.heat_from(&own, 0.0, &charge).await;
        let half_way = statement(shop, &ada, "").await;
        assert_eq!(half_way["closing"], json!({"on_hand_kg": 10.0, "in_process_kg": 20.0}));
        shop.pour(&heat, &shell, 15.0).await;
        shop.close(&heat, 14.4, 0.3).await;
        shop.breakout(&casting, &json!({"gross_kg": 15.0, "net_kg": 12.0, "returned_kg": 2.7})).await;
        let found = statement(shop, &ada, "").await;
        // Two parts of three: of 14.4 pigged 9.6, of 0.3 dross 0.2, of 0.3 unexplained 0.2, of
        // 15 poured 10; of those 12 net 8, 2.7 returned 1.8, 0.3 swarf 0.2.
        near(&found["received_kg"], 30.0);
        near(&found["cast_kg"], 8.0);
        near(&found["passed_on_kg"], 11.4);
        near(&found["lost_kg"], 0.6);
        assert_eq!(found["lost"], json!({"dross_kg": 0.2, "swarf_kg": 0.2, "unexplained_kg": 0.2}));
        assert_eq!(found["closing"], json!({"on_hand_kg": 10.0, "in_process_kg": 0.0}));
        assert_eq!(found["gained_kg"], 0.0);
        let charged = row(&found["lines"], "what", "charged");
        assert_eq!((&charged["mass_kg"], &charged["heat"]["id"]), (&json!(20.0), &json!(heat)));
        for line in found["lines"].as_array().unwrap() {
            shop.get(line["href"].as_str().unwrap()).await.is(200);
        }
        // The same in two parts: what stood at the cut is at the end of one, at the beginning
        // of the other.
        let cut = at(4, "09:20");
        let (before, after) =
            (statement(shop, &ada, &format!("?to={cut}")).await, statement(shop, &ada, &format!("?from={cut}")).await);
        assert_eq!(before["closing"], after["opening"]);
        assert_eq!(before["closing"]["in_process_kg"], 20.0);
        for name in ["received_kg", "cast_kg", "passed_on_kg", "lost_kg"] {
            near(&json!(before[name].as_f64().unwrap() + after[name].as_f64().unwrap()), found[name].as_f64().unwrap());
        }
        // What is on hand is the client's stock.
        let stock = shop.get("/v1/metal/stock").await.is(200);
        let owner = row(&stock["by_owner"], "owner", "client");
        assert_eq!((&owner["mass_kg"], &owner["owner_client_id"]), (&json!(10.0), &json!(ada)));
        assert_eq!(owner["href"], format!("/v1/clients/{ada}/metal-statement"));
    })
    .await;
}

#[tokio::test]
async fn what_is_left_of_a_clients_heat_goes_to_that_clients_pool() {
    at_both(async |shop| {
        let ada = shop.client("Ada").await;
        // The shop's own pool is there already, and older.
        let body = json!({"alloy": "C87300", "kind": "returns", "mass_kg": 0, "cost_minor": 0, "at": "2026-01-05T10:00:00Z"});
        let shops = id(&shop.post("/v1/metal-lots", &body).await.made());
        let own = clients_lot(shop, &ada, 10.0).await;
        let (casting, shell) = work_of(shop, &ada).await;
        let crucible = json!({"crucible": "No 5"});
        let heat = shop.heat_from(&own, 10.0, &crucible).await;
        shop.pour(&heat, &shell, 6.0).await;
        let named = json!({"at": at(4, "09:30"), "pigged_kg": 2.9, "heel_kg": 1, "pigged_lot_id": shops});
        shop.post(&format!("/v1/heats/{heat}/close"), &named).await.refused("client-metal");
        let closing = json!({"at": at(4, "09:30"), "pigged_kg": 2.9, "heel_kg": 1});
        let closing = shop.post(&format!("/v1/heats/{heat}/close"), &closing).await.made();
        let pool = closing["pigged_lot_id"].as_str().unwrap().to_owned();
        let lot = shop.get(&format!("/v1/metal-lots/{pool}")).await.is(200);
        assert_eq!((&lot["owner_client_id"], &lot["kind"], &lot["mass_kg"]), (&json!(ada), &json!("returns"), &json!(2.9)));
        let opened = shop.breakout(&casting, &json!({"gross_kg": 6.0, "net_kg": 4.5, "returned_kg": 1.4})).await;
        assert_eq!(opened["returned_lot_id"], pool.as_str(), "the same pool, once made");
        // The heel is the client's too; with the shop's metal it is theirs alone no more.
        let (_, shell) = work_of(shop, &ada).await;
        let second = shop.heat_from(&pool, 2.0, &json!({"crucible": "No 5", "at": at(6, "08:00")})).await;
        let pour = shop.pour_body(&shell, 2.5, &json!({"at": at(6, "09:00")}));
        shop.post(&format!("/v1/heats/{second}/pours"), &pour).await.made();
        let close = |pigged: f64| json!({"at": at(6, "09:30"), "pigged_kg": pigged});
        let closed = shop.post(&format!("/v1/heats/{second}/close"), &close(0.5)).await.made();
        assert_eq!(closed["pigged_lot_id"], pool.as_str());
        let out = json!({"at": at(7, "09:00"), "mass_kg": 1, "to": "sold"});
        shop.post(&format!("/v1/metal-lots/{pool}/out"), &out).await.made();
        let count = json!({"at": at(8, "09:00"), "mass_kg": 1.79, "reason": "stocktaking"});
        shop.post(&format!("/v1/metal-lots/{pool}/count"), &count).await.made();
        // Charged 10: poured 6, pigged 2.9, heel 1, so 0.1 unexplained. Broken out 4.5, 1.4 back,
        // 0.1 swarf. Charged 2 and the heel: poured 2.5, pigged 0.5. The pool: 2.9 + 1.4 − 2 +
        // 0.5 − 1 = 1.8, counted 1.79.
        let found = statement(shop, &ada, "").await;
        assert_eq!(found["closing"], json!({"on_hand_kg": 1.79, "in_process_kg": 2.5}));
        for (name, kg) in [
            ("received_kg", 10.0),
            ("cast_kg", 4.5),
            ("lost_kg", 0.2),
            ("handed_back_kg", 1.0),
            ("counted_kg", -0.01),
            ("passed_on_kg", 0.0),
            ("gained_kg", 0.0),
        ] {
            near(&found[name], kg);
        }
        let value = shop.number("SELECT coalesce(sum(value_minor), 0) FROM account").await;
        assert_eq!(value, 0, "a client's metal has no value in the shop's book");
    })
    .await;
}

#[tokio::test]
async fn two_clients_metal_in_one_heat_is_said_again_and_flagged() {
    at_both(async |shop| {
        let (ada, bea) = (shop.client("Ada").await, shop.client("Bea").await);
        let (hers, others) = (clients_lot(shop, &ada, 20.0).await, clients_lot(shop, &bea, 20.0).await);
        let both = json!([{"lot_id": hers, "mass_kg": 5}, {"lot_id": others, "mass_kg": 5}]);
        shop.light(&hers, 0.0, &json!({"charge": both})).await.refused("client-metal");
        let said = json!({"charge": both, "despite": ["client_metal"]});
        let heat = shop.light(&hers, 0.0, &said).await.made();
        assert!(heat["charge"][0]["practice_flags"].to_string().contains("client_metal"), "{heat:#}");
        let heat = id(&heat);
        let (casting, shell) = work_of(shop, &ada).await;
        shop.try_pour(&heat, &shell, 7.001, &json!({})).await.refused("client-metal");
        shop.try_pour(&heat, &shell, 7.001, &json!({"despite": ["client_metal"]})).await.made();
        shop.close(&heat, 2.9, 0.0).await;
        shop.breakout(&casting, &json!({"gross_kg": 7.001, "net_kg": 7.001})).await;
        // 7.001 of 10 by halves: 3.5005 each.
        near(&statement(shop, &ada, "").await["cast_kg"], 3.5005);
        let beas = statement(shop, &bea, "").await;
        near(&beas["cast_for_others_kg"], 3.5005);
        near(&beas["passed_on_kg"], 1.45);
    })
    .await;
}

#[tokio::test]
async fn a_pour_into_anothers_work_is_flagged_once_the_lot_is_known_to_be_a_clients() {
    at_both(async |shop| {
        let (ada, bea) = (shop.client("Ada").await, shop.client("Bea").await);
        let lot = shop.lot(50.0, 0).await;
        let (_, shell) = work_of(shop, &bea).await;
        let heat = shop.heat_from(&lot, 10.0, &json!({})).await;
        let pour = shop.pour(&heat, &shell, 9.0).await;
        let flags = async || {
            let pour = shop.get(&format!("/v1/pours/{}", id(&pour))).await.is(200);
            let flags = pour["practice_flags"].as_array().unwrap().clone();
            flags.into_iter().filter(|f| f["code"] == "client_metal").count()
        };
        assert_eq!(flags().await, 0);
        shop.patch(&format!("/v1/metal-lots/{lot}"), &json!({"owner_client_id": ada, "reason": "it was hers"})).await.is(200);
        assert_eq!(flags().await, 1);
        near(&statement(shop, &ada, "").await["closing"]["in_process_kg"], 10.0);
    })
    .await;
}
