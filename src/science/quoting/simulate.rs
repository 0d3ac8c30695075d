//! Many jobs drawn by chance from what a quote rests on.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::effects::{MoverEffect, effects};
use super::fit::Fit;
use super::line::{Draws, Luck};
use super::model::{AskedLine, OverheadRates};
use crate::science::statistics::quoting::attempts;

/// ln q₉₀ − ln q₁₀ of a normal, in standard deviations, as the score of a quote has it.
const TENTHS: f64 = 2.563;
/// Most draws.
const MOST_DRAWS: u32 = 1_000_000;
/// Most draws times lines.
const MOST_WORK: usize = 20_000_000;
/// What the metal of a job varies by: net, poured, lost, failed.
pub(super) const METAL_DRIVERS: usize = 4;

/// What a line of a quote is likely to take.
#[derive(Clone, PartialEq, Debug)]
pub struct LineSimulated {
    /// Attempts, on average.
    pub castings_mean: f64,
    /// Attempts, 90 % point.
    pub castings_q90: f64,
    /// The chance that a copy is not good within the attempts allowed; with one attempt, that
    /// the work is lost. In closed form ([`attempts`]).
    pub lost: f64,
    /// The mean chance that a casting fails.
    pub mean_loss: f64,
    /// Median cost of one casting more: its work and other movers of each attempt, the metal of
    /// a good casting, their overhead.
    pub one_more: f64,
    /// Mass poured in kg, all attempts, on whomever they fall: median.
    pub poured_kg: f64,
    /// Mass poured: 90 % point.
    pub poured_kg_q90: f64,
    /// Minutes of work, all attempts: median.
    pub minutes: f64,
}

/// What a job is likely to cost, money in minor units.
#[derive(Clone, PartialEq, Debug)]
pub struct Simulated {
    /// Median of the total.
    pub median: f64,
    /// Its 10 % point.
    pub q10: f64,
    /// Its 90 % point.
    pub q90: f64,
    /// Spread of ln, ln(q₉₀ ∕ q₁₀) ∕ 2.563.
    pub spread: f64,
    /// Mean.
    pub mean: f64,
    /// The totals drawn, rising.
    pub draws: Vec<f64>,
    /// By line.
    pub lines: Vec<LineSimulated>,
    /// What each mover adds; those of nothing in the quote are left out.
    pub movers: Vec<MoverEffect>,
}

impl Simulated {
    /// The share of draws above a price: the model's own chance, which [`super::chance_of_loss`]
    /// corrects by how far past quotes were off.
    #[must_use]
    pub fn chance_above(&self, price: f64) -> f64 {
        let at_or_below = self.draws.partition_point(|total| *total <= price);
        (self.draws.len() - at_or_below) as f64 / self.draws.len().max(1) as f64
    }
}

/// Draws the job `draws` times. In each draw, for each line:
///
/// - the chance p that a casting fails is drawn once, for all copies together; each copy is
///   tried until good, at most as often as the line allows. With one attempt allowed, as for a
///   pattern that is lost with its casting, no failure is drawn: the total is that of work which
///   is not lost, and [`LineSimulated::lost`] says how likely it is to be;
/// - each driver is drawn once, a job's level, Student's t on ln. All lines take the same
///   deviate for the same driver (each at its own degrees of freedom): lines of one job share
///   comparables, hands and days, and their errors do not cancel. p, and whether a mover is
///   done at all, are each line's own;
/// - net = estimate × net over estimate, poured = net × poured over net; a good casting's metal
///   is price × (net + lost share × poured), a failed one's price × failed share × poured, a
///   share no more than 1;
/// - movers count by attempt, good copy or line; minutes bear overhead, and so does each kg
///   poured; `fixed` is added once and `per_piece` for each good copy. Where the client bears
///   recasting, attempts after the first of a copy are left out.
///
/// Deviates are held within the 0.1 % and 99.9 % points, since the exponential of a t has no
/// mean. The same input and seed give the same answer.
///
/// `None` for no line, 0 or more than 10⁶ draws, more than 2 × 10⁷ draws of a line in all, what
/// cannot be reckoned with, or a total that is not above 0.
#[must_use]
pub fn simulate(lines: &[(AskedLine, Fit)], overhead: &OverheadRates, draws: u32, seed: u64) -> Option<Simulated> {
    let count = usize::try_from(draws).ok()?;
    let usable = overhead.usable() && lines.iter().all(|(line, _)| line.usable());
    let bounded = !lines.is_empty() && (1..=MOST_DRAWS).contains(&draws) && lines.len().saturating_mul(count) <= MOST_WORK;
    if !usable || !bounded {
        return None;
    }
    let width = METAL_DRIVERS + lines.iter().map(|(_, fit)| fit.movers.len()).max().unwrap_or(0);
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let common: Vec<f64> = (0..width * count).map(|_| StandardNormal.sample(&mut random)).collect();
    let mut drawn = Draws::new(count, width);
    let mut simulated = Vec::with_capacity(lines.len());
    for (line, fit) in lines {
        let chances = attempts(fit.loss.0, fit.loss.1, line.most_attempts, line.copies)?;
        let luck = Luck { common: &common, width };
        let mut took = drawn.add(line, fit, overhead, &luck, &mut random)?;
        let n = f64::from(draws);
        simulated.push(LineSimulated {
            castings_mean: took.castings.iter().sum::<f64>() / n,
            castings_q90: quantile(&mut took.castings, 0.9),
            lost: chances.never_good,
            mean_loss: chances.mean_loss,
            one_more: quantile(&mut took.one_more, 0.5),
            poured_kg: quantile(&mut took.poured_kg, 0.5),
            poured_kg_q90: quantile(&mut took.poured_kg, 0.9),
            minutes: quantile(&mut took.minutes, 0.5),
        });
    }
    summed(drawn, lines, simulated)
}

fn summed(drawn: Draws, lines: &[(AskedLine, Fit)], simulated: Vec<LineSimulated>) -> Option<Simulated> {
    let (mut totals, parts) = drawn.parts(lines);
    if !totals.iter().all(|total| *total > 0.0 && total.is_finite()) {
        return None;
    }
    let movers = effects(parts, &totals);
    totals.sort_unstable_by(f64::total_cmp);
    let (q10, q90) = (at(&totals, 0.1), at(&totals, 0.9));
    let mean = totals.iter().sum::<f64>() / totals.len() as f64;
    let spread = ((q90 / q10).ln() / TENTHS).max(0.0);
    let finite =
        mean.is_finite() && spread.is_finite() && movers.iter().all(|m| m.mean.is_finite() && m.share_of_spread.is_finite());
    finite.then(|| Simulated { median: at(&totals, 0.5), q10, q90, spread, mean, draws: totals, lines: simulated, movers })
}

/// Between which two of n order statistics a quantile lies, and how far (Hyndman & Fan 1996,
/// type 7).
fn place(n: usize, p: f64) -> (usize, f64) {
    let h = (n.saturating_sub(1)) as f64 * p;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 ≤ h < n")]
    let below = h as usize;
    (below, h - below as f64)
}

fn between(low: f64, high: f64, part: f64) -> f64 {
    low + (high - low) * part
}

/// A quantile of values in order; 0 of none.
fn at(sorted: &[f64], p: f64) -> f64 {
    let (below, part) = place(sorted.len(), p);
    let low = sorted.get(below).copied().unwrap_or(0.0);
    between(low, sorted.get(below + 1).copied().unwrap_or(low), part)
}

/// A quantile of values in any order, which are put into another; 0 of none.
pub(super) fn quantile(values: &mut [f64], p: f64) -> f64 {
    let (below, part) = place(values.len(), p);
    if below >= values.len() {
        return 0.0;
    }
    let (_, low, above) = values.select_nth_unstable_by(below, f64::total_cmp);
    let low = *low;
    let high = above.iter().copied().min_by(f64::total_cmp).unwrap_or(low);
    between(low, high, part)
}
