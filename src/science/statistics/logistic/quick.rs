//! Ends of profile intervals, found in one search.

use nalgebra::{Cholesky, DVector};

use super::likelihood::{FARTHEST, Likelihood, Point, predictor};

/// Most steps; ends take about five.
const MOST_STEPS: u32 = 16;
/// How near to the height sought, in units of chi-squared.
const CLOSE: f64 = 1e-10;

/// An end of an interval.
#[derive(Clone)]
pub(super) struct End {
    /// The weighted sum there.
    pub(super) value: f64,
    /// The coefficients there.
    pub(super) beta: DVector<f64>,
}

/// The end on one side at which twice the fall of the likelihood, maximised over all else, is
/// `fall`, for the sum of the coefficients with these weights c: where ∇l = λc and l has the
/// height sought, by Newton's steps for both at once (Venzon & Moolgavkar, *Applied Statistics*
/// 37, 1988, 87–94). `None` where that does not lead to such a place on that side: then a search
/// step by step has to.
///
/// `near` is where to begin: the end of a neighbouring sum.
pub(super) fn end(
    likelihood: &Likelihood,
    top: &Point,
    weights: &DVector<f64>,
    fall: f64,
    side: f64,
    near: Option<&DVector<f64>>,
) -> Option<End> {
    let middle = predictor(weights.as_slice(), &top.beta);
    let mut beta = if let Some(near) = near {
        near.clone()
    } else {
        let along = Cholesky::new(likelihood.slope(top).curvature)?.solve(weights);
        let reach = (fall / along.dot(weights)).sqrt();
        &top.beta + along * (side * reach)
    };
    for _ in 0..MOST_STEPS {
        let point = likelihood.at(beta)?;
        let slope = likelihood.slope(&point);
        let beyond = 2.0 * (top.height - point.height) - fall;
        let curvature = Cholesky::new(slope.curvature)?;
        let (up, along) = (curvature.solve(&slope.score), curvature.solve(weights));
        let (own, length) = (slope.score.dot(&along), weights.dot(&along));
        // How much of the height could be had back without moving the sum.
        let gain = slope.score.dot(&up) - own * own / length;
        if beyond.abs() < CLOSE && gain < CLOSE {
            let value = predictor(weights.as_slice(), &point.beta);
            // On the way out the likelihood falls: where it rises there is an end nearer by.
            let outside = (value - middle) * side > 0.0 && own * side < 0.0;
            return outside.then_some(End { value, beta: point.beta });
        }
        // Where no such place is in sight, half the way to the top.
        let square = (slope.score.dot(&up) - beyond) / length;
        let mut step = if square >= 0.0 { up + along * (side * square.sqrt()) } else { up / 2.0 };
        let (longest, farthest) = (step.amax(), FARTHEST.max(point.beta.amax()));
        if longest > farthest {
            step *= farthest / longest;
        }
        beta = point.beta + step;
    }
    None
}
