//! What is in force from a day on: rates, prices, tolerances, the zone. Records are costed and
//! flagged by what was in force at their `at`, whenever it was written.

use crate::kit::{TestShop, at, at_both, id};
use pourbook::kernel::Role;
use serde_json::{Value, json};

/// A rate on record.
async fn rate(shop: &TestShop, body: Value) -> String {
    format!("/v1/rates/{}", id(&shop.post("/v1/rates", &body).await.made()))
}

/// What the pool of returns holds: kg and minor units.
async fn pool(shop: &TestShop) -> (f64, i64) {
    let lots = shop.get("/v1/metal-lots?kind=returns").await.is(200);
    let lots = lots["items"].as_array().unwrap();
    assert_eq!(lots.len(), 1, "{lots:#?}");
    (lots[0]["mass_kg"].as_f64().unwrap(), lots[0]["value_minor"].as_i64().unwrap())
}

/// What rests on the one casting, and its net at the heat's unit value.
async fn casting_minor(shop: &TestShop) -> (i64, i64) {
    let resting = shop.number("SELECT resting_minor FROM ledger_casting WHERE net_mg IS NOT NULL").await;
    (resting, shop.number("SELECT at_unit_minor FROM ledger_casting WHERE net_mg IS NOT NULL").await)
}

/// 100 kg worth 90,000 charged, 78 poured, 20 pigged, 2 dross on the 4th; net 60 and 15 of
/// gating returned on the 5th.
async fn hundred(shop: &TestShop) -> String {
    let (casting, shell) = shop.fired().await;
    let heat = shop.heat(100.0).await;
    shop.pour(&heat, &shell, 78.0).await;
    shop.close(&heat, 20.0, 2.0).await;
    shop.breakout(&casting, &json!({"net_kg": 60, "returned_kg": 15})).await;
    heat
}

#[tokio::test]
async fn metal_comes_back_at_the_scrap_price_of_its_day_but_never_above_what_stands_on_it() {
    at_both(async |shop| {
        hundred(shop).await;
        // u = 90,000 / 100 = 900 a kg: 20 × 900, 15 × 900; the casting bears the rest.
        assert_eq!(pool(shop).await, (35.0, 18_000 + 13_500));
        assert_eq!(casting_minor(shop).await, (58_500, 54_000));

        let price =
            rate(shop, json!({"what": "scrap_kg", "alloy": "c87300", "from_on": "2026-03-04", "amount_minor": 500})).await;
        assert_eq!(shop.get(&price).await.is(200)["alloy"], "C87300");
        // 20 × 500 instead of 18,000; 15 × 500.
        assert_eq!(pool(shop).await, (35.0, 10_000 + 7_500));
        assert_eq!(casting_minor(shop).await, (90_000 - 17_500, 54_000));
        shop.closes().await;

        // From the 5th on, only the gating.
        shop.patch(&price, &json!({"from_on": "2026-03-05"})).await.is(200);
        assert_eq!(pool(shop).await, (35.0, 18_000 + 7_500));
        assert_eq!(casting_minor(shop).await, (90_000 - 25_500, 54_000));
        shop.closes().await;

        // A price above the unit value takes nothing off and adds nothing.
        shop.patch(&price, &json!({"amount_minor": 901})).await.is(200);
        assert_eq!(pool(shop).await, (35.0, 31_500));
        // Worth nothing from the 5th on: the gating goes back at 0.
        shop.patch(&price, &json!({"amount_minor": 0})).await.is(200);
        assert_eq!(pool(shop).await, (35.0, 18_000));

        shop.void(&price).await.is(200);
        assert_eq!(pool(shop).await, (35.0, 31_500));
        assert_eq!(casting_minor(shop).await, (58_500, 54_000));
    })
    .await;
}

#[tokio::test]
async fn what_is_melted_from_the_pool_later_is_as_dear_as_the_price_left_it() {
    at_both(async |shop| {
        hundred(shop).await;
        let lots = shop.get("/v1/metal-lots?kind=returns").await.is(200);
        let returns = lots["items"][0]["id"].as_str().unwrap().to_owned();
        let second = shop.heat_from(&returns, 10.0, &json!({"at": at(6, "08:00")})).await;
        let worth = async || {
            let balance = shop.get(&format!("/v1/heats/{second}/balance")).await.is(200);
            balance["unit_cost_minor_per_kg"].as_f64().unwrap().round()
        };
        assert!((worth().await - 900.0).abs() < 0.5);
        let price = rate(shop, json!({"what": "scrap_kg", "from_on": "2026-03-04", "amount_minor": 500})).await;
        assert!((worth().await - 500.0).abs() < 0.5);
        shop.closes().await;
        // What is written between, with the price in force, is walked at that price too: half of
        // 17,500 bought on the 5th makes 26,250 for 70 kg.
        let body = json!({"at": at(5, "18:00"), "mass_kg": 35, "cost_minor": 8_750});
        let bought = id(&shop.post(&format!("/v1/metal-lots/{returns}/receipts"), &body).await.made());
        assert!((worth().await - 375.0).abs() < 0.5);
        shop.closes().await;
        shop.void(&format!("/v1/receipts/{bought}")).await.is(200);
        assert!((worth().await - 500.0).abs() < 0.5);
        shop.void(&price).await.is(200);
        assert!((worth().await - 900.0).abs() < 0.5);
    })
    .await;
}

#[tokio::test]
async fn the_alloys_own_price_goes_before_that_of_all_and_an_ended_one_before_none() {
    at_both(async |shop| {
        hundred(shop).await;
        rate(shop, json!({"what": "scrap_kg", "from_on": "2026-03-01", "amount_minor": 300})).await;
        assert_eq!(pool(shop).await, (35.0, 35 * 300));
        let own = rate(shop, json!({"what": "scrap_kg", "alloy": "C87300", "from_on": "2026-03-01", "amount_minor": 500})).await;
        rate(shop, json!({"what": "scrap_kg", "alloy": "C95400", "from_on": "2026-03-01", "amount_minor": 100})).await;
        assert_eq!(pool(shop).await, (35.0, 35 * 500));
        // The alloy's own is ended on the 5th: from then on that of all holds.
        rate(shop, json!({"what": "scrap_kg", "alloy": "C87300", "from_on": "2026-03-05", "ended": true})).await;
        assert_eq!(pool(shop).await, (35.0, 20 * 500 + 15 * 300));
        // Corrected into something else, it is no scrap price any more.
        shop.patch(&own, &json!({"what": "metal_kg"})).await.is(200);
        assert_eq!(pool(shop).await, (35.0, 35 * 300));
        rate(shop, json!({"what": "scrap_kg", "from_on": "2026-03-05", "ended": true})).await;
        assert_eq!(pool(shop).await, (35.0, 20 * 300 + 15 * 900));
    })
    .await;
}

#[tokio::test]
async fn a_clients_metal_goes_back_at_nothing() {
    let shop = TestShop::open(1).await;
    let client = shop.client("Ada").await;
    let lot = |kind: &str, kg: u32| json!({"alloy": "C87300", "kind": kind, "mass_kg": kg, "cost_minor": 0, "owner_client_id": client, "at": at(1, "08:00")});
    let own = id(&shop.post("/v1/metal-lots", &lot("ingot", 100)).await.made());
    let back = id(&shop.post("/v1/metal-lots", &lot("returns", 0)).await.made());
    rate(&shop, json!({"what": "scrap_kg", "from_on": "2026-03-01", "amount_minor": 500})).await;
    let commission = shop.commission(Some(&client)).await;
    let casting = shop.casting_of(&commission).await;
    let shell = shop.shell(&[&casting]).await;
    shop.fire(&shell).await;
    let heat = shop.heat_from(&own, 100.0, &json!({})).await;
    shop.pour(&heat, &shell, 78.0).await;
    let closing = json!({"at": at(4, "09:30"), "pigged_kg": 20, "dross_kg": 2, "pigged_lot_id": back});
    shop.post(&format!("/v1/heats/{heat}/close"), &closing).await.made();
    assert_eq!(pool(&shop).await, (20.0, 0));
    shop.closes().await;
}

#[tokio::test]
async fn rates_say_what_is_in_force_on_a_day() {
    let shop = TestShop::open(1).await;
    let hand = id(&shop.post("/v1/hands", &json!({"name": "Bea"})).await.made());
    let recipe = shop.recipe().await;
    rate(&shop, json!({"what": "hand_hour", "from_on": "2026-01-01", "amount_minor": 4000})).await;
    rate(&shop, json!({"what": "hand_hour", "hand_id": hand, "from_on": "2026-02-01", "amount_minor": 5500})).await;
    rate(&shop, json!({"what": "hand_hour", "hand_id": hand, "from_on": "2026-03-01", "ended": true})).await;
    rate(&shop, json!({"what": "shell_coat_dm2", "recipe_id": recipe, "from_on": "2026-01-01", "amount_minor": 30})).await;
    rate(&shop, json!({"what": "metal_kg", "alloy": "C87300", "from_on": "2026-01-01", "amount_minor": 1100})).await;
    let on = async |day: &str| shop.get(&format!("/v1/rates-in-force?on={day}")).await.is(200);
    let hours = async |day: &str| {
        let all = on(day).await;
        let items = all["items"].as_array().unwrap().iter();
        items.filter(|r| r["what"] == "hand_hour").map(|r| (r["hand_id"].clone(), r["amount_minor"].clone())).collect::<Vec<_>>()
    };
    assert_eq!(on("2025-12-31").await["items"], json!([]));
    assert_eq!(hours("2026-01-31").await, [(Value::Null, json!(4000))]);
    assert_eq!(hours("2026-02-01").await, [(Value::Null, json!(4000)), (json!(hand), json!(5500))]);
    assert_eq!(hours("2026-03-01").await, [(Value::Null, json!(4000))]);
    let now = shop.get("/v1/rates-in-force").await.is(200);
    assert_eq!((&now["on"], now["items"].as_array().unwrap().len()), (&json!("2026-03-31"), 3));
    shop.get("/v1/rates-in-force?on=soon").await.is(400);
    let settings = shop.get("/v1/settings-in-force?on=2026-01-01").await.is(200);
    assert_eq!(settings["on"], "2026-01-01");

    let count = async |filter: &str| {
        let list = shop.get(&format!("/v1/rates?{filter}")).await.is(200);
        list["items"].as_array().unwrap().len()
    };
    assert_eq!(count("").await, 5);
    assert_eq!(count("what=hand_hour").await, 3);
    assert_eq!(count(&format!("hand_id={hand}")).await, 2);
    assert_eq!(count(&format!("recipe_id={recipe}")).await, 1);
    assert_eq!(count("alloy=c87300").await, 1);

    // A hand sees which rates there are, not how much; and sets none.
    for path in ["/v1/rates", "/v1/rates-in-force"] {
        let seen = shop.ask("GET", path).by(Some(Role::Hand)).send().await.is(200);
        let items = seen["items"].as_array().unwrap();
        assert!(!items.is_empty() && items.iter().all(|r| r.get("amount_minor").is_none()), "{seen:#}");
    }
    let body = json!({"what": "pour_day", "from_on": "2026-01-01", "amount_minor": 9000});
    shop.ask("POST", "/v1/rates").by(Some(Role::Hand)).json(&body).send().await.is(403);
}

#[tokio::test]
async fn a_rate_that_does_not_fit_is_refused_by_all_its_wrong_fields() {
    let shop = TestShop::open(1).await;
    let hand = id(&shop.post("/v1/hands", &json!({"name": "Bea"})).await.made());
    let faults = async |body: Value| shop.post("/v1/rates", &body).await.faults();
    let fault = |pointer: &str, code: &str| (pointer.to_owned(), code.to_owned());
    let day = "2026-01-01";
    assert_eq!(
        faults(json!({"what": "fuel_kg", "hand_id": hand, "alloy": "C87300", "from_on": day})).await,
        [fault("/alloy", "not-of-this"), fault("/amount_minor", "required"), fault("/hand_id", "not-of-this")]
    );
    assert_eq!(faults(json!({"what": "metal_kg", "from_on": day, "amount_minor": 5})).await, [fault("/alloy", "required")]);
    assert_eq!(
        faults(json!({"what": "scrap_kg", "alloy": "gold", "from_on": day, "amount_minor": 5})).await,
        [fault("/alloy", "not-in-catalogue")]
    );
    assert_eq!(
        faults(json!({"what": "kiln_kg", "from_on": day, "amount_minor": -5})).await,
        [fault("/amount_minor", "negative")]
    );
    assert_eq!(
        faults(json!({"what": "kiln_kg", "from_on": day, "amount_minor": 5, "ended": true})).await,
        [fault("/amount_minor", "ended")]
    );
    assert_eq!(
        faults(json!({"what": "by_the_yard", "from_on": "1 May", "amount_minor": 5})).await,
        [fault("/from_on", "no-day"), fault("/what", "not-in-list")]
    );
    let body = json!({"what": "kiln_kg", "from_on": day, "amount_minor": 5});
    let first = rate(&shop, body.clone()).await;
    assert_eq!(faults(body.clone()).await, [fault("/from_on", "taken")]);
    let second = rate(&shop, json!({"what": "kiln_kg", "from_on": "2026-01-02", "amount_minor": 6})).await;
    assert_eq!(shop.patch(&second, &json!({"from_on": day})).await.faults(), [fault("/from_on", "taken")]);
    shop.void(&first).await.is(200);
    shop.patch(&second, &json!({"from_on": day})).await.is(200);
}

/// The codes of the flags on a record.
async fn flags(shop: &TestShop, path: &str) -> Vec<String> {
    let record = shop.get(path).await.is(200);
    let flags = record["practice_flags"].as_array().cloned().unwrap_or_default();
    flags.iter().map(|f| f["code"].as_str().unwrap().to_owned()).collect()
}

#[tokio::test]
async fn a_heats_residual_is_held_to_the_limit_in_force_at_its_closing() {
    at_both(async |shop| {
        // 18 kg charged, 15 poured, 2.5 pigged, 0.2 dross: 0.3 kg, 1.67 % of the charge; four
        // steps of 10 g twice three weighings are 60 g.
        let mut closings = Vec::new();
        for day in [4, 6] {
            let (_, shell) = shop.fired().await;
            let lot = shop.lot(50.0, 45_000).await;
            let heat = shop.heat_from(&lot, 18.0, &json!({"at": at(day, "08:00")})).await;
            shop.try_pour(&heat, &shell, 15.0, &json!({"at": at(day, "09:00")})).await.made();
            let body = json!({"at": at(day, "09:30"), "pigged_kg": 2.5, "dross_kg": 0.2});
            let closing = shop.post(&format!("/v1/heats/{heat}/close"), &body).await.made();
            closings.push((heat, format!("/v1/closings/{}", id(&closing))));
        }
        let flagged = async |n: usize| flags(shop, &closings[n].1).await.contains(&"heat_residual".to_owned());
        let limit = async |n: usize| {
            let balance = shop.get(&format!("/v1/heats/{}/balance", closings[n].0)).await.is(200);
            (balance["limit_kg"].clone(), balance["within_tolerance"].clone())
        };
        assert_eq!((flagged(0).await, flagged(1).await), (false, false));
        assert_eq!(limit(0).await, (json!(0.36), json!(true)));

        let tight = json!({"name": "heat_residual_percent", "from_on": "2026-03-05", "value": 1.5});
        let tight = id(&shop.post("/v1/settings", &tight).await.made());
        assert_eq!((flagged(0).await, flagged(1).await), (false, true));
        assert_eq!(limit(0).await, (json!(0.36), json!(true)));
        assert_eq!(limit(1).await, (json!(0.27), json!(false)));
        shop.closes().await;

        // 50 steps of 10 g for each of three weighings are 1.5 kg, more than the percentage.
        let steps = json!({"name": "heat_residual_scale_steps", "from_on": "2026-03-06", "value": 50});
        shop.post("/v1/settings", &steps).await.made();
        assert_eq!((limit(1).await, flagged(1).await), ((json!(1.5), json!(true)), false));

        shop.void(&format!("/v1/settings/{tight}")).await.is(200);
        assert!(!flagged(0).await);
    })
    .await;
}

#[tokio::test]
async fn what_the_scale_may_be_off_is_the_shops_to_say() {
    let shop = TestShop::open(1).await;
    let (casting, shell) = shop.fired().await;
    let heat = shop.heat(18.0).await;
    shop.pour(&heat, &shell, 15.4).await;
    shop.close(&heat, 2.3, 0.2).await;
    // 15.5 out of 15.4: 100 g over, and 0.2 % are 31 g.
    let broken = json!({"net_kg": 14.0, "returned_kg": 1.5});
    shop.try_breakout(&casting, &broken).await.refused("metal-beyond");
    let wide = json!({"name": "scale_tolerance_percent", "from_on": "2026-03-05", "value": 0.65});
    let wide = id(&shop.post("/v1/settings", &wide).await.made());
    // 0.65 % of 15.4 kg are 100.1 g; from the 6th on it is too late for the 5th.
    shop.patch(&format!("/v1/settings/{wide}"), &json!({"from_on": "2026-03-06"})).await.is(200);
    shop.try_breakout(&casting, &broken).await.refused("metal-beyond");
    shop.patch(&format!("/v1/settings/{wide}"), &json!({"from_on": "2026-03-05"})).await.is(200);
    shop.breakout(&casting, &broken).await;
    for (name, value) in
        [("scale_tolerance_percent", json!(11)), ("heat_residual_percent", json!("2")), ("heat_residual_scale_steps", json!(1.5))]
    {
        let body = json!({"name": name, "from_on": "2026-03-01", "value": value});
        assert_eq!(shop.post("/v1/settings", &body).await.faults(), [("/value".to_owned(), "out-of-range".to_owned())]);
    }
    shop.closes().await;
}

#[tokio::test]
async fn a_heat_of_nothing_but_returns_is_held_to_the_limit_of_scrap() {
    let shop = TestShop::open(1).await;
    let returns = json!({"alloy": "C87300", "kind": "returns", "mass_kg": 50, "cost_minor": 30_000, "at": at(1, "08:00")});
    let returns = id(&shop.post("/v1/metal-lots", &returns).await.made());
    let heat = shop.heat_from(&returns, 20.0, &json!({})).await;
    let limit = async || shop.get(&format!("/v1/heats/{heat}/balance")).await.is(200)["limit_kg"].clone();
    assert_eq!(limit().await, json!(2.0));
    let ingot = shop.lot(50.0, 45_000).await;
    shop.post(&format!("/v1/heats/{heat}/charges"), &json!({"lot_id": ingot, "mass_kg": 5, "at": at(4, "08:10")})).await.made();
    assert_eq!(limit().await, json!(0.5));
    let (_, shell) = shop.fired().await;
    shop.pour(&heat, &shell, 22.0).await;
    let closing = shop.close(&heat, 2.0, 0.2).await;
    assert!(flags(&shop, &format!("/v1/closings/{}", id(&closing))).await.contains(&"heat_residual".to_owned()));
    shop.closes().await;
}

#[tokio::test]
async fn from_the_day_the_shop_moves_its_days_are_those_of_the_new_place() {
    at_both(async |shop| {
        // Auckland is 13 hours ahead until 5 April 2026 (IANA tz, australasia: Pacific/Auckland):
        // its 1 April begins at 11:00 UTC on 31 March.
        let mut heats = Vec::new();
        for time in ["10:30", "11:30"] {
            let (_, shell) = shop.fired().await;
            let lot = shop.lot(50.0, 45_000).await;
            let heat = shop.heat_from(&lot, 18.0, &json!({"at": at(31, "10:00")})).await;
            shop.try_pour(&heat, &shell, 15.0, &json!({"at": at(31, time)})).await.made();
            let body = json!({"at": at(31, time), "pigged_kg": 3.0});
            shop.post(&format!("/v1/heats/{heat}/close"), &body).await.made();
            heats.push(heat);
        }
        let months = async || {
            let report = shop.get("/v1/reports/leaks?by=month").await.is(200);
            let rows = report["rows"].as_array().unwrap().clone();
            rows.iter().map(|r| (r["level"].as_str().unwrap().to_owned(), r["poured"].as_i64().unwrap())).collect::<Vec<_>>()
        };
        assert_eq!(months().await, [("2026-03".to_owned(), 2)]);
        rate(shop, json!({"what": "scrap_kg", "from_on": "2026-04-01", "amount_minor": 500})).await;
        assert_eq!(pool(shop).await, (6.0, 6 * 900));

        let moved = json!({"name": "zone", "from_on": "2026-04-01", "value": "Pacific/Auckland"});
        let moved = id(&shop.post("/v1/settings", &moved).await.made());
        let mut seen = months().await;
        seen.sort();
        assert_eq!(seen, [("2026-03".to_owned(), 1), ("2026-04".to_owned(), 1)]);
        assert_eq!(pool(shop).await, (6.0, 3 * 900 + 3 * 500));
        shop.closes().await;

        shop.void(&format!("/v1/settings/{moved}")).await.is(200);
        assert_eq!(months().await, [("2026-03".to_owned(), 2)]);
        assert_eq!(pool(shop).await, (6.0, 6 * 900));
    })
    .await;
}

#[tokio::test]
async fn metal_is_held_to_the_window_of_its_alloy_in_force_at_the_pour() {
    at_both(async |shop| {
        let mut pours = Vec::new();
        for day in [4, 6] {
            let (_, shell) = shop.fired().await;
            let lot = shop.lot(50.0, 45_000).await;
            let heat = shop.heat_from(&lot, 18.0, &json!({"at": at(day, "08:00")})).await;
            let pour = shop.try_pour(&heat, &shell, 15.0, &json!({"at": at(day, "09:00"), "metal_c": 1150})).await.made();
            pours.push(format!("/v1/pours/{}", id(&pour)));
        }
        let hot = async || {
            let mut seen = Vec::new();
            for pour in &pours {
                seen.push(flags(shop, pour).await.contains(&"metal_hot".to_owned()));
            }
            seen
        };
        assert_eq!(hot().await, [false, false]);
        let entry = |from_on: &str, most: u32| {
            json!({"section": "alloys", "code": "C87300", "source": "the shop's own trials", "from_on": from_on,
                   "values": {"common_name": "silicon bronze", "family": "silicon_bronze", "pour_min_c": 1010, "pour_max_c": most}})
        };
        let first = id(&shop.post("/v1/trade-entries", &entry("2026-03-05", 1120)).await.made());
        assert_eq!(hot().await, [false, true]);
        shop.closes().await;
        // One of an earlier day, written later, does not go before it.
        shop.post("/v1/trade-entries", &entry("2026-03-01", 1145)).await.made();
        assert_eq!(hot().await, [true, true]);
        let coming = id(&shop.post("/v1/trade-entries", &entry("2026-06-01", 1111)).await.made());
        let known = shop.get("/v1/trade/alloys").await.is(200);
        let today = known["items"].as_array().unwrap().iter().find(|a| a["designation"] == "C87300").unwrap();
        assert_eq!((today["pour_max_c"].as_f64(), &today["own"]), (Some(1120.0), &json!(true)));
        shop.void(&format!("/v1/trade-entries/{coming}")).await.is(200);
        shop.patch(&format!("/v1/trade-entries/{first}"), &json!({"from_on": "2026-03-07"})).await.is(200);
        assert_eq!(hot().await, [true, true]);
        shop.void(&format!("/v1/trade-entries/{first}")).await.is(200);
        assert_eq!(hot().await, [true, true]);
        shop.patch(&format!("/v1/trade-entries/{}", last_entry(shop).await), &json!({"from_on": null})).await.is(200);
        assert_eq!(hot().await, [true, true]);
        shop.void(&format!("/v1/trade-entries/{}", last_entry(shop).await)).await.is(200);
        assert_eq!(hot().await, [false, false]);
    })
    .await;
}

/// The one live trade entry.
async fn last_entry(shop: &TestShop) -> String {
    let list = shop.get("/v1/trade-entries").await.is(200);
    let items = list["items"].as_array().unwrap();
    assert_eq!(items.len(), 1, "{items:#?}");
    id(&items[0])
}

#[tokio::test]
async fn a_zone_from_the_last_day_of_the_calendar_never_begins() {
    at_both(async |shop| {
        // Midnight of that day in Honolulu is in the year 10000 of UTC.
        let zone = |from: &str, name: &str| json!({"name": "zone", "from_on": from, "value": name});
        shop.post("/v1/settings", &zone("9999-12-31", "Pacific/Honolulu")).await.made();
        assert_eq!(shop.get("/v1/me").await.is(200)["zone"], "UTC");
        shop.post("/v1/settings", &zone("0001-01-01", "Pacific/Auckland")).await.made();
        assert_eq!(shop.get("/v1/me").await.is(200)["zone"], "Pacific/Auckland");
    })
    .await;
}
