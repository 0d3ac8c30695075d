//! What the drawings of evidence share: the frame, which may stand in a page or alone, scales,
//! and numbers that are always numbers.

use std::fmt::Write as _;

use super::{LEFT, RIGHT, WIDTH, escaped, percent};

/// Of a page the stylesheet gives the looks. A drawing that stands alone has none, and a policy
/// that forbids styles inside it may hold for it: there each class is written out.
const LOOKS: [(&str, &str); 18] = [
    ("tick", "font-size=\"12\" fill=\"#5a5044\""),
    ("name", "font-weight=\"700\""),
    ("end", "text-anchor=\"end\""),
    ("middle", "text-anchor=\"middle\""),
    ("grid", "stroke=\"#ddd2c0\" fill=\"none\""),
    ("whisker", "stroke=\"#1f1a14\" stroke-width=\"2\" fill=\"none\""),
    ("dot", "fill=\"#5c2a0e\" stroke=\"#fffdf8\" stroke-width=\"1.5\""),
    ("line", "stroke=\"#5c2a0e\" stroke-width=\"2\" fill=\"none\""),
    ("touch", "fill=\"none\" stroke=\"none\""),
    ("seen", "fill=\"#fffdf8\" stroke=\"#1f1a14\" stroke-width=\"2\""),
    ("shrunk", "fill=\"#5c2a0e\" stroke=\"#fffdf8\" stroke-width=\"1\""),
    ("centre", "stroke=\"#1f1a14\" stroke-width=\"1.5\" fill=\"none\""),
    ("limit", "stroke=\"#1f1a14\" stroke-width=\"1.5\" stroke-dasharray=\"6 4\" fill=\"none\""),
    ("fine", "stroke=\"#5a5044\" stroke-width=\"1\" stroke-dasharray=\"2 3\" fill=\"none\""),
    ("area", "fill=\"#efe3c8\" stroke=\"#7d6f5b\" stroke-width=\"1\""),
    ("signal", "fill=\"#fffdf8\" stroke=\"#1f1a14\" stroke-width=\"3\""),
    ("value", ""),
    ("start", ""),
];

/// A drawing. It has a title, a sentence of what it shows, and a role, for those who do not see
/// it; the figures stand beside it in a table of the page.
#[derive(Clone, PartialEq, Debug)]
pub struct Drawing {
    title: String,
    about: String,
    height: f64,
    marks: String,
}

impl Drawing {
    pub(super) fn new(title: &str, about: &str, height: f64, marks: String) -> Self {
        Self { title: escaped(title), about: escaped(about), height: sane(height).max(1.0), marks }
    }

    /// As part of a page.
    #[must_use]
    pub fn inline(&self) -> String {
        self.written("", &self.marks)
    }

    /// As a file of its own, `image/svg+xml`: on paper of its own, in its own looks.
    #[must_use]
    pub fn alone(&self) -> String {
        let paper = format!("<rect x=\"0\" y=\"0\" width=\"{WIDTH}\" height=\"{:.0}\" fill=\"#fffdf8\"/>", self.height);
        let head = format!(
            " xmlns=\"http://www.w3.org/2000/svg\" width=\"{:.0}\" height=\"{:.0}\" fill=\"#1f1a14\" font-size=\"13\" \
             font-family=\"Helvetica Neue, Noto Sans, Arial, sans-serif\"",
            2.0 * WIDTH,
            2.0 * self.height
        );
        self.written(&head, &format!("{paper}{}", written_out(&self.marks)))
    }

    fn written(&self, head: &str, marks: &str) -> String {
        let Self { title, about, height, .. } = self;
        format!(
            "<svg class=\"plot\"{head} viewBox=\"0 0 {WIDTH} {height:.0}\" role=\"group\" aria-label=\"{title}. {about}\">\
             <title>{title}</title><desc>{about}</desc>{marks}</svg>"
        )
    }
}

/// With every class written out as attributes. No text holds an attribute: its quotes are escaped.
fn written_out(marks: &str) -> String {
    let mut parts = marks.split(" class=\"");
    let mut out = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let (classes, rest) = part.split_once('"').unwrap_or((part, ""));
        for look in classes.split(' ').filter_map(|class| LOOKS.iter().find(|(name, _)| *name == class)) {
            let _ = write!(out, " {}", look.1);
        }
        out.push_str(rest);
    }
    out
}

/// A number that can be written: 0 for what is none, and nothing far outside the drawing.
pub(super) fn sane(number: f64) -> f64 {
    if number.is_finite() { number.clamp(-1e5, 1e5) } else { 0.0 }
}

/// A scale from values to places; values beyond its ends stand on the ends.
#[derive(Clone, Copy)]
pub(super) struct Scale {
    pub(super) from: f64,
    pub(super) to: f64,
    pub(super) at_from: f64,
    pub(super) at_to: f64,
}

impl Scale {
    pub(super) fn place(self, value: f64) -> f64 {
        let wide = self.to - self.from;
        let share = if wide > 0.0 { ((value - self.from) / wide).clamp(0.0, 1.0) } else { 0.5 };
        sane(self.at_from + (self.at_to - self.at_from) * if share.is_nan() { 0.5 } else { share })
    }

    /// The same scale with room on either side, where all values are one.
    pub(super) fn widened(mut self) -> Self {
        if self.to <= self.from {
            let room = if self.from.abs() > 0.0 { self.from.abs() / 10.0 } else { 1.0 };
            (self.from, self.to) = (self.from - room, self.from + room);
        }
        self
    }
}

/// Places by number, of `count` from the left to the right.
pub(super) fn steps(count: usize, left: f64) -> impl Fn(usize) -> f64 {
    let last = f64::from(u32::try_from(count.saturating_sub(1)).unwrap_or(u32::MAX));
    move |n| {
        let n = f64::from(u32::try_from(n).unwrap_or(u32::MAX));
        if last > 0.0 { left + 12.0 + (RIGHT - left - 24.0) * n / last } else { f64::midpoint(left, RIGHT) }
    }
}

/// Round values within a range, by steps of 1, 2 or 5 times a power of ten, at most about `most`.
pub(super) fn round_within(from: f64, to: f64, most: u32) -> Vec<f64> {
    let steps = super::ticks(to - from, most);
    let Some(step) = steps.get(1).copied().filter(|step| *step > 0.0) else { return vec![from] };
    let first = (from / step).ceil();
    let values = (0..=2 * most).map(|n| (first + f64::from(n)) * step).filter(|v| *v <= to + step * 1e-9);
    values.map(|v| if v.abs() < step * 1e-9 { 0.0 } else { v }).collect()
}

/// How values of an axis are written.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Written {
    /// From 0 to 1, as percent.
    #[default]
    Percent,
    /// From −1 to 1, as points of a hundred.
    Points,
    /// As numbers.
    Number,
}

impl Written {
    pub(super) fn of(self, value: f64) -> String {
        match self {
            Self::Percent => percent(sane(value)),
            Self::Points => number(100.0 * value),
            Self::Number => number(value),
        }
    }
}

/// A number without needless digits.
pub(super) fn number(value: f64) -> String {
    let value = sane(value);
    let text = if value.abs() >= 10.0 || value.fract().abs() < 1e-9 { format!("{value:.0}") } else { format!("{value:.2}") };
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if text == "-0" { "0".to_owned() } else { text.replace('-', "−") }
}

/// Level lines with their values on the left.
pub(super) fn levels(marks: &mut String, left: f64, scale: Scale, at: &[f64], written: Written) {
    for value in at {
        let y = scale.place(*value);
        text(marks, "tick end", left - 4.0, y + 4.0, &written.of(*value));
        path(marks, "grid", &format!("M{left:.1} {y:.1}H{RIGHT:.1}"));
    }
}

/// The left edge of what has values written beside it.
pub(super) const BESIDE: f64 = LEFT + 36.0;

pub(super) fn path(marks: &mut String, class: &str, d: &str) {
    if !d.is_empty() {
        let _ = write!(marks, "<path class=\"{class}\" d=\"{d}\"/>");
    }
}

pub(super) fn text(marks: &mut String, class: &str, x: f64, y: f64, words: &str) {
    let class = if class.is_empty() { String::new() } else { format!(" class=\"{class}\"") };
    let _ = write!(marks, "<text{class} x=\"{:.1}\" y=\"{:.1}\">{}</text>", sane(x), sane(y), escaped(words));
}

pub(super) fn circle(marks: &mut String, class: &str, x: f64, y: f64, r: f64) {
    let _ = write!(marks, "<circle class=\"{class}\" cx=\"{:.1}\" cy=\"{:.1}\" r=\"{:.1}\"/>", sane(x), sane(y), sane(r));
}

/// A square on its corner.
pub(super) fn diamond(marks: &mut String, class: &str, x: f64, y: f64, r: f64) {
    path(marks, class, &format!("M{:.1} {y:.1}L{x:.1} {:.1}L{:.1} {y:.1}L{x:.1} {:.1}Z", x - r, y - r, x + r, y + r));
}

/// A triangle that points up, or down.
pub(super) fn triangle(marks: &mut String, class: &str, x: f64, y: f64, up: bool) {
    let (tip, foot) = if up { (y - 8.0, y + 6.0) } else { (y + 8.0, y - 6.0) };
    path(marks, class, &format!("M{x:.1} {tip:.1}L{:.1} {foot:.1}H{:.1}Z", x + 8.0, x - 8.0));
}

/// A line through places, broken where there is none.
pub(super) fn broken_line(places: impl Iterator<Item = Option<(f64, f64)>>) -> String {
    let mut d = String::new();
    let mut down = false;
    for place in places {
        if let Some((x, y)) = place {
            let _ = write!(d, "{}{x:.1} {y:.1}", if down { 'L' } else { 'M' });
        }
        down = place.is_some();
    }
    d
}

/// The area between two lines over the same places, broken where there is none.
pub(super) fn area(places: &[Option<(f64, f64, f64)>]) -> String {
    let mut d = String::new();
    for run in places.split(Option::is_none).filter(|run| !run.is_empty()) {
        let run: Vec<(f64, f64, f64)> = run.iter().flatten().copied().collect();
        for (n, (x, low, _)) in run.iter().enumerate() {
            let _ = write!(d, "{}{x:.1} {low:.1}", if n > 0 { 'L' } else { 'M' });
        }
        for (x, _, high) in run.iter().rev() {
            let _ = write!(d, "L{x:.1} {high:.1}");
        }
        d.push('Z');
    }
    d
}
