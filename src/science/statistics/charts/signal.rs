//! What a chart has to say of a point, with the figures that explain it.

use serde::Serialize;
use utoipa::ToSchema;

/// A signal: something luck rarely does while the rate is the centre. Counts are counts of the
/// outcome watched (leaks), so *above* and *more* are a worsening, *below* and *fewer* an
/// improvement.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, ToSchema)]
#[serde(tag = "signal", rename_all = "snake_case")]
pub enum Signal {
    /// The group has more than its upper limit allows.
    AboveUpper {
        /// How many it has.
        count: u32,
        /// Out of how many.
        of: u32,
        /// How many the centre makes expect.
        expected: f64,
        /// The most that is no signal.
        most: u32,
    },
    /// The group has fewer than its lower limit allows.
    BelowLower {
        /// How many it has.
        count: u32,
        /// Out of how many.
        of: u32,
        /// How many the centre makes expect.
        expected: f64,
        /// The fewest that is no signal.
        fewest: u32,
    },
    /// So many groups in a row, this one the last, lie strictly above the centre (Nelson's second
    /// rule).
    RunAbove {
        /// How many groups.
        groups: u32,
    },
    /// The same below the centre.
    RunBelow {
        /// How many groups.
        groups: u32,
    },
    /// The last pours together, of several groups, have more than luck gives.
    RecentMore {
        /// How many they have.
        count: u32,
        /// Out of how many.
        of: u32,
        /// How many the centre makes expect.
        expected: f64,
        /// The chance of so many or more.
        chance: f64,
    },
    /// The last pours together, of several groups, have fewer than luck gives.
    RecentFewer {
        /// How many they have.
        count: u32,
        /// Out of how many.
        of: u32,
        /// How many the centre makes expect.
        expected: f64,
        /// The chance of so few or fewer.
        chance: f64,
    },
    /// More sound pours since the last leak than the upper limit of gaps.
    LongGap {
        /// Sound pours since the last leak.
        gap: u32,
        /// The most that is no signal.
        most: u64,
    },
    /// So many leaks directly one after another that the gaps of 0 between them are a signal.
    LeaksInARow {
        /// How many leaks in a row.
        leaks: u32,
        /// The chance that a leak is followed by so many more.
        chance: f64,
    },
}

impl Signal {
    /// Whether it speaks of more of the outcome than the centre makes expect.
    #[must_use]
    pub const fn is_more(self) -> bool {
        matches!(self, Self::AboveUpper { .. } | Self::RunAbove { .. } | Self::RecentMore { .. } | Self::LeaksInARow { .. })
    }
}
