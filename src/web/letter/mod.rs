//! A letter to a client as a PDF: plain words in, bytes out. No clock, no chance, no IO: the
//! same letter gives the same bytes. The file is tagged for readers by ear (PDF/UA-1) and made
//! to last (PDF/A-2a); its one family of type is embedded, cut down to the letters used.
//!
//! What stands in a letter is set in reading order from left to right. Scripts written from
//! right to left are not attempted: a letter the type lacks becomes a visible �.

mod clean;
mod face;
mod flow;
mod lines;
mod paint;
mod parts;
mod tables;
mod tags;

#[cfg(test)]
mod tests;

use thiserror::Error;

/// The most rows of the table, and the most stages, sums or facts, that one letter holds.
pub const MOST_ROWS: usize = 200;
/// The most text of one letter, in bytes of UTF-8.
pub const MOST_TEXT: usize = 400_000;
/// The most pages. Only text that is mostly line breaks comes here before [`MOST_TEXT`].
pub const MOST_PAGES: usize = 250;

/// A letter: what stands on it, already in words of the reader's language and units.
///
/// A line feed in any text begins a new line; other control characters are dropped.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Letter {
    /// Who writes.
    pub shop: Head,
    /// What it is, as "Quote 26-Q014, version 2". Also the title of the document.
    pub title: String,
    /// Name and value each: date, for whom, valid until.
    pub facts: Vec<(String, String)>,
    /// Paragraphs before the table.
    pub opening: Vec<String>,
    /// Heads of the table's four columns: what, count, each, amount.
    pub heads: [String; 4],
    /// What is offered. Without rows no table is set.
    pub table: Vec<Row>,
    /// Name, amount and whether it is the one that counts.
    pub sums: Vec<(String, String, bool)>,
    /// Stands over the stages, and only when there are some.
    pub stages_title: String,
    /// Payments: what for, by when, amount.
    pub stages: Vec<(String, String, String)>,
    /// Small paragraphs after the figures.
    pub terms: Vec<String>,
    /// A rule to write on is set over each of these.
    pub sign: Vec<String>,
    /// At the foot of each page; `{page}` and `{pages}` are filled in. One line, cut where it is too long.
    pub foot: String,
    /// The language of the text as a BCP 47 tag, `en` or `de-AT`. What is no tag counts as `en`.
    pub lang: String,
    /// The day the letter bears, kept in the file as the day it was made. The standard of files
    /// made to last asks for one; without it the file keeps to the other standard only.
    pub dated: Option<Day>,
    /// The sheet it is set for.
    pub paper: Paper,
}

/// The head of the paper.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Head {
    /// The shop's name.
    pub name: String,
    /// Address, telephone, mail, tax number: a line each.
    pub lines: Vec<String>,
    /// The shop's stamp, top left.
    pub mark: Option<Mark>,
}

/// A stamp: up to three letters in a ring.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mark {
    /// What stands in the ring; letters past the third are left out.
    pub letters: String,
}

/// One row of the table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// What is offered.
    pub what: String,
    /// Smaller lines under it.
    pub detail: Vec<String>,
    /// How many, with its unit if any.
    pub count: String,
    /// Price of one.
    pub each: String,
    /// Price of all.
    pub amount: String,
}

/// A day of the calendar. One that no month has is kept as the nearest the file can say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Day {
    /// As 2026.
    pub year: u16,
    /// From 1.
    pub month: u8,
    /// From 1.
    pub day: u8,
}

/// The sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paper {
    /// 210 mm × 297 mm.
    A4,
    /// 8½ in × 11 in.
    Letter,
}

impl Paper {
    /// Width and height in points of 1/72 inch.
    #[must_use]
    pub const fn size(self) -> (f32, f32) {
        match self {
            Self::A4 => (595.28, 841.89),
            Self::Letter => (612.0, 792.0),
        }
    }
}

/// Why a letter is not set.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum LetterError {
    /// More than [`MOST_ROWS`] rows, stages, sums or facts.
    #[error("the letter has {0} rows; {MOST_ROWS} is the most")]
    Rows(usize),
    /// More than [`MOST_TEXT`] bytes of text.
    #[error("the letter has {0} bytes of text; {MOST_TEXT} is the most")]
    Text(usize),
    /// More than [`MOST_PAGES`] pages.
    #[error("the letter would be longer than {MOST_PAGES} pages")]
    Pages,
    /// The type or the file could not be made. No letter is known to come here.
    #[error("the letter could not be written: {0}")]
    Writing(String),
}

/// Sets a letter and gives the file.
pub fn pdf(letter: &Letter) -> Result<Vec<u8>, LetterError> {
    within_limits(letter)?;
    let faces = face::Faces::load()?;
    let set = parts::set(letter, &faces);
    let pages = flow::pages(set.blocks, &set.heads, parts::room(letter.paper).1)?;
    paint::paint(letter, &faces, pages, set.tags)
}

fn within_limits(letter: &Letter) -> Result<(), LetterError> {
    let rows = [letter.table.len(), letter.stages.len(), letter.sums.len(), letter.facts.len()].into_iter().max().unwrap_or(0);
    if rows > MOST_ROWS {
        return Err(LetterError::Rows(rows));
    }
    let bytes: usize = texts(letter).map(str::len).sum();
    if bytes > MOST_TEXT {
        return Err(LetterError::Text(bytes));
    }
    Ok(())
}

/// All that is written in a letter, in reading order, the foot last.
fn texts(letter: &Letter) -> impl Iterator<Item = &str> {
    let mark = letter.shop.mark.iter().map(|m| &m.letters);
    let facts = letter.facts.iter().flat_map(|(name, value)| [name, value]);
    let rows = letter
        .table
        .iter()
        .flat_map(|row| std::iter::once(&row.what).chain(&row.detail).chain([&row.count, &row.each, &row.amount]));
    let sums = letter.sums.iter().flat_map(|(name, amount, _)| [name, amount]);
    let stages = letter.stages.iter().flat_map(|(what, when, amount)| [what, when, amount]);
    mark.chain([&letter.shop.name])
        .chain(&letter.shop.lines)
        .chain([&letter.title])
        .chain(facts)
        .chain(&letter.opening)
        .chain(&letter.heads)
        .chain(rows)
        .chain(sums)
        .chain([&letter.stages_title])
        .chain(stages)
        .chain(&letter.terms)
        .chain(&letter.sign)
        .chain([&letter.foot])
        .map(String::as_str)
}
