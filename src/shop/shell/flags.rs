//! Practice flags of coats: not dry, viscosity or room outside the recipe.

use super::store;
use crate::book::flags::{self, Flag};
use crate::book::story::{self, Line, Story};
use crate::db::WriteTx;
use crate::kernel::{Instant, Kind, Problem, Seq};
use crate::shop::house::settings::{self, Settings};
use serde_json::Value;
use std::pin::Pin;

/// The settler of the flags of coats.
pub fn settle<'t>(tx: &'t mut WriteTx) -> Pin<Box<dyn Future<Output = Result<(), Problem>> + Send + 't>> {
    Box::pin(async move {
        let story = story::touched(tx).await?;
        let mut settled = Vec::new();
        for shell in story.shells() {
            settled.extend(of_shell(&story, shell));
        }
        flags::write(tx, &settled);
        let batches = tx.touched(Kind::SlurryBatch);
        // Only what a turn says of coats, or of the batches themselves, changes these flags.
        let said: Vec<Seq> = tx.acting().iter().filter(|a| matches!(a.kind, Kind::Coat | Kind::Shell)).map(|a| a.seq).collect();
        let said = |l: &Line| said.contains(&l.seq) || said.contains(&l.shell);
        let in_batch = |l: &&Line| l.kind == Kind::Coat && said(l) && l.body["slurry_batch_id"].is_string();
        let coats: Vec<Seq> = story.lines.iter().filter(in_batch).map(|l| l.seq).collect();
        if !batches.is_empty() || !coats.is_empty() {
            let lines = store::batch_lines(tx, &batches, &coats).await?;
            let settings = settings::of(tx).await?;
            flags::write_codes(tx, &["slurry_check_overdue"], &overdue(&lines, &settings));
        }
        Ok(())
    })
}

/// Coats from a batch whose last check was too long ago; a batch that was never checked is
/// not flagged: that nothing is on record says so itself.
fn overdue(lines: &[(Seq, Instant, Seq)], settings: &Settings) -> Vec<(Seq, Vec<Flag>)> {
    let mut checked: Option<(Seq, Instant)> = None;
    let mut out = Vec::new();
    for &(batch, at, coat) in lines {
        if coat == 0 {
            checked = Some((batch, at));
            continue;
        }
        let limit = settings.number("slurry_check_hours", at);
        let since = checked.filter(|(of, _)| *of == batch).map(|(_, last)| at.hours_since(last));
        let late = since.filter(|hours| *hours > limit);
        let flag = late.map(|hours| Flag::new("slurry_check_overdue", format!("{limit} h"), format!("{hours:.0} h")));
        out.push((coat, flag.into_iter().collect()));
    }
    out
}

/// The flags of every coat of a shell: (record, flags).
#[must_use]
pub fn of_shell(story: &Story, shell: Seq) -> Vec<(Seq, Vec<Flag>)> {
    let recipe = recipe_of(story, shell);
    let coats: Vec<&Line> = story.on_shell(shell).into_iter().filter(|l| l.kind == Kind::Coat).collect();
    coats
        .iter()
        .enumerate()
        .map(|(n, coat)| {
            let mut flags = Vec::new();
            if let Some(before) = n.checked_sub(1).and_then(|b| coats.get(b)) {
                let dry = recipe.and_then(|r| r["coats"][n - 1]["dry_hours"].as_f64());
                let had = coat.at.hours_since(before.at);
                if let Some(dry) = dry
                    && had < dry
                    && coat.precision == before.precision
                {
                    flags.push(Flag::new("coat_not_dry", format!("{dry} h"), format!("{had:.1} h")));
                }
            }
            if let Some(planned) = recipe.map(|r| &r["coats"][n]) {
                window(&mut flags, "viscosity_outside", planned, coat, "viscosity_s", "s");
                window(&mut flags, "humidity_outside", planned, coat, "humidity_percent", "%");
                window(&mut flags, "room_outside", planned, coat, "room_c", "°C");
            }
            (coat.seq, flags)
        })
        .collect()
}

fn window(flags: &mut Vec<Flag>, code: &'static str, planned: &Value, coat: &Line, member: &str, unit: &str) {
    let (low, high) = (planned[member]["low"].as_f64(), planned[member]["high"].as_f64());
    if let (Some(low), Some(high), Some(was)) = (low, high, coat.body[member].as_f64())
        && !(low..=high).contains(&was)
    {
        flags.push(Flag::new(code, format!("{low} to {high} {unit}"), format!("{was} {unit}")));
    }
}

/// The body of the recipe version a shell used.
#[must_use]
pub fn recipe_of(story: &Story, shell: Seq) -> Option<&Value> {
    let id = story.shell(shell)?.body["recipe_version_id"].as_str()?;
    story.context(id).map(|c| &c.body)
}

/// The hours that a coat leaves before what follows: of the recipe's coat, or the final
/// drying after the last one.
#[must_use]
pub fn final_dry_hours(story: &Story, shell: Seq) -> Option<f64> {
    recipe_of(story, shell)?["final_dry_hours"].as_f64()
}
