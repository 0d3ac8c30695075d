//! Gauss–Legendre nodes on the unit interval, with the logarithms that integrands of large
//! powers need. Exact for polynomials of degree up to twice the nodes less one.

use std::sync::LazyLock;

use super::super::quadrature::half_rule;

/// A node u, with v = 1 − u.
#[derive(Clone, Copy, Debug)]
pub(super) struct Node {
    /// ln u.
    pub(super) ln_u: f64,
    /// ln(1 − u).
    pub(super) ln_v: f64,
    /// v − u, between −1 and 1.
    pub(super) tilt: f64,
    /// The logarithm of the weight; weights add up to 1.
    pub(super) ln_weight: f64,
}

type Table = LazyLock<Vec<Node>>;
/// Each is made once, when it is first asked for.
static TABLES: [Table; 6] = [
    LazyLock::new(|| nodes(64)),
    LazyLock::new(|| nodes(128)),
    LazyLock::new(|| nodes(256)),
    LazyLock::new(|| nodes(512)),
    LazyLock::new(|| nodes(1024)),
    LazyLock::new(|| nodes(2048)),
];

/// Nodes that are exact for polynomials of a degree; the most there are beyond degree 4095, where
/// they still lie far closer than a power of the degrees served here bends.
pub(super) fn exact_for(degree: f64) -> &'static [Node] {
    let needed = f64::midpoint(degree, 1.0);
    let last = TABLES.len() - 1;
    let at = (0..last).zip([64.0, 128.0, 256.0, 512.0, 1024.0]).find(|(_, most)| needed <= *most).map_or(last, |(at, _)| at);
    &TABLES[at]
}

/// The nodes of an even rule, two by two: the intervals have length 1.
fn nodes(count: u32) -> Vec<Node> {
    let two = |(t, weight): (f64, f64)| {
        let (u, v) = ((t / 2.0).cos().powi(2), (t / 2.0).sin().powi(2));
        let ln_weight = (weight / 2.0).ln();
        let node = |u: f64, v: f64| Node { ln_u: u.ln(), ln_v: v.ln(), tilt: v - u, ln_weight };
        [node(u, v), node(v, u)]
    };
    half_rule(count).into_iter().flat_map(two).collect()
}

/// ln Σ exp of some logarithms; −∞ of none.
pub(super) fn ln_sum_exp(terms: &[f64]) -> f64 {
    let top = terms.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if top == f64::NEG_INFINITY { top } else { top + terms.iter().map(|term| (term - top).exp()).sum::<f64>().ln() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn powers_integrate_exactly() {
        // ∫ u^a (1 − u)^b du = a! b! ∕ (a + b + 1)!, here with b = 0 and b = 3.
        for degree in [0.0_f64, 1.0, 60.0, 127.0, 400.0, 1000.0, 4000.0] {
            let table = exact_for(degree + 3.0);
            let ln = |b: f64| {
                let terms: Vec<f64> = table.iter().map(|n| n.ln_weight + degree * n.ln_u + b * n.ln_v).collect();
                ln_sum_exp(&terms).exp()
            };
            assert!((ln(0.0) * (degree + 1.0) - 1.0).abs() < 1e-11, "{degree}: {}", ln(0.0));
            let three = 6.0 / ((degree + 1.0) * (degree + 2.0) * (degree + 3.0) * (degree + 4.0));
            assert!((ln(3.0) / three - 1.0).abs() < 1e-10, "{degree}: {}", ln(3.0) / three);
        }
    }

    #[test]
    fn the_sum_of_nothing() {
        assert_eq!(ln_sum_exp(&[]).to_bits(), f64::NEG_INFINITY.to_bits());
        assert!((ln_sum_exp(&[1000.0, 1000.0]) - 1000.0 - 2.0_f64.ln()).abs() < 1e-12);
    }
}
