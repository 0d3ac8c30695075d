//! A casting as a line of a page.

use super::Listed;
use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::science::trade::TradeStep;
use crate::shop::house::floor::{Floor, choice, items, text};
use crate::shop::house::shown::Shown as Reads;
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Sheet, Table};
use crate::web::slip::{Field, How};
use crate::web::{Page, Shown, Visit};
use std::sync::Arc;

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

/// `/castings/{tag}/wax`: the copy that becomes the casting.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    vec![floor.page("/castings/{tag}/wax", Right::Log, wax)]
}

async fn wax(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let casting = look.get(&format!("/v1/castings/{}", escape_part(visit.part("tag")))).await?;
    let tag = text(&casting, "tag");
    let moulds = look.get("/v1/moulds?limit=200").await?;
    let moulds = items(&moulds["items"]).iter().map(|m| choice(text(m, "id"), text(m, "name"), ""));
    let none = std::iter::once(choice("", "none", ""));
    let made = [
        ("", "not said"),
        ("direct", "modelled directly"),
        ("slush", "slushed in a mould"),
        ("poured", "poured solid"),
        ("dipped", "built by dipping"),
        ("printed", "printed"),
    ];
    let mut sheet = Sheet::new(&visit, "Wax");
    sheet.tag.clone_from(&tag);
    let slip = look
        .slip(format!("castings/{tag}/waxes"), "Weighed")
        .field(Field::number("wax_kg", "The wax, without gating"))
        .field(Field::list("made", "How it was made", &made).more())
        .field(Field::new("mould_id", "The mould", How::List).of(none.chain(moulds)).more())
        .field(Field::number("wall_mm", "Its wall, where it is hollow").more())
        .field(Field::number("core_pins", "Core pins, how many").more())
        .field(Field::text("core_pin_material", "Core pins, of what").proposing(["bronze", "steel", "stainless steel"]).more())
        .field(Field::new("approved_at", "Approved", How::Time).more())
        .field(Field::at())
        .field(look.hands("Made by"))
        .then(format!("/castings/{tag}"))
        .main();
    sheet.slip("", slip);
    sheet.part(look.cautions(TradeStep::Wax, None, None)?);
    sheet.links(&[("Its card", format!("/castings/{tag}"))]);
    sheet.show()
}
