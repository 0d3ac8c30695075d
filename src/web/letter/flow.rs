//! Blocks laid one under another over pages.

use super::lines::Line;
use super::tags::Place;
use super::{LetterError, MOST_PAGES};

/// Something painted. Measures are points from the left margin and from the top of its block,
/// later of its page.
#[derive(Debug, Clone)]
pub enum Ink {
    /// A line of text, `y` at its baseline.
    Text { x: f32, y: f32, line: Line, place: Place },
    /// A thin rule.
    Rule { from: f32, to: f32, y: f32 },
    /// A ring around a middle.
    Ring { x: f32, y: f32, radius: f32 },
}

impl Ink {
    fn top(&self) -> f32 {
        match self {
            Self::Text { y, line, .. } => y - line.style.baseline(),
            Self::Rule { y, .. } => *y,
            Self::Ring { y, radius, .. } => y - radius,
        }
    }

    fn bottom(&self) -> f32 {
        match self {
            Self::Text { line, .. } => self.top() + line.style.leading,
            Self::Rule { y, .. } => *y,
            Self::Ring { y, radius, .. } => y + radius,
        }
    }

    /// The same, lower.
    pub fn down(mut self, by: f32) -> Self {
        match &mut self {
            Self::Text { y, .. } | Self::Rule { y, .. } | Self::Ring { y, .. } => *y += by,
        }
        self
    }
}

/// What stays together on one page.
#[derive(Debug, Clone, Default)]
pub struct Block {
    pub inks: Vec<Ink>,
    pub height: f32,
    /// Room above it, except at the top of a page.
    pub before: f32,
    /// On the same page as the block that follows.
    pub with_next: bool,
    /// Which of the running heads stands over it on a new page.
    pub head: Option<usize>,
}

/// What is taller than a page begins on this one if there is so much room.
const LEAST: f32 = 120.0;

/// What is painted on each page.
pub fn pages(blocks: Vec<Block>, heads: &[Block], room: f32) -> Result<Vec<Vec<Ink>>, LetterError> {
    let mut sheet = Sheet { heads, room, done: Vec::new(), page: Vec::new(), y: 0.0, fresh: true };
    let mut group = Vec::new();
    for block in blocks {
        let more = block.with_next;
        group.push(block);
        if !more {
            sheet.put_group(std::mem::take(&mut group))?;
        }
    }
    sheet.put_group(group)?;
    sheet.done.push(sheet.page);
    Ok(sheet.done)
}

struct Sheet<'a> {
    heads: &'a [Block],
    room: f32,
    done: Vec<Vec<Ink>>,
    page: Vec<Ink>,
    y: f32,
    /// Nothing but a running head is on the page.
    fresh: bool,
}

impl Sheet<'_> {
    /// Puts blocks that belong together: on a new page when this one is too full, one by one
    /// when no page holds them.
    fn put_group(&mut self, group: Vec<Block>) -> Result<(), LetterError> {
        let height: f32 =
            group.iter().map(|block| block.height).sum::<f32>() + group.iter().skip(1).map(|block| block.before).sum::<f32>();
        let first = group.first();
        let before = first.map_or(0.0, |block| block.before);
        let head = first.and_then(|block| block.head);
        let whole = self.head_height(head) + height <= self.room;
        let left = self.room - self.y - before;
        if !self.fresh && (if whole { left < height } else { left < LEAST }) {
            self.turn(head)?;
        }
        for block in group {
            self.put(block)?;
        }
        Ok(())
    }

    fn put(&mut self, mut block: Block) -> Result<(), LetterError> {
        let left = self.left(&block);
        let whole = self.head_height(block.head) + block.height <= self.room;
        if !self.fresh && left < block.height && (whole || left < LEAST / 2.0) {
            self.turn(block.head)?;
        }
        // Only what is taller than a page is cut.
        while self.left(&block) < block.height && !block.inks.is_empty() {
            let left = self.left(&block);
            let rest = cut(&mut block, left);
            let head = block.head;
            self.lay(block);
            self.turn(head)?;
            block = rest;
        }
        self.lay(block);
        Ok(())
    }

    /// Room that is left for a block on this page.
    fn left(&self, block: &Block) -> f32 {
        self.room - self.y - if self.fresh { 0.0 } else { block.before }
    }

    fn lay(&mut self, block: Block) {
        if !self.fresh {
            self.y += block.before;
        }
        let y = self.y;
        self.page.extend(block.inks.into_iter().map(|ink| ink.down(y)));
        self.y += block.height;
        self.fresh = false;
    }

    fn turn(&mut self, head: Option<usize>) -> Result<(), LetterError> {
        if self.done.len() + 1 >= MOST_PAGES {
            return Err(LetterError::Pages);
        }
        self.done.push(std::mem::take(&mut self.page));
        (self.y, self.fresh) = (0.0, true);
        if let Some(head) = head.and_then(|at| self.heads.get(at)) {
            self.lay(head.clone());
            self.fresh = true;
        }
        Ok(())
    }

    fn head_height(&self, head: Option<usize>) -> f32 {
        head.and_then(|at| self.heads.get(at)).map_or(0.0, |head| head.height)
    }
}

/// Takes off what does not fit into `room`; at least one ink stays.
fn cut(block: &mut Block, room: f32) -> Block {
    let top = block.inks.iter().map(Ink::top).fold(f32::MAX, f32::min);
    let (mut kept, rest): (Vec<Ink>, Vec<Ink>) =
        std::mem::take(&mut block.inks).into_iter().partition(|ink| ink.bottom() <= room);
    let mut rest = rest.into_iter();
    if kept.is_empty() {
        kept.extend(rest.next());
    }
    let shift = rest.as_slice().iter().map(Ink::top).fold(f32::MAX, f32::min).max(top);
    let height = if rest.len() == 0 { 0.0 } else { (block.height - shift).max(0.0) };
    let inks = rest.map(|ink| ink.down(-shift)).collect();
    block.inks = kept;
    block.height = block.height.min(room);
    Block { inks, height, ..block.clone_frame() }
}

impl Block {
    fn clone_frame(&self) -> Self {
        Self { inks: Vec::new(), height: 0.0, before: self.before, with_next: self.with_next, head: self.head }
    }
}
