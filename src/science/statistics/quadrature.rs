//! Nodes and weights of Gauss–Legendre quadrature.

use std::f64::consts::PI;

/// Most Newton steps to a node; four suffice.
const MOST_STEPS: u32 = 20;

/// The nodes and weights of the rule of `count` points on `low`..`high`, exact for polynomials
/// of degree 2 `count` − 1 (Abramowitz & Stegun 25.4.29–30). Empty for 0 points.
#[must_use]
pub fn gauss_legendre(count: u32, low: f64, high: f64) -> Vec<(f64, f64)> {
    let wide = high - low;
    let first = half_rule(count);
    let second = first.iter().rev().skip(usize::from(!count.is_multiple_of(2))).map(|(t, weight)| (PI - t, *weight));
    // (1 − cos t) ∕ 2 = sin² (t ∕ 2).
    first.iter().copied().chain(second).map(|(t, weight)| (low + wide * (t / 2.0).sin().powi(2), wide / 2.0 * weight)).collect()
}

/// The nodes cos t of the rule on −1..1 from 1 down to 0, by their angles t, with their weights
/// 2 ∕ ((1 − x²) P′²); the other half mirrors them. The roots of the Legendre polynomial, by
/// Newton's method from their asymptotic places, solved for t: that keeps the digits of 1 − x.
pub(super) fn half_rule(count: u32) -> Vec<(f64, f64)> {
    let n = f64::from(count);
    let node = |i: u32| {
        let mut t = PI * (f64::from(i) + 0.75) / (n + 0.5);
        let mut slope = 1.0;
        for _ in 0..MOST_STEPS {
            let (value, before) = legendre(count, t.cos());
            // dP/dx = n (P₍ₙ₋₁₎ − x Pₙ) ∕ (1 − x²), dx/dt = −sin t.
            slope = n * (before - t.cos() * value) / t.sin().powi(2);
            let step = value / (slope * t.sin());
            t += step;
            if step.abs() <= f64::EPSILON {
                break;
            }
        }
        (t, 2.0 / (t.sin() * slope).powi(2))
    };
    (0..count.div_ceil(2)).map(node).collect()
}

/// The Legendre polynomials of a degree and of one less, by their recurrence.
fn legendre(degree: u32, x: f64) -> (f64, f64) {
    let (mut value, mut before) = (x, 1.0);
    for k in 1..degree {
        let k = f64::from(k);
        (value, before) = (((2.0 * k + 1.0) * x * value - k * before) / (k + 1.0), value);
    }
    (value, before)
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
