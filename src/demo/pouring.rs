//! A pour day: preheat, heats, pours, closings. What is true is chosen first, then said the
//! way a shop would say it: weighed, by eye, or not at all.

use super::caller::{Who, at, kg, text};
use super::opening::buy;
use super::shop::{ALLOYS, Batch, DAY, HOUR, MINUTE, Shell, Shop, Task};
use super::{BEGINS, ENDS};
use serde_json::{Value, json};

/// By how much more often a shell leaks that was dipped in the tank that went off, in a thousand.
const SOFT: i64 = 780;

/// How the mass of a pour is said.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Said {
    Weighed,
    Estimated,
    Nothing,
}

/// A pour as it really was.
struct True {
    shell: usize,
    said: Said,
    poured: i64,
    lost: i64,
    swept: i64,
    /// Known neither by weighing nor by a gross to come.
    unsure: bool,
}

impl Shop {
    /// Pours a batch.
    pub async fn pour(&mut self, batch: usize, now: i64) -> Result<(), String> {
        let Some(known) = self.batches.get(batch).cloned() else { return Ok(()) };
        let mut ready: Vec<usize> =
            known.shells.iter().copied().filter(|s| self.shells.get(*s).is_some_and(|s| !s.lost)).collect();
        self.pair(&ready, now).await?;
        let last = now == ENDS - 9 * HOUR;
        let waits = if last && ready.len() > 3 { ready.pop() } else { None };
        self.preheat(&ready, now).await?;
        if last && ready.len() > 2 {
            ready.pop();
        }
        // The one that stays in the kiln room is fired, and no more.
        self.once.extend(waits.map(|_| "waits"));
        let mut when = now + HOUR;
        for alloy in 0..ALLOYS.len() {
            let (mut mine, rest): (Vec<usize>, Vec<usize>) =
                ready.iter().partition(|s| self.shells.get(**s).is_some_and(|s| s.alloy == alloy));
            ready = rest;
            if alloy == 0
                && self.heats > 40
                && !mine.is_empty()
                && let Some(place) = ready.iter().position(|s| self.shells.get(*s).is_some_and(|s| s.alloy == 1))
                && self.first("another alloy")
            {
                mine.push(ready.remove(place));
            }
            while !mine.is_empty() {
                let mut pot = Vec::new();
                let mut load = 0;
                while let Some(&shell) = mine.first() {
                    load += self.guess(shell);
                    if load > 95_000_000 && !pot.is_empty() {
                        break;
                    }
                    pot.push(mine.remove(0));
                }
                when = self.heat(alloy, &pot, when).await?;
            }
        }
        self.open_later(&known);
        Ok(())
    }

    fn guess(&self, shell: usize) -> i64 {
        let Some(s) = self.shells.get(shell) else { return 0 };
        let ratio = ALLOYS.get(s.alloy).map_or(880, |a| a.ratio);
        s.gating + s.castings.iter().filter_map(|c| self.castings.get(*c)).map(|c| c.wax_mg * ratio / 100).sum::<i64>()
    }

    fn open_later(&mut self, batch: &Batch) {
        let mut when = batch.day + DAY + 2 * HOUR;
        for &shell in &batch.shells {
            if self.shells.get(shell).is_some_and(|s| s.poured > 0) {
                self.later(when, Task::Open(shell));
                when += 25 * MINUTE;
            }
        }
    }

    async fn preheat(&mut self, ready: &[usize], now: i64) -> Result<(), String> {
        let inside: Vec<&Shell> = ready.iter().filter_map(|s| self.shells.get(*s)).filter(|s| !s.unlogged).collect();
        if inside.is_empty() || (self.heats.is_multiple_of(17) && now < ENDS - 9 * HOUR) {
            return Ok(());
        }
        let tags: Vec<&str> = inside.iter().map(|s| s.tag.as_str()).collect();
        let body = json!({"kiln": "Front kiln", "at": at(now), "shell_ids": tags, "target_c": self.dice.between(62, 72) * 10,
            "soak_minutes": self.dice.between(40, 90), "out_at": at(now + 2 * HOUR), "fuel_kg": self.dice.between(5, 9)});
        self.caller.tick(now + 2 * HOUR);
        self.caller.post(Who::Shell, "/v1/preheats", body).await.map(drop)
    }

    /// What really happens to a shell at its pour.
    fn happens(&mut self, shell: usize, when: i64, unsure_free: bool) -> Option<True> {
        let s = self.shells.get(shell)?.clone();
        let recipe = self.recipes.get(s.recipe)?;
        let base = if when > BEGINS + 560 * DAY { recipe.leak_later } else { recipe.leak };
        let leaks = self
            .dice
            .chance(base + if s.hurried { 90 } else { 0 } + if s.cracked { 160 } else { 0 } + if s.soft { SOFT } else { 0 });
        let short = self.dice.chance(if leaks { 250 } else { 35 });
        let ratio = ALLOYS.get(s.alloy).map_or(880, |a| a.ratio);
        let mut nets = 0;
        for &casting in &s.castings {
            let (full, filled) = (self.dice.between(93, 99), self.dice.between(55, 92));
            let Some(c) = self.castings.get_mut(casting) else { continue };
            let net = c.wax_mg * ratio / 100 * full / 100 * if short { filled } else { 100 } / 100;
            c.net = (net / 10_000).max(3) * 10_000;
            c.mass = c.net;
            nets += c.net;
        }
        let said = match self.dice.between(1, 100) {
            1..=66 => Said::Weighed,
            // The book ends before the last day's shells are opened: what was not weighed into
            // them would not be known yet.
            _ if when > ENDS - DAY => Said::Weighed,
            67..=78 => Said::Estimated,
            _ => Said::Nothing,
        };
        let says_gross = self.dice.chance(820) || !(said == Said::Weighed || unsure_free);
        let unsure = said != Said::Weighed && !says_gross;
        let lost = if leaks { self.dice.mass(40_000, 700_000, 10_000) } else { 0 };
        let swept = if leaks && self.dice.chance(450) { self.dice.mass(30_000, 500_000, 10_000) } else { 0 };
        let (saw, pieces) = (self.dice.mass(10_000, 50_000, 10_000), i64::try_from(s.castings.len()).ok()?);
        // What the scales disagree about between pour and breakout; where the pour was not
        // weighed nobody can see it.
        let odd = if said == Said::Weighed { self.dice.mass(-8_000, 60_000, 1_000) } else { 0 };
        let s = self.shells.get_mut(shell)?;
        s.saw = saw * pieces;
        s.gross = nets + (s.gating / 10_000).max(4) * 10_000 + s.saw;
        s.leaked = lost + swept;
        (s.short, s.says_gross, s.odd) = (short, says_gross, odd);
        s.poured = s.gross + s.leaked + odd;
        Some(True { shell, said, poured: s.poured, lost, swept, unsure })
    }

    /// One heat: answers when the next may be lit.
    async fn heat(&mut self, alloy: usize, pot: &[usize], lit: i64) -> Result<i64, String> {
        let mut pours: Vec<True> = Vec::new();
        for &shell in pot {
            let free = !pours.iter().any(|p| p.unsure);
            pours.extend(self.happens(shell, lit, free));
        }
        let need: i64 = pours.iter().map(|p| p.poured).sum();
        let wanted = (need * self.dice.between(109, 120) / 100 + 1_500_000) / 10_000 * 10_000;
        let heel = self.stock.get_mut(alloy).map_or(0, |s| std::mem::take(&mut s.heel));
        self.caller.tick(lit);
        let (id, mut charged) = self.light(alloy, wanted - heel, lit).await?;
        charged += heel + self.events(&id, alloy, lit).await?;
        self.heats += 1;
        let mut when = lit + 80 * MINUTE;
        for pour in &pours {
            self.stream(&id, alloy, pour, when).await?;
            when += 6 * MINUTE;
        }
        self.close(&id, alloy, charged, &pours, when + 15 * MINUTE).await?;
        Ok(when + 30 * MINUTE)
    }

    /// Lights a heat with a charge of pool metal and ingot; answers its id and what was
    /// really charged.
    async fn light(&mut self, alloy: usize, wanted: i64, lit: i64) -> Result<(String, i64), String> {
        let Some(known) = ALLOYS.get(alloy) else { return Err("no such alloy".into()) };
        let pool = self.stock.get(alloy).map_or_else(String::new, |s| s.pool.clone());
        let book = self.caller.get(&format!("/v1/metal-lots/{pool}")).await?["mass_kg"].as_f64().unwrap_or(0.0);
        #[expect(clippy::cast_possible_truncation, reason = "a mass in mg of a small shop")]
        let book = (book * 1e6).round() as i64;
        let mut body = json!({"alloy": known.code, "furnace": known.furnace, "crucible": format!("Pot for {}", known.code), "at": at(lit), "hands": ["Isa Quill", "Odo Fennimore"]});
        let mut lines: Vec<(String, i64)> = Vec::new();
        let share = book.min(wanted * self.dice.between(35, 62) / 100) / 10_000 * 10_000;
        if share > 500_000 {
            lines.push((pool, share));
        }
        if alloy == 0 && self.heats < 12 && self.heats.is_multiple_of(2) {
            lines.extend(self.additions.get(ALLOYS.len()).map(|lot| (lot.clone(), 8_000_000)));
        }
        let mut rest = wanted - lines.iter().map(|l| l.1).sum::<i64>();
        while rest > 0 {
            let (ingot, left) = self.stock.get(alloy).map(|s| (s.ingot.clone(), s.left)).unwrap_or_default();
            let mut take = rest.min(left);
            if take > 0 {
                if take == left && self.heats > 30 && self.first("lot short") {
                    // The bin really held more than the book.
                    body["despite"] = json!(["lot_short"]);
                    self.put_in -= 350_000;
                    take += 350_000;
                }
                lines.push((ingot, take));
                rest -= take;
                if let Some(stock) = self.stock.get_mut(alloy) {
                    stock.left -= take;
                }
            }
            if rest > 0 {
                buy(self, alloy, lit - HOUR).await?;
            }
        }
        // A slip of the pen, put right below.
        let slip = self.dice.chance(60) && body.get("despite").is_none() && lines.last().is_some_and(|l| l.1 > 3_000_000);
        let said: Vec<Value> = lines
            .iter()
            .enumerate()
            .map(|(n, (lot, mass))| json!({"lot_id": lot, "mass_kg": kg(if slip && n + 1 == lines.len() { mass - 1_000_000 } else { *mass })}))
            .collect();
        body["charge"] = said.into();
        let made = self.caller.post(Who::Metal, "/v1/heats", body).await?;
        if slip && let (Some((lot, mass)), Some(charge)) = (lines.last(), made["charge"].as_array()) {
            let line = charge.iter().find(|c| c["lot_id"] == lot.as_str()).ok_or("no such line")?;
            let path = format!("/v1/charges/{}", text(line, "/id")?);
            self.caller.patch(Who::Metal, &path, json!({"mass_kg": kg(*mass), "reason": "misread the scale"})).await?;
        }
        Ok((text(&made, "/id")?, lines.iter().map(|l| l.1).sum()))
    }

    /// What is done to the melt; answers the mass that was added.
    async fn events(&mut self, heat: &str, alloy: usize, lit: i64) -> Result<i64, String> {
        let Some(known) = ALLOYS.get(alloy) else { return Ok(0) };
        let path = format!("/v1/heats/{heat}/events");
        let mut when = lit + 55 * MINUTE;
        let mut added = 0;
        if alloy == 2 {
            self.caller.tick(when);
            self.caller.post(Who::Metal, &path, json!({"at": at(when), "kind": "degas", "note": "tablet"})).await?;
        } else if self.dice.chance(600) {
            added = self.dice.mass(10_000, 60_000, 1_000);
            self.caller.tick(when);
            let body = json!({"at": at(when), "kind": "deoxidise", "lot_id": self.additions.get(alloy), "mass_kg": kg(added)});
            self.caller.post(Who::Metal, &path, body).await?;
        }
        for kind in ["skim", "temperature", "ready"] {
            when += 7 * MINUTE;
            let mut body = json!({"at": at(when), "kind": kind});
            if kind == "temperature" {
                body["metal_c"] = (known.metal_c + self.dice.between(10, 50)).into();
            }
            self.caller.tick(when);
            self.caller.post(Who::Metal, &path, body).await?;
        }
        Ok(added)
    }

    /// One pour, and now and then a second stream on top.
    async fn stream(&mut self, heat: &str, alloy: usize, pour: &True, when: i64) -> Result<(), String> {
        let Some(s) = self.shells.get(pour.shell).cloned() else { return Ok(()) };
        let metal_c = ALLOYS.get(alloy).map_or(0, |a| a.metal_c) + self.dice.between(-35, 30);
        let out = self.dice.between(1, 11);
        let leaked = pour.lost + pour.swept;
        let topped = leaked > 0 && pour.said == Said::Weighed && pour.poured > 3_000_000 && self.dice.chance(350);
        let first = if topped { (pour.poured * 7 / 10 / 10_000 * 10_000).max(leaked) } else { pour.poured };
        let mut body = json!({"shell_id": s.tag, "at": at(when), "support": self.dice.word(&["open_rack", "buried", "half_buried", "buried"]),
            "filled": if s.short { self.dice.word(&["short", "stopped"]) } else { "full" }, "metal_c": metal_c,
            "shell_out_at": at(when - out * MINUTE), "shell_out_c": self.dice.between(60, 70) * 10, "hands": ["Isa Quill", "Jory Penhale"]});
        // The dice were thrown all the same, so that what follows does not change.
        if let Some(stands) = self.stands.get(&pour.shell) {
            body["support"] = (*stands).into();
        }
        if self.dice.chance(600) {
            body["shell_c"] = (self.dice.between(58, 69) * 10 - out * 12).into();
        }
        if self.dice.chance(500) {
            body["pour_seconds"] = self.dice.between(4, 22).into();
        }
        let mut slip = false;
        match pour.said {
            Said::Weighed => {
                slip = !topped && self.dice.chance(30);
                body["poured_kg"] = kg(if slip { first + 90_000 } else { first });
            }
            Said::Estimated => {
                body["poured_kg"] = kg((pour.poured * self.dice.between(92, 107) / 100 / 100_000).max(1) * 100_000);
                body["poured_basis"] = "estimated".into();
            }
            Said::Nothing => {}
        }
        if leaked > 0 {
            let mut leak = json!({"where": self.dice.word(&["cup", "sprue", "runner", "gate", "vent", "casting"]),
                "response": self.dice.word(&["froze_off", "plugged", "stopped", "none"]), "lost_kg": kg(pour.lost)});
            if pour.swept > 0 {
                leak["swept_kg"] = kg(pour.swept);
            }
            if s.soft {
                leak["note"] = "the shell was soft there; its backup coats are from the tank that gelled".into();
            }
            body["leaks"] = json!([leak]);
        }
        if s.unlogged {
            body["despite"] = json!(["not_on_record"]);
        } else if s.alloy != alloy {
            body["despite"] = json!(["alloy_differs"]);
        }
        self.caller.tick(when);
        let path = format!("/v1/heats/{heat}/pours");
        let made = self.caller.post(Who::Metal, &path, body).await?;
        let id = text(&made, "/id")?;
        if slip {
            self.caller
                .patch(
                    Who::Metal,
                    &format!("/v1/pours/{id}"),
                    json!({"poured_kg": kg(first), "reason": "read the pot before it settled"}),
                )
                .await?;
        }
        if topped && pour.poured > first {
            let mut body = json!({"shell_id": s.tag, "at": at(when + 2 * MINUTE), "support": "buried", "filled": "full", "poured_kg": kg(pour.poured - first), "continues_pour_id": id});
            if s.alloy != alloy {
                body["despite"] = json!(["alloy_differs"]);
            }
            self.caller.tick(when + 2 * MINUTE);
            self.caller.post(Who::Metal, &path, body).await?;
        }
        Ok(())
    }

    /// Closes a heat, so that as much stays unexplained as is chosen here.
    async fn close(&mut self, heat: &str, alloy: usize, charged: i64, pours: &[True], when: i64) -> Result<(), String> {
        let poured: i64 = pours.iter().map(|p| p.poured).sum();
        let dross = self.dice.mass(charged / 200, charged / 60, 10_000);
        let spilled = if self.dice.chance(150) { self.dice.mass(10_000, 120_000, 10_000) } else { 0 };
        let unsure = pours.iter().find(|p| p.unsure).map(|p| p.shell);
        let least = if unsure.is_some() { 0 } else { -charged / 1000 };
        let odd = self.dice.mass(least, charged / 110, 10_000);
        let left = charged - poured - dross - spilled - odd;
        let heel = if left > 1_200_000 && self.dice.chance(120) { 600_000 } else { 0 };
        let pigged = left - heel;
        if pigged < 0 {
            return Err(format!("heat {heat}: {charged} mg charged, {poured} poured"));
        }
        if let Some(shell) = unsure.and_then(|s| self.shells.get_mut(s)) {
            // Nobody weighed that pour: it gets what the heat has left over.
            shell.poured += odd;
        } else {
            self.put_in += odd;
        }
        if let Some(stock) = self.stock.get_mut(alloy) {
            stock.heel = heel;
        }
        let slip = self.dice.chance(40);
        let mut body =
            json!({"at": at(when), "pigged_kg": kg(if slip { pigged + charged / 100 } else { pigged }), "dross_kg": kg(dross)});
        if spilled > 0 {
            body["spilled_kg"] = kg(spilled);
        }
        if heel > 0 {
            body["heel_kg"] = kg(heel);
        }
        if alloy == 2 {
            body["fuel_kwh"] = self.dice.between(14, 26).into();
        } else {
            body["fuel_kg"] = self.dice.between(6, 13).into();
        }
        self.caller.tick(when);
        let made = self.caller.post(Who::Metal, &format!("/v1/heats/{heat}/closings"), body).await?;
        if slip {
            let path = format!("/v1/closings/{}", text(&made, "/id")?);
            self.caller.patch(Who::Metal, &path, json!({"pigged_kg": kg(pigged), "reason": "mould weighed along"})).await?;
        }
        let minutes = self.dice.between(90, 200);
        let body = json!({"at": at(when), "operation": "melt", "minutes": minutes, "hand": "Isa Quill"});
        self.caller.post(Who::Metal, &format!("/v1/heats/{heat}/work"), body).await.map(drop)
    }
}
