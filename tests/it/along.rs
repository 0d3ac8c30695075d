//! What is voided along with a record: what was recorded in the same act, not what was
//! recorded in the same millisecond.

use crate::kit::{at_both, id};
use serde_json::json;

#[tokio::test]
async fn two_acts_in_one_millisecond() {
    at_both(async |shop| {
        let (_, shell) = shop.fired().await;
        let heat = shop.heat(18.0).await;
        let leak = json!({"where": "gate", "response": "froze_off", "lost_kg": 0.1});
        let pour = shop.try_pour(&heat, &shell, 15.0, &json!({"leaks": [leak]})).await.made();
        let path = format!("/v1/pours/{}", id(&pour));
        let clock = shop.db.clock();
        clock.set(clock.now().plus_ms(-1));
        let later = shop.post(&format!("{path}/leaks"), &leak).await.made();
        assert_eq!(later["recorded_at"], pour["recorded_at"], "the test must bring them into one millisecond");
        let refused = shop.void(&path).await.refused("in-use");
        assert_eq!(refused["dependents"].as_array().unwrap().len(), 1, "{refused:#}");
        assert_eq!(refused["dependents"][0]["id"], later["id"], "{refused:#}");
        shop.void(&format!("/v1/leaks/{}", id(&later))).await.is(200);
        let voided = shop.void(&path).await.is(200)["voided"].clone();
        assert_eq!(voided.as_array().unwrap().len(), 2, "{voided:#}");
    })
    .await;
}
