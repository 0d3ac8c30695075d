//! The units that people read and type, and the exact bridges to the base units.
//!
//! Inside, mass is whole milligrams, temperature °C and length mm. A shop that
//! weighs in pounds types `26.45` and must read `26.45` again, however often the
//! form is opened and saved. Both directions therefore go through whole numbers:
//! a typed decimal becomes an exact fraction, is multiplied by the exact factor,
//! and is rounded half to even on a grid (1 mg, 10⁻⁶ °C, 10⁻⁶ mm) that is finer
//! than anything typed; showing it takes the fewest decimals that read back to
//! the same point of the grid.
//!
//! Factors: NIST SP 811 (2008 edition), Appendix B; those marked exact there are
//! exact here.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::quantity::{Celsius, Mass, Millimetres};

/// Pounds (avoirdupois) to kilograms, exact. NIST SP 811, Appendix B.
pub const POUND_KG: f64 = 0.453_592_37;
/// Ounces (avoirdupois) to grams, exact: a sixteenth of a pound.
pub const OUNCE_G: f64 = 28.349_523_125;
/// Troy ounces to grams, exact: 480 grains of 64.798 91 mg.
pub const TROY_OUNCE_G: f64 = 31.103_476_8;
/// Pennyweights to grams, exact: 24 grains.
pub const PENNYWEIGHT_G: f64 = 1.555_173_84;
/// Inches to millimetres, exact.
pub const INCH_MM: f64 = 25.4;
/// Feet to millimetres, exact.
pub const FOOT_MM: f64 = 304.8;
/// US gallons to litres, exact: 231 cubic inches.
pub const US_GALLON_L: f64 = 3.785_411_784;
/// Imperial gallons to litres, exact.
pub const IMPERIAL_GALLON_L: f64 = 4.546_09;
/// International-table British thermal units to joules, exact.
pub const BTU_J: f64 = 1_055.055_852_62;
/// Kilowatt-hours to joules, exact.
pub const KWH_J: f64 = 3_600_000.0;
/// Thermochemical calories to joules, exact.
pub const CALORIE_J: f64 = 4.184;
/// Pounds-force per square inch to pascals: `0.453 592 37 · 9.806 65 / 0.0254²`.
pub const PSI_PA: f64 = 6_894.757_293_168_361;
/// Pounds per cubic inch to grams per cubic centimetre: `453.592 37 / 16.387 064`.
pub const LB_PER_IN3_G_CM3: f64 = 27.679_904_710_203_12;
/// Btu per pound and °F to J/(kg·K), exact by the definition of the Btu.
pub const BTU_PER_LB_F_J_KG_K: f64 = 4186.8;
/// Btu per pound to J/kg, exact by the definition of the Btu.
pub const BTU_PER_LB_J_KG: f64 = 2326.0;
/// Btu per foot, hour and °F to W/(m·K): `1055.055 852 62 · 1.8 / (0.3048 · 3600)`.
pub const BTU_PER_FT_H_F_W_M_K: f64 = 1.730_734_666_371_391;
/// Standard gravity in m/s², exact.
pub const GRAVITY_M_S2: f64 = 9.806_65;

/// Degrees Celsius of a Fahrenheit reading: `(°F − 32) / 1.8`, exact by definition.
#[must_use]
pub fn celsius_from_fahrenheit(degrees: f64) -> f64 {
    (degrees - 32.0) / 1.8
}

/// Degrees Fahrenheit of a Celsius reading: `1.8 · °C + 32`, exact by definition.
#[must_use]
pub fn fahrenheit_from_celsius(degrees: f64) -> f64 {
    degrees.mul_add(1.8, 32.0)
}

/// What the shop reads and types: the setting `units`.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Units {
    /// Kilograms and grams, °C, millimetres.
    #[default]
    Metric,
    /// Pounds, °F, inches.
    Us,
}

/// A unit of mass that may be typed.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum MassUnit {
    /// kg
    Kilogram,
    /// g
    Gram,
    /// lb, avoirdupois
    Pound,
    /// oz, avoirdupois
    Ounce,
    /// troy oz
    TroyOunce,
    /// dwt
    Pennyweight,
}

/// Why a typed value was not taken.
#[derive(Clone, Copy, PartialEq, Eq, Debug, thiserror::Error)]
pub enum ReadError {
    /// Nothing was typed.
    #[error("a number is missing")]
    Empty,
    /// Not a plain decimal number with a point.
    #[error("not a plain number: digits, and a point for decimals")]
    NotANumber,
    /// A unit that this kind of quantity does not know.
    #[error("this unit is not known here")]
    UnknownUnit,
    /// More than the book holds, or below absolute zero, or a length of nothing.
    #[error("the value is outside what the book can hold")]
    OutOfRange,
}

/// `unit value − offset`, times `num / den`, is the number of grid steps.
#[derive(Clone, Copy)]
struct Scale {
    offset: i128,
    num: i128,
    den: i128,
}

/// A typed decimal, exactly: `digits / 10^places`.
#[derive(Clone, Copy)]
struct Decimal {
    digits: i128,
    places: u32,
}

/// Most decimals ever shown: one past the finest grid of any unit here.
const MOST_PLACES: u32 = 9;
/// Longest number read, sign and point aside: far inside 128 bits at every factor.
const MOST_DIGITS: usize = 18;

const KELVIN_GRID: Scale = Scale { offset: 0, num: 1_000_000, den: 1 };
const FAHRENHEIT_GRID: Scale = Scale { offset: 32, num: 5_000_000, den: 9 };
const MM_GRID: Scale = Scale { offset: 0, num: 1_000_000, den: 1 };
const INCH_GRID: Scale = Scale { offset: 0, num: 25_400_000, den: 1 };
/// Steps of the temperature and length grids in one °C or mm.
const GRID: f64 = 1e6;

impl MassUnit {
    /// How it is written beside a number.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Kilogram => "kg",
            Self::Gram => "g",
            Self::Pound => "lb",
            Self::Ounce => "oz",
            Self::TroyOunce => "ozt",
            Self::Pennyweight => "dwt",
        }
    }

    /// The unit of a symbol as people write it; `None` when unknown.
    #[must_use]
    pub fn parse(symbol: &str) -> Option<Self> {
        Some(match symbol.trim().to_ascii_lowercase().as_str() {
            "kg" => Self::Kilogram,
            "g" => Self::Gram,
            "lb" | "lbs" => Self::Pound,
            "oz" => Self::Ounce,
            "ozt" | "oz t" | "troy oz" => Self::TroyOunce,
            "dwt" => Self::Pennyweight,
            _ => return None,
        })
    }

    /// Milligrams in one unit, as an exact fraction.
    const fn scale(self) -> Scale {
        let (num, den) = match self {
            Self::Kilogram => (1_000_000, 1),
            Self::Gram => (1_000, 1),
            Self::Pound => (45_359_237, 100),
            Self::Ounce => (28_349_523_125, 1_000_000),
            Self::TroyOunce => (311_034_768, 10_000),
            Self::Pennyweight => (155_517_384, 100_000),
        };
        Scale { offset: 0, num, den }
    }

    /// A number of this unit as a mass, rounded half to even to the milligram.
    ///
    /// # Errors
    /// See [`ReadError`]; above [`Mass::MAX`] either way is out of range.
    pub fn read(self, number: &str) -> Result<Mass, ReadError> {
        let steps = self.scale().steps(Decimal::parse(number)?);
        let mg = i64::try_from(steps).map_err(|_| ReadError::OutOfRange)?;
        if mg.unsigned_abs() > Mass::MAX.mg().unsigned_abs() {
            return Err(ReadError::OutOfRange);
        }
        Ok(Mass::from_mg(mg))
    }

    /// The number of this unit with the fewest decimals that reads back the same.
    #[must_use]
    pub fn number(self, mass: Mass) -> String {
        self.scale().shortest(i128::from(mass.mg())).text()
    }

    /// The number of this unit rounded half to even to `places` decimals.
    #[must_use]
    pub fn rounded(self, mass: Mass, places: u32) -> String {
        self.scale().value(i128::from(mass.mg()), places.min(MOST_PLACES)).text()
    }
}

impl Units {
    /// The unit of mass fields: kg or lb.
    #[must_use]
    pub const fn mass_unit(self) -> MassUnit {
        match self {
            Self::Metric => MassUnit::Kilogram,
            Self::Us => MassUnit::Pound,
        }
    }
    /// The unit of temperature fields.
    #[must_use]
    pub const fn temperature_symbol(self) -> &'static str {
        match self {
            Self::Metric => "°C",
            Self::Us => "°F",
        }
    }
    /// The unit of length fields.
    #[must_use]
    pub const fn length_symbol(self) -> &'static str {
        match self {
            Self::Metric => "mm",
            Self::Us => "in",
        }
    }

    /// Reads a mass. A bare number is in the shop's unit; a unit after it is obeyed.
    /// Up to 5 decimals of a pound and 6 of a kilogram come back as typed.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub fn read_mass(self, typed: &str) -> Result<Mass, ReadError> {
        let (number, symbol) = split(typed);
        let unit = if symbol.is_empty() { self.mass_unit() } else { MassUnit::parse(symbol).ok_or(ReadError::UnknownUnit)? };
        unit.read(number)
    }
    /// A mass for a form field: the bare number, in kg or lb.
    #[must_use]
    pub fn mass_field(self, mass: Mass) -> String {
        self.mass_unit().number(mass)
    }
    /// A mass for reading: `850 g`, `12.5 kg`, `26.45 lb`. Nothing is rounded away.
    #[must_use]
    pub fn mass_text(self, mass: Mass) -> String {
        let unit = self.reading_unit(mass);
        format!("{} {}", unit.number(mass), unit.symbol())
    }
    /// A mass for a report, rounded half to even to `places` decimals.
    #[must_use]
    pub fn mass_brief(self, mass: Mass, places: u32) -> String {
        let unit = self.reading_unit(mass);
        format!("{} {}", unit.rounded(mass, places), unit.symbol())
    }
    const fn reading_unit(self, mass: Mass) -> MassUnit {
        match self {
            Self::Metric if mass.mg() != 0 && mass.mg().unsigned_abs() < 1_000_000 => MassUnit::Gram,
            _ => self.mass_unit(),
        }
    }

    /// Reads a temperature. A bare number is in the shop's degrees; `C`, `°C`, `F`
    /// and `°F` after it are obeyed. Up to 5 decimals come back as typed.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub fn read_temperature(self, typed: &str) -> Result<Celsius, ReadError> {
        let (number, symbol) = split(typed);
        let scale = match symbol.trim_start_matches('°').trim() {
            "" if symbol.is_empty() => self.temperature_scale(),
            "C" | "c" => KELVIN_GRID,
            "F" | "f" => FAHRENHEIT_GRID,
            _ => return Err(ReadError::UnknownUnit),
        };
        let steps = scale.steps(Decimal::parse(number)?);
        Celsius::new(off_grid(steps)).ok_or(ReadError::OutOfRange)
    }
    /// A temperature for a form field: the bare number of °C or °F.
    #[must_use]
    pub fn temperature_field(self, temperature: Celsius) -> String {
        self.temperature_scale().shortest(on_grid(temperature.get())).text()
    }
    /// A temperature for reading, with its unit: `2150 °F`.
    #[must_use]
    pub fn temperature_text(self, temperature: Celsius) -> String {
        format!("{} {}", self.temperature_field(temperature), self.temperature_symbol())
    }
    /// A temperature rounded half to even to whole degrees, with its unit.
    #[must_use]
    pub fn temperature_brief(self, temperature: Celsius) -> String {
        let whole = self.temperature_scale().value(on_grid(temperature.get()), 0);
        format!("{} {}", whole.text(), self.temperature_symbol())
    }
    const fn temperature_scale(self) -> Scale {
        match self {
            Self::Metric => KELVIN_GRID,
            Self::Us => FAHRENHEIT_GRID,
        }
    }

    /// Reads a length. A bare number is in mm or inches; `mm`, `cm`, `m`, `in`, `"`
    /// and `ft` after it are obeyed. Up to 6 decimals come back as typed.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub fn read_length(self, typed: &str) -> Result<Millimetres, ReadError> {
        let (number, symbol) = split(typed);
        let times = |n: i128| Scale { num: MM_GRID.num * n, ..MM_GRID };
        let scale = match symbol {
            "" => self.length_scale(),
            "mm" => MM_GRID,
            "cm" => times(10),
            "m" => times(1_000),
            "in" | "\"" => INCH_GRID,
            "ft" => Scale { num: INCH_GRID.num * 12, ..INCH_GRID },
            _ => return Err(ReadError::UnknownUnit),
        };
        let steps = scale.steps(Decimal::parse(number)?);
        Millimetres::new(off_grid(steps)).ok_or(ReadError::OutOfRange)
    }
    /// A length for a form field: the bare number of mm or inches.
    #[must_use]
    pub fn length_field(self, length: Millimetres) -> String {
        self.length_scale().shortest(on_grid(length.get())).text()
    }
    /// A length for reading, with its unit.
    #[must_use]
    pub fn length_text(self, length: Millimetres) -> String {
        format!("{} {}", self.length_field(length), self.length_symbol())
    }
    const fn length_scale(self) -> Scale {
        match self {
            Self::Metric => MM_GRID,
            Self::Us => INCH_GRID,
        }
    }
}

impl Scale {
    /// The grid steps nearest to a typed value.
    fn steps(self, typed: Decimal) -> i128 {
        let ten = 10_i128.pow(typed.places);
        div_half_even((typed.digits - self.offset * ten) * self.num, self.den * ten)
    }
    /// The value with `places` decimals nearest to a point of the grid.
    fn value(self, steps: i128, places: u32) -> Decimal {
        let ten = 10_i128.pow(places);
        let digits = div_half_even(steps * self.den * ten, self.num) + self.offset * ten;
        Decimal { digits, places }
    }
    /// The value with the fewest decimals that reads back to the same point.
    fn shortest(self, steps: i128) -> Decimal {
        (0..MOST_PLACES)
            .map(|places| self.value(steps, places))
            .find(|value| self.steps(*value) == steps)
            .unwrap_or_else(|| self.value(steps, MOST_PLACES))
    }
}

impl Decimal {
    fn parse(text: &str) -> Result<Self, ReadError> {
        let text = text.trim();
        let (negative, digits) = match text.strip_prefix(['-', '\u{2212}']) {
            Some(rest) => (true, rest),
            None => (false, text.strip_prefix('+').unwrap_or(text)),
        };
        if digits.is_empty() {
            return Err(if text.is_empty() { ReadError::Empty } else { ReadError::NotANumber });
        }
        let (whole, part) = digits.split_once('.').unwrap_or((digits, ""));
        let all = format!("{whole}{part}");
        if all.is_empty() || !all.bytes().all(|b| b.is_ascii_digit()) {
            return Err(ReadError::NotANumber);
        }
        if all.len() > MOST_DIGITS {
            return Err(ReadError::OutOfRange);
        }
        let size = all.parse::<i128>().map_err(|_| ReadError::NotANumber)?;
        let places = u32::try_from(part.len()).map_err(|_| ReadError::OutOfRange)?;
        Ok(Self { digits: if negative { -size } else { size }, places })
    }

    fn text(self) -> String {
        let ten = 10_u128.pow(self.places);
        let size = self.digits.unsigned_abs();
        let sign = if self.digits < 0 { "-" } else { "" };
        let (whole, part) = (size / ten, size % ten);
        if self.places == 0 {
            return format!("{sign}{whole}");
        }
        format!("{sign}{whole}.{part:0width$}", width = self.places as usize)
    }
}

/// Cuts `26.45 lb` into the number and the unit after it.
fn split(typed: &str) -> (&str, &str) {
    let typed = typed.trim();
    let end = typed.find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '+' | '-' | '\u{2212}'))).unwrap_or(typed.len());
    let (number, symbol) = typed.split_at(end);
    (number, symbol.trim())
}

/// `a / b` rounded half to even; `b` is never 0 and always above it.
fn div_half_even(a: i128, b: i128) -> i128 {
    let (quotient, remainder) = (a.div_euclid(b), a.rem_euclid(b));
    let up = 2 * remainder > b || (2 * remainder == b && quotient % 2 != 0);
    quotient + i128::from(up)
}

#[expect(clippy::cast_possible_truncation, reason = "°C and mm are bounded by their types")]
fn on_grid(value: f64) -> i128 {
    (value * GRID).round_ties_even() as i128
}

#[expect(clippy::cast_precision_loss, reason = "what exceeds 2^53 is refused as out of range")]
fn off_grid(steps: i128) -> f64 {
    steps as f64 / GRID
}

#[cfg(test)]
mod tests;
