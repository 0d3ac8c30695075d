//! What one hand began another may bring to its end: that is no correction. What was said stays
//! whose it was.

use crate::kit::{TestShop, at, at_both, id};
use pourbook::kernel::Role;
use serde_json::{Value, json};

async fn by_hand(shop: &TestShop, path: &str, patch: &Value) -> crate::kit::Reply {
    let etag = shop.get(path).await.is(200)["etag"].as_str().unwrap().to_owned();
    shop.ask("PATCH", path).by(Some(Role::Hand)).if_match(&format!("\"{etag}\"")).merge(patch).send().await
}

#[tokio::test]
async fn a_kiln_that_another_loaded_is_taken_out() {
    at_both(async |shop| {
        let casting = shop.casting().await;
        let shell = shop.shell(&[&casting]).await;
        shop.coats(&shell).await;
        let shell = id(&shell);
        let load = json!({"kiln": "North kiln", "at": at(2, "17:00"), "shells": [{"shell_id": shell}]});
        let load = format!("/v1/burnouts/{}", id(&shop.post("/v1/burnouts", &load).await.made()));
        // A day later too.
        let clock = shop.db.clock().clone();
        clock.set(clock.now().plus_ms(30 * 3_600_000));
        let shells = |result: &str| json!([{"shell_id": shell, "result": result}]);
        let out = json!({"out_at": at(3, "07:00"), "peak_c": 870, "shells": shells("sound")});
        by_hand(shop, &load, &out).await.is(200);
        // What is said by now is not the hand's to change, nor when it was or who did it.
        for patch in [json!({"out_at": at(3, "08:00")}), json!({"shells": shells("cracked")}), json!({"peak_c": null})] {
            by_hand(shop, &load, &patch).await.refused("not-allowed");
        }
        for patch in [json!({"hands": ["Bo"]}), json!({"at": at(2, "18:00")}), json!({"despite": ["not_on_record"]})] {
            by_hand(shop, &load, &patch).await.refused("not-allowed");
        }
        assert_eq!(shop.get(&load).await.is(200)["shells"][0]["result"], "sound");
        shop.closes().await;
    })
    .await;
}

#[tokio::test]
async fn a_casting_that_another_broke_out_is_judged_and_what_was_assumed_confirmed() {
    at_both(async |shop| {
        let (casting, shell) = shop.fired().await;
        let heat = shop.heat(100.0).await;
        let pour =
            json!({"shell_id": id(&shell), "at": at(4, "11:00"), "filled": "full", "support": "buried", "assumed": ["support"]});
        let pour = format!("/v1/pours/{}", id(&shop.post(&format!("/v1/heats/{heat}/pours"), &pour).await.made()));
        by_hand(shop, &pour, &json!({"support": "standing"})).await.refused("not-allowed");
        by_hand(shop, &pour, &json!({"assumed": null})).await.is(200);
        let broken = json!({"casting_id": id(&casting), "at": at(5, "09:00"), "findings": [{"code": "H01"}]});
        let broken = format!("/v1/breakouts/{}", id(&shop.post("/v1/breakouts", &broken).await.made()));
        let finding = shop.get(&broken).await.is(200)["findings"][0]["id"].clone();
        // Left out, the finding would be voided: that is its finder's.
        by_hand(shop, &broken, &json!({"verdict": "accepted", "findings": []})).await.refused("not-allowed");
        let judged = json!({"verdict": "repair", "findings": [{"id": finding}, {"code": "H02"}]});
        assert_eq!(by_hand(shop, &broken, &judged).await.is(200)["findings"].as_array().map(Vec::len), Some(2));
        by_hand(shop, &broken, &json!({"verdict": "accepted"})).await.refused("not-allowed");
        let changed = json!({"findings": [{"id": finding, "severity": "minor"}]});
        by_hand(shop, &broken, &changed).await.refused("not-allowed");
    })
    .await;
}
