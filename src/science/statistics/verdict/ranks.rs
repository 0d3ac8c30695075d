//! The places that levels may have in order of their rates.

use super::compare::Comparison;
use super::{Side, Verdict};

/// The places a level may stand at, the first being the lowest rate. Only where `from` and
/// `to` are one is a level the best, the worst or any other.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Places {
    /// The level.
    pub level: usize,
    /// The first place it may stand at: 1 and one more for each level told apart below it.
    pub from: usize,
    /// The last: the number of levels less those told apart above it.
    pub to: usize,
}

/// The places of levels, from the pairs told apart.
pub(super) fn places(levels: &[usize], comparisons: &[Comparison]) -> Vec<Places> {
    let apart = |level: usize, above: bool| {
        let counts = |comparison: &&Comparison| {
            let (Some(b), Some(higher)) = (comparison.b, comparison.adjusted.higher()) else { return false };
            let (high, low) = if higher == Side::A { (comparison.a, b) } else { (b, comparison.a) };
            comparison.verdict == Verdict::ToldApart && level == if above { low } else { high }
        };
        comparisons.iter().filter(counts).count()
    };
    let place = |level: &usize| Places {
        level: *level,
        from: 1 + apart(*level, false),
        to: levels.len().saturating_sub(apart(*level, true)),
    };
    levels.iter().map(place).collect()
}
