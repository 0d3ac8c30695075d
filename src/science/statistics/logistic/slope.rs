//! First and second derivatives of the likelihood, in closed form.

use nalgebra::{DMatrix, DVector};

use super::likelihood::{Likelihood, MOST_COLUMNS, Point, predictor};

/// How the likelihood runs at a point.
pub(super) struct Slope {
    /// The gradient: Σ (s − nπ + q (½ − π) w) x with w = nπ(1 − π) and q = x′ I⁻¹ x, the second
    /// term only with the penalty.
    pub(super) score: DVector<f64>,
    /// Minus the second derivatives.
    pub(super) curvature: DMatrix<f64>,
}

/// Sums over rows z = R′⁻¹ x, in which the information is the identity.
struct Sums {
    /// Σ (residual) z.
    score: Vec<f64>,
    /// Σ w″ q z z′ for a ≤ b.
    second: Vec<f64>,
    /// Σ w′ z z z for a ≤ b ≤ c.
    third: Vec<f64>,
}

impl Likelihood<'_> {
    /// With I = R′R and z = R′⁻¹ x, minus the second derivatives are R′ K R with
    /// K = 1 − ½ Σ w″ q z z′ + ½ U and U_ab = Σ_cd S_acd S_bcd, where S = Σ w′ z z z: from
    /// ∂ ln det I = tr I⁻¹ ∂I, differentiated once more. One pass over the rows, where
    /// differences of the score take one to each column. Without the penalty K = 1.
    pub(super) fn slope(&self, point: &Point) -> Slope {
        let width = self.width();
        let sums = self.sums(point);
        let score = point.root.tr_mul(&DVector::from_vec(sums.score));
        let mut inner = DMatrix::identity(width, width);
        if self.penalised {
            let whole = unfolded(&sums.third, width);
            let mut at = sums.second.iter();
            for a in 0..width {
                for (b, second) in (a..width).zip(at.by_ref()) {
                    let (one, other) =
                        (&whole[a * width * width..][..width * width], &whole[b * width * width..][..width * width]);
                    let product: f64 = one.iter().zip(other).map(|(x, y)| x * y).sum();
                    let bent = (product - second) / 2.0;
                    inner[(a, b)] += bent;
                    if a != b {
                        inner[(b, a)] += bent;
                    }
                }
            }
        }
        Slope { score, curvature: point.root.tr_mul(&(inner * &point.root)) }
    }

    fn sums(&self, point: &Point) -> Sums {
        let width = self.width();
        let triangle = Triangle::of(&point.root);
        let mut sums = Sums {
            score: vec![0.0; width],
            second: vec![0.0; width * (width + 1) / 2],
            third: vec![0.0; if self.penalised { width * (width + 1) * (width + 2) / 6 } else { 0 }],
        };
        let mut space = [0.0; MOST_COLUMNS];
        let z = &mut space[..width];
        for ((row, s), n) in self.rows.iter().zip(self.successes).zip(self.trials) {
            let eta = predictor(row, &point.beta);
            let (rate, other) = (Self::rate(eta), Self::rate(-eta));
            let q = triangle.solve(row, z);
            let weight = n * rate * other;
            let slant = other - rate;
            let mut residual = s - n * rate;
            if self.penalised {
                residual += weight * q * slant / 2.0;
                sums.add(z, weight * (slant * slant - 2.0 * rate * other) * q, weight * slant);
            }
            for (sum, z) in sums.score.iter_mut().zip(z.iter()) {
                *sum += residual * z;
            }
        }
        sums
    }
}

impl Sums {
    fn add(&mut self, z: &[f64], second: f64, third: f64) {
        let (mut pairs, mut triples) = (self.second.iter_mut(), self.third.iter_mut());
        for (a, first) in z.iter().enumerate() {
            let own = second * first;
            for (z, sum) in z[a..].iter().zip(pairs.by_ref()) {
                *sum += own * z;
            }
            for (b, middle) in z.iter().enumerate().skip(a) {
                let both = third * first * middle;
                for (z, sum) in z[b..].iter().zip(triples.by_ref()) {
                    *sum += both * z;
                }
            }
        }
    }
}

/// A symmetric array of three indices, whole, from its part a ≤ b ≤ c.
fn unfolded(part: &[f64], width: usize) -> Vec<f64> {
    let mut whole = vec![0.0; width * width * width];
    let mut at = part.iter();
    for a in 0..width {
        for b in a..width {
            for (c, value) in (b..width).zip(at.by_ref()) {
                for (i, j, k) in [(a, b, c), (a, c, b), (b, a, c), (b, c, a), (c, a, b), (c, b, a)] {
                    whole[(i * width + j) * width + k] = *value;
                }
            }
        }
    }
    whole
}

/// R, column by column down to the diagonal, to solve R′ z = x.
struct Triangle(Vec<f64>);

impl Triangle {
    fn of(root: &DMatrix<f64>) -> Self {
        Self((0..root.ncols()).flat_map(|column| (0..=column).map(move |row| root[(row, column)])).collect())
    }

    /// z, and the square of its length: x′ I⁻¹ x.
    fn solve(&self, x: &[f64], z: &mut [f64]) -> f64 {
        let mut at = self.0.as_slice();
        let mut length = 0.0;
        for (column, value) in x.iter().enumerate() {
            let (above, rest) = at.split_at(column);
            let before: f64 = above.iter().zip(z.iter()).map(|(r, z)| r * z).sum();
            z[column] = (value - before) / rest[0];
            length += z[column] * z[column];
            at = &rest[1..];
        }
        length
    }
}
