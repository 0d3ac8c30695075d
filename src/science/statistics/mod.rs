//! How sure a rate is, from the counts alone. Pure: no clock, no chance, no IO.
//!
//! Every rate carries its count and its interval; what has not reached the point
//! of observation is in no denominator and is shown beside it as [`Waiting`]; at
//! nothing observed there is no rate at all, hence the many `Option`s.

pub mod binomial;
pub mod gamma;
pub mod individuals;
pub mod logistic;
pub mod quadrature;
pub mod quoting;
pub mod ratio;
pub mod regression;
pub mod shrinkage;
pub mod special;
pub mod throughput;

pub use binomial::{Interval, Rate, Waiting, clopper_pearson, jeffreys, upper_bound, wilson};
pub use individuals::{Individuals, individuals};
pub use ratio::{ratio, ratio_interval, t_quantile};
pub use throughput::{RolledYield, Stage, rolled_throughput};

#[cfg(test)]
mod reference_tests;
