//! A small shop, recorded through the API, whose every figure is worked by hand beside the
//! check. Published intervals come from `tests/reference/statistics.json`.

use axum::body::Body;
use axum::http::{Request, header};
use pourbook::app;
use pourbook::book::token;
use pourbook::db::{Db, Options};
use pourbook::kernel::{Actor, Clock, Instant, Role};
use serde_json::{Value, json};
use tower::ServiceExt as _;

struct Shop {
    db: Db,
    service: axum::Router,
    secret: String,
    _dir: tempfile::TempDir,
}

impl Shop {
    async fn open() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let clock = Clock::fixed(Instant::parse("2026-06-01T12:00:00Z").unwrap(), 11);
        let db = Db::open(dir.path(), Options::default(), clock.clone(), app::SETTLERS).await.unwrap();
        let secret = token::mint(&clock);
        let mut tx = db.write(Actor::new("setup", Role::Owner)).await.unwrap();
        token::keep(&mut tx, &secret, "owner", Role::Owner);
        tx.save(()).await.unwrap();
        Self { service: app::service(&db), db, secret, _dir: dir }
    }
    async fn call(&self, method: &str, path: &str, body: &Value) -> (u16, Value) {
        let media = if method == "PATCH" { "application/merge-patch+json" } else { "application/json" };
        let mut request = Request::builder()
            .method(method)
            .uri(path)
            .header(header::AUTHORIZATION, format!("Bearer {}", self.secret))
            .header(header::CONTENT_TYPE, media);
        if method == "PATCH" {
            request = request.header(header::IF_MATCH, "*");
        }
        let body = if body.is_null() { Body::empty() } else { Body::from(body.to_string()) };
        let response = self.service.clone().oneshot(request.body(body).unwrap()).await.unwrap();
        let status = response.status().as_u16();
        let bytes = axum::body::to_bytes(response.into_body(), 1 << 24).await.unwrap();
        (status, serde_json::from_slice(&bytes).unwrap_or(Value::Null))
    }
    async fn post(&self, path: &str, body: Value) -> Value {
        let (status, answer) = self.call("POST", path, &body).await;
        assert!(status < 300, "{path} {body}: {status} {answer}");
        answer
    }
    async fn get(&self, path: &str) -> Value {
        let (status, answer) = self.call("GET", path, &Value::Null).await;
        assert_eq!(status, 200, "{path}: {answer}");
        answer
    }
    /// Tags of castings of one piece each.
    async fn castings(&self, commission: &str, pattern: &str, alloy: &str, n: usize) -> Vec<String> {
        let rows: Vec<Value> = (0..n).map(|_| json!({"pattern_id": pattern, "alloy": alloy})).collect();
        let made = self.post(&format!("/v1/commissions/{commission}/pieces"), json!({"rows": rows})).await;
        made["pieces"].as_array().unwrap().iter().map(|p| p["castings"][0]["tag"].as_str().unwrap().to_owned()).collect()
    }
    async fn shell(&self, recipe: &str, castings: &[&str]) -> String {
        let body = json!({"recipe_id": recipe, "casting_ids": castings, "gating_kg": 0.2, "at": "2026-03-02T10:00:00Z"});
        self.post("/v1/shells", body).await["tag"].as_str().unwrap().to_owned()
    }
    async fn pour(&self, heat: &str, shell: &str, at: &str, kg: f64, more: Value) -> Value {
        let mut body = json!({"shell_id": shell, "at": at, "support": "open_rack", "filled": "full", "poured_kg": kg});
        for (name, value) in more.as_object().unwrap() {
            body[name] = value.clone();
        }
        self.post(&format!("/v1/heats/{heat}/pours"), body).await
    }
    async fn same_when_remade(&self) {
        assert_eq!(app::rebuild::run(&self.db).await.unwrap(), Vec::<String>::new());
    }
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap()
}

/// The row of a level; of what is not on record for `None`.
fn row<'r>(report: &'r Value, level: Option<&str>) -> &'r Value {
    let found = report["rows"].as_array().unwrap().iter().find(|r| r["level"].as_str() == level);
    found.unwrap_or_else(|| panic!("no row {level:?} in {report}"))
}

fn near(value: &Value, want: f64) {
    let got = value.as_f64().unwrap_or_else(|| panic!("{value} is no number; {want} was worked out"));
    assert!((got - want).abs() < 1e-9, "{got} is not {want}");
}

fn published(id: &str) -> Value {
    let cases: Vec<Value> = serde_json::from_str(include_str!("../reference/statistics.json")).unwrap();
    cases.into_iter().find(|c| c["id"] == id).unwrap()["expected"].clone()
}

/// Seven shells fired but for one, five of them poured from two heats, four more waiting.
struct Story {
    shop: Shop,
    shells: Vec<String>,
    castings: Vec<String>,
    recipes: [String; 2],
    patterns: [String; 2],
    heats: [String; 2],
    pours: Vec<Value>,
}

async fn story() -> Story {
    let shop = Shop::open().await;
    // Poured at 02:00 in London it is still the evening before in New York.
    shop.post("/v1/settings", json!({"name": "zone", "from_on": "2020-01-01", "value": "America/New_York"})).await;
    let commission = shop.post("/v1/commissions", json!({"title": "Herons"})).await;
    let commission = text(&commission["number"]).to_owned();
    let mut patterns = Vec::new();
    for name in ["Heron", "Bowl"] {
        let made =
            shop.post("/v1/patterns", json!({"name": name, "material": "wax_casting", "mass_kg": 0.3, "section_mm": 5})).await;
        patterns.push(text(&made["id"]).to_owned());
    }
    let mut recipes = Vec::new();
    for name in ["Standard", "Fast"] {
        let body =
            json!({"name": name, "at": "2026-01-01T00:00:00Z", "coats": [{"kind": "prime", "slurry": "prime", "dry_hours": 3}]});
        recipes.push(text(&shop.post("/v1/recipes", body).await["id"]).to_owned());
    }
    let heron = shop.castings(&commission, &patterns[0], "C87300", 12).await;
    let bowl = shop.castings(&commission, &patterns[1], "C87300", 1).await;
    // c1 | c2 c3 c4 | c5 | c6 | c9 | c8 | four waiting; c4 is the bowl.
    let castings: Vec<String> = [&heron[0], &heron[1], &heron[2], &bowl[0], &heron[3], &heron[4], &heron[5], &heron[6]]
        .into_iter()
        .chain(&heron[8..])
        .cloned()
        .collect();
    let [c1, c2, c3, c4, c5, c6, c9, c8] = [0, 1, 2, 3, 4, 5, 6, 7].map(|i| castings[i].as_str());
    let mut shells = Vec::new();
    for (recipe, inside) in [(0, vec![c1]), (0, vec![c2, c3, c4]), (1, vec![c5]), (1, vec![c6]), (1, vec![c9]), (0, vec![c8])] {
        shells.push(shop.shell(&recipes[recipe], &inside).await);
    }
    for waiting in &castings[8..] {
        shells.push(shop.shell(&recipes[0], &[waiting]).await);
    }
    let [s1, s2, s3, s4, s7, s6] = [0, 1, 2, 3, 4, 5].map(|i| shells[i].as_str());
    for batch in ["A", "B"] {
        let made = shop.post("/v1/slurry-batches", json!({"name": batch, "at": "2026-02-01T10:00:00Z"})).await;
        let at = format!("2026-03-0{}T11:00:00Z", if batch == "A" { 2 } else { 3 });
        let coat = json!({"kind": "prime", "slurry": "prime", "slurry_batch_id": made["id"], "at": at, "hands": ["Ida"]});
        shop.post(&format!("/v1/shells/{s1}/coats"), coat).await;
    }
    shop.post(&format!("/v1/shells/{s3}/patches"), json!({"at": "2026-03-03T12:00:00Z"})).await;
    let sound = |shell: &str| json!({"shell_id": shell, "result": "sound"});
    let load = json!([sound(s1), sound(s2), sound(s3), sound(s7), {"shell_id": s6, "result": "lost"}]);
    shop.post("/v1/burnouts", json!({"kiln": "Big kiln", "at": "2026-03-20T12:00:00Z", "peak_c": 870, "shells": load})).await;
    let lot = json!({"alloy": "C87300", "kind": "ingot", "mass_kg": 100, "cost_minor": 90000, "at": "2026-01-05T10:00:00Z"});
    let lot = shop.post("/v1/metal-lots", lot).await["id"].clone();
    let mut heats = Vec::new();
    for (at, kg, crucible) in [("2026-04-01T00:00:00Z", 20.0, "No 30"), ("2026-04-10T08:00:00Z", 12.0, "No 20")] {
        let charge = json!([{"lot_id": lot, "mass_kg": kg}]);
        let heat = json!({"alloy": "C87300", "furnace": "Gas", "crucible": crucible, "at": at, "charge": charge});
        heats.push(text(&shop.post("/v1/heats", heat).await["number"]).to_owned());
    }
    let leak = json!([{"where": "gate", "response": "froze_off", "lost_kg": 0.2}]);
    let pours = vec![
        shop.pour(&heats[0], s1, "2026-04-01T02:00:00Z", 5.0, json!({"leaks": leak, "shell_out_at": "2026-04-01T01:57:00Z"}))
            .await,
        shop.pour(&heats[0], s2, "2026-04-01T05:00:00Z", 9.0, json!({})).await,
        shop.pour(&heats[1], s3, "2026-04-10T09:00:00Z", 4.0, json!({})).await,
        shop.pour(&heats[1], s4, "2026-04-10T09:05:00Z", 4.0, json!({"despite": ["not_on_record"]})).await,
        shop.pour(&heats[1], s7, "2026-04-10T09:10:00Z", 3.0, json!({"leaks": leak})).await,
    ];
    let undone = format!("/v1/leaks/{}/void", text(&pours[4]["leaks"][0]["id"]));
    shop.post(&undone, json!({"reason": "wrong shell"})).await;
    shop.post(&format!("/v1/heats/{}/close", heats[0]), json!({"at": "2026-04-01T06:00:00Z", "pigged_kg": 5.5, "dross_kg": 0.3}))
        .await;
    shop.post(&format!("/v1/heats/{}/close", heats[1]), json!({"at": "2026-04-10T10:00:00Z", "pigged_kg": 0.8, "dross_kg": 0.1}))
        .await;
    let take = |list: Vec<String>| <[String; 2]>::try_from(list).unwrap();
    Story { shop, shells, castings, recipes: take(recipes), patterns: take(patterns), heats: take(heats), pours }
}

impl Story {
    /// Opens all but the last shell, finishes one casting and gives one up at the bench.
    async fn open_shells(&self) {
        let [c1, c2, c3, c4, c5, c6] = [0, 1, 2, 3, 4, 5].map(|i| self.castings[i].as_str());
        let broken = |tag: &str, verdict: &str, gross: f64, net: f64, returned: f64| json!({"casting_id": tag, "at": "2026-04-11T09:00:00Z", "verdict": verdict, "gross_kg": gross, "net_kg": net, "returned_kg": returned});
        let mut bad = broken(c5, "scrap", 4.0, 2.5, 1.4);
        bad["findings"] = json!([{"code": "A111"}, {"code": "A111"}, {"code": "B111"}]);
        for body in [broken(c1, "accepted", 4.8, 3.0, 1.7), bad, broken(c6, "accepted", 4.0, 2.4, 1.5)] {
            self.shop.post("/v1/breakouts", body).await;
        }
        let tree = json!({"at": "2026-04-12T09:00:00Z", "gross_kg": 9.0, "castings": [
            {"casting_id": c2, "verdict": "accepted"}, {"casting_id": c3, "verdict": "repair", "findings": [{"code": "A111"}]},
            {"casting_id": c4, "verdict": "scrap"}]});
        self.shop.post(&format!("/v1/shells/{}/breakout", self.shells[1]), tree).await;
        for (tag, net) in [(c2, 2.0), (c3, 2.0), (c4, 1.5)] {
            self.shop.post(&format!("/v1/castings/{tag}/cut-off"), json!({"at": "2026-04-12T10:00:00Z", "net_kg": net})).await;
        }
        self.shop.post(&format!("/v1/castings/{c1}/finish"), json!({"at": "2026-04-20T09:00:00Z"})).await;
        let cause = json!({"category": "bench", "text": "ground through"});
        self.shop.post(&format!("/v1/castings/{c2}/scrap"), json!({"at": "2026-04-20T10:00:00Z", "cause": cause})).await;
    }
}

#[tokio::test]
async fn rates_stand_beside_counts_intervals_and_what_waits() {
    let Story { shop, recipes, pours, .. } = story().await;
    // Nothing short of five, four waiting: tests/reference, Wilson 1927 and Manski 1990.
    let shorts = shop.get("/v1/reports/shorts?by=recipe").await;
    let known = published("denominator.5s0l4p");
    let overall = &shorts["overall"];
    assert_eq!((&overall["poured"], &overall["short"]), (&json!(5), &json!(0)));
    near(&overall["rate"], known["rate"].as_f64().unwrap());
    near(&overall["low"], known["wilson_lower"].as_f64().unwrap());
    near(&overall["high"], known["wilson_upper"].as_f64().unwrap());
    assert_eq!(shorts["waiting"]["count"], 4);
    near(&shorts["waiting"]["if_all_good"], known["rate_if_all_pending_sound"].as_f64().unwrap());
    near(&shorts["waiting"]["if_all_bad"], known["rate_if_all_pending_leak"].as_f64().unwrap());

    // Two shells of the one recipe, three of the other, whose leak was voided: a tree with
    // three castings is one shell.
    let leaks = shop.get("/v1/reports/leaks?by=recipe").await;
    let standard = row(&leaks, Some("Standard"));
    assert_eq!((&standard["poured"], &standard["leaked"], &standard["level_id"]), (&json!(2), &json!(1), &json!(recipes[0])));
    near(&standard["lost_kg"], 0.2);
    assert_eq!((&row(&leaks, Some("Fast"))["poured"], &row(&leaks, Some("Fast"))["leaked"]), (&json!(3), &json!(0)));
    assert_eq!((&leaks["overall"]["poured"], &leaks["overall"]["leaked"]), (&json!(5), &json!(1)));
    let castings = shop.get("/v1/reports/leaks?by=recipe&unit=casting").await;
    assert_eq!((&row(&castings, Some("Standard"))["poured"], &castings["overall"]["poured"]), (&json!(4), &json!(7)));
    let filtered = shop.get(&format!("/v1/reports/leaks?by=alloy&recipe={}", recipes[0])).await;
    assert_eq!((&filtered["overall"]["poured"], &filtered["waiting"]["count"]), (&json!(2), &json!(4)));

    // A correction is seen at once: 1 of 5 short.
    let path = format!("/v1/pours/{}", text(&pours[2]["id"]));
    let (status, answer) = shop.call("PATCH", &path, &json!({"filled": "short", "reason": "looked again"})).await;
    assert_eq!(status, 200, "{answer}");
    let shorts = shop.get("/v1/reports/shorts?by=recipe").await;
    assert_eq!((&row(&shorts, Some("Fast"))["short"], &shorts["overall"]["short"]), (&json!(1), &json!(1)));
    shop.same_when_remade().await;
}

#[tokio::test]
async fn levels_are_mixed_left_out_or_several() {
    let Story { shop, heats, .. } = story().await;
    let report = async |by: &str| shop.get(&format!("/v1/reports/leaks?by={by}")).await;
    let pattern = report("pattern").await;
    assert_eq!((&row(&pattern, Some("Heron"))["poured"], &row(&pattern, Some("mixed"))["poured"]), (&json!(4), &json!(1)));
    let material = report("pattern_material").await;
    assert_eq!(row(&material, Some("wax_casting"))["poured"], 5);
    // The shell that was poured in spite of no firing on record is in nothing by kiln.
    let kiln = report("kiln").await;
    assert_eq!((&row(&kiln, Some("Big kiln"))["poured"], &kiln["left_out"]["count"]), (&json!(4), &json!(1)));
    let flags = report("practice_flag").await;
    assert_eq!((&row(&flags, Some("not_on_record"))["poured"], &flags["counts_in_several"]), (&json!(1), &json!(true)));
    // The evening of 31 March in New York, and after midnight; by London both are April.
    let month = report("month").await;
    assert_eq!((&row(&month, Some("2026-03"))["poured"], &row(&month, Some("2026-04"))["poured"]), (&json!(1), &json!(4)));
    let nothing_of_one = published("binom.wilson.0of1.0.95");
    near(&row(&month, Some("2026-03"))["low"], 1.0 - nothing_of_one["upper"].as_f64().unwrap());
    let from = shop.get("/v1/reports/leaks?by=month&from=2026-04-01T05:00:00Z&to=2026-04-10T09:10:00Z").await;
    assert_eq!(from["overall"]["poured"], 3);
    let batches = report("slurry_batch").await;
    let counts = [Some("A"), Some("B"), None].map(|level| row(&batches, level)["poured"].clone());
    assert_eq!(counts, [json!(1), json!(1), json!(4)]);
    assert_eq!(row(&batches, None)["label"], "not on record");
    assert_eq!(row(&report("hand").await, Some("Ida"))["poured"], 1);
    let minutes = report("minutes_out_of_kiln_band").await;
    assert_eq!(
        (&row(&minutes, Some("2 to 4"))["leaked"], &minutes["bands"]["edges"]),
        (&json!(1), &json!([2.0, 4.0, 6.0, 10.0]))
    );
    assert_eq!(row(&report("place_in_heat").await, Some("1"))["poured"], 2);
    assert_eq!(row(&report("section_band").await, Some("4 to 6"))["poured"], 5);
    assert_eq!(row(&report("patched").await, Some("yes"))["poured"], 1);
    assert_eq!(row(&report("coats").await, Some("2"))["leaked"], 1);
    for by in [
        "recipe_version",
        "support",
        "furnace",
        "crucible",
        "shell_temperature_band",
        "superheat_band",
        "drying_shortfall_band",
        "fed",
        "core",
    ] {
        let counted: u64 = report(by).await["rows"].as_array().unwrap().iter().map(|r| r["poured"].as_u64().unwrap()).sum();
        assert_eq!(counted, 5, "{by}");
    }
    // What a heat is poured as is what the rate is of.
    let heat = json!({"alloy": "C95400", "reason": "read the wrong line", "despite": ["alloy_differs"]});
    let (status, answer) = shop.call("PATCH", &format!("/v1/heats/{}", heats[1]), &heat).await;
    assert_eq!(status, 200, "{answer}");
    assert_eq!(row(&report("alloy").await, Some("C95400"))["poured"], 3);
    let (status, answer) = shop.call("GET", "/v1/reports/leaks?by=weather", &Value::Null).await;
    assert_eq!(status, 400, "{answer}");
    assert!(text(&answer["detail"]).contains("shell_temperature_band"), "{answer}");
    shop.same_when_remade().await;
}

#[tokio::test]
async fn yields_are_those_worked_by_hand() {
    let story = story().await;
    let shop = &story.shop;
    let (status, answer) = shop
        .call(
            "PATCH",
            &format!("/v1/pours/{}", text(&story.pours[2]["id"])),
            &json!({"filled": "short", "reason": "looked again"}),
        )
        .await;
    assert_eq!(status, 200, "{answer}");
    story.open_shells().await;
    let crucible = shop.get("/v1/reports/yields?by=crucible").await;
    let (first, second) = (row(&crucible, Some("No 30")), row(&crucible, Some("No 20")));
    // Charged 20: poured 5 + 9, pigged 5.5. Charged 12: poured 4 + 4 + 3, pigged 0.8.
    near(&first["charge_recovery"], 14.0 / 20.0);
    near(&first["melt_loss"], (20.0 - 14.0 - 5.5) / 20.0);
    near(&second["charge_recovery"], 11.0 / 12.0);
    near(&second["melt_loss"], (12.0 - 11.0 - 0.8) / 12.0);
    // Good of the first heat: c1 3.0, c3 2.0. In the second a casting waits: no metal yield.
    near(&first["metal_yield"], 5.0 / 20.0);
    assert!(second.get("metal_yield").is_none(), "{second}");
    let overall = &crucible["overall"];
    near(&overall["charge_recovery"], 25.0 / 32.0);
    near(&overall["metal_yield"], 5.0 / 20.0);
    // Judged: 3.0 2.0 2.0 1.5 2.5 2.4 out of 5 + 9 + 4 + 4; good now: c1, c3, c6.
    assert_eq!(overall["castings"], 6);
    near(&overall["pouring_yield"], 13.4 / 22.0);
    near(&overall["good_yield"], 7.4 / 22.0);
    // First attempts judged or lost: c1 … c6 and c8; accepted and still so: c1, c6.
    near(&overall["first_pass_yield"], 2.0 / 7.0);
    assert_eq!(crucible["waiting"]["count"], 1);
    near(&crucible["waiting"]["if_all_good"], 3.0 / 8.0);
    near(&crucible["waiting"]["if_all_bad"], 2.0 / 8.0);
    // Shell: c5 patched of 8. Burnout: c8 lost of 7 (c6 was never fired on record). Pour: c1
    // leaked, c5 short, of 7. Breakout: 3 accepted of 6. Bench: c1 done, c2 given up.
    near(&overall["rolled_throughput_yield"], 7.0 / 8.0 * 6.0 / 7.0 * 5.0 / 7.0 * 3.0 / 6.0 * 1.0 / 2.0);
    // The bowl took a third of 9 kg of the first heat's 14, so 3/14 of its 20 kg.
    let pattern = shop.get("/v1/reports/yields?by=pattern").await;
    near(&row(&pattern, Some("Heron"))["metal_yield"], 5.0 / (20.0 * 11.0 / 14.0));
    near(&row(&pattern, Some("Bowl"))["metal_yield"], 0.0);
    near(&row(&pattern, Some("Bowl"))["charge_recovery"], 14.0 / 20.0);
    assert_eq!(row(&pattern, Some("Bowl"))["level_id"], story.patterns[1].as_str());
    for by in ["alloy", "recipe", "furnace", "month", "hand", "superheat_band", "practice_flag"] {
        let report = shop.get(&format!("/v1/reports/yields?by={by}")).await;
        assert_eq!(report["overall"], crucible["overall"], "{by}");
    }
    let of_recipe = shop.get(&format!("/v1/reports/yields?by=month&recipe={}", story.recipes[0])).await;
    near(&of_recipe["overall"]["charge_recovery"], 14.0 / 20.0);
    shop.same_when_remade().await;
}

#[tokio::test]
async fn defects_are_counted_over_castings_broken_out() {
    let story = story().await;
    story.open_shells().await;
    let shop = &story.shop;
    // Six opened, c9 waits; c5 has three findings, c3 one.
    let all = shop.get("/v1/reports/defects?by=recipe").await;
    assert_eq!(
        (&all["overall"]["seen"], &all["overall"]["count"], &all["overall"]["findings"]),
        (&json!(6), &json!(2), &json!(4))
    );
    near(&all["overall"]["findings_per_casting"], 4.0 / 6.0);
    near(&all["waiting"]["if_all_bad"], 3.0 / 7.0);
    let pareto = all["pareto"].as_array().unwrap();
    assert_eq!((&pareto[0]["code"], &pareto[0]["count"], &pareto[0]["castings"]), (&json!("A111"), &json!(3), &json!(2)));
    near(&pareto[0]["share"], 0.75);
    near(&pareto[1]["cumulative"], 1.0);
    let one = shop.get("/v1/reports/defects?by=pattern&code=b111").await;
    assert_eq!(
        (&row(&one, Some("Heron"))["seen"], &row(&one, Some("Heron"))["count"], &one["overall"]["count"]),
        (&json!(5), &json!(1), &json!(1))
    );
    shop.same_when_remade().await;
}
