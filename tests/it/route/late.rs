//! Arrival does not matter; a correction is as if it had been right from the start; what is
//! void is as if it had never been.

use super::history::{History, Step, said, same, two_pour_days};
use crate::kit::{Reply, TestShop, at, at_both, id};
use rand::SeedableRng as _;
use rand::seq::SliceRandom as _;
use rand_chacha::ChaCha12Rng;
use serde_json::{Value, json};

async fn told_in_order() -> Value {
    let shop = TestShop::open(1).await;
    let mut history = two_pour_days();
    history.send_all(&shop).await;
    shop.closes().await;
    said(&shop, &history).await
}

/// Whether an outbox keeps a record that was answered so, while it holds others.
fn kept_for_later(reply: &Reply) -> bool {
    match reply.status {
        404 => true,
        409 => reply.json["type"] == "/problems/not-yet" || reply.json["may_follow"] == true,
        422 => reply.json["errors"].as_array().is_some_and(|e| e.iter().all(|e| e["code"] == "not-found")),
        _ => false,
    }
}

/// Sends records in that order; what is not taken yet stays in the outbox for the next round.
async fn deliver(shop: &TestShop, history: &mut History, mut outbox: Vec<Step>) {
    while !outbox.is_empty() {
        let (mut left, mut last) = (Vec::new(), Value::Null);
        let before = outbox.len();
        for step in outbox {
            match history.send(shop, &step).await {
                Some(reply) if reply.status == 201 => {}
                Some(reply) => {
                    assert!(kept_for_later(&reply), "{} cannot follow: {:#}", step.name, reply.json);
                    last = json!([step.name, reply.json]);
                    left.push(step);
                }
                None => left.push(step),
            }
        }
        assert!(left.len() < before, "nothing more is taken: {:?} {last:#}", left.iter().map(|s| &s.name).collect::<Vec<_>>());
        outbox = left;
    }
}

#[tokio::test]
async fn arrival_does_not_matter() {
    let expected = told_in_order().await;
    for (batch, seeds) in [(1, 0..8), (8, 8..16)] {
        for seed in seeds {
            let shop = TestShop::open(batch).await;
            let mut history = two_pour_days();
            for step in history.first.clone() {
                assert_eq!(history.send(&shop, &step).await.unwrap().status, 201);
            }
            let mut outbox = history.rest.clone();
            outbox.shuffle(&mut ChaCha12Rng::seed_from_u64(seed));
            deliver(&shop, &mut history, outbox).await;
            let is = said(&shop, &history).await;
            same(&is, &expected, &format!("arrived in the order of seed {seed}"));
            shop.closes().await;
        }
    }
}

#[tokio::test]
async fn all_of_it_backwards() {
    let expected = told_in_order().await;
    let shop = TestShop::open(8).await;
    let mut history = two_pour_days();
    for step in history.first.clone() {
        assert_eq!(history.send(&shop, &step).await.unwrap().status, 201);
    }
    let outbox = history.rest.iter().rev().cloned().collect();
    deliver(&shop, &mut history, outbox).await;
    same(&said(&shop, &history).await, &expected, "arrived backwards");
    shop.closes().await;
}

/// What was recorded wrong, the path of its collection, and the right value.
fn corrections() -> Vec<(&'static str, &'static str, Value, Value)> {
    vec![
        ("lot1", "metal-lots", json!({"cost_minor": 90_000}), json!({"cost_minor": 9000})),
        ("lot2", "metal-lots", json!({"mass_kg": 40.0}), json!({"mass_kg": 44.0})),
        ("wax2", "waxes", json!({"wax_kg": 1.31}), json!({"wax_kg": 1.13})),
        ("shell1", "shells", json!({"at": at(1, "10:01")}), json!({"at": at(1, "10:41")})),
        ("backup1", "coats", json!({"at": at(1, "13:01")}), json!({"at": at(1, "21:01")})),
        ("burnout", "burnouts", json!({"peak_c": 870}), json!({"peak_c": 580})),
        ("charge1", "charges", json!({"mass_kg": 1.5, "at": at(4, "08:20")}), json!({"mass_kg": 1.9, "at": at(4, "08:10")})),
        ("heat1", "heats", json!({"crucible": "No 30"}), json!({"crucible": "No 20"})),
        ("pour1", "pours", json!({"poured_kg": 24.3, "shell_c": 500}), json!({"poured_kg": 24.6, "shell_c": 150})),
        ("pour2", "pours", json!({"poured_kg": 9.4}), json!({"poured_kg": null, "poured_basis": null})),
        ("closing1", "closings", json!({"pigged_kg": 5.9, "heel_kg": 1.2}), json!({"pigged_kg": 5.2, "heel_kg": 1.9})),
        ("closing2", "closings", json!({"dross_kg": 0.2}), json!({"dross_kg": 0.35})),
        ("tree", "shell-breakouts", json!({"gross_kg": 23.6}), json!({"gross_kg": 23.2})),
        ("cut1", "cut-offs", json!({"net_kg": 9.9}), json!({"net_kg": 9.5})),
        ("breakout4", "breakouts", json!({"verdict": "repair"}), json!({"verdict": "accepted"})),
        ("breakout3", "breakouts", json!({"returned_kg": 2.0, "net_kg": 7.0}), json!({"returned_kg": null, "net_kg": 7.1})),
        ("chase2", "work", json!({"mass_after_kg": 10.1}), json!({"mass_after_kg": 9.6})),
    ]
}

#[tokio::test]
async fn corrected_is_as_recorded_right_from_the_start() {
    let expected = told_in_order().await;
    at_both(async |shop| {
        // All of them wrong at first would be another legal history; here one after the other.
        let mut history = two_pour_days();
        history.send_all(shop).await;
        for (name, collection, right, wrong) in corrections() {
            let path = format!("/v1/{collection}/{}", history.id(name));
            shop.patch(&path, &wrong).await.is(200);
            let was = said(shop, &history).await;
            assert_ne!(was, expected, "the correction of {name} changes nothing");
            shop.patch(&path, &right).await.is(200);
            same(&said(shop, &history).await, &expected, &format!("after {name} was corrected"));
        }
    })
    .await;
    // And the other way about: wrong from the start is as corrected to wrong.
    for (name, collection, _, wrong) in corrections() {
        let (one, two) = (TestShop::open(1).await, TestShop::open(8).await);
        let mut from_start = two_pour_days();
        from_start.alter(name, &wrong);
        from_start.send_all(&one).await;
        let mut later = two_pour_days();
        later.send_all(&two).await;
        two.patch(&format!("/v1/{collection}/{}", later.id(name)), &wrong).await.is(200);
        same(&said(&two, &later).await, &said(&one, &from_start).await, name);
        one.closes().await;
        two.closes().await;
    }
}

#[tokio::test]
async fn void_is_as_never_recorded() {
    let expected = told_in_order().await;
    at_both(async |shop| {
        let mut history = two_pour_days();
        history.send_all(shop).await;
        let [pool, lot1, heat1, heat2, shell1, shell3] = ["pool", "lot1", "heat1", "heat2", "shell1", "shell3"].map(|n| history.id(n));
        let [casting2, casting4] = ["casting2", "casting4"].map(|n| history.id(n));
        let (pour1, pour3, tree) = (history.id("pour1"), history.id("pour3"), history.id("tree"));
        let finding = shop.get(&format!("/v1/shell-breakouts/{tree}")).await.is(200)["castings"][0]["id"].as_str().unwrap().to_owned();
        let more = json!({"shell_id": shell3, "at": at(5, "09:04"), "support": "open_rack", "filled": "full", "poured_kg": 0.2, "continues_pour_id": pour3});
        for (path, body, collection) in [
            (format!("/v1/metal-lots/{pool}/receipts"), json!({"at": at(3, "08:00"), "mass_kg": 3, "cost_minor": 5555}), "receipts"),
            (format!("/v1/heats/{heat1}/charges"), json!({"at": at(4, "08:25"), "lot_id": lot1, "mass_kg": 1}), "charges"),
            (format!("/v1/heats/{heat2}/events"), json!({"at": at(5, "08:25"), "kind": "deoxidise", "lot_id": lot1, "mass_kg": 0.1}), "heat-events"),
            (format!("/v1/heats/{heat2}/pours"), more, "pours"),
            (format!("/v1/pours/{pour1}/leaks"), json!({"where": "vent", "response": "plugged", "lost_kg": 0.1, "swept_kg": 0.1}), "leaks"),
            (format!("/v1/castings/{casting4}/waxes"), json!({"at": at(1, "09:30"), "wax_kg": 1.5}), "waxes"),
            (format!("/v1/shells/{shell1}/coats"), json!({"at": at(1, "19:30"), "kind": "seal", "slurry": "seal"}), "coats"),
            (format!("/v1/shells/{shell1}/patches"), json!({"at": at(2, "19:30")}), "patches"),
            (format!("/v1/castings/{casting2}/work"), json!({"at": at(8, "12:00"), "operation": "chase", "minutes": 9, "mass_after_kg": 9.8}), "work"),
            (format!("/v1/breakouts/{finding}/findings"), json!({"code": "A112"}), "findings"),
            ("/v1/preheats".to_owned(), json!({"kiln": "Big kiln", "at": at(4, "05:00"), "shell_ids": [shell3]}), "preheats"),
        ] {
            let made = shop.post(&path, &body).await.made();
            let record = format!("/v1/{collection}/{}", id(&made));
            if collection != "findings" {
                assert_ne!(said(shop, &history).await, expected, "{collection} change nothing");
            }
            shop.void(&record).await.is(200);
            same(&said(shop, &history).await, &expected, &format!("after one of {collection} was voided"));
        }
    })
    .await;
}
