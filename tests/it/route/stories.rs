//! Days in the life of a shop.

use super::history::{said, two_pour_days};
use crate::kit::{TestShop, at, at_both, id};
use pourbook::kernel::units::Units;
use pourbook::kernel::{Celsius, Mass};
use serde_json::{Value, json};

async fn metal_cost(shop: &TestShop, commission: &str) -> Value {
    shop.get(&format!("/v1/commissions/{commission}/cost")).await.is(200)["metal"].clone()
}

#[tokio::test]
async fn a_tree_of_two_clients() {
    at_both(async |shop| {
        let (ada, bea) = (shop.client("Ada").await, shop.client("Bea").await);
        let (adas, beas) = (shop.commission(Some(&ada)).await, shop.commission(Some(&bea)).await);
        let (one, two) = (shop.casting_of(&adas).await, shop.casting_of(&beas).await);
        let shell = shop.shell(&[&one, &two]).await;
        shop.fire(&shell).await;
        let heat = shop.heat(32.0).await;
        shop.pour(&heat, &shell, 28.0).await;
        shop.close(&heat, 3.7, 0.2).await;
        let judged = json!([{"casting_id": id(&one), "verdict": "accepted"}, {"casting_id": id(&two), "verdict": "accepted"}]);
        shop.post(&format!("/v1/shells/{}/breakout", id(&shell)), &json!({"at": at(5, "09:00"), "gross_kg": 27.8, "castings": judged})).await.made();
        for (casting, net) in [(&one, 11.0), (&two, 10.0)] {
            let body = json!({"at": at(5, "11:00"), "net_kg": net, "returned_kg": 3.2});
            shop.post(&format!("/v1/castings/{}/cut-off", id(casting)), &body).await.made();
        }
        // Of 90 000 for 100 kg, 32 kg were charged: 28 800, 900 a kg.
        let (a, b) = (metal_cost(shop, &adas).await, metal_cost(shop, &beas).await);
        assert_eq!((&a["accepted_minor"], &b["accepted_minor"]), (&json!(9900), &json!(9000)));
        // Pigged and returned metal took 10.1 kg at 900 with it; the rest is on the two.
        let total = |v: &Value| v["total_minor"].as_i64().unwrap();
        assert_eq!(total(&a) + total(&b), 28_800 - 9090);
        // Alike in wax, alike in their share.
        assert_eq!(total(&a), total(&b));
        let balance = shop.get("/v1/metal/balance").await.is(200);
        assert_eq!(balance["in_castings"], json!({"mass_kg": 21.0, "value_minor": 19_710}));
        // Metal of either client into that tree needs a word.
        let lot = json!({"alloy": "C87300", "kind": "ingot", "mass_kg": 30, "cost_minor": 0, "at": at(1, "08:00"), "owner_client_id": ada});
        let lot = id(&shop.post("/v1/metal-lots", &lot).await.made());
        let (three, four) = (shop.casting_of(&adas).await, shop.casting_of(&beas).await);
        let shell = shop.shell(&[&three, &four]).await;
        shop.fire(&shell).await;
        let heat = shop.heat_from(&lot, 30.0, &json!({})).await;
        shop.try_pour(&heat, &shell, 28.0, &json!({})).await.refused("client-metal");
    })
    .await;
}

/// NIST SP 811 (2008), Appendix B.8: 1 lb = 0.453 592 37 kg exactly; °C = (°F − 32) / 1.8.
#[tokio::test]
async fn a_shop_that_weighs_in_pounds() {
    at_both(async |shop| {
        shop.post("/v1/settings", &json!({"name": "units", "from_on": "2025-01-01", "value": "us"})).await.made();
        assert_eq!(shop.get("/v1/me").await.is(200)["units"], "us");
        let (casting, shell) = shop.fired().await;
        let heat = shop.heat(18.0).await;
        let poured = Units::Us.read_mass("26.45").unwrap();
        let metal = Units::Us.read_temperature("2150").unwrap();
        assert_eq!(poured.mg(), 11_997_518, "26.45 · 453 592.37 mg, half to even");
        let pour = shop.try_pour(&heat, &shell, poured.kg(), &json!({"metal_c": metal.get()})).await.made();
        for record in [pour.clone(), shop.get(&format!("/v1/pours/{}", id(&pour))).await.is(200)] {
            let kg = record["poured_kg"].as_number().unwrap();
            let mg = i64::try_from(pourbook::kernel::json::scaled(kg, 6).unwrap()).unwrap();
            assert_eq!(Units::Us.mass_field(Mass::from_mg(mg)), "26.45");
            assert_eq!(Units::Us.temperature_field(Celsius::new(record["metal_c"].as_f64().unwrap()).unwrap()), "2150");
        }
        // Opened and saved as it stands, nothing moves.
        let again = shop
            .patch(&format!("/v1/pours/{}", id(&pour)), &json!({"poured_kg": pour["poured_kg"], "metal_c": pour["metal_c"]}))
            .await
            .is(200);
        assert_eq!((&again["poured_kg"], &again["metal_c"]), (&pour["poured_kg"], &pour["metal_c"]));
        let balance = shop.get("/v1/metal/balance").await.is(200);
        assert_eq!(balance["in_shells"]["mass_kg"].as_f64(), Some(poured.kg()));
        assert_eq!(shop.stage(&casting).await, "pour");
    })
    .await;
}

#[tokio::test]
async fn written_down_at_the_wrong_pot() {
    at_both(async |shop| {
        let (casting, shell) = shop.fired().await;
        let (cheap, dear) = (shop.lot(50.0, 10_000).await, shop.lot(50.0, 100_000).await);
        let (left, right) = (shop.heat_from(&cheap, 18.0, &json!({})).await, shop.heat_from(&dear, 18.0, &json!({})).await);
        // It came out of the right pot and was written down at the left one.
        let pour = shop.pour(&left, &shell, 15.4).await;
        shop.try_close(&right, 2.3, 0.2).await.refused("residual-too-large");
        shop.patch(&format!("/v1/pours/{}", id(&pour)), &json!({"heat_id": right, "reason": "wrong pot"})).await.is(200);
        shop.close(&right, 2.3, 0.2).await;
        shop.close(&left, 17.8, 0.2).await;
        shop.breakout(&casting, &json!({"gross_kg": 15.2, "net_kg": 11.0, "returned_kg": 4.1})).await;
        // 18 kg at 2000 a kg, less 2.3 pigged and 4.1 returned.
        let card = shop.get(&format!("/v1/castings/{}", id(&casting))).await.is(200);
        assert_eq!(card["cost"]["metal"]["total_minor"], 36_000 - 12_800, "{:#}", card["cost"]);
        for (heat, poured) in [(&left, 0.0), (&right, 15.4)] {
            assert_eq!(shop.get(&format!("/v1/heats/{heat}/balance")).await.is(200)["poured_kg"], poured);
        }
        let lines = shop.get(&format!("/v1/journal?record={}", id(&pour))).await.is(200);
        let last = &lines["items"].as_array().unwrap().last().unwrap();
        assert_eq!(
            (&last["reason"], &last["from"]["heat_id"], &last["to"]["heat_id"]),
            (&json!("wrong pot"), &json!(left), &json!(right))
        );
    })
    .await;
}

#[tokio::test]
async fn metal_that_is_still_on_its_way() {
    at_both(async |shop| {
        let pool = json!({"alloy": "C87300", "kind": "returns", "mass_kg": 3, "cost_minor": 900, "at": at(1, "08:00")});
        let pool = id(&shop.post("/v1/metal-lots", &pool).await.made());
        let draw = |day: u32, kg: f64| json!({"alloy": "C87300", "furnace": "Gas", "at": at(day, "08:00"), "charge": [{"lot_id": pool, "mass_kg": kg}]});
        // On the 6th 2.5 kg went out; on the 4th 2 kg, and on the 5th 3 kg came in.
        let drawn = shop.post("/v1/heats", &draw(6, 2.5)).await.made();
        let early = shop.post("/v1/heats", &draw(4, 2.0)).await;
        assert_eq!(early.status, 409, "{:#}", early.json);
        let problem = early.refused("metal-short");
        assert_eq!(problem["may_follow"], true, "an outbox must keep it: {problem:#}");
        let short = json!([{"kind": "charge", "id": drawn["charge"][0]["id"], "at": at(6, "08:00"), "short_kg": 1.5}]);
        assert_eq!(problem["short"], short, "{problem:#}");
        let receipt = json!({"at": at(5, "08:00"), "mass_kg": 3, "cost_minor": 1200});
        let receipt = shop.post(&format!("/v1/metal-lots/{pool}/receipts"), &receipt).await.made();
        shop.post("/v1/heats", &draw(4, 2.0)).await.made();
        // A void that takes the metal away names what drew it, as a correction does; it is no outbox that waits.
        let path = format!("/v1/receipts/{}", id(&receipt));
        let void = shop.void(&path).await.refused("metal-short");
        assert_eq!((&void["short"], &void["may_follow"]), (&short, &json!(false)), "{void:#}");
        let less = shop.patch(&path, &json!({"mass_kg": 1e-6})).await.refused("metal-short");
        assert_eq!(less["short"][0]["id"], short[0]["id"], "{less:#}");
        let held = shop.get(&format!("/v1/metal-lots/{pool}")).await.is(200);
        // 3 kg at 300, 2 out, 3 in at 400: 4 kg at 375; 2.5 out leaves 1.5 at 375, half to even.
        assert_eq!((&held["mass_kg"], &held["value_minor"]), (&json!(1.5), &json!(562)));
    })
    .await;
}

#[tokio::test]
async fn two_pour_days_are_told_in_full() {
    at_both(async |shop| {
        let mut history = two_pour_days();
        history.send_all(shop).await;
        let told = said(shop, &history).await;
        let stages: Vec<&Value> =
            ["casting1", "casting1b", "casting2", "casting3", "casting4"].iter().map(|c| &told[*c]["stage"]).collect();
        assert_eq!(stages, ["scrapped", "wax", "delivered", "delivered", "done"]);
        // 41.5 charged = 24.3 + 9.4 poured + 5.9 pigged + 0.4 dross + 1.2 heel + 0.3 unexplained.
        let heat = &told["heat1"];
        assert_eq!((&heat["charged_kg"], &heat["poured_kg"], &heat["unexplained_kg"]), (&json!(41.5), &json!(33.7), &json!(0.3)));
        // 15.2 with the heel = 10.5 poured + 4.3 pigged + 0.2 dross + 0.2 unexplained.
        let heat = &told["heat2"];
        assert_eq!((&heat["charged_kg"], &heat["poured_kg"], &heat["unexplained_kg"]), (&json!(15.2), &json!(10.5), &json!(0.2)));
        // In: 100 + 40 + 0.05 rod. 10.1 and 7 kg were delivered.
        assert_eq!(told["balance"]["bought"], json!({"mass_kg": 140.05, "value_minor": 131_237}));
        assert_eq!(told["balance"]["delivered"]["mass_kg"], 17.1);
    })
    .await;
}
