//! Stories along the route.

use crate::kit::{at_both, id};
use serde_json::json;

#[tokio::test]
async fn a_straight_run_closes() {
    at_both(async |shop| {
        let (casting, _, heat, _) = shop.poured().await;
        shop.breakout(&casting, &json!({"gross_kg": 15.2, "net_kg": 11.0, "returned_kg": 4.1})).await;
        shop.post(&format!("/v1/castings/{}/finish", id(&casting)), &json!({"at": "2026-03-06T09:00:00Z"})).await.made();
        assert_eq!(shop.stage(&casting).await, "done");
        shop.get(&format!("/v1/heats/{heat}/balance")).await.is(200);
    })
    .await;
}
