//! From the commission to the fired shell.

use super::caller::{Who, at, kg, text};
use super::opening::put_on_file;
use super::shop::{ALLOYS, Batch, Casting, DAY, HOUR, MINUTE, Pattern, Piece, Shell, Shop, Task};
use super::{ENDS, words};
use serde_json::{Value, json};

impl Shop {
    /// Chooses the castings of a pour day, taking commissions in until there are enough.
    pub async fn plan(&mut self, batch: usize, now: i64) -> Result<(), String> {
        let day = self.batches.get(batch).map_or(now, |b| b.day);
        let wanted = if day > ENDS - 15 * DAY { 9 } else { usize::try_from(self.dice.between(4, 7)).unwrap_or(5) };
        while self.waiting.len() < wanted {
            self.commission(now).await?;
        }
        let chosen: Vec<usize> = self.waiting.drain(..wanted).collect();
        for (n, &casting) in (0_i64..).zip(&chosen) {
            let when = now + DAY + n * 5 * HOUR / 2;
            self.later(when, Task::Wax(casting));
        }
        self.later(day - 13 * DAY + HOUR, Task::Build(batch));
        self.later(day - DAY, Task::Burn(batch));
        self.later(day, Task::Pour(batch));
        if let Some(batch) = self.batches.get_mut(batch) {
            batch.castings = chosen;
        }
        Ok(())
    }

    /// Takes a commission in.
    async fn commission(&mut self, now: i64) -> Result<(), String> {
        self.commissions += 1;
        self.quotes_lost(now).await?;
        if self.commissions.is_multiple_of(40) {
            return self.class_pour(now).await;
        }
        let unique = self.dice.chance(130);
        let pattern = if unique {
            let Some(work) = self.dice.pick(words::UNIQUE).copied() else { return Ok(()) };
            let pattern = put_on_file(self, work, now).await?;
            self.uniques.push(pattern);
            self.patterns.len() + self.uniques.len()
        } else {
            usize::try_from(self.dice.between(0, i64::try_from(self.patterns.len()).unwrap_or(1) - 1)).unwrap_or(0)
        };
        let name = if unique { "A work of one" } else { words::WORKS.get(pattern).map_or("", |w| w.0) };
        let title = format!("{name}, {}", self.dice.word(words::TITLES));
        let mut body = json!({"title": title, "at": at(now), "due_on": day_of(now + self.dice.between(50, 120) * DAY)});
        if !self.dice.chance(120)
            && let Some(client) = self.dice.pick(&self.clients)
        {
            body["client_id"] = client.as_str().into();
        }
        let alloy = match self.dice.between(1, 100) {
            1..=78 => 0,
            79..=90 => 1,
            _ => 2,
        };
        let copies = if unique { 1 } else { self.dice.between(1, 7) };
        let edition = !unique && self.dice.chance(600);
        let parts = if unique || self.dice.chance(900) { 1 } else { 2 };
        if let Some(asked) = self.quoted(pattern, !unique && parts == 1 && !edition, copies) {
            let client = body["client_id"].as_str().map(str::to_owned);
            let (number, pieces) = self.quote_and_accept(&title, client.as_deref(), (pattern, alloy), asked, now).await?;
            if let Some(known) = self.patterns.get_mut(pattern).filter(|_| asked.1 > 0) {
                known.marks = asked.0 + asked.1;
            }
            for piece in &pieces {
                self.take_piece(piece, pattern, alloy)?;
            }
            return self.bought(&number, now).await;
        }
        let number = text(&self.caller.post(Who::Owner, "/v1/commissions", body).await?, "/number")?;
        for _ in 0..copies {
            let mut piece = json!({"at": at(now), "alloy": ALLOYS.get(alloy).map_or("", |a| a.code)});
            if edition && let Some(known) = self.patterns.get_mut(pattern) {
                // Editions of eight with two artist's proofs; what is cast after them bears no mark.
                let n = known.marks;
                known.marks += 1;
                match n {
                    0..=7 => piece["edition_mark"] = format!("{}/8", n + 1).into(),
                    8 | 9 => piece["edition_mark"] = format!("AP {}/2", n - 7).into(),
                    _ => {}
                }
            }
            if parts == 2 {
                piece["parts"] = json!(["figure", "base"]);
            }
            self.piece(&number, pattern, alloy, piece).await?;
        }
        self.bought(&number, now).await
    }

    /// What is bought in for a job, and what is paid for it at once.
    async fn bought(&mut self, number: &str, now: i64) -> Result<(), String> {
        if self.dice.chance(250) {
            let body = json!({"kind": self.dice.word(&["crate", "base", "freight", "print"]), "amount_minor": self.dice.between(2000, 26_000), "at": at(now), "supplier": "Ashdown Joinery"});
            self.caller.post(Who::Owner, &format!("/v1/commissions/{number}/costs"), body).await?;
        }
        if self.dice.chance(500) {
            let body = json!({"amount_minor": self.dice.between(200, 1500) * 100, "at": at(now), "for": "deposit"});
            self.caller.post(Who::Owner, &format!("/v1/commissions/{number}/payments"), body).await?;
        }
        Ok(())
    }

    pub fn pattern(&self, n: usize) -> Option<&Pattern> {
        self.patterns.get(n).or_else(|| self.uniques.get(n.checked_sub(self.patterns.len() + 1)?))
    }

    async fn piece(&mut self, number: &str, pattern: usize, alloy: usize, mut body: Value) -> Result<(), String> {
        body["pattern_id"] = self.pattern(pattern).map_or("", |p| p.id.as_str()).into();
        let made = self.caller.post(Who::Owner, &format!("/v1/commissions/{number}/pieces"), body).await?;
        self.take_piece(&made, pattern, alloy)
    }

    fn take_piece(&mut self, made: &Value, pattern: usize, alloy: usize) -> Result<(), String> {
        let tags: Vec<String> =
            made["castings"].as_array().into_iter().flatten().filter_map(|c| c["tag"].as_str().map(str::to_owned)).collect();
        let piece = self.pieces.len();
        let mark = made["edition_mark"].as_str().unwrap_or_default().to_owned();
        self.pieces.push(Piece { id: text(made, "/id")?, parts: tags.len(), finished: 0, mark });
        for tag in tags {
            self.new_casting(tag, piece, pattern, alloy);
        }
        Ok(())
    }

    fn new_casting(&mut self, tag: String, piece: usize, pattern: usize, alloy: usize) {
        let wax = self.pattern(pattern).map_or(200, |p| p.wax_g) * 1000;
        let wax_mg = wax * self.dice.between(94, 106) / 100 / 1000 * 1000;
        self.waiting.push_back(self.castings.len());
        self.castings.push(Casting { tag, piece, pattern, alloy, wax_mg, gone: false, net: 0, mass: 0, verdict: "" });
    }

    /// A class pour: one commission, many makers, one form each.
    async fn class_pour(&mut self, now: i64) -> Result<(), String> {
        let body = json!({"title": "Evening class pour", "at": at(now), "notes": "each maker takes one home"});
        let number = text(&self.caller.post(Who::Owner, "/v1/commissions", body).await?, "/number")?;
        let pattern = words::WORKS.iter().position(|w| w.0 == "Medal, first frost").unwrap_or(0);
        let id = self.pattern(pattern).map_or_else(String::new, |p| p.id.clone());
        let rows: Vec<Value> =
            words::MAKERS.iter().map(|maker| json!({"pattern_id": id, "alloy": "C87300", "maker": maker})).collect();
        let made = self
            .caller
            .post(Who::Owner, &format!("/v1/commissions/{number}/pieces"), json!({"rows": rows, "at": at(now)}))
            .await?;
        for piece in made["pieces"].as_array().into_iter().flatten() {
            self.take_piece(piece, pattern, 0)?;
        }
        Ok(())
    }

    /// Makes a wax; some are not logged, some not weighed, some wrong at first.
    pub async fn wax(&mut self, casting: usize, now: i64) -> Result<(), String> {
        let Some(known) = self.castings.get(casting).cloned() else { return Ok(()) };
        if self.dice.chance(90) {
            return Ok(());
        }
        let pattern = self.pattern(known.pattern).cloned();
        let made = if pattern.as_ref().is_some_and(|p| p.unique) {
            "direct"
        } else {
            self.dice.word(&["poured", "slush", "poured", "printed"])
        };
        let mut body = json!({"at": at(now), "made": made, "hands": [self.dice.word(words::HANDS)]});
        if let Some(mould) = pattern.and_then(|p| p.mould_id) {
            body["mould_id"] = mould.into();
        }
        let (weighed, slip) = (!self.dice.chance(80), self.dice.chance(25));
        if weighed {
            body["wax_kg"] = kg(if slip { known.wax_mg * 10 } else { known.wax_mg });
        }
        let path = format!("/v1/castings/{}/waxes", known.tag);
        let wax = self.caller.post(Who::Shell, &path, body).await?;
        if weighed && slip {
            self.caller.tick(now + 10 * MINUTE);
            let path = format!("/v1/waxes/{}", text(&wax, "/id")?);
            self.caller.patch(Who::Shell, &path, json!({"wax_kg": kg(known.wax_mg), "reason": "a nought too many"})).await?;
        }
        self.work("castings", &known.tag, "chase_wax", (15, 120), now, json!({})).await?;
        if self.dice.chance(15) {
            let body = json!({"at": at(now + 2 * HOUR), "cause": {"category": "wax", "text": "dropped"}});
            self.caller.tick(now + 2 * HOUR);
            self.caller.post(Who::Shell, &format!("/v1/castings/{}/scrap", known.tag), body).await?;
            self.gone(casting, now + 2 * HOUR);
        }
        Ok(())
    }

    /// Marks a casting as gone; another is asked for a day or two later.
    pub fn gone(&mut self, casting: usize, now: i64) {
        if let Some(known) = self.castings.get_mut(casting) {
            known.gone = true;
        }
        let wait = self.dice.between(1, 3) * DAY;
        self.later(now + wait, Task::Recast(casting));
    }

    /// Books minutes; now and then a day late or to the day, sometimes twice and one void.
    pub async fn work(
        &mut self,
        on: &str,
        tag: &str,
        operation: &str,
        (low, high): (i64, i64),
        now: i64,
        more: Value,
    ) -> Result<(), String> {
        let mut body = json!({"at": at(now), "operation": operation, "minutes": self.dice.between(low, high), "hand": self.dice.word(words::HANDS)});
        for (name, value) in more.as_object().into_iter().flatten() {
            body[name] = value.clone();
        }
        let plain = more.as_object().is_none_or(serde_json::Map::is_empty);
        match self.dice.between(1, 25) {
            // Written down the day after.
            1 if plain => body["at"] = at(now - 15 * HOUR),
            2 if plain => body["at_precision"] = "day".into(),
            _ => {}
        }
        let path = format!("/v1/{on}/{tag}/work");
        let who = if on == "castings" { Who::Metal } else { Who::Shell };
        self.caller.post(who, &path, body.clone()).await?;
        if plain && self.dice.chance(8) {
            let twice = self.caller.post(who, &path, body).await?;
            let path = format!("/v1/work/{}/void", text(&twice, "/id")?);
            self.caller.post(who, &path, json!({"reason": "tapped twice"})).await?;
        }
        Ok(())
    }

    /// Builds the shells of a batch: trees of small castings, and the rest one by one.
    pub async fn build(&mut self, batch: usize, now: i64) -> Result<(), String> {
        let Some(known) = self.batches.get(batch).cloned() else { return Ok(()) };
        let mut single = known.day > ENDS - 15 * DAY;
        let mut groups: Vec<Vec<usize>> = Vec::new();
        for &casting in &known.castings {
            let Some(c) = self.castings.get(casting).filter(|c| !c.gone).cloned() else { continue };
            let fits = groups.last().is_some_and(|g: &Vec<usize>| {
                let first = g.first().and_then(|f| self.castings.get(*f));
                first.is_some_and(|f| f.alloy == c.alloy && f.wax_mg < 420_000) && g.len() < 6
            });
            if fits && c.wax_mg < 420_000 && !single && self.dice.chance(800) {
                if let Some(group) = groups.last_mut() {
                    group.push(casting);
                }
            } else {
                groups.push(vec![casting]);
            }
            single &= groups.len() < 6;
        }
        let (mut when, hurried) = (now, self.dice.chance(150));
        let mut recipes: Vec<usize> = Vec::new();
        let other = if self.dice.chance(550) { 1 } else { 2 };
        for castings in groups {
            let recipe = if self.dice.chance(620) { 0 } else { other };
            recipes.push(recipe);
            when += 25 * MINUTE;
            self.build_one(batch, castings, recipe, hurried, when).await?;
        }
        recipes.sort_unstable();
        recipes.dedup();
        for recipe in recipes {
            self.later(now + 8 * HOUR, Task::Coat(batch, recipe, 0));
        }
        Ok(())
    }

    async fn build_one(
        &mut self,
        batch: usize,
        castings: Vec<usize>,
        recipe: usize,
        hurried: bool,
        when: i64,
    ) -> Result<(), String> {
        let inside: Vec<Casting> = castings.iter().filter_map(|c| self.castings.get(*c).cloned()).collect();
        let tags: Vec<&str> = inside.iter().map(|c| c.tag.as_str()).collect();
        let wax: i64 = inside.iter().map(|c| c.wax_mg).sum();
        let gating = wax * self.dice.between(28, 60) / 100 / 1000 * 1000 + 60_000;
        let alloy = inside.first().map_or(0, |c| c.alloy);
        let mut body = json!({"recipe_id": self.recipes.get(recipe).map_or("", |r| r.id.as_str()), "casting_ids": tags, "at": at(when),
            "fed": self.dice.word(&["top", "bottom", "bottom", "side"]), "vents": self.dice.between(0, 5),
            "cups": [{"volume_cm3": self.dice.between(2, 8) * 50}]});
        if self.dice.chance(850) {
            body["gating_kg"] = kg(gating);
        } else {
            body["gating_cm3"] = (gating / 960).into();
        }
        if self.dice.chance(120) {
            body["core"] = self.dice.word(&["shell", "poured"]).into();
        }
        self.caller.tick(when);
        let made = self.caller.post(Who::Shell, "/v1/shells", body).await?;
        let tag = text(&made, "/tag")?;
        self.work("shells", &tag, "sprue", (20, 90), when, json!({})).await?;
        let shell = Shell {
            tag,
            castings,
            recipe,
            alloy,
            gating: gating * ALLOYS.get(alloy).map_or(880, |a| a.ratio) / 100,
            hurried,
            cracked: false,
            soft: false,
            lost: false,
            unlogged: false,
            poured: 0,
            leaked: 0,
            short: false,
            gross: 0,
            says_gross: true,
            saw: 0,
            odd: 0,
        };
        if let Some(known) = self.batches.get_mut(batch) {
            known.shells.push(self.shells.len());
        }
        self.shells.push(shell);
        Ok(())
    }

    /// The next coat of a rack.
    pub async fn coat(&mut self, batch: usize, recipe: usize, n: usize, now: i64) -> Result<(), String> {
        let shells: Vec<usize> = self.batches.get(batch).map_or_else(Vec::new, |b| b.shells.clone());
        let rack: Vec<&Shell> = shells.iter().filter_map(|s| self.shells.get(*s)).filter(|s| s.recipe == recipe).collect();
        let tags: Vec<String> = rack.iter().map(|s| s.tag.clone()).collect();
        let hurried = rack.first().is_some_and(|s| s.hurried);
        let Some((kind, slurry, stucco, dry)) = self.recipes.get(recipe).and_then(|r| r.coats.get(n)).copied() else {
            return Ok(());
        };
        let (place, low, high) = if kind == "prime" { (0, 21, 28) } else { (1, 10, 16) };
        let mut body = json!({"shell_ids": tags, "kind": kind, "slurry": slurry, "at": at(now), "slurry_batch_id": self.slurries.get(place),
            "hands": ["Odo Fennimore"]});
        if !stucco.is_empty() {
            body["stucco"] = stucco.into();
        }
        if self.dice.chance(700) {
            body["viscosity_s"] = self.dice.between(low, high).into();
            body["humidity_percent"] = self.dice.between(38, 66).into();
            body["room_c"] = self.dice.between(17, 24).into();
        }
        if place == 1 && !self.gelled.is_empty() && self.slurries.get(1) == Some(&self.gelled) {
            let rack = shells.iter().filter(|s| self.shells.get(**s).is_some_and(|s| s.recipe == recipe));
            for shell in rack.copied().collect::<Vec<usize>>() {
                self.shells.get_mut(shell).into_iter().for_each(|s| s.soft = true);
            }
        }
        let done = self.caller.post(Who::Shell, "/v1/coats", body.clone()).await?;
        if self.dice.chance(12) && done["coats"].is_array() {
            let twice = self.caller.post(Who::Shell, "/v1/coats", body).await?;
            for coat in twice["coats"].as_array().into_iter().flatten() {
                self.caller
                    .post(Who::Shell, &format!("/v1/coats/{}/void", text(coat, "/id")?), json!({"reason": "sent twice"}))
                    .await?;
            }
        }
        if n == 0
            && let Some(tag) = tags.first()
        {
            self.work("shells", tag, "dip", (15, 50), now, json!({})).await?;
        }
        let wait = if hurried { dry * 6 / 10 * HOUR } else { dry * HOUR + self.dice.between(1, 10) * HOUR };
        self.later(now + wait, Task::Coat(batch, recipe, n + 1));
        Ok(())
    }

    /// Melts out and fires a batch.
    pub async fn burn(&mut self, batch: usize, now: i64) -> Result<(), String> {
        let Some(known) = self.batches.get(batch).cloned() else { return Ok(()) };
        self.patches(&known, now).await?;
        let mut loaded = Vec::new();
        for &shell in &known.shells {
            let unlogged = self.heats > 20
                && self.shells.get(shell).is_some_and(|s| s.castings.len() == 1)
                && self.first("unlogged burnout");
            let odds = self.dice.between(1, 1000);
            let Some(s) = self.shells.get_mut(shell) else { continue };
            s.unlogged = unlogged;
            (s.lost, s.cracked) = (odds <= 20 && !unlogged, (21..=105).contains(&odds) && !unlogged);
            if !unlogged {
                loaded.push((shell, s.clone()));
            }
        }
        let shells: Vec<Value> = loaded
            .iter()
            .map(|(_, s)| json!({"shell_id": s.tag, "result": if s.lost { "lost" } else if s.cracked { "cracked" } else { "sound" }}))
            .collect();
        if shells.is_empty() {
            return Ok(());
        }
        let kiln = self.dice.word(&["Front kiln", "Front kiln", "Back kiln"]);
        let body = json!({"kiln": kiln, "at": at(now), "shells": shells, "peak_c": self.dice.between(840, 900), "hold_minutes": self.dice.between(60, 150),
            "out_at": at(now + 7 * HOUR), "fuel_kg": self.dice.between(9, 16), "hands": ["Odo Fennimore"]});
        self.caller.tick(now + 7 * HOUR);
        self.caller.post(Who::Shell, "/v1/burnouts", body).await?;
        for (_, s) in loaded.iter().filter(|(_, s)| s.lost) {
            for &casting in &s.castings {
                self.gone(casting, now + 8 * HOUR);
            }
        }
        for (_, s) in loaded.iter().filter(|(_, s)| s.cracked) {
            let body = json!({"at": at(now + 8 * HOUR), "where": self.dice.word(&["at the cup", "along an edge", "near a gate"]), "material": "patching cement"});
            self.caller.tick(now + 8 * HOUR);
            self.caller.post(Who::Shell, &format!("/v1/shells/{}/patches", s.tag), body).await?;
        }
        Ok(())
    }

    async fn patches(&mut self, batch: &Batch, now: i64) -> Result<(), String> {
        for &shell in &batch.shells {
            let Some(tag) = self.shells.get(shell).map(|s| s.tag.clone()) else { continue };
            if self.dice.chance(60) {
                let body = json!({"at": at(now - 3 * HOUR), "where": "knocked on the rack", "material": "patching cement"});
                self.caller.post(Who::Shell, &format!("/v1/shells/{tag}/patches"), body).await?;
                self.work("shells", &tag, "patch", (5, 20), now - 3 * HOUR, json!({})).await?;
            }
        }
        Ok(())
    }

    /// Asks for a casting again, unless it was the only one of its kind.
    pub async fn recast(&mut self, casting: usize, now: i64) -> Result<(), String> {
        let Some(known) = self.castings.get(casting).cloned() else { return Ok(()) };
        let unique = self.pattern(known.pattern).is_some_and(|p| p.unique);
        let mut body = json!({"at": at(now), "reason": "scrapped"});
        if unique {
            if !self.first("a unique made again") && (self.first("a unique lost") || self.dice.chance(600)) {
                return Ok(());
            }
            body["how"] = self.dice.word(&["remodelled", "moulded_off_failed", "new_original"]).into();
            body["despite"] = json!(["pattern_is_unique"]);
        }
        let made = self.caller.post(Who::Owner, &format!("/v1/castings/{}/recast", known.tag), body).await?;
        let tag = text(&made, "/tag")?;
        self.new_casting(tag, known.piece, known.pattern, known.alloy);
        Ok(())
    }
}

fn day_of(ms: i64) -> String {
    crate::kernel::Instant::from_ms(ms).to_string().chars().take(10).collect()
}
