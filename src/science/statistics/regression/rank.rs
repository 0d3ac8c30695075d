//! Ranks of order statistics, in exact decimals: 0.7 of 10 is 7, while in binary it is a
//! little less or more, and the next rank would be taken.

use super::NoFit;

/// Levels count in parts of so many.
const PARTS: u64 = 1_000_000_000_000;

/// A level between 0 and 1, to twelve decimals.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Level(u64);

impl Level {
    pub(super) fn new(level: f64) -> Result<Self, NoFit> {
        if !(level > 0.0 && level < 1.0) {
            return Err(NoFit::Level);
        }
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and 10^12")]
        let parts = (level * PARTS as f64).round() as u64;
        if parts == 0 || parts == PARTS { Err(NoFit::Level) } else { Ok(Self(parts)) }
    }

    /// 1 less the level.
    pub(super) const fn complement(self) -> Self {
        Self(PARTS - self.0)
    }

    /// ⌈(n + 1) level⌉.
    pub(super) fn rank_above(self, n: usize) -> usize {
        let product = (n as u128 + 1) * u128::from(self.0);
        usize::try_from(product.div_ceil(u128::from(PARTS))).unwrap_or(usize::MAX)
    }

    /// ⌊(n + 1) level⌋.
    pub(super) fn rank_below(self, n: usize) -> usize {
        let product = (n as u128 + 1) * u128::from(self.0);
        usize::try_from(product / u128::from(PARTS)).unwrap_or(usize::MAX)
    }
}

/// The value of rank `rank` (from 1) in a sorted list; none where there is no such rank.
pub(super) fn of_rank(sorted: &[f64], rank: usize) -> Option<f64> {
    rank.checked_sub(1).and_then(|index| sorted.get(index)).copied()
}

pub(super) fn sorted(values: impl IntoIterator<Item = f64>) -> Vec<f64> {
    let mut values: Vec<f64> = values.into_iter().collect();
    values.sort_by(f64::total_cmp);
    values
}
