//! Metal of several heats at once: a piece of two parts cast apart and delivered together,
//! and a lot that several heats draw from.

use crate::kit::{at, at_both, id};
use serde_json::json;

#[tokio::test]
async fn a_correction_of_one_part_keeps_the_delivery_of_the_other() {
    at_both(async |shop| {
        let commission = shop.commission(None).await;
        let piece = shop.piece(&commission, &json!({"at": at(1, "08:00"), "parts": ["upper", "lower"]})).await;
        let mut breakouts = Vec::new();
        for casting in piece["castings"].as_array().unwrap() {
            let shell = shop.shell(&[casting]).await;
            shop.coats(&shell).await;
            shop.fire(&shell).await;
            let heat = shop.heat(18.0).await;
            shop.pour(&heat, &shell, 15.4).await;
            shop.try_close(&heat, 2.3, 0.2).await.is(201);
            let body = json!({"casting_id": id(casting), "at": at(5, "09:30"), "verdict": "accepted",
                              "gross_kg": 15.2, "net_kg": 11.0, "returned_kg": 4.1});
            breakouts.push(id(&shop.post("/v1/breakouts", &body).await.made()));
            shop.post(&format!("/v1/castings/{}/finish", id(casting)), &json!({"at": at(6, "09:00")})).await.made();
        }
        shop.post(&format!("/v1/pieces/{}/deliver", id(&piece)), &json!({"at": at(7, "09:00")})).await.made();
        shop.patch(&format!("/v1/breakouts/{}", breakouts[0]), &json!({"net_kg": 10.9})).await.is(200);
        // 10.9 kg of the one corrected, 11.0 kg of the other: both went out.
        let balance = shop.get("/v1/metal/balance").await.is(200);
        assert_eq!(balance["delivered"]["mass_kg"], json!(21.9), "{balance:#}");
        assert_eq!(balance["in_castings"]["mass_kg"], json!(0.0), "{balance:#}");
    })
    .await;
}

/// A bin that held more than the book, and said so: what is corrected or comes late before it
/// neither asks again nor is refused for it.
#[tokio::test]
async fn what_was_said_of_a_short_lot_holds_when_the_lot_changes_before_it() {
    at_both(async |shop| {
        let lot = shop.lot(20.0, 20_000).await;
        let said = json!({"despite": ["lot_short"]});
        shop.light(&lot, 22.0, &json!({})).await.refused("lot-short");
        shop.heat_from(&lot, 22.0, &said).await;
        // Its price, and a late charge from it on the day before.
        shop.patch(&format!("/v1/metal-lots/{lot}"), &json!({"cost_minor": 25_000})).await.is(200);
        shop.heat_from(&lot, 3.0, &json!({"at": at(3, "08:00")})).await;
        let balance = shop.get("/v1/metal/balance").await.is(200);
        assert_eq!(balance["by_sink"]["unexplained"]["mass_kg"], json!(-5.0), "{balance:#}");
        // A charge that did not say so is still held to the book.
        let other = shop.lot(20.0, 20_000).await;
        shop.heat_from(&other, 18.0, &json!({})).await;
        shop.light(&other, 3.0, &json!({"at": at(3, "08:00")})).await.refused("metal-short");
        shop.closes().await;
    })
    .await;
}
