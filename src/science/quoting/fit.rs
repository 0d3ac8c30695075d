//! What each thing that moves the cost of a line is likely to be.

use super::basis::Basis;
use super::ladder::{Rung, ladder};
use super::model::{
    AskedLine, Comparable, FAILED_SHARE, Handbook, LOST_SHARE, MoverSpec, NET_OVER_ESTIMATE, POURED_OVER_NET, Per, Unit, sane,
};
use crate::science::statistics::quoting::PRIOR_LOSS;

/// Shares of value are taken within these bounds, since their spread is one of ln.
pub(super) const SHARES: (f64, f64) = (0.005, 1.0);

/// One mover of a line.
#[derive(Clone, PartialEq, Debug)]
pub struct MoverFit {
    /// As the caller calls it.
    pub name: String,
    /// What one value counts for.
    pub per: Per,
    /// In what it is measured.
    pub unit: Unit,
    /// The chance that it is done at all: with n comparables in effect of which a share s has
    /// it, (n s + s₀) ∕ (n + 1), s₀ the shop's share, (number with it + 1) ∕ (number + 1).
    pub done: f64,
    /// How much, where it is done. `None`: it never was, and there is no handbook; it adds 0.
    pub rung: Option<Rung>,
}

/// What a line's cost rests on.
#[derive(Clone, PartialEq, Debug)]
pub struct Fit {
    /// Net mass over estimate.
    pub net_over_estimate: Rung,
    /// Poured mass over net.
    pub poured_over_net: Rung,
    /// Value lost on a good casting over value poured.
    pub lost_share: Rung,
    /// Value lost on a failed casting over value poured.
    pub failed_share: Rung,
    /// Shapes of the Beta of the chance that a casting is lost.
    pub loss: (f64, f64),
    /// How many comparables it rests on, in effect.
    pub effective: f64,
    /// By mover; `None` where the line does not ask for it or nothing is known of it.
    pub movers: Vec<Option<MoverFit>>,
    /// Movers asked for of which neither a handbook nor the record says anything: they are not
    /// in the cost.
    pub absent: Vec<usize>,
}

/// Fits each thing that moves the cost (`ladder`): ratios of metal without regard to mass, with
/// the handbook's constants; movers that the line asks for with a slope of mass. The chance of a
/// loss is Beta(0.6 + Σw·failed, 5.4 + Σw·good), a casting of a comparable counting as the
/// comparable does.
///
/// `None` where the line cannot be reckoned with or a figure leaves all bounds.
#[must_use]
pub fn fit(line: &AskedLine, basis: &Basis, record: &[Comparable], movers: &[MoverSpec]) -> Option<Fit> {
    if !line.usable() {
        return None;
    }
    let ratio = |handbook: Handbook, value: &dyn Fn(&Comparable) -> Option<f64>| {
        ladder(record, basis, line.mass_kg, None, Some(handbook), value)
    };
    let share = |value: Option<f64>| value.filter(|share| share.is_finite()).map(|share| share.clamp(SHARES.0, SHARES.1));
    let mut fitted = Fit {
        net_over_estimate: ratio(NET_OVER_ESTIMATE, &|past| past.net_over_estimate)?,
        poured_over_net: ratio(POURED_OVER_NET, &|past| past.poured_over_net)?,
        lost_share: ratio(LOST_SHARE, &|past| share(past.lost_share))?,
        failed_share: ratio(FAILED_SHARE, &|past| share(past.failed_share))?,
        loss: loss(basis, record),
        effective: basis.effective,
        movers: Vec::with_capacity(movers.len()),
        absent: Vec::new(),
    };
    for (i, spec) in movers.iter().enumerate() {
        if line.price(i) <= 0.0 {
            fitted.movers.push(None);
            continue;
        }
        let one = mover(line, basis, record, spec, i)?;
        if one.is_none() {
            fitted.absent.push(i);
        }
        fitted.movers.push(one);
    }
    Some(fitted)
}

fn loss(basis: &Basis, record: &[Comparable]) -> (f64, f64) {
    let (mut a, mut b) = PRIOR_LOSS;
    for (past, weight) in basis.members.iter().filter_map(|(i, weight)| record.get(*i).map(|past| (past, weight))) {
        a += weight * f64::from(past.failed.min(past.castings));
        b += weight * f64::from(past.castings.saturating_sub(past.failed));
    }
    (a, b)
}

/// How many say whether it was done, and how many of them it was.
fn tally<'a>(values: impl Iterator<Item = (Option<f64>, &'a f64)>) -> (f64, f64, f64) {
    values.fold((0.0, 0.0, 0.0), |(sum, squares, with), (value, w)| match value.filter(|value| sane(*value)) {
        Some(value) => (sum + w, squares + w * w, with + if value > 0.0 { *w } else { 0.0 }),
        None => (sum, squares, with),
    })
}

/// `None` where a figure leaves all bounds, `Some(None)` where nothing is known.
fn mover(line: &AskedLine, basis: &Basis, record: &[Comparable], spec: &MoverSpec, i: usize) -> Option<Option<MoverFit>> {
    let value = |past: &Comparable| past.values.get(i).copied().flatten();
    let (known, _, with) = tally(record.iter().map(|past| (value(past), &1.0)));
    if spec.handbook.is_none() && known <= 0.0 {
        return Some(None);
    }
    let rung = if spec.handbook.is_none() && with <= 0.0 {
        None
    } else {
        Some(ladder(record, basis, line.mass_kg, Some(spec.slope), spec.handbook, value)?)
    };
    let shop = (with + 1.0) / (known + 1.0);
    let members = basis.members.iter().filter_map(|(i, weight)| record.get(*i).map(|past| (value(past), weight)));
    let (sum, squares, near) = tally(members);
    let effective = if squares > 0.0 { sum * sum / squares } else { 0.0 };
    let own = if sum > 0.0 { near / sum } else { 0.0 };
    // What counts once for a line is asked for by its price, or not at all.
    let done = if spec.per == Per::Line { 1.0 } else { (effective * own + shop) / (effective + 1.0) };
    Some(Some(MoverFit { name: spec.name.clone(), per: spec.per, unit: spec.unit, done, rung }))
}
