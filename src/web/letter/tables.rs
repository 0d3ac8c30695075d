//! The parts that stand in columns: facts, table, sums, stages.

use krilla::tagging::{TableHeaderScope, Tag, TagKind};

use super::Row;
use super::face::Shaped;
use super::flow::{Block, Ink};
use super::lines::{Line, Style, natural_width, wrap};
use super::parts::{GAP, SMALL, SMALL_STRONG, STRONG, Setter, TEXT, stack};
use super::tags::Place;

/// Where the sums begin, as a share of the width.
const HALF: f32 = 0.5;

/// A column: where it begins and how wide it is. Figures stand at its right edge.
#[derive(Clone, Copy)]
struct Column {
    x: f32,
    room: f32,
    right: bool,
}

/// What stands in one cell: its texts one under another.
struct Cell<'a> {
    column: Column,
    texts: Vec<(&'a str, Style)>,
    kind: TagKind,
}

impl Setter<'_> {
    /// Name and value, a row each.
    pub fn facts(&mut self, facts: &[(String, String)]) {
        let names = self.widest(facts.iter().map(|(name, _)| name.as_str()), TEXT, 0.3);
        let values = Column { x: names + GAP, room: self.width - names - GAP, right: false };
        let names = Column { x: 0.0, room: names, right: false };
        let table = self.out.tags.add(None, Tag::Table);
        for (at, (name, value)) in facts.iter().enumerate() {
            let cells = [
                Cell { column: names, texts: vec![(name, TEXT)], kind: row_head() },
                Cell { column: values, texts: vec![(value, TEXT)], kind: Tag::TD.into() },
            ];
            let mut block = self.row(table, cells);
            block.before = if at == 0 { 8.0 } else { 0.0 };
            self.out.blocks.push(block);
        }
    }

    /// What is offered. The last row stays with the sums.
    pub fn table(&mut self, heads: &[String; 4], rows: &[Row], sums: bool) {
        if rows.is_empty() {
            return;
        }
        let columns = self.columns(heads, rows);
        let table = self.out.tags.add(None, Tag::Table);
        let over = self.head(heads, columns, table);
        let body = self.out.tags.add(Some(table), Tag::TBody);
        for (at, row) in rows.iter().enumerate() {
            let mut what = vec![(row.what.as_str(), STRONG)];
            what.extend(row.detail.iter().map(|detail| (detail.as_str(), SMALL)));
            let figures = [&row.count, &row.each, &row.amount].map(|text| vec![(text.as_str(), TEXT)]);
            let [count, each, amount] = figures;
            let texts = [what, count, each, amount];
            let cells = columns.into_iter().zip(texts).map(|(column, texts)| Cell { column, texts, kind: Tag::TD.into() });
            let mut block = self.row(body, cells);
            pad(&mut block, 4.5, 2.5);
            block.head = over;
            block.with_next = sums && at + 1 == rows.len();
            self.out.blocks.push(block);
        }
    }

    /// The head of the table, and the same once more for the pages after: which one that is.
    fn head(&mut self, heads: &[String; 4], columns: [Column; 4], table: usize) -> Option<usize> {
        let part = self.out.tags.add(Some(table), Tag::THead);
        let cells = columns.into_iter().zip(heads).map(|(column, text)| Cell {
            column,
            texts: vec![(text.as_str(), SMALL_STRONG)],
            kind: Tag::TH(TableHeaderScope::Column).into(),
        });
        let mut block = self.row(part, cells);
        let y = block.height + 4.0;
        block.inks.push(Ink::Rule { from: 0.0, to: self.width, y });
        block.height = y + 1.0;
        let mut again = block.clone();
        block.before = 16.0;
        block.with_next = true;
        self.out.blocks.push(block);
        // A head that would fill the page is not repeated.
        if again.height > self.height / 4.0 {
            return None;
        }
        for ink in &mut again.inks {
            if let Ink::Text { place, .. } = ink {
                *place = Place::Ornament;
            }
        }
        self.out.heads.push(again);
        Some(self.out.heads.len() - 1)
    }

    /// Columns of figures as wide as they need to be; the rest is for words.
    fn columns(&self, heads: &[String; 4], rows: &[Row]) -> [Column; 4] {
        let [what, count, each, amount] = heads.each_ref().map(|head| natural_width(self.faces, head, SMALL_STRONG));
        let widest = |head: f32, pick: fn(&Row) -> &str, share| {
            head.min(share * self.width).max(self.widest(rows.iter().map(pick), TEXT, share))
        };
        let count = widest(count, |row| &row.count, 0.16);
        let each = widest(each, |row| &row.each, 0.2);
        let amount = widest(amount, |row| &row.amount, 0.2);
        let words = (self.width - count - each - amount - 3.0 * GAP).max(what.min(0.2 * self.width));
        let mut x = 0.0;
        [(words, false), (count, true), (each, true), (amount, true)].map(|(room, right)| {
            let column = Column { x, room, right };
            x += room + GAP;
            column
        })
    }

    /// The sums, in the right half, on one page.
    pub fn sums(&mut self, sums: &[(String, String, bool)]) {
        let amount = self.widest(sums.iter().map(|(_, amount, _)| amount.as_str()), STRONG, 0.24);
        let from = self.width * HALF;
        let names = Column { x: from, room: self.width - from - amount - GAP, right: false };
        let amounts = Column { x: self.width - amount, room: amount, right: true };
        let table = self.out.tags.add(None, Tag::Table);
        for (at, (name, amount, strong)) in sums.iter().enumerate() {
            let style = if *strong { STRONG } else { TEXT };
            let cells = [
                Cell { column: names, texts: vec![(name, style)], kind: row_head() },
                Cell { column: amounts, texts: vec![(amount, style)], kind: Tag::TD.into() },
            ];
            let mut block = self.row(table, cells);
            if *strong {
                pad(&mut block, 4.0, 2.0);
                block.inks.push(Ink::Rule { from, to: self.width, y: 1.5 });
            } else {
                pad(&mut block, 1.0, 1.0);
            }
            block.before = if at == 0 { 10.0 } else { 0.0 };
            block.with_next = at + 1 < sums.len();
            self.out.blocks.push(block);
        }
    }

    /// Payments, a row each.
    pub fn stages(&mut self, stages: &[(String, String, String)]) {
        let amount = self.widest(stages.iter().map(|(_, _, amount)| amount.as_str()), TEXT, 0.24);
        let when = self.widest(stages.iter().map(|(_, when, _)| when.as_str()), TEXT, 0.34);
        // Under the names of the sums where that leaves room for the days.
        let from = (self.width * HALF).min(self.width - amount - GAP - when);
        let whats = Column { x: 0.0, room: from - GAP, right: false };
        let whens = Column { x: from, room: self.width - amount - GAP - from, right: false };
        let amounts = Column { x: self.width - amount, room: amount, right: true };
        let table = self.out.tags.add(None, Tag::Table);
        for (what, when, amount) in stages {
            let cells = [
                Cell { column: whats, texts: vec![(what, TEXT)], kind: row_head() },
                Cell { column: whens, texts: vec![(when, TEXT)], kind: Tag::TD.into() },
                Cell { column: amounts, texts: vec![(amount, TEXT)], kind: Tag::TD.into() },
            ];
            let mut block = self.row(table, cells);
            pad(&mut block, 1.0, 1.0);
            self.out.blocks.push(block);
        }
    }

    /// One row as a block; the row and its cells become nodes under `table`.
    fn row<'a>(&mut self, table: usize, cells: impl IntoIterator<Item = Cell<'a>>) -> Block {
        let row = self.out.tags.add(Some(table), Tag::TR);
        let mut block = Block::default();
        for cell in cells {
            let place = self.place(Some(row), cell.kind);
            let mut y = 0.0;
            for (text, style) in cell.texts {
                let lines = wrap(self.faces, text, style, cell.column.room);
                for line in lines {
                    let x = if cell.column.right { cell.column.x + cell.column.room - line.width } else { cell.column.x };
                    y = stack(&mut block, vec![line], x, y, place);
                }
            }
            if y == 0.0 {
                self.nothing(&mut block, cell.column, place);
            }
            block.height = block.height.max(y);
        }
        block
    }

    /// A blank, so that an empty cell is still a cell to who hears the table.
    fn nothing(&self, block: &mut Block, column: Column, place: Place) {
        let Shaped { text, glyphs, .. } = self.faces.shape(TEXT.weight, " ");
        let line = Line { text, glyphs, width: 0.0, style: TEXT };
        block.inks.push(Ink::Text { x: column.x, y: TEXT.baseline(), line, place });
    }

    /// The widest of some texts, no wider than a share of the page.
    fn widest<'a>(&self, texts: impl Iterator<Item = &'a str>, style: Style, share: f32) -> f32 {
        // Half a tenth of a point against rounding, so that what fits is not broken.
        let natural = texts.map(|text| natural_width(self.faces, text, style)).fold(0.0, f32::max) + 0.05;
        natural.min(share * self.width)
    }
}

fn row_head() -> TagKind {
    Tag::TH(TableHeaderScope::Row).into()
}

fn pad(block: &mut Block, above: f32, below: f32) {
    let inks = std::mem::take(&mut block.inks);
    block.inks = inks.into_iter().map(|ink| ink.down(above)).collect();
    block.height += above + below;
}
