//! Several causes of a yes-or-no outcome at once: logistic regression of grouped counts.
//!
//! What pages and answers use is [`Firth`]'s penalised fit, which exists for every set of data;
//! plain maximum likelihood ([`maximum_likelihood`]) runs to infinity where a level never or
//! always had the outcome ([`separation`] tells so beforehand) and is kept for comparison.
//!
//! Log-likelihoods leave out binomial coefficients. Coefficients are on the scale of the
//! columns as given, the intercept first.

mod curve;
mod design;
mod firth;
mod flic;
mod likelihood;
mod plain;
mod profile;
mod quick;
mod separation;
mod simplex;
mod slope;
mod spline;

pub use curve::{BandMethod, Curve, CurvePoint, NoCurve, Observation, SectionCurve, Shape, curve};
pub use design::{Column, Design, DesignError, DropReason, Dropped};
pub use firth::{Coefficient, Firth, Trail};
pub use flic::{Flic, Predicted};
pub use likelihood::NoFit;
pub use plain::{Plain, maximum_likelihood};
pub use separation::{Separation, separation};

#[cfg(test)]
mod tests;
