//! What a chart and a model watch: one outcome of a shell, in the caster's words.

use super::ask::malformed;
use crate::kernel::Problem;
use crate::web::page::escape_part;
use crate::web::{Ctx, Param};
use serde_json::{Value, json};
use std::fmt::Write as _;

/// An outcome of a shell poured.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Outcome {
    /// It leaked.
    Leak,
    /// It was filled short, or stopped.
    Short,
    /// A casting of it, broken out, has a finding.
    Defect,
}

impl Outcome {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Leak, Self::Short, Self::Defect];
    /// As callers name it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Leak => "leak",
            Self::Short => "short",
            Self::Defect => "defect",
        }
    }
    /// The report that counts it by a factor.
    #[must_use]
    pub const fn report(self) -> &'static str {
        match self {
            Self::Leak => "leaks",
            Self::Short => "shorts",
            Self::Defect => "defects",
        }
    }
    /// As a heading.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::Leak => "Leaks",
            Self::Short => "Short pours",
            Self::Defect => "Defects",
        }
    }
    /// What those did that had it: `3 of 40 leaked`.
    #[must_use]
    pub const fn did(self) -> &'static str {
        match self {
            Self::Leak => "leaked",
            Self::Short => "stayed short",
            Self::Defect => "had a finding",
        }
    }
    /// One of them: `a leak`.
    #[must_use]
    pub const fn one(self) -> &'static str {
        match self {
            Self::Leak => "a leak",
            Self::Short => "a short pour",
            Self::Defect => "a finding",
        }
    }
    /// What is counted.
    #[must_use]
    pub const fn of(self) -> &'static str {
        match self {
            Self::Leak | Self::Short => "shells poured",
            Self::Defect => "shells with a casting broken out",
        }
    }
    /// Reads it out of the query.
    ///
    /// # Errors
    /// `malformed`.
    pub fn read(ctx: &Ctx) -> Result<Self, Problem> {
        let given = ctx.param("outcome").unwrap_or_default();
        let found = Self::ALL.into_iter().find(|o| o.name() == given);
        found.ok_or_else(|| malformed("The parameter outcome is leak, short or defect.".into()))
    }
    /// The parameter.
    #[must_use]
    pub fn param() -> Param {
        let names = Self::ALL.map(Self::name);
        Param { required: true, name: "outcome", about: "what is watched", schema: json!({"type": "string", "enum": names}) }
    }
}

/// A share as it may be said of so many: in percent, without decimals below 200; of none, nothing.
#[must_use]
pub fn percent(rate: f64, of: f64) -> String {
    let percent = rate * 100.0;
    if of < 200.0 { format!("{percent:.0} %") } else { format!("{percent:.1} %") }
}

/// A number without needless digits: two that count.
#[must_use]
pub fn about(number: f64) -> String {
    let size = number.abs();
    if !(1e-9..9.95).contains(&size) {
        format!("{number:.0}")
    } else if size >= 0.995 {
        format!("{number:.1}").trim_end_matches(".0").to_owned()
    } else if size >= 0.0095 {
        format!("{number:.2}")
    } else {
        "less than 0.01".to_owned()
    }
}

/// So many of a thing: `1 shell`, `2 shells`.
#[must_use]
pub fn many(count: u64, one: &str) -> String {
    if count == 1 { format!("1 {one}") } else { format!("{count} {one}s") }
}

/// With a capital at its beginning.
#[must_use]
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// What narrows a report, to be handed on behind a query.
#[must_use]
pub fn handed_on<'f>(filters: impl IntoIterator<Item = (&'f String, &'f Value)>) -> String {
    filters.into_iter().fold(String::new(), |mut out, (name, value)| {
        let _ = write!(out, "&{name}={}", escape_part(value.as_str().unwrap_or_default()));
        out
    })
}
