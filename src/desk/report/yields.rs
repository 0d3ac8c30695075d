//! Yields, as the design fixes them.
//!
//! What the definitions leave open:
//! * A heat's time is its first pour; what a factor splits of it is shared by poured mass,
//!   for all figures of heats. A heat that poured nothing counts where the factor is one of
//!   heats.
//! * What was never weighed is in no figure that needs the weight: a casting without a net is
//!   not in pouring yield, and a good one not in good yield; a heat with such a good casting
//!   is not in metal yield.
//! * Lost, for first-pass yield: with its shell, or given up once it was in one.
//! * A stage of the route that no casting has come through is not in the product; `route`
//!   says which are.

use super::ask::Ask;
use super::rates::{frame, kg, levels, put_rate, rests};
use super::store::{self, Counted};
use crate::db::ReadTx;
use crate::kernel::{Instant, Problem};
use crate::science::statistics::{Stage, Waiting, rolled_throughput};
use serde_json::{Value, json};
use std::collections::BTreeMap;

const STAGES: [&str; 5] = ["shell", "burnout", "pour", "breakout", "bench"];
/// Where the marks of the stages begin among the counts of castings.
const MARKS_FROM: usize = 8;

/// The report.
///
/// # Errors
/// As the database says.
pub async fn report(read: &mut ReadTx, ask: &Ask, now: Instant) -> Result<Value, Problem> {
    let rests = rests(read, ask, now).await?;
    let factor = Some(ask.factor);
    let marks = store::fetch(read, store::counting(ask, &store::MARKS, factor, &rests)).await?;
    let heats = store::fetch(read, store::heats(ask, factor, &rests)).await?;
    let mut cells: BTreeMap<Option<String>, (Option<Counted>, Option<Counted>)> = BTreeMap::new();
    for counted in &marks {
        cells.entry(counted.level.clone()).or_default().0 = Some(counted.clone());
    }
    for counted in &heats {
        cells.entry(counted.level.clone()).or_default().1 = Some(counted.clone());
    }
    let all: Vec<Counted> = cells.keys().map(|level| Counted { level: level.clone(), sums: Vec::new() }).collect();
    let mut rows = Vec::new();
    for (shown, counted) in levels(read, ask, &rests, all).await? {
        let mut row = shown.row();
        let (marks, heats) = cells.remove(&counted.level).unwrap_or_default();
        fill(&mut row, marks.as_ref(), heats.as_ref());
        rows.push(row);
    }
    let marks = store::fetch(read, store::counting(ask, &store::MARKS, None, &rests)).await?;
    let heats = store::fetch(read, store::heats(ask, None, &rests)).await?;
    let mut overall = json!({});
    fill(&mut overall, marks.first(), heats.first());
    let mut out = frame(ask, &rests);
    out.insert("rows".into(), rows.into());
    let waiting = marks.first().map_or_else(
        || json!({"count": 0}),
        |m| {
            let count = m.count(7);
            Waiting::of_good(m.count(6), m.count(5), count).map_or_else(|| json!({"count": count}), |w| json!(w))
        },
    );
    out.insert("waiting".into(), waiting);
    out.insert("overall".into(), overall);
    Ok(Value::Object(out))
}

/// Puts the figures that are defined; a figure over nothing is left out.
fn fill(row: &mut Value, marks: Option<&Counted>, heats: Option<&Counted>) {
    let none = Counted { level: None, sums: Vec::new() };
    let (marks, heats) = (marks.unwrap_or(&none), heats.unwrap_or(&none));
    row["heats"] = heats.count(0).into();
    row["castings"] = marks.count(0).into();
    let mut part = |name: &str, above: f64, below: f64| {
        if below > 0.0 {
            row[name] = (above / below).into();
        }
    };
    part("charge_recovery", heats.sum(2), heats.sum(1));
    part("melt_loss", heats.sum(3), heats.sum(1));
    part("pouring_yield", marks.sum(1), marks.sum(2));
    part("good_yield", marks.sum(3), marks.sum(4));
    part("metal_yield", heats.sum(5), heats.sum(4));
    if heats.count(0) > 0 {
        row["charged_kg"] = kg(heats.sum(1)).into();
        row["poured_kg"] = kg(heats.sum(2)).into();
    }
    let (of, count) = (marks.count(5), marks.count(6));
    if of > 0 {
        row["first_pass_yield"] = (f64::from(count) / f64::from(of)).into();
        let mut first = json!({"of": of, "count": count});
        put_rate(&mut first, count, of);
        row["first_pass"] = first;
    }
    let stages: Vec<(&str, Stage)> = STAGES
        .iter()
        .enumerate()
        .map(|(n, name)| {
            let at = MARKS_FROM + 2 * n;
            (*name, Stage { entered: marks.count(at), right_first_time: marks.count(at + 1) })
        })
        .filter(|(_, stage)| stage.entered > 0)
        .collect();
    let counts: Vec<Stage> = stages.iter().map(|(_, stage)| *stage).collect();
    if let Some(rolled) = rolled_throughput(&counts) {
        row["rolled_throughput_yield"] = rolled.rolled.into();
        let route: Vec<Value> = stages
            .iter()
            .map(|(name, stage)| json!({"stage": name, "entered": stage.entered, "clean": stage.right_first_time}))
            .collect();
        row["route"] = route.into();
    }
}
