//! A chart of single values in order: individuals and moving ranges.
//!
//! NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, *Individuals control charts*:
//! the limits of a value are x̄ ± 3 MR̄ ∕ d₂ with d₂ = 1.128 for ranges of two, that of a moving
//! range is D₄ MR̄ with D₄ = 3.267. The handbook writes 3 ∕ 1.128 out; rounded it is 2.66.

/// d₂ of two: the mean range of two normal values in standard deviations.
pub const D2: f64 = 1.128;
/// D₄ of two: the upper limit of a range over the mean range.
pub const D4: f64 = 3.267;
/// Below so many points the limits are not to be relied on (common practice: 20 to 25).
pub const RELIED_ON_FROM: usize = 20;

/// What a point says.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Signal {
    /// The value is over its upper limit.
    AboveUpper,
    /// The value is under its lower limit.
    BelowLower,
    /// The step from the value before is over the limit of ranges.
    RangeAboveUpper,
}

impl Signal {
    /// As answered.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::AboveUpper => "above_upper",
            Self::BelowLower => "below_lower",
            Self::RangeAboveUpper => "range_above_upper",
        }
    }
}

/// The lines of a chart.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Lines {
    /// The mean of the moving ranges.
    pub mean_range: f64,
    /// The lower limit of values.
    pub lower: f64,
    /// The upper limit of values.
    pub upper: f64,
    /// The upper limit of moving ranges.
    pub upper_range: f64,
}

/// One value on the chart.
#[derive(Clone, PartialEq, Debug)]
pub struct Point {
    /// The value.
    pub value: f64,
    /// How far it is from the one before; none for the first.
    pub moving_range: Option<f64>,
    /// What it says.
    pub signals: Vec<Signal>,
}

/// A chart of single values in their order.
#[derive(Clone, PartialEq, Debug)]
pub struct Individuals {
    /// The values.
    pub points: Vec<Point>,
    /// Their mean; none of no values.
    pub centre: Option<f64>,
    /// The limits; none below two values.
    pub lines: Option<Lines>,
    /// Whether there are too few values for the limits to be relied on.
    pub few: bool,
}

/// The chart of some values in their order.
#[must_use]
#[expect(clippy::cast_precision_loss, reason = "counts of points lie far below 2^53")]
pub fn individuals(values: &[f64]) -> Individuals {
    let ranges: Vec<f64> = values.windows(2).map(|pair| (pair[1] - pair[0]).abs()).collect();
    let mean = |list: &[f64]| (!list.is_empty()).then(|| list.iter().sum::<f64>() / list.len() as f64);
    let centre = mean(values);
    let lines = centre.zip(mean(&ranges)).map(|(centre, mean_range)| {
        let reach = 3.0 * mean_range / D2;
        Lines { mean_range, lower: centre - reach, upper: centre + reach, upper_range: D4 * mean_range }
    });
    let signals = |value: f64, range: Option<f64>| {
        let Some(lines) = lines else { return Vec::new() };
        [
            (value > lines.upper, Signal::AboveUpper),
            (value < lines.lower, Signal::BelowLower),
            (range.is_some_and(|r| r > lines.upper_range), Signal::RangeAboveUpper),
        ]
        .into_iter()
        .filter_map(|(seen, signal)| seen.then_some(signal))
        .collect()
    };
    let points = values
        .iter()
        .enumerate()
        .map(|(n, &value)| {
            let moving_range = n.checked_sub(1).and_then(|before| ranges.get(before)).copied();
            Point { value, moving_range, signals: signals(value, moving_range) }
        })
        .collect();
    Individuals { points, centre, lines, few: values.len() < RELIED_ON_FROM }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST/SEMATECH e-Handbook 6.3.2.2, the flowrate of ten batches.
    const FLOWRATE: [f64; 10] = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];

    #[test]
    fn the_handbooks_example_comes_out() {
        let chart = individuals(&FLOWRATE);
        let lines = chart.lines.unwrap();
        // Centre 50.81, mean range 1.8778, limits 50.81 ± 3 × 1.8778 ∕ 1.128.
        assert!((chart.centre.unwrap() - 50.81).abs() < 1e-9);
        assert!((lines.mean_range - 1.8778).abs() < 5e-5);
        assert!((lines.upper - 55.8041).abs() < 1e-4, "{}", lines.upper);
        assert!((lines.lower - 45.8158).abs() < 2e-4, "{}", lines.lower);
        // The moving ranges printed there.
        let ranges: Vec<f64> = chart.points.iter().filter_map(|p| p.moving_range).collect();
        for (range, printed) in ranges.iter().zip([2.0, 2.3, 1.4, 3.5, 3.4, 1.4, 0.2, 1.2, 1.5]) {
            assert!((range - printed).abs() < 1e-9);
        }
        assert!(chart.points.iter().all(|p| p.signals.is_empty()) && chart.few);
    }

    #[test]
    fn a_value_beyond_a_limit_is_a_signal() {
        let mut values = vec![1.0, 1.1, 0.9, 1.0, 1.1, 0.9, 1.0, 1.1, 0.9, 1.0, 1.0, 1.1, 0.9, 1.0, 1.1, 0.9, 1.0, 1.1, 0.9, 1.0];
        assert!(!individuals(&values).few);
        values.push(9.0);
        let chart = individuals(&values);
        assert_eq!(chart.points[20].signals, [Signal::AboveUpper, Signal::RangeAboveUpper]);
        values[20] = -9.0;
        assert_eq!(individuals(&values).points[20].signals, [Signal::BelowLower, Signal::RangeAboveUpper]);
    }

    #[test]
    fn one_value_has_no_limits() {
        assert_eq!(individuals(&[]).centre, None);
        let one = individuals(&[0.02]);
        assert_eq!((one.centre, one.lines, one.points.len()), (Some(0.02), None, 1));
        // Values that do not differ have limits of no width, and are within them.
        let still = individuals(&[0.25, 0.25, 0.25]);
        assert!(still.points.iter().all(|p| p.signals.is_empty()), "{still:?}");
    }
}
