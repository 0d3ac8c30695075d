//! The restricted cubic spline with three knots: two columns, a straight line beyond the outer
//! knots, so that the few values at the ends do not bend it (Harrell, *Regression Modeling
//! Strategies*, 2nd ed., 2015, section 2.4.5).

/// The knots, strictly rising.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) struct Knots(pub(super) [f64; 3]);

impl Knots {
    /// At the quantiles 0.1, 0.5 and 0.9 of the values over their weights; `None` where two of
    /// them, or fewer than five values, are different: then a line says as much.
    pub(super) fn of(values: &[(f64, f64)]) -> Option<Self> {
        let mut sorted = values.to_vec();
        sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
        let different = 1 + sorted.windows(2).filter(|pair| pair[1].0 > pair[0].0).count();
        let total: f64 = sorted.iter().map(|(_, weight)| weight).sum();
        let quantile = |p: f64| {
            let mut below = 0.0;
            sorted.iter().find(|(_, weight)| {
                below += weight;
                below >= p * total
            })
        };
        let knots = [quantile(0.1)?.0, quantile(0.5)?.0, quantile(0.9)?.0];
        (different >= 5 && knots[0] < knots[1] && knots[1] < knots[2]).then_some(Self(knots))
    }

    /// The second column, 0 up to the first knot; counted in distances of the outer knots.
    pub(super) fn bend(&self, value: f64) -> f64 {
        let [first, second, third] = self.0;
        let at = |knot: f64| ((value - knot) / (third - first)).max(0.0).powi(3);
        at(first) - at(second) * (third - first) / (third - second) + at(third) * (second - first) / (third - second)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_straight_outside_and_smooth_inside() {
        let knots = Knots([2.0, 5.0, 11.0]);
        assert!(knots.bend(-7.0).abs() < 1e-15 && knots.bend(2.0).abs() < 1e-15);
        // Beyond the third knot second differences vanish; before it they do not.
        let second = |x: f64| knots.bend(x + 0.5) - 2.0 * knots.bend(x) + knots.bend(x - 0.5);
        assert!(second(12.0).abs() < 1e-12 && second(40.0).abs() < 1e-12, "{}", second(12.0));
        assert!(second(6.0).abs() > 1e-3);
        // Neither value nor slope jumps at a knot.
        for knot in knots.0 {
            let slope = |x: f64| (knots.bend(x + 1e-6) - knots.bend(x - 1e-6)) / 2e-6;
            assert!((slope(knot + 1e-5) - slope(knot - 1e-5)).abs() < 1e-4);
        }
    }

    #[test]
    fn knots_are_weighted_quantiles() {
        let even: Vec<(f64, f64)> = (1..=11).map(|i| (f64::from(i), 1.0)).collect();
        assert_eq!(Knots::of(&even), Some(Knots([2.0, 6.0, 10.0])));
        assert_eq!(Knots::of(&even[..4]), None);
        let heaped: Vec<(f64, f64)> = (1..=11).map(|i| (f64::from(i), if i == 6 { 1000.0 } else { 1.0 })).collect();
        assert_eq!(Knots::of(&heaped), None);
        assert_eq!(Knots::of(&[]), None);
    }
}
