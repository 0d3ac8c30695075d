//! Reading the journal, and the feed of changes.

use super::api::Kit;
use crate::db::{Cell, Read as _};
use crate::kernel::actor::Right;
use crate::kernel::{Instant, Kind, Problem, ProblemType};
use crate::web::route::handler;
use crate::web::{Answer, Ctx, Method, Param, Reply, Route};
use serde_json::{Value, json};
use uuid::Uuid;

/// `/v1/journal` and `/v1/changes`.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let line = json!({"type": "object", "required": ["n", "record", "kind", "at", "by", "action", "version"], "properties": {
        "n": {"type": "integer"}, "record": {"type": "string", "format": "uuid"}, "kind": {"type": "string"},
        "at": {"type": "string", "format": "date-time"}, "by": {"type": "string"}, "action": {"type": "string"},
        "version": {"type": "integer"}, "reason": {"type": "string"}, "from": {"type": "object"}, "to": {"type": "object"},
        "hash": {"type": "string"}}});
    let list = json!({"type": "object", "required": ["items"], "properties": {
        "items": {"type": "array", "items": line}, "next_cursor": {"type": "string"}}});
    let limit = Param {
        required: false,
        name: "limit",
        about: "how many, at most 200",
        schema: json!({"type": "integer", "minimum": 1, "maximum": 200, "default": 50}),
    };
    let mut out = Vec::new();
    for (path, operation, about, params) in [
        (
            "/v1/journal",
            "journal_list",
            "Who changed what, when, from what to what",
            vec![
                Param {
                    required: false,
                    name: "record",
                    about: "of one record, by id",
                    schema: json!({"type": "string", "format": "uuid"}),
                },
                Param {
                    required: false,
                    name: "cursor",
                    about: "next_cursor of the page before",
                    schema: json!({"type": "string", "maxLength": 20}),
                },
            ],
        ),
        (
            "/v1/changes",
            "changes_list",
            "Changes in the order they were written, voids among them",
            vec![Param {
                required: false,
                name: "after",
                about: "the n of the last line seen",
                schema: json!({"type": "integer", "minimum": 0}),
            }],
        ),
    ] {
        let kit = kit.clone();
        let mut params = params;
        params.push(limit.clone());
        out.push(Route {
            method: Method::Get,
            path: path.into(),
            operation: operation.into(),
            right: Right::Read,
            about: about.into(),
            heading: "History",
            params,
            body: None,
            answer: Answer {
                status: 200,
                about: "A page of lines",
                media: "application/json",
                schema: list.clone(),
                etag: false,
            },
            handler: handler(move |ctx| {
                let kit = kit.clone();
                async move { lines(&kit, &ctx).await }
            }),
        });
    }
    out
}

async fn lines(kit: &Kit, ctx: &Ctx) -> Result<Reply, Problem> {
    let malformed = |name: &str| Problem::new(ProblemType::Malformed, format!("The parameter {name} cannot be read."));
    let whole = |name: &str| ctx.param(name).map(|t| t.parse::<i64>().map_err(|_| malformed(name))).transpose();
    let limit = whole("limit")?.unwrap_or(50);
    let after = whole("after")?.or(whole("cursor")?).unwrap_or(0);
    if limit < 1 || after < 0 {
        return Err(malformed("limit"));
    }
    let limit = limit.min(200);
    let record = ctx.param("record").map(|t| Uuid::parse_str(t).map_err(|_| malformed("record"))).transpose()?;
    let owns = ctx.actor()?.role.may(Right::Own);
    let mut read = kit.db.read().await?;
    let rows = read
        .fetch(
            "SELECT j.n, r.id, r.kind, j.at_ms, j.by, j.action, j.version, j.reason, j.body, j.hash, \
             (SELECT b.body FROM journal b WHERE b.record_seq = j.record_seq AND b.n < j.n AND b.body IS NOT NULL ORDER BY b.n DESC LIMIT 1) \
             FROM journal j JOIN record r ON r.seq = j.record_seq \
             WHERE j.n > ? AND (? IS NULL OR j.record_seq = (SELECT seq FROM record WHERE id = ?)) ORDER BY j.n LIMIT ?",
            vec![Cell::Int(after), record.into(), record.into(), Cell::Int(limit + 1)],
        )
        .await?;
    let kept = usize::try_from(limit).unwrap_or(200).min(rows.len());
    let mut items = Vec::with_capacity(kept);
    for row in &rows[..kept] {
        let body = |text: Option<String>| text.and_then(|t| serde_json::from_str::<Value>(&t).ok());
        let hash = row.blob(9)?.iter().map(|b| format!("{b:02x}")).collect::<Vec<_>>().concat();
        let mut item = json!({
            "n": row.int(0)?, "record": row.uuid(1)?.to_string(), "kind": row.text(2)?,
            "at": Instant::from_ms(row.int(3)?).to_string(), "by": row.text(4)?, "action": row.text(5)?,
            "version": row.int(6)?, "hash": hash,
        });
        // That there is such a record is no secret; what it says may be.
        let hidden = !owns && Kind::parse(&row.text(2)?).is_some_and(Kind::owners_alone);
        if hidden {
            items.push(item);
            continue;
        }
        for (name, value) in
            [("reason", row.opt_text(7)?.map(Value::from)), ("from", body(row.opt_text(10)?)), ("to", body(row.opt_text(8)?))]
        {
            if let Some(value) = value {
                item[name] = value;
            }
        }
        items.push(item);
    }
    let mut out = json!({"items": items});
    if rows.len() > kept {
        out["next_cursor"] = rows[kept - 1].int(0)?.to_string().into();
    }
    Ok(Reply::json(&out))
}
