//! Intervals by the profile of the penalised likelihood.

use nalgebra::DVector;

use super::likelihood::{Likelihood, NoFit, Point};

/// Most doublings outwards and most steps inwards.
const MOST_STEPS: u32 = 100;
/// How near to the height sought, in units of chi-squared.
const CLOSE: f64 = 1e-10;

/// The two ends at which twice the fall of the likelihood, maximised over the other
/// coefficients, is `fall`.
pub(super) fn interval(likelihood: &Likelihood, top: &Point, index: usize, fall: f64) -> Result<(f64, f64), NoFit> {
    Ok((end(likelihood, top, index, fall, -1.0)?, end(likelihood, top, index, fall, 1.0)?))
}

/// Twice the fall where the coefficients `held` are 0 and the others are chosen anew.
pub(super) fn fall_at_zero(likelihood: &Likelihood, top: &Point, held: &[usize]) -> Result<f64, NoFit> {
    let mut start = top.beta.clone();
    for index in held {
        start[*index] = 0.0;
    }
    let there = likelihood.maximise(start, held)?;
    Ok((2.0 * (top.height - there.height)).max(0.0))
}

/// One end: outwards in doubling steps until it is passed, then by Newton's steps inside the
/// bracket. The profile's slope is the score of the coefficient held.
fn end(likelihood: &Likelihood, top: &Point, index: usize, fall: f64, side: f64) -> Result<f64, NoFit> {
    let variance = top.covariance().ok_or(NoFit::ProfileOpen)?[(index, index)];
    let mut step = (fall * variance).sqrt() * side;
    let (mut inside, mut outside) = (top.beta[index], None);
    let mut start = top.beta.clone();
    let mut at = inside + step;
    for _ in 0..MOST_STEPS {
        let (point, beyond) = held_at(likelihood, top, &start, index, at, fall)?;
        if beyond.abs() < CLOSE {
            return Ok(at);
        }
        let slope = -2.0 * likelihood.slope(&point).score[index];
        if beyond < 0.0 {
            inside = at;
        } else {
            outside = Some(at);
        }
        start = point.beta;
        let newton = at - beyond / slope;
        let next = match outside {
            None => {
                step *= 2.0;
                // Newton's step where it does not lead too far.
                let ahead = (newton - inside) * side;
                if ahead > 0.0 && ahead < step.abs() { newton } else { inside + step }
            }
            Some(outside) => {
                let within = (newton - inside) * side > 0.0 && (outside - newton) * side > 0.0;
                if within { newton } else { f64::midpoint(inside, outside) }
            }
        };
        if !next.is_finite() {
            return Err(NoFit::ProfileOpen);
        }
        // The bracket has closed to the spacing of numbers.
        if (next - at).abs() <= 1e-14 * at.abs().max(1e-3) {
            return Ok(next);
        }
        at = next;
    }
    Err(NoFit::ProfileOpen)
}

/// The maximum with one coefficient held at a value, and how far it is below the height sought.
fn held_at(
    likelihood: &Likelihood,
    top: &Point,
    start: &DVector<f64>,
    index: usize,
    value: f64,
    fall: f64,
) -> Result<(Point, f64), NoFit> {
    let held = |mut beta: DVector<f64>| {
        beta[index] = value;
        beta
    };
    // Where columns separate, coefficients grow together: all in proportion may be nearer.
    let grown = start * (value / start[index]);
    let starts = [held(start.clone()), held(top.beta.clone()), held(grown)];
    let height = |beta: &DVector<f64>| likelihood.at(beta.clone()).map_or(f64::NEG_INFINITY, |point| point.height);
    let best = starts.into_iter().max_by(|a, b| height(a).total_cmp(&height(b))).ok_or(NoFit::ProfileOpen)?;
    let point = likelihood.maximise(best, &[index])?;
    let beyond = 2.0 * (top.height - point.height) - fall;
    Ok((point, beyond))
}
