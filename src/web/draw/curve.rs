//! A fitted curve with its band, and what was seen as dots as large as their counts, section by
//! section on the same scales.

use super::frame::{BESIDE, Drawing, Scale, Written, area, broken_line, circle, levels, number, path, round_within, text};
use super::{LEFT, RIGHT, escaped, linked, percent, short, ticks};

/// A place on a curve.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct CurvePoint {
    /// Where, in the unit of the axis.
    pub x: f64,
    /// The lower end of the band, from 0 to 1.
    pub low: f64,
    /// The fitted rate.
    pub rate: f64,
    /// The upper end of the band.
    pub high: f64,
}

/// What was seen near a place.
#[derive(Clone, Debug, Default)]
pub struct Dot {
    /// Where, in the unit of the axis.
    pub x: f64,
    /// The rate seen, from 0 to 1.
    pub rate: f64,
    /// Of how many: the area of the dot.
    pub n: u32,
    /// In words: `700 to 720 °C, 3 of 41`.
    pub label: String,
    /// Where what is behind it opens.
    pub to: String,
}

/// One section: its curve and its dots.
#[derive(Clone, Debug, Default)]
pub struct Section {
    /// What it is called: `5 to 8 mm`.
    pub name: String,
    /// The curve, from left to right; empty where none could be fitted.
    pub curve: Vec<CurvePoint>,
    /// What was seen.
    pub dots: Vec<Dot>,
}

const TALL: f64 = 150.0;
const ROW: f64 = TALL + 40.0;
const SMALLEST: f64 = 2.5;
const LARGEST: f64 = 11.0;

/// Sections one below the other, all on the same scales; `axis` says what runs to the right and
/// in which unit.
#[must_use]
pub fn fitted_curve(title: &str, about: &str, axis: &str, sections: &[Section]) -> Drawing {
    let places = || {
        let curves = sections.iter().flat_map(|s| s.curve.iter().map(|p| p.x));
        curves.chain(sections.iter().flat_map(|s| s.dots.iter().map(|d| d.x))).filter(|x| x.is_finite())
    };
    let (from, to) = places().fold((f64::INFINITY, f64::NEG_INFINITY), |(from, to), x| (from.min(x), to.max(x)));
    let (from, to) = if from <= to { (from, to) } else { (0.0, 1.0) };
    let x = Scale { from, to, at_from: BESIDE + 12.0, at_to: RIGHT - 12.0 }.widened();
    let heights =
        sections.iter().flat_map(|s| s.curve.iter().map(|p| p.high).chain(s.dots.iter().filter(|d| d.n > 0).map(|d| d.rate)));
    let top = heights.filter(|v| v.is_finite()).fold(0.0, f64::max).clamp(0.01, 1.0);
    let at = ticks(top, 4);
    let most = sections.iter().flat_map(|s| s.dots.iter().map(|d| d.n)).max().unwrap_or(1).max(1);
    let mut marks = String::new();
    let mut head = 0.0;
    for section in sections {
        text(&mut marks, "name", LEFT, head + 16.0, &short(&section.name, 40));
        let to = at.last().copied().unwrap_or(1.0);
        let y = Scale { from: 0.0, to, at_from: head + 26.0 + TALL, at_to: head + 26.0 };
        levels(&mut marks, BESIDE, y, &at, Written::Percent);
        drawn(&mut marks, section, x, y, most);
        head += ROW;
    }
    for tick in round_within(x.from, x.to, 4) {
        text(&mut marks, "tick middle", x.place(tick), head + 4.0, &number(tick));
    }
    text(&mut marks, "tick middle", f64::midpoint(BESIDE, RIGHT), head + 20.0, &short(axis, 46));
    text(&mut marks, "tick", LEFT, head + 38.0, &format!("Line and band: fitted. Circles: seen, the largest of {most}."));
    Drawing::new(title, about, head + 46.0, marks)
}

fn drawn(marks: &mut String, section: &Section, x: Scale, y: Scale, most: u32) {
    let sound = |p: &&CurvePoint| [p.x, p.low, p.rate, p.high].iter().all(|v| v.is_finite());
    let curve: Vec<&CurvePoint> = section.curve.iter().filter(sound).collect();
    let band: Vec<_> = curve.iter().map(|p| Some((x.place(p.x), y.place(p.low), y.place(p.high)))).collect();
    if band.len() > 1 {
        path(marks, "area", &area(&band));
        path(marks, "line", &broken_line(curve.iter().map(|p| Some((x.place(p.x), y.place(p.rate))))));
    }
    for dot in section.dots.iter().filter(|d| d.n > 0 && d.x.is_finite() && d.rate.is_finite()) {
        let share = (f64::from(dot.n) / f64::from(most)).sqrt();
        let (at_x, at_y) = (x.place(dot.x), y.place(dot.rate));
        let mut part = String::new();
        circle(&mut part, "touch", at_x, at_y, 14.0);
        circle(&mut part, "seen", at_x, at_y, (LARGEST * share).max(SMALLEST));
        let words = format!("{}: {}", dot.label, percent(dot.rate));
        marks.push_str(&linked(&dot.to, &words, &format!("<title>{}</title>{part}", escaped(&words))));
    }
}
