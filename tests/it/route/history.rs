//! A legal history of two pour days with client-made ids, and what a book says of it.

use crate::kit::{Reply, TestShop, at, id};
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

/// One record to be sent: names in braces stand for ids.
#[derive(Clone)]
pub struct Step {
    /// Its name.
    pub name: String,
    path: String,
    body: Value,
}

/// Records on their way, and the ids that are known.
#[derive(Clone, Default)]
pub struct History {
    /// What comes first, in order: people, jobs, pieces, the pool.
    pub first: Vec<Step>,
    /// The rest, in the order in which it happened.
    pub rest: Vec<Step>,
    ids: BTreeMap<String, String>,
}

impl History {
    fn add(&mut self, name: &str, path: &str, body: Value) {
        let n = self.ids.len() + 1;
        let id = format!("019ce000-0000-7000-8000-{n:012x}");
        self.ids.insert(name.to_owned(), id.clone());
        let mut body = body;
        body["id"] = id.into();
        self.rest.push(Step { name: name.to_owned(), path: path.to_owned(), body });
    }

    /// Everything known so far was the beginning.
    fn that_was_first(&mut self) {
        self.first = std::mem::take(&mut self.rest);
    }

    /// Text with ids for names; `None` while one is not known.
    fn filled(&self, text: &str) -> Option<String> {
        let mut out = text.to_owned();
        for (name, id) in &self.ids {
            out = out.replace(&format!("<{name}>"), id);
        }
        (!out.contains('<')).then_some(out)
    }

    /// Sends a step; `None` while an id it needs was not dealt yet.
    pub async fn send(&mut self, shop: &TestShop, step: &Step) -> Option<Reply> {
        let path = self.filled(&step.path)?;
        let body = self.filled(&step.body.to_string())?;
        let reply = shop.ask("POST", &path).key(&format!("outbox-{}", step.name)).raw("application/json", body).send().await;
        if reply.status == 201 {
            // Castings have their ids from the book.
            if let Some(n) = step.name.strip_prefix("piece") {
                self.ids.insert(format!("casting{n}"), id(&reply.json["castings"][0]));
            }
            if let Some(n) = step.name.strip_prefix("recast") {
                self.ids.insert(format!("casting{n}b"), id(&reply.json));
            }
        }
        Some(reply)
    }

    /// Sends all of it in the order in which it happened.
    pub async fn send_all(&mut self, shop: &TestShop) {
        for step in [self.first.clone(), self.rest.clone()].concat() {
            let reply = self.send(shop, &step).await.unwrap_or_else(|| panic!("{} refers to what is not there", step.name));
            assert_eq!(reply.status, 201, "{}: {:#}", step.name, reply.json);
        }
    }

    /// Knows something else by a name.
    pub fn know(&mut self, name: &str, id: String) {
        self.ids.insert(name.to_owned(), id);
    }
    /// The id of a name.
    pub fn id(&self, name: &str) -> String {
        self.ids[name].clone()
    }

    /// Changes the body of a step before it is sent; null takes a member away.
    pub fn alter(&mut self, name: &str, change: &Value) {
        let step = self.rest.iter_mut().find(|s| s.name == name).unwrap();
        pourbook::kernel::json::merge_patch(&mut step.body, change);
    }
}

/// The history: four castings in three shells, two heats in one crucible with a heel
/// between them, a scrapped casting cast again, two deliveries.
pub fn two_pour_days() -> History {
    let mut h = History::default();
    h.add("client", "/v1/clients", json!({"name": "Ada Vane"}));
    h.add("job1", "/v1/commissions", json!({"title": "Two herons", "client_id": "<client>", "at": at(1, "07:00")}));
    h.add("job2", "/v1/commissions", json!({"title": "Stock", "at": at(1, "07:01")}));
    h.add("pattern", "/v1/patterns", json!({"name": "Heron", "material": "wax_casting", "mass_kg": 1.2, "section_mm": 5}));
    for (n, job) in [(1, "job1"), (2, "job1"), (3, "job2"), (4, "job2")] {
        let body = json!({"pattern_id": "<pattern>", "alloy": "C87300", "at": at(1, &format!("07:1{n}"))});
        h.add(&format!("piece{n}"), &format!("/v1/commissions/<{job}>/pieces"), body);
    }
    h.add(
        "pool",
        "/v1/metal-lots",
        json!({"alloy": "C87300", "kind": "returns", "mass_kg": 0, "cost_minor": 0, "at": at(1, "06:00")}),
    );
    h.that_was_first();
    let lot = |kg: f64, minor: u32, day: u32| json!({"alloy": "C87300", "kind": "ingot", "mass_kg": kg, "cost_minor": minor, "at": at(day, "06:30")});
    h.add("lot1", "/v1/metal-lots", lot(100.0, 90_000, 1));
    h.add("lot2", "/v1/metal-lots", lot(40.0, 41_237, 2));
    let coat = |kind: &str, hours: u32| json!({"kind": kind, "slurry": kind, "dry_hours": hours});
    h.add("recipe", "/v1/recipes", json!({"name": "Standard", "at": "2026-01-01T00:00:00Z", "coats": [coat("prime", 3), coat("backup", 6)], "final_dry_hours": 24}));
    for (n, kg) in [(1, 1.25), (2, 1.31), (3, 0.97), (4, 1.13)] {
        h.add(
            &format!("wax{n}"),
            &format!("/v1/castings/<casting{n}>/waxes"),
            json!({"at": at(1, &format!("09:0{n}")), "wax_kg": kg}),
        );
    }
    for (n, inside) in [(1, json!(["<casting1>", "<casting2>"])), (2, json!(["<casting3>"])), (3, json!(["<casting4>"]))] {
        let body = json!({"recipe_id": "<recipe>", "casting_ids": inside, "gating_kg": 0.4, "at": at(1, &format!("10:0{n}"))});
        h.add(&format!("shell{n}"), "/v1/shells", body);
        h.add(
            &format!("prime{n}"),
            &format!("/v1/shells/<shell{n}>/coats"),
            json!({"kind": "prime", "slurry": "prime", "at": at(1, &format!("11:0{n}"))}),
        );
        h.add(
            &format!("backup{n}"),
            "/v1/coats",
            json!({"shell_ids": [format!("<shell{n}>")], "kind": "backup", "slurry": "backup", "at": at(1, &format!("13:0{n}"))}),
        );
    }
    let sound = |n: u32| json!({"shell_id": format!("<shell{n}>"), "result": "sound"});
    h.add(
        "burnout",
        "/v1/burnouts",
        json!({"kiln": "Big kiln", "at": at(2, "08:00"), "peak_c": 870, "shells": [sound(1), sound(2), sound(3)]}),
    );
    h.add(
        "preheat",
        "/v1/preheats",
        json!({"kiln": "Big kiln", "at": at(4, "06:00"), "shell_ids": ["<shell1>"], "target_c": 600}),
    );
    first_pour_day(&mut h);
    second_pour_day(&mut h);
    after(&mut h);
    h
}

fn heat(at: String, charge: Value) -> Value {
    json!({"alloy": "C87300", "furnace": "Gas", "crucible": "No 30", "at": at, "charge": charge})
}

fn pour(shell: &str, time: String, kg: f64) -> Value {
    json!({"shell_id": shell, "at": time, "support": "open_rack", "filled": "full", "poured_kg": kg, "metal_c": 1150, "shell_c": 500})
}

fn first_pour_day(h: &mut History) {
    h.add("heat1", "/v1/heats", heat(at(4, "08:00"), json!([{"lot_id": "<lot1>", "mass_kg": 40}])));
    h.add("charge1", "/v1/heats/<heat1>/charges", json!({"lot_id": "<lot2>", "mass_kg": 1.5, "at": at(4, "08:20")}));
    h.add("skim", "/v1/heats/<heat1>/events", json!({"kind": "skim", "at": at(4, "08:50")}));
    let mut first = pour("<shell1>", at(4, "09:10"), 24.3);
    first["leaks"] =
        json!([{"where": "gate", "response": "froze_off", "lost_kg": 0.2, "swept_kg": 0.3, "swept_lot_id": "<pool>"}]);
    h.add("pour1", "/v1/heats/<heat1>/pours", first);
    h.add("pour2", "/v1/heats/<heat1>/pours", pour("<shell2>", at(4, "09:15"), 9.4));
    h.add(
        "closing1",
        "/v1/heats/<heat1>/close",
        json!({"at": at(4, "09:30"), "pigged_kg": 5.9, "pigged_lot_id": "<pool>", "dross_kg": 0.4, "heel_kg": 1.2}),
    );
}

fn second_pour_day(h: &mut History) {
    let charge = json!([{"lot_id": "<pool>", "mass_kg": 2}, {"lot_id": "<lot2>", "mass_kg": 12}]);
    h.add("heat2", "/v1/heats", heat(at(5, "08:00"), charge));
    h.add("pour3", "/v1/heats/<heat2>/pours", pour("<shell3>", at(5, "09:00"), 10.1));
    let mut more = pour("<shell3>", at(5, "09:02"), 0.4);
    more["continues_pour_id"] = json!("<pour3>");
    h.add("pour4", "/v1/heats/<heat2>/pours", more);
    h.add(
        "closing2",
        "/v1/heats/<heat2>/closings",
        json!({"at": at(5, "09:30"), "pigged_kg": 4.3, "pigged_lot_id": "<pool>", "dross_kg": 0.2}),
    );
}

fn after(h: &mut History) {
    let finding = json!([{"code": "A111", "where": "wing"}]);
    let judged = json!([{"casting_id": "<casting1>", "verdict": "scrap", "findings": finding}, {"casting_id": "<casting2>", "verdict": "accepted"}]);
    h.add("tree", "/v1/shells/<shell1>/breakout", json!({"at": at(5, "14:00"), "gross_kg": 23.6, "castings": judged}));
    h.add(
        "cut1",
        "/v1/castings/<casting1>/cut-off",
        json!({"at": at(5, "15:00"), "net_kg": 9.9, "returned_kg": 0.6, "returned_lot_id": "<pool>"}),
    );
    h.add(
        "cut2",
        "/v1/castings/<casting2>/cut-off",
        json!({"at": at(5, "15:10"), "net_kg": 10.2, "returned_kg": 2.4, "returned_lot_id": "<pool>"}),
    );
    let breakout = |n: u32, time: String, verdict: &str, gross: f64, net: f64, back: f64| json!({"casting_id": format!("<casting{n}>"), "at": time, "verdict": verdict, "gross_kg": gross, "net_kg": net, "returned_kg": back, "returned_lot_id": "<pool>"});
    h.add("breakout3", "/v1/breakouts", breakout(3, at(6, "09:00"), "accepted", 9.1, 7.0, 2.0));
    h.add("breakout4", "/v1/breakouts", breakout(4, at(7, "09:00"), "repair", 10.3, 8.8, 1.4));
    h.add(
        "chase2",
        "/v1/castings/<casting2>/work",
        json!({"operation": "chase", "minutes": 90, "at": at(8, "09:00"), "mass_after_kg": 10.1, "hand": "Bea"}),
    );
    h.add(
        "weld4",
        "/v1/castings/<casting4>/work",
        json!({"operation": "weld", "minutes": 30, "at": at(8, "10:00"), "rod_kg": 0.05, "hand": "Bea"}),
    );
    for n in [2, 3, 4] {
        h.add(&format!("finish{n}"), &format!("/v1/castings/<casting{n}>/finish"), json!({"at": at(9, &format!("09:0{n}"))}));
    }
    for n in [2, 3] {
        h.add(
            &format!("deliver{n}"),
            &format!("/v1/pieces/<piece{n}>/deliver"),
            json!({"at": at(10, &format!("09:0{n}")), "to": "the client"}),
        );
    }
    h.add("recast1", "/v1/castings/<casting1>/recast", json!({"at": at(6, "10:00"), "reason": "scrapped"}));
    h.add("wax1b", "/v1/castings/<casting1b>/waxes", json!({"at": at(6, "11:00"), "wax_kg": 1.27}));
}

/// What the book says: of castings, lots, heats, flags and the whole. Nothing in it hangs
/// on when or in which order it was told.
pub async fn said(shop: &TestShop, history: &History) -> Value {
    let mut out = Map::new();
    for (name, id) in &history.ids {
        if name.starts_with("casting") {
            let card = shop.get(&format!("/v1/castings/{id}")).await.is(200);
            let mut told = Map::new();
            for member in ["stage", "stage_since", "verdict", "alloy", "wax_kg", "attempt", "metal", "cost"] {
                told.insert(member.into(), card[member].clone());
            }
            let records = card["route"]
                .as_array()
                .unwrap()
                .iter()
                .map(|r| json!([r["kind"], r["record"]["at"], r["record"]["practice_flags"]]));
            told.insert("route".into(), records.collect());
            out.insert(name.clone(), Value::Object(told));
        }
        if name.starts_with("lot") || name == "pool" {
            let lot = shop.get(&format!("/v1/metal-lots/{id}")).await.is(200);
            let moved = shop.get(&format!("/v1/metal-lots/{id}/movements")).await.is(200);
            let lines = moved["items"]
                .as_array()
                .unwrap()
                .iter()
                .map(|m| json!([m["at"], m["into"], m["other"], m["mass_kg"], m["value_minor"]]));
            out.insert(name.clone(), json!([lot["mass_kg"], lot["value_minor"], lines.collect::<Vec<_>>()]));
        }
        if name.starts_with("heat") {
            out.insert(name.clone(), shop.get(&format!("/v1/heats/{id}/balance")).await.is(200));
        }
        if name.starts_with("job") {
            let cost = shop.get(&format!("/v1/commissions/{id}/cost")).await.is(200);
            out.insert(name.clone(), cost["metal"].clone());
        }
    }
    out.insert("balance".into(), shop.get("/v1/metal/balance").await.is(200));
    Value::Object(out)
}

/// What differs between two tellings, by pointers.
pub fn differs(at: &str, is: &Value, expected: &Value, out: &mut Vec<String>) {
    match (is, expected) {
        (Value::Object(a), Value::Object(b)) if a.keys().eq(b.keys()) => {
            for (name, value) in a {
                differs(&format!("{at}/{name}"), value, &b[name], out);
            }
        }
        (Value::Array(a), Value::Array(b)) if a.len() == b.len() => {
            for (n, value) in a.iter().enumerate() {
                differs(&format!("{at}/{n}"), value, &b[n], out);
            }
        }
        _ if is == expected => {}
        _ => out.push(format!("{at}: is {is}, expected {expected}")),
    }
}

/// Sees that two tellings are the same.
#[track_caller]
pub fn same(is: &Value, expected: &Value, when: &str) {
    let mut out = Vec::new();
    differs("", is, expected, &mut out);
    assert!(out.is_empty(), "{when}: {out:#?}");
}
