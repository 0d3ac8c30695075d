//! The t-chart: the time between rare events, where only dates are known (Nelson 1994, Journal
//! of Quality Technology 26:239).
//!
//! Exponential times to the power 1/3.6 are nearly normal; a chart of individuals is made of
//! those and its limits taken back. Where pours can be counted the g-chart is better: a slow
//! month is no improvement.

use super::super::individuals::D2;

/// The power that makes an exponential time nearly normal.
const POWER: f64 = 3.6;

/// The chart, in the unit of the times handed in.
#[derive(Clone, PartialEq, Debug)]
pub struct TChart {
    /// The mean of `t^(1/3.6)`.
    pub mean_y: f64,
    /// The mean moving range of it.
    pub mean_moving_range_y: f64,
    /// The centre, `ȳ^3.6`: near the median.
    pub centre: f64,
    /// The lower limit; 0 where the transformed one would be below 0.
    pub lower: f64,
    /// The upper limit.
    pub upper: f64,
    /// Which times (from 0) lie above the upper limit: longer without an event than by chance.
    pub above: Vec<usize>,
    /// Which times (from 0) lie below the lower limit.
    pub below: Vec<usize>,
}

/// The chart of some times between events in their order, limits at `k` sigma. `None` of fewer
/// than two times, or where one is not above 0 (two events at one instant have no time between
/// them: count pours instead).
#[must_use]
pub fn t_chart(times: &[f64], k: f64) -> Option<TChart> {
    if times.len() < 2 || !k.is_finite() || k <= 0.0 || times.iter().any(|t| !(*t > 0.0 && t.is_finite())) {
        return None;
    }
    let y: Vec<f64> = times.iter().map(|t| t.powf(1.0 / POWER)).collect();
    let mean_y = y.iter().sum::<f64>() / y.len() as f64;
    let moved: f64 = y.windows(2).map(|pair| (pair[1] - pair[0]).abs()).sum();
    let mean_moving_range_y = moved / (y.len() - 1) as f64;
    let reach = k * mean_moving_range_y / D2;
    let back = |y: f64| y.max(0.0).powf(POWER);
    let (lower, upper) = (mean_y - reach, mean_y + reach);
    let which = |beyond: &dyn Fn(f64) -> bool| (0..).zip(&y).filter(|(_, y)| beyond(**y)).map(|(at, _)| at).collect();
    Some(TChart {
        mean_y,
        mean_moving_range_y,
        centre: back(mean_y),
        lower: back(lower),
        upper: back(upper),
        above: which(&|y| y > upper),
        below: which(&|y| y < lower),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_that_are_none_have_no_chart() {
        for times in [&[][..], &[4.0], &[4.0, 0.0], &[4.0, -1.0], &[4.0, f64::NAN], &[4.0, f64::INFINITY]] {
            assert_eq!(t_chart(times, 3.0), None, "{times:?}");
        }
    }

    #[test]
    fn beyond_a_limit_is_marked() {
        // Steady times, then one 400 times as long, then one 10,000 times as short.
        let mut times = [10.0, 11.0].repeat(15);
        times.extend([4_000.0, 10.0, 0.001]);
        let chart = t_chart(&times, 3.0).unwrap();
        assert_eq!((chart.above, chart.below), (vec![30], vec![32]));
        let still = t_chart(&[5.0; 4], 3.0).unwrap();
        assert!(still.above.is_empty() && still.below.is_empty() && (still.centre - 5.0).abs() < 1e-12);
    }
}
