//! How sure a rate is, from the counts alone. Pure: no clock, no IO, and no chance but from a
//! seed handed in.
//!
//! Every rate carries its count and its interval; what has not reached the point
//! of observation is in no denominator and is shown beside it as [`Waiting`]; at
//! nothing observed there is no rate at all, hence the many `Option`s.

pub mod arm;
pub mod binomial;
pub mod charts;
pub mod clustered;
pub mod defects;
pub mod difference;
mod discrete;
pub mod freeman_halton;
pub mod gamma;
pub mod heats;
pub mod individuals;
pub mod logistic;
pub mod multiple;
pub mod poisson;
pub mod power;
pub mod quadrature;
pub mod quoting;
pub mod ratio;
pub mod regression;
pub mod shrinkage;
pub mod special;
pub mod tables;
pub mod throughput;
pub mod trend;
pub mod trial;
pub mod verdict;

pub use arm::Arm;
pub use binomial::{
    CONFIDENCE, Interval, Rate, Waiting, binomial_at_least, binomial_at_most, clopper_pearson, jeffreys, upper_bound, wilson,
    worst_of,
};
pub use clustered::{ClusteredRate, clustered_rate};
pub use defects::{DefectsPer, PoissonYield, defects_per, poisson_yield};
pub use difference::{Difference, newcombe};
pub use individuals::{Individuals, individuals};
pub use poisson::{PoissonRate, RateRatio, garwood, rate_ratio};
pub use ratio::{ratio, ratio_interval};
pub use special::t_quantile;
pub use throughput::{RolledYield, Stage, rolled_throughput};

#[cfg(test)]
mod coverage;
#[cfg(test)]
mod reference_tests;
