//! A power law: a line of ln y on ln x.

use super::super::binomial::Interval;
use super::least_squares::mean;
use super::line::Line;
use super::{NoFit, paired};

/// Least squares of ln y on ln x.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct LogLog {
    /// The line of the logarithms; its slope is the exponent.
    pub line: Line,
    /// Mean of exp(residual): by how much the mean lies above the median.
    pub smearing_factor: f64,
}

/// What a power law says at one x.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct LogLogPrediction {
    /// exp of the line: half of such jobs come out lower.
    pub median: f64,
    /// Median times the smearing factor, for sums of many.
    pub mean: f64,
    /// The interval of the next single job.
    pub of_next: Interval,
    /// Whether x lies outside what was seen.
    pub outside: bool,
}

impl LogLog {
    /// The fit; all values must be above 0. exp of the line is the median; for the mean the
    /// smearing estimate is used (Duan, *JASA* 78, 1983, 605–610), which needs no bell curve.
    pub fn fit(x: &[f64], y: &[f64]) -> Result<Self, NoFit> {
        paired(x, y, 3)?;
        if x.iter().chain(y).any(|value| *value <= 0.0) {
            return Err(NoFit::NotPositive);
        }
        let logs = |values: &[f64]| values.iter().map(|value| value.ln()).collect::<Vec<f64>>();
        let (ln_x, ln_y) = (logs(x), logs(y));
        let line = Line::fit(&ln_x, &ln_y)?;
        let smears: Vec<f64> = ln_x.iter().zip(&ln_y).map(|(x, y)| (y - line.intercept - line.slope * x).exp()).collect();
        let smearing_factor = mean(&smears);
        if smearing_factor.is_finite() { Ok(Self { line, smearing_factor }) } else { Err(NoFit::NotFinite) }
    }

    /// At x > 0.
    pub fn predict(&self, x: f64, confidence: f64) -> Result<LogLogPrediction, NoFit> {
        if x <= 0.0 {
            return Err(NoFit::NotPositive);
        }
        let there = self.line.predict(x.ln(), confidence)?;
        let median = there.fit.exp();
        let of_next = Interval { low: there.of_next.low.exp(), high: there.of_next.high.exp() };
        if !(of_next.high.is_finite() && median.is_finite()) {
            return Err(NoFit::NotFinite);
        }
        Ok(LogLogPrediction { median, mean: median * self.smearing_factor, of_next, outside: there.outside })
    }
}
