//! Bodies inside bodies.

use super::{Body, Faults, Field, Many, Slot, missing, unknown, wrong};
use serde_json::{Map, Value, json};

/// Children sent along with a record: read here, recorded as records of their own,
/// and so left out of the record's own canonical form.
#[derive(Clone, Debug, PartialEq)]
pub struct Children<B>(pub Vec<B>);

impl<B> Default for Children<B> {
    fn default() -> Self {
        Self(Vec::new())
    }
}

impl<B: Body> Field for Children<B> {
    const REQUIRED: bool = false;
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        Many::<Nested<B>, 200>::read(value, at, faults).map(|m| Self(m.0.into_iter().map(|n| n.0).collect()))
    }
    fn write(&self) -> Option<Value> {
        None
    }
    fn schema() -> Value {
        json!({"type": ["array", "null"], "items": Nested::<B>::schema(), "maxItems": 200})
    }
    fn refs(&mut self, at: &str, see: &mut dyn FnMut(&mut Slot, &str)) {
        for (i, item) in self.0.iter_mut().enumerate() {
            item.each_ref(&format!("{at}/{i}"), see);
        }
    }
}

/// A record sent whole in place of a reference to it; recorded first, then referred to.
#[derive(Clone, Debug, PartialEq)]
pub struct Inline<B>(pub Option<B>);

impl<B: Body> Field for Inline<B> {
    const REQUIRED: bool = false;
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        Option::<Nested<B>>::read(value, at, faults).map(|n| Self(n.map(|n| n.0)))
    }
    fn write(&self) -> Option<Value> {
        None
    }
    fn schema() -> Value {
        Option::<Nested<B>>::schema()
    }
    fn refs(&mut self, at: &str, see: &mut dyn FnMut(&mut Slot, &str)) {
        if let Some(body) = &mut self.0 {
            body.each_ref(at, see);
        }
    }
}

/// A body inside a body.
#[derive(Clone, Debug, PartialEq)]
pub struct Nested<B>(pub B);

impl<B: Body> Field for Nested<B> {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        match value {
            None | Some(Value::Null) => missing(at, faults),
            Some(Value::Object(object)) => {
                let before = faults.0.len();
                let body = B::read_members(object, at, faults);
                unknown(object, &[B::members()], at, faults);
                body.filter(|_| faults.0.len() == before).map(Self)
            }
            Some(_) => wrong(at, faults, "an object"),
        }
    }
    fn write(&self) -> Option<Value> {
        let mut out = Map::new();
        self.0.write_members(&mut out);
        Some(Value::Object(out))
    }
    fn schema() -> Value {
        let (properties, required) = B::member_schemas();
        json!({"type": "object", "properties": properties, "required": required, "additionalProperties": false})
    }
    fn refs(&mut self, at: &str, see: &mut dyn FnMut(&mut Slot, &str)) {
        self.0.each_ref(at, see);
    }
}
