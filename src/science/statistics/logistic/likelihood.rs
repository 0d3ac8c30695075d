//! The log-likelihood with or without Firth's penalty, and its maximum with some coefficients
//! held.

use nalgebra::{Cholesky, DMatrix, DVector};

use super::slope::Slope;

/// Most steps to a maximum; fits take about 8.
const MOST_STEPS: u32 = 200;
/// Most halvings of one step.
const MOST_HALVINGS: u32 = 60;
/// Farthest that one step may carry a coefficient, in standard deviations of its column; or as
/// far as the largest is from 0.
pub(super) const FARTHEST: f64 = 5.0;
/// A step that would gain less than this in log-likelihood is not taken.
const CONVERGED: f64 = 1e-18;
/// Below this promise the top is near.
const NEAR: f64 = 1e-8;
/// Relative rounding of a height.
const NOISE: f64 = 1e-13;
/// Steps halved to less than this have stopped bringing the top nearer.
const STALLED: f64 = 0.1;
/// Where rounding hides any gain, a step that promises less than this ends the search; what
/// is lost of chi-squared is twice that.
const ROUNDING: f64 = 1e-9;
/// Most columns of a fit, the intercept included.
pub(super) const MOST_COLUMNS: usize = 64;
/// Where the least of R's diagonal is above this share of the largest, forming R′R loses five
/// digits at most.
const WELL_APART: f64 = 3e-3;
/// A row lighter than this share of the heaviest, as where the rate is 10⁻⁵⁰, moves no digit.
const WEIGHTLESS: f64 = 1e-25;

/// Why there is no fit.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum NoFit {
    /// Plain likelihood has no maximum: the columns separate the outcomes.
    Separated,
    /// The search did not end within its limits.
    NotConverged,
    /// A profile did not reach the interval's height within the search's limits.
    ProfileOpen,
    /// Confidence not within (0, 1), or a row of another length than the columns.
    BadInput,
    /// All outcomes alike: a rate of exactly 0 or 1 has no intercept.
    AllAlike,
}

/// Data with a 1 before every row.
pub(super) struct Likelihood<'a> {
    pub(super) rows: Vec<Vec<f64>>,
    pub(super) successes: &'a [f64],
    pub(super) trials: &'a [f64],
    /// Whether ½ ln det of the information is added (Firth 1993).
    pub(super) penalised: bool,
}

/// The likelihood at some coefficients.
pub(super) struct Point {
    pub(super) beta: DVector<f64>,
    /// The (penalised) log-likelihood.
    pub(super) height: f64,
    /// R of W^½ X = Q R: the information is R′R. Found without forming that product, which
    /// would square the loss of digits where rates are near 0 or 1.
    pub(super) root: DMatrix<f64>,
}

impl Point {
    /// The inverse of the information.
    pub(super) fn covariance(&self) -> Option<DMatrix<f64>> {
        let inverse = self.root.clone().try_inverse()?;
        Some(&inverse * inverse.transpose())
    }

    fn information(&self) -> DMatrix<f64> {
        self.root.tr_mul(&self.root)
    }
}

impl Likelihood<'_> {
    pub(super) fn width(&self) -> usize {
        self.rows.first().map_or(1, Vec::len)
    }

    /// The rate at a row.
    pub(super) fn rate(eta: f64) -> f64 {
        1.0 / (1.0 + (-eta).exp())
    }

    /// `None` where the information is singular or a number overflows: as low as can be.
    pub(super) fn at(&self, beta: DVector<f64>) -> Option<Point> {
        let mut height = 0.0;
        let mut weights = Vec::with_capacity(self.rows.len());
        for ((row, s), n) in self.rows.iter().zip(self.successes).zip(self.trials) {
            let eta = predictor(row, &beta);
            // ln(1 + e^η) without overflow.
            height += s * eta - n * (eta.max(0.0) + (-eta.abs()).exp().ln_1p());
            weights.push((n * Self::rate(eta) * Self::rate(-eta)).sqrt());
        }
        let root = self.root(&weights)?;
        if self.penalised {
            // ½ ln det I.
            height += root.diagonal().iter().map(|d: &f64| d.abs().ln()).sum::<f64>();
        }
        height.is_finite().then_some(Point { beta, height, root })
    }

    /// R of the rows times their weights: from R′R where that keeps enough digits, which is
    /// seen from R itself, else by Householder's reflections.
    fn root(&self, weights: &[f64]) -> Option<DMatrix<f64>> {
        let quick = self.quick_root(weights);
        if let Some(root) = quick {
            let (least, most) =
                root.diagonal().iter().fold((f64::INFINITY, 0.0_f64), |(least, most), d: &f64| (least.min(*d), most.max(*d)));
            if least > most * WELL_APART {
                return Some(root);
            }
        }
        self.careful_root(weights)
    }

    fn quick_root(&self, weights: &[f64]) -> Option<DMatrix<f64>> {
        let width = self.width();
        // The lower triangle, column by column.
        let mut sums = vec![0.0; width * (width + 1) / 2];
        for (row, weight) in self.rows.iter().zip(weights) {
            let mut at = sums.iter_mut();
            for (j, b) in row.iter().enumerate() {
                let weighted = weight * weight * b;
                for (a, sum) in row[j..].iter().zip(at.by_ref()) {
                    *sum += weighted * a;
                }
            }
        }
        let mut information = DMatrix::zeros(width, width);
        let mut at = sums.into_iter();
        for j in 0..width {
            for (i, sum) in (j..width).zip(at.by_ref()) {
                information[(i, j)] = sum;
            }
        }
        Some(Cholesky::new(information)?.unpack().transpose())
    }

    /// Rows are taken from the heaviest on, which keeps the digits of light ones (Cox & Higham
    /// 1998).
    fn careful_root(&self, weights: &[f64]) -> Option<DMatrix<f64>> {
        let heaviest = weights.iter().copied().fold(0.0, f64::max);
        let mut order: Vec<usize> = (0..weights.len()).filter(|row| weights[*row] > heaviest * WEIGHTLESS).collect();
        order.sort_by(|a, b| weights[*b].total_cmp(&weights[*a]));
        let weighted = DMatrix::from_fn(order.len(), self.width(), |i, j| weights[order[i]] * self.rows[order[i]][j]);
        let root = weighted.qr().unpack_r();
        let regular = root.is_square() && root.diagonal().iter().all(|d: &f64| d.abs() > 0.0 && d.is_finite());
        regular.then_some(root)
    }

    /// The maximum over the coefficients not in `held`, which stay as they are in `start`. The
    /// penalty takes the information of all of them (Heinze & Schemper, *Statistics in
    /// Medicine* 21, 2002, 2409–2419). Newton's steps, halved until they do not go down.
    pub(super) fn maximise(&self, start: DVector<f64>, held: &[usize]) -> Result<Point, NoFit> {
        let free: Vec<usize> = (0..self.width()).filter(|index| !held.contains(index)).collect();
        let mut point = self.at(start).ok_or(NoFit::NotConverged)?;
        let (mut promised, mut damping) = (f64::INFINITY, 1.0_f64);
        for _ in 0..MOST_STEPS {
            let slope = self.slope(&point);
            let step = self.step(&point, &free, &slope).ok_or(NoFit::NotConverged)?;
            let promise = slope.score.select_rows(&free).dot(&step);
            if !promise.is_finite() {
                return Err(NoFit::NotConverged);
            }
            if promise < CONVERGED {
                return Ok(point);
            }
            // So near the top heights are equal to rounding: what must shrink is the promise.
            if promise < NEAR && promise >= promised {
                damping /= 2.0;
                if damping < STALLED {
                    break;
                }
            }
            promised = promise;
            let longest = step.amax();
            let farthest = FARTHEST.max(point.beta.amax());
            let length = if longest > farthest { farthest / longest } else { damping };
            match self.halved(&point, &free, &step, length) {
                Some(next) => point = next,
                None => break,
            }
        }
        // Where rounding hides any gain.
        if promised < ROUNDING { Ok(point) } else { Err(NoFit::NotConverged) }
    }

    /// Newton's step; where the likelihood does not curve downwards there, the scoring step,
    /// which always leads up.
    fn step(&self, point: &Point, free: &[usize], slope: &Slope) -> Option<DVector<f64>> {
        let uphill = slope.score.select_rows(free);
        let newton = || Some(Cholesky::new(slope.curvature.select_rows(free).select_columns(free))?.solve(&uphill));
        if self.penalised
            && let Some(step) = newton()
        {
            return Some(step);
        }
        let information = point.information().select_rows(free).select_columns(free);
        Some(Cholesky::new(information)?.solve(&uphill))
    }

    /// The first of the step of this length, its half, its quarter, … that does not go down by
    /// more than rounding.
    fn halved(&self, from: &Point, free: &[usize], step: &DVector<f64>, mut length: f64) -> Option<Point> {
        let least = from.height - NOISE * (1.0 + from.height.abs());
        for _ in 0..MOST_HALVINGS {
            let mut beta = from.beta.clone();
            for (index, step) in free.iter().zip(step.iter()) {
                beta[*index] += length * step;
            }
            if let Some(next) = self.at(beta).filter(|next| next.height >= least) {
                return Some(next);
            }
            length /= 2.0;
        }
        None
    }
}

pub(super) fn predictor(row: &[f64], beta: &DVector<f64>) -> f64 {
    row.iter().zip(beta.iter()).map(|(x, b)| x * b).sum()
}
