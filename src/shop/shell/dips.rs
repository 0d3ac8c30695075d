//! The next dip of a shell by its recipe.

use super::flags::recipe_of;
use crate::book::story::{Line, Story};
use crate::kernel::{Instant, Kind, Seq};
use serde_json::Value;

/// What comes next for a shell that is being dipped.
#[derive(Clone, Debug, PartialEq)]
pub struct Dip {
    /// Which shell.
    pub shell: Seq,
    /// Which coat, from 1; past the last, the kiln comes next.
    pub coat: usize,
    /// How many coats the recipe has.
    pub of: usize,
    /// The coat as the recipe has it; null past the last.
    pub planned: Value,
    /// From when the coat before is dry by the recipe.
    pub dry_at: Option<Instant>,
}

impl Dip {
    /// Whether there is a coat to put on.
    #[must_use]
    pub const fn is_due(&self) -> bool {
        self.coat <= self.of
    }
    /// What goes on one rack: shells whose next coat is the same, of one recipe. Versions of a
    /// recipe may differ in it.
    #[must_use]
    pub fn rack(&self, recipe: &str) -> (String, usize, usize, String) {
        (recipe.to_owned(), self.coat, self.of, self.planned.to_string())
    }
    /// In words: kind, slurry, stucco.
    #[must_use]
    pub fn words(&self) -> String {
        let text = |name: &str| self.planned[name].as_str().unwrap_or("");
        let stucco = if text("stucco").is_empty() { String::new() } else { format!(", {}", text("stucco")) };
        // A slurry is often called as its coat is.
        let same = text("slurry").eq_ignore_ascii_case(text("kind"));
        let slurry = if same { String::new() } else { format!(", {}", text("slurry")) };
        format!("{}{slurry}{stucco}", text("kind"))
    }
}

/// Some hours after an instant.
fn after(at: Instant, hours: f64) -> Instant {
    #[expect(clippy::cast_possible_truncation, reason = "a recipe's hours are at most a thousand")]
    let ms = (hours * 3_600_000.0) as i64;
    at.plus_ms(ms)
}

/// The next dip of a shell by its recipe.
#[must_use]
pub fn next_dip(story: &Story, shell: Seq) -> Option<Dip> {
    let recipe = recipe_of(story, shell)?;
    let planned = recipe["coats"].as_array()?;
    let coats: Vec<&Line> = story.on_shell(shell).into_iter().filter(|l| l.kind == Kind::Coat).collect();
    let had = coats.len();
    let before = had.checked_sub(1).and_then(|last| planned.get(last.min(planned.len().saturating_sub(1))));
    let hours = before.and_then(|coat| {
        let final_dry = if had >= planned.len() { recipe["final_dry_hours"].as_f64() } else { None };
        final_dry.or_else(|| coat["dry_hours"].as_f64())
    });
    Some(Dip {
        shell,
        coat: had + 1,
        of: planned.len(),
        planned: planned.get(had).cloned().unwrap_or(Value::Null),
        dry_at: coats.last().zip(hours).map(|(last, hours)| after(last.at, hours)),
    })
}
