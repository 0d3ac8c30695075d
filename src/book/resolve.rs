//! Looking up everything a request refers to, in one read.

use super::common::Draft;
use super::idempotency::{Key, Known};
use crate::db::{Cell, Read as _, WriteTx};
use crate::kernel::field::{Body, Slot};
use crate::kernel::{Fault, Kind, Problem, Seq, Tag};
use serde_json::{Value, json};
use std::collections::HashMap;
use uuid::Uuid;

/// What a look-up found of one record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Found {
    /// Its number.
    pub seq: Seq,
    /// Its id.
    pub id: Uuid,
    /// Its kind.
    pub kind: Kind,
    /// Whether it is void.
    pub void: bool,
}

/// The space and key of a short name of that kind: tag, number or name.
#[must_use]
pub fn handle_of(kind: Kind, text: &str) -> Option<(&'static str, String)> {
    match kind {
        Kind::Casting | Kind::Shell => Tag::parse(text).map(|tag| ("tag", tag.to_string())),
        Kind::Commission | Kind::Heat | Kind::Quote => Some((kind.name(), text.trim().to_uppercase())),
        Kind::Hand | Kind::Kiln | Kind::Furnace | Kind::Crucible | Kind::Supplier => Some((kind.name(), name_key(text))),
        _ => None,
    }
}

/// The key of a name: case and runs of spaces do not matter.
#[must_use]
pub fn name_key(name: &str) -> String {
    name.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase()
}

/// A look-up in preparation.
#[derive(Clone, Debug, Default)]
pub struct Asks {
    ids: Vec<Value>,
    handles: Vec<Value>,
}

/// The answers of a look-up.
#[derive(Debug, Default)]
pub struct Answers {
    by_id: HashMap<Uuid, Found>,
    by_handle: HashMap<(String, String), Found>,
    /// What the idempotency key was used for.
    pub key: Option<Known>,
}

/// The key by which the id of a thing that was merged away finds the one that stayed: after all names, so
/// that no list of names begins with it.
#[must_use]
pub fn id_key(id: Uuid) -> String {
    format!("\u{10fffd}{}", id.simple())
}

impl Asks {
    /// Asks for a record by id, tag, number or name.
    pub fn add(&mut self, kind: Kind, text: &str) {
        if let Ok(id) = Uuid::parse_str(text) {
            self.ids.push(id.simple().to_string().into());
            if matches!(kind, Kind::Hand | Kind::Kiln | Kind::Furnace | Kind::Crucible | Kind::Supplier) {
                self.handles.push(json!([kind.name(), id_key(id)]));
            }
        } else if let Some((space, key)) = handle_of(kind, text) {
            self.handles.push(json!([space, key]));
        }
    }
    /// Asks for every reference of a draft that is not known yet.
    pub fn add_draft<B: Body>(&mut self, draft: &mut Draft<B>) {
        draft.each_ref(&mut |slot, _| {
            if let (Some(kind), None, false) = (slot.kind, slot.found, slot.asked.is_empty()) {
                self.add(kind, &slot.asked);
            }
        });
        if let Some(id) = draft.common.id {
            self.ids.push(id.simple().to_string().into());
        }
    }
    /// Looks everything up; opens the turn. One driver call.
    ///
    /// # Errors
    /// As the database says.
    pub async fn look(self, tx: &mut WriteTx, key: Option<&Key>) -> Result<Answers, Problem> {
        let rows = tx
            .fetch(
                "SELECT 1, r.id, r.seq, r.kind, r.void_ms IS NOT NULL, NULL, NULL \
                 FROM json_each(?) j JOIN record r ON r.id = unhex(j.value) \
                 UNION ALL \
                 SELECT 2, r.id, r.seq, r.kind, r.void_ms IS NOT NULL, h.space, h.key \
                 FROM json_each(?) j JOIN handle h ON h.space = j.value ->> 0 AND h.key = j.value ->> 1 \
                 JOIN record r ON r.seq = h.record_seq \
                 UNION ALL \
                 SELECT 3, i.fingerprint, i.record_seq, i.answer, 0, NULL, NULL FROM idempotency i WHERE i.key = ?",
                vec![
                    Value::Array(self.ids).to_string().into(),
                    Value::Array(self.handles).to_string().into(),
                    Cell::from(key.map(|k| k.text.clone())),
                ],
            )
            .await?;
        let mut answers = Answers::default();
        for row in rows {
            if row.int(0)? == 3 {
                answers.key = Some(Known { fingerprint: row.blob(1)?, answer: row.text(3)? });
                continue;
            }
            let kind = row.text(3)?;
            let kind = Kind::parse(&kind).ok_or_else(|| Problem::internal(format!("record kind {kind}")))?;
            let found = Found { seq: row.int(2)?, id: row.uuid(1)?, kind, void: row.int(4)? != 0 };
            if row.int(0)? == 1 {
                answers.by_id.insert(found.id, found);
            } else {
                answers.by_handle.insert((row.text(5)?, row.text(6)?), found);
            }
        }
        Ok(answers)
    }
}

impl Answers {
    /// What was found for a text of that kind.
    #[must_use]
    pub fn find(&self, kind: Kind, text: &str) -> Option<Found> {
        let found = match Uuid::parse_str(text) {
            Ok(id) => self.by_id.get(&id),
            Err(_) => handle_of(kind, text).and_then(|(space, key)| self.by_handle.get(&(space.to_owned(), key))),
        };
        found.copied().filter(|f| f.kind == kind)
    }

    /// The one that a reference means: of a thing that was merged away, the one that stayed.
    fn meant(&self, kind: Kind, text: &str) -> Option<Found> {
        let stayed = |id| self.by_handle.get(&(kind.name().to_owned(), id_key(id))).copied();
        Uuid::parse_str(text).ok().and_then(stayed).or_else(|| self.find(kind, text))
    }

    /// Fills every reference of a draft. References to nothing are faults; names that are
    /// not known are left for `thing` to make.
    pub fn fill<B: Body>(&self, draft: &mut Draft<B>, faults: &mut Vec<Fault>) {
        let mut fill = |slot: &mut Slot, at: &str| {
            let (Some(kind), None, false) = (slot.kind, slot.found, slot.asked.is_empty()) else { return };
            match self.meant(kind, &slot.asked) {
                Some(found) if !found.void => slot.found = Some((found.seq, found.id)),
                Some(_) => faults.push(Fault {
                    pointer: at.to_owned(),
                    code: "void",
                    message: format!("That {} is void.", kind.name().replace('_', " ")),
                }),
                None if slot.named && Uuid::parse_str(&slot.asked).is_err() => {}
                None => faults.push(Fault {
                    pointer: at.to_owned(),
                    code: "not-found",
                    message: format!("There is no {} {}.", kind.name().replace('_', " "), slot.asked),
                }),
            }
        };
        draft.each_ref(&mut fill);
    }

    /// Whether an id is taken.
    #[must_use]
    pub fn taken(&self, id: Uuid) -> bool {
        self.by_id.contains_key(&id)
    }
}
