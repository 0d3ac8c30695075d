//! How heats balance, and the chart of what they leave unexplained.
//!
//! * A heat's time is its closing: only then is there a balance.
//! * A heat closed by difference has no unexplained metal by construction. It is listed, and
//!   is in no sum of the unexplained, in no share and not on the chart.
//! * The summary is of all heats asked for, whatever page is shown, and also when only those
//!   out of balance are listed.
//! * The chart is of unexplained ∕ charged in the order of closing; heats in which nothing
//!   was charged have no such share.

use super::ask::{self, malformed};
use super::melt_loss::{CHARGE_KINDS, charge_kind};
use super::store::closed::{ClosedHeat, Thing, Which, heats};
use crate::book::api::{page, paged};
use crate::book::list::Page;
use crate::db::ReadTx;
use crate::kernel::{Kind, Mass, Problem, Seq};
use crate::science::statistics::individuals;
use crate::shop::house::settings::Settings;
use crate::shop::house::trade::Trade;
use crate::shop::house::{settings, trade};
use crate::shop::metal::{Residual, scrap_charges, weighings};
use crate::web::{Ctx, Reply};
use serde_json::{Map, Value, json};
use std::collections::{BTreeMap, BTreeSet};

/// Reads which closed heats are asked for.
///
/// # Errors
/// `malformed`, `not-found`.
pub async fn which(read: &mut ReadTx, ctx: &Ctx) -> Result<Which, Problem> {
    let trade = trade::of(read).await?;
    Ok(Which {
        from: ask::instant(ctx, "from")?,
        to: ask::instant(ctx, "to")?,
        alloy: ask::alloy(ctx, &trade)?,
        furnace: ask::found(read, ctx, "furnace", Kind::Furnace).await?,
        crucible: ask::found(read, ctx, "crucible", Kind::Crucible).await?,
    })
}

/// The filters as they were asked for.
#[must_use]
pub fn said(ctx: &Ctx, names: &[&str]) -> Value {
    let given = names.iter().filter_map(|name| Some(((*name).to_owned(), Value::from(ctx.param(name)?))));
    Value::Object(given.collect::<Map<_, _>>())
}

/// The parameters that filter closed heats.
pub const FILTERS: &[&str] = &["from", "to", "alloy", "furnace", "crucible", "charge_kind"];

/// The closed heats asked for, oldest first.
///
/// # Errors
/// `malformed` for a kind of charge that is none; as the database says.
pub async fn closed(read: &mut ReadTx, ctx: &Ctx, which: &Which) -> Result<Vec<ClosedHeat>, Problem> {
    let mut found = heats(read, which).await?;
    if let Some(kind) = ctx.param("charge_kind") {
        if !CHARGE_KINDS.contains(&kind) {
            return Err(malformed(format!("The parameter charge_kind is one of: {}.", CHARGE_KINDS.join(" "))));
        }
        found.retain(|h| charge_kind(h) == kind);
    }
    Ok(found)
}

struct Limits<'a> {
    trade: &'a Trade,
    settings: &'a Settings,
    weighings: BTreeMap<Seq, i64>,
    scrap: BTreeSet<Seq>,
}

impl Limits<'_> {
    /// What a heat may leave unexplained: as its balance and its flag have it.
    fn of(&self, heat: &ClosedHeat) -> Mass {
        let alloy = self.trade.alloy_on(&heat.alloy, self.settings.day(heat.at));
        let weighings = self.weighings.get(&heat.seq).copied().unwrap_or(1);
        Residual::of(self.settings, alloy, self.scrap.contains(&heat.seq), heat.at).limit(heat.charged, weighings)
    }
}

fn thing(thing: &Thing) -> Value {
    json!({"id": thing.id.to_string(), "name": thing.name})
}

fn item(heat: &ClosedHeat, limit: Mass) -> Value {
    let mut out = json!({
        "id": heat.id.to_string(), "number": heat.number, "href": format!("/v1/heats/{}", heat.id), "at": heat.at.to_string(),
        "alloy": heat.alloy, "furnace": thing(&heat.furnace), "charged_kg": heat.charged.kg(), "poured_kg": heat.poured.kg(),
        "pigged_kg": heat.pigged.kg(), "dross_kg": heat.dross.kg(), "spilled_kg": heat.spilled.kg(), "heel_kg": heat.heel.kg(),
        "unexplained_kg": heat.unexplained.kg(), "limit_kg": limit.kg(), "within_tolerance": within(heat, limit),
        "closed_by_difference": heat.by_difference,
    });
    if let Some(crucible) = &heat.crucible {
        out["crucible"] = thing(crucible);
    }
    out
}

fn within(heat: &ClosedHeat, limit: Mass) -> bool {
    heat.unexplained.mg().abs() <= limit.mg()
}

/// The list, with its summary.
///
/// # Errors
/// `malformed`, `not-found`; as the database says.
pub async fn list(read: &mut ReadTx, ctx: &Ctx) -> Result<Reply, Problem> {
    let only_out = match ctx.param("out_of_balance") {
        None | Some("false") => false,
        Some("true") => true,
        Some(_) => return Err(malformed("The parameter out_of_balance is true or false.".into())),
    };
    let Page { limit: most, after, .. } = page(ctx)?;
    let which = which(read, ctx).await?;
    let found = closed(read, ctx, &which).await?;
    let seqs: Vec<Seq> = found.iter().map(|h| h.seq).collect();
    let (trade, settings) = (trade::of(read).await?, settings::of(read).await?);
    let (weighings, scrap) = (weighings(read, &seqs).await?, scrap_charges(read, &seqs).await?);
    let limits = Limits { trade: &trade, settings: &settings, weighings, scrap };
    let shown: Vec<(&ClosedHeat, Mass)> = found.iter().map(|h| (h, limits.of(h))).collect();
    let weighed: Vec<&(&ClosedHeat, Mass)> = shown.iter().filter(|(h, _)| !h.by_difference).collect();
    let unexplained: Mass = weighed.iter().map(|(h, _)| h.unexplained).sum();
    let charged: Mass = weighed.iter().map(|(h, _)| h.charged).sum();
    let mut summary = json!({
        "heats": shown.len(), "weighed": weighed.len(), "by_difference": shown.len() - weighed.len(),
        "out_of_balance": weighed.iter().filter(|(h, limit)| !within(h, *limit)).count(), "unexplained_kg": unexplained.kg(),
    });
    if !charged.is_zero() {
        summary["unexplained_share"] = share(unexplained, charged).into();
    }
    let mut rest =
        shown.iter().rev().filter(|(h, limit)| !only_out || !h.by_difference && !within(h, *limit)).filter(|(h, _)| {
            // Newest first: what comes after the page before is older.
            after.is_none_or(|after| (h.at.ms(), h.closing) < after)
        });
    let items: Vec<(&ClosedHeat, Value)> =
        rest.by_ref().take(usize::try_from(most).unwrap_or(200)).map(|(h, limit)| (*h, item(h, *limit))).collect();
    let more = rest.next().is_some();
    let next = items.last().filter(|_| more).map(|(h, _)| Page::mark(h.at.ms(), h.closing));
    let items: Vec<Value> = items.into_iter().map(|(_, item)| item).collect();
    let mut filters = said(ctx, FILTERS);
    if only_out {
        filters["out_of_balance"] = true.into();
    }
    Ok(paged(ctx, json!({"filters": filters, "summary": summary, "items": items}), next))
}

#[expect(clippy::cast_precision_loss, reason = "shown as a share")]
fn share(part: Mass, of: Mass) -> f64 {
    part.mg() as f64 / of.mg() as f64
}

/// The chart of unexplained over charged, with the running sum of the unexplained.
///
/// # Errors
/// `malformed`, `not-found`; as the database says.
pub async fn chart(read: &mut ReadTx, ctx: &Ctx) -> Result<Value, Problem> {
    let which = which(read, ctx).await?;
    let found = closed(read, ctx, &which).await?;
    let weighed: Vec<&ClosedHeat> = found.iter().filter(|h| !h.by_difference && h.charged.mg() > 0).collect();
    let values: Vec<f64> = weighed.iter().map(|h| share(h.unexplained, h.charged)).collect();
    let chart = individuals(&values);
    let mut sum = Mass::ZERO;
    let points: Vec<Value> = weighed
        .iter()
        .zip(&chart.points)
        .map(|(heat, point)| {
            sum += heat.unexplained;
            let signals: Vec<&str> = point.signals.iter().map(|s| s.name()).collect();
            let mut out = json!({
                "at": heat.at.to_string(), "heat": heat.id.to_string(), "number": heat.number,
                "href": format!("/v1/heats/{}", heat.id), "value": point.value, "signals": signals,
                "unexplained_kg": heat.unexplained.kg(), "cumulative_kg": sum.kg(),
            });
            if let Some(range) = point.moving_range {
                out["moving_range"] = range.into();
            }
            out
        })
        .collect();
    let mut out = json!({
        "filters": said(ctx, FILTERS), "method": "individuals and moving ranges, NIST/SEMATECH e-Handbook 6.3.2.2",
        "points": points, "few": chart.few, "by_difference": found.iter().filter(|h| h.by_difference).count(),
    });
    if let Some(centre) = chart.centre {
        out["centre"] = centre.into();
    }
    if let Some(lines) = chart.lines {
        out["lower"] = lines.lower.into();
        out["upper"] = lines.upper.into();
        out["mean_range"] = lines.mean_range.into();
        out["upper_range"] = lines.upper_range.into();
    }
    Ok(out)
}
