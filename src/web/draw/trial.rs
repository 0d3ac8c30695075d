//! A trial pair by pair: how the evidence grew, and what it leaves possible of the difference.

use super::frame::{BESIDE, Drawing, Scale, Written, area, broken_line, circle, levels, number, path, round_within, text};
use super::{LEFT, RIGHT, short};

/// After some completed pairs.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct TrialPoint {
    /// How many pairs.
    pub pairs: u32,
    /// The e-value.
    pub e: f64,
    /// The difference of failure rates seen, A less B; none before the first pair.
    pub seen: Option<f64>,
    /// The least and the most that is possible.
    pub possible: Option<(f64, f64)>,
}

/// What the lines of a trial stand at.
#[derive(Clone, Debug)]
pub struct TrialLines {
    /// The e-value from which the arms are told apart: 20.
    pub told_apart: f64,
    /// The smallest difference worth knowing.
    pub worth_knowing: f64,
    /// What A is called.
    pub a: String,
    /// What B is called.
    pub b: String,
}

/// More points than this are thinned; the first and the last always stay.
const MOST: usize = 240;
/// No axis of e-values is longer than this, in powers of ten.
const DECADES: (f64, f64) = (-4.0, 8.0);

/// The e-value on a scale of powers of ten with a dashed line where the arms are told apart, and
/// below it the difference seen within the area of what is possible, over the same pairs.
#[must_use]
pub fn trial_course(title: &str, about: &str, points: &[TrialPoint], lines: &TrialLines) -> Drawing {
    let points = thinned(points);
    let last = points.iter().map(|p| p.pairs).max().unwrap_or(1).max(1);
    let x = Scale { from: 0.0, to: f64::from(last), at_from: BESIDE + 6.0, at_to: RIGHT - 10.0 };
    let mut marks = String::new();
    evidence(&mut marks, &points, lines, x);
    let foot = difference(&mut marks, &points, lines.worth_knowing, x);
    for tick in round_within(0.0, f64::from(last), 4) {
        text(&mut marks, "tick middle", x.place(tick), foot + 16.0, &number(tick));
    }
    text(&mut marks, "tick middle", f64::midpoint(BESIDE, RIGHT), foot + 32.0, "completed pairs");
    for (line, words) in [
        (54.0, format!("Up: {} fails more often.", short(&lines.a, 30))),
        (71.0, format!("Down: {} fails more often.", short(&lines.b, 30))),
        (88.0, "Dashed: the smallest difference worth knowing.".to_owned()),
    ] {
        text(&mut marks, "tick", LEFT, foot + line, &words);
    }
    Drawing::new(title, about, foot + 96.0, marks)
}

fn evidence(marks: &mut String, points: &[TrialPoint], lines: &TrialLines, x: Scale) {
    let log = |e: f64| if e > 0.0 { e.log10().clamp(DECADES.0, DECADES.1) } else { DECADES.0 };
    let logs = || points.iter().filter(|p| !p.e.is_nan()).map(|p| log(p.e));
    let from = logs().fold(-1.0, f64::min).floor();
    let to = logs().fold(2.0, f64::max).ceil();
    let y = Scale { from, to, at_from: 190.0, at_to: 30.0 };
    text(marks, "name", LEFT, 16.0, "Evidence that A and B differ");
    let every = if to - from > 6.0 { 2.0 } else { 1.0 };
    for tick in round_within(from, to, 12).into_iter().filter(|t| (t / every).fract().abs() < 1e-9 && t.fract().abs() < 1e-9) {
        let at = y.place(tick);
        text(marks, "tick end", BESIDE - 4.0, at + 4.0, &power_of_ten(tick));
        path(marks, "grid", &format!("M{BESIDE:.1} {at:.1}H{RIGHT:.1}"));
    }
    let line = y.place(log(lines.told_apart));
    path(marks, "limit", &format!("M{BESIDE:.1} {line:.1}H{RIGHT:.1}"));
    text(marks, "tick", BESIDE + 6.0, line - 5.0, &format!("{}: told apart", number(lines.told_apart)));
    let places: Vec<_> =
        points.iter().filter(|p| !p.e.is_nan()).map(|p| (x.place(f64::from(p.pairs)), y.place(log(p.e)))).collect();
    path(marks, "line", &broken_line(places.iter().copied().map(Some)));
    if let Some((x, y)) = places.last() {
        circle(marks, "dot", *x, *y, 5.0);
    }
}

/// Answers where it ends.
fn difference(marks: &mut String, points: &[TrialPoint], worth: f64, x: Scale) -> f64 {
    const TOP: f64 = 240.0;
    const FOOT: f64 = 400.0;
    text(marks, "name", LEFT, TOP - 18.0, "Possible difference, in points of 100");
    let worth = if worth.is_finite() { worth.abs() } else { 0.0 };
    // What the first pairs leave possible is nearly everything; the scale is that of the later.
    let later = points.len() / 4;
    let wide = points.iter().skip(later).filter_map(|p| p.possible).flat_map(|(low, high)| [low.abs(), high.abs()]);
    let most = wide.filter(|v| v.is_finite()).fold((1.5 * worth).max(0.05), f64::max).min(1.0);
    let y = Scale { from: -most, to: most, at_from: FOOT, at_to: TOP };
    levels(marks, BESIDE, y, &round_within(-most, most, 5), Written::Points);
    let possible: Vec<_> = points
        .iter()
        .map(|p| {
            let (low, high) = p.possible.filter(|(low, high)| low.is_finite() && high.is_finite())?;
            Some((x.place(f64::from(p.pairs)), y.place(low), y.place(high)))
        })
        .collect();
    path(marks, "area", &area(&possible));
    path(marks, "centre", &format!("M{BESIDE:.1} {0:.1}H{RIGHT:.1}", y.place(0.0)));
    for side in [worth, -worth] {
        path(marks, "limit", &format!("M{BESIDE:.1} {0:.1}H{RIGHT:.1}", y.place(side)));
    }
    let seen = |p: &TrialPoint| p.seen.filter(|s| s.is_finite()).map(|seen| (x.place(f64::from(p.pairs)), y.place(seen)));
    path(marks, "line", &broken_line(points.iter().map(seen)));
    if let Some((x, y)) = points.iter().rev().find_map(seen) {
        circle(marks, "dot", x, y, 5.0);
    }
    FOOT
}

fn power_of_ten(power: f64) -> String {
    if power < 0.0 { format!("1/{:.0}", 10.0_f64.powf(-power)) } else { number_of_ten(power) }
}

fn number_of_ten(power: f64) -> String {
    if power > 5.0 { format!("10^{power:.0}") } else { format!("{:.0}", 10.0_f64.powf(power)) }
}

/// Evenly fewer of many points, the last among them.
fn thinned(points: &[TrialPoint]) -> Vec<TrialPoint> {
    let every = points.len().div_ceil(MOST).max(1);
    let last = points.len().saturating_sub(1);
    points.iter().enumerate().filter(|(n, _)| n.is_multiple_of(every) || *n == last).map(|(_, p)| *p).collect()
}
