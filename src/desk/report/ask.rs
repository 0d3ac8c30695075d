//! What a report is asked for.

use super::factor::Factor;
use crate::book::api::find;
use crate::db::{Read, ReadTx};
use crate::kernel::{Instant, Kind, Problem, ProblemType, Seq};
use crate::shop::house::trade::{self, Trade};
use crate::web::{Ctx, Param};
use serde_json::{Map, Value, json};

/// What is counted.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Unit {
    /// Shells.
    Shell,
    /// The castings in them.
    Casting,
}

/// A report asked for.
#[derive(Clone, Debug)]
pub struct Ask {
    /// By what.
    pub factor: Factor,
    /// From here, inclusive.
    pub from: Option<Instant>,
    /// Up to here, exclusive.
    pub to: Option<Instant>,
    /// Only what was poured as that.
    pub alloy: Option<String>,
    /// Only shells of that recipe.
    pub recipe: Option<Seq>,
    /// Only castings of that pattern.
    pub pattern: Option<Seq>,
    /// Only castings of that commission.
    pub commission: Option<Seq>,
    /// What is counted.
    pub unit: Unit,
    /// Only that defect.
    pub code: Option<String>,
    /// The filters as they were asked for.
    pub filters: Map<String, Value>,
}

pub(super) fn malformed(detail: String) -> Problem {
    Problem::new(ProblemType::Malformed, detail)
}

/// Reads an instant out of the query.
///
/// # Errors
/// `malformed`.
pub(super) fn instant(ctx: &Ctx, name: &str) -> Result<Option<Instant>, Problem> {
    let want = || malformed(format!("The parameter {name} is an instant with an offset, as 2026-03-14T09:30:00Z."));
    ctx.param(name).map(|text| Instant::parse(text).ok_or_else(want)).transpose()
}

/// Reads the alloy out of the query.
///
/// # Errors
/// `not-found`.
pub(super) fn alloy(ctx: &Ctx, trade: &Trade) -> Result<Option<String>, Problem> {
    named(ctx, trade, "alloy", |trade, text| trade.alloy(text).map(|a| a.designation.clone()))
}

impl Ask {
    /// Reads the query.
    ///
    /// # Errors
    /// `malformed` for a factor, instant or unit that is none; `not-found` for a filter that
    /// names nothing.
    pub async fn read(read: &mut ReadTx, ctx: &Ctx) -> Result<Self, Problem> {
        Self::read_by(read, ctx, "by").await
    }
    /// Reads the query, the factor under a name of its own.
    ///
    /// # Errors
    /// As [`Ask::read`].
    pub async fn read_by(read: &mut ReadTx, ctx: &Ctx, by: &str) -> Result<Self, Problem> {
        let given = ctx.param(by).unwrap_or_default();
        let factor = Factor::parse(given).ok_or_else(|| {
            let names: Vec<&str> = Factor::ALL.iter().map(|f| f.name()).collect();
            malformed(format!("The parameter {by} is one of: {}.", names.join(" ")))
        })?;
        Self::of(read, ctx, factor).await
    }
    /// Reads all but the factor out of the query.
    ///
    /// # Errors
    /// `malformed` for an instant or unit that is none; `not-found` for a filter that names
    /// nothing.
    pub async fn of(read: &mut ReadTx, ctx: &Ctx, factor: Factor) -> Result<Self, Problem> {
        let unit = match ctx.param("unit") {
            None | Some("shell") => Unit::Shell,
            Some("casting") => Unit::Casting,
            Some(_) => return Err(malformed("The parameter unit is shell or casting.".into())),
        };
        let trade = trade::of(read).await?;
        let mut said = Map::new();
        for name in ["from", "to", "alloy", "recipe", "pattern", "commission", "unit", "code"] {
            if let Some(text) = ctx.param(name) {
                said.insert(name.into(), text.into());
            }
        }
        Ok(Self {
            factor,
            from: instant(ctx, "from")?,
            to: instant(ctx, "to")?,
            alloy: alloy(ctx, &trade)?,
            recipe: found(read, ctx, "recipe", Kind::Recipe).await?,
            pattern: found(read, ctx, "pattern", Kind::Pattern).await?,
            commission: found(read, ctx, "commission", Kind::Commission).await?,
            unit,
            code: named(ctx, &trade, "code", |trade, text| trade.defect(text).map(|d| d.code.clone()))?,
            filters: said,
        })
    }
    /// All there is, by a factor.
    #[cfg(test)]
    pub(super) fn by(factor: Factor) -> Self {
        Self {
            factor,
            from: None,
            to: None,
            alloy: None,
            recipe: None,
            pattern: None,
            commission: None,
            unit: Unit::Shell,
            code: None,
            filters: Map::new(),
        }
    }
    /// The filters as they were asked for.
    #[must_use]
    pub fn said(&self) -> Value {
        Value::Object(self.filters.clone())
    }
    /// Whether castings are filtered by what does not belong to a heat as a whole.
    #[must_use]
    pub const fn within_heats(&self) -> bool {
        self.recipe.is_some() || self.pattern.is_some() || self.commission.is_some()
    }
}

fn nothing(name: &str) -> Problem {
    Problem::new(ProblemType::NotFound, format!("The parameter {name} names nothing."))
}

fn named(ctx: &Ctx, trade: &Trade, name: &str, look: fn(&Trade, &str) -> Option<String>) -> Result<Option<String>, Problem> {
    ctx.param(name).map(|text| look(trade, text).ok_or_else(|| nothing(name))).transpose()
}

pub(super) async fn found<R: Read>(read: &mut R, ctx: &Ctx, name: &str, kind: Kind) -> Result<Option<Seq>, Problem> {
    match ctx.param(name) {
        None => Ok(None),
        Some(text) => find(read, kind, text).await.map(Some).map_err(|_| nothing(name)),
    }
}

/// The parameters of a report by a factor.
#[must_use]
pub fn params(more: &[&'static str]) -> Vec<Param> {
    let names: Vec<&str> = Factor::ALL.iter().map(|f| f.name()).collect();
    let by = Param { required: true, name: "by", about: "the factor", schema: json!({"type": "string", "enum": names}) };
    std::iter::once(by).chain(filters(more)).collect()
}

/// The parameters that narrow a report.
#[must_use]
pub fn filters(more: &[&'static str]) -> Vec<Param> {
    let text = || json!({"type": "string", "minLength": 1, "maxLength": 128});
    let time = || json!({"type": "string", "format": "date-time"});
    let mut out = vec![
        Param { required: false, name: "from", about: "poured from here, inclusive", schema: time() },
        Param { required: false, name: "to", about: "poured up to here, exclusive", schema: time() },
        Param { required: false, name: "alloy", about: "only what was poured as that", schema: text() },
        Param { required: false, name: "recipe", about: "only shells of that recipe", schema: text() },
        Param { required: false, name: "pattern", about: "only with castings of that pattern", schema: text() },
        Param { required: false, name: "commission", about: "only with castings of that commission", schema: text() },
    ];
    for name in more {
        out.push(match *name {
            "unit" => Param {
                required: false,
                name: "unit",
                about: "count shells, or the castings in them",
                schema: json!({"type": "string", "enum": ["shell", "casting"]}),
            },
            _ => Param { required: false, name, about: "only that defect, by its code", schema: text() },
        });
    }
    out
}
