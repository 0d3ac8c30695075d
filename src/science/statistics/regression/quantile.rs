//! The line below which a given share of jobs comes out.

use super::{NoFit, paired};

/// Most moves from one line to a better one.
const MOST_MOVES: u32 = 10_000;
/// Relative to the largest deviation: a point so near to the line lies on it.
const ON_LINE: f64 = 1e-11;

/// A regression quantile.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct QuantileLine {
    /// Value at x = 0.
    pub intercept: f64,
    /// Change for one unit of x.
    pub slope: f64,
    /// Σ (y − fit)⁺ τ + (fit − y)⁺ (1 − τ).
    pub loss: f64,
}

/// The line that minimises the check loss (Koenker & Bassett, *Econometrica* 46, 1978, 33–50),
/// exactly, by descent along edges. Some best line passes through two points. The best line
/// through one given point is a weighted median of the slopes to the others; from there the
/// next point it passes through is tried as pivot, and so on while the loss falls. The loss is
/// convex and linear in pieces bordered by the lines through a single point, so where no pivot
/// on the line leads lower, none is lower.
pub fn quantile_line(x: &[f64], y: &[f64], tau: f64) -> Result<QuantileLine, NoFit> {
    paired(x, y, 2)?;
    if !(tau > 0.0 && tau < 1.0) {
        return Err(NoFit::Level);
    }
    let points = Points { x, y, tau };
    let mut best = points.through(0).ok_or(NoFit::Collinear)?;
    for _ in 0..MOST_MOVES {
        let around = points.on(&best);
        let next = around.into_iter().filter_map(|pivot| points.through(pivot)).reduce(lower);
        match next {
            Some(next) if next.loss < best.loss * (1.0 - 1e-14) => best = next,
            _ if best.loss.is_finite() && best.intercept.is_finite() => return Ok(best),
            _ => return Err(NoFit::NotFinite),
        }
    }
    Err(NoFit::NotConverged)
}

fn lower(one: QuantileLine, other: QuantileLine) -> QuantileLine {
    if other.loss < one.loss { other } else { one }
}

struct Points<'a> {
    x: &'a [f64],
    y: &'a [f64],
    tau: f64,
}

impl Points<'_> {
    /// The best line through a point; `None` where no other x differs.
    fn through(&self, pivot: usize) -> Option<QuantileLine> {
        let (px, py) = (self.x[pivot], self.y[pivot]);
        // The loss in the slope s has a bend at each slope to another point. Far below all of
        // them its slope is Σ weight × −(τ on the right, 1 − τ on the left); it rises by the
        // weight |x − px| at each bend.
        let mut bends: Vec<(f64, f64)> = Vec::with_capacity(self.x.len());
        let mut rise = 0.0;
        for (x, y) in self.x.iter().zip(self.y) {
            let weight = (x - px).abs();
            if weight > 0.0 {
                bends.push(((y - py) / (x - px), weight));
                rise -= weight * if *x > px { self.tau } else { 1.0 - self.tau };
            }
        }
        bends.sort_by(|a, b| a.0.total_cmp(&b.0));
        let bend = bends.iter().find(|(_, weight)| {
            rise += weight;
            rise >= 0.0
        });
        let slope = bend.or(bends.last())?.0;
        let intercept = py - slope * px;
        let loss = self.x.iter().zip(self.y).map(|(x, y)| self.check(y - py - slope * (x - px))).sum();
        Some(QuantileLine { intercept, slope, loss })
    }

    fn check(&self, residual: f64) -> f64 {
        if residual >= 0.0 { self.tau * residual } else { (self.tau - 1.0) * residual }
    }

    /// The points on a line.
    fn on(&self, line: &QuantileLine) -> Vec<usize> {
        let size = |i: usize| self.y[i].abs() + line.intercept.abs() + (line.slope * self.x[i]).abs();
        let off = |i: usize| (self.y[i] - line.intercept - line.slope * self.x[i]).abs();
        (0..self.x.len()).filter(|i| off(*i) <= ON_LINE * size(*i)).collect()
    }
}
