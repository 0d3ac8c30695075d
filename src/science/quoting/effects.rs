//! What each thing adds to a job's cost, and how much of its spread is due to it.

use super::simulate::quantile;

/// Name of what the net metal of the copies costs.
pub const METAL: &str = "metal";
/// Name of the value of metal lost on good castings.
pub const METAL_LOST: &str = "metal_lost";
/// Name of the overhead of what is poured.
pub const POURED: &str = "poured";
/// Name of the luck of failures: what castings beyond the first of each copy cost, less what
/// copies that are never good do not.
pub const RECAST: &str = "recast";

/// What one mover does to the cost of a job.
#[derive(Clone, PartialEq, Debug)]
pub struct MoverEffect {
    /// The mover's name, or one of [`METAL`], [`METAL_LOST`], [`POURED`], [`RECAST`].
    pub name: String,
    /// Money it adds with its overhead, on average, as if each copy were good at once: what
    /// failures add is [`RECAST`]'s. With the known costs they add up to the total.
    pub mean: f64,
    /// 10 % point of what it adds.
    pub low: f64,
    /// 90 % point.
    pub high: f64,
    /// Its part of the spread of ln total, between 0 and 1; they add up to 1, or are all 0 where
    /// nothing varies.
    pub share_of_spread: f64,
    /// How many comparables it rests on, in effect: of the line with the fewest.
    pub own: f64,
}

/// What one thing adds, in each draw.
pub(super) struct Part {
    pub name: String,
    pub own: f64,
    pub adds: Vec<f64>,
}

/// To first order ln total moves by Σ (change of a part) ∕ total, so the variance of ln total is
/// about Σ cov(part, ln total) times a constant: a part's share is max(0, cov(part, ln total))
/// over their sum (the covariance decomposition, Euler's theorem on homogeneous functions).
pub(super) fn effects(parts: Vec<Part>, totals: &[f64]) -> Vec<MoverEffect> {
    let logs: Vec<f64> = totals.iter().map(|total| total.ln()).collect();
    let n = logs.len() as f64;
    let mean_log = logs.iter().sum::<f64>() / n;
    let mut made: Vec<MoverEffect> = parts
        .into_iter()
        .map(|mut part| {
            let mean = part.adds.iter().sum::<f64>() / n;
            let together: f64 = part.adds.iter().zip(&logs).map(|(adds, log)| (adds - mean) * (log - mean_log)).sum();
            let (low, high) = (quantile(&mut part.adds, 0.1), quantile(&mut part.adds, 0.9));
            MoverEffect { name: part.name, mean, low, high, share_of_spread: together.max(0.0), own: part.own }
        })
        .collect();
    let varies = made.iter().map(|effect| (effect.high - effect.low).abs()).fold(0.0, f64::max) > 0.0
        || logs.iter().any(|log| (log - mean_log).abs() > 1e-9);
    let sum: f64 = made.iter().map(|effect| effect.share_of_spread).sum();
    for effect in &mut made {
        effect.share_of_spread = if varies && sum > 0.0 { effect.share_of_spread / sum } else { 0.0 };
    }
    made
}
