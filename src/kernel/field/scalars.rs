//! Text, numbers, masses, money, temperatures, lengths, instants, days.

use super::{Faults, Field, missing, wrong};
use crate::kernel::json;
use crate::kernel::{Celsius, Instant, Mass, Millimetres, Money};
use serde_json::{Value, json};

/// Text of 1 to `MAX` characters, trimmed, without control characters.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Text<const MAX: usize>(pub String);

impl<const MAX: usize> Field for Text<MAX> {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        match value {
            None | Some(Value::Null) => missing(at, faults),
            Some(Value::String(text)) => {
                let text = text.trim();
                let length = text.chars().count();
                if length == 0 {
                    return faults.none(at, "empty", "Write something here.");
                }
                if length > MAX {
                    return faults.none(at, "too-long", format!("At most {MAX} characters."));
                }
                if text.chars().any(|c| c.is_control() && !matches!(c, '\n' | '\t')) {
                    return faults.none(at, "control-character", "Leave out control characters.");
                }
                Some(Self(text.to_owned()))
            }
            Some(_) => wrong(at, faults, "text"),
        }
    }
    fn write(&self) -> Option<Value> {
        Some(self.0.clone().into())
    }
    fn schema() -> Value {
        json!({"type": "string", "minLength": 1, "maxLength": MAX})
    }
}

impl Field for bool {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        match value {
            None | Some(Value::Null) => missing(at, faults),
            Some(Value::Bool(yes)) => Some(*yes),
            Some(_) => wrong(at, faults, "true or false"),
        }
    }
    fn write(&self) -> Option<Value> {
        Some((*self).into())
    }
    fn schema() -> Value {
        json!({"type": "boolean"})
    }
}

/// Reads a number; anything else is a fault.
fn number<'v>(value: Option<&'v Value>, at: &str, faults: &mut Faults) -> Option<&'v serde_json::Number> {
    match value {
        None | Some(Value::Null) => missing(at, faults),
        Some(Value::Number(n)) => Some(n),
        Some(_) => wrong(at, faults, "a number"),
    }
}

/// A mass of 0 kg or more (`LEAST` = 0) or above 0 (`LEAST` = 1), at most 10⁶ kg.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Kg<const LEAST: i64>(pub Mass);

impl<const LEAST: i64> Field for Kg<LEAST> {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        let n = number(value, at, faults)?;
        let mg = json::scaled(n, 6).and_then(|mg| i64::try_from(mg).ok());
        match mg {
            Some(mg) if (LEAST..=Mass::MAX.mg()).contains(&mg) => Some(Self(Mass::from_mg(mg))),
            _ if n.as_f64().is_some_and(|kg| kg < 0.0) => faults.none(at, "negative", "A mass is not below 0."),
            Some(0) => faults.none(at, "zero", "Give a mass above 0, to the milligram; leave it out if it was not weighed."),
            _ => faults.none(at, "too-large", "At most 1,000,000 kg."),
        }
    }
    fn write(&self) -> Option<Value> {
        Some(plain(self.0.kg()))
    }
    fn schema() -> Value {
        if LEAST > 0 {
            json!({"type": "number", "exclusiveMinimum": 0, "maximum": 1_000_000, "description": "kg; exact to the milligram, further decimals are rounded half to even"})
        } else {
            json!({"type": "number", "minimum": 0, "maximum": 1_000_000, "description": "kg; exact to the milligram, further decimals are rounded half to even"})
        }
    }
}

/// Money of 0 minor units or more, at most 10¹².
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Minor(pub Money);

impl Field for Minor {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        let n = number(value, at, faults)?;
        match n.as_i64() {
            Some(minor) if (0..=Money::MAX.minor()).contains(&minor) => Some(Self(Money::from_minor(minor))),
            _ if n.as_f64().is_some_and(|minor| minor < 0.0) => faults.none(at, "negative", "An amount is not below 0."),
            None if n.is_f64() && n.as_f64().is_some_and(|minor| minor < 1e15) => {
                faults.none(at, "not-whole", "Give whole minor units (cents).")
            }
            _ => faults.none(at, "too-large", "At most 1,000,000,000,000 minor units."),
        }
    }
    fn write(&self) -> Option<Value> {
        Some(json!(self.0.minor()))
    }
    fn schema() -> Value {
        json!({"type": "integer", "minimum": 0, "maximum": 1_000_000_000_000_i64, "description": "minor units (cents) of the shop's currency"})
    }
}

/// A whole number from `LEAST` to `MOST`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Whole<const LEAST: i64, const MOST: i64>(pub i64);

impl<const LEAST: i64, const MOST: i64> Field for Whole<LEAST, MOST> {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        match number(value, at, faults)?.as_i64() {
            Some(n) if (LEAST..=MOST).contains(&n) => Some(Self(n)),
            _ => faults.none(at, "out-of-range", format!("Give a whole number from {LEAST} to {MOST}.")),
        }
    }
    fn write(&self) -> Option<Value> {
        Some(json!(self.0))
    }
    fn schema() -> Value {
        json!({"type": "integer", "minimum": LEAST, "maximum": MOST})
    }
}

/// A finite number above 0 and at most `MOST`: seconds, hours, cm³, kWh.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Positive<const MOST: i64>(pub f64);

/// A finite number from 0 to `MOST`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UpTo<const MOST: i64>(pub f64);

#[expect(clippy::cast_precision_loss, reason = "bounds of fields are small")]
const fn real(n: i64) -> f64 {
    n as f64
}

impl<const MOST: i64> Field for Positive<MOST> {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        match number(value, at, faults)?.as_f64() {
            Some(n) if n > 0.0 && n <= real(MOST) => Some(Self(n)),
            _ => faults.none(at, "out-of-range", format!("Give a number above 0, at most {MOST}.")),
        }
    }
    fn write(&self) -> Option<Value> {
        Some(plain(self.0))
    }
    fn schema() -> Value {
        json!({"type": "number", "exclusiveMinimum": 0, "maximum": MOST})
    }
}

impl<const MOST: i64> Field for UpTo<MOST> {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        match number(value, at, faults)?.as_f64() {
            Some(n) if (0.0..=real(MOST)).contains(&n) => Some(Self(n)),
            _ => faults.none(at, "out-of-range", format!("Give a number from 0 to {MOST}.")),
        }
    }
    fn write(&self) -> Option<Value> {
        Some(plain(self.0))
    }
    fn schema() -> Value {
        json!({"type": "number", "minimum": 0, "maximum": MOST})
    }
}

/// A number as JSON, whole ones without a fraction, so that 5 and 5.0 are one body.
#[expect(clippy::cast_possible_truncation, reason = "checked to be whole and small")]
fn plain(n: f64) -> Value {
    if n.fract() == 0.0 && n.abs() < 1e15 { json!(n as i64) } else { json!(n) }
}

impl Field for Celsius {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        number(value, at, faults)?
            .as_f64()
            .and_then(Self::new)
            .or_else(|| faults.none(at, "out-of-range", "Give °C from -273.15 to 3000."))
    }
    fn write(&self) -> Option<Value> {
        Some(plain(self.get()))
    }
    fn schema() -> Value {
        json!({"type": "number", "minimum": -273.15, "maximum": 3000, "description": "°C"})
    }
}

impl Field for Millimetres {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        number(value, at, faults)?
            .as_f64()
            .and_then(Self::new)
            .or_else(|| faults.none(at, "out-of-range", "Give mm above 0, at most 100,000."))
    }
    fn write(&self) -> Option<Value> {
        Some(plain(self.get()))
    }
    fn schema() -> Value {
        json!({"type": "number", "exclusiveMinimum": 0, "maximum": 100_000, "description": "mm"})
    }
}

impl Field for Instant {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        match value {
            None | Some(Value::Null) => missing(at, faults),
            Some(Value::String(text)) => Self::parse(text)
                .or_else(|| faults.none(at, "no-instant", "Give a date and time with an offset, as 2026-03-14T09:30:00+01:00.")),
            Some(_) => wrong(at, faults, "a date and time as text"),
        }
    }
    fn write(&self) -> Option<Value> {
        Some(self.to_string().into())
    }
    fn schema() -> Value {
        json!({"type": "string", "format": "date-time"})
    }
}

/// A calendar day, `2026-03-14`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Day(pub jiff::civil::Date);

impl Field for Day {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        match value {
            None | Some(Value::Null) => missing(at, faults),
            Some(Value::String(text)) if text.len() == 10 => match text.parse() {
                Ok(day) => Some(Self(day)),
                Err(_) => faults.none(at, "no-day", "Give a day as 2026-03-14."),
            },
            Some(_) => faults.none(at, "no-day", "Give a day as 2026-03-14."),
        }
    }
    fn write(&self) -> Option<Value> {
        Some(self.0.to_string().into())
    }
    fn schema() -> Value {
        json!({"type": "string", "format": "date"})
    }
}
