//! A control chart: points in their order, the centre, the limits, and what is a signal.

use super::frame::{BESIDE, Drawing, Scale, Written, broken_line, circle, levels, path, steps, text, triangle};
use super::{LEFT, RIGHT, escaped, linked, short, ticks};

/// One point, its values in the unit of the chart.
#[derive(Clone, Debug, Default)]
pub struct ControlPoint {
    /// When: `Mar 26`.
    pub label: String,
    /// What was seen; none where nothing was observed.
    pub value: Option<f64>,
    /// The centre.
    pub centre: Option<f64>,
    /// The lower limit.
    pub lower: Option<f64>,
    /// The upper limit.
    pub upper: Option<f64>,
    /// What it signals, if anything.
    pub signal: Option<Signalled>,
    /// Where what is behind it opens.
    pub to: String,
}

/// What a point signals.
#[derive(Clone, Debug, Default)]
pub struct Signalled {
    /// In few words: `above its limit`.
    pub words: String,
    /// Whether it says that the value has risen: drawn as a triangle that points up.
    pub more: bool,
}

/// So many signals are named below the chart; the rest are counted.
const NAMED: usize = 8;

/// The chart, from 0 up: the centre a line, the limits dashed steps. A signal is a triangle that
/// points where the value went, numbered, and named below by its number. What was not observed
/// leaves a gap.
#[must_use]
pub fn control_chart(title: &str, about: &str, points: &[ControlPoint], written: Written) -> Drawing {
    const TOP: f64 = 22.0;
    const FOOT: f64 = 202.0;
    let all = points.iter().flat_map(|p| [p.value, p.centre, p.upper]).flatten().filter(|v| v.is_finite());
    let highest = all.fold(0.0, f64::max);
    let least = if written == Written::Percent { 0.01 } else { 1.0 };
    let at = ticks(highest.max(least), 4);
    let top = at.last().copied().unwrap_or(1.0);
    let y = Scale { from: 0.0, to: top, at_from: FOOT, at_to: TOP };
    let x = steps(points.len(), BESIDE);
    let mut marks = String::new();
    levels(&mut marks, BESIDE, y, &at, written);
    for line in [|p: &ControlPoint| p.lower, |p: &ControlPoint| p.upper] {
        path(&mut marks, "limit", &stepped(points, &x, y, line));
    }
    path(&mut marks, "centre", &stepped(points, &x, y, |p| p.centre));
    let seen = |(n, p): (usize, &ControlPoint)| p.value.filter(|v| v.is_finite()).map(|v| (x(n), y.place(v)));
    path(&mut marks, "line", &broken_line(points.iter().enumerate().map(seen)));
    let every = points.len().div_ceil(4).max(1);
    let mut number = 0;
    let mut foot = FOOT + 40.0;
    for (n, point) in points.iter().enumerate() {
        if n.is_multiple_of(every) {
            let class = if n == 0 && points.len() > 1 { "tick" } else { "tick middle" };
            text(
                &mut marks,
                class,
                if n == 0 && points.len() > 1 { BESIDE } else { x(n) },
                FOOT + 18.0,
                &short(&point.label, 11),
            );
        }
        if point.signal.is_some() {
            number += 1;
        }
        marks.push_str(&mark(point, seen((n, point)), number, written));
        if let Some(signal) = point.signal.as_ref().filter(|_| number <= NAMED) {
            let arrow = if signal.more { '▲' } else { '▼' };
            text(
                &mut marks,
                "",
                LEFT,
                foot,
                &format!("{number} {arrow} {}: {}", short(&point.label, 11), short(&signal.words, 34)),
            );
            foot += 18.0;
        }
    }
    if number > NAMED {
        text(&mut marks, "", LEFT, foot, &format!("and {} more", number - NAMED));
        foot += 18.0;
    }
    text(&mut marks, "tick", LEFT, foot, "Level line: the centre. Dashed: the limits.");
    Drawing::new(title, about, foot + 8.0, marks)
}

fn mark(point: &ControlPoint, place: Option<(f64, f64)>, number: usize, written: Written) -> String {
    let Some(((x, y), value)) = place.zip(point.value) else { return String::new() };
    let mut part = String::new();
    circle(&mut part, "touch", x, y, 14.0);
    let mut words = format!("{}: {}", point.label, written.of(value));
    match &point.signal {
        Some(signal) => {
            triangle(&mut part, "signal", x, y, signal.more);
            text(&mut part, if x > RIGHT - 24.0 { "name end" } else { "name middle" }, x, y - 12.0, &number.to_string());
            words = format!("{words}, {}", signal.words);
        }
        None => circle(&mut part, "dot", x, y, 4.0),
    }
    linked(&point.to, &words, &format!("<title>{}</title>{part}", escaped(&words)))
}

/// A line of steps, each as wide as its point, broken where there is no value.
fn stepped(points: &[ControlPoint], x: &impl Fn(usize) -> f64, y: Scale, of: impl Fn(&ControlPoint) -> Option<f64>) -> String {
    let half = if points.len() > 1 { (x(1) - x(0)) / 2.0 } else { 24.0 };
    let ends = points.iter().enumerate().flat_map(|(n, point)| {
        let level = of(point).filter(|v| v.is_finite()).map(|v| y.place(v));
        let (from, to) = ((x(n) - half).max(BESIDE), (x(n) + half).min(RIGHT));
        [level.map(|level| (from, level)), level.map(|level| (to, level))]
    });
    broken_line(ends)
}
