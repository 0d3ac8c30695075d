//! A client's contact can be forgotten, in every line, without breaking the chain.

use crate::kit::{TestShop, at_both, id};
use serde_json::json;

#[tokio::test]
async fn contact_is_gone_from_every_line_and_the_chain_holds() {
    at_both(async |shop: &TestShop| {
        let made =
            shop.post("/v1/clients", &json!({"name": "Ada Vane", "email": "ada@example.org", "phone": "555 0100"})).await.made();
        let path = format!("/v1/clients/{}", id(&made));
        shop.patch(&path, &json!({"phone": "555 0199", "notes": "call after six"})).await.is(200);
        let forgotten = shop.post(&format!("{path}/forget"), &json!({"reason": "asked to be forgotten"})).await.is(200);
        assert_eq!(forgotten["name"], "Ada Vane");
        assert!(["email", "phone", "notes"].iter().all(|m| forgotten.get(m).is_none()), "{forgotten}");
        let journal = shop.get(&format!("/v1/journal?record={}", id(&made))).await.is(200);
        let text = journal.to_string();
        assert!(["example.org", "555 0100", "555 0199", "after six"].iter().all(|said| !text.contains(said)), "{text}");
        let actions: Vec<_> = journal["items"].as_array().unwrap().iter().map(|l| l["action"].as_str().unwrap()).collect();
        assert_eq!(actions, ["create", "correct", "forget"]);
    })
    .await;
}
