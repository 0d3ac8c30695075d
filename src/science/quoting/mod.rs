//! What a casting job is likely to cost, from past jobs' yields, and what price follows.
//!
//! A record of finished castings ([`Comparable`]) and what is asked for ([`AskedLine`]) lead to
//! the jobs it is reckoned from ([`basis`]), to what each thing that moves the cost is likely to
//! be ([`fit`]), and to many jobs drawn by chance ([`simulate`]). How wide a range must be is
//! learnt by quoting past jobs again from what was on record then ([`back_test`]). Money is in
//! minor units, not rounded. Pure: chance comes from a seed handed in.

mod back_test;
mod basis;
mod chance;
mod effects;
mod fit;
mod ladder;
mod line;
mod model;
mod price;
mod share;
mod simulate;

pub use back_test::{Finished, Job, LEVELS, Tested, back_test};
pub use basis::{Basis, Beyond, Step, basis};
pub use effects::{METAL, METAL_LOST, MoverEffect, POURED, RECAST};
pub use fit::{Fit, MoverFit, fit};
pub use ladder::Rung;
pub use model::{
    AskedLine, Comparable, FAILED_SHARE, Handbook, LOST_SHARE, MoverSpec, NET_OVER_ESTIMATE, OverheadRates, POURED_OVER_NET, Per,
    Unit,
};
pub use price::{EditionPrice, Rule, chance_of_loss, edition_price, largest, rounded_up, stages, tax};
pub use share::{Share, calibration, summary};
pub use simulate::{LineSimulated, Simulated, simulate};

#[cfg(test)]
mod tests;
