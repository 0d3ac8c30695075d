//! Patterns of points that luck rarely makes: the eight tests of Nelson (1984, Journal of
//! Quality Technology 16:237) and the four zone rules of the Western Electric handbook (1956).
//!
//! Conventions, which papers leave open:
//! * beyond and inside are strict: a point on a line is neither;
//! * a point on the centre, or equal to its neighbour, breaks runs, trends and alternation;
//! * in "two of three" and "four of five" the last point is itself beyond, and a window cut
//!   short by the start of the chart counts;
//! * the mark stands on every point that completes the pattern.
//!
//! All eight together cry wolf: [`Rule::DEFAULT`] is what a chart uses unasked. They are for
//! values that scatter evenly about the centre, never for gaps, which are skewed.

use serde::Serialize;
use utoipa::ToSchema;

/// A pattern.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Rule {
    /// Nelson 1, Western Electric 1: a point beyond three sigma.
    BeyondThreeSigma,
    /// Nelson 2: nine in a row on one side of the centre.
    NineOnOneSide,
    /// Nelson 3: six in a row strictly rising, or falling.
    SixRisingOrFalling,
    /// Nelson 4: fourteen in a row that alternate up and down.
    FourteenAlternating,
    /// Nelson 5, Western Electric 2: two of three beyond two sigma on one side.
    TwoOfThreeBeyondTwoSigma,
    /// Nelson 6, Western Electric 3: four of five beyond one sigma on one side.
    FourOfFiveBeyondOneSigma,
    /// Nelson 7: fifteen in a row inside one sigma.
    FifteenInsideOneSigma,
    /// Nelson 8: eight in a row outside one sigma, on either side.
    EightOutsideOneSigma,
    /// Western Electric 4: eight in a row on one side of the centre.
    EightOnOneSide,
}

impl Rule {
    /// The eight of Nelson, in his order.
    pub const NELSON: [Self; 8] = [
        Self::BeyondThreeSigma,
        Self::NineOnOneSide,
        Self::SixRisingOrFalling,
        Self::FourteenAlternating,
        Self::TwoOfThreeBeyondTwoSigma,
        Self::FourOfFiveBeyondOneSigma,
        Self::FifteenInsideOneSigma,
        Self::EightOutsideOneSigma,
    ];
    /// The four of the Western Electric handbook, in its order.
    pub const WESTERN_ELECTRIC: [Self; 4] =
        [Self::BeyondThreeSigma, Self::TwoOfThreeBeyondTwoSigma, Self::FourOfFiveBeyondOneSigma, Self::EightOnOneSide];
    /// What a chart uses unasked.
    pub const DEFAULT: [Self; 2] = [Self::BeyondThreeSigma, Self::NineOnOneSide];

    /// Whether the last of these values completes the pattern; `z` are the values up to and with
    /// it, less the centre.
    fn completed(self, z: &[f64], sigma: f64) -> bool {
        match self {
            Self::BeyondThreeSigma => last(z, 1).is_some_and(|z| z[0].abs() > 3.0 * sigma),
            Self::NineOnOneSide => one_side(z, 9),
            Self::EightOnOneSide => one_side(z, 8),
            Self::SixRisingOrFalling => last(z, 6).is_some_and(|z| {
                let rises = |sign: f64| z.windows(2).all(|pair| sign * (pair[1] - pair[0]) > 0.0);
                rises(1.0) || rises(-1.0)
            }),
            Self::FourteenAlternating => last(z, 14).is_some_and(|z| {
                // Every inner point strictly above, or strictly below, both its neighbours.
                z.windows(3)
                    .all(|three| (three[1] > three[0] && three[1] > three[2]) || (three[1] < three[0] && three[1] < three[2]))
            }),
            Self::TwoOfThreeBeyondTwoSigma => some_of(z, 2, 3, 2.0 * sigma),
            Self::FourOfFiveBeyondOneSigma => some_of(z, 4, 5, sigma),
            Self::FifteenInsideOneSigma => last(z, 15).is_some_and(|z| z.iter().all(|z| z.abs() < sigma)),
            Self::EightOutsideOneSigma => last(z, 8).is_some_and(|z| z.iter().all(|z| z.abs() > sigma)),
        }
    }
}

fn last(z: &[f64], count: usize) -> Option<&[f64]> {
    z.len().checked_sub(count).and_then(|from| z.get(from..))
}

fn one_side(z: &[f64], count: usize) -> bool {
    last(z, count).is_some_and(|z| z.iter().all(|z| *z > 0.0) || z.iter().all(|z| *z < 0.0))
}

/// `some` of the last `of`, the very last among them, beyond a line on one side.
fn some_of(z: &[f64], some: usize, of: usize, line: f64) -> bool {
    let window = last(z, of).unwrap_or(z);
    let on =
        |sign: f64| window.last().is_some_and(|z| sign * z > line) && window.iter().filter(|z| sign * **z > line).count() >= some;
    on(1.0) || on(-1.0)
}

/// For each value in its order, which of `rules` it completes. `None` unless σ > 0 and all is
/// finite.
#[must_use]
pub fn run_rules(values: &[f64], centre: f64, sigma: f64, rules: &[Rule]) -> Option<Vec<Vec<Rule>>> {
    let sane = sigma > 0.0 && sigma.is_finite() && centre.is_finite() && values.iter().all(|v| v.is_finite());
    let z: Vec<f64> = values.iter().map(|v| v - centre).collect();
    let marks = |end: usize| rules.iter().copied().filter(|rule| rule.completed(&z[..end], sigma)).collect();
    sane.then(|| (1..=z.len()).map(marks).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_has_no_spread_has_no_rules() {
        assert_eq!(run_rules(&[1.0], 1.0, 0.0, &Rule::NELSON), None);
        assert_eq!(run_rules(&[f64::NAN], 1.0, 1.0, &Rule::NELSON), None);
        assert_eq!(run_rules(&[], 1.0, 1.0, &Rule::NELSON), Some(vec![]));
    }

    #[test]
    fn each_pattern_is_one_point_short_of_itself() {
        let patterns: [(Rule, Vec<f64>); 6] = [
            (Rule::NineOnOneSide, vec![0.1; 9]),
            (Rule::EightOnOneSide, vec![-0.1; 8]),
            (Rule::SixRisingOrFalling, vec![5.0, 4.0, 3.0, 2.0, 1.0, -1.0]),
            (Rule::FourteenAlternating, [0.1, -0.1].repeat(7)),
            (Rule::FifteenInsideOneSigma, vec![0.9; 15]),
            (Rule::EightOutsideOneSigma, [1.1, -1.1].repeat(4)),
        ];
        for (rule, values) in patterns {
            let marks = run_rules(&values, 0.0, 1.0, &[rule]).unwrap();
            let (end, before) = marks.split_last().unwrap();
            assert_eq!(end, &[rule]);
            assert!(before.iter().all(Vec::is_empty), "{rule:?}: {before:?}");
        }
    }
}
