//! How many calls to the database driver a record costs, counted by the writer itself.
//!
//! A stage log makes at most six after authentication: every call is a step to the driver's
//! thread and back while all other writers wait. The commit is the batch's, not the turn's.

use axum::body::{Body, to_bytes};
use axum::http::Request;
use pourbook::app;
use pourbook::book::token;
use pourbook::db::{Db, Options};
use pourbook::kernel::{Actor, Clock, Instant, Role};
use serde_json::{Value, json};
use std::fmt::Write as _;
use tower::ServiceExt as _;

/// The most that a stage log may make.
const MOST: u32 = 6;

struct Shop {
    db: Db,
    service: axum::Router,
    token: String,
    counted: Vec<(&'static str, u32)>,
    _dir: tempfile::TempDir,
}

impl Shop {
    async fn open() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let clock = Clock::fixed(Instant::from_ms(1_780_000_000_000), 7);
        let db = Db::open(dir.path(), Options::default(), clock.clone(), app::SETTLERS).await.unwrap();
        let token = token::mint(&clock);
        let mut tx = db.write(Actor::new("Ada", Role::Owner)).await.unwrap();
        token::keep(&mut tx, &token, "Ada", Role::Owner);
        tx.save(()).await.unwrap();
        Self { service: app::service(&db), db, token, counted: Vec::new(), _dir: dir }
    }

    /// Sends a request that must be taken; `counts` under that name.
    async fn post(&mut self, counts: &'static str, path: &str, body: Value) -> Value {
        let key = format!("key-{}-{}", counts.replace(' ', "-"), self.counted.len());
        let request = Request::post(path)
            .header("authorization", format!("Bearer {}", self.token))
            .header("content-type", "application/json")
            .header("idempotency-key", key)
            .body(Body::from(body.to_string()))
            .unwrap();
        let response = self.service.clone().oneshot(request).await.unwrap();
        let status = response.status().as_u16();
        let answer: Value = serde_json::from_slice(&to_bytes(response.into_body(), 1 << 22).await.unwrap()).unwrap();
        assert_eq!(status, 201, "{counts}: {path} {body}: {answer}");
        self.counted.push((counts, self.db.tally().last_calls()));
        answer
    }

    /// A casting in a shell, coated and fired up to a stage; answers both tags.
    async fn shell(&mut self, castings: usize) -> (Vec<String>, String) {
        let commission = self.post("", "/v1/commissions", json!({"title": "One"})).await;
        let path = format!("/v1/commissions/{}/pieces", text(&commission["number"]));
        let mut tags = Vec::new();
        for _ in 0..castings {
            let piece = json!({"pattern": {"name": "Heron", "material": "wax_casting", "mass_kg": 1.2, "section_mm": 5}, "alloy": "C87300"});
            let made = self.post("(pieces)", &path, piece).await;
            tags.push(text(&made["castings"][0]["tag"]));
        }
        for tag in &tags {
            self.post("wax", &format!("/v1/castings/{tag}/waxes"), json!({"at": "2026-03-01T09:00:00Z", "wax_kg": 1.25})).await;
        }
        let recipe = json!({"name": "Standard", "at": "2026-01-01T00:00:00Z", "final_dry_hours": 24, "coats": [
            {"kind": "prime", "slurry": "prime", "dry_hours": 3}, {"kind": "backup", "slurry": "backup", "dry_hours": 6}]});
        let recipe = self.post("(recipe)", "/v1/recipes", recipe).await;
        let shell = json!({"recipe_id": recipe["id"], "casting_ids": tags, "gating_kg": 0.5, "at": "2026-03-01T10:00:00Z"});
        let shell = text(&self.post("(shell)", "/v1/shells", shell).await["tag"]);
        (tags, shell)
    }
}

fn text(value: &Value) -> String {
    value.as_str().unwrap().to_owned()
}

#[tokio::test]
#[expect(clippy::too_many_lines, reason = "one job from first to last, each step counted")]
async fn a_stage_log_makes_at_most_six_calls() {
    let mut shop = Shop::open().await;
    let batch = json!({"name": "Prime tank", "at": "2026-02-20T09:00:00Z", "binder": "colloidal silica", "flour": "zircon"});
    let batch = shop.post("(slurry batch)", "/v1/slurry-batches", batch).await;
    let check = json!({"at": "2026-03-01T08:00:00Z", "viscosity_s": 22, "cup": "zahn_4"});
    shop.post("slurry check", &format!("/v1/slurry-batches/{}/checks", text(&batch["id"])), check).await;
    let lot = json!({"alloy": "C87300", "kind": "ingot", "mass_kg": 200, "cost_minor": 180_000, "at": "2026-01-05T10:00:00Z"});
    let lot = text(&shop.post("(lot)", "/v1/metal-lots", lot).await["id"]);
    let mut shells = Vec::new();
    for castings in [1, 1, 2] {
        shells.push(shop.shell(castings).await);
    }
    let tags: Vec<String> = shells.iter().map(|(_, shell)| shell.clone()).collect();
    let coat = json!({"at": "2026-03-01T11:00:00Z", "kind": "prime", "slurry": "prime", "slurry_batch_id": batch["id"], "viscosity_s": 22, "cup": "zahn_4"});
    let mut rack = coat.clone();
    rack["shell_ids"] = json!(tags);
    shop.post("coats on a rack of three", "/v1/coats", rack).await;
    for tag in &tags {
        let coat = json!({"at": "2026-03-01T15:00:00Z", "kind": "backup", "slurry": "backup", "humidity_percent": 45});
        shop.post("coat", &format!("/v1/shells/{tag}/coats"), coat).await;
        shop.post("patch", &format!("/v1/shells/{tag}/patches"), json!({"at": "2026-03-01T16:00:00Z", "where": "gate"})).await;
    }
    let loaded: Vec<Value> = tags.iter().map(|tag| json!({"shell_id": tag, "result": "sound"})).collect();
    for at in ["2026-03-03T12:00:00Z", "2026-03-03T18:00:00Z"] {
        // The first makes the kiln.
        let name = if at.contains("T12") { "(burnout, kiln made)" } else { "burnout" };
        shop.post(name, "/v1/burnouts", json!({"kiln": "Big kiln", "at": at, "peak_c": 870, "shells": loaded})).await;
    }
    shop.post(
        "preheat",
        "/v1/preheats",
        json!({"kiln": "Big kiln", "at": "2026-03-04T07:00:00Z", "shell_ids": tags, "target_c": 600}),
    )
    .await;
    let mut heats = Vec::new();
    for at in ["2026-03-04T08:00:00Z", "2026-03-04T08:30:00Z", "2026-03-04T08:45:00Z"] {
        let heat = json!({"alloy": "C87300", "furnace": "Gas", "crucible": format!("No {}", heats.len()), "at": at, "charge": [{"lot_id": lot, "mass_kg": 40}]});
        heats.push(text(&shop.post("(heat)", "/v1/heats", heat).await["number"]));
    }
    let heat = heats[0].clone();
    shop.post("charge", &format!("/v1/heats/{heat}/charges"), json!({"at": "2026-03-04T08:20:00Z", "lot_id": lot, "mass_kg": 5}))
        .await;
    shop.post(
        "heat event",
        &format!("/v1/heats/{heat}/events"),
        json!({"at": "2026-03-04T08:40:00Z", "kind": "temperature", "metal_c": 1150}),
    )
    .await;
    let event = json!({"at": "2026-03-04T08:41:00Z", "kind": "deoxidise", "lot_id": lot, "mass_kg": 0.01});
    shop.post("heat event with metal", &format!("/v1/heats/{heat}/events"), event).await;
    let pour = |shell: &str, minute: u32| {
        json!({"shell_id": shell, "at": format!("2026-03-04T09:{minute}:00Z"), "support": "open_rack",
        "filled": "full", "poured_kg": 13, "metal_c": 1150})
    };
    shop.post("pour, weighed", &format!("/v1/heats/{heat}/pours"), pour(&tags[0], 10)).await;
    let mut leaking = pour(&tags[1], 12);
    leaking["leaks"] = json!([{"where": "gate", "response": "froze_off", "lost_kg": 0.2, "swept_kg": 0.1}]);
    // The first swept metal of an alloy makes its pool.
    shop.post("pour with a leak, pool made", &format!("/v1/heats/{heat}/pours"), leaking).await;
    let mut leaking = pour(&tags[2], 14);
    leaking["poured_kg"] = json!(16);
    leaking["leaks"] = json!([{"where": "gate", "response": "froze_off", "lost_kg": 0.1, "swept_kg": 0.1},
        {"where": "cup", "response": "plugged", "lost_kg": 0.1}]);
    shop.post("pour with two leaks", &format!("/v1/heats/{heat}/pours"), leaking).await;
    shop.post(
        "closing, pigged",
        &format!("/v1/heats/{heat}/closings"),
        json!({"at": "2026-03-04T09:30:00Z", "pigged_kg": 2.8, "dross_kg": 0.2}),
    )
    .await;
    let out = json!({"at": "2026-03-04T09:40:00Z", "pigged_kg": 40});
    shop.post("closing of a heat that poured nothing", &format!("/v1/heats/{}/closings", heats[1]), out).await;
    let left = json!({"at": "2026-03-04T09:45:00Z", "heel_kg": 39.8, "dross_kg": 0.2});
    shop.post("closing, nothing pigged", &format!("/v1/heats/{}/closings", heats[2]), left).await;
    let breakout = json!({"casting_id": shells[0].0[0], "at": "2026-03-05T09:30:00Z", "verdict": "accepted", "gross_kg": 12.9, "net_kg": 9.0,
        "returned_kg": 3.8, "findings": [{"code": "B111", "severity": "minor"}, {"code": "B112"}]});
    shop.post("breakout with net, returned, two findings", "/v1/breakouts", breakout).await;
    let breakout = json!({"casting_id": shells[1].0[0], "at": "2026-03-05T10:00:00Z", "verdict": "accepted", "gross_kg": 12.5});
    shop.post("breakout", "/v1/breakouts", breakout).await;
    let tree = json!({"at": "2026-03-05T11:00:00Z", "gross_kg": 15.5, "castings": [
        {"casting_id": shells[2].0[0], "verdict": "repair"},
        {"casting_id": shells[2].0[1], "verdict": "scrap", "findings": [{"code": "B111"}]}]});
    shop.post("breakout of a tree of two, one scrapped", &format!("/v1/shells/{}/breakout", tags[2]), tree).await;
    let cut = json!({"at": "2026-03-05T11:00:00Z", "net_kg": 8.6, "returned_kg": 3.7});
    shop.post("cut-off", &format!("/v1/castings/{}/cut-off", shells[1].0[0]), cut).await;
    let work = json!({"operation": "chase", "minutes": 40, "at": "2026-03-06T09:00:00Z", "hand": "Ada"});
    let casting = shells[0].0[0].clone();
    shop.post("(work, hand made)", &format!("/v1/castings/{casting}/work"), work.clone()).await;
    shop.post("work", &format!("/v1/castings/{casting}/work"), work).await;
    let weld = json!({"operation": "weld", "minutes": 40, "at": "2026-03-06T10:00:00Z", "hand": "Ada", "mass_after_kg": 8.9, "rod_kg": 0.01, "rod_lot_id": lot});
    shop.post("work with rod and mass", &format!("/v1/castings/{casting}/work"), weld).await;
    shop.post("finish", &format!("/v1/castings/{casting}/finish"), json!({"at": "2026-03-07T09:00:00Z"})).await;
    let scrap =
        json!({"at": "2026-03-07T10:00:00Z", "cause": {"category": "wax", "text": "misrun at the wing"}, "returned_kg": 8.6});
    shop.post("scrap", &format!("/v1/castings/{}/scrap", shells[1].0[0]), scrap).await;
    let piece = text(&get(&shop, &format!("/v1/castings/{casting}")).await["piece_id"]);
    shop.post("deliver", &format!("/v1/pieces/{piece}/deliver"), json!({"at": "2026-03-08T09:00:00Z", "to": "Ada Vane"})).await;
    let mut said = String::new();
    for (name, calls) in shop.counted.iter().filter(|(name, _)| !name.is_empty()) {
        writeln!(said, "{calls:3}  {name}").unwrap();
    }
    println!("{said}");
    let over = |name: &str, calls: u32| !name.is_empty() && !name.starts_with('(') && calls > MOST;
    assert!(!shop.counted.iter().any(|(name, calls)| over(name, *calls)), "over {MOST} calls:\n{said}");
    assert!(shop.counted.iter().all(|(_, calls)| *calls >= 2), "{said}");
    // What was settled with so few calls is what is derived anew.
    assert_eq!(app::rebuild::run(&shop.db).await.unwrap(), Vec::<String>::new());
    shop.db.close().await;
}

async fn get(shop: &Shop, path: &str) -> Value {
    let request = Request::get(path).header("authorization", format!("Bearer {}", shop.token)).body(Body::empty()).unwrap();
    let response = shop.service.clone().oneshot(request).await.unwrap();
    assert_eq!(response.status(), 200, "{path}");
    serde_json::from_slice(&to_bytes(response.into_body(), 1 << 22).await.unwrap()).unwrap()
}
