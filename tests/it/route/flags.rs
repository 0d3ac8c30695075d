//! Practice flags: what they say, with the limit in force at the time of the record, and
//! that they never refuse.

use crate::kit::{TestShop, at, at_both, id};
use serde_json::{Value, json};

/// The flags of a record as (code, limit, was).
async fn flags(shop: &TestShop, path: &str) -> Vec<(String, String, String)> {
    let record = shop.get(path).await.is(200);
    let text = |v: &Value| v.as_str().unwrap_or_default().to_owned();
    record["practice_flags"].as_array().unwrap().iter().map(|f| (text(&f["code"]), text(&f["limit"]), text(&f["was"]))).collect()
}

fn flag(code: &str, limit: &str, was: &str) -> (String, String, String) {
    (code.to_owned(), limit.to_owned(), was.to_owned())
}

/// A pour into a fired shell with what was measured at it; answers its flags.
async fn poured_with(shop: &TestShop, more: &Value) -> Vec<(String, String, String)> {
    let (_, shell) = shop.fired().await;
    let heat = shop.heat(18.0).await;
    let mut measured = json!({"at": at(3, "15:00")});
    for (name, value) in more.as_object().unwrap() {
        measured[name] = value.clone();
    }
    shop.patch(&format!("/v1/heats/{heat}"), &json!({"at": at(3, "13:00")})).await.is(200);
    let pour = shop.try_pour(&heat, &shell, 15.0, &measured).await.made();
    flags(shop, &format!("/v1/pours/{}", id(&pour))).await
}

#[tokio::test]
async fn coats_and_their_drying() {
    at_both(async |shop| {
        let casting = shop.casting().await;
        let window = |low: u32, high: u32| json!({"low": low, "high": high});
        let coat = |kind: &str| json!({"kind": kind, "slurry": kind, "dry_hours": 3, "viscosity_s": window(20, 24), "humidity_percent": window(40, 60), "room_c": window(18, 24)});
        let recipe = json!({"name": "Strict", "at": "2026-01-01T00:00:00Z", "coats": [coat("prime"), coat("backup"), coat("seal")], "final_dry_hours": 24});
        let recipe = id(&shop.post("/v1/recipes", &recipe).await.made());
        let body = json!({"recipe_id": recipe, "casting_ids": [id(&casting)], "gating_kg": 0.5, "at": at(1, "10:00")});
        let shell = shop.post("/v1/shells", &body).await.made();
        let dip = async |kind: &str, time: &str, viscosity: f64, humidity: f64, room: f64| {
            let body = json!({"kind": kind, "slurry": kind, "at": at(1, time), "viscosity_s": viscosity, "humidity_percent": humidity, "room_c": room});
            let made = shop.post(&format!("/v1/shells/{}/coats", id(&shell)), &body).await.made();
            format!("/v1/coats/{}", id(&made))
        };
        let first = dip("prime", "11:00", 24.0, 40.0, 18.0).await;
        let second = dip("backup", "13:59", 24.5, 61.0, 17.9).await;
        let third = dip("seal", "16:59", 20.0, 60.0, 24.0).await;
        assert_eq!(flags(shop, &first).await, []);
        let expected = [
            flag("coat_not_dry", "3 h", "3.0 h"),
            flag("humidity_outside", "40 to 60 %", "61 %"),
            flag("room_outside", "18 to 24 °C", "17.9 °C"),
            flag("viscosity_outside", "20 to 24 s", "24.5 s"),
        ];
        assert_eq!(flags(shop, &second).await, expected);
        assert_eq!(flags(shop, &third).await, []);
        // A coat that turns up late between two others moves what each is held against.
        shop.void(&second).await.is(200);
        assert_eq!(flags(shop, &third).await, []);
        let burnout = json!({"kiln": "Big kiln", "at": at(2, "16:58"), "peak_c": 870, "shells": [{"shell_id": id(&shell), "result": "sound"}]});
        let burnout = format!("/v1/burnouts/{}", id(&shop.post("/v1/burnouts", &burnout).await.made()));
        assert_eq!(flags(shop, &burnout).await, [flag("kiln_before_final_dry", "24 h", "24.0 h")]);
        shop.patch(&burnout, &json!({"at": at(2, "16:59")})).await.is(200);
        assert_eq!(flags(shop, &burnout).await, []);
    })
    .await;
}

#[tokio::test]
async fn moisture_in_the_shell() {
    at_both(async |shop| {
        assert_eq!(poured_with(shop, &json!({})).await, []);
        assert_eq!(poured_with(shop, &json!({"at": at(3, "16:00")})).await, [], "4 h are 4 h");
        assert_eq!(poured_with(shop, &json!({"at": at(3, "16:30")})).await, [flag("moisture", "at most 4 h cold without preheat", "4.5 h")]);
        assert_eq!(poured_with(shop, &json!({"at": at(4, "09:00"), "shell_out_at": at(4, "08:55")})).await, [], "straight out of the kiln");
        assert_eq!(poured_with(shop, &json!({"shell_c": 203})).await[0], flag("moisture", "shell at 204 °C or more", "203 °C"));
        // Patched after the firing; fired too cool; then fired again.
        let (_, shell) = shop.fired().await;
        shop.post(&format!("/v1/shells/{}/patches", id(&shell)), &json!({"at": at(3, "13:00")})).await.made();
        let heat = shop.heat(18.0).await;
        let pour = format!("/v1/pours/{}", id(&shop.try_pour(&heat, &shell, 15.0, &json!({"at": at(4, "08:10")})).await.made()));
        assert_eq!(flags(shop, &pour).await, [flag("moisture", "fired at 600 °C or more since the last coat or patch", "coated or patched since")]);
        let fire = |time: &str, peak: u32| json!({"kiln": "Small kiln", "at": at(4, time), "purpose": "fire", "peak_c": peak, "shells": [{"shell_id": id(&shell), "result": "sound"}]});
        shop.post("/v1/burnouts", &fire("05:00", 599)).await.made();
        assert_eq!(flags(shop, &pour).await.len(), 1);
        shop.post("/v1/burnouts", &fire("06:00", 600)).await.made();
        assert_eq!(flags(shop, &pour).await, []);
    })
    .await;
}

/// C87300 is poured at 1010 to 1205 °C: its sheet as data/trade/alloys.toml cites it.
#[tokio::test]
async fn metal_and_shell_outside_their_windows() {
    at_both(async |shop| {
        for (more, expected) in [
            (json!({"metal_c": 1010}), vec![]),
            (json!({"metal_c": 1205}), vec![]),
            (json!({"metal_c": 1009.5}), vec![flag("metal_cool", "1010 to 1205 °C", "1009.5 °C")]),
            (json!({"metal_c": 1206}), vec![flag("metal_hot", "1010 to 1205 °C", "1206 °C")]),
            (json!({"shell_c": 540}), vec![]),
            (json!({"shell_c": 539}), vec![flag("shell_cool", "540 °C or more under 6 mm", "539 °C at 5 mm")]),
            // Nothing is said of a hot shell around a thin section, nor of what was not measured.
            (json!({"shell_c": 1000}), vec![]),
        ] {
            assert_eq!(poured_with(shop, &more).await, expected, "{more}");
        }
    })
    .await;
}

/// A tree is as thin as its thinnest casting, whichever of them is worked on afterwards.
#[tokio::test]
async fn a_tree_keeps_the_flag_of_its_thinnest() {
    at_both(async |shop| {
        let commission = shop.commission(None).await;
        let thin = shop.casting_of(&commission).await;
        let parts = json!({"at": at(1, "08:00"), "parts": [{"name": "base", "section_mm": 9}]});
        let thick = shop.piece(&commission, &parts).await["castings"][0].clone();
        let shell = shop.shell(&[&thin, &thick]).await;
        shop.coats(&shell).await;
        shop.fire(&shell).await;
        let heat = shop.heat(18.0).await;
        let pour = shop.try_pour(&heat, &shell, 15.0, &json!({"shell_c": 470})).await.made();
        let path = format!("/v1/pours/{}", id(&pour));
        let cool = flag("shell_cool", "540 °C or more under 6 mm", "470 °C at 5 mm");
        assert!(flags(shop, &path).await.contains(&cool));
        let minutes = json!({"at": at(5, "10:00"), "operation": "chase", "minutes": 20, "hand": "Bea"});
        shop.post(&format!("/v1/castings/{}/work", id(&thick)), &minutes).await.made();
        assert!(flags(shop, &path).await.contains(&cool));
        shop.closes().await;
    })
    .await;
}

#[tokio::test]
async fn the_limit_in_force_at_the_time() {
    at_both(async |shop| {
        let dry = |from: &str, c: u32| json!({"name": "shell_dry_c", "from_on": from, "value": c});
        shop.post("/v1/settings", &dry("2026-03-04", 220)).await.made();
        assert_eq!(poured_with(shop, &json!({"shell_c": 203})).await[0], flag("moisture", "shell at 204 °C or more", "203 °C"));
        let (_, shell) = shop.fired().await;
        let heat = shop.heat(18.0).await;
        let pour = shop
            .try_pour(&heat, &shell, 15.0, &json!({"at": at(4, "08:30"), "shell_c": 210, "shell_out_at": at(4, "08:25")}))
            .await
            .made();
        let path = format!("/v1/pours/{}", id(&pour));
        assert_eq!(flags(shop, &path).await[0], flag("moisture", "shell at 220 °C or more", "210 °C"));
        // A limit dated back holds for what happened since; void, the one before it holds again.
        let back = shop.post("/v1/settings", &dry("2026-03-04", 205)).await.made();
        assert_eq!(in_force(shop).await, 205);
        assert_eq!(flags(shop, &path).await.len(), 1, "210 °C is dry, and cool for 5 mm");
        shop.closes().await;
        shop.void(&format!("/v1/settings/{}", id(&back))).await.is(200);
        assert_eq!(in_force(shop).await, 220);
        assert_eq!(flags(shop, &path).await.len(), 2);
    })
    .await;
}

/// The dry limit of shells as in force now.
async fn in_force(shop: &TestShop) -> i64 {
    let all = shop.get("/v1/settings-in-force").await.is(200);
    let items = all["items"].as_array().unwrap();
    items.iter().find(|i| i["name"] == "shell_dry_c").unwrap()["value"].as_i64().unwrap()
}
