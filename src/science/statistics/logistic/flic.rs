//! Predicted rates from a penalised fit, with the intercept put right.

use super::firth::{Firth, Trail};
use super::likelihood::NoFit;

/// Most halvings of the bracket of the intercept.
const MOST_STEPS: u32 = 200;

/// Firth's slopes with the intercept refitted so that the mean predicted rate is the observed
/// one ("FLIC": Puhr, Heinze, Nold, Lusa & Geroldinger, *Statistics in Medicine* 36, 2017,
/// 2302–2317). Firth's own predictions are drawn towards one half.
pub struct Flic<'a, 'b> {
    fit: &'b Firth<'a>,
    shift: f64,
}

/// A predicted rate with a pointwise band.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Predicted {
    /// The rate.
    pub rate: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl<'a, 'b> Flic<'a, 'b> {
    /// Refits the intercept. [`NoFit::AllAlike`] where the observed rate is 0 or 1: the
    /// refitted intercept would be infinite.
    pub fn new(fit: &'b Firth<'a>) -> Result<Self, NoFit> {
        let design = fit.design();
        let events = design.events();
        if events <= 0.0 || events >= design.observed() {
            return Err(NoFit::AllAlike);
        }
        let predictors = design.rows().iter().map(|row| fit.predictor(row)).collect::<Result<Vec<f64>, NoFit>>()?;
        let excess = |shift: f64| {
            let expected: f64 = predictors.iter().zip(design.trials()).map(|(eta, n)| n * rate(eta + shift)).sum();
            expected - events
        };
        // At these ends every predicted rate is below, or above, the observed one.
        let observed = (events / (design.observed() - events)).ln();
        let least = predictors.iter().copied().fold(f64::INFINITY, f64::min);
        let most = predictors.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let (mut low, mut high) = (observed - most, observed - least);
        for _ in 0..MOST_STEPS {
            let middle = f64::midpoint(low, high);
            if middle <= low || middle >= high {
                break;
            }
            if excess(middle) > 0.0 {
                high = middle;
            } else {
                low = middle;
            }
        }
        Ok(Self { fit, shift: f64::midpoint(low, high) })
    }

    /// The refitted intercept, for the columns as given.
    #[must_use]
    pub fn intercept(&self) -> f64 {
        self.fit.estimates().first().copied().unwrap_or(0.0) + self.shift
    }

    /// The rate at a row.
    pub fn rate(&self, row: &[f64]) -> Result<f64, NoFit> {
        Ok(rate(self.fit.predictor(row)? + self.shift))
    }

    /// The rate at a row with its band: the profile interval of the linear predictor in the
    /// penalised likelihood, moved with the intercept. Pointwise: it holds for one row at a
    /// time, not for a whole curve.
    pub fn predict(&self, row: &[f64], confidence: f64) -> Result<Predicted, NoFit> {
        self.predict_after(row, confidence, &mut Trail::default())
    }

    /// The same where one row after another is asked for along a curve: quicker, not different.
    pub fn predict_after(&self, row: &[f64], confidence: f64, trail: &mut Trail) -> Result<Predicted, NoFit> {
        let (low, high) = self.fit.predictor_interval_after(row, confidence, trail)?;
        self.predicted(row, low, high)
    }

    /// The same with the band by the delta method.
    pub fn predict_by_delta(&self, row: &[f64], confidence: f64) -> Result<Predicted, NoFit> {
        let (low, high) = self.fit.predictor_interval_by_delta(row, confidence)?;
        self.predicted(row, low, high)
    }

    fn predicted(&self, row: &[f64], low: f64, high: f64) -> Result<Predicted, NoFit> {
        Ok(Predicted { rate: self.rate(row)?, low: rate(low + self.shift), high: rate(high + self.shift) })
    }
}

pub(super) fn rate(eta: f64) -> f64 {
    1.0 / (1.0 + (-eta).exp())
}
