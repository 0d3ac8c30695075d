//! Plain maximum likelihood.

use nalgebra::DVector;

use super::design::Design;
use super::likelihood::{Likelihood, NoFit};
use super::separation::{Separation, separation};

/// A fit by maximum likelihood.
#[derive(Clone, PartialEq, Debug)]
pub struct Plain {
    /// Coefficients, the intercept first.
    pub estimates: Vec<f64>,
    /// Their standard errors, from the inverse information.
    pub standard_errors: Vec<f64>,
    /// The log-likelihood.
    pub ln_likelihood: f64,
    /// Twice its distance from one rate to each row as given.
    pub deviance: f64,
}

/// The maximum-likelihood fit. Refused as [`NoFit::Separated`] where it has none, which is
/// decided beforehand and not by a coefficient that has become large.
pub fn maximum_likelihood(design: &Design) -> Result<Plain, NoFit> {
    match separation(design) {
        Some(Separation::None) => {}
        Some(_) => return Err(NoFit::Separated),
        None => return Err(NoFit::NotConverged),
    }
    let likelihood =
        Likelihood { rows: design.standardised(), successes: design.successes(), trials: design.trials(), penalised: false };
    let mut start = DVector::zeros(likelihood.width());
    start[0] = (design.events() / (design.observed() - design.events())).ln();
    let top = likelihood.maximise(start, &[])?;
    // Back from centred and scaled columns: β = T β*, covariance T C T′.
    let width = likelihood.width();
    let mut back = nalgebra::DMatrix::identity(width, width);
    for (j, (centre, scale)) in design.centre().iter().zip(design.scale()).enumerate() {
        back[(j + 1, j + 1)] = 1.0 / scale;
        back[(0, j + 1)] = -centre / scale;
    }
    let covariance = &back * top.covariance().ok_or(NoFit::NotConverged)? * back.transpose();
    Ok(Plain {
        estimates: (&back * &top.beta).iter().copied().collect(),
        standard_errors: covariance.diagonal().iter().map(|variance| variance.max(0.0).sqrt()).collect(),
        ln_likelihood: top.height,
        deviance: 2.0 * (design.saturated() - top.height),
    })
}
