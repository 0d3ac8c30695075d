//! What a shop does, in few lines. Everything happens in March 2026: waxes and shells on
//! the 1st, the burnout on the 3rd, the pour on the 4th, the breakout on the 5th.

use super::{Reply, TestShop};
use serde_json::{Value, json};

/// An instant of March 2026: `at(4, "09:10")`.
pub fn at(day: u32, time: &str) -> String {
    format!("2026-03-{day:02}T{time}:00Z")
}

/// The id of a record.
#[track_caller]
pub fn id(record: &Value) -> String {
    record["id"].as_str().unwrap_or_else(|| panic!("no id in {record:#}")).to_owned()
}

impl TestShop {
    /// An id made by the caller.
    pub fn mint(&self) -> String {
        self.db.clock().mint().to_string()
    }
    /// A client.
    pub async fn client(&self, name: &str) -> String {
        id(&self.post("/v1/clients", &json!({"name": name})).await.made())
    }
    /// A commission, of a client or the shop's own.
    pub async fn commission(&self, client: Option<&str>) -> String {
        let n = self.next();
        id(&self.post("/v1/commissions", &json!({"title": format!("Commission {n}"), "client_id": client})).await.made())
    }
    /// A pattern in casting wax of 1.2 kg, of that kind.
    pub async fn pattern(&self, kind: &str) -> String {
        let body = json!({"name": format!("Heron {}", self.next()), "material": "wax_casting", "mass_kg": 1.2, "section_mm": 5, "kind": kind});
        id(&self.post("/v1/patterns", &body).await.made())
    }
    /// A piece of a commission, with its castings.
    pub async fn piece(&self, commission: &str, more: &Value) -> Value {
        let mut body = json!({"alloy": "C87300"});
        if more.get("pattern_id").is_none() {
            body["pattern_id"] = self.pattern("file").await.into();
        }
        for (name, value) in more.as_object().unwrap() {
            body[name] = value.clone();
        }
        self.post(&format!("/v1/commissions/{commission}/pieces"), &body).await.made()
    }
    /// A casting with its wax, of the shop's own work.
    pub async fn casting(&self) -> Value {
        let commission = self.commission(None).await;
        self.casting_of(&commission).await
    }
    /// A casting with its wax, in a commission.
    pub async fn casting_of(&self, commission: &str) -> Value {
        let piece = self.piece(commission, &json!({"at": at(1, "08:00")})).await;
        let casting = piece["castings"][0].clone();
        let path = format!("/v1/castings/{}/waxes", id(&casting));
        self.post(&path, &json!({"at": at(1, "09:00"), "wax_kg": 1.25})).await.made();
        casting
    }
    /// A recipe of two coats.
    pub async fn recipe(&self) -> String {
        let coat = |kind: &str, hours: u32| json!({"kind": kind, "slurry": kind, "dry_hours": hours});
        let body = json!({"name": format!("Recipe {}", self.next()), "at": "2026-01-01T00:00:00Z",
                          "coats": [coat("prime", 3), coat("backup", 6)], "final_dry_hours": 24});
        id(&self.post("/v1/recipes", &body).await.made())
    }
    /// A shell around castings.
    pub async fn shell(&self, castings: &[&Value]) -> Value {
        let recipe = self.recipe().await;
        let ids: Vec<String> = castings.iter().map(|c| id(c)).collect();
        let body = json!({"recipe_id": recipe, "casting_ids": ids, "gating_kg": 0.5, "at": at(1, "10:00")});
        self.post("/v1/shells", &body).await.made()
    }
    /// Two coats on a shell.
    pub async fn coats(&self, shell: &Value) {
        for (kind, time) in [("prime", at(1, "11:00")), ("backup", at(1, "15:00"))] {
            let body = json!({"shell_ids": [id(shell)], "kind": kind, "slurry": kind, "at": time});
            self.post("/v1/coats", &body).await.made();
        }
    }
    /// A shell fired sound.
    pub async fn fire(&self, shell: &Value) -> Value {
        let body = json!({"kiln": "Big kiln", "at": at(3, "12:00"), "peak_c": 870, "shells": [{"shell_id": id(shell), "result": "sound"}]});
        self.post("/v1/burnouts", &body).await.made()
    }
    /// A casting and its shell, coated and fired.
    pub async fn fired(&self) -> (Value, Value) {
        let casting = self.casting().await;
        let shell = self.shell(&[&casting]).await;
        self.coats(&shell).await;
        self.fire(&shell).await;
        (casting, shell)
    }
    /// An ingot lot of C87300.
    pub async fn lot(&self, kg: f64, minor: i64) -> String {
        let body = json!({"alloy": "C87300", "kind": "ingot", "mass_kg": kg, "cost_minor": minor, "at": "2026-01-05T10:00:00Z"});
        id(&self.post("/v1/metal-lots", &body).await.made())
    }
    /// A heat lit on the 4th at 8, charged from a lot of its own.
    pub async fn heat(&self, kg: f64) -> String {
        let lot = self.lot(100.0, 90_000).await;
        self.heat_from(&lot, kg, &json!({})).await
    }
    /// A heat charged from a lot.
    pub async fn heat_from(&self, lot: &str, kg: f64, more: &Value) -> String {
        id(&self.light(lot, kg, more).await.made())
    }
    /// Asks for a heat charged from a lot.
    pub async fn light(&self, lot: &str, kg: f64, more: &Value) -> Reply {
        let mut body = json!({"alloy": "C87300", "furnace": "Gas", "crucible": format!("No {}", self.next()), "at": at(4, "08:00"),
                              "charge": [{"lot_id": lot, "mass_kg": kg}]});
        for (name, value) in more.as_object().unwrap() {
            body[name] = value.clone();
        }
        self.post("/v1/heats", &body).await
    }
    /// The body of a pour at 9:10 on the 4th.
    #[expect(clippy::unused_self, reason = "reads as the other builders do")]
    pub fn pour_body(&self, shell: &Value, kg: f64, more: &Value) -> Value {
        let mut body =
            json!({"shell_id": id(shell), "at": at(4, "09:10"), "support": "open_rack", "filled": "full", "poured_kg": kg});
        for (name, value) in more.as_object().unwrap() {
            body[name] = value.clone();
        }
        body
    }
    /// Asks for a pour.
    pub async fn try_pour(&self, heat: &str, shell: &Value, kg: f64, more: &Value) -> Reply {
        let body = self.pour_body(shell, kg, more);
        self.post(&format!("/v1/heats/{heat}/pours"), &body).await
    }
    /// A pour.
    pub async fn pour(&self, heat: &str, shell: &Value, kg: f64) -> Value {
        self.try_pour(heat, shell, kg, &json!({})).await.made()
    }
    /// Asks for the closing of a heat.
    pub async fn try_close(&self, heat: &str, pigged: f64, dross: f64) -> Reply {
        let body = json!({"at": at(4, "09:30"), "pigged_kg": pigged, "dross_kg": dross});
        self.post(&format!("/v1/heats/{heat}/close"), &body).await
    }
    /// The closing of a heat.
    pub async fn close(&self, heat: &str, pigged: f64, dross: f64) -> Value {
        self.try_close(heat, pigged, dross).await.made()
    }
    /// Asks for a breakout on the 5th.
    pub async fn try_breakout(&self, casting: &Value, more: &Value) -> Reply {
        let mut body = json!({"casting_id": id(casting), "at": at(5, "09:30"), "verdict": "accepted"});
        for (name, value) in more.as_object().unwrap() {
            body[name] = value.clone();
        }
        self.post("/v1/breakouts", &body).await
    }
    /// A breakout on the 5th.
    pub async fn breakout(&self, casting: &Value, more: &Value) -> Value {
        self.try_breakout(casting, more).await.made()
    }
    /// A casting poured alone into its shell: 18 kg charged, 15.4 poured, closed. Answers
    /// casting, shell, heat and pour.
    pub async fn poured(&self) -> (Value, Value, String, Value) {
        let (casting, shell) = self.fired().await;
        let heat = self.heat(18.0).await;
        let pour = self.pour(&heat, &shell, 15.4).await;
        self.close(&heat, 2.3, 0.2).await;
        (casting, shell, heat, pour)
    }
    /// Where a casting stands.
    pub async fn stage(&self, casting: &Value) -> String {
        let card = self.get(&format!("/v1/castings/{}", id(casting))).await.is(200);
        card["stage"].as_str().unwrap().to_owned()
    }
}
