//! What is asked for, and what past castings took.

/// What one value of a mover counts for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Per {
    /// Each attempt.
    Casting,
    /// Each copy, once it is good.
    Piece,
    /// The line of a quote, once.
    Line,
}

/// In what a mover is measured.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Unit {
    /// In a unit of its own, which has a price.
    Quantity,
    /// In minutes, which have a rate; work bears overhead.
    Minutes,
}

/// What was known of something before any job.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Handbook {
    /// Its median at one kilogram of metal.
    pub at_one_kg: f64,
    /// Spread of ln between jobs.
    pub scale: f64,
}

/// Something that moves the cost: minutes of a kind of work, wax, slurry, a kiln's gas.
#[derive(Clone, PartialEq, Debug)]
pub struct MoverSpec {
    /// As the caller calls it.
    pub name: String,
    /// What one value counts for.
    pub per: Per,
    /// In what it is measured.
    pub unit: Unit,
    /// Exponent of mass to begin with: 0 where mass does not matter, 1 where it grows as mass.
    pub slope: f64,
    /// What is known of it without a record.
    pub handbook: Option<Handbook>,
}

/// Net mass over the metal estimated, before any job. Common practice, no source.
pub const NET_OVER_ESTIMATE: Handbook = Handbook { at_one_kg: 1.0, scale: 0.08 };
/// Poured mass over net: shell castings of art bronze yield 40 to 65 % of what is poured, the
/// middle 52.5 % (`yield_shell_bronze_percent`), taken as the range of nine jobs in ten. Common
/// practice, no source.
pub const POURED_OVER_NET: Handbook = Handbook { at_one_kg: 1.0 / 0.525, scale: 0.15 };
/// Value of the metal lost on a good casting over the value poured. Common practice, no source.
pub const LOST_SHARE: Handbook = Handbook { at_one_kg: 0.03, scale: 0.5 };
/// Value lost on a failed casting over the value poured. Common practice, no source.
pub const FAILED_SHARE: Handbook = Handbook { at_one_kg: 0.15, scale: 0.5 };

/// The castings of one pattern in one finished job. What is not known is `None`.
#[derive(Clone, PartialEq, Debug)]
pub struct Comparable {
    /// Metal of a casting in kg, as estimated when it was quoted.
    pub mass_kg: f64,
    /// Family of alloys; bronze and aluminium are never mixed.
    pub family: u8,
    /// Thickness of its wall in mm; 0 where not known.
    pub section_mm: f64,
    /// Shell recipe.
    pub recipe: Option<i64>,
    /// Finish.
    pub finish: Option<i64>,
    /// Copies owed.
    pub pieces: u32,
    /// Attempts judged, good or failed.
    pub castings: u32,
    /// Of them, failed.
    pub failed: u32,
    /// Net mass of good castings over their estimate.
    pub net_over_estimate: Option<f64>,
    /// Poured mass over net, of good castings.
    pub poured_over_net: Option<f64>,
    /// Value of metal lost on good castings over the value poured. Metal may be found; what is
    /// below ½ % counts as ½ %, the spread being one of ln.
    pub lost_share: Option<f64>,
    /// Value lost on failed castings over the value poured; bounded likewise.
    pub failed_share: Option<f64>,
    /// By mover, the mean for each casting, piece or the line. 0: not done.
    pub values: Vec<Option<f64>>,
    /// When its end was recorded, in ms.
    pub known_from: i64,
}

/// One line of a quote: copies of one pattern.
#[derive(Clone, PartialEq, Debug)]
pub struct AskedLine {
    /// Metal of a casting in kg, as estimated.
    pub mass_kg: f64,
    /// Family of alloys.
    pub family: u8,
    /// Thickness of its wall in mm; 0 where not known.
    pub section_mm: f64,
    /// Shell recipe; `None` where any may do.
    pub recipe: Option<i64>,
    /// Finish; `None` where any may do.
    pub finish: Option<i64>,
    /// Copies asked for, 1 to 100,000.
    pub copies: u32,
    /// Most attempts at a copy, 1 to 10,000; 1 where the pattern is lost with the casting.
    pub most_attempts: u32,
    /// Whether attempts after the first of a copy are on the client, and so not in the total.
    pub client_bears_recast: bool,
    /// Price of metal, of a kg.
    pub metal_per_kg: f64,
    /// By mover, the price of a unit or the rate of a minute. 0: not asked for.
    pub prices: Vec<f64>,
    /// Known cost, once.
    pub fixed: f64,
    /// Known cost of each good copy.
    pub per_piece: f64,
}

/// What the shop's overhead adds. A rule that is not the shop's is 0.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct OverheadRates {
    /// As a share of what work costs.
    pub of_work: f64,
    /// For each minute of work.
    pub per_minute: f64,
    /// For each kg poured.
    pub per_poured_kg: f64,
}

/// Most copies of a line.
const MOST_COPIES: u32 = 100_000;
/// Most attempts at a copy.
const MOST_ATTEMPTS: u32 = 10_000;

/// Above 0 and finite.
pub(super) fn above_zero(value: f64) -> bool {
    value > 0.0 && value.is_finite()
}

/// 0 or above, and finite.
pub(super) fn sane(value: f64) -> bool {
    value >= 0.0 && value.is_finite()
}

impl AskedLine {
    /// Whether it can be reckoned with.
    pub(super) fn usable(&self) -> bool {
        above_zero(self.mass_kg)
            && (1..=MOST_COPIES).contains(&self.copies)
            && (1..=MOST_ATTEMPTS).contains(&self.most_attempts)
            && [self.metal_per_kg, self.fixed, self.per_piece].iter().chain(&self.prices).all(|money| sane(*money))
    }

    /// The price of a mover; 0 where it is not asked for.
    pub(super) fn price(&self, mover: usize) -> f64 {
        self.prices.get(mover).copied().unwrap_or(0.0)
    }
}

impl OverheadRates {
    pub(super) fn usable(&self) -> bool {
        [self.of_work, self.per_minute, self.per_poured_kg].iter().all(|rate| sane(*rate))
    }
}
