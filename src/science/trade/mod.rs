//! What a foundry knows before it has poured anything: alloys, pattern materials,
//! defects, cups, units, cautions and rules of thumb, and the formulas that use them.
//!
//! The tables are the files of `data/trade`, each value with its source, read once
//! by [`Catalogue::builtin`]. The formulas are pure functions in files by topic; each
//! names where it is from. Quantities with a unit are types of [`measure`] or of the
//! kernel. A formula answers `None` where its result would not be a quantity.

pub mod alloy;
pub mod catalogue;
pub mod caution;
pub mod charge;
pub mod composition;
pub mod cup;
pub mod energy;
pub mod entries;
pub mod flow;
pub mod measure;
pub mod practice;
pub mod shrinkage;
pub mod solidification;
pub mod tolerance;
pub mod weight;
pub mod yields;

pub use alloy::{Alloy, AlloyFamily, Band, Limits, MetalGroup};
pub use catalogue::{Catalogue, CatalogueError};
pub use caution::{Caution, CautionWhen, ExposureLimit, SplashClass};
pub use composition::{CompositionCheck, check_composition};
pub use cup::{Cup, CupReading, cup_seconds_to_cst};
pub use entries::{Defect, OperationName, PatternCategory, PatternMaterial, TradeStep, UnitFactor};
pub use practice::{CoatsBySize, Practice, PracticeUse, Reading, ShellWindow};
pub use weight::{metal_from_volume, metal_from_wax, with_allowance};

#[cfg(test)]
mod tests;
