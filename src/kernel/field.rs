//! From JSON to types that cannot be wrong, with every fault named at once.
//!
//! [`body!`] declares the body of a request as a struct of typed fields. The macro
//! reads it (collecting all faults), writes it back in canonical form for the
//! journal, finds the records it refers to, and describes it for the API document.

use super::id::{Kind, Kinded, Seq};
use super::instant::Instant;
use super::problem::Fault;
use super::quantity::{Celsius, Mass, Millimetres, Money};
use super::json;
use serde_json::{Map, Value, json};
use std::marker::PhantomData;
use uuid::Uuid;

/// Collects faults while a body is read.
#[derive(Debug, Default)]
pub struct Faults(pub Vec<Fault>);

impl Faults {
    /// Notes a fault.
    pub fn add(&mut self, pointer: &str, code: &'static str, message: impl Into<String>) {
        self.0.push(Fault { pointer: pointer.to_owned(), code, message: message.into() });
    }
    /// Notes a fault and gives nothing, for use in tail position.
    pub fn none<T>(&mut self, at: &str, code: &'static str, message: impl Into<String>) -> Option<T> {
        self.add(at, code, message);
        None
    }
}

/// Joins a member name to a JSON pointer, escaped as RFC 6901 says.
#[must_use]
pub fn member(at: &str, name: &str) -> String {
    format!("{at}/{}", name.replace('~', "~0").replace('/', "~1"))
}

/// A type that a member of a body may have.
pub trait Field: Sized {
    /// Whether the member may not be left out.
    const REQUIRED: bool = true;
    /// Reads the member (`None` when left out or null). `None` only after a fault.
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self>;
    /// The member in canonical form; `None` leaves it out.
    fn write(&self) -> Option<Value>;
    /// The JSON Schema of the member.
    fn schema() -> Value;
    /// Shows every reference it holds.
    fn refs(&mut self, _at: &str, _see: &mut dyn FnMut(&mut Slot, &str)) {}
}

fn missing<T>(at: &str, faults: &mut Faults) -> Option<T> {
    faults.none(at, "required", "This is needed.")
}
fn wrong<T>(at: &str, faults: &mut Faults, want: &str) -> Option<T> {
    faults.none(at, "wrong-type", format!("Give {want}."))
}

impl<T: Field> Field for Option<T> {
    const REQUIRED: bool = false;
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        match value {
            None | Some(Value::Null) => Some(None),
            some => T::read(some, at, faults).map(Some),
        }
    }
    fn write(&self) -> Option<Value> {
        self.as_ref().and_then(Field::write)
    }
    fn schema() -> Value {
        let mut schema = T::schema();
        if let Some(Value::String(one)) = schema.get("type").cloned() {
            schema["type"] = json!([one, "null"]);
            if let Some(Value::Array(words)) = schema.get_mut("enum") {
                words.push(Value::Null);
            }
            schema
        } else {
            json!({"anyOf": [schema, {"type": "null"}]})
        }
    }
    fn refs(&mut self, at: &str, see: &mut dyn FnMut(&mut Slot, &str)) {
        if let Some(inner) = self {
            inner.refs(at, see);
        }
    }
}

/// A list of 1 to `MAX` members.
#[derive(Clone, Debug, PartialEq)]
pub struct List<T, const MAX: usize>(pub Vec<T>);

impl<T: Field, const MAX: usize> Field for List<T, MAX> {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        let items = match value {
            None | Some(Value::Null) => return missing(at, faults),
            Some(Value::Array(items)) => items,
            Some(_) => return wrong(at, faults, "a list"),
        };
        if items.is_empty() || items.len() > MAX {
            return faults.none(at, "length", format!("Give 1 to {MAX} of these."));
        }
        let read: Vec<_> = items
            .iter()
            .enumerate()
            .map(|(i, item)| T::read(Some(item), &format!("{at}/{i}"), faults))
            .collect();
        read.into_iter().collect::<Option<Vec<_>>>().map(Self)
    }
    fn write(&self) -> Option<Value> {
        Some(self.0.iter().filter_map(Field::write).collect())
    }
    fn schema() -> Value {
        json!({"type": "array", "items": T::schema(), "minItems": 1, "maxItems": MAX})
    }
    fn refs(&mut self, at: &str, see: &mut dyn FnMut(&mut Slot, &str)) {
        for (i, item) in self.0.iter_mut().enumerate() {
            item.refs(&format!("{at}/{i}"), see);
        }
    }
}

/// A list that may be empty or left out.
#[derive(Clone, Debug, PartialEq)]
pub struct Many<T, const MAX: usize>(pub Vec<T>);

impl<T, const MAX: usize> Default for Many<T, MAX> {
    fn default() -> Self {
        Self(Vec::new())
    }
}

impl<T: Field, const MAX: usize> Field for Many<T, MAX> {
    const REQUIRED: bool = false;
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        match value {
            None | Some(Value::Null) => Some(Self::default()),
            Some(Value::Array(items)) if items.is_empty() => Some(Self::default()),
            some => List::<T, MAX>::read(some, at, faults).map(|list| Self(list.0)),
        }
    }
    fn write(&self) -> Option<Value> {
        (!self.0.is_empty()).then(|| self.0.iter().filter_map(Field::write).collect())
    }
    fn schema() -> Value {
        json!({"type": ["array", "null"], "items": T::schema(), "maxItems": MAX})
    }
    fn refs(&mut self, at: &str, see: &mut dyn FnMut(&mut Slot, &str)) {
        for (i, item) in self.0.iter_mut().enumerate() {
            item.refs(&format!("{at}/{i}"), see);
        }
    }
}

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
        number(value, at, faults)?.as_f64().and_then(Self::new).or_else(|| {
            faults.none(at, "out-of-range", "Give °C from -273.15 to 3000.")
        })
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
        number(value, at, faults)?.as_f64().and_then(Self::new).or_else(|| {
            faults.none(at, "out-of-range", "Give mm above 0, at most 100,000.")
        })
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
            Some(Value::String(text)) => Self::parse(text).or_else(|| {
                faults.none(at, "no-instant", "Give a date and time with an offset, as 2026-03-14T09:30:00+01:00.")
            }),
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

/// What a reference was asked by, and what it turned out to be.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Slot {
    /// The text as given: an id, a tag, a number or a name.
    pub asked: String,
    /// The kind it must be of.
    pub kind: Option<Kind>,
    /// Whether an unknown name makes the thing.
    pub named: bool,
    /// The record, once looked up.
    pub found: Option<(Seq, Uuid)>,
}

/// A reference to a record of kind `K`, by id, or tag or number where it has one.
pub struct Ref<K>(pub Slot, PhantomData<fn() -> K>);

impl<K> Clone for Ref<K> {
    fn clone(&self) -> Self {
        Self(self.0.clone(), PhantomData)
    }
}
impl<K> std::fmt::Debug for Ref<K> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}", self.0.asked)
    }
}
impl<K> PartialEq for Ref<K> {
    fn eq(&self, other: &Self) -> bool {
        self.0 == other.0
    }
}

impl<K: Kinded> Ref<K> {
    /// A reference to a record that is known already.
    #[must_use]
    pub fn known(seq: Seq, id: Uuid) -> Self {
        Self(
            Slot { asked: id.to_string(), kind: Some(K::KIND), named: false, found: Some((seq, id)) },
            PhantomData,
        )
    }
    /// The record's key in the store; -1 before it was looked up.
    #[must_use]
    pub fn seq(&self) -> Seq {
        self.0.found.map_or(-1, |(seq, _)| seq)
    }
    /// The record's id; nil before it was looked up.
    #[must_use]
    pub fn id(&self) -> Uuid {
        self.0.found.map_or(Uuid::nil(), |(_, id)| id)
    }
}

impl<K: Kinded> Field for Ref<K> {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        match value {
            None | Some(Value::Null) => missing(at, faults),
            Some(Value::String(text)) if !text.trim().is_empty() && text.len() <= 64 => Some(Self(
                Slot { asked: text.trim().to_owned(), kind: Some(K::KIND), named: false, found: None },
                PhantomData,
            )),
            Some(_) => wrong(at, faults, "an id"),
        }
    }
    fn write(&self) -> Option<Value> {
        Some(self.0.found.map_or_else(|| self.0.asked.clone(), |(_, id)| id.to_string()).into())
    }
    fn schema() -> Value {
        let what = match K::KIND {
            Kind::Casting | Kind::Shell => "id or tag",
            Kind::Commission | Kind::Heat => "id or number",
            _ => "id",
        };
        json!({"type": "string", "minLength": 1, "maxLength": 64, "description": format!("{what} of the {}", K::KIND.name().replace('_', " "))})
    }
    fn refs(&mut self, at: &str, see: &mut dyn FnMut(&mut Slot, &str)) {
        see(&mut self.0, at);
    }
}

/// A thing with a name (kiln, furnace, crucible, hand, supplier): by id or name; an
/// unknown name makes the thing.
pub struct Named<K>(pub Ref<K>);

impl<K> Clone for Named<K> {
    fn clone(&self) -> Self {
        Self(self.0.clone())
    }
}
impl<K> std::fmt::Debug for Named<K> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:?}", self.0)
    }
}
impl<K> PartialEq for Named<K> {
    fn eq(&self, other: &Self) -> bool {
        self.0 == other.0
    }
}

impl<K: Kinded> Field for Named<K> {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        let text = Text::<64>::read(value, at, faults)?;
        let slot = Slot { asked: text.0, kind: Some(K::KIND), named: true, found: None };
        Some(Self(Ref(slot, PhantomData)))
    }
    fn write(&self) -> Option<Value> {
        self.0.write()
    }
    fn schema() -> Value {
        json!({"type": "string", "minLength": 1, "maxLength": 64, "description": format!("id or name of the {}; an unknown name makes it", K::KIND.name())})
    }
    fn refs(&mut self, at: &str, see: &mut dyn FnMut(&mut Slot, &str)) {
        see(&mut self.0.0, at);
    }
}

/// The record that this one is part of: given by the path, or by the record it is sent with.
pub struct Parent<K>(pub Ref<K>);

impl<K> Clone for Parent<K> {
    fn clone(&self) -> Self {
        Self(self.0.clone())
    }
}
impl<K> std::fmt::Debug for Parent<K> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:?}", self.0)
    }
}
impl<K> PartialEq for Parent<K> {
    fn eq(&self, other: &Self) -> bool {
        self.0 == other.0
    }
}
impl<K: Kinded> Parent<K> {
    /// The key in the store of the record it is part of.
    #[must_use]
    pub fn seq(&self) -> Seq {
        self.0.seq()
    }
}

impl<K: Kinded> Field for Parent<K> {
    const REQUIRED: bool = false;
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        match value {
            None | Some(Value::Null) => Some(Self(Ref(
                Slot { kind: Some(K::KIND), ..Slot::default() },
                PhantomData,
            ))),
            some => Ref::read(some, at, faults).map(Self),
        }
    }
    fn write(&self) -> Option<Value> {
        if self.0.0.asked.is_empty() { None } else { self.0.write() }
    }
    fn schema() -> Value {
        Ref::<K>::schema()
    }
    fn refs(&mut self, at: &str, see: &mut dyn FnMut(&mut Slot, &str)) {
        see(&mut self.0.0, at);
    }
}

/// The body of a request: a struct declared by [`body!`].
pub trait Body: Sized + Send + Sync + 'static {
    /// The names of its members.
    fn members() -> &'static [&'static str];
    /// Names of members that hold children, recorded as records of their own.
    fn child_members() -> Vec<&'static str>;
    /// Reads the members of an object, whatever else stands in it.
    fn read_members(object: &Map<String, Value>, at: &str, faults: &mut Faults) -> Option<Self>;
    /// Its canonical form: no nulls, no children.
    fn write_members(&self, into: &mut Map<String, Value>);
    /// JSON Schemas of its members, and the names of those that are required.
    fn member_schemas() -> (Map<String, Value>, Vec<&'static str>);
    /// Shows every reference it holds.
    fn each_ref(&mut self, at: &str, see: &mut dyn FnMut(&mut Slot, &str));
}

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

/// Notes a fault for every member that nobody knows.
pub fn unknown(object: &Map<String, Value>, known: &[&[&str]], at: &str, faults: &mut Faults) {
    for name in object.keys() {
        if !known.iter().any(|names| names.contains(&name.as_str())) {
            faults.add(&member(at, name), "unknown-field", "There is no such field here.");
        }
    }
}

/// The name of a member as it stands in JSON: a Rust keyword loses its `r#`.
#[must_use]
pub const fn plain_name(name: &'static str) -> &'static str {
    let bytes = name.as_bytes();
    if bytes.len() > 2 && bytes[0] == b'r' && bytes[1] == b'#' { name.split_at(2).1 } else { name }
}

/// Declares the body of a request. Fields are required unless their type says
/// otherwise (`Option`, [`Many`], [`Children`], [`Parent`]).
#[macro_export]
macro_rules! body {
    ($(#[$doc:meta])* pub struct $name:ident { $($(#[$fdoc:meta])* $field:ident : $type:ty,)* }) => {
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq)]
        pub struct $name { $($(#[$fdoc])* pub $field: $type,)* }

        impl $crate::kernel::field::Body for $name {
            fn members() -> &'static [&'static str] {
                const NAMES: &[&str] = &[$($crate::kernel::field::plain_name(stringify!($field)),)*];
                NAMES
            }
            fn child_members() -> Vec<&'static str> {
                let mut out = Vec::new();
                $(if stringify!($type).starts_with("Children") || stringify!($type).starts_with("Inline") { out.push($crate::kernel::field::plain_name(stringify!($field))); })*
                out
            }
            fn read_members(
                object: &serde_json::Map<String, serde_json::Value>,
                at: &str,
                faults: &mut $crate::kernel::field::Faults,
            ) -> Option<Self> {
                $(let $field = <$type as $crate::kernel::field::Field>::read(
                    object.get($crate::kernel::field::plain_name(stringify!($field))),
                    &$crate::kernel::field::member(at, $crate::kernel::field::plain_name(stringify!($field))),
                    faults,
                );)*
                Some(Self { $($field: $field?,)* })
            }
            fn write_members(&self, into: &mut serde_json::Map<String, serde_json::Value>) {
                $(if let Some(value) = $crate::kernel::field::Field::write(&self.$field) {
                    into.insert($crate::kernel::field::plain_name(stringify!($field)).to_owned(), value);
                })*
            }
            fn member_schemas() -> (serde_json::Map<String, serde_json::Value>, Vec<&'static str>) {
                let mut properties = serde_json::Map::new();
                let mut required = Vec::new();
                $(
                    properties.insert(
                        $crate::kernel::field::plain_name(stringify!($field)).to_owned(),
                        <$type as $crate::kernel::field::Field>::schema(),
                    );
                    if <$type as $crate::kernel::field::Field>::REQUIRED {
                        required.push($crate::kernel::field::plain_name(stringify!($field)));
                    }
                )*
                (properties, required)
            }
            fn each_ref(
                &mut self,
                at: &str,
                see: &mut dyn FnMut(&mut $crate::kernel::field::Slot, &str),
            ) {
                $($crate::kernel::field::Field::refs(
                    &mut self.$field,
                    &$crate::kernel::field::member(at, $crate::kernel::field::plain_name(stringify!($field))),
                    see,
                );)*
            }
        }
    };
}

/// Declares a closed list of words.
#[macro_export]
macro_rules! words {
    ($(#[$doc:meta])* pub enum $name:ident { $($(#[$vdoc:meta])* $variant:ident = $text:literal,)* }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum $name { $($(#[$vdoc])* $variant,)* }

        impl $name {
            /// All of them.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];
            /// As written in the API and the store.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $text,)* }
            }
            /// The inverse of `name`.
            #[must_use]
            pub fn parse(text: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|w| w.name() == text)
            }
        }

        impl $crate::kernel::field::Field for $name {
            fn read(
                value: Option<&serde_json::Value>,
                at: &str,
                faults: &mut $crate::kernel::field::Faults,
            ) -> Option<Self> {
                match value {
                    None | Some(serde_json::Value::Null) => {
                        faults.none(at, "required", concat!("Give one of:" $(, " ", $text)*, "."))
                    }
                    Some(serde_json::Value::String(text)) if Self::parse(text).is_some() => Self::parse(text),
                    Some(_) => faults.none(at, "not-in-list", concat!("Give one of:" $(, " ", $text)*, ".")),
                }
            }
            fn write(&self) -> Option<serde_json::Value> {
                Some(self.name().into())
            }
            fn schema() -> serde_json::Value {
                serde_json::json!({"type": "string", "enum": [$($text,)*]})
            }
        }
    };
}
