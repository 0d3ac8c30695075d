//! The parts of a letter, in the order they are read.

use std::num::NonZeroU16;

use krilla::tagging::{Tag, TagKind};

use super::clean::{one_line, short};
use super::face::{CAPITAL, Faces, Weight};
use super::flow::{Block, Ink};
use super::lines::{Line, Style, natural_width, one, wrap};
use super::tags::{Place, Tags};
use super::{Letter, Mark, Paper};

/// Left and right margin.
pub const SIDE: f32 = 64.0;
/// Above the first line.
pub const TOP: f32 = 50.0;
/// Under the last line; the foot of the page stands in it.
pub const BOTTOM: f32 = 64.0;

pub const TEXT: Style = Style::new(Weight::Regular, 9.5, 14.0);
pub const STRONG: Style = Style::new(Weight::Strong, 9.5, 14.0);
pub const SMALL: Style = Style::new(Weight::Regular, 8.0, 11.5);
pub const SMALL_STRONG: Style = Style::new(Weight::Strong, 8.0, 11.5);
const TITLE: Style = Style::new(Weight::Strong, 17.0, 22.0);
const SECTION: Style = Style::new(Weight::Strong, 10.5, 15.0);
const NAME: Style = Style::new(Weight::Strong, 13.0, 17.0);

const RING: f32 = 23.0;
/// Between a column and the next.
pub const GAP: f32 = 16.0;

/// Room for text on a sheet: its width and height.
pub const fn room(paper: Paper) -> (f32, f32) {
    let (width, height) = paper.size();
    (width - 2.0 * SIDE, height - TOP - BOTTOM)
}

/// A letter broken into lines, not yet into pages.
#[derive(Default)]
pub struct Set {
    pub blocks: Vec<Block>,
    /// Heads repeated over a table that goes on.
    pub heads: Vec<Block>,
    pub tags: Tags,
}

/// What sets the parts one after another.
pub struct Setter<'a> {
    pub faces: &'a Faces,
    pub width: f32,
    pub height: f32,
    pub out: Set,
}

/// Sets all parts of a letter.
pub fn set(letter: &Letter, faces: &Faces) -> Set {
    let (width, height) = room(letter.paper);
    let mut setter = Setter { faces, width, height, out: Set::default() };
    setter.shop(letter);
    setter.heading(&letter.title, TITLE, 1, 26.0);
    setter.facts(&letter.facts);
    setter.paragraphs(&letter.opening, TEXT, 18.0, 7.0);
    setter.table(&letter.heads, &letter.table, !letter.sums.is_empty());
    setter.sums(&letter.sums);
    if !letter.stages.is_empty() {
        setter.heading(&letter.stages_title, SECTION, 2, 20.0);
        setter.stages(&letter.stages);
    }
    setter.paragraphs(&letter.terms, SMALL, 18.0, 4.0);
    setter.sign(&letter.sign);
    setter.out
}

impl Setter<'_> {
    /// A new node of the tags, and the place in it.
    pub fn place(&mut self, under: Option<usize>, kind: impl Into<TagKind>) -> Place {
        Place::In(self.out.tags.add(under, kind))
    }

    /// Mark, name and address.
    fn shop(&mut self, letter: &Letter) {
        let mut block = Block::default();
        let mut left = 0.0;
        if let Some(mark) = letter.shop.mark.as_ref().filter(|mark| !one_line(&mark.letters).is_empty()) {
            self.mark(mark, &mut block);
            left = 2.0 * RING + 14.0;
        }
        let right = self.width * 0.64;
        let name = self.place(None, Tag::P);
        let lines = wrap(self.faces, &letter.shop.name, NAME, right - GAP - left);
        // The name stands against the middle of the ring, the address from the top.
        let tall = NAME.leading * lines.len() as f32;
        let start = if left > 0.0 { (RING - tall / 2.0).max(0.0) } else { 0.0 };
        let name_end = stack(&mut block, lines, left, start, name);
        let mut y = 1.0;
        for text in &letter.shop.lines {
            let place = self.place(None, Tag::P);
            let lines = wrap(self.faces, text, SMALL, self.width - right);
            y = stack(&mut block, lines, right, y, place);
        }
        block.height = y.max(name_end).max(if left > 0.0 { 2.0 * RING } else { 0.0 });
        self.out.blocks.push(block);
    }

    fn mark(&self, mark: &Mark, block: &mut Block) {
        let letters: String = one_line(&mark.letters).chars().filter(|c| !c.is_whitespace()).take(3).collect();
        let size = match letters.chars().count() {
            1 => 21.0,
            2 => 17.0,
            _ => 13.0,
        };
        let chord = 1.35 * RING;
        let natural = natural_width(self.faces, &letters, Style::new(Weight::Strong, size, size));
        let size = if natural > chord { size * chord / natural } else { size };
        block.inks.push(Ink::Ring { x: RING, y: RING, radius: RING });
        if let Some(line) = one(self.faces, &letters, Style::new(Weight::Strong, size, size), 2.0 * RING) {
            let (x, y) = (RING - line.width / 2.0, RING + CAPITAL * size / 2.0);
            block.inks.push(Ink::Text { x, y, line, place: Place::Ornament });
        }
    }

    /// A heading, on one page with what follows.
    fn heading(&mut self, text: &str, style: Style, level: u16, before: f32) {
        let lines = wrap(self.faces, text, style, self.width);
        if lines.is_empty() {
            return;
        }
        let level = NonZeroU16::new(level).unwrap_or(NonZeroU16::MIN);
        let place = self.place(None, Tag::Hn(level, Some(short(text, 200))));
        let mut block = Block { before, with_next: true, ..Block::default() };
        block.height = stack(&mut block, lines, 0.0, 0.0, place) + 6.0;
        self.out.blocks.push(block);
    }

    fn paragraphs(&mut self, texts: &[String], style: Style, first: f32, between: f32) {
        let mut before = first;
        for text in texts {
            let lines = wrap(self.faces, text, style, self.width);
            if lines.is_empty() {
                continue;
            }
            let place = self.place(None, Tag::P);
            self.paragraph(lines, place, before);
            before = between;
        }
    }

    /// Lines that may flow over pages, two at least on each side.
    fn paragraph(&mut self, lines: Vec<Line>, place: Place, before: f32) {
        let count = lines.len();
        let mut before = before;
        let mut kept = Vec::new();
        for (at, line) in lines.into_iter().enumerate() {
            kept.push(line);
            let done = at + 1;
            if done == count || (done != 1 && done + 1 != count) {
                let mut block = Block { before, ..Block::default() };
                block.height = stack(&mut block, std::mem::take(&mut kept), 0.0, 0.0, place);
                self.out.blocks.push(block);
                before = 0.0;
            }
        }
    }

    /// Rules to write on, three abreast at most.
    fn sign(&mut self, texts: &[String]) {
        let texts: Vec<&String> = texts.iter().filter(|text| !one_line(text).is_empty()).collect();
        // Nobody signs a page on which nothing is said.
        if let Some(last) = self.out.blocks.last_mut().filter(|_| !texts.is_empty()) {
            last.with_next = true;
        }
        for abreast in texts.chunks(3) {
            let count = abreast.len().max(2) as f32;
            let each = (self.width - GAP * (count - 1.0)) / count;
            let mut block = Block { before: 6.0, ..Block::default() };
            for (at, text) in abreast.iter().enumerate() {
                let x = at as f32 * (each + GAP);
                block.inks.push(Ink::Rule { from: x, to: x + each, y: 40.0 });
                let place = self.place(None, Tag::P);
                let lines = wrap(self.faces, text, SMALL, each);
                block.height = block.height.max(stack(&mut block, lines, x, 43.0, place));
            }
            self.out.blocks.push(block);
        }
    }
}

/// Adds lines one under another and gives where they end.
pub fn stack(block: &mut Block, lines: Vec<Line>, x: f32, top: f32, place: Place) -> f32 {
    let mut y = top;
    for line in lines {
        let down = line.style.leading;
        block.inks.push(Ink::Text { x, y: y + line.style.baseline(), line, place });
        y += down;
    }
    y
}
