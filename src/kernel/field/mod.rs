//! From JSON to types that cannot be wrong, with every fault named at once.
//!
//! [`body!`](crate::body) declares the body of a request as a struct of typed fields. The
//! macro reads it (collecting all faults), writes it back in canonical form for the
//! journal, finds the records it refers to, and describes it for the API document.

mod macros;
mod nested;
mod refs;
mod scalars;

pub use nested::{Children, Inline, Nested};
pub use refs::{Named, Parent, Ref, Slot};
pub use scalars::{Day, Kg, Minor, Positive, Text, UpTo, Whole};

use crate::kernel::problem::Fault;
use serde_json::{Map, Value, json};

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
        let read: Vec<_> = items.iter().enumerate().map(|(i, item)| T::read(Some(item), &format!("{at}/{i}"), faults)).collect();
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
