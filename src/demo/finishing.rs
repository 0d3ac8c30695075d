//! From the opened shell to the piece that goes out.

use super::caller::{Who, at, kg};
use super::shop::{Casting, DAY, HOUR, MINUTE, Shell, Shop, Task};
use super::words;
use serde_json::{Value, json};

/// Pieces of so many milligrams and more go in a crate.
const CRATED: i64 = 6_000_000;

impl Shop {
    fn judge(&mut self, shell: &Shell) -> &'static str {
        let (scrap, repair) = if shell.short {
            (550, 300)
        } else if shell.leaked > 0 {
            (260, 240)
        } else {
            (55, 140)
        };
        match self.dice.between(1, 1000) {
            n if n <= scrap => "scrap",
            n if n <= scrap + repair => "repair",
            _ => "accepted",
        }
    }

    fn findings(&mut self, shell: &Shell, verdict: &str) -> Value {
        let mut found = Vec::new();
        let severity = if verdict == "scrap" { "critical" } else { "minor" };
        if shell.short && verdict != "accepted" {
            found.push(json!({"code": "E121", "where": "far from the gate", "severity": severity}));
        }
        if shell.cracked && self.dice.chance(500) {
            found.push(json!({"code": "H01", "severity": "minor"}));
        }
        if verdict != "accepted" || self.dice.chance(90) {
            let (code, place) = self.dice.pick(words::FINDINGS).copied().unwrap_or(("A111", ""));
            found.push(json!({"code": code, "where": place, "severity": if verdict == "scrap" { "major" } else { "minor" }}));
        }
        found.into()
    }

    fn inside(&self, shell: &Shell) -> Vec<(usize, Casting)> {
        shell.castings.iter().filter_map(|c| self.castings.get(*c).cloned().map(|known| (*c, known))).collect()
    }

    /// What goes back as gating once all nets are known.
    fn gating(&self, shell: &Shell) -> i64 {
        shell.gross - shell.saw - self.inside(shell).iter().map(|(_, c)| c.net).sum::<i64>()
    }

    /// Knocks a shell out: a single one in one go or by halves, a tree as a tree.
    pub async fn open_shell(&mut self, shell: usize, now: i64) -> Result<(), String> {
        let Some(s) = self.shells.get(shell).cloned() else { return Ok(()) };
        let inside = self.inside(&s);
        self.work("shells", &s.tag, "knock_off", (10, 40), now - 20 * MINUTE, json!({})).await?;
        let mut judged = Vec::new();
        for (casting, known) in &inside {
            let unique = self.pattern(known.pattern).is_some_and(|p| p.unique);
            // The first two that there is only one of fail: one is made again, one is lost.
            let fails = unique && (self.first("a unique fails") || self.first("another unique fails"));
            let verdict = if fails { "scrap" } else { self.judge(&s) };
            let kept = verdict == "scrap" && self.dice.chance(160);
            let mut one = json!({"casting_id": known.tag, "verdict": verdict, "findings": self.findings(&s, verdict)});
            if kept {
                one["kept"] = true.into();
            }
            judged.push(one);
            if let Some(c) = self.castings.get_mut(*casting) {
                c.verdict = verdict;
                if verdict == "scrap" && !kept {
                    c.mass = 0;
                }
            }
        }
        if inside.len() == 1 && self.dice.chance(700) {
            let Some((_, known)) = inside.first() else { return Ok(()) };
            self.short_way(shell, &s, known, judged.remove(0), now).await?;
        } else {
            let mut body = json!({"at": at(now), "castings": judged, "hands": ["Jory Penhale"]});
            if s.says_gross {
                body["gross_kg"] = kg(s.gross);
            }
            self.caller.post(Who::Metal, &format!("/v1/shells/{}/breakout", s.tag), body).await?;
            let wait = self.dice.between(3, 30);
            self.later(now + wait * HOUR, Task::Cut(shell));
        }
        for (casting, known) in &inside {
            let good = self.castings.get(*casting).is_some_and(|c| c.verdict != "scrap");
            if good {
                let wait = self.dice.between(2, 5) * DAY + self.dice.between(0, 5) * HOUR;
                self.later(now + wait, Task::Bench(*casting, 0));
            } else if !known.gone {
                self.gone(*casting, now);
            }
        }
        Ok(())
    }

    async fn short_way(&mut self, shell: usize, s: &Shell, known: &Casting, mut body: Value, now: i64) -> Result<(), String> {
        let slip = known.net > 400_000 && self.dice.chance(40);
        body["at"] = at(now);
        body["net_kg"] = kg(if slip { known.net - 100_000 } else { known.net });
        body["returned_kg"] = kg(self.gating(s));
        if s.says_gross {
            body["gross_kg"] = kg(s.gross);
        }
        let made = self.caller.post(Who::Metal, "/v1/breakouts", body).await?;
        if slip {
            let path = format!("/v1/breakouts/{}", super::caller::text(&made, "/id")?);
            self.caller.patch(Who::Metal, &path, json!({"net_kg": kg(known.net), "reason": "tray weighed along"})).await?;
        }
        self.complete(shell);
        Ok(())
    }

    /// All is weighed: what the scales do not agree about is now in the open.
    fn complete(&mut self, shell: usize) {
        let Some(s) = self.shells.get(shell).cloned() else { return };
        self.put_in += if s.says_gross { s.odd } else { s.poured - s.leaked - s.gross + s.saw };
    }

    /// Cuts the castings of a shell off.
    pub async fn cut(&mut self, shell: usize, now: i64) -> Result<(), String> {
        let Some(s) = self.shells.get(shell).cloned() else { return Ok(()) };
        let inside = self.inside(&s);
        let count = inside.len();
        let gating = self.gating(&s);
        for (n, (_, known)) in inside.iter().enumerate() {
            let when = now + i64::try_from(n).unwrap_or(0) * 8 * MINUTE;
            let mut body = json!({"at": at(when), "net_kg": kg(known.net)});
            if n + 1 == count {
                body["returned_kg"] = kg(gating);
            }
            self.caller.tick(when);
            self.caller.post(Who::Metal, &format!("/v1/castings/{}/cut-off", known.tag), body).await?;
        }
        self.complete(shell);
        if let Some((_, known)) =
            inside.iter().find(|(c, _)| self.castings.get(*c).is_some_and(|c| c.verdict != "scrap" && !c.gone))
        {
            let tag = known.tag.clone();
            self.work("castings", &tag, "cut_off", (10, 45), now, json!({})).await?;
        }
        Ok(())
    }

    /// A step at the bench; the last one finishes the casting.
    pub async fn bench(&mut self, casting: usize, step: usize, now: i64) -> Result<(), String> {
        let Some(known) = self.castings.get(casting).cloned() else { return Ok(()) };
        match step {
            0 if self.dice.chance(400) => self.work("castings", &known.tag, "blast", (10, 35), now, json!({})).await?,
            1 => {
                self.work("castings", &known.tag, "chase", (30, 260), now, json!({})).await?;
                if self.dice.chance(22) {
                    self.later(now + 2 * HOUR, Task::Scrap(casting));
                    return Ok(());
                }
            }
            2 if known.verdict == "repair" || self.dice.chance(150) => self.weld(casting, &known, now).await?,
            3 if self.dice.chance(650) => {
                let mut used = json!({"material_minor": self.dice.between(100, 900)});
                // A pattern has its finish: the fifth of an edition is to match the first.
                let bronze = known.alloy < 2;
                if let Some(patina) = self.patinas.get(known.pattern % self.patinas.len().max(1)).filter(|_| bronze) {
                    used["patina_id"] = patina.as_str().into();
                }
                self.work("castings", &known.tag, "patina", (20, 150), now, used).await?;
            }
            4 => {
                self.caller.post(Who::Metal, &format!("/v1/castings/{}/finish", known.tag), json!({"at": at(now)})).await?;
                let Some(piece) = self.pieces.get_mut(known.piece) else { return Ok(()) };
                piece.finished += 1;
                if piece.finished == piece.parts {
                    let (id, parts) = (piece.id.clone(), piece.parts);
                    let wait = self.dice.between(2, 24) * DAY;
                    self.later(now + wait, Task::Deliver(known.piece));
                    if parts > 1 {
                        self.join(known.piece, &id, now).await?;
                    }
                }
                return Ok(());
            }
            _ => {}
        }
        let wait = self.dice.between(4, 50) * HOUR;
        self.later(now + wait, Task::Bench(casting, step + 1));
        Ok(())
    }

    async fn weld(&mut self, casting: usize, known: &Casting, now: i64) -> Result<(), String> {
        let rod = self.dice.mass(5_000, 60_000, 1_000);
        let mut more = json!({"rod_kg": kg(rod)});
        if self.dice.chance(500) {
            more["rod_lot_id"] = json!(self.additions.get(known.alloy));
        }
        let mut mass = known.mass + rod;
        if self.dice.chance(650) {
            let off = if known.net > 900_000 && self.first("gain") {
                // The scale shows more than there can be.
                self.put_in -= 20_000;
                -20_000
            } else {
                self.dice.mass(2_000, 20_000, 1_000)
            };
            mass -= off;
            more["mass_after_kg"] = kg(mass);
        }
        if let Some(c) = self.castings.get_mut(casting) {
            c.mass = mass;
        }
        self.work("castings", &known.tag, "weld", (15, 120), now, more).await
    }

    /// Gives a casting up at the bench.
    pub async fn scrap(&mut self, casting: usize, now: i64) -> Result<(), String> {
        let Some(known) = self.castings.get(casting).cloned() else { return Ok(()) };
        let mut body = json!({"at": at(now), "cause": {"category": "bench", "text": "opened up when chased"}, "findings": [{"code": "B221", "severity": "critical"}]});
        if known.mass > 900_000 && self.first("part returned") {
            body["returned_kg"] = kg(known.mass - 100_000);
            self.put_in += 100_000;
        }
        self.caller.post(Who::Metal, &format!("/v1/castings/{}/scrap", known.tag), body).await?;
        self.gone(casting, now);
        Ok(())
    }

    /// Joins the parts of a piece.
    async fn join(&mut self, piece: usize, id: &str, now: i64) -> Result<(), String> {
        let parts: Vec<&str> = self
            .castings
            .iter()
            .filter(|c| c.piece == piece && !c.gone && c.verdict != "scrap")
            .map(|c| c.tag.as_str())
            .collect();
        let body = json!({"at": at(now), "casting_ids": parts, "joint": "weld"});
        self.caller.post(Who::Metal, &format!("/v1/pieces/{id}/assemble"), body).await.map(drop)
    }

    /// Hands a piece over, heavy ones in a crate, those of an edition with a certificate.
    pub async fn deliver(&mut self, piece: usize, now: i64) -> Result<(), String> {
        let Some(known) = self.pieces.get(piece).cloned() else { return Ok(()) };
        let mut body = json!({"at": at(now), "carrier": self.dice.word(words::CARRIERS)});
        let mass: i64 = self.castings.iter().filter(|c| c.piece == piece && !c.gone).map(|c| c.mass).sum();
        if mass >= CRATED {
            // Boards and packing weigh about as much as a third of what is in them.
            let side = 300 + mass / 100_000;
            body["crate_mm"] = json!({"x": side, "y": side, "z": side * 3 / 2});
            body["gross_kg"] = kg(mass + mass / 3 / 10_000 * 10_000);
            body["receipt"] = "signed on the consignment note".into();
        }
        self.caller.post(Who::Owner, &format!("/v1/pieces/{}/deliver", known.id), body).await?;
        if known.mark.is_empty() {
            return Ok(());
        }
        let body = json!({"at": at(now), "signed_by": "Maren Tollick", "number": format!("{} of {}", known.mark, self.castings.iter().find(|c| c.piece == piece).map_or("", |c| c.tag.as_str()))});
        self.caller.post(Who::Owner, &format!("/v1/pieces/{}/certificate", known.id), body).await?;
        if self.first("no more") {
            let body = json!({"at": at(now), "fate": "destroyed", "told_by": "the carrier: the van burnt out on the way"});
            self.caller.post(Who::Owner, &format!("/v1/pieces/{}/loss", known.id), body).await?;
        }
        Ok(())
    }
}
