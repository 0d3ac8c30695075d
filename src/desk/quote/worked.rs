//! What the book worked out for a quote, as the journal keeps it, and what it was drawn with.

use crate::kernel::field::{Faults, Field};
use serde_json::{Value, json};

/// What was answered: kept with the quote, since the record goes on.
#[derive(Clone, Debug, PartialEq)]
pub struct Worked(pub Value);

impl Field for Worked {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        match value {
            Some(object @ Value::Object(_)) => Some(Self(object.clone())),
            _ => faults.none(at, "wrong-type", "The book works that out; leave it out."),
        }
    }
    fn write(&self) -> Option<Value> {
        Some(self.0.clone())
    }
    fn schema() -> Value {
        json!({"type": "object", "readOnly": true, "description": "what the book worked out; never sent"})
    }
}

/// What is drawn with: a whole number of 64 bits in digits, since JSON's numbers may lose the last of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Seed(pub u64);

impl Field for Seed {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        let digits = value.and_then(Value::as_str).filter(|text| text.bytes().all(|b| b.is_ascii_digit()));
        match digits.and_then(|text| text.parse().ok()) {
            Some(seed) => Some(Self(seed)),
            None => faults.none(at, "out-of-range", "Give a whole number of at most 64 bits in digits, or leave it out."),
        }
    }
    fn write(&self) -> Option<Value> {
        Some(self.0.to_string().into())
    }
    fn schema() -> Value {
        json!({"type": "string", "pattern": "^[0-9]{1,20}$", "description": "a whole number of at most 64 bits in digits"})
    }
}
