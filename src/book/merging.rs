//! Two named things that are one: the records of the first come to name the second, each by a
//! correction of its own, and the first is voided. What the first was called, the second is too.

use super::api::{Acted, Kit, act, by_ref, check_match, in_path};
use super::common::MEMBERS;
use super::resolve::{Answers, Asks, Found};
use super::room::Room;
use super::thing;
use super::verbs::{self, Created, Standing, standing};
use super::void::{self, Ask, InTheWay};
use crate::db::{Cell, Read as _, WriteTx};
use crate::kernel::actor::Right;
use crate::kernel::field::{Faults, Field as _, Text, unknown};
use crate::kernel::{Kind, Problem, ProblemType, Seq};
use crate::web::route::handler;
use crate::web::{Answer, Ctx, Method, Reply, RequestBody, Route};
use serde_json::{Map, Value, json};
use std::future::Future;
use std::pin::Pin;
use std::time::{Duration, Instant};
use uuid::Uuid;

/// A correction of a record whose kind is only known as it is found.
pub type Corrector =
    for<'t> fn(&'t mut WriteTx, Seq, Map<String, Value>) -> Pin<Box<dyn Future<Output = Result<Created, Problem>> + Send + 't>>;

/// The corrector of a room.
#[must_use]
pub fn corrector<R: Room>() -> (Kind, Corrector) {
    (R::KIND, |tx, seq, patch| Box::pin(verbs::correct::<R>(tx, seq, patch, None)))
}

/// The most records that one turn moves, so that nobody else at the book waits for long: the next turn
/// goes on. The heats of a crucible move in one turn, since what is left in it goes from heat to heat.
pub const AT_ONCE: usize = 200;
/// For how long one request goes on, turn after turn; what is left then is moved by asking again.
const GO_ON: Duration = Duration::from_secs(15);

/// The route that merges a thing of a kind into another.
#[must_use]
pub fn route(kit: &Kit, kind: Kind) -> Route {
    let kit = kit.clone();
    let name = kind.name();
    Route {
        method: Method::Post,
        path: format!("/v1/{}/{{id}}/merge", kind.collection()),
        operation: format!("{name}_merge"),
        right: Right::Own,
        about: format!(
            "Merge a {name} into another: its records move, each journalled; with the last of them it is voided and its names become the other's"
        ),
        heading: "The shop",
        params: Vec::new(),
        body: Some(RequestBody {
            name: "Merge".into(),
            schema: json!({"type": "object", "additionalProperties": false, "required": ["into"], "properties": {
                "into": {"type": "string", "minLength": 1, "maxLength": 64, "description": "the one that stays, by id or name"},
                "reason": {"type": ["string", "null"], "minLength": 1, "maxLength": 500}}}),
            merge_patch: false,
        }),
        answer: Answer {
            status: 200,
            about: "The one that stays, with how many records were `moved` and how many are `left`",
            media: "application/json",
            schema: json!({"allOf": [by_ref(kind), {"type": "object", "required": ["moved", "left"], "properties": {
                "moved": {"type": "integer"}, "left": {"type": "integer"},
                "kept": {"type": "array", "items": {"type": "string"}, "description": "members in which both said something different"}}}]}),
            etag: true,
        },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move { merge(&kit, kind, ctx).await }
        }),
    }
}

fn read_body(ctx: &Ctx) -> Result<(String, Option<String>), Problem> {
    let Value::Object(object) = &ctx.body else { return Err(Problem::field("", "wrong-type", "Give a JSON object.")) };
    let mut faults = Faults::default();
    unknown(object, &[&["into", "reason"]], "", &mut faults);
    let into = Text::<64>::read(object.get("into"), "/into", &mut faults);
    let reason = Option::<Text<500>>::read(object.get("reason"), "/reason", &mut faults);
    match into {
        Some(into) if faults.0.is_empty() => Ok((into.0, reason.flatten().map(|text| text.0))),
        _ => Err(Problem::invalid(faults.0)),
    }
}

async fn merge(kit: &Kit, kind: Kind, ctx: Ctx) -> Result<Reply, Problem> {
    let (into, reason) = read_body(&ctx)?;
    let text = ctx.part("id").to_owned();
    let mut asks = Asks::default();
    asks.add(kind, &text);
    asks.add(kind, &into);
    let begun = Instant::now();
    let mut moved_before: u64 = 0;
    loop {
        let if_match = if moved_before == 0 { ctx.if_match.clone() } else { None };
        let correctors = kit.catalogue.correctors.clone();
        let reply = act(kit, &ctx, asks.clone(), |tx, answers| {
            let (text, into, reason, if_match, correctors) =
                (text.clone(), into.clone(), reason.clone(), if_match.clone(), correctors.clone());
            Box::pin(async move {
                let from = in_path(answers, kind, &text)?;
                check_match(tx, kind, from.seq, if_match.as_deref()).await?;
                let into = the_other(answers, kind, from.seq, &into)?;
                let (from, into) = (standing(tx, kind, from.seq).await?, standing(tx, kind, into.seq).await?);
                let (moved, left) = move_records(tx, &correctors, &from, &into, reason.as_deref()).await?;
                let mut more = Map::new();
                if left == 0 {
                    more.insert("kept".into(), close(tx, &correctors, &from, &into, reason.as_deref()).await?);
                }
                more.insert("moved".into(), (moved_before + moved as u64).into());
                more.insert("left".into(), left.into());
                Ok(Acted { seqs: vec![into.seq], many: None, first_use: Vec::new(), more, status: 200, unfinished: left > 0 })
            })
        })
        .await?;
        let said = |name: &str| reply.value.as_ref().and_then(|value| value[name].as_u64());
        let (moved, left) = (said("moved"), said("left"));
        if left.is_none_or(|left| left == 0) || begun.elapsed() > GO_ON {
            return Ok(reply);
        }
        moved_before = moved.unwrap_or(moved_before);
    }
}

/// The one that stays.
fn the_other(answers: &Answers, kind: Kind, from: Seq, into: &str) -> Result<Found, Problem> {
    let name = kind.name();
    match answers.find(kind, into) {
        Some(found) if found.seq == from => Err(Problem::field("/into", "itself", format!("Give another {name}."))),
        Some(found) if found.void => Err(Problem::field("/into", "void", format!("That {name} is void."))),
        Some(found) => Ok(found),
        None => Err(Problem::field("/into", "not-found", format!("There is no {name} {into}."))),
    }
}

/// A record that names a thing: its number, kind, id, and the members that do.
type Naming = (Seq, Kind, Uuid, Vec<String>);

/// Live records that name a thing, those of kinds with few of them first: what may refuse, as a rate does
/// that the other has too, refuses before anything was moved.
async fn naming(tx: &mut WriteTx, thing: Seq) -> Result<Vec<Naming>, Problem> {
    let rows = tx
        .fetch(
            "SELECT r.seq, r.kind, r.id, json_group_array(DISTINCT n.member), count(*) OVER (PARTITION BY r.kind) FROM ( \
               SELECT record_seq, member FROM link WHERE target_seq = ? \
               UNION SELECT record_seq, 'hands' FROM record_hand WHERE hand_seq = ?) n \
             JOIN record r ON r.seq = n.record_seq AND r.void_ms IS NULL GROUP BY r.seq ORDER BY r.kind <> 'rate', 5, r.kind, r.seq",
            vec![Cell::Int(thing), Cell::Int(thing)],
        )
        .await?;
    rows.iter()
        .map(|row| {
            let kind = row.text(1)?;
            let kind = Kind::parse(&kind).ok_or_else(|| Problem::internal(kind))?;
            Ok((row.int(0)?, kind, row.uuid(2)?, serde_json::from_str(&row.text(3)?).map_err(Problem::internal)?))
        })
        .collect()
}

/// Moves the first records; answers how many were moved, and how many are left.
async fn move_records(
    tx: &mut WriteTx,
    correctors: &[(Kind, Corrector)],
    from: &Standing,
    into: &Standing,
    reason: Option<&str>,
) -> Result<(usize, usize), Problem> {
    let found = naming(tx, from.seq).await?;
    let most = if from.kind == Kind::Crucible { usize::MAX } else { AT_ONCE };
    let left = found.len().saturating_sub(most);
    let said = said(into, reason);
    let (was, is) = (from.id.to_string(), into.id.to_string());
    for (seq, kind, id, members) in found.iter().take(most) {
        let body = standing(tx, *kind, *seq).await?.body;
        let mut patch = Map::new();
        for member in members {
            let mut value = body[member].clone();
            rename(&mut value, &was, &is);
            patch.insert(member.clone(), value);
        }
        patch.insert("reason".into(), said.as_str().into());
        correct(tx, correctors, *kind, *seq, patch).await.map_err(|mut problem| {
            if problem.kind != ProblemType::Internal {
                let what = kind.name().replace('_', " ");
                problem.detail = format!("The {what} {id} names it, and refuses to name the other: {}", problem.detail);
                problem.more.insert("refused_by".into(), json!({"kind": kind.name(), "id": id.to_string()}));
            }
            problem
        })?;
    }
    Ok((found.len() - left, left))
}

async fn correct(
    tx: &mut WriteTx,
    correctors: &[(Kind, Corrector)],
    kind: Kind,
    seq: Seq,
    patch: Map<String, Value>,
) -> Result<(), Problem> {
    let (_, corrector) = correctors
        .iter()
        .find(|(known, _)| *known == kind)
        .ok_or_else(|| Problem::internal(format!("nobody corrects a {}", kind.name())))?;
    corrector(tx, seq, patch).await.map(|_| ())
}

fn said(into: &Standing, reason: Option<&str>) -> String {
    let of = format!("merged into {}", into.body["name"].as_str().unwrap_or_default());
    let said = reason.map_or_else(|| of.clone(), |why| format!("{of}: {why}"));
    said.chars().take(500).collect()
}

/// Puts one id in another's place wherever it stands; a list that then has it twice has it once.
fn rename(value: &mut Value, was: &str, is: &str) {
    match value {
        Value::String(text) if text == was => is.clone_into(text),
        Value::Array(items) => {
            for item in items.iter_mut() {
                rename(item, was, is);
            }
            let mut seen = false;
            items.retain(|item| item != is || !std::mem::replace(&mut seen, true));
        }
        Value::Object(members) => {
            for member in members.values_mut() {
                rename(member, was, is);
            }
        }
        _ => {}
    }
}

/// What is known of the one that goes and not of the one that stays; and the members in which both say
/// something different, where what the one that stays says is kept.
fn known(from: &Value, into: &Value) -> (Map<String, Value>, Vec<String>) {
    let (mut patch, mut kept) = (Map::new(), Vec::new());
    for (name, value) in from.as_object().into_iter().flatten() {
        if MEMBERS.contains(&name.as_str()) || name == "name" {
            continue;
        }
        match (&into[name], value) {
            (Value::Null, value) => {
                patch.insert(name.clone(), value.clone());
            }
            (Value::Array(has), Value::Array(more)) => {
                let fresh = more.iter().filter(|one| !has.contains(one));
                patch.insert(name.clone(), has.iter().chain(fresh).cloned().collect());
            }
            (has, value) if has != value => kept.push(name.clone()),
            _ => {}
        }
    }
    (patch, kept)
}

/// Voids the one that is named no more, and gives its names, and what was known of it alone, to the other;
/// answers the members in which both said something different.
async fn close(
    tx: &mut WriteTx,
    correctors: &[(Kind, Corrector)],
    from: &Standing,
    into: &Standing,
    reason: Option<&str>,
) -> Result<Value, Problem> {
    let names = |standing: &Standing| -> Vec<String> {
        let also = standing.body["also_called"].as_array().into_iter().flatten();
        also.filter_map(Value::as_str).map(str::to_owned).collect()
    };
    let mut also = names(into);
    also.extend(from.body["name"].as_str().map(str::to_owned));
    also.extend(names(from));
    let why = said(into, reason);
    thing::hand_over_ids(tx, from, into.seq);
    let (mut patch, kept) = known(&from.body, &into.body);
    patch.insert("also_called".into(), also.into());
    patch.insert("reason".into(), why.as_str().into());
    correct(tx, correctors, into.kind, into.seq, patch).await?;
    let ask = Ask { reason: why, cascade: false, dry_run: false, lot_short: false, if_match: None };
    void::void(tx, from.kind, from.seq, &ask, &InTheWay::default()).await?;
    Ok(kept.into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_id_is_replaced_wherever_it_stands_and_stands_once() {
        let mut value = json!({"hands": ["a", "b", "c"], "kiln": "a", "deep": [{"of": "a", "n": 1}], "text": "a man"});
        rename(&mut value, "a", "b");
        assert_eq!(value, json!({"hands": ["b", "c"], "kiln": "b", "deep": [{"of": "b", "n": 1}], "text": "a man"}));
    }

    #[test]
    fn what_is_known_of_one_alone_is_known_of_both() {
        let from = json!({"name": "Old", "life_heats": 31, "family": "zinc", "cleared_for": ["pouring", "forklift"]});
        let into = json!({"name": "New", "family": "aluminium", "cleared_for": ["pouring"]});
        let (patch, kept) = known(&from, &into);
        assert_eq!(Value::Object(patch), json!({"life_heats": 31, "cleared_for": ["pouring", "forklift"]}));
        assert_eq!(kept, ["family"]);
    }
}
