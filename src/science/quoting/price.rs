//! From what a job costs to what is asked for it. Whole amounts are in minor units.

use super::simulate::Simulated;
use crate::science::statistics::quoting::Calibration;

/// One way to come to a price.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Rule {
    /// What it is called.
    pub name: &'static str,
    /// What it comes to.
    pub amount: f64,
}

/// The rule that asks most, the first of equals; rules without a finite amount do not count.
/// `None` of none.
#[must_use]
pub fn largest(rules: &[Rule]) -> Option<Rule> {
    rules.iter().filter(|rule| rule.amount.is_finite()).fold(None, |most: Option<Rule>, rule| match most {
        Some(most) if most.amount >= rule.amount => Some(most),
        _ => Some(*rule),
    })
}

/// Up to the next multiple of a step; as it is where the step is not above 1 or there is none.
#[must_use]
pub fn rounded_up(minor: i64, step: i64) -> i64 {
    if step <= 1 {
        return minor;
    }
    let over = minor.rem_euclid(step);
    if over == 0 { minor } else { minor.checked_add(step - over).unwrap_or(minor) }
}

/// Largest whole amount: what a float holds exactly.
const MOST: f64 = 9_007_199_254_740_992.0;

/// Nearest whole, halves to even; what is not a number is 0.
fn whole(amount: f64) -> i64 {
    #[expect(clippy::cast_possible_truncation, reason = "held within what a float holds exactly; NaN is 0")]
    let whole = amount.clamp(-MOST, MOST).round_ties_even() as i64;
    whole
}

/// The tax on a net price, to the nearest minor unit, halves to even. `rate` as a fraction; what
/// is not above 0 adds none.
#[must_use]
pub fn tax(net: i64, rate: f64) -> i64 {
    // Halves of decimal rates such as 0.075 are to be met as halves: to 12 places.
    if rate > 0.0 && rate.is_finite() { whole((net as f64 * rate * 1e6).round() / 1e6) } else { 0 }
}

/// A total in stages, a deposit first, say, by shares of any sum: each share of the whole, rounded down,
/// and what is left goes one by one to the largest remainders, the first of equals. They add up to
/// the total exactly. Shares not above 0 get nothing; without any above 0 there are no stages.
#[must_use]
pub fn stages(total: i64, shares: &[(String, f64)]) -> Vec<(String, i64)> {
    let usable = |share: f64| if share > 0.0 && share.is_finite() { share } else { 0.0 };
    let largest = shares.iter().map(|(_, share)| usable(*share)).fold(0.0, f64::max);
    if largest <= 0.0 {
        return Vec::new();
    }
    // Scaled first, so that the sum is finite.
    let sum: f64 = shares.iter().map(|(_, share)| usable(*share) / largest).sum();
    let exact: Vec<f64> = shares.iter().map(|(_, share)| total as f64 * (usable(*share) / largest / sum)).collect();
    let mut made: Vec<(String, i64)> =
        shares.iter().zip(&exact).map(|((name, _), exact)| (name.clone(), whole(exact.floor()))).collect();
    let mut left = total.saturating_sub(made.iter().fold(0_i64, |sum, (_, part)| sum.saturating_add(*part)));
    let mut order: Vec<(usize, f64)> = exact.iter().map(|exact| exact - exact.floor()).enumerate().collect();
    order.retain(|(i, _)| shares.get(*i).is_some_and(|(_, share)| usable(*share) > 0.0));
    order.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    for (i, _) in &order {
        let step = left.signum();
        if let Some((_, part)) = made.get_mut(*i).filter(|_| left != 0) {
            *part = part.saturating_add(step);
            left -= step;
        }
    }
    // Beyond what a float holds exactly more may be left: the first stage takes it.
    if let Some((i, _)) = order.first()
        && let Some((_, part)) = made.get_mut(*i)
    {
        *part = part.saturating_add(left);
    }
    made
}

/// Prices of an edition.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct EditionPrice {
    /// Of each copy, one-off costs spread over the edition: once ∕ edition + each.
    pub spread_over: f64,
    /// Of the next cast alone, the one-off costs being paid for.
    pub next_alone: f64,
    /// Of the first cast where one-off costs are not spread: once + each.
    pub first_with_all: f64,
}

/// One-off costs `once` (mould, master, setting up) and those of `each` copy, for an edition of
/// so many. `None` unless both are finite and 0 or above and the edition has a copy.
#[must_use]
pub fn edition_price(once: f64, each: f64, edition: u32) -> Option<EditionPrice> {
    let usable = once.is_finite() && each.is_finite() && once >= 0.0 && each >= 0.0 && edition > 0;
    usable.then(|| EditionPrice { spread_over: once / f64::from(edition) + each, next_alone: each, first_with_all: once + each })
}

/// The chance that a job costs more than a net price: how many past jobs were off by more,
/// [`Calibration::beyond`] at (ln price − ln median) ∕ spread. It errs upwards and is never below
/// 1 ∕ (all weight + 1), so with few jobs no price is safe; at the price "at most" of a level it
/// is 1 − level or less. 1 for a price not above 0; where the spread is 0, whether the median
/// is above the price. `None` for NaN.
#[must_use]
pub fn chance_of_loss(price_net: f64, simulated: &Simulated, calibration: &Calibration) -> Option<f64> {
    if price_net.is_nan() {
        return None;
    }
    if price_net <= 0.0 {
        return Some(1.0);
    }
    let off = (price_net / simulated.median).ln();
    if simulated.spread <= 0.0 {
        return Some(f64::from(u8::from(off < 0.0)));
    }
    calibration.beyond(off / simulated.spread)
}
