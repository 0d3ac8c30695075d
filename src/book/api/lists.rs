//! Lists: filters, pages, cursors.

use super::act::Kit;
use super::path::find;
use crate::book::list::{self, Filter, LIMIT_DEFAULT, LIMIT_MAX, Page};
use crate::book::render::render;
use crate::db::ReadTx;
use crate::kernel::{Instant, Kind, Problem, ProblemType};
use crate::web::{Ctx, Param, Reply};
use serde_json::{Value, json};

/// A filter that a list takes beside `limit`, `cursor`, `from`, `to` and `void`.
#[derive(Clone, Copy)]
pub enum ListFilter {
    /// Records whose `member` refers to a record of `kind`.
    Refers {
        /// The member, which is also the parameter.
        member: &'static str,
        /// What it refers to.
        kind: Kind,
    },
    /// A condition of the room's own: `sql` holds one `?` for the text of the parameter.
    Text {
        /// The parameter.
        name: &'static str,
        /// The condition on `r`.
        sql: &'static str,
    },
    /// As `Text`, with the number of a record of that kind for the `?`.
    Found {
        /// The parameter.
        name: &'static str,
        /// What it names.
        kind: Kind,
        /// The condition on `r`.
        sql: &'static str,
    },
}

impl ListFilter {
    pub(super) const fn name(&self) -> &'static str {
        match self {
            Self::Refers { member, .. } => member,
            Self::Text { name, .. } | Self::Found { name, .. } => name,
        }
    }
    async fn filter(&self, read: &mut ReadTx, value: &str) -> Result<Filter, Problem> {
        let missing = |_| Problem::new(ProblemType::NotFound, format!("The parameter {} names nothing.", self.name()));
        Ok(match self {
            Self::Refers { member, kind } => {
                let seq = find(read, *kind, value).await.map_err(missing)?;
                Filter {
                    sql: "EXISTS (SELECT 1 FROM link l WHERE l.target_seq = ? AND l.record_seq = r.seq AND l.member = ?)",
                    args: vec![seq.into(), (*member).into()],
                }
            }
            Self::Text { sql, .. } => Filter { sql, args: vec![value.into()] },
            Self::Found { kind, sql, .. } => {
                let seq = find(read, *kind, value).await.map_err(missing)?;
                Filter { sql, args: vec![seq.into()] }
            }
        })
    }
}

/// Reads `limit`, `cursor`, `from`, `to`, `void`.
///
/// # Errors
/// `malformed`.
pub fn page(ctx: &Ctx) -> Result<Page, Problem> {
    let malformed = |name: &str, want: &str| Problem::new(ProblemType::Malformed, format!("The parameter {name} is {want}."));
    let limit = match ctx.param("limit") {
        None => LIMIT_DEFAULT,
        Some(text) => match text.parse::<i64>() {
            Ok(n) if n >= 1 => n.min(LIMIT_MAX),
            _ => return Err(malformed("limit", "a whole number from 1 to 200")),
        },
    };
    let instant = |name: &'static str| -> Result<Option<Instant>, Problem> {
        ctx.param(name)
            .map(|t| Instant::parse(t).ok_or_else(|| malformed(name, "an instant with an offset, as 2026-03-14T09:30:00Z")))
            .transpose()
    };
    let void = match ctx.param("void") {
        None | Some("false") => false,
        Some("true") => true,
        Some(_) => return Err(malformed("void", "true or false")),
    };
    Ok(Page {
        limit,
        after: ctx.param("cursor").map(Page::cursor).transpose()?,
        void,
        from: instant("from")?,
        to: instant("to")?,
    })
}

/// Parameters of every list.
#[must_use]
pub fn list_params() -> Vec<Param> {
    vec![
        Param {
            required: false,
            name: "limit",
            about: "how many, at most 200",
            schema: json!({"type": "integer", "minimum": 1, "maximum": 200, "default": 50}),
        },
        Param {
            required: false,
            name: "cursor",
            about: "next_cursor of the page before",
            schema: json!({"type": "string", "maxLength": 64}),
        },
        Param {
            required: false,
            name: "from",
            about: "observed from here, inclusive",
            schema: json!({"type": "string", "format": "date-time"}),
        },
        Param {
            required: false,
            name: "to",
            about: "observed up to here, exclusive",
            schema: json!({"type": "string", "format": "date-time"}),
        },
        Param {
            required: false,
            name: "void",
            about: "show void records too",
            schema: json!({"type": "string", "enum": ["true", "false"]}),
        },
    ]
}

/// A page of records.
pub(super) async fn list_some(kit: &Kit, kind: Kind, filters: &'static [ListFilter], ctx: &Ctx) -> Result<Reply, Problem> {
    let page = page(ctx)?;
    let mut read = kit.db.read().await?;
    let mut wanted = Vec::new();
    for filter in filters {
        if let Some(value) = ctx.param(filter.name()) {
            wanted.push(filter.filter(&mut read, value).await?);
        }
    }
    let listed = list::list(&mut read, kind, &page, &wanted).await?;
    let items = render(&mut read, &kit.catalogue, &listed.seqs).await?;
    Ok(paged(ctx, json!({"items": items}), listed.next))
}

/// The answer of a page, with `next_cursor` and the link to the next one.
#[must_use]
pub fn paged(ctx: &Ctx, mut answer: Value, next: Option<String>) -> Reply {
    let mut link = None;
    if let Some(next) = next {
        let mut pairs: Vec<String> =
            ctx.query.iter().filter(|(n, _)| n != "cursor").map(|(n, v)| format!("{n}={}", encode(v))).collect();
        pairs.push(format!("cursor={next}"));
        link = Some(format!("<{}?{}>; rel=\"next\"", ctx.path, pairs.join("&")));
        answer["next_cursor"] = next.into();
    }
    let mut reply = Reply::json(&answer);
    reply.link = link;
    reply
}

/// A value as it stands in a query.
#[must_use]
pub fn encode(text: &str) -> String {
    text.bytes()
        .map(|b| if b.is_ascii_alphanumeric() || b"-._~:".contains(&b) { char::from(b).to_string() } else { format!("%{b:02X}") })
        .collect()
}
