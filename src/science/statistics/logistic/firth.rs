//! Firth's penalised fit.

use nalgebra::DVector;

use super::super::special::chi2_sf;
use super::super::special::normal_quantile;
use super::design::Design;
use super::likelihood::{Likelihood, NoFit, Point, predictor};
use super::profile;
use super::quick;

/// A fit by Firth's penalised likelihood l(β) + ½ ln det I(β) (Firth, *Biometrika* 80, 1993,
/// 27–38; Heinze & Schemper, *Statistics in Medicine* 21, 2002, 2409–2419). It exists for every
/// design, also where the columns separate the outcomes.
pub struct Firth<'a> {
    design: &'a Design,
    likelihood: Likelihood<'a>,
    top: Point,
}

/// Where the searches for the two ends of the last interval ended.
#[derive(Clone, Debug, Default)]
pub struct Trail([Option<DVector<f64>>; 2]);

/// One coefficient with its interval and test, both by the profile of the penalised
/// likelihood; limits by a standard error would be wrong here, the profiles are skewed.
#[derive(Clone, PartialEq, Debug)]
pub struct Coefficient {
    /// The column, or `intercept`.
    pub name: String,
    /// The change of ln odds for one unit of the column.
    pub estimate: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Twice the fall of the penalised likelihood where it is 0.
    pub chi_squared: f64,
    /// The chance of so large a fall where it is 0.
    pub p: f64,
}

impl<'a> Firth<'a> {
    /// The fit of a design.
    pub fn new(design: &'a Design) -> Result<Self, NoFit> {
        let likelihood = likelihood(design, design.standardised());
        let mut start = DVector::zeros(likelihood.width());
        start[0] = ((design.events() + 0.5) / (design.observed() - design.events() + 0.5)).ln();
        let top = likelihood.maximise(start, &[])?;
        Ok(Self { design, likelihood, top })
    }

    /// The design fitted.
    pub const fn design(&self) -> &'a Design {
        self.design
    }

    /// The coefficients, the intercept first, on the scale of the columns as given.
    #[must_use]
    pub fn estimates(&self) -> Vec<f64> {
        let slopes = self.top.beta.iter().skip(1).zip(self.design.scale()).map(|(beta, scale)| beta / scale);
        std::iter::once(self.along(&self.origin())).chain(slopes).collect()
    }

    /// l + ½ ln det I at the maximum, with the columns as given.
    #[must_use]
    pub fn penalised_ln_likelihood(&self) -> f64 {
        self.top.height + self.design.scale().iter().map(|scale| scale.ln()).sum::<f64>()
    }

    /// Every coefficient with its profile interval at this confidence, and its test.
    pub fn coefficients(&self, confidence: f64) -> Result<Vec<Coefficient>, NoFit> {
        let fall = fall_of(confidence)?;
        let mut all = vec![self.coefficient("intercept", self.origin(), fall)?];
        for (index, (name, scale)) in self.design.names().iter().zip(self.design.scale()).enumerate() {
            let mut weights = vec![0.0; self.likelihood.width()];
            weights[index + 1] = 1.0 / scale;
            all.push(self.coefficient(name, weights, fall)?);
        }
        Ok(all)
    }

    fn coefficient(&self, name: &str, weights: Vec<f64>, fall: f64) -> Result<Coefficient, NoFit> {
        let (low, high) = self.interval(&weights, fall, &mut Trail::default())?;
        let chi_squared = self.fall_at_zero(&weights)?;
        let p = chi2_sf(chi_squared, 1.0).ok_or(NoFit::NotConverged)?;
        Ok(Coefficient { name: name.to_owned(), estimate: self.along(&weights), low, high, chi_squared, p })
    }

    /// The joint test that the columns of these names have no part: chi-squared, its degrees
    /// of freedom, and p. Names not in the fit do not count; `None` if none is.
    pub fn test(&self, names: &[&str]) -> Result<Option<(f64, f64, f64)>, NoFit> {
        let held: Vec<usize> = self
            .design
            .names()
            .iter()
            .enumerate()
            .filter(|(_, name)| names.contains(&name.as_str()))
            .map(|(i, _)| i + 1)
            .collect();
        if held.is_empty() {
            return Ok(None);
        }
        let chi_squared = profile::fall_at_zero(&self.likelihood, &self.top, &held)?;
        let freedom = held.len() as f64;
        Ok(chi2_sf(chi_squared, freedom).map(|p| (chi_squared, freedom, p)))
    }

    /// The linear predictor (ln odds) at a row of the columns as given.
    pub fn predictor(&self, row: &[f64]) -> Result<f64, NoFit> {
        self.check(row)?;
        Ok(self.along(&self.design.standard(row)))
    }

    /// Its profile interval: pointwise, one row at a time.
    pub fn predictor_interval(&self, row: &[f64], confidence: f64) -> Result<(f64, f64), NoFit> {
        self.predictor_interval_after(row, confidence, &mut Trail::default())
    }

    /// The same where one row after another is asked for along a curve: the search begins where
    /// that for the row before ended. The result does not depend on it.
    pub fn predictor_interval_after(&self, row: &[f64], confidence: f64, trail: &mut Trail) -> Result<(f64, f64), NoFit> {
        self.check(row)?;
        self.interval(&self.design.standard(row), fall_of(confidence)?, trail)
    }

    /// Its interval by the delta method: ± z times the standard error from the information at
    /// the maximum. Quick, symmetric, and too short where columns separate.
    pub fn predictor_interval_by_delta(&self, row: &[f64], confidence: f64) -> Result<(f64, f64), NoFit> {
        let middle = self.predictor(row)?;
        let reach = (fall_of(confidence)?).sqrt();
        let x = DVector::from_vec(self.design.standard(row));
        let covariance = self.top.covariance().ok_or(NoFit::NotConverged)?;
        let error = (covariance * &x).dot(&x).max(0.0).sqrt();
        Ok((middle - reach * error, middle + reach * error))
    }

    fn check(&self, row: &[f64]) -> Result<(), NoFit> {
        let usable = row.len() == self.design.names().len() && row.iter().all(|value| value.is_finite());
        if usable { Ok(()) } else { Err(NoFit::BadInput) }
    }

    /// All columns at 0 as given, where the intercept belongs.
    fn origin(&self) -> Vec<f64> {
        self.design.standard(&vec![0.0; self.design.names().len()])
    }

    /// A weighted sum of the coefficients.
    fn along(&self, weights: &[f64]) -> f64 {
        predictor(weights, &self.top.beta)
    }

    /// The profile interval of a weighted sum of the coefficients.
    fn interval(&self, weights: &[f64], fall: f64, trail: &mut Trail) -> Result<(f64, f64), NoFit> {
        let sum = DVector::from_column_slice(weights);
        let mut ends = [None, None];
        for ((side, end), before) in [-1.0, 1.0].into_iter().zip(&mut ends).zip(&mut trail.0) {
            let search = |near| quick::end(&self.likelihood, &self.top, &sum, fall, side, near);
            let found = before.as_ref().and_then(|near| search(Some(near))).or_else(|| search(None));
            *before = found.as_ref().map(|end| end.beta.clone());
            *end = found.map(|end| end.value);
        }
        match ends {
            [Some(low), Some(high)] => Ok((low, high)),
            _ => self.turned(weights)?.interval(fall),
        }
    }

    /// Twice the fall where a weighted sum of the coefficients is 0.
    fn fall_at_zero(&self, weights: &[f64]) -> Result<f64, NoFit> {
        let turned = self.turned(weights)?;
        profile::fall_at_zero(&turned.likelihood, &turned.top, &[turned.index])
    }

    /// The same likelihood with a weighted sum of its coefficients as a coefficient of its own,
    /// in place of the one with the largest weight: β = φ − Σ (cₖ ∕ c) βₖ with φ the sum over
    /// its weight c. The determinant of this change is 1, so the penalty is the same; and the
    /// columns stay as far from collinear as they were, wherever the row may lie.
    fn turned(&self, weights: &[f64]) -> Result<Turned<'a>, NoFit> {
        let largest = weights.iter().enumerate().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
        let (index, scale) = largest.map(|(index, weight)| (index, *weight)).ok_or(NoFit::BadInput)?;
        if scale == 0.0 || !scale.is_finite() {
            return Err(NoFit::BadInput);
        }
        let mut rows = self.likelihood.rows.clone();
        for row in &mut rows {
            let pivot = row[index];
            for (k, (value, weight)) in row.iter_mut().zip(weights).enumerate() {
                *value -= if k == index { 0.0 } else { weight / scale * pivot };
            }
        }
        let mut beta = self.top.beta.clone();
        beta[index] = self.along(weights) / scale;
        let likelihood = likelihood(self.design, rows);
        let top = likelihood.at(beta).ok_or(NoFit::NotConverged)?;
        Ok(Turned { likelihood, top, index, scale })
    }
}

/// A likelihood with one coefficient that is a weighted sum of others, over `scale`.
struct Turned<'a> {
    likelihood: Likelihood<'a>,
    top: Point,
    index: usize,
    scale: f64,
}

impl Turned<'_> {
    fn interval(&self, fall: f64) -> Result<(f64, f64), NoFit> {
        let (one, other) = profile::interval(&self.likelihood, &self.top, self.index, fall)?;
        let (one, other) = (one * self.scale, other * self.scale);
        Ok((one.min(other), one.max(other)))
    }
}

fn likelihood(design: &Design, rows: Vec<Vec<f64>>) -> Likelihood<'_> {
    Likelihood { rows, successes: design.successes(), trials: design.trials(), penalised: true }
}

/// The quantile of chi-squared with one degree: z².
fn fall_of(confidence: f64) -> Result<f64, NoFit> {
    if !(confidence > 0.0 && confidence < 1.0) {
        return Err(NoFit::BadInput);
    }
    normal_quantile((1.0 - confidence) / 2.0).map(|z| z * z).ok_or(NoFit::BadInput)
}

#[cfg(test)]
#[path = "quick_tests.rs"]
mod quick_tests;
