//! Nodes and weights of Gauss–Legendre quadrature.

use std::f64::consts::PI;

/// Most Newton steps to a node; four suffice.
const MOST_STEPS: u32 = 50;

/// The nodes and weights of the rule of `count` points on `low`..`high`, exact for polynomials
/// of degree 2 `count` − 1 (Abramowitz & Stegun 25.4.29–30). Empty for 0 points.
#[must_use]
pub fn gauss_legendre(count: u32, low: f64, high: f64) -> Vec<(f64, f64)> {
    let half = (high - low) / 2.0;
    let n = f64::from(count);
    (0..count)
        .map(|i| {
            // The roots of P_n, from their usual first guess.
            let mut x = (PI * (f64::from(i) + 0.75) / (n + 0.5)).cos();
            let mut slope = 1.0;
            for _ in 0..MOST_STEPS {
                let (value, derivative) = legendre(count, x);
                slope = derivative;
                let step = value / derivative;
                x -= step;
                if step.abs() < 1e-15 {
                    break;
                }
            }
            (low + half * (1.0 - x), 2.0 * half / ((1.0 - x * x) * slope * slope))
        })
        .collect()
}

/// The Legendre polynomial P_n and its derivative at x, by the three-term recurrence.
fn legendre(n: u32, x: f64) -> (f64, f64) {
    let (mut before, mut value) = (1.0, x);
    for k in 2..=n {
        let k = f64::from(k);
        (before, value) = (value, ((2.0 * k - 1.0) * x * value - (k - 1.0) * before) / k);
    }
    (value, f64::from(n) * (x * value - before) / (x * x - 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn polynomials_are_integrated_exactly() {
        assert!(gauss_legendre(0, 0.0, 1.0).is_empty());
        for count in [1, 2, 5, 16, 48] {
            let degree = 2 * count - 1;
            let got: f64 = gauss_legendre(count, 0.0, 2.0).iter().map(|(x, w)| w * (x / 2.0).powi(degree.cast_signed())).sum();
            let want = 2.0 / f64::from(degree + 1);
            assert!((got / want - 1.0).abs() < 1e-12, "{count}: {got} {want}");
        }
    }
}
