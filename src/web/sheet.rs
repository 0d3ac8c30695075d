//! A page in parts: facts, tables, slips, cautions, in the order in which they are read.

use super::page::{Frame, Shown, Visit};
use super::slip::{Field, How, Slip};
use crate::kernel::Problem;
use askama::Template;

/// One cell of a table.
#[derive(Clone, Debug, Default)]
pub struct Cell {
    /// What stands in it.
    pub text: String,
    /// Where it leads; empty where nowhere.
    pub to: String,
    /// Whether it is a number, to be set flush right.
    pub number: bool,
    /// Whether it is a tag.
    pub tag: bool,
}

impl Cell {
    /// Text.
    #[must_use]
    pub fn text(text: impl Into<String>) -> Self {
        Self { text: text.into(), ..Self::default() }
    }
    /// A number with its unit.
    #[must_use]
    pub fn number(text: impl Into<String>) -> Self {
        Self { text: text.into(), number: true, ..Self::default() }
    }
    /// A tag.
    #[must_use]
    pub fn tag(text: impl Into<String>) -> Self {
        Self { text: text.into(), tag: true, ..Self::default() }
    }
    /// How its text breaks into lines: what is short stays on one, what is long has room.
    #[must_use]
    pub fn breaks(&self) -> &'static str {
        let short = if self.number { 10 } else { 18 };
        match self.text.chars().count() {
            n if n <= short => " keep",
            n if n <= 60 => "",
            _ => " long",
        }
    }
    /// Leading somewhere.
    #[must_use]
    pub fn to(mut self, path: impl Into<String>) -> Self {
        self.to = path.into();
        self
    }
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        Self::text(text)
    }
}

impl From<String> for Cell {
    fn from(text: String) -> Self {
        Self::text(text)
    }
}

/// A table; its first column heads the rows.
#[derive(Clone, Debug, Default)]
pub struct Table {
    /// Its heading.
    pub heading: String,
    /// Its columns: the words, and whether they hold numbers.
    pub heads: Vec<(String, bool)>,
    /// Its rows.
    pub rows: Vec<Vec<Cell>>,
    /// What is said when there is no row.
    pub empty: String,
    /// What is said below: how many there are beyond those shown.
    pub foot: String,
    /// Where the rows go on.
    pub next: String,
    /// The words of that way on.
    pub next_words: &'static str,
}

impl Table {
    /// A table under a heading, with what is said when it has no row. Columns whose words end
    /// with `#` hold numbers.
    #[must_use]
    pub fn new(heading: &str, empty: &str, heads: &[&str]) -> Self {
        let heads = heads.iter().map(|h| (h.trim_end_matches('#').to_owned(), h.ends_with('#'))).collect();
        Self { heading: heading.to_owned(), heads, empty: empty.to_owned(), next_words: "Older ones", ..Self::default() }
    }
    /// With a row.
    pub fn row<const N: usize>(&mut self, cells: [Cell; N]) {
        let mut cells = Vec::from(cells);
        for (cell, (_, number)) in cells.iter_mut().zip(&self.heads) {
            cell.number |= *number;
        }
        self.rows.push(cells);
    }
}

/// A caution: one line, the whole card a tap away.
#[derive(Clone, Debug)]
pub struct Caution {
    /// The line.
    pub line: String,
    /// The card's title.
    pub title: String,
    /// The card.
    pub card: String,
}

/// One part of a page.
#[derive(Clone, Debug)]
pub enum Part {
    /// Name and value.
    Facts(String, Vec<(String, Cell)>),
    /// A table.
    Table(Table),
    /// A slip under its heading, at once to be filled in.
    Slip(String, Slip),
    /// A slip that is seldom needed, folded up under its heading.
    Folded(String, Slip),
    /// A line of text.
    Words(String),
    /// A line that must be seen.
    Note(String),
    /// What must be read from afar: a tag, a letter, and words.
    Large(Vec<(String, String, String)>),
    /// Cautions.
    Cautions(Vec<Caution>),
    /// Ways on: words and path.
    Links(Vec<(String, String)>),
    /// Fields that ask a page for something else, and where.
    Asking(String, Vec<Field>),
    /// A place that a link of the page leads to.
    Anchor(String),
    /// A drawing of ours, its text escaped: heading and SVG.
    Drawing(String, String),
}

impl Part {
    /// Fields that ask a page for something else: its path, the fields.
    #[must_use]
    pub fn asking(path: &str, fields: Vec<Field>) -> Self {
        let made = fields.into_iter().map(|mut field| {
            field.id = format!("ask-{}", field.name);
            for choice in &mut field.choices {
                choice.chosen = choice.value == field.value;
            }
            field
        });
        Self::Asking(path.to_owned(), made.collect())
    }
}

/// A page in parts.
#[derive(Template)]
#[template(path = "sheet.html")]
pub struct Sheet {
    frame: Frame,
    /// The heading.
    pub heading: String,
    /// A tag that stands before it.
    pub tag: String,
    /// The line below it.
    pub lead: String,
    /// What is cried out below it.
    pub cry: String,
    /// Its parts.
    pub parts: Vec<Part>,
}

impl Sheet {
    /// A page with a heading.
    #[must_use]
    pub fn new(visit: &Visit, heading: impl Into<String>) -> Self {
        let heading = heading.into();
        Self {
            frame: visit.frame(heading.clone()),
            heading,
            tag: String::new(),
            lead: String::new(),
            cry: String::new(),
            parts: Vec::new(),
        }
    }
    /// With a part.
    pub fn part(&mut self, part: Part) {
        self.parts.push(part);
    }
    /// With a table.
    pub fn table(&mut self, table: Table) {
        self.parts.push(Part::Table(table));
    }
    /// With a slip for those who may log.
    pub fn slip(&mut self, heading: &str, slip: Slip) {
        if self.frame.may_log() {
            self.parts.push(Part::Slip(heading.to_owned(), slip));
        }
    }
    /// With a slip folded up, for those who may log.
    pub fn folded(&mut self, heading: &str, slip: Slip) {
        if self.frame.may_log() {
            self.parts.push(Part::Folded(heading.to_owned(), slip));
        }
    }
    /// With facts, those left out that are not known.
    pub fn facts(&mut self, heading: &str, facts: impl IntoIterator<Item = (&'static str, Cell)>) {
        let facts: Vec<_> =
            facts.into_iter().filter(|(_, cell)| !cell.text.is_empty()).map(|(name, cell)| (name.to_owned(), cell)).collect();
        if !facts.is_empty() {
            self.parts.push(Part::Facts(heading.to_owned(), facts));
        }
    }
    /// With ways on.
    pub fn links(&mut self, links: &[(&str, String)]) {
        self.parts.push(Part::Links(links.iter().map(|(words, path)| ((*words).to_owned(), path.clone())).collect()));
    }
    /// Shows it.
    ///
    /// # Errors
    /// Internal, when it cannot be written.
    pub fn show(self) -> Result<Shown, Problem> {
        Shown::page(&self)
    }
}
