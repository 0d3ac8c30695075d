//! The register of an edition: which marks of a work are owed, cast, spare, lost, delivered and to
//! whom; its proofs by kind; and the next mark.

mod page;

pub use page::pages;

use crate::book::api::{Kit, find};
use crate::book::reach;
use crate::db::ReadTx;
use crate::kernel::actor::Right;
use crate::kernel::{Kind, Problem, Seq};
use crate::science::costing::Mark;
use crate::shop::casting::{self, CastingRow};
use crate::web::route::handler;
use crate::web::{Answer, Ctx, Method, Reply, Route};
use serde_json::{Map, Value, json};
use std::collections::{BTreeMap, BTreeSet};

/// The route.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let kit = kit.clone();
    let text = json!({"type": "string"});
    let row = json!({"type": "object", "required": ["piece_id", "state", "castings"], "properties": {
        "mark": text, "proof": {"type": "string", "description": "the kind of proof: AP, EA, HC, PP"},
        "piece_id": {"type": "string", "format": "uuid"}, "number": text, "alloy": text,
        "state": {"type": "string", "enum": ["owed", "in_the_shop", "finished", "delivered", "lost", "no_more"]},
        "castings": {"type": "array", "items": text, "description": "tags, the last attempt last"},
        "spares": {"type": "array", "items": text, "description": "tags of good castings beyond those the piece needs"},
        "patina": text, "patina_version": {"type": "integer", "description": "of the patina it was last worked on by"},
        "to": text, "delivered_at": {"type": "string", "format": "date-time"},
        "fate": {"type": "string", "description": "what came of it after it was handed over: destroyed, melted, lost, stolen"},
        "gone_at": {"type": "string", "format": "date-time"},
        "certificate_id": {"type": "string", "format": "uuid", "description": "the last one signed"}, "certificate": text}});
    vec![Route {
        method: Method::Get,
        path: "/v1/patterns/{id}/edition".into(),
        operation: "pattern_edition".into(),
        right: Right::Read,
        about: "The register of a work's edition, and the mark that comes next".into(),
        heading: "Patterns, pieces and castings",
        params: Vec::new(),
        body: None,
        answer: Answer {
            status: 200,
            about: "The register",
            media: "application/json",
            schema: json!({"type": "object", "required": ["name", "rows", "counts", "unmarked", "twice"], "properties": {
                "name": text, "of": {"type": "integer", "description": "how many the edition is of, by the most any mark says"},
                "proofs": {"type": "object", "additionalProperties": {"type": "integer"}},
                "next_mark": {"type": "string", "description": "the first mark of the edition that no piece bears; none where it is full or cancelled"},
                "cancelled_on": {"type": "string", "format": "date"},
                "counts": {"type": "object", "additionalProperties": {"type": "integer"}},
                "unmarked": {"type": "integer", "description": "pieces without a mark that can be read"},
                "twice": {"type": "array", "items": text, "description": "marks that two pieces bear"},
                "rows": {"type": "array", "items": row}}}),
            etag: false,
        },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move { register(&kit, &ctx).await.map(|v| Reply::json(&v)) }
        }),
    }]
}

struct Piece {
    seq: Seq,
    id: String,
    body: Value,
    mark: Option<Mark>,
}

async fn register(kit: &Kit, ctx: &Ctx) -> Result<Value, Problem> {
    let mut read = kit.db.read().await?;
    let pattern = find(&mut read, Kind::Pattern, ctx.part("id")).await?;
    of_pattern(&mut read, pattern).await
}

async fn of_pattern(read: &mut ReadTx, pattern: Seq) -> Result<Value, Problem> {
    let of_it = reach::by_seqs(read, &[pattern]).await?;
    let name = of_it.first().and_then(|p| p.body["name"].as_str()).unwrap_or_default().to_owned();
    let mould = reach::referred(read, &[pattern]).await?.into_iter().find(|r| r.member == "mould_id").map(|r| r.target);
    let mould = reach::by_seqs(read, &mould.into_iter().collect::<Vec<_>>()).await?;
    let cancelled = mould.first().and_then(|m| m.body["cancelled_on"].as_str()).map(str::to_owned);
    let refers = reach::referring(read, &[pattern], &[Kind::Piece]).await?;
    let mut seqs: Vec<Seq> = refers.iter().map(|r| r.record).collect();
    seqs.dedup();
    let mut pieces: Vec<Piece> = reach::by_seqs(read, &seqs)
        .await?
        .into_iter()
        .map(|p| Piece {
            seq: p.seq,
            id: p.id.to_string(),
            mark: Mark::parse(p.body["edition_mark"].as_str().unwrap_or_default()),
            body: p.body,
        })
        .collect();
    // The edition first, then proofs by kind, each in order; what bears no mark last.
    pieces.sort_by(|a, b| (a.mark.is_none(), &a.mark, a.seq).cmp(&(b.mark.is_none(), &b.mark, b.seq)));
    let castings = casting::by_pieces(read, &seqs).await?;
    let handed = reach::referring(read, &seqs, &[Kind::Delivery, Kind::PieceLoss, Kind::Certificate]).await?;
    let after = reach::by_seqs(read, &handed.iter().map(|r| r.record).collect::<Vec<_>>()).await?;
    let last = |kind: Kind, piece: Seq| {
        let mine = handed.iter().filter(|r| r.kind == kind && r.target == piece && r.member == "piece_id");
        after.iter().rfind(|found| mine.clone().any(|r| r.record == found.seq))
    };
    let patinas = patinas(read, &seqs, &castings).await?;
    let numbers = casting::listed_of(read, &castings.iter().map(|c| c.seq).collect::<Vec<_>>(), 1000).await?;
    let mut counts: BTreeMap<&str, i64> = BTreeMap::new();
    let mut rows = Vec::new();
    for piece in &pieces {
        let mine: Vec<&CastingRow> = castings.iter().filter(|c| c.piece_seq == piece.seq).collect();
        let delivery = last(Kind::Delivery, piece.seq);
        // Cast and handed over once more, it is there again.
        let gone = last(Kind::PieceLoss, piece.seq).filter(|gone| delivery.is_none_or(|d| d.at <= gone.at));
        let (state, spares) = state_of(&mine, delivery.is_some());
        let state = if gone.is_some() { "no_more" } else { state };
        *counts.entry(state).or_default() += 1;
        let mut row = Map::new();
        if let Some(mark) = &piece.mark {
            row.insert("mark".into(), mark.text().into());
            if !mark.kind.is_empty() {
                row.insert("proof".into(), mark.kind.as_str().into());
            }
        }
        row.insert("piece_id".into(), piece.id.as_str().into());
        if let Some(number) = mine.first().and_then(|c| numbers.iter().find(|l| l.seq == c.seq)).map(|l| l.number.clone()) {
            row.insert("number".into(), number.into());
        }
        row.insert("alloy".into(), piece.body["alloy"].clone());
        row.insert("state".into(), state.into());
        row.insert("castings".into(), mine.iter().map(|c| c.tag.as_str()).collect());
        row.insert("spares".into(), spares.into_iter().collect());
        if let Some((name, version)) = patinas.get(&piece.seq) {
            row.insert("patina".into(), name.as_str().into());
            row.insert("patina_version".into(), (*version).into());
        }
        if let Some(delivery) = delivery {
            row.insert("delivered_at".into(), delivery.at.to_string().into());
            if let Some(to) = delivery.body["to"].as_str() {
                row.insert("to".into(), to.into());
            }
        }
        if let Some(gone) = gone {
            row.insert("gone_at".into(), gone.at.to_string().into());
            row.insert("fate".into(), gone.body["fate"].clone());
        }
        if let Some(signed) = last(Kind::Certificate, piece.seq) {
            row.insert("certificate_id".into(), signed.id.to_string().into());
            if let Some(number) = signed.body["number"].as_str() {
                row.insert("certificate".into(), number.into());
            }
        }
        rows.push(Value::Object(row));
    }
    let marks: Vec<&Mark> = pieces.iter().filter_map(|p| p.mark.as_ref()).collect();
    let mut out = Map::new();
    out.insert("name".into(), name.into());
    let (of, proofs) = sizes(&marks);
    if let Some(of) = of {
        out.insert("of".into(), of.into());
        if let (Some(next), None) = (next_mark(&marks, of), &cancelled) {
            out.insert("next_mark".into(), next.into());
        }
    }
    out.insert("proofs".into(), json!(proofs));
    if let Some(day) = cancelled {
        out.insert("cancelled_on".into(), day.into());
    }
    out.insert("counts".into(), json!(counts));
    out.insert("unmarked".into(), pieces.iter().filter(|p| p.mark.is_none()).count().into());
    out.insert("twice".into(), twice(&marks).into_iter().collect());
    out.insert("rows".into(), rows.into());
    Ok(Value::Object(out))
}

/// The patina that each piece, or a casting of it, was last worked on by, and its version.
async fn patinas(read: &mut ReadTx, pieces: &[Seq], castings: &[CastingRow]) -> Result<BTreeMap<Seq, (String, i64)>, Problem> {
    let on: Vec<Seq> = pieces.iter().copied().chain(castings.iter().map(|c| c.seq)).collect();
    let refers = reach::referring(read, &on, &[Kind::Work]).await?;
    let work = reach::by_seqs(read, &refers.iter().map(|r| r.record).collect::<Vec<_>>()).await?;
    let used: Vec<_> = work.iter().filter(|w| w.body["patina_id"].is_string()).collect();
    if used.is_empty() {
        return Ok(BTreeMap::new());
    }
    let to = reach::referred(read, &used.iter().map(|w| w.seq).collect::<Vec<_>>()).await?;
    let of_patina: BTreeMap<Seq, Seq> = to.iter().filter(|r| r.member == "patina_id").map(|r| (r.record, r.target)).collect();
    let names = reach::by_seqs(read, &of_patina.values().copied().collect::<Vec<_>>()).await?;
    let mut out = BTreeMap::new();
    // In the order of time: the last stands.
    for work in used {
        let on = refers.iter().find(|r| r.record == work.seq).map(|r| r.target);
        let piece = on.map(|on| castings.iter().find(|c| c.seq == on).map_or(on, |c| c.piece_seq));
        let name = of_patina.get(&work.seq).and_then(|seq| names.iter().find(|n| n.seq == *seq));
        if let (Some(piece), Some(name)) = (piece, name) {
            let name = name.body["name"].as_str().unwrap_or_default().to_owned();
            out.insert(piece, (name, work.body["patina_version"].as_i64().unwrap_or(1)));
        }
    }
    Ok(out)
}

/// Where a piece stands by its castings, and tags of good castings beyond the one that each part needs.
fn state_of(castings: &[&CastingRow], delivered: bool) -> (&'static str, Vec<String>) {
    let mut parts: BTreeMap<i64, Vec<&CastingRow>> = BTreeMap::new();
    for casting in castings {
        parts.entry(casting.part_n).or_default().push(casting);
    }
    let (mut spares, mut worst) = (Vec::new(), 4);
    for attempts in parts.values() {
        let good: Vec<&&CastingRow> = attempts.iter().filter(|c| c.stage != "scrapped").collect();
        // The last that is not scrapped is the piece's; those before it are spare.
        spares.extend(good.iter().rev().skip(1).map(|c| c.tag.clone()));
        worst = worst.min(match good.last().map(|c| c.stage.as_str()) {
            None => 0,
            Some("wax") => 1,
            Some("done" | "delivered") => 3,
            Some(_) => 2,
        });
    }
    let state = match (delivered, worst) {
        (true, _) => "delivered",
        (false, 0) => "lost",
        (false, 2) => "in_the_shop",
        (false, 3) => "finished",
        _ => "owed",
    };
    (state, spares)
}

/// How many the edition is of, and each kind of proof, by the most that any mark says.
fn sizes(marks: &[&Mark]) -> (Option<u32>, BTreeMap<String, u32>) {
    let mut proofs: BTreeMap<String, u32> = BTreeMap::new();
    let mut of = None;
    for mark in marks {
        if mark.kind.is_empty() {
            of = of.max(Some(mark.of));
        } else {
            let most = proofs.entry(mark.kind.clone()).or_default();
            *most = mark.of.max(*most);
        }
    }
    (of, proofs)
}

/// The first mark of an edition that no piece bears.
fn next_mark(marks: &[&Mark], of: u32) -> Option<String> {
    let taken: BTreeSet<u32> = marks.iter().filter(|m| m.kind.is_empty()).map(|m| m.n).collect();
    (1..=of).find(|n| !taken.contains(n)).map(|n| format!("{n}/{of}"))
}

/// Marks that two pieces bear.
fn twice(marks: &[&Mark]) -> Vec<String> {
    let mut out: Vec<String> = marks.windows(2).filter(|w| w[0] == w[1]).map(|w| w[0].text()).collect();
    out.dedup();
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_next_mark_is_the_first_that_nobody_bears() {
        let marks: Vec<Mark> = ["1/8", "2/8", "4/8", "AP 1/2"].into_iter().filter_map(Mark::parse).collect();
        let marks: Vec<&Mark> = marks.iter().collect();
        assert_eq!(sizes(&marks), (Some(8), BTreeMap::from([("AP".to_owned(), 2)])));
        assert_eq!(next_mark(&marks, 8).as_deref(), Some("3/8"));
        let full: Vec<Mark> = (1..=3).filter_map(|n| Mark::parse(&format!("{n}/3"))).collect();
        assert_eq!(next_mark(&full.iter().collect::<Vec<_>>(), 3), None);
        let pair = [Mark::parse("2/3").unwrap(), Mark::parse("2/3").unwrap(), Mark::parse("3/3").unwrap()];
        assert_eq!(twice(&pair.iter().collect::<Vec<_>>()), ["2/3"]);
    }
}
