//! What a random shop does on the floor: waxes, shells, heats, pours, breakouts, the bench.

use super::{Heat, MINUTE, Shell, Shop, kg, text};
use serde_json::{Value, json};

impl Shop {
    pub(super) async fn wax(&mut self) {
        let all: Vec<String> = self.free.iter().flatten().cloned().collect();
        let Some(casting) = self.dice.pick(&all).cloned() else { return };
        let body = json!({"at": self.now_text(), "wax_kg": kg(self.dice.between(50, 900))});
        self.make("wax", "waxes", &format!("/v1/castings/{casting}/waxes"), body).await;
    }

    pub(super) async fn shell(&mut self) {
        let theirs = self.dice.chance(250);
        let free = &mut self.free[usize::from(theirs)];
        let many = if self.dice.chance(30) { 9 } else { self.dice.between(1, 4) };
        let many = usize::try_from(many).unwrap().min(free.len());
        let castings: Vec<String> = free.drain(..many).collect();
        if many == 0 {
            return;
        }
        let gating = kg(self.dice.between(0, 400));
        let body = json!({"recipe_id": self.recipe, "casting_ids": castings, "gating_kg": gating, "at": self.now_text()});
        let Some(shell) = self.make("shell", "shells", "/v1/shells", body).await else { return };
        self.shells.push(Shell { id: text(&shell["id"]), castings, theirs, ..Shell::default() });
    }

    pub(super) async fn heat(&mut self) {
        let theirs = self.dice.chance(250);
        let first = self.lots[if theirs { 5 } else { 0 }].clone();
        let mut lines = vec![json!({"lot_id": first, "mass_kg": kg(self.dice.between(3000, 16_000))})];
        if self.dice.chance(700) {
            let mixed = theirs != self.dice.chance(60);
            lines.push(json!({"lot_id": self.lot(mixed), "mass_kg": kg(self.dice.between(200, 7000))}));
        }
        let crucible = self.dice.word(&["One", "Two", ""]);
        let mut body = json!({"alloy": "C87300", "furnace": "Gas", "at": self.at(), "charge": lines});
        if !crucible.is_empty() {
            body["crucible"] = crucible.into();
        }
        if self.dice.chance(700) {
            body["despite"] = json!(["lot_short", "crucible_in_use"]);
        }
        let Some(heat) = self.make("heat", "heats", "/v1/heats", body).await else { return };
        let other = self.heats.last().is_some_and(|h| !h.crucible.is_empty() && h.crucible != crucible);
        if other && !crucible.is_empty() && !self.closed.iter().any(|(h, _)| Some(h) == self.heats.last().map(|l| &l.id)) {
            self.count("another crucible at one lighting");
        }
        self.heats.push(Heat { id: text(&heat["id"]), crucible, theirs });
    }

    pub(super) async fn charge(&mut self) {
        let Some(heat) = self.some_heat() else { return };
        let mut body = json!({"at": self.at(), "lot_id": self.lot(heat.theirs), "mass_kg": kg(self.dice.between(20, 900))});
        if self.dice.chance(500) {
            body["kind"] = "deoxidise".into();
            body["lot_id"] = self.lots[4].as_str().into();
            self.make("deoxidiser", "heat-events", &format!("/v1/heats/{}/events", heat.id), body).await;
        } else {
            self.make("charge", "charges", &format!("/v1/heats/{}/charges", heat.id), body).await;
        }
    }

    /// Most is poured from the heat lit last, so that heats overlap but a little.
    fn some_heat(&mut self) -> Option<Heat> {
        if self.dice.chance(700) { self.heats.last().cloned() } else { self.dice.pick(&self.heats).cloned() }
    }

    fn some_shell(&mut self, wanted: impl Fn(&Shell) -> bool) -> Option<usize> {
        let fit: Vec<usize> = (0..self.shells.len()).filter(|n| wanted(&self.shells[*n])).collect();
        self.dice.pick(&fit).copied()
    }

    fn leaks(&mut self, theirs: bool) -> Value {
        let mut leaks = vec![json!({"where": "gate", "response": "plugged", "lost_kg": kg(self.dice.between(0, 300))})];
        if self.dice.chance(500) {
            let mut leak = json!({"where": "cup", "response": "none", "swept_kg": kg(self.dice.between(1, 250))});
            if theirs || self.dice.chance(700) {
                leak["swept_lot_id"] = self.pool(theirs).into();
            }
            leaks.push(leak);
        }
        leaks.into()
    }

    pub(super) async fn pour(&mut self) {
        let Some(heat) = self.some_heat() else { return };
        let any = self.dice.chance(60);
        let Some(n) = self.some_shell(|s| !s.opened && (any || s.theirs == heat.theirs)) else { return };
        let shell = self.shells[n].clone();
        let grams = self.dice.between(900, 5200);
        let mut despite = vec!["not_on_record"];
        if self.dice.chance(600) {
            despite.push("client_metal");
        }
        let mut body = json!({"shell_id": shell.id, "at": self.at(), "support": "buried", "filled": "full", "despite": despite});
        let known = self.dice.between(1, 10);
        if known <= 7 {
            body["poured_kg"] = kg(grams);
        }
        if known == 6 || known == 7 {
            body["poured_basis"] = "estimated".into();
        }
        if let Some(first) = shell.pours.first() {
            body["continues_pour_id"] = first.as_str().into();
        }
        if self.dice.chance(350) {
            body["leaks"] = self.leaks(shell.theirs);
        }
        let Some(pour) = self.make("pour", "pours", &format!("/v1/heats/{}/pours", heat.id), body).await else { return };
        if known > 7 {
            self.count("blank pour");
        }
        if heat.theirs {
            self.count("client's metal poured");
        }
        self.shells[n].pours.push(text(&pour["id"]));
        self.shells[n].grams += grams * 9 / 10;
        if !shell.pours.is_empty() {
            self.count(if shell.heat == heat.id { "second stream" } else { "second heat" });
        }
        self.shells[n].heat = heat.id;
    }

    pub(super) async fn close(&mut self) {
        let Some(heat) = self.some_heat() else { return };
        self.close_this(&heat, "closing").await;
    }

    pub(super) async fn close_this(&mut self, heat: &Heat, what: &'static str) {
        let balance = self.caller.get(&format!("/v1/heats/{}/balance", heat.id)).await.unwrap();
        let grams = |name: &str| (balance[name].as_f64().unwrap_or(0.0) * 1000.0).round() as i64;
        let left = (grams("charged_kg") - grams("poured_kg")).max(0);
        let (dross, spilled) = (left * self.dice.between(0, 4) / 100, left * self.dice.between(0, 3) / 100);
        let heel = if self.dice.chance(450) { left * self.dice.between(2, 40) / 100 } else { 0 };
        let odd = grams("charged_kg") * self.dice.between(-3, 6) / 100;
        let pigged = (left - dross - spilled - heel - odd).max(0);
        let mut body = json!({"at": self.at(), "pigged_kg": kg(pigged), "dross_kg": kg(dross), "spilled_kg": kg(spilled), "heel_kg": kg(heel)});
        if heat.theirs || self.dice.chance(300) {
            body["pigged_lot_id"] = self.pool(heat.theirs).into();
        }
        let Some(made) = self.make(what, "closings", &format!("/v1/heats/{}/closings", heat.id), body).await else { return };
        if heel > 0 {
            self.count("heel");
        }
        if odd < 0 {
            self.count("gain at a closing");
        }
        self.closed.push((heat.id.clone(), text(&made["id"])));
    }

    pub(super) async fn open_shell(&mut self) {
        let Some(n) = self.some_shell(|s| !s.pours.is_empty() && !s.opened) else { return };
        let shell = self.shells[n].clone();
        self.shells[n].opened = true;
        let verdicts = ["accepted", "repair", "scrap", "not_judged", "accepted"];
        let share = shell.grams / i64::try_from(shell.castings.len()).unwrap() * 6 / 10;
        let pool = if shell.theirs || self.dice.chance(200) { Some(self.pool(shell.theirs)) } else { None };
        if shell.castings.len() == 1 && self.dice.chance(500) {
            let verdict = self.dice.word(&verdicts);
            let mut body = json!({"casting_id": shell.castings[0], "at": self.at(), "verdict": verdict, "net_kg": kg(share)});
            if self.dice.chance(700) {
                body["gross_kg"] = kg(shell.grams - self.dice.between(0, 90));
            }
            if self.dice.chance(700) {
                body["returned_kg"] = kg(shell.grams * 3 / 10);
            }
            if let Some(pool) = pool {
                body["returned_lot_id"] = pool.into();
            }
            let kept = verdict == "scrap" && self.dice.chance(400);
            if kept {
                body["kept"] = true.into();
            }
            if self.make("breakout", "breakouts", "/v1/breakouts", body).await.is_some() && kept {
                self.kept.push(shell.castings[0].clone());
            }
            return;
        }
        let judged: Vec<Value> =
            shell.castings.iter().map(|c| json!({"casting_id": c, "verdict": self.dice.word(&verdicts)})).collect();
        let mut body = json!({"at": self.at(), "castings": judged});
        if self.dice.chance(600) {
            body["gross_kg"] = kg(shell.grams - self.dice.between(0, 90));
        }
        self.make("tree", "shell-breakouts", &format!("/v1/shells/{}/breakout", shell.id), body).await;
        for casting in &shell.castings {
            self.now += self.dice.between(1, 90) * MINUTE;
            let mut body = json!({"at": self.at(), "net_kg": kg(share - self.dice.between(0, 60))});
            if self.dice.chance(500) {
                body["returned_kg"] = kg(share / 5);
            }
            if let Some(pool) = &pool {
                body["returned_lot_id"] = pool.as_str().into();
            }
            if self.dice.chance(850) {
                self.make("cut-off", "cut-offs", &format!("/v1/castings/{casting}/cut-off"), body).await;
            }
        }
    }

    pub(super) async fn bench(&mut self) {
        let Some(n) = self.some_shell(|s| s.opened) else { return };
        let Some(casting) = self.dice.pick(&self.shells[n].castings).cloned() else { return };
        let path = format!("/v1/castings/{casting}");
        match self.dice.between(1, 10) {
            1..=4 => self.weld(&path).await,
            5..=6 => {
                let body = json!({"at": self.at()});
                let done = self.make("finish", "finishes", &format!("{path}/finish"), body).await.is_some();
                if done && self.dice.chance(600) {
                    self.now += self.dice.between(1, 600) * MINUTE;
                    let piece = text(&self.caller.get(&path).await.unwrap()["piece_id"]);
                    let body = json!({"at": self.at()});
                    self.make("delivery", "deliveries", &format!("/v1/pieces/{piece}/deliver"), body).await;
                }
            }
            7..=8 => self.scrap(&casting).await,
            _ => {
                let verdict = self.dice.word(&["accepted", "repair", "scrap"]);
                let body = json!({"casting_id": casting, "at": self.at(), "verdict": verdict});
                self.make("judged again", "breakouts", "/v1/breakouts", body).await;
            }
        }
    }

    async fn weld(&mut self, path: &str) {
        let mut body = json!({"at": self.at(), "operation": "weld", "minutes": 20});
        let rod = self.dice.between(1, 3);
        if rod > 1 {
            body["rod_kg"] = kg(self.dice.between(1, 60));
        }
        if rod > 2 {
            body["rod_lot_id"] = self.lots[4].as_str().into();
        }
        if self.dice.chance(500) {
            body["mass_after_kg"] = kg(self.dice.between(200, 3000));
        }
        if self.make("work", "work", &format!("{path}/work"), body).await.is_some() {
            self.count(["no rod", "rod from outside", "rod from a lot"][usize::try_from(rod - 1).unwrap()]);
        }
    }

    async fn scrap(&mut self, casting: &str) {
        let mut body = json!({"at": self.at(), "cause": {"category": "bench"}});
        let how = self.dice.between(1, 3);
        match how {
            1 => body["returned_kg"] = kg(self.dice.between(0, 1500)),
            2 => body["kept"] = true.into(),
            _ => {}
        }
        if self.make("scrap", "scraps", &format!("/v1/castings/{casting}/scrap"), body).await.is_some() && how == 2 {
            self.kept.push(casting.to_owned());
        }
    }

    /// Scrap that was kept goes into the pool after all.
    pub(super) async fn give_kept_back(&mut self) {
        let Some(casting) = self.dice.pick(&self.kept).cloned() else { return };
        self.kept.retain(|c| *c != casting);
        let body = json!({"at": self.now_text(), "cause": {"category": "bench"}});
        self.make("kept given back", "scraps", &format!("/v1/castings/{casting}/scrap"), body).await;
    }
}
