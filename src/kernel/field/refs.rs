//! References to other records: by id, tag or number; by name; by the path.

use super::{Faults, Field, Text, missing, wrong};
use crate::kernel::id::{Kind, Kinded, Seq};
use serde_json::{Value, json};
use std::marker::PhantomData;
use uuid::Uuid;

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
        Self(Slot { asked: id.to_string(), kind: Some(K::KIND), named: false, found: Some((seq, id)) }, PhantomData)
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
            Some(Value::String(text)) if !text.trim().is_empty() && text.len() <= 64 => {
                Some(Self(Slot { asked: text.trim().to_owned(), kind: Some(K::KIND), named: false, found: None }, PhantomData))
            }
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
            None | Some(Value::Null) => Some(Self(Ref(Slot { kind: Some(K::KIND), ..Slot::default() }, PhantomData))),
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
