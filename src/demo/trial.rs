//! A trial half way: shells buried in sand against shells on the open rack, a pair a pour day from the middle
//! of the record on. It throws no dice of the shop's: the coin is the book's own, and the sand does
//! nothing here, which nobody in this shop can know.

use super::caller::{Who, at, text};
use super::shop::{DAY, Shop};
use super::{BEGINS, ENDS};
use serde_json::json;

/// From when on.
const FROM: i64 = BEGINS + 560 * DAY;
/// The pair of which one shell is poured otherwise than the coin said.
const OTHERWISE: i64 = 7;
/// From here on two pairs a day: of the second the shells are still in the kiln room when the book ends.
const LAST: i64 = ENDS - DAY;
/// The pair that is void.
const VOID: i64 = 12;

impl Shop {
    /// Pairs shells to be poured, where two of them are alike.
    pub async fn pair(&mut self, shells: &[usize], now: i64) -> Result<(), String> {
        for _ in 0..if now > LAST { 2 } else { 1 } {
            self.pair_two(shells, now).await?;
        }
        Ok(())
    }

    async fn pair_two(&mut self, shells: &[usize], now: i64) -> Result<(), String> {
        if now < FROM {
            return Ok(());
        }
        self.caller.tick(now);
        if self.trial.is_empty() {
            let body = json!({"name": "Sand or the open rack", "factor": "support", "a": "buried", "b": "open_rack", "outcome": "leak",
                "worth_knowing": 0.1, "max_pairs": 200, "at": at(now), "notes": "does burying a shell keep it from leaking?"});
            self.trial = text(&self.caller.post(Who::Owner, "/v1/trials", body).await?, "/id")?;
        }
        let mine: Vec<(usize, String)> =
            shells.iter().filter_map(|s| self.shells.get(*s).map(|known| (*s, known.tag.clone()))).collect();
        let ready = self.caller.get(&format!("/v1/trials/{}/ready", self.trial)).await?;
        let alike = ready["strata"].as_array().into_iter().flatten().find_map(|stratum| {
            let tags = stratum["shells"].as_array()?.iter().filter_map(|s| s["tag"].as_str());
            let mut here = tags.filter(|tag| mine.iter().any(|(_, known)| known == tag));
            Some([here.next()?.to_owned(), here.next()?.to_owned()])
        });
        let Some(alike) = alike else { return Ok(()) };
        let body = json!({"shell_ids": alike, "at": at(now)});
        let made = self.caller.post(Who::Shell, &format!("/v1/trials/{}/pairs", self.trial), body).await?;
        if made["n"] == VOID {
            let path = format!("/v1/trial-pairs/{}/void", text(&made, "/id")?);
            let body = json!({"reason": "one of the two was knocked on the way to the pit"});
            return self.caller.post(Who::Shell, &path, body).await.map(drop);
        }
        for assigned in made["assignments"].as_array().into_iter().flatten() {
            let (tag, a) = (assigned["tag"].as_str().unwrap_or_default(), assigned["arm"] == "a");
            let stands = match (a, made["n"] == OTHERWISE) {
                (true, true) => "half_buried",
                (true, false) => "buried",
                _ => "open_rack",
            };
            self.stands.extend(mine.iter().find(|(_, known)| known == tag).map(|(shell, _)| (*shell, stands)));
        }
        Ok(())
    }
}
