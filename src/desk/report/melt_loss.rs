//! Metal lost in melting, by what may bear on it.
//!
//! Over closed heats in which metal was charged; a heat's time is its closing.
//! * `melt_loss` is (charged − poured − pigged − heel − spilled) ∕ charged, as sums over heats;
//!   `dross_share` is dross ∕ charged, a part of it.
//! * Heats are the sampled units: the interval is that of a ratio of sums (see
//!   `science::statistics::ratio`), and there is none of fewer than two heats.
//! * What a heat closed by difference poured was found by taking its melt loss for its dross:
//!   it says nothing of the melt loss. Such heats are counted apart, in `by_difference`, and
//!   are in no figure.
//! * `charge_kind` is what went into the pot: `ingot`, `returns` or `mixed` of both, a heel
//!   counting as returns; `with_additions` as soon as an addition was charged too.

use super::ask::malformed;
use super::factor::months;
use super::heat_balances::{FILTERS, closed, said, which};
use super::store::closed::{ClosedHeat, Thing};
use crate::db::ReadTx;
use crate::kernel::{Instant, Mass, Problem};
use crate::science::statistics::{ratio, ratio_interval};
use crate::shop::house::settings::{self, Settings};
use crate::web::Ctx;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// What it may be counted by.
pub const BY: &[&str] = &["furnace", "alloy", "charge_kind", "crucible", "month"];

/// A level: its name, absent where it is not on record, and its id.
type Level = (Option<String>, Option<String>);

fn level(by: &str, heat: &ClosedHeat, settings: &Settings) -> Level {
    let named = |thing: &Thing| (Some(thing.name.clone()), Some(thing.id.to_string()));
    match by {
        "furnace" => named(&heat.furnace),
        "crucible" => heat.crucible.as_ref().map_or((None, None), named),
        "alloy" => (Some(heat.alloy.clone()), None),
        "charge_kind" => (Some(charge_kind(heat).to_owned()), None),
        _ => (Some(settings.month(heat.at)), None),
    }
}

/// What a heat may have been charged with.
pub const CHARGE_KINDS: &[&str] = &["ingot", "returns", "mixed", "with_additions"];

/// What went into the pot of a heat; one of [`CHARGE_KINDS`].
pub fn charge_kind(heat: &ClosedHeat) -> &'static str {
    let has = |kind: &str| heat.kinds.iter().any(|k| k == kind);
    match (has("addition"), has("ingot"), has("returns")) {
        (true, ..) => "with_additions",
        (_, true, true) => "mixed",
        (_, false, true) => "returns",
        _ => "ingot",
    }
}

#[expect(clippy::cast_precision_loss, reason = "masses lie far below 2^53 mg")]
fn pairs(of: &[&ClosedHeat], lost: fn(&ClosedHeat) -> Mass) -> Vec<(f64, f64)> {
    of.iter().map(|h| (lost(h).mg() as f64, h.charged.mg() as f64)).collect()
}

fn melt_loss(h: &ClosedHeat) -> Mass {
    h.charged - h.poured - h.pigged - h.heel - h.spilled
}

/// The figures of some heats.
fn fill(row: &mut Value, of: &[&ClosedHeat]) {
    let weighed: Vec<&ClosedHeat> = of.iter().copied().filter(|h| !h.by_difference).collect();
    let sum = |list: &[&ClosedHeat]| list.iter().map(|h| h.charged).sum::<Mass>().kg();
    row["heats"] = weighed.len().into();
    row["charged_kg"] = sum(&weighed).into();
    let apart: Vec<&ClosedHeat> = of.iter().copied().filter(|h| h.by_difference).collect();
    row["by_difference"] = json!({"heats": apart.len(), "charged_kg": sum(&apart)});
    let lost = pairs(&weighed, melt_loss);
    let dross = pairs(&weighed, |h| h.dross);
    for (name, low, high, pairs) in [("melt_loss", "low", "high", lost), ("dross_share", "dross_low", "dross_high", dross)] {
        if let Some(share) = ratio(&pairs) {
            row[name] = share.into();
        }
        if let Some(interval) = ratio_interval(&pairs) {
            row[low] = interval.low.into();
            row[high] = interval.high.into();
        }
    }
}

/// The report.
///
/// # Errors
/// `malformed`, `not-found`; as the database says.
pub async fn report(read: &mut ReadTx, ctx: &Ctx) -> Result<Value, Problem> {
    let given = ctx.param("by").unwrap_or_default();
    let by =
        *BY.iter().find(|by| **by == given).ok_or_else(|| malformed(format!("The parameter by is one of: {}.", BY.join(" "))))?;
    let which = which(read, ctx).await?;
    let settings = settings::of(read).await?;
    let found = closed(read, ctx, &which).await?;
    let all: Vec<&ClosedHeat> = found.iter().filter(|h| h.charged.mg() > 0).collect();
    // What is not on record comes last.
    let mut levels: BTreeMap<(bool, Level), Vec<&ClosedHeat>> = BTreeMap::new();
    for heat in &all {
        let level = level(by, heat, &settings);
        levels.entry((level.0.is_none(), level)).or_default().push(heat);
    }
    let rows: Vec<Value> = levels
        .into_iter()
        .map(|((_, (name, id)), heats)| {
            let mut row = json!({"level": name, "label": name.as_deref().unwrap_or("not on record")});
            if let Some(id) = id {
                row["level_id"] = id.into();
            }
            fill(&mut row, &heats);
            let one = heats.first().map(|h| h.at).unwrap_or_default();
            if let Some(href) = opened(ctx, by, &row, &settings, one) {
                row["href"] = href.into();
            }
            row
        })
        .collect();
    let mut overall = json!({});
    fill(&mut overall, &all);
    Ok(json!({
        "by": by, "filters": said(ctx, FILTERS), "rows": rows, "overall": overall,
        "interval": "ratio of sums, heats as units, linearised variance, Student's t, 95 % (Cochran 1977, ch. 6)",
    }))
}

/// The list of heats behind a row; none for what is not on record. `at` is the closing of one
/// of them.
fn opened(ctx: &Ctx, by: &str, row: &Value, settings: &Settings, at: Instant) -> Option<String> {
    let value = row["level_id"].as_str().or_else(|| row["level"].as_str())?;
    let mut query: Vec<(String, String)> = FILTERS
        .iter()
        .filter(|name| **name != by)
        .filter_map(|name| Some(((*name).to_owned(), ctx.param(name)?.to_owned())))
        .collect();
    if by == "month" {
        // Of the month what lies in the time asked for.
        let month = months(settings, at, at);
        let asked = |name: &str| ctx.param(name).and_then(Instant::parse).map(Instant::ms);
        let begin = month[0][0].as_i64().max(asked("from"));
        let end = month[0][1].as_i64().into_iter().chain(asked("to")).min();
        query.retain(|(name, _)| name != "from" && name != "to");
        for (name, ms) in [("from", begin), ("to", end)] {
            query.extend(ms.map(|ms| (name.to_owned(), Instant::from_ms(ms).to_string())));
        }
    } else {
        query.push((by.to_owned(), value.to_owned()));
    }
    Some(super::metal_api::href("/v1/reports/heat-balances", &query))
}
