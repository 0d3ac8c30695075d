//! One of the two ways that are tried, as it is given, and the difference worth knowing.

use super::model::Factor;
use crate::book::api::find;
use crate::db::Read;
use crate::kernel::field::{Faults, Field, Slot, Text};
use crate::kernel::{Fault, Kind, Problem, Seq};
use crate::shop::heat::Support;
use crate::shop::shell;
use serde_json::{Value, json};
use uuid::Uuid;

/// A way of working: a recipe by id or name, a version by id, a word, or words. Once it was looked up it
/// refers to the recipe or version.
#[derive(Clone, Debug, PartialEq)]
pub struct Level {
    /// As it was given.
    pub said: Text<120>,
    slot: Slot,
}

impl Field for Level {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        Text::read(value, at, faults).map(|said| Self { said, slot: Slot::default() })
    }
    fn write(&self) -> Option<Value> {
        Some(self.slot.found.map_or_else(|| self.said.0.clone(), |(_, id)| id.to_string()).into())
    }
    fn schema() -> Value {
        let mut schema = Text::<120>::schema();
        schema["description"] = "of a recipe its id or name, of a version its id, of a support its word; else in words".into();
        schema
    }
    fn refs(&mut self, at: &str, see: &mut dyn FnMut(&mut Slot, &str)) {
        // Not looked up with the rest: what it may be depends on what is tried.
        if self.slot.found.is_some() {
            see(&mut self.slot, at);
        }
    }
}

impl Level {
    /// What it refers to.
    #[must_use]
    pub fn seq(&self) -> Option<Seq> {
        self.slot.found.map(|(seq, _)| seq)
    }
    fn refer(&mut self, kind: Kind, to: (Seq, Uuid)) {
        self.slot = Slot { asked: to.1.to_string(), kind: Some(kind), named: false, found: Some(to) };
    }
    /// Finds out what is meant.
    ///
    /// # Errors
    /// As the database says; what is wrong with it goes to `faults`.
    pub async fn resolve<R: Read>(
        &mut self,
        read: &mut R,
        factor: Factor,
        at: &str,
        faults: &mut Vec<Fault>,
    ) -> Result<(), Problem> {
        let text = self.said.0.clone();
        let mut fault = |code, message: String| faults.push(Fault { pointer: at.to_owned(), code, message });
        match factor {
            Factor::Practice => {}
            Factor::Support => {
                if Support::parse(&text).is_none() {
                    let all: Vec<&str> = Support::ALL.iter().map(|s| s.name()).collect();
                    fault("not-in-list", format!("Give one of: {}.", all.join(" ")));
                }
            }
            Factor::Recipe | Factor::RecipeVersion => {
                let kind = if factor == Factor::Recipe { Kind::Recipe } else { Kind::RecipeVersion };
                let by_id = match Uuid::parse_str(&text) {
                    Ok(id) => find(read, kind, &text).await.ok().map(|seq| (seq, id)),
                    Err(_) => None,
                };
                let found = match by_id {
                    Some(found) => vec![found],
                    None if kind == Kind::Recipe => shell::recipes_called(read, &text).await?,
                    None => Vec::new(),
                };
                match found.as_slice() {
                    [one] => self.refer(kind, *one),
                    [] => fault("not-found", format!("There is no {} {text}.", kind.name().replace('_', " "))),
                    _ => fault("several", format!("Several recipes are called {text}: give the id.")),
                }
            }
        }
        Ok(())
    }
}

/// A difference of rates from 0.01 to 0.5.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Worth(pub f64);

impl Worth {
    /// Whether it is one.
    #[must_use]
    pub fn new(value: f64) -> Option<Self> {
        (0.01..=0.5).contains(&value).then_some(Self(value))
    }
}

impl Field for Worth {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        match value {
            None | Some(Value::Null) => faults.none(at, "required", "This is needed."),
            Some(Value::Number(n)) => n
                .as_f64()
                .and_then(Self::new)
                .or_else(|| faults.none(at, "out-of-range", "Give a difference of rates from 0.01 to 0.5.")),
            Some(_) => faults.none(at, "wrong-type", "Give a number."),
        }
    }
    fn write(&self) -> Option<Value> {
        Some(json!(self.0))
    }
    fn schema() -> Value {
        json!({"type": "number", "minimum": 0.01, "maximum": 0.5, "description": "a difference of rates: 0.1 is 10 shells in 100"})
    }
}
