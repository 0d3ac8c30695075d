//! Text broken into lines by the true widths of its glyphs.

use krilla::text::KrillaGlyph;

use super::clean::clean;
use super::face::{CAPITAL, Faces, Shaped, Weight};

/// How a text is set, in points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Style {
    pub weight: Weight,
    pub size: f32,
    /// From one baseline to the next.
    pub leading: f32,
}

impl Style {
    pub const fn new(weight: Weight, size: f32, leading: f32) -> Self {
        Self { weight, size, leading }
    }

    /// From the top of the line to its baseline: capitals stand in the middle.
    pub const fn baseline(&self) -> f32 {
        f32::midpoint(self.leading, CAPITAL * self.size)
    }
}

/// One line, ready to be painted.
#[derive(Debug, Clone)]
pub struct Line {
    pub text: String,
    pub glyphs: Vec<KrillaGlyph>,
    /// In points, without the blank at its end.
    pub width: f32,
    pub style: Style,
}

impl Line {
    const fn empty(style: Style) -> Self {
        Self { text: String::new(), glyphs: Vec::new(), width: 0.0, style }
    }

    fn push(&mut self, word: Shaped) {
        let before = self.text.len();
        self.text.push_str(&word.text);
        self.width += word.width * self.style.size;
        self.glyphs.extend(word.glyphs.into_iter().map(|mut glyph| {
            glyph.text_range = glyph.text_range.start + before..glyph.text_range.end + before;
            glyph
        }));
    }
}

/// The lines of a text in a column `room` wide. A word too long for a line is broken, after a
/// hyphen or slash where one is near; what was separated by a blank keeps one at the line's end,
/// for readers that put the lines together again. An empty text has no lines.
pub fn wrap(faces: &Faces, text: &str, style: Style, room: f32) -> Vec<Line> {
    let text = clean(text);
    if text.is_empty() {
        return Vec::new();
    }
    let blank = faces.shape(style.weight, " ");
    let gap = blank.width * style.size;
    let mut lines = Vec::new();
    for paragraph in text.split('\n') {
        let mut line = Line::empty(style);
        for word in paragraph.split(' ').filter(|word| !word.is_empty()) {
            let shaped = faces.shape(style.weight, word);
            let wide = shaped.width * style.size;
            if !line.glyphs.is_empty() {
                let fits = line.width + gap + wide <= room;
                let width = line.width;
                line.push(blank.clone());
                if !fits {
                    line.width = width;
                    lines.push(std::mem::replace(&mut line, Line::empty(style)));
                }
            }
            if wide <= room {
                line.push(shaped);
                continue;
            }
            let mut pieces = broken(faces.shape_loose(style.weight, word), room / style.size);
            let last = pieces.pop().unwrap_or_default();
            for piece in pieces {
                line.push(piece);
                lines.push(std::mem::replace(&mut line, Line::empty(style)));
            }
            line.push(last);
        }
        lines.push(line);
    }
    lines
}

/// The widest line of a text that is broken only at its line feeds, in points.
pub fn natural_width(faces: &Faces, text: &str, style: Style) -> f32 {
    wrap(faces, text, style, f32::MAX).iter().map(|line| line.width).fold(0.0, f32::max)
}

/// A text on one line no wider than `room`, cut with an ellipsis where it must be.
pub fn one(faces: &Faces, text: &str, style: Style, room: f32) -> Option<Line> {
    let flat = clean(text).replace('\n', " ");
    let line = wrap(faces, &flat, style, f32::MAX).into_iter().next()?;
    if line.width <= room {
        return Some(line);
    }
    let mut cut = Line::empty(style);
    let dots = faces.shape(style.weight, "…");
    let start = wrap(faces, &flat, style, room - dots.width * style.size).into_iter().next()?;
    cut.push(Shaped { text: start.text, width: start.width / style.size, glyphs: start.glyphs });
    cut.push(dots);
    Some(cut)
}

/// Cuts a word into pieces no wider than `room` (a share of the size), each of one cluster at least.
fn broken(word: Shaped, room: f32) -> Vec<Shaped> {
    let mut pieces = Vec::new();
    let mut from = 0;
    while from < word.glyphs.len() {
        let to = end_of_piece(&word, from, room);
        pieces.push(piece(&word, from, to));
        from = to;
    }
    pieces
}

/// Where the piece that begins at glyph `from` ends.
fn end_of_piece(word: &Shaped, from: usize, room: f32) -> usize {
    let rest = word.glyphs.get(from..).unwrap_or_default();
    let (mut width, mut end, mut soft) = (0.0, from, None);
    let mut fits = true;
    for (step, glyph) in rest.iter().enumerate() {
        let starts_cluster = step == 0 || rest.get(step - 1).is_none_or(|before| before.text_range != glyph.text_range);
        if starts_cluster && glyph.x_advance > 0.0 {
            end = from + step;
            if width + glyph.x_advance > room && step > 0 {
                fits = false;
                break;
            }
        }
        width += glyph.x_advance;
        let text = word.text.get(glyph.text_range.clone()).unwrap_or_default();
        if text.ends_with(['-', '/', '–', '_', '@', '.', ',', ';']) && width > room / 2.0 {
            soft = Some(from + step + 1);
        }
    }
    if fits {
        return word.glyphs.len();
    }
    soft.unwrap_or(end)
}

fn piece(word: &Shaped, from: usize, to: usize) -> Shaped {
    let glyphs = word.glyphs.get(from..to).unwrap_or_default();
    let start = glyphs.first().map_or(0, |glyph| glyph.text_range.start);
    let end = glyphs.last().map_or(start, |glyph| glyph.text_range.end);
    let text = word.text.get(start..end).unwrap_or_default().to_owned();
    let width = glyphs.iter().map(|glyph| glyph.x_advance).sum();
    let moved = |glyph: &KrillaGlyph| {
        let mut glyph = glyph.clone();
        glyph.text_range = glyph.text_range.start - start..glyph.text_range.end - start;
        glyph
    };
    Shaped { text, width, glyphs: glyphs.iter().map(moved).collect() }
}
