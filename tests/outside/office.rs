//! What a random shop does at the desk: buying, counting, correcting, voiding.

use super::{MINUTE, Shop, kg, text};
use pourbook::kernel::Instant;
use serde_json::{Value, json};

/// Masses that may be corrected.
const MASSES: [&str; 15] = [
    "wax_kg",
    "gating_kg",
    "mass_kg",
    "poured_kg",
    "lost_kg",
    "swept_kg",
    "pigged_kg",
    "dross_kg",
    "spilled_kg",
    "heel_kg",
    "gross_kg",
    "net_kg",
    "returned_kg",
    "rod_kg",
    "mass_after_kg",
];

impl Shop {
    /// Sets or ends a scrap price from a day in the middle of it all.
    pub(super) async fn price(&mut self) {
        let from_on = format!("2026-01-{:02}", self.dice.between(1, 4));
        let mut body = json!({"what": "scrap_kg", "from_on": from_on, "at": self.at()});
        if self.dice.chance(700) {
            body["alloy"] = "C87300".into();
        }
        if self.dice.chance(150) {
            body["ended"] = true.into();
        } else {
            body["amount_minor"] = self.dice.between(200, 1200).into();
        }
        self.make("scrap price", "rates", "/v1/rates", body).await;
    }

    pub(super) async fn buy(&mut self) {
        let theirs = self.dice.chance(200);
        let (pool, mass) = (self.pool(theirs), self.dice.between(500, 9000));
        let cost = if theirs { 0 } else { self.dice.between(1, 9999) };
        let body = json!({"at": self.at(), "mass_kg": kg(mass), "cost_minor": cost});
        self.make("receipt", "receipts", &format!("/v1/metal-lots/{pool}/receipts"), body).await;
    }

    /// Weighs a lot, sells or writes off from it, or moves metal into a pool.
    pub(super) async fn stock(&mut self) {
        let theirs = self.dice.chance(200);
        let (lot, pool, mass, at) = (self.lot(theirs), self.pool(theirs), self.dice.between(10, 4000), self.at());
        let path = format!("/v1/metal-lots/{lot}");
        match self.dice.between(1, 3) {
            1 => {
                let holds = self.caller.get(&path).await.unwrap()["mass_kg"].as_f64().unwrap();
                let level = ((holds * 1000.0).round() as i64 + self.dice.between(-300, 300)).max(0);
                let body = json!({"at": at, "mass_kg": kg(level), "reason": "stock-taking"});
                self.make("count", "counts", &format!("{path}/count"), body).await;
            }
            2 => {
                let to = if self.dice.chance(500) { "sold" } else { "written_off" };
                let mut body = json!({"at": at, "mass_kg": kg(mass), "to": to});
                if self.dice.chance(300) {
                    body["despite"] = json!(["lot_short"]);
                }
                self.make("out", "outs", &format!("{path}/out"), body).await;
            }
            _ => {
                let body = json!({"at": at, "mass_kg": kg(mass), "to_lot_id": pool});
                self.make("transfer", "transfers", &format!("{path}/transfer"), body).await;
            }
        }
    }

    /// Corrects something: a mass by a little, what it says in words, or its time.
    pub(super) async fn correct(&mut self) {
        let Some((collection, id)) = self.dice.pick(&self.made).cloned() else { return };
        let path = format!("/v1/{collection}/{id}");
        let stands = self.caller.get(&path).await.unwrap();
        let mut body = json!({});
        let known: Vec<&str> = MASSES.into_iter().filter(|m| stands[*m].as_f64().is_some_and(|kg| kg > 0.0)).collect();
        if let Some(name) = self.dice.pick(&known).copied() {
            let grams = (stands[name].as_f64().unwrap() * 1000.0).round() as i64;
            body[name] = kg((grams * self.dice.between(94, 105) / 100).max(1));
        }
        if self.dice.chance(400) {
            self.other_words(collection, &stands, &mut body);
        }
        let alone = !self.taken.is_with_others(&id);
        if alone && (body == json!({}) || self.dice.chance(300)) {
            let at = Instant::parse(stands["at"].as_str().unwrap()).unwrap().ms();
            let by = self.dice.between(-90, 90) * MINUTE;
            self.ms += 7;
            body["at"] = Instant::from_ms(at + by + self.ms % MINUTE).to_string().into();
        }
        if body == json!({}) {
            return;
        }
        if self.try_it("correction", "PATCH", &path, body.clone()).await.is_some() {
            self.taken.corrected(&id, &body);
        }
    }

    /// What a record of some kind may also be corrected to.
    fn other_words(&mut self, collection: &str, stands: &Value, body: &mut Value) {
        match collection {
            "charges" => body["lot_id"] = self.lot(false).into(),
            "receipts" => body["cost_minor"] = self.dice.between(1, 9999).into(),
            "outs" => body["to"] = self.dice.word(&["sold", "written_off"]).into(),
            "heats" => body["crucible"] = self.dice.word(&["One", "Two"]).into(),
            "breakouts" => {
                let verdict = self.dice.word(&["accepted", "repair", "scrap", "not_judged"]);
                body["verdict"] = verdict.into();
                if verdict != "scrap" {
                    body["kept"] = Value::Null;
                }
            }
            "closings" => body["pigged_lot_id"] = self.pool(false).into(),
            "cut-offs" if stands["returned_kg"].is_number() => body["returned_lot_id"] = self.pool(false).into(),
            "scraps" => {
                body["kept"] = true.into();
                body["returned_kg"] = Value::Null;
            }
            "work" if stands["rod_kg"].is_number() => body["rod_lot_id"] = self.lots[4].as_str().into(),
            "pours" if stands["poured_kg"].is_number() => {
                body["poured_basis"] = self.dice.word(&["weighed", "estimated"]).into();
            }
            _ => return,
        }
        self.count("correction in words");
    }

    fn forget(&mut self, answer: &Value) {
        for line in answer["voided"].as_array().unwrap() {
            let id = text(&line["id"]);
            self.taken.voided(&id);
            self.made.retain(|m| m.1 != id);
            self.heats.retain(|h| h.id != id);
            self.closed.retain(|c| c.1 != id);
            self.shells.retain(|s| s.id != id);
            for shell in &mut self.shells {
                shell.pours.retain(|p| *p != id);
            }
        }
    }

    pub(super) async fn void(&mut self) {
        let Some((collection, id)) = self.dice.pick(&self.made).cloned() else { return };
        if self.taken.is_last_child(&id) {
            return;
        }
        let body = json!({"reason": "never happened"});
        if let Some(answer) = self.try_it("void", "POST", &format!("/v1/{collection}/{id}/void"), body).await {
            self.forget(&answer);
        }
    }

    /// Voids a record with all that depends on it, having looked at what that would be.
    pub(super) async fn void_with_all(&mut self) {
        let Some((collection, id)) = self.dice.pick(&self.made).cloned() else { return };
        if self.taken.is_last_child(&id) {
            return;
        }
        let path = format!("/v1/{collection}/{id}/void");
        let mut body = json!({"reason": "never happened", "cascade": true, "dry_run": true});
        let Some(shown) = self.try_it("dry run", "POST", &path, body.clone()).await else { return };
        assert_eq!(self.caller.get(&format!("/v1/{collection}/{id}")).await.unwrap().get("void"), None, "a dry run voided it");
        body["dry_run"] = false.into();
        if let Some(answer) = self.try_it("void with all", "POST", &path, body).await {
            assert_eq!(answer["voided"], shown["voided"], "voided is what was shown");
            if shown["voided"].as_array().unwrap().len() > 1 {
                self.count("cascade");
            }
            self.forget(&answer);
        }
    }

    /// Opens a heat again by voiding its closing, and closes it again some time later.
    pub(super) async fn reopen(&mut self) {
        let Some((heat, closing)) = self.dice.pick(&self.closed).cloned() else { return };
        let Some(heat) = self.heats.iter().find(|h| h.id == heat).cloned() else { return };
        let body = json!({"reason": "weighed wrongly"});
        let path = format!("/v1/closings/{closing}/void");
        let Some(answer) = self.try_it("opened again", "POST", &path, body).await else { return };
        self.forget(&answer);
        self.close_this(&heat, "closed again").await;
    }
}
