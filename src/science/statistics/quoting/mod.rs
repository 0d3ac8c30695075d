//! What a job is likely to take, from jobs like it: the pieces of an honest quote.
//!
//! Jobs near in mass count most ([`Kernel`]); what they say is drawn towards what a shop knew
//! beforehand ([`driver`], [`minutes`]); castings that fail are cast again, up to a limit
//! ([`attempts`]); and how wide the range must be is learnt from how far past quotes were off
//! ([`Calibration`]). Only what was recorded when a quote was given may go into its score.

mod attempts;
mod calibration;
mod comparables;

pub use attempts::{Attempts, PRIOR_LOSS, attempts};
pub use calibration::{Calibration, Promise, WINDOW};
pub use comparables::{BANDWIDTH, Driver, ENOUGH, Kernel, MinutesFit, Prior, driver, minutes};

#[cfg(test)]
mod tests;
