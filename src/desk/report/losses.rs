//! What was lost: castings by stage or by cause, and metal by sink.
//!
//! * A casting is lost when it is given up at any stage, judged scrap, or lost with its shell;
//!   its time is when it came to that. It counts once.
//! * The stage is the one it stood at, or the one said with its scrapping; lost in the kiln is
//!   burnout, judged scrap at the opening is breakout.
//! * The cause is the category said when it was given up; without one its gravest finding
//!   (ties by code), else that its shell was lost, else it was not said.
//! * `kg` is its net, or where it was never weighed its share of what was poured. `hours` are
//!   those booked on the casting itself. `recast_minor` is the metal value that rests on it,
//!   as in the cost of a job.
//! * `metal_lost` is what went into each sink in the time asked for, less what was found
//!   again; it is left out when the report is narrowed to a recipe, pattern or commission.

use super::ask::{self, malformed};
use super::heat_balances::said;
use super::store::lost::{self, LostCasting, Which};
use crate::db::ReadTx;
use crate::kernel::{Kind, Mass, Money, Problem, Seq};
use crate::science::ledger::Account;
use crate::shop::casting::{self, route::Stage};
use crate::shop::house::trade::{self, Trade};
use crate::web::Ctx;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// What it may be counted by.
pub const BY: &[&str] = &["stage", "cause"];
/// Its filters.
pub const FILTERS: &[&str] = &["from", "to", "alloy", "recipe", "pattern", "commission"];
/// The most castings that a row names.
const NAMED: usize = 200;

/// Where a row stands, its level, and what it is in words.
type Level = (usize, String, String);

fn of_stage(lost: &LostCasting, stood: Option<Stage>) -> Level {
    let said = lost.cause.as_ref().and_then(|(_, stage)| stage.as_deref());
    let stage = Stage::ALL.into_iter().find(|s| said == Some(s.name())).or(stood);
    let name = stage.map_or("not_on_record", Stage::name);
    let place = Stage::ALL.iter().position(|s| s.name() == name).unwrap_or(usize::MAX);
    (place, name.to_owned(), name.replace('_', " "))
}

fn of_cause(lost: &LostCasting, stood: Option<Stage>, trade: &Trade) -> Level {
    if let Some((category, _)) = &lost.cause {
        return (0, category.clone(), category.replace('_', " "));
    }
    if let Some(code) = &lost.finding {
        return (1, code.clone(), trade.defect(code).map_or_else(|| code.clone(), |d| d.name.clone()));
    }
    if stood == Some(Stage::Burnout) {
        return (2, "shell_lost".to_owned(), "its shell was lost".to_owned());
    }
    (3, "not_said".to_owned(), "not said".to_owned())
}

#[expect(clippy::cast_precision_loss, reason = "shown as a share of castings")]
fn row(level: &Level, of: &[&LostCasting], all: usize) -> Value {
    let mass: Mass = of.iter().map(|l| l.mass).sum();
    let value: Money = of.iter().map(|l| l.value).sum();
    let behind: Vec<Value> = of
        .iter()
        .take(NAMED)
        .map(|l| json!({"id": l.id.to_string(), "tag": l.tag, "href": format!("/v1/castings/{}", l.tag), "at": l.at.to_string()}))
        .collect();
    json!({
        "level": level.1, "label": level.2, "castings": of.len(), "kg": mass.kg(), "recast_minor": value.minor(),
        "hours": of.iter().map(|l| l.minutes).fold(0.0, |a, b| a + b) / 60.0, "share": of.len() as f64 / all as f64, "behind": behind,
    })
}

/// The report.
///
/// # Errors
/// `malformed`, `not-found`; as the database says.
pub async fn report(read: &mut ReadTx, ctx: &Ctx) -> Result<Value, Problem> {
    let given = ctx.param("by").unwrap_or_default();
    let by = *BY.iter().find(|b| **b == given).ok_or_else(|| malformed("The parameter by is stage or cause.".into()))?;
    let trade = trade::of(read).await?;
    let which = Which {
        from: ask::instant(ctx, "from")?,
        to: ask::instant(ctx, "to")?,
        alloy: ask::alloy(ctx, &trade)?,
        recipe: ask::found(read, ctx, "recipe", Kind::Recipe).await?,
        pattern: ask::found(read, ctx, "pattern", Kind::Pattern).await?,
        commission: ask::found(read, ctx, "commission", Kind::Commission).await?,
    };
    let lost = lost::castings(read, &which).await?;
    let seqs: Vec<Seq> = lost.iter().map(|l| l.seq).collect();
    let stood = casting::stood(read, &seqs, None).await?;
    let mut levels: BTreeMap<Level, Vec<&LostCasting>> = BTreeMap::new();
    for one in &lost {
        let at = stood.get(&one.seq).and_then(|walked| walked.lost_at);
        let level = if by == "stage" { of_stage(one, at) } else { of_cause(one, at, &trade) };
        levels.entry(level).or_default().push(one);
    }
    let mut rows: Vec<(Level, Vec<&LostCasting>)> = levels.into_iter().collect();
    if by == "cause" {
        // Most first, ties by name.
        rows.sort_by_key(|(level, of)| (std::cmp::Reverse(of.len()), level.clone()));
    }
    let rows: Vec<Value> = rows.iter().map(|(level, of)| row(level, of, lost.len())).collect();
    let mass: Mass = lost.iter().map(|l| l.mass).sum();
    let value: Money = lost.iter().map(|l| l.value).sum();
    let overall = json!({"castings": lost.len(), "kg": mass.kg(), "recast_minor": value.minor(),
                         "hours": lost.iter().map(|l| l.minutes).fold(0.0, |a, b| a + b) / 60.0});
    let mut out = json!({"by": by, "filters": said(ctx, FILTERS), "rows": rows, "overall": overall});
    if !which.of_castings() {
        let sinks = lost::sinks(read, &which).await?;
        let name = |kind: i64| u8::try_from(kind).ok().and_then(|k| Account::from_code(k, None)).map_or("", Account::name);
        out["metal_lost"] = sinks.iter().map(|(kind, mass)| json!({"sink": name(*kind), "mass_kg": mass.kg()})).collect();
    }
    Ok(out)
}
