//! A straight line by least squares, and what it says of the next one.

use super::super::binomial::Interval;
use super::super::special::t_quantile;
use super::least_squares::mean;
use super::{NoFit, paired};

/// A least-squares line through at least three points.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Line {
    /// Value at x = 0.
    pub intercept: f64,
    /// Change for one unit of x.
    pub slope: f64,
    /// √(residual sum of squares ∕ (n − 2)).
    pub residual_sd: f64,
    count: f64,
    mean_x: f64,
    squares_x: f64,
    range: (f64, f64),
}

/// What a line says at one x.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct LinePrediction {
    /// The line there.
    pub fit: f64,
    /// The interval of the line itself; not to be shown as that of a job.
    pub of_mean: Interval,
    /// The interval of the next single value.
    pub of_next: Interval,
    /// Whether x lies outside the values the line rests on.
    pub outside: bool,
}

impl Line {
    /// The line through the points.
    pub fn fit(x: &[f64], y: &[f64]) -> Result<Self, NoFit> {
        paired(x, y, 3)?;
        let through = Through::of(x.iter().copied().zip(y.iter().copied())).ok_or(NoFit::Collinear)?;
        let squares: f64 = x.iter().zip(y).map(|(x, y)| (y - through.at(*x)).powi(2)).sum();
        let count = x.len() as f64;
        let range = x.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(*x), high.max(*x)));
        let line = Self {
            intercept: through.mean_y - through.slope * through.mean_x,
            slope: through.slope,
            residual_sd: (squares / (count - 2.0)).sqrt(),
            count,
            mean_x: through.mean_x,
            squares_x: through.squares_x,
            range,
        };
        if line.intercept.is_finite() && line.residual_sd.is_finite() { Ok(line) } else { Err(NoFit::NotFinite) }
    }

    /// At x: fit ± t s √(1 ∕ n + (x − x̄)² ∕ Sxx) for the line and ± t s √(1 + …) for the next
    /// value, t the quantile of Student's t with n − 2 degrees.
    pub fn predict(&self, x: f64, confidence: f64) -> Result<LinePrediction, NoFit> {
        if !x.is_finite() {
            return Err(NoFit::NotFinite);
        }
        if !(confidence > 0.0 && confidence < 1.0) {
            return Err(NoFit::Level);
        }
        let t = t_quantile(1.0 - (1.0 - confidence) / 2.0, self.count - 2.0).ok_or(NoFit::Level)?;
        let fit = self.intercept + self.slope * x;
        let share = 1.0 / self.count + (x - self.mean_x).powi(2) / self.squares_x;
        let around = |share: f64| {
            let reach = t * self.residual_sd * share.sqrt();
            Interval { low: fit - reach, high: fit + reach }
        };
        let (of_mean, of_next) = (around(share), around(1.0 + share));
        if !(of_next.low.is_finite() && of_next.high.is_finite()) {
            return Err(NoFit::NotFinite);
        }
        Ok(LinePrediction { fit, of_mean, of_next, outside: x < self.range.0 || x > self.range.1 })
    }
}

/// A line by its middle, which keeps the digits of far-off x.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) struct Through {
    mean_x: f64,
    mean_y: f64,
    slope: f64,
    squares_x: f64,
}

impl Through {
    /// `None` where all x are the same, to rounding, or there are none.
    pub(super) fn of(points: impl Iterator<Item = (f64, f64)>) -> Option<Self> {
        let (x, y): (Vec<f64>, Vec<f64>) = points.unzip();
        if x.len() < 2 {
            return None;
        }
        let (mean_x, mean_y) = (mean(&x), mean(&y));
        let squares_x: f64 = x.iter().map(|x| (x - mean_x).powi(2)).sum();
        let products: f64 = x.iter().zip(&y).map(|(x, y)| (x - mean_x) * (y - mean_y)).sum();
        let largest = x.iter().fold(0.0_f64, |most, x| most.max(x.abs()));
        let slope = products / squares_x;
        (squares_x.sqrt() > 1e-13 * largest && slope.is_finite()).then_some(Self { mean_x, mean_y, slope, squares_x })
    }

    pub(super) fn at(&self, x: f64) -> f64 {
        self.mean_y + self.slope * (x - self.mean_x)
    }
}
