//! What pages of the floor are made with: the API asked from inside, the shop's units and
//! clock, slips, cautions.

use super::settings;
use super::shown::Shown as Reads;
use crate::book::api::Kit;
use crate::book::thing;
use crate::book::verbs::HANDS_OWN_MS;
use crate::kernel::actor::Right;
use crate::kernel::{Clock, Instant, Problem};
use crate::science::trade::{Alloy, Catalogue, PatternMaterial, TradeStep};
use crate::web::inside::Inside;
use crate::web::page::escape_part;
use crate::web::sheet::{Caution, Cell, Part, Table};
use crate::web::slip::{Choice, Field, Slip, Symbols};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::future::Future;
use std::sync::Arc;
use uuid::Uuid;

/// What pages are made with.
#[derive(Clone)]
pub struct Floor {
    /// The book.
    pub kit: Kit,
    /// The API from inside.
    pub inside: Inside,
}

/// One look at a page: who looks, and how the shop reads now.
pub struct Look<'v> {
    /// The visit.
    pub visit: &'v Visit,
    /// Units and clock.
    pub reads: Reads,
    symbols: Symbols,
    inside: Inside,
    /// Ids.
    pub clock: Clock,
}

impl Floor {
    /// A page to look at.
    pub fn page<F, T>(&self, path: &'static str, right: Right, show: F) -> Page
    where
        F: Fn(Arc<Self>, Arc<Visit>) -> T + Send + Sync + 'static,
        T: Future<Output = Result<Shown, Problem>> + Send + 'static,
    {
        let floor = Arc::new(self.clone());
        Page::get(path, right, move |visit| show(floor.clone(), Arc::new(visit)))
    }
    /// A look at a page.
    ///
    /// # Errors
    /// As the database says.
    pub async fn look<'v>(&self, visit: &'v Visit) -> Result<Look<'v>, Problem> {
        let reads = Reads::new(settings::of(&mut self.kit.db.read().await?).await?, visit.now);
        let symbols = reads.symbols();
        Ok(Look { visit, reads, symbols, inside: self.inside.clone(), clock: self.kit.db.clock().clone() })
    }
    /// The names of things by their ids, of whatever kind.
    ///
    /// # Errors
    /// As the database says.
    pub async fn names(&self, ids: &[&Value]) -> Result<Names, Problem> {
        let mut ids: Vec<Uuid> = ids.iter().filter_map(|id| Uuid::parse_str(id.as_str()?).ok()).collect();
        ids.sort_unstable();
        ids.dedup();
        Ok(Names(thing::names(&mut self.kit.db.read().await?, &ids).await?))
    }
}

/// Names of things by their ids.
pub struct Names(Vec<(Uuid, String)>);

impl Names {
    /// The name of an id; nothing where it is not known.
    #[must_use]
    pub fn of(&self, id: &Value) -> String {
        let id = id.as_str().and_then(|id| Uuid::parse_str(id).ok());
        self.0.iter().find(|(of, _)| Some(*of) == id).map_or_else(String::new, |(_, name)| name.clone())
    }
    /// The names of several, with commas between.
    #[must_use]
    pub fn all(&self, ids: &Value) -> String {
        items(ids).iter().map(|id| self.of(id)).filter(|name| !name.is_empty()).collect::<Vec<_>>().join(", ")
    }
}

impl Look<'_> {
    /// What the API answers this visitor.
    ///
    /// # Errors
    /// As the API.
    pub async fn get(&self, path: &str) -> Result<Value, Problem> {
        self.inside.get(self.visit, path).await
    }
    /// A page of a collection, from where the address says; the items, and where older ones are.
    ///
    /// # Errors
    /// As the API.
    pub async fn list(&self, path: &str, limit: u16) -> Result<(Vec<Value>, String), Problem> {
        let cursor = self.visit.query.get("older");
        let cursor = if cursor.is_empty() { String::new() } else { format!("&cursor={}", escape_part(cursor)) };
        let and = if path.contains('?') { '&' } else { '?' };
        let mut answer = self.get(&format!("{path}{and}limit={limit}{cursor}")).await?;
        let next =
            answer["next_cursor"].as_str().map_or_else(String::new, |c| format!("{}?older={}", self.visit.path, escape_part(c)));
        Ok((items_of(answer["items"].take()), next))
    }
    /// The names in a collection of named things, to be proposed.
    ///
    /// # Errors
    /// As the API.
    pub async fn proposed(&self, collection: &str) -> Result<Vec<String>, Problem> {
        let answer = self.get(&format!("/v1/{collection}?limit=100")).await?;
        // What is out of use is not proposed.
        let in_use = items(&answer["items"]).iter().filter(|thing| thing["retired_on"].is_null());
        Ok(in_use.map(|thing| text(thing, "name")).filter(|name| !name.is_empty()).collect())
    }
    /// A slip: where it goes below `/v1`, the words of its button.
    #[must_use]
    pub fn slip(&self, to: impl Into<String>, button: &str) -> Slip {
        self.visit.slip(to, button, self.clock.mint(), &self.symbols)
    }
    /// Whether whoever looks may correct a record: the owner always, a hand its own for a day.
    #[must_use]
    pub fn may_correct(&self, record: &Value) -> bool {
        let Some(actor) = &self.visit.actor else { return false };
        let recorded = record["recorded_at"].as_str().and_then(Instant::parse);
        let own = record["by"] == *actor.name && recorded.is_some_and(|at| self.visit.now.since(at) <= HANDS_OWN_MS);
        actor.role.may(Right::Own) || own
    }
    /// Who did it: whoever is signed in, unless others are named.
    #[must_use]
    pub fn hands(&self, label: &str) -> Field {
        let me = self.visit.actor.as_ref().map_or_else(String::new, |a| a.name.clone());
        Field::text("hands", label).assume(me).hint("Names, with commas between.").more()
    }
    /// The cautions at a step, for a metal and a pattern as far as they are known.
    ///
    /// # Errors
    /// That the built-in tables cannot be read.
    pub fn cautions(&self, step: TradeStep, alloy: Option<&Alloy>, pattern: Option<&PatternMaterial>) -> Result<Part, Problem> {
        let built_in = Catalogue::builtin().map_err(Problem::internal)?;
        let standing = built_in.cautions.iter().filter(|c| c.stands(step, alloy, pattern));
        Ok(Part::Cautions(
            standing.map(|c| Caution { line: c.line.clone(), title: c.title.clone(), card: c.card.clone() }).collect(),
        ))
    }
}

/// What is in a list.
#[must_use]
pub fn items(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

fn items_of(value: Value) -> Vec<Value> {
    match value {
        Value::Array(items) => items,
        _ => Vec::new(),
    }
}

/// A member as text: a string as it is, a number in digits, else nothing.
#[must_use]
pub fn text(of: &Value, name: &str) -> String {
    match &of[name] {
        Value::String(text) => text.clone(),
        Value::Number(number) => number.to_string(),
        _ => String::new(),
    }
}

/// A code of several words as it is read: `open_rack` is open rack.
#[must_use]
pub fn plain(code: &str) -> String {
    code.replace('_', " ")
}

/// A choice with something said beside it.
#[must_use]
pub fn choice(value: impl Into<String>, words: impl Into<String>, aside: impl Into<String>) -> Choice {
    Choice { value: value.into(), words: words.into(), aside: aside.into(), chosen: false }
}

/// A table of named things that lead to their pages.
#[must_use]
pub fn named_table(heading: &str, empty: &str, things: &[Value], path: &str) -> Table {
    let mut table = Table::new(heading, empty, &["Name"]);
    for thing in things {
        table.row([Cell::text(text(thing, "name")).to(format!("{path}/{}", text(thing, "id")))]);
    }
    table
}
