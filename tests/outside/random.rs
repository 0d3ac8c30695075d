//! Shops that do anything: seeded random operations, most of them legal, in random order.

use pourbook::db::Db;
use pourbook::demo::{Caller, Dice, Who};
use pourbook::kernel::{Clock, Instant};
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// When the first thing happens; the book is written long after.
const BEGINS: i64 = 1_767_250_800_000;
const MINUTE: i64 = 60_000;

/// What was taken and what was refused, by what was tried.
pub type Tried = BTreeMap<&'static str, (usize, usize)>;

/// The clock of a random shop.
pub fn clock(seed: u64) -> Clock {
    Clock::fixed(Instant::from_ms(BEGINS + 300 * 24 * 60 * MINUTE), seed)
}

#[derive(Clone, Default)]
struct Shell {
    tag: String,
    castings: Vec<String>,
    pours: Vec<String>,
    heat: String,
    /// What is thought to be in it, in g.
    grams: i64,
    opened: bool,
}

struct Shop {
    caller: Caller,
    dice: Dice,
    now: i64,
    recipe: String,
    number: String,
    pattern: String,
    lots: Vec<String>,
    free: Vec<String>,
    shells: Vec<Shell>,
    heats: Vec<String>,
    /// Records that may be corrected or voided: collection and id.
    made: Vec<(&'static str, String)>,
    tried: Tried,
}

fn kg(grams: i64) -> Value {
    json!(grams as f64 / 1000.0)
}

fn text(value: &Value) -> String {
    value.as_str().unwrap().to_owned()
}

impl Shop {
    async fn open(db: &Db, seed: u64) -> Self {
        let mut caller = Caller::new(db, db.clock()).await.unwrap();
        let mut post = async |path: &str, body: Value| caller.post(Who::Owner, path, body).await.unwrap();
        let at = Instant::from_ms(BEGINS - 24 * 60 * MINUTE).to_string();
        let coats = json!([{"kind": "prime", "slurry": "prime", "dry_hours": 3}]);
        let recipe = text(&post("/v1/recipes", json!({"name": "One", "at": at, "coats": coats})).await["id"]);
        let number = text(&post("/v1/commissions", json!({"title": "All of it", "at": at})).await["number"]);
        let pattern = json!({"name": "Form", "material": "wax_casting", "mass_kg": 0.3, "section_mm": 5});
        let pattern = text(&post("/v1/patterns", pattern).await["id"]);
        let mut lots = Vec::new();
        let bought =
            [("ingot", 400, 377_777), ("ingot", 90, 70_001), ("returns", 40, 29_333), ("returns", 0, 0), ("addition", 9, 13_001)];
        for (kind, mass, cost) in bought {
            let body = json!({"alloy": "C87300", "kind": kind, "mass_kg": mass, "cost_minor": cost, "at": at});
            lots.push(text(&post("/v1/metal-lots", body).await["id"]));
        }
        Self {
            caller,
            dice: Dice::new(seed),
            now: BEGINS,
            recipe,
            number,
            pattern,
            lots,
            free: Vec::new(),
            shells: Vec::new(),
            heats: Vec::new(),
            made: Vec::new(),
            tried: Tried::new(),
        }
    }

    fn now_text(&self) -> String {
        Instant::from_ms(self.now).to_string()
    }

    /// The time of what happens next; one in five is recorded out of order.
    fn at(&mut self) -> String {
        let late = if self.dice.chance(200) { self.dice.between(1, 240) } else { 0 };
        Instant::from_ms(self.now - late * MINUTE).to_string()
    }

    fn lot(&mut self) -> String {
        self.dice.pick(&self.lots).unwrap().clone()
    }

    fn pool(&mut self) -> String {
        let n = usize::try_from(self.dice.between(2, 3)).unwrap();
        self.lots[n].clone()
    }

    /// Asks for something that may be refused, as a shop's slips are; answers what was made.
    async fn try_it(&mut self, what: &'static str, method: &str, path: &str, body: Value) -> Option<Value> {
        let (status, answer) = self.caller.ask(Who::Owner, method, path, Some(&body)).await.unwrap();
        assert!(status < 500, "{method} {path} {body}: {status} {answer}");
        let counted = self.tried.entry(what).or_default();
        if status < 300 {
            counted.0 += 1;
            return Some(answer);
        }
        counted.1 += 1;
        None
    }

    /// Records something that may be corrected or voided later.
    async fn make(&mut self, what: &'static str, collection: &'static str, path: &str, body: Value) -> Option<Value> {
        let made = self.try_it(what, "POST", path, body).await?;
        self.note(collection, &made);
        Some(made)
    }

    fn note(&mut self, collection: &'static str, record: &Value) {
        self.made.push((collection, text(&record["id"])));
    }

    async fn piece(&mut self) {
        let mut body = json!({"at": self.at(), "pattern_id": self.pattern, "alloy": "C87300"});
        if self.dice.chance(300) {
            body["parts"] = json!(["upper", "lower"]);
        }
        let path = format!("/v1/commissions/{}/pieces", self.number);
        let Some(piece) = self.try_it("piece", "POST", &path, body).await else { return };
        for casting in piece["castings"].as_array().unwrap() {
            let tag = text(&casting["tag"]);
            if self.dice.chance(700) {
                let body = json!({"at": self.now_text(), "wax_kg": kg(self.dice.between(50, 900))});
                self.make("wax", "waxes", &format!("/v1/castings/{tag}/waxes"), body).await;
            }
            self.free.push(tag);
        }
    }

    async fn shell(&mut self) {
        let many = usize::try_from(self.dice.between(1, 4)).unwrap().min(self.free.len());
        if many == 0 {
            return self.piece().await;
        }
        let castings: Vec<String> = self.free.drain(..many).collect();
        let gating = kg(self.dice.between(0, 400));
        let body = json!({"recipe_id": self.recipe, "casting_ids": castings, "gating_kg": gating, "at": self.now_text()});
        let Some(shell) = self.try_it("shell", "POST", "/v1/shells", body).await else { return };
        self.shells.push(Shell { tag: text(&shell["tag"]), castings, ..Shell::default() });
    }

    async fn heat(&mut self) {
        let mut lines = vec![json!({"lot_id": self.lots[0], "mass_kg": kg(self.dice.between(3000, 16_000))})];
        if self.dice.chance(700) {
            lines.push(json!({"lot_id": self.lot(), "mass_kg": kg(self.dice.between(200, 7000))}));
        }
        let mut body = json!({"alloy": "C87300", "furnace": "Gas", "at": self.at(), "charge": lines});
        if self.dice.chance(700) {
            body["crucible"] = self.dice.word(&["One", "Two"]).into();
        }
        if self.dice.chance(500) {
            body["despite"] = json!(["lot_short", "crucible_in_use"]);
        }
        if let Some(heat) = self.try_it("heat", "POST", "/v1/heats", body).await {
            self.heats.push(text(&heat["id"]));
            for line in heat["charge"].as_array().unwrap() {
                self.note("charges", line);
            }
        }
    }

    async fn charge(&mut self) {
        let Some(heat) = self.dice.pick(&self.heats).cloned() else { return };
        let mut body = json!({"at": self.at(), "lot_id": self.lot(), "mass_kg": kg(self.dice.between(20, 900))});
        if self.dice.chance(500) {
            body["kind"] = "deoxidise".into();
            self.make("event", "heat-events", &format!("/v1/heats/{heat}/events"), body).await;
        } else {
            self.make("charge", "charges", &format!("/v1/heats/{heat}/charges"), body).await;
        }
    }

    /// Most is poured from the heat lit last, so that heats overlap but a little.
    fn last_heat(&mut self) -> Option<String> {
        if self.dice.chance(750) { self.heats.last().cloned() } else { self.dice.pick(&self.heats).cloned() }
    }

    fn some_shell(&mut self, wanted: impl Fn(&Shell) -> bool) -> Option<usize> {
        let fit: Vec<usize> = (0..self.shells.len()).filter(|n| wanted(&self.shells[*n])).collect();
        self.dice.pick(&fit).copied()
    }

    async fn pour(&mut self) {
        let (Some(heat), Some(n)) = (self.last_heat(), self.some_shell(|s| !s.opened)) else { return };
        let shell = self.shells[n].clone();
        let grams = self.dice.between(900, 5200);
        let mut body =
            json!({"shell_id": shell.tag, "at": self.at(), "support": "buried", "filled": "full", "despite": ["not_on_record"]});
        match self.dice.between(1, 10) {
            1..=5 => body["poured_kg"] = kg(grams),
            6..=7 => {
                body["poured_kg"] = kg(grams);
                body["poured_basis"] = "estimated".into();
            }
            _ => {}
        }
        if let Some(first) = shell.pours.first() {
            body["continues_pour_id"] = first.as_str().into();
        }
        if self.dice.chance(350) {
            let mut leaks = vec![json!({"where": "gate", "response": "plugged", "lost_kg": kg(self.dice.between(0, 300))})];
            if self.dice.chance(500) {
                let swept = kg(self.dice.between(1, 250));
                leaks.push(json!({"where": "cup", "response": "none", "swept_kg": swept, "swept_lot_id": self.pool()}));
            }
            body["leaks"] = leaks.into();
        }
        let Some(pour) = self.make("pour", "pours", &format!("/v1/heats/{heat}/pours"), body).await else { return };
        for leak in pour["leaks"].as_array().into_iter().flatten() {
            self.note("leaks", leak);
        }
        self.shells[n].pours.push(text(&pour["id"]));
        self.shells[n].grams += grams * 9 / 10;
        if !shell.pours.is_empty() {
            let what = if shell.heat == heat { "second stream" } else { "second heat" };
            self.tried.entry(what).or_default().0 += 1;
        }
        self.shells[n].heat = heat;
    }

    async fn close(&mut self) {
        let Some(heat) = self.last_heat() else { return };
        let balance = self.caller.get(&format!("/v1/heats/{heat}/balance")).await.unwrap();
        let grams = |name: &str| (balance[name].as_f64().unwrap_or(0.0) * 1000.0).round() as i64;
        let left = (grams("charged_kg") - grams("poured_kg")).max(0);
        let (dross, spilled) = (left * self.dice.between(0, 4) / 100, left * self.dice.between(0, 3) / 100);
        let heel = if self.dice.chance(350) { left * self.dice.between(2, 40) / 100 } else { 0 };
        let odd = grams("charged_kg") * self.dice.between(-2, 6) / 100;
        let pigged = (left - dross - spilled - heel - odd).max(0);
        let mut body = json!({"at": self.at(), "pigged_kg": kg(pigged), "dross_kg": kg(dross), "spilled_kg": kg(spilled), "heel_kg": kg(heel)});
        if self.dice.chance(300) {
            body["pigged_lot_id"] = self.pool().into();
        }
        self.make("closing", "closings", &format!("/v1/heats/{heat}/closings"), body).await;
    }

    async fn open_shell(&mut self) {
        let Some(n) = self.some_shell(|s| !s.pours.is_empty() && !s.opened) else { return };
        let shell = self.shells[n].clone();
        self.shells[n].opened = true;
        let verdicts = ["accepted", "repair", "scrap", "not_judged", "accepted"];
        let share = shell.grams / i64::try_from(shell.castings.len()).unwrap() * 6 / 10;
        if shell.castings.len() == 1 && self.dice.chance(500) {
            let verdict = self.dice.word(&verdicts);
            let mut body = json!({"casting_id": shell.castings[0], "at": self.at(), "verdict": verdict, "net_kg": kg(share)});
            if self.dice.chance(700) {
                body["gross_kg"] = kg(shell.grams - self.dice.between(0, 90));
            }
            if self.dice.chance(700) {
                body["returned_kg"] = kg(shell.grams * 3 / 10);
            }
            if verdict == "scrap" && self.dice.chance(300) {
                body["kept"] = true.into();
            }
            self.make("breakout", "breakouts", "/v1/breakouts", body).await;
            return;
        }
        let judged: Vec<Value> =
            shell.castings.iter().map(|c| json!({"casting_id": c, "verdict": self.dice.word(&verdicts)})).collect();
        let mut body = json!({"at": self.at(), "castings": judged});
        if self.dice.chance(600) {
            body["gross_kg"] = kg(shell.grams - self.dice.between(0, 90));
        }
        self.make("tree", "shell-breakouts", &format!("/v1/shells/{}/breakout", shell.tag), body).await;
        for casting in &shell.castings {
            self.now += self.dice.between(1, 90) * MINUTE;
            let mut body = json!({"at": self.at(), "net_kg": kg(share - self.dice.between(0, 60))});
            if self.dice.chance(500) {
                body["returned_kg"] = kg(share / 5);
            }
            if self.dice.chance(850) {
                self.make("cut-off", "cut-offs", &format!("/v1/castings/{casting}/cut-off"), body).await;
            }
        }
    }

    async fn bench(&mut self) {
        let Some(n) = self.some_shell(|s| s.opened) else { return };
        let Some(casting) = self.dice.pick(&self.shells[n].castings).cloned() else { return };
        let path = format!("/v1/castings/{casting}");
        match self.dice.between(1, 10) {
            1..=4 => {
                let mut body = json!({"at": self.at(), "operation": "weld", "minutes": 20});
                if self.dice.chance(600) {
                    body["rod_kg"] = kg(self.dice.between(1, 60));
                    if self.dice.chance(600) {
                        body["rod_lot_id"] = self.lots[4].as_str().into();
                    }
                }
                if self.dice.chance(500) {
                    body["mass_after_kg"] = kg(self.dice.between(200, 3000));
                }
                self.make("work", "work", &format!("{path}/work"), body).await;
            }
            5..=6 => {
                let body = json!({"at": self.at()});
                let done = self.make("finish", "finishes", &format!("{path}/finish"), body).await.is_some();
                if done && self.dice.chance(600) {
                    self.now += self.dice.between(1, 600) * MINUTE;
                    let piece = text(&self.caller.get(&path).await.unwrap()["piece_id"]);
                    self.deliver(&piece).await;
                }
            }
            7..=8 => {
                let mut body = json!({"at": self.at(), "cause": {"category": "bench"}});
                match self.dice.between(1, 3) {
                    1 => body["returned_kg"] = kg(self.dice.between(0, 1500)),
                    2 => body["kept"] = true.into(),
                    _ => {}
                }
                self.make("scrap", "scraps", &format!("{path}/scrap"), body).await;
            }
            _ => {
                let verdict = self.dice.word(&["accepted", "repair", "scrap"]);
                let body = json!({"casting_id": casting, "at": self.at(), "verdict": verdict});
                self.make("judged again", "breakouts", "/v1/breakouts", body).await;
            }
        }
    }

    async fn deliver(&mut self, piece: &str) {
        let body = json!({"at": self.at()});
        self.make("delivery", "deliveries", &format!("/v1/pieces/{piece}/deliver"), body).await;
    }

    async fn buy(&mut self) {
        let (pool, mass, cost) = (self.pool(), self.dice.between(500, 9000), self.dice.between(1, 9999));
        let body = json!({"at": self.at(), "mass_kg": kg(mass), "cost_minor": cost});
        self.make("receipt", "receipts", &format!("/v1/metal-lots/{pool}/receipts"), body).await;
    }

    /// Sets or ends a scrap price from a day in the middle of it all; or moves the shop.
    async fn price(&mut self) {
        let from_on = format!("2026-01-{:02}", self.dice.between(1, 4));
        if self.dice.chance(150) {
            let zone = self.dice.word(&["Europe/Lisbon", "Pacific/Auckland", "America/Los_Angeles", "UTC"]);
            let body = json!({"name": "zone", "from_on": from_on, "value": zone});
            self.make("zone", "settings", "/v1/settings", body).await;
            return;
        }
        let mut body = json!({"what": "scrap_kg", "from_on": from_on});
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

    /// Weighs a lot, sells or writes off from it, or moves metal into a pool.
    async fn stock(&mut self) {
        let (lot, pool, mass, at) = (self.lot(), self.pool(), self.dice.between(10, 4000), self.at());
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

    /// Corrects something: a mass by a little, or its time.
    async fn correct(&mut self) {
        const MASSES: [&str; 11] = [
            "wax_kg",
            "mass_kg",
            "poured_kg",
            "lost_kg",
            "swept_kg",
            "pigged_kg",
            "dross_kg",
            "heel_kg",
            "gross_kg",
            "net_kg",
            "returned_kg",
        ];
        let Some((collection, id)) = self.dice.pick(&self.made).cloned() else { return };
        let path = format!("/v1/{collection}/{id}");
        let stands = self.caller.get(&path).await.unwrap();
        let known: Vec<&str> = MASSES.into_iter().filter(|m| stands[*m].as_f64().is_some_and(|kg| kg > 0.0)).collect();
        let mut body = json!({});
        if let Some(name) = self.dice.pick(&known).copied() {
            let grams = (stands[name].as_f64().unwrap() * 1000.0).round() as i64;
            body[name] = kg((grams * self.dice.between(94, 105) / 100).max(1));
        }
        if known.is_empty() || self.dice.chance(300) {
            let at = Instant::parse(stands["at"].as_str().unwrap()).unwrap();
            body["at"] = at.plus_ms(self.dice.between(-90, 90) * MINUTE).to_string().into();
        }
        self.try_it("correction", "PATCH", &path, body).await;
    }

    async fn void(&mut self) {
        let Some((collection, id)) = self.dice.pick(&self.made).cloned() else { return };
        let body = json!({"reason": "never happened", "cascade": self.dice.chance(300)});
        if self.try_it("void", "POST", &format!("/v1/{collection}/{id}/void"), body).await.is_some() {
            self.made.retain(|m| m.1 != id);
        }
    }
}

/// Makes a random history of some steps.
pub async fn fill(db: &Db, seed: u64, steps: usize) -> Tried {
    let mut shop = Shop::open(db, seed).await;
    for _ in 0..steps {
        shop.now += shop.dice.between(1, 50) * MINUTE;
        match shop.dice.between(1, 100) {
            1..=8 => shop.piece().await,
            9..=20 => shop.shell().await,
            21..=27 => shop.heat().await,
            28..=32 => shop.charge().await,
            33..=52 => shop.pour().await,
            53..=58 => shop.close().await,
            59..=67 => shop.open_shell().await,
            68..=70 => shop.stock().await,
            71..=82 => shop.bench().await,
            83..=84 => shop.buy().await,
            85..=86 => shop.price().await,
            87..=95 => shop.correct().await,
            _ => shop.void().await,
        }
    }
    shop.tried
}
