//! Quotes of the demonstration shop: some taken, some not, one of an edition of eight with two proofs that
//! is followed to its end. They throw no dice of the shop's.

use super::caller::{Who, at, text};
use super::shop::{ALLOYS, DAY, HOUR, Shop};
use serde_json::{Value, json};

/// Commissions after which the next fit one begins with a quote, and by what that is remembered.
const QUOTED: [(usize, &str); 3] = [(24, "the first quote"), (EDITION, "the edition quoted"), (96, "the last quote")];
/// The one of them that is an edition.
const EDITION: usize = 44;

/// A quote that came to nothing.
struct Lost {
    /// After so many commissions.
    after: usize,
    what: &'static str,
    mass_kg: f64,
    section_mm: f64,
    copies: i64,
    /// Why it was not taken; nothing: no word came, and it lapsed.
    why: &'static str,
}

const LOST: [Lost; 4] = [
    Lost { after: 34, what: "Door handles, a pair of herons", mass_kg: 1.4, section_mm: 5.0, copies: 2, why: "price" },
    Lost { after: 62, what: "Plaque for a lock-keeper", mass_kg: 6.5, section_mm: 7.0, copies: 1, why: "" },
    Lost { after: 88, what: "Running hare, small", mass_kg: 2.2, section_mm: 5.0, copies: 6, why: "another caster" },
    Lost { after: 106, what: "Sundial plate", mass_kg: 9.0, section_mm: 8.0, copies: 1, why: "price" },
];

impl Shop {
    /// What is quoted and not taken, as the shop goes on.
    pub async fn quotes_lost(&mut self, now: i64) -> Result<(), String> {
        let Some(lost) = LOST.iter().find(|lost| lost.after == self.commissions) else { return Ok(()) };
        let client = self.clients.get(lost.after % self.clients.len().max(1)).cloned().unwrap_or_default();
        let body = json!({"what": lost.what, "mass_kg": lost.mass_kg, "section_mm": lost.section_mm, "alloy": "C87300", "copies": lost.copies,
            "client_id": client, "at": at(now), "seed": lost.after.to_string()});
        let made = self.caller.post(Who::Owner, "/v1/quotes", body).await?;
        let path = format!("/v1/quotes/{}", text(&made, "/id")?);
        self.caller.post(Who::Owner, &format!("{path}/send"), json!({"at": at(now)})).await?;
        if !lost.why.is_empty() {
            self.caller.post(Who::Owner, &format!("{path}/decline"), json!({"at": at(now), "reason": lost.why})).await?;
        }
        Ok(())
    }

    /// Whether this commission begins with a quote: how many copies and proofs, where it does.
    pub fn quoted(&mut self, pattern: usize, fit: bool, copies: i64) -> Option<(i64, i64)> {
        let (after, name) =
            QUOTED.iter().find(|(after, name)| self.commissions >= *after && !self.once.contains(name)).copied()?;
        let edition = after == EDITION;
        // The marks of an edition are dealt once.
        let fresh = self.patterns.get(pattern).is_some_and(|known| known.marks == 0);
        if !fit || (edition && !fresh) {
            return None;
        }
        self.once.push(name);
        Some(if edition { (8, 2) } else { (copies, 0) })
    }

    /// Quotes a job, has it accepted, and answers the number of the commission and its pieces.
    pub async fn quote_and_accept(
        &mut self,
        title: &str,
        client: Option<&str>,
        (pattern, alloy): (usize, usize),
        (copies, proofs): (i64, i64),
        now: i64,
    ) -> Result<(String, Vec<Value>), String> {
        let id = self.pattern(pattern).map_or_else(String::new, |p| p.id.clone());
        let mut body = json!({"title": title, "at": at(now), "seed": self.commissions.to_string(), "lines": [{
            "pattern_id": id, "alloy": ALLOYS.get(alloy).map_or("", |a| a.code), "copies": copies, "proofs": proofs, "mould": "existing"}]});
        if let Some(client) = client {
            body["client_id"] = client.into();
        }
        if proofs > 0 {
            body["opening"] =
                "Thank you for showing us the figure. We would cast it as an edition from the mould that is here.".into();
        }
        let made = self.caller.post(Who::Owner, "/v1/quotes", body).await?;
        let path = format!("/v1/quotes/{}", text(&made, "/id")?);
        self.caller.post(Who::Owner, &format!("{path}/send"), json!({"at": at(now), "whom": "by post"})).await?;
        let accepted = self.caller.post(Who::Owner, &format!("{path}/accept"), json!({"at": at(now)})).await?;
        let job = self.caller.get(&format!("/v1/commissions/{}", text(&accepted, "/commission_id")?)).await?;
        Ok((text(&job, "/number")?, job["pieces"].as_array().cloned().unwrap_or_default()))
    }

    /// What stands open when the book ends.
    pub async fn quotes_open(&mut self, now: i64) -> Result<(), String> {
        self.caller.tick(now);
        let client = self.clients.first().cloned().unwrap_or_default();
        let one = json!({"what": "Gate finial, acorn", "mass_kg": 3.2, "section_mm": 6, "alloy": "C87300", "copies": 4, "client_id": client,
            "at": at(now - 2 * DAY), "seed": "7"});
        let first = self.caller.post(Who::Owner, "/v1/quotes", one.clone()).await?;
        let mut second = one;
        second["revises"] = first["id"].clone();
        second["alloy"] = "A356.0".into();
        second["mass_kg"] = 1.1.into();
        second["what"] = "Gate finial, acorn, in aluminium".into();
        second["at"] = at(now - DAY);
        let made = self.caller.post(Who::Owner, "/v1/quotes", second).await?;
        let path = format!("/v1/quotes/{}/send", text(&made, "/id")?);
        self.caller.post(Who::Owner, &path, json!({"at": at(now - HOUR)})).await?;
        Ok(())
    }
}
