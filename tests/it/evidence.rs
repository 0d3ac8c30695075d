//! Levels compared: what can be told apart, by how much, and what is said where nothing can be.

use crate::browser::Browser;
use crate::kit::{TestShop, at, id};
use pourbook::kernel::Role;
use serde_json::{Value, json};

/// So many shells of a recipe poured, the first of them leaking.
async fn pours(shop: &TestShop, recipe: &str, count: usize, leaks: usize) {
    for n in 0..count {
        let casting = shop.casting().await;
        let body = json!({"recipe_id": recipe, "casting_ids": [id(&casting)], "gating_kg": 0.5, "at": at(1, "10:00")});
        let shell = shop.post("/v1/shells", &body).await.made();
        shop.coats(&shell).await;
        shop.fire(&shell).await;
        let leaks = if n < leaks { json!([{"where": "gate", "response": "froze_off", "lost_kg": 0.4}]) } else { json!([]) };
        let heat = shop.heat(18.0).await;
        shop.try_pour(&heat, &shell, 15.4, &json!({"leaks": leaks})).await.made();
    }
}

async fn two_recipes(shop: &TestShop) {
    for (name, leaks) in [("Grey", 0), ("Quick", 6)] {
        let coats =
            json!([{"kind": "prime", "slurry": "prime", "dry_hours": 3}, {"kind": "backup", "slurry": "backup", "dry_hours": 6}]);
        let recipe = json!({"name": name, "at": "2026-01-01T00:00:00Z", "coats": coats});
        let recipe = id(&shop.post("/v1/recipes", &recipe).await.made());
        pours(shop, &recipe, 12, leaks).await;
    }
}

fn near(value: &Value, want: f64) {
    let got = value.as_f64().unwrap_or_else(|| panic!("{value}"));
    assert!((got - want).abs() < 1e-4 * want.abs().max(1.0), "{got} is not {want}");
}

#[tokio::test]
async fn two_recipes_lean_on_a_standing_page_and_are_told_apart_when_named_beforehand() {
    let shop = TestShop::open(1).await;
    two_recipes(&shop).await;
    let path = "/v1/reports/compare?outcome=leak&factor=recipe&a=Grey&b=Quick";
    let found = shop.get(path).await.is(200);
    // 0 of 12 against 6 of 12: of the 134 596 ways to lay 6 leaks on 24 pours, 924 put all of them on one
    // side; with the mirror image that is 2 x 924 / 134 596.
    near(&found["fisher_p"], 2.0 * 924.0 / 134_596.0);
    near(&found["raw_p"], 2.0 * 924.0 / 134_596.0);
    near(&found["difference"]["value"], -0.5);
    assert_eq!((&found["family"], &found["verdict"], &found["unit"]), (&json!(1), &json!("leaning"), &json!("shell")));
    assert_eq!(found["adjusted"]["for"], json!(["alloy"]));
    let words = found["words"].as_str().unwrap();
    assert!(words.starts_with("Grey leaked 0 of 12 (0 %), Quick 6 of 12 (50 %)."), "{words}");
    assert!(words.contains("Quick looks worse than Grey"), "{words}");
    let named = shop.get(&format!("{path}&beforehand=yes")).await.is(200);
    assert_eq!((&named["verdict"], &named["threshold"]), (&json!("told_apart"), &json!(0.05)));
    // The report by recipe says the same of the pair, and places neither.
    let report = shop.get("/v1/reports/leaks?by=recipe").await.is(200);
    let pair = &report["comparisons"][0];
    assert_eq!((&pair["a"], &pair["b"], &pair["verdict"]), (&json!("Grey"), &json!("Quick"), &json!("leaning")));
    near(&pair["holm_p"], 2.0 * 924.0 / 134_596.0);
    assert_eq!(report["rows"][0]["place"], json!({"from": 1, "to": 2}));
    let (raw, drawn) = (report["rows"][0]["rate"].as_f64().unwrap(), report["rows"][0]["shrunken"].as_f64().unwrap());
    assert!(raw == 0.0 && drawn > 0.0 && drawn < 0.25, "{report:#}");
    near(&report["homogeneity"]["p"], 2.0 * 924.0 / 134_596.0);
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let html = owner.get("/reports/compare?outcome=leak&factor=recipe&a=Grey&b=Quick").await.is(200);
    assert!(html.contains("Leaning.") && html.contains("Quick looks worse"), "{html}");
    assert!(owner.get("/reports/leaks?by=recipe").await.is(200).contains("1 compared, each with each"));
    let changed = shop.get("/v1/reports/changed?outcome=leak").await.is(200);
    assert!(changed["rows"].as_array().unwrap().iter().all(|row| row["differs"] == false), "{changed:#}");
}

#[tokio::test]
async fn where_nothing_can_be_compared_it_is_said_and_nothing_breaks() {
    let shop = TestShop::open(1).await;
    let refused = async |query: &str, status: u16| shop.get(&format!("/v1/reports/{query}")).await.is(status);
    // Nothing poured at all.
    let empty = refused("leaks?by=recipe", 200).await;
    assert_eq!(empty["rows"], json!([]));
    assert!(refused("changed?outcome=leak", 200).await["words"].as_str().unwrap().starts_with("Nothing has pours enough"));
    let none = refused("compare?factor=recipe&a=x&b=y", 404).await;
    assert!(none["detail"].as_str().unwrap().contains("nothing was poured"), "{none}");
    shop.poured().await;
    let one = refused("leaks?by=recipe", 200).await;
    assert_eq!(one["compared"]["words"], "With one level there is nothing to compare.");
    refused("compare?factor=moon&a=x&b=y", 400).await;
    refused("compare?factor=recipe&a=C87300&b=C87300", 404).await;
    refused("compare?factor=alloy&a=C87300&b=C87300", 400).await;
    refused("compare?factor=recipe&a=x&b=y&adjust=hand", 400).await;
    refused("compare?factor=recipe&a=x&b=y&adjust=recipe", 400).await;
    refused("compare?factor=recipe&a=x&b=y&adjust=alloy,kiln,furnace,month", 400).await;
    refused("compare?factor=recipe&a=x&b=y&worth_knowing=3", 400).await;
    refused("compare?factor=recipe&a=x&b=y&outcome=luck", 400).await;
    // Every factor answers, for every outcome, with one pour.
    for factor in [
        "alloy",
        "kiln",
        "hand",
        "slurry_batch",
        "practice_flag",
        "month",
        "superheat_band",
        "shell_temperature_band",
        "section_band",
    ] {
        for outcome in ["leaks", "shorts", "defects"] {
            let text = refused(&format!("{outcome}?by={factor}"), 200).await.to_string();
            assert!(!text.contains("NaN") && !text.contains("null,\"high"), "{factor}: {text}");
        }
    }
    // All leaks: told, and no more.
    let all = refused("leaks?by=alloy&from=2030-01-01T00:00:00Z", 200).await;
    assert_eq!(all["rows"], json!([]));
}
