//! Leaks, shorts and defects: rates with counts and intervals.

use super::ask::{Ask, Unit};
use super::evidence::{self, OfLevels};
use super::factor::{self, Factor, Shown};
use super::store::{self, Counted, Rests};
use crate::db::ReadTx;
use crate::kernel::{Instant, Mass, Problem};
use crate::science::statistics::{Rate, Waiting};
use crate::shop::house::{settings, trade};
use serde_json::{Map, Value, json};

/// What levels rest on: bands and months of the shop, liquidus of the trade's tables.
///
/// # Errors
/// As the database says.
pub async fn rests(read: &mut ReadTx, ask: &Ask, now: Instant) -> Result<Rests, Problem> {
    let settings = settings::of(read).await?;
    let mut out = Rests { edges: factor::edges(&settings, ask, now), months: json!([]), liquidus: json!({}) };
    if ask.factor == Factor::Month
        && let Some((first, last)) = store::reach(read).await?
    {
        out.months = factor::months(&settings, first, last);
    }
    if ask.factor == Factor::Superheat {
        out.liquidus = liquidus(read).await?;
    }
    Ok(out)
}

/// The liquidus in °C of each alloy that has one in the trade's tables.
///
/// # Errors
/// As the database says.
pub async fn liquidus(read: &mut ReadTx) -> Result<Value, Problem> {
    let trade = trade::of(read).await?;
    let known: Map<String, Value> =
        trade.alloys.iter().filter_map(|a| a.liquidus_c.map(|c| (a.designation.clone(), c.into()))).collect();
    Ok(Value::Object(known))
}

/// The levels of some counts, with their names, in order.
///
/// # Errors
/// As the database says.
pub async fn levels(
    read: &mut ReadTx,
    ask: &Ask,
    rests: &Rests,
    counted: Vec<Counted>,
) -> Result<Vec<(Shown, Counted)>, Problem> {
    let seqs: Vec<i64> = counted.iter().filter_map(|c| c.level.as_deref()?.parse().ok()).collect();
    let names = store::names(read, ask.factor, &seqs).await?;
    let mut out: Vec<(Shown, Counted)> =
        counted.into_iter().map(|c| (Shown::new(ask.factor, c.level.as_deref(), &rests.edges, &names), c)).collect();
    out.sort_by(|(a, _), (b, _)| a.key().cmp(&b.key()));
    Ok(out)
}

/// What every report says of itself: factor, filters, bands, counting in several levels.
#[must_use]
pub fn frame(ask: &Ask, rests: &Rests) -> Map<String, Value> {
    let mut out = Map::new();
    out.insert("by".into(), ask.factor.name().into());
    out.insert("filters".into(), ask.said());
    out.insert("interval".into(), "Wilson, 95 %".into());
    if let Some((setting, unit)) = ask.factor.bands() {
        out.insert("bands".into(), json!({"edges": rests.edges, "unit": unit, "setting": setting}));
    }
    if ask.factor.several() {
        out.insert("counts_in_several".into(), true.into());
    }
    out
}

/// What is waiting beside a rate of bad ones. With nothing observed and nothing waiting there
/// are no extremes.
fn waiting(bad: u32, of: u32, count: u32) -> Value {
    Waiting::of_bad(bad, of, count).map_or_else(|| json!({"count": count}), |w| json!(w))
}

/// Adds a rate with its interval; none where nothing was observed.
pub fn put_rate(row: &mut Value, count: u32, of: u32) {
    if let Some(rate) = Rate::new(count, of) {
        row["rate"] = rate.rate.into();
        row["low"] = rate.low.into();
        row["high"] = rate.high.into();
    }
}

/// A rate report: `leaks`, `shorts` or `defects`.
///
/// # Errors
/// As the database says.
pub async fn report(read: &mut ReadTx, ask: &Ask, outcome: &'static str, now: Instant) -> Result<Value, Problem> {
    let by_month = store::months::tell(read, ask, outcome).await?;
    // Levels that are counted by month rest on nothing besides.
    let rests = if by_month { Rests::default() } else { rests(read, ask, now).await? };
    let count = store::rate_of(outcome, ask);
    let query = |factor| {
        if by_month { store::months::counting(ask, outcome, factor) } else { store::counting(ask, &count, factor, &rests) }
    };
    let by_level = store::fetch(read, query(Some(ask.factor))).await?;
    let mut all = store::fetch(read, query(None)).await?;
    let all = all.pop().ok_or_else(|| Problem::internal("no totals"))?;
    let counted: u32 = by_level.iter().map(|c| c.count(0)).sum();
    let together = if all.count(0) > 0 { evidence::of_report(read, ask, outcome, now).await? } else { OfLevels::default() };
    let mut rows = Vec::new();
    for (shown, counted) in levels(read, ask, &rests, by_level).await? {
        let mut row = shown.row();
        fill(&mut row, outcome, ask, &counted);
        if let (Some(more), Value::Object(row)) = (together.by_level.get(&counted.level), &mut row) {
            row.extend(more.clone());
        }
        rows.push(row);
    }
    let mut overall = json!({});
    fill(&mut overall, outcome, ask, &all);
    let mut out = frame(ask, &rests);
    if outcome != "defects" {
        out.insert("unit".into(), if ask.unit == Unit::Shell { "shell" } else { "casting" }.into());
    }
    if ask.factor == Factor::Kiln && counted < all.count(0) {
        out.insert("left_out".into(), json!({"count": all.count(0) - counted, "why": "their firing is not on record"}));
    }
    out.insert("rows".into(), rows.into());
    let (bad, of) = (all.count(1), all.count(0));
    let waits = if outcome == "defects" {
        store::fetch(read, store::counting(ask, &store::UNOPENED, None, &rests)).await?.first().map_or(0, |c| c.count(0))
    } else {
        let unpoured = store::fetch(read, store::unpoured(ask)).await?;
        unpoured.first().map_or(0, |c| c.count(usize::from(ask.unit == Unit::Casting)))
    };
    out.insert("waiting".into(), waiting(bad, of, waits));
    out.insert("overall".into(), overall);
    out.extend(together.more);
    if outcome == "defects" {
        out.insert("pareto".into(), pareto(read, ask).await?);
    }
    Ok(Value::Object(out))
}

fn fill(row: &mut Value, outcome: &str, ask: &Ask, counted: &Counted) {
    let (of, count) = (counted.count(0), counted.count(1));
    match outcome {
        "leaks" => {
            row["poured"] = of.into();
            row["leaked"] = count.into();
        }
        "shorts" => {
            row["poured"] = of.into();
            row["short"] = count.into();
        }
        _ => {
            row["seen"] = of.into();
            row["count"] = count.into();
            row["findings"] = counted.count(2).into();
            if of > 0 {
                row["findings_per_casting"] = (counted.sum(2) / f64::from(of)).into();
            }
        }
    }
    put_rate(row, count, of);
    if outcome == "leaks" && ask.unit == Unit::Shell {
        row["lost_kg"] = kg(counted.sum(2)).into();
    }
}

/// A sum of milligrams in kilograms.
#[must_use]
#[expect(clippy::cast_possible_truncation, reason = "sums of masses lie far within 2^53 mg")]
pub fn kg(mg: f64) -> f64 {
    Mass::from_mg(mg.round() as i64).kg()
}

/// Findings by code, most first: how many, on how many castings, their share of all, and the
/// share of all down to here.
async fn pareto(read: &mut ReadTx, ask: &Ask) -> Result<Value, Problem> {
    let trade = trade::of(read).await?;
    let found = store::fetch(read, store::pareto(ask)).await?;
    let all: f64 = found.iter().map(|c| c.sum(0)).sum();
    let mut so_far = 0.0;
    let rows: Vec<Value> = found
        .iter()
        .map(|c| {
            so_far += c.sum(0);
            let code = c.level.as_deref().unwrap_or_default();
            let name = trade.defect(code).map_or(code, |d| &d.name);
            json!({"code": code, "name": name, "count": c.count(0), "castings": c.count(1), "share": c.sum(0) / all, "cumulative": so_far / all})
        })
        .collect();
    Ok(rows.into())
}
