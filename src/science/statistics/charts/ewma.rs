//! The exponentially weighted moving average of a measured thing, which sees a slow drift that
//! single values hide (Roberts 1959, Technometrics 1:239; NIST/SEMATECH e-Handbook 6.3.2.4).
//!
//! `z = λ x + (1 − λ) z`, from the target on; limits `target ± L σ √(λ/(2 − λ) [1 − (1 − λ)^2i])`.
//! The handbook leaves the bracket out, which is right once some ten values have come in and
//! too wide before.

/// One value on the chart.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct EwmaPoint {
    /// The moving average after this value.
    pub ewma: f64,
    /// The lower limit.
    pub lower: f64,
    /// The upper limit.
    pub upper: f64,
    /// Whether the average lies strictly beyond a limit.
    pub out: bool,
}

/// How a chart is drawn up.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Ewma {
    /// The weight of the newest value, above 0 and at most 1; 0.2 to 0.3 is common.
    pub lambda: f64,
    /// What the thing should be, in its own unit; also where the average starts.
    pub target: f64,
    /// The standard deviation of a single value, from a time when all was well.
    pub sigma: f64,
    /// How many standard deviations of the average the limits lie away; about 2.7 to 3.
    pub reach: f64,
    /// Whether the limits of the first values are the narrower, exact ones.
    pub exact_limits: bool,
}

/// The chart of some values in their order. `None` unless 0 < λ ≤ 1, σ and the reach are above
/// 0, and all is finite.
#[must_use]
pub fn ewma_chart(values: &[f64], made: &Ewma) -> Option<Vec<EwmaPoint>> {
    let Ewma { lambda, target, sigma, reach, exact_limits } = *made;
    let sane = lambda > 0.0 && lambda <= 1.0 && sigma > 0.0 && reach > 0.0;
    if !sane || ![target, sigma, reach].iter().chain(values).all(|v| v.is_finite()) {
        return None;
    }
    let (mut z, mut left) = (target, 1.0);
    let points = values.iter().map(|x| {
        z = lambda * x + (1.0 - lambda) * z;
        left *= (1.0 - lambda).powi(2);
        let bracket = if exact_limits { 1.0 - left } else { 1.0 };
        let wide = reach * sigma * (lambda / (2.0 - lambda) * bracket).sqrt();
        let (lower, upper) = (target - wide, target + wide);
        EwmaPoint { ewma: z, lower, upper, out: z < lower || z > upper }
    });
    Some(points.collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    const MADE: Ewma = Ewma { lambda: 0.2, target: 10.0, sigma: 1.0, reach: 3.0, exact_limits: true };

    #[test]
    fn a_drift_is_seen_that_no_single_value_shows() {
        // Each value within 2 sigma of the target, all 1.5 above it.
        let chart = ewma_chart(&[11.5; 10], &MADE).unwrap();
        assert!(chart.iter().any(|p| p.out), "{chart:?}");
        assert!(!ewma_chart(&[11.5, 8.5].repeat(10), &MADE).unwrap().iter().any(|p| p.out));
    }

    #[test]
    fn with_a_weight_of_one_it_is_the_chart_of_single_values() {
        let chart = ewma_chart(&[10.0, 12.9, 13.1], &Ewma { lambda: 1.0, ..MADE }).unwrap();
        let out: Vec<bool> = chart.iter().map(|p| p.out).collect();
        assert_eq!(out, [false, false, true]);
    }

    #[test]
    fn what_makes_no_chart() {
        assert_eq!(ewma_chart(&[1.0], &Ewma { lambda: 0.0, ..MADE }), None);
        assert_eq!(ewma_chart(&[1.0], &Ewma { sigma: 0.0, ..MADE }), None);
        assert_eq!(ewma_chart(&[f64::NAN], &MADE), None);
        assert_eq!(ewma_chart(&[], &MADE), Some(vec![]));
    }
}
