//! Two named things that are one: the records of the first come to name the second, each by a
//! correction of its own, and the first is voided. What the first was called, the second is too.

use super::api::{Acted, Kit, act, by_ref, check_match, in_path};
use super::resolve::Asks;
use super::room::Room;
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

/// A correction of a record whose kind is only known as it is found.
pub type Corrector =
    for<'t> fn(&'t mut WriteTx, Seq, Map<String, Value>) -> Pin<Box<dyn Future<Output = Result<Created, Problem>> + Send + 't>>;

/// The corrector of a room.
#[must_use]
pub fn corrector<R: Room>() -> (Kind, Corrector) {
    (R::KIND, |tx, seq, patch| Box::pin(verbs::correct::<R>(tx, seq, patch, None)))
}

/// The most records that one act moves: what is left over is moved by asking again, so that
/// nobody else at the book waits for long.
pub const AT_ONCE: usize = 500;

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
            "Merge a {name} into another: its records move, each journalled, at most {AT_ONCE} at once; with the last of them it is voided and its names become the other's"
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
                "moved": {"type": "integer"}, "left": {"type": "integer"}}}]}),
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
    let if_match = ctx.if_match.clone();
    let correctors = kit.catalogue.correctors.clone();
    act(kit, &ctx, asks, |tx, answers| {
        let (text, into, reason, if_match, correctors) =
            (text.clone(), into.clone(), reason.clone(), if_match.clone(), correctors.clone());
        Box::pin(async move {
            let from = in_path(answers, kind, &text)?;
            check_match(tx, kind, from.seq, if_match.as_deref()).await?;
            let into = match answers.find(kind, &into) {
                Some(found) if found.seq == from.seq => {
                    return Err(Problem::field("/into", "itself", format!("Give another {}.", kind.name())));
                }
                Some(found) if found.void => {
                    return Err(Problem::field("/into", "void", format!("That {} is void.", kind.name())));
                }
                Some(found) => found,
                None => return Err(Problem::field("/into", "not-found", format!("There is no {} {into}.", kind.name()))),
            };
            let (from, into) = (standing(tx, kind, from.seq).await?, standing(tx, kind, into.seq).await?);
            let (moved, left) = move_records(tx, &correctors, &from, &into, reason.as_deref()).await?;
            if left == 0 {
                close(tx, &correctors, &from, &into, reason.as_deref()).await?;
            }
            let mut more = Map::new();
            more.insert("moved".into(), moved.into());
            more.insert("left".into(), left.into());
            Ok(Acted { seqs: vec![into.seq], many: None, first_use: Vec::new(), more, status: 200 })
        })
    })
    .await
}

/// Live records that name a thing: their numbers, kinds and the members that do.
async fn naming(tx: &mut WriteTx, thing: Seq) -> Result<Vec<(Seq, Kind, Vec<String>)>, Problem> {
    let rows = tx
        .fetch(
            "SELECT r.seq, r.kind, json_group_array(DISTINCT n.member) FROM ( \
               SELECT record_seq, member FROM link WHERE target_seq = ?1 \
               UNION SELECT record_seq, 'hands' FROM record_hand WHERE hand_seq = ?1) n \
             JOIN record r ON r.seq = n.record_seq AND r.void_ms IS NULL GROUP BY r.seq ORDER BY r.seq",
            vec![Cell::Int(thing)],
        )
        .await?;
    rows.iter()
        .map(|row| {
            let kind = row.text(1)?;
            let kind = Kind::parse(&kind).ok_or_else(|| Problem::internal(kind))?;
            Ok((row.int(0)?, kind, serde_json::from_str(&row.text(2)?).map_err(Problem::internal)?))
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
    let left = found.len().saturating_sub(AT_ONCE);
    let said = said(into, reason);
    let (was, is) = (from.id.to_string(), into.id.to_string());
    for (seq, kind, members) in found.iter().take(AT_ONCE) {
        let body = standing(tx, *kind, *seq).await?.body;
        let mut patch = Map::new();
        for member in members {
            let mut value = body[member].clone();
            rename(&mut value, &was, &is);
            patch.insert(member.clone(), value);
        }
        patch.insert("reason".into(), said.as_str().into());
        correct(tx, correctors, *kind, *seq, patch).await?;
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
    let done = corrector(tx, seq, patch).await;
    done.map(|_| ()).map_err(|mut problem| {
        if problem.kind != ProblemType::Internal {
            let of = format!("A {} that names it refuses: ", kind.name().replace('_', " "));
            problem.detail.insert_str(0, &of);
        }
        problem
    })
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

/// Voids the one that is named no more, and gives its names to the other.
async fn close(
    tx: &mut WriteTx,
    correctors: &[(Kind, Corrector)],
    from: &Standing,
    into: &Standing,
    reason: Option<&str>,
) -> Result<(), Problem> {
    let names = |standing: &Standing| -> Vec<String> {
        let also = standing.body["also_called"].as_array().into_iter().flatten();
        also.filter_map(Value::as_str).map(str::to_owned).collect()
    };
    let mut also = names(into);
    also.extend(from.body["name"].as_str().map(str::to_owned));
    also.extend(names(from));
    let why = said(into, reason);
    tx.push("DELETE FROM handle WHERE record_seq = ?", vec![Cell::Int(from.seq)]);
    let mut patch = Map::new();
    patch.insert("also_called".into(), also.into());
    patch.insert("reason".into(), why.as_str().into());
    correct(tx, correctors, into.kind, into.seq, patch).await?;
    let ask = Ask { reason: why, cascade: false, dry_run: false, lot_short: false, if_match: None };
    void::void(tx, from.kind, from.seq, &ask, &InTheWay::default()).await.map(|_| ())
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
}
