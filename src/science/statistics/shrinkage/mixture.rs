//! One level's posterior: a mixture of beta distributions, one to every node of the
//! hyperposterior.

use super::super::gamma::ln_beta;
use super::super::special::beta_cdf;
use super::hyperprior::Node;
use super::{Level, RATE_FLOOR, Shrunken};

/// Cells of the table of the distribution.
const CELLS: u32 = 96;
/// The table ends where the density is below so much of its highest.
const LEFT_OUT: f64 = 1e-9;

/// Beta(a, b) with its weight.
struct Component {
    a: f64,
    b: f64,
    /// ln of weight ∕ B(a, b).
    ln_scale: f64,
    weight: f64,
}

/// The mixture, with what is read from the nodes directly.
pub(super) struct Mixture {
    components: Vec<Component>,
    mean: f64,
    own_weight: f64,
}

impl Mixture {
    /// `widest` is the precision above which a component is taken no narrower: it then is
    /// already far narrower than what the nodes are spread over.
    pub(super) fn new(nodes: &[Node], level: Level, widest: f64) -> Self {
        let (x, y) = (f64::from(level.count), f64::from(level.rest()));
        let (mut mean, mut own_weight) = (0.0, 0.0);
        let components = nodes
            .iter()
            .map(|node| {
                let Node { mean: m, rest, precision, weight } = *node;
                let total = precision + x + y;
                mean += weight * (m * precision + x) / total;
                own_weight += weight * (x + y) / total;
                let k = precision.min(widest);
                let (a, b) = (m * k + x, rest * k + y);
                Component { a, b, ln_scale: weight.ln() - ln_beta(a, b), weight }
            })
            .filter(|component| component.ln_scale.is_finite())
            .collect();
        Self { components, mean, own_weight }
    }

    /// Mean and equal-tailed interval.
    pub(super) fn summary(&self, confidence: f64) -> Option<Shrunken> {
        let table = Table::new(self)?;
        let tail = (1.0 - confidence) / 2.0;
        let (low, high) = (table.quantile(tail), table.quantile(1.0 - tail));
        (self.mean.is_finite() && low.is_finite() && high.is_finite()).then(|| Shrunken {
            mean: self.mean.clamp(0.0, 1.0),
            low,
            high,
            own_weight: self.own_weight,
        })
    }

    /// The density of ln(θ ∕ (1 − θ)) and its slope.
    fn density(&self, logit: f64) -> (f64, f64) {
        let (ln_rate, ln_rest) = (-(-logit).exp().ln_1p(), -logit.exp().ln_1p());
        let rate = ln_rate.exp();
        self.components.iter().fold((0.0, 0.0), |(density, slope), part| {
            let here = (part.a * ln_rate + part.b * ln_rest + part.ln_scale).exp();
            (density + here, slope + here * (part.a - (part.a + part.b) * rate))
        })
    }

    /// The chance of a rate below [`RATE_FLOOR`], and of one above its complement.
    fn beyond_ends(&self) -> (f64, f64) {
        self.components.iter().fold((0.0, 0.0), |(below, above), part| {
            let tail = |a, b| part.weight * beta_cdf(a, b, RATE_FLOOR).unwrap_or(0.0);
            (below + tail(part.a, part.b), above + tail(part.b, part.a))
        })
    }
}

/// The distribution in cells of ln(θ ∕ (1 − θ)): the chance below each edge, and the density
/// there.
struct Table {
    start: f64,
    step: f64,
    /// Chance below, density.
    edges: Vec<(f64, f64)>,
}

impl Table {
    /// Each cell by the trapezium corrected with the slopes at its edges (Euler–Maclaurin),
    /// whose error is of the fourth order.
    fn new(mixture: &Mixture) -> Option<Self> {
        let end = (1.0 - RATE_FLOOR).ln() - RATE_FLOOR.ln();
        let (start, stop) = span(mixture, end)?;
        let (below, above) = if start <= -end || stop >= end { mixture.beyond_ends() } else { (0.0, 0.0) };
        let step = (stop - start) / f64::from(CELLS);
        let mut chance = below;
        let mut before = mixture.density(start);
        let mut edges = vec![(chance, before.0)];
        for cell in 1..=CELLS {
            let here = mixture.density(start + step * f64::from(cell));
            let trapezium = step * f64::midpoint(before.0, here.0);
            chance += (trapezium + step * step * (before.1 - here.1) / 12.0).max(0.0);
            edges.push((chance, here.0));
            before = here;
        }
        let total = chance + above;
        if !(total > 0.0 && total.is_finite()) {
            return None;
        }
        for edge in &mut edges {
            *edge = (edge.0 / total, edge.1 / total);
        }
        Some(Self { start, step, edges })
    }

    /// The rate below which it lies with chance `p`: the cubic through chances and densities
    /// of a cell's edges, inverted by halving.
    fn quantile(&self, p: f64) -> f64 {
        let after = self.edges.partition_point(|edge| edge.0 < p);
        let rate = |logit: f64| (1.0 / (1.0 + (-logit).exp())).clamp(RATE_FLOOR, 1.0 - RATE_FLOOR);
        let Some(cell) = after.checked_sub(1) else { return rate(self.start) };
        let left = self.start + self.step * u32::try_from(cell).map_or(0.0, f64::from);
        let (Some(from), Some(to)) = (self.edges.get(cell), self.edges.get(after)) else { return rate(left) };
        let cubic = |t: f64| {
            let rise = to.0 - from.0;
            let (at_from, at_to) = (self.step * from.1, self.step * to.1);
            from.0 + t * (at_from + t * (3.0 * rise - 2.0 * at_from - at_to + t * (at_from + at_to - 2.0 * rise)))
        };
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..50 {
            let middle = f64::midpoint(low, high);
            if cubic(middle) < p {
                low = middle;
            } else {
                high = middle;
            }
        }
        rate(left + self.step * f64::midpoint(low, high))
    }
}

/// Where the density of ln(θ ∕ (1 − θ)) is above [`LEFT_OUT`] of its highest, within ±`end`.
fn span(mixture: &Mixture, end: f64) -> Option<(f64, f64)> {
    // The weightiest component lies within the hump.
    let top = mixture.components.iter().max_by(|a, b| a.weight.total_cmp(&b.weight))?;
    let middle = (top.a / top.b).ln().clamp(-end, end);
    let first = (1.0 / top.a + 1.0 / top.b).sqrt().clamp(1e-9, 1.0) / 2.0;
    let mut highest = mixture.density(middle).0;
    let mut side = |sign: f64| {
        let (mut at, mut step) = (middle, first);
        while at * sign < end {
            at += sign * step;
            step *= 1.3;
            let here = mixture.density(at).0;
            if here < LEFT_OUT * highest {
                break;
            }
            highest = highest.max(here);
        }
        (at * sign).min(end) * sign
    };
    let (low, high) = (side(-1.0), side(1.0));
    (high > low).then_some((low, high))
}
