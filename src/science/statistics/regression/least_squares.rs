//! Least squares on several columns.

use nalgebra::{DMatrix, DVector};

use super::NoFit;

/// A column of which less than this is left beside the others is determined by them.
const COLLINEAR: f64 = 1e-10;

/// A least-squares fit with an intercept.
#[derive(Clone, PartialEq, Debug)]
pub struct LeastSquares {
    /// The intercept, then one for each column.
    pub coefficients: Vec<f64>,
    /// Their standard errors.
    pub standard_errors: Vec<f64>,
    /// √(residual sum of squares ∕ (n − p)).
    pub residual_sd: f64,
    /// The share of the variance about the mean that is explained; 1 where there is none.
    pub r_squared: f64,
}

/// Least squares of y on an intercept and the columns, by Householder QR of the columns
/// centred and scaled, with one step of refinement: normal equations would square the loss of
/// digits (Longley, *JASA* 62, 1967, 819–841). Needs more rows than coefficients.
pub fn least_squares(columns: &[Vec<f64>], y: &[f64]) -> Result<LeastSquares, NoFit> {
    let (rows, width) = (y.len(), columns.len());
    if columns.iter().any(|column| column.len() != rows) {
        return Err(NoFit::Lengths);
    }
    if columns.iter().flatten().chain(y).any(|value| !value.is_finite()) {
        return Err(NoFit::NotFinite);
    }
    if rows < width + 2 {
        return Err(NoFit::TooFew);
    }
    let n = rows as f64;
    let centres: Vec<f64> = columns.iter().map(|column| mean(column)).collect();
    let mut scales = Vec::with_capacity(width);
    for (column, centre) in columns.iter().zip(&centres) {
        let scale = column.iter().map(|value| (value - centre).powi(2)).sum::<f64>().sqrt();
        let largest = column.iter().fold(0.0_f64, |most, value| most.max(value.abs()));
        // Not above: a column that varies in its last digit only, or overflows.
        if !(scale > 1e-13 * largest && scale.is_finite()) {
            return Err(NoFit::Collinear);
        }
        scales.push(scale);
    }
    let x = DMatrix::from_fn(rows, width, |i, j| (columns[j][i] - centres[j]) / scales[j]);
    let middle = mean(y);
    let target = DVector::from_iterator(rows, y.iter().map(|value| value - middle));
    let qr = x.clone().qr();
    let (q, r) = (qr.q(), qr.r());
    if r.diagonal().iter().any(|d: &f64| d.abs() < COLLINEAR) {
        return Err(NoFit::Collinear);
    }
    let solve = |target: &DVector<f64>| r.solve_upper_triangular(&q.tr_mul(target)).ok_or(NoFit::Collinear);
    let first = solve(&target)?;
    let slopes = &first + solve(&(&target - &x * &first))?;
    let residuals = &target - &x * &slopes;
    let freedom = (rows - width - 1) as f64;
    let variance = residuals.norm_squared() / freedom;
    let inverse = r.try_inverse().ok_or(NoFit::Collinear)?;
    let covariance = &inverse * inverse.transpose();
    let shift = DVector::from_iterator(width, centres.iter().zip(&scales).map(|(centre, scale)| centre / scale));
    let total = target.norm_squared();
    let mut fit = LeastSquares {
        coefficients: vec![middle - shift.dot(&slopes)],
        standard_errors: vec![(variance * (1.0 / n + (&covariance * &shift).dot(&shift))).sqrt()],
        residual_sd: variance.sqrt(),
        r_squared: if total > 0.0 { 1.0 - residuals.norm_squared() / total } else { 1.0 },
    };
    for (j, scale) in scales.iter().enumerate() {
        fit.coefficients.push(slopes[j] / scale);
        fit.standard_errors.push((variance * covariance[(j, j)]).sqrt() / scale);
    }
    let finite = fit.coefficients.iter().chain(&fit.standard_errors).all(|value| value.is_finite());
    if finite { Ok(fit) } else { Err(NoFit::NotFinite) }
}

pub(super) fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}
