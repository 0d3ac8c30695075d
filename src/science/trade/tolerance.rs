//! What a dimension and a thermocouple may be off by.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::kernel::quantity::{Celsius, Millimetres};

/// One column of the table of dimensional tolerances.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DimensionGrade {
    /// DCTG grade.
    pub grade: u8,
    /// Widths by nominal dimension, smallest first.
    pub widths_mm: Vec<DimensionWidth>,
    /// Where it is from.
    pub source: String,
}

/// The width for dimensions up to and including one.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DimensionWidth {
    /// Largest nominal dimension, mm.
    pub to_mm: f64,
    /// Full width of the tolerance, mm; not plus-minus.
    pub width: f64,
}

impl DimensionGrade {
    /// Full tolerance width for a nominal dimension (ISO 8062-3:2007, Table 2);
    /// `None` beyond the table.
    #[must_use]
    pub fn width(&self, nominal: Millimetres) -> Option<Millimetres> {
        let row = self.widths_mm.iter().find(|row| nominal.get() <= row.to_mm)?;
        Millimetres::new(row.width)
    }
}

/// Limits of new thermocouple wire of one type and class.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Thermocouple {
    /// Letter of the type.
    pub kind: String,
    /// Standard and class.
    pub class: String,
    /// Lower end of the range, °C.
    pub from_c: f64,
    /// Upper end of the range, °C.
    pub to_c: f64,
    /// Least limit, °C.
    pub least_c: f64,
    /// Limit in percent of the temperature in °C.
    pub percent: f64,
    /// Where it is from.
    pub source: String,
}

impl Thermocouple {
    /// Plus-minus limit in degrees Celsius at a temperature: the greater of the
    /// two; in °F it is 1.8 times as wide. `None` outside the range.
    #[must_use]
    pub fn limit(&self, at: Celsius) -> Option<f64> {
        (self.from_c..=self.to_c).contains(&at.get()).then(|| self.least_c.max(at.get() * self.percent / 100.0))
    }
}
