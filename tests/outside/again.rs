//! The same history told again: as corrected from the start, without what was voided, in
//! another order. Whoever still holds earlier records tries again, as an outbox does.

use super::{REFUSALS, text};
use pourbook::demo::{Caller, Dice, Who};
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// A request that was taken, with what has become of it.
struct Request {
    path: String,
    /// As it now stands; null once it was voided.
    body: Value,
}

/// Where a record stands: its request, and its place in an array of children.
type Place = (usize, Option<(&'static str, usize)>);

/// All requests that were taken.
#[derive(Default)]
pub struct Taken {
    requests: Vec<Request>,
    places: BTreeMap<String, Place>,
    /// The pools that were named for what came back of castings judged along with their tree.
    pools: BTreeMap<String, String>,
}

impl Taken {
    /// Notes a request and where its records are.
    pub fn request(&mut self, path: &str, body: Value, made: &Value) {
        let n = self.requests.len();
        self.places.insert(text(&made["id"]), (n, None));
        for member in ["charge", "leaks", "castings"] {
            for (i, child) in made[member].as_array().into_iter().flatten().enumerate() {
                self.places.insert(text(&child["id"]), (n, Some((member, i))));
                if let Some(pool) = child["returned_lot_id"].as_str() {
                    self.pools.insert(text(&child["id"]), pool.to_owned());
                }
            }
        }
        self.requests.push(Request { path: path.to_owned(), body });
    }

    fn stands(&mut self, id: &str) -> Option<&mut Value> {
        let (n, child) = self.places.get(id)?;
        let body = &mut self.requests.get_mut(*n)?.body;
        match child {
            Some((member, i)) => body.get_mut(*member)?.get_mut(*i),
            None => Some(body),
        }
    }

    /// Notes a correction.
    pub fn corrected(&mut self, id: &str, patch: &Value) {
        let body = self.stands(id).unwrap();
        for (name, value) in patch.as_object().unwrap() {
            body[name] = value.clone();
        }
    }

    /// Notes that a record was voided.
    pub fn voided(&mut self, id: &str) {
        if let Some(body) = self.stands(id) {
            *body = Value::Null;
        }
    }

    /// Whether a record is the only one of its array, without which its parent is nothing.
    pub fn is_last_child(&self, id: &str) -> bool {
        let Some((n, Some((member, _)))) = self.places.get(id) else { return false };
        let children = self.requests[*n].body[*member].as_array();
        *member == "charge" && children.is_some_and(|all| all.iter().filter(|c| !c.is_null()).count() == 1)
    }

    /// Whether the record came with others in one request, whose time it shares.
    pub fn is_with_others(&self, id: &str) -> bool {
        self.places.get(id).is_some_and(|(n, child)| child.is_some() || self.requests[*n].body.get("charge").is_some())
    }

    /// Tells all of it in another order; answers the new ids of the records that cannot
    /// choose their own, with the old ones. Everything must be taken in the end.
    pub async fn tell(&self, caller: &mut Caller, dice: &mut Dice) -> BTreeMap<String, String> {
        let mut old: BTreeMap<(usize, &'static str), Vec<(usize, String)>> = BTreeMap::new();
        for (id, (n, child)) in &self.places {
            if let Some((member, i)) = child {
                old.entry((*n, *member)).or_default().push((*i, id.clone()));
            }
        }
        let mut waiting: Vec<usize> = (0..self.requests.len()).filter(|n| !self.requests[*n].body.is_null()).collect();
        for i in (1..waiting.len()).rev() {
            let j = usize::try_from(dice.between(0, i64::try_from(i).unwrap())).unwrap();
            waiting.swap(i, j);
        }
        let mut names: BTreeMap<String, String> = BTreeMap::new();
        // Whose metal was in a heat when a pool was named for it may be told only later, or have
        // been voided since: what nothing else on its way cures is said again, as a hand would.
        let mut say = false;
        while !waiting.is_empty() {
            let (before, mut left, mut said) = (waiting.len(), Vec::new(), Vec::new());
            for n in waiting {
                let Request { path, body } = &self.requests[n];
                let mut body = body.clone();
                for member in ["charge", "leaks", "castings"] {
                    if let Some(Value::Array(children)) = body.get_mut(member) {
                        children.retain(|c| !c.is_null());
                    }
                }
                let (mut status, mut answer) = caller.ask(Who::Owner, "POST", path, Some(&body)).await.unwrap();
                if say && answer["type"] == "/problems/client-metal" {
                    body["despite"] = json!(["client_metal"]);
                    (status, answer) = caller.ask(Who::Owner, "POST", path, Some(&body)).await.unwrap();
                }
                if status >= 300 {
                    let kind = answer["type"].as_str().unwrap_or("").trim_start_matches("/problems/").to_owned();
                    // What a record names may be on its way as well.
                    let fair = REFUSALS.contains(&kind.as_str()) || kind == "not-found";
                    assert!(fair && status < 500, "{path} {body}: {status} {answer}");
                    said.push(format!("{path} {body}: {answer}"));
                    left.push(n);
                    continue;
                }
                for member in ["charge", "leaks", "castings"] {
                    let mut ids = old.get(&(n, member)).cloned().unwrap_or_default();
                    ids.retain(|(i, _)| !self.requests[n].body[member][*i].is_null());
                    ids.sort();
                    let new = answer[member].as_array().into_iter().flatten().map(|c| text(&c["id"]));
                    names.extend(new.zip(ids.into_iter().map(|(_, id)| id)));
                }
            }
            assert!(left.len() < before || !say, "told in another order these are never taken:\n{}", said.join("\n"));
            say = left.len() == before;
            waiting = left;
        }
        // The pool is named when a return is recorded, by what was on record then.
        for (new, old) in &names {
            if let Some(pool) = self.pools.get(old) {
                let body = json!({"returned_lot_id": pool, "despite": ["client_metal"]});
                let (status, answer) =
                    caller.ask(Who::Owner, "PATCH", &format!("/v1/breakouts/{new}"), Some(&body)).await.unwrap();
                assert_eq!(status, 200, "{answer}");
            }
        }
        names
    }
}
