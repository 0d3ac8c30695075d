//! A casting as a line of a page.

use super::Listed;
use crate::shop::house::shown::Shown as Reads;
use crate::web::sheet::{Cell, Table};

impl Listed {
    /// What it is: pattern, part, attempt, edition mark or maker.
    #[must_use]
    pub fn called(&self) -> String {
        let part = if self.part.is_empty() || self.part == "whole" { String::new() } else { format!(", {}", self.part) };
        let attempt = if self.attempt > 1 { format!(", attempt {}", self.attempt) } else { String::new() };
        let mark = self.mark.as_deref().or(self.maker.as_deref()).map_or_else(String::new, |mark| format!(" {mark}"));
        let unique = if self.unique { ". UNIQUE, CANNOT BE RECAST" } else { "" };
        format!("{}{part}{mark}{attempt}{unique}", self.pattern)
    }
}

/// A table of castings, each leading to a page of its own below that path.
#[must_use]
pub fn table(heading: &str, empty: &str, castings: &[&Listed], reads: &Reads, path: impl Fn(&Listed) -> String) -> Table {
    let mut table = Table::new(heading, empty, &["Casting", "What", "Job", "Shell", "Since"]);
    for casting in castings {
        table.row([
            Cell::tag(casting.tag.clone()).to(path(casting)),
            casting.called().into(),
            Cell::text(casting.number.clone()).to(format!("/jobs/{}", casting.number)),
            Cell::tag(casting.shell.as_ref().map_or_else(String::new, |(_, tag)| tag.clone())),
            casting.since.map_or_else(String::new, |at| reads.ago(at)).into(),
        ]);
    }
    if let Some(first) = castings.first()
        && let Ok(shown) = i64::try_from(castings.len())
        && first.of > shown
    {
        table.foot = format!("The oldest {shown} of {}.", first.of);
    }
    table
}
