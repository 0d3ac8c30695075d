//! What the movers cost at one instant: rates, overhead, and what is asked for at all.

use super::movers::{self, From};
use crate::desk::cost;
use crate::kernel::{Instant, Seq};
use crate::science::costing::{Overhead, Part};
use crate::science::quoting::OverheadRates;
use crate::shop::house::What;
use crate::shop::house::rates::{Rates, Subject};
use crate::shop::house::settings::Settings;
use crate::shop::house::trade::Trade;

/// What the rule of overhead adds, and what it adds to the price of a pour day.
pub fn overhead(rule: Overhead) -> (OverheadRates, f64) {
    let none = OverheadRates::default();
    match rule {
        Overhead::None => (none, 0.0),
        Overhead::Work(rate) => (OverheadRates { of_work: rate as f64 / 10_000.0, ..none }, 0.0),
        Overhead::Hour(rate) => (OverheadRates { per_minute: rate.minor() as f64 / 60.0, ..none }, 0.0),
        Overhead::Kg(rate) => (OverheadRates { per_poured_kg: rate.minor() as f64, ..none }, 0.0),
        Overhead::Day(rate) => (none, rate.minor() as f64),
    }
}

/// What prices hang on at one instant.
pub struct Prices<'p> {
    /// Rates.
    pub rates: &'p Rates,
    /// Settings.
    pub settings: &'p Settings,
    /// When.
    pub at: Instant,
}

impl Prices<'_> {
    /// The price of a minute: of a hand without a rate of their own, else the mean of the hands' rates.
    #[must_use]
    pub fn minute(&self) -> Option<f64> {
        let day = self.settings.day(self.at);
        let any = self.rates.in_force(What::HandHour, &Subject::Any, day).map(|hour| hour.minor() as f64);
        let hour = any.or_else(|| {
            let own: Vec<f64> = self
                .rates
                .all_in_force(day)
                .filter(|row| row.what == What::HandHour)
                .filter_map(|row| row.amount)
                .map(|hour| hour.minor() as f64)
                .collect();
            (!own.is_empty()).then(|| own.iter().sum::<f64>() / own.len() as f64)
        });
        hour.map(|hour| hour / 60.0)
    }
    /// The same with the overhead that work bears.
    #[must_use]
    pub fn minute_with_overhead(&self) -> f64 {
        let rule = overhead(self.settings.overhead(self.at)).0;
        self.minute().unwrap_or(0.0) * (1.0 + rule.of_work) + rule.per_minute
    }
    /// The price of a unit of a part's, whatever the recipe; none where no rate is on file.
    #[must_use]
    pub fn unit(&self, part: Part) -> Option<f64> {
        cost::unit_price(self.rates, self.settings, part, None, self.at)
    }
    /// The price of a unit of each mover, with a shell recipe.
    #[must_use]
    pub fn of_movers(&self, recipe: Option<Seq>) -> Vec<f64> {
        let minute = self.minute().unwrap_or(0.0);
        let day = overhead(self.settings.overhead(self.at)).1;
        let price = |from: From| match from {
            From::Minutes(_) => minute,
            From::Bought(_) => 1.0,
            From::Part(part) => {
                let own = cost::unit_price(self.rates, self.settings, part, recipe, self.at);
                match part {
                    Part::PourDay => own.map_or(day, |own| own + day),
                    // Without a rate nothing was booked, and nothing is priced.
                    Part::Wax | Part::Shell | Part::Fuel | Part::Crucible => own.unwrap_or(0.0),
                    _ => 1.0,
                }
            }
        };
        movers::all().iter().map(|mover| price(mover.from)).collect()
    }
}

/// Whether a part has a rate of its own.
pub const fn rated(part: Part) -> bool {
    matches!(part, Part::Wax | Part::Shell | Part::Fuel | Part::Crucible | Part::PourDay)
}

/// Takes the prices of what makes a mould away.
pub fn without_mould(prices: &mut [f64]) {
    for (mover, price) in movers::all().iter().zip(prices) {
        let of_mould = match mover.from {
            From::Part(part) => part == Part::Mould,
            From::Minutes(n) => movers::operation(n) == movers::MAKE_MOULD,
            From::Bought(_) => false,
        };
        if of_mould {
            *price = 0.0;
        }
    }
}

/// The family of an alloy, as a number; none where it is on no list.
#[must_use]
pub fn family(trade: &Trade, alloy: &str) -> Option<u8> {
    trade.alloy(alloy).map(|alloy| alloy.family as u8)
}

/// How often a copy is cast until it is good, as quotes reckon.
#[must_use]
pub fn attempts(settings: &Settings, at: Instant) -> u32 {
    settings.value("quote_attempts", at).as_u64().and_then(|n| u32::try_from(n).ok()).unwrap_or(3).max(1)
}
