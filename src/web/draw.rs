//! Drawings of a page: dots with whiskers, bars, a line over time, and metal as a flow. Pure:
//! figures in, SVG out, its text escaped, its looks left to the stylesheet. Every mark that
//! leads somewhere is a link; the number stands beside it.
//!
//! All are laid out 360 units wide, so that on a phone a unit is about a pixel; labels stand
//! above what they name, not beside it.

use std::fmt::Write as _;

pub mod control;
pub mod curve;
pub mod frame;
pub mod levels;
pub mod quote;
pub mod trial;

#[cfg(test)]
mod evidence_tests;

/// The width of a drawing, in its own units.
pub const WIDTH: f64 = 360.0;
const LEFT: f64 = 8.0;
const RIGHT: f64 = 352.0;

/// Text as it may stand in SVG.
#[must_use]
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// A drawing: what it is called, what it shows in a sentence, its height and its marks.
fn svg(title: &str, about: &str, height: f64, marks: &str) -> String {
    let (title, about) = (escaped(title), escaped(about));
    format!(
        "<svg class=\"plot\" viewBox=\"0 0 {WIDTH} {height:.0}\" role=\"group\" aria-label=\"{title}. {about}\"><desc>{about}</desc>{marks}</svg>"
    )
}

/// A mark that leads somewhere, or only stands there. Its own text names it; one without any
/// is given a label.
fn linked(to: &str, label: &str, marks: &str) -> String {
    match (to, label) {
        ("", _) => format!("<g>{marks}</g>"),
        (to, "") => format!("<a href=\"{}\">{marks}</a>", escaped(to)),
        (to, label) => format!("<a href=\"{}\" aria-label=\"{}\">{marks}</a>", escaped(to), escaped(label)),
    }
}

/// Steps of 1, 2 or 5 times a power of ten, at most `most` of them from 0 to `top`; and where
/// the last of them is.
#[must_use]
pub fn ticks(top: f64, most: u32) -> Vec<f64> {
    if !(top.is_finite() && top > 0.0) || most == 0 {
        return vec![0.0];
    }
    let rough = top / f64::from(most);
    let ten = 10_f64.powf(rough.log10().floor());
    let step =
        [1.0, 2.0, 5.0, 10.0].into_iter().map(|n| n * ten).find(|step| *step >= rough * (1.0 - 1e-9)).unwrap_or(ten * 10.0);
    let mut out = vec![0.0];
    let mut n = 1.0;
    while out.len() <= most as usize + 1 && step * (n - 1.0) < top * (1.0 - 1e-9) {
        out.push(step * n);
        n += 1.0;
    }
    out
}

/// A rate with its interval, all from 0 to 1.
#[derive(Clone, Debug, Default)]
pub struct Interval {
    /// What it is of.
    pub label: String,
    /// The count in words: `3 of 41`.
    pub count: String,
    /// The rate; none where nothing was observed.
    pub rate: Option<f64>,
    /// The interval's lower end.
    pub low: f64,
    /// The interval's upper end.
    pub high: f64,
    /// Where it leads.
    pub to: String,
}

fn percent(rate: f64) -> String {
    let percent = rate * 100.0;
    if (percent - percent.round()).abs() < 0.05 { format!("{percent:.0} %") } else { format!("{percent:.1} %") }
}

/// Rates as dots with whiskers, one row each, on one scale from 0.
#[must_use]
pub fn intervals(title: &str, about: &str, rows: &[Interval]) -> String {
    const ROW: f64 = 48.0;
    let top = rows.iter().filter(|r| r.rate.is_some()).map(|r| r.high).fold(0.0, f64::max).clamp(0.01, 1.0);
    let marks_at = ticks(top, 4);
    let top = marks_at.last().copied().unwrap_or(1.0).min(1.0);
    let x = |rate: f64| LEFT + (RIGHT - LEFT) * (rate / top).clamp(0.0, 1.0);
    let count = u32::try_from(rows.len()).map_or(0.0, f64::from);
    let foot = ROW * count + 8.0;
    let mut marks = String::new();
    for tick in marks_at.iter().filter(|t| **t <= top) {
        let at = x(*tick);
        let anchor = if *tick <= 0.0 {
            "start"
        } else if at > RIGHT - 20.0 {
            "end"
        } else {
            "middle"
        };
        // Writing to a string does not fail.
        let _ = write!(
            marks,
            "<path class=\"grid\" d=\"M{at:.1} 0V{foot:.1}\"/><text class=\"tick {anchor}\" x=\"{at:.1}\" y=\"{:.1}\">{}</text>",
            foot + 15.0,
            percent(*tick)
        );
    }
    for (n, row) in (0_u32..).zip(rows) {
        let y = ROW * f64::from(n);
        let said = row.rate.map_or_else(|| "not yet seen".to_owned(), percent);
        let mut part = format!(
            "<text class=\"name\" x=\"{LEFT}\" y=\"{:.1}\">{}</text><text class=\"value end\" x=\"{RIGHT}\" y=\"{:.1}\">{said}, {}</text>\
             <rect class=\"touch\" x=\"0\" y=\"{y:.1}\" width=\"{WIDTH}\" height=\"{ROW}\"/>",
            y + 18.0,
            escaped(&short(&row.label, 24)),
            y + 18.0,
            escaped(&row.count)
        );
        if let Some(rate) = row.rate {
            let (low, high, line) = (x(row.low), x(row.high), y + 33.0);
            let _ = write!(
                part,
                "<path class=\"whisker\" d=\"M{low:.1} {line:.1}H{high:.1}M{low:.1} {:.1}v10M{high:.1} {:.1}v10\"/>\
                 <circle class=\"dot\" cx=\"{:.1}\" cy=\"{line:.1}\" r=\"5\"/>",
                line - 5.0,
                line - 5.0,
                x(rate)
            );
        }
        marks.push_str(&linked(&row.to, "", &part));
    }
    svg(title, about, foot + 22.0, &marks)
}

fn short(text: &str, most: usize) -> String {
    if text.chars().count() <= most { text.to_owned() } else { text.chars().take(most - 1).chain(['…']).collect() }
}

/// A bar.
#[derive(Clone, Debug, Default)]
pub struct Bar {
    /// What it is of.
    pub label: String,
    /// How long, of whatever the others are.
    pub value: f64,
    /// The value in words.
    pub said: String,
    /// Where it leads.
    pub to: String,
}

/// Bars, one row each, on one scale from 0.
#[must_use]
pub fn bars(title: &str, about: &str, rows: &[Bar]) -> String {
    const ROW: f64 = 48.0;
    let top = rows.iter().map(|r| r.value).filter(|v| v.is_finite()).fold(0.0, f64::max);
    let mut marks = String::new();
    for (n, row) in (0_u32..).zip(rows) {
        let y = ROW * f64::from(n);
        let wide = if top > 0.0 { (RIGHT - LEFT) * (row.value / top).clamp(0.0, 1.0) } else { 0.0 };
        let part = format!(
            "<text class=\"name\" x=\"{LEFT}\" y=\"{:.1}\">{}</text><text class=\"value end\" x=\"{RIGHT}\" y=\"{:.1}\">{}</text>\
             <rect class=\"touch\" x=\"0\" y=\"{y:.1}\" width=\"{WIDTH}\" height=\"{ROW}\"/>\
             <rect class=\"bar\" x=\"{LEFT}\" y=\"{:.1}\" width=\"{wide:.1}\" height=\"14\"/>",
            y + 18.0,
            escaped(&short(&row.label, 26)),
            y + 18.0,
            escaped(&row.said),
            y + 26.0
        );
        marks.push_str(&linked(&row.to, "", &part));
    }
    let count = u32::try_from(rows.len()).map_or(0.0, f64::from);
    svg(title, about, (ROW * count).max(1.0) + 4.0, &marks)
}

/// A point over time.
#[derive(Clone, Debug, Default)]
pub struct Point {
    /// When.
    pub label: String,
    /// How much, from 0 to 1; none where nothing was observed.
    pub value: Option<f64>,
    /// Where it leads.
    pub to: String,
}

/// One line over time, from 0 to all: yields by month. What was not observed leaves a gap.
#[must_use]
pub fn over_time(title: &str, about: &str, points: &[Point]) -> String {
    const TOP: f64 = 10.0;
    const FOOT: f64 = 170.0;
    let left = 44.0;
    let top = points.iter().filter_map(|p| p.value).fold(1.0, f64::max);
    let steps = f64::from(u32::try_from(points.len().saturating_sub(1)).unwrap_or(0));
    let x = |n: u32| {
        if steps > 0.0 { left + 10.0 + (RIGHT - left - 20.0) * f64::from(n) / steps } else { f64::midpoint(left, RIGHT) }
    };
    let y = |value: f64| FOOT - (FOOT - TOP) * (value / top).clamp(0.0, 1.0);
    let mut marks = String::new();
    for tick in ticks(top, 4).into_iter().filter(|t| *t <= top + 1e-9) {
        let at = y(tick);
        let _ = write!(
            marks,
            "<path class=\"grid\" d=\"M{left} {at:.1}H{RIGHT}\"/><text class=\"tick end\" x=\"{:.1}\" y=\"{:.1}\">{}</text>",
            left - 4.0,
            at + 4.0,
            percent(tick)
        );
    }
    let mut line = String::new();
    let mut down = false;
    for (n, point) in (0_u32..).zip(points) {
        match point.value {
            Some(value) => {
                let _ = write!(line, "{}{:.1} {:.1}", if down { 'L' } else { 'M' }, x(n), y(value));
                down = true;
            }
            None => down = false,
        }
    }
    let _ = write!(marks, "<path class=\"line\" d=\"{line}\"/>");
    let every = points.len().div_ceil(4).max(1);
    for (n, point) in (0_u32..).zip(points) {
        if (n as usize).is_multiple_of(every) {
            let _ = write!(
                marks,
                "<text class=\"tick middle\" x=\"{:.1}\" y=\"{:.1}\">{}</text>",
                x(n),
                FOOT + 18.0,
                escaped(&point.label)
            );
        }
        if let Some(value) = point.value {
            let part = format!(
                "<circle class=\"touch\" cx=\"{:.1}\" cy=\"{:.1}\" r=\"14\"/><circle class=\"dot\" cx=\"{:.1}\" cy=\"{:.1}\" r=\"5\"/>",
                x(n),
                y(value),
                x(n),
                y(value)
            );
            marks.push_str(&linked(&point.to, &format!("{}: {}", point.label, percent(value)), &part));
        }
    }
    svg(title, about, FOOT + 26.0, &marks)
}

/// One stream of metal: what it is called, how much (in mg), the mass in words.
#[derive(Clone, Debug, Default)]
pub struct Stream {
    /// What it is.
    pub label: String,
    /// How much, in mg; nothing is drawn of what is not above 0.
    pub mg: i64,
    /// The mass in words.
    pub said: String,
    /// Whether it is a loss: drawn hatched.
    pub lost: bool,
    /// Where it leads.
    pub to: String,
}

/// Metal as a flow: what came in on the left, where it is now on the right, each band as thick
/// as its mass, and as thick at both ends. What would be too thin to see is a hairline.
#[must_use]
#[expect(clippy::cast_precision_loss, reason = "masses lie within 2^53 mg")]
pub fn flow(title: &str, about: &str, whole: &str, parts: &[Stream]) -> String {
    const TOP: f64 = 30.0;
    const TALL: f64 = 240.0;
    const ROW: f64 = 42.0;
    const HAIR: f64 = 1.5;
    const X: [f64; 4] = [LEFT, 20.0, 150.0, 200.0];
    let parts: Vec<&Stream> = parts.iter().filter(|p| p.mg > 0).collect();
    let all: i64 = parts.iter().map(|p| p.mg).sum();
    if all <= 0 {
        return String::new();
    }
    let thick = |part: &Stream| TALL * (part.mg as f64) / (all as f64);
    let rows: f64 = parts.iter().map(|p| thick(p).max(ROW)).sum();
    let mut left = TOP + (rows - TALL) / 2.0;
    let mut right = TOP;
    let mut marks = format!(
        "<text class=\"name\" x=\"{LEFT}\" y=\"18\">{}</text><rect class=\"whole\" x=\"{LEFT}\" y=\"{left:.1}\" width=\"12\" height=\"{TALL}\"/>",
        escaped(whole)
    );
    for part in parts {
        let (own, row) = (thick(part), thick(part).max(ROW));
        let seen = own.max(HAIR);
        let to = right + (row - seen) / 2.0;
        let half = f64::midpoint(X[1], X[2]);
        let class = if part.lost { "band lost" } else { "band" };
        let share = 100.0 * (part.mg as f64) / (all as f64);
        let shape = format!(
            "<path class=\"{class}\" d=\"M{} {left:.1}C{half} {left:.1} {half} {to:.1} {} {to:.1}H{}V{:.1}H{}C{half} {:.1} {half} {:.1} {} {:.1}Z\"/>\
             <text class=\"name\" x=\"{}\" y=\"{:.1}\">{}</text><text class=\"tick\" x=\"{}\" y=\"{:.1}\">{}, {share:.1} %</text>\
             <rect class=\"touch\" x=\"{}\" y=\"{right:.1}\" width=\"{}\" height=\"{row:.1}\"/>",
            X[1],
            X[2],
            X[3],
            to + seen,
            X[2],
            to + seen,
            left + seen,
            X[1],
            left + seen,
            X[3] + 8.0,
            right + row / 2.0 - 3.0,
            escaped(&short(&part.label, 20)),
            X[3] + 8.0,
            right + row / 2.0 + 13.0,
            escaped(&part.said),
            X[3],
            WIDTH - X[3]
        );
        marks.push_str(&linked(&part.to, "", &shape));
        left += own;
        right += row;
    }
    svg(title, about, TOP + rows + 4.0, &marks)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all(of: &str, name: &str) -> Vec<f64> {
        of.split(&format!(" {name}=\"")).skip(1).map(|r| r.split('"').next().unwrap().parse().unwrap()).collect()
    }

    #[test]
    fn steps_are_round_and_reach_the_top() {
        // Worked by hand: 0.37 in at most 4 steps is by 0.1 (rough 0.0925), up to 0.4.
        let near = |a: &[f64], b: &[f64]| a.len() == b.len() && a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-12);
        assert!(near(&ticks(0.37, 4), &[0.0, 0.1, 0.2, 0.3, 0.4]), "{:?}", ticks(0.37, 4));
        assert!(near(&ticks(1.0, 4), &[0.0, 0.5, 1.0]), "{:?}", ticks(1.0, 4));
        assert!(near(&ticks(0.02, 4), &[0.0, 0.005, 0.01, 0.015, 0.02]), "{:?}", ticks(0.02, 4));
        for nothing in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(ticks(nothing, 4), [0.0]);
        }
    }

    #[test]
    fn a_dot_stands_where_its_rate_is() {
        // The scale goes to 0.4; 0.1 of it is a quarter of the way from 8 to 352: 94.
        let row = |rate, low, high| Interval { label: "a".into(), count: "1 of 10".into(), rate, low, high, to: "/x".into() };
        let svg = intervals("t", "d", &[row(Some(0.1), 0.02, 0.37), row(None, 0.0, 1.0)]);
        assert_eq!(all(&svg, "cx"), [94.0]);
        assert!(svg.contains("M25.2 33.0H326.2"), "0.02 and 0.37 of 0.4: {svg}");
        assert!(svg.contains("not yet seen"), "{svg}");
    }

    #[test]
    fn bands_are_as_wide_as_their_mass_and_add_up() {
        let stream = |label: &str, mg| Stream { label: label.into(), mg, said: format!("{mg} mg"), ..Stream::default() };
        let svg = flow("t", "d", "all", &[stream("a", 3), stream("b", 1), stream("none", 0), stream("below", -4)]);
        // 240 units for 4 mg: a is 180 tall, b 60; both rows are as tall as their bands, so a
        // runs level from 30 to 210 and b from 210 to 270.
        assert!(svg.contains("M20 30.0C85 30.0 85 30.0 150 30.0H200V210.0H150"), "{svg}");
        assert!(svg.contains("M20 210.0C85 210.0 85 210.0 150 210.0H200V270.0H150"), "{svg}");
        assert!(svg.contains("75.0 %") && svg.contains("25.0 %") && !svg.contains("none") && !svg.contains("below"), "{svg}");
        assert_eq!(flow("t", "d", "all", &[]), "");
    }

    #[test]
    fn what_was_not_observed_leaves_a_gap() {
        let point = |value| Point { label: "m".into(), value, to: String::new() };
        let svg = over_time("t", "d", &[point(Some(0.5)), point(None), point(Some(1.0))]);
        // From 54 to 342 in two steps; half of 160 down from 170 is 90.
        assert!(svg.contains("d=\"M54.0 90.0M342.0 10.0\""), "{svg}");
    }

    #[test]
    fn nobodys_words_break_out() {
        let bad = "<script>alert(1)</script>\"'&";
        let bar = Bar { label: bad.into(), value: f64::NAN, said: bad.into(), to: bad.into() };
        let svg = bars(bad, bad, &[bar]);
        assert!(!svg.contains("<script") && !svg.contains("NaN") && svg.contains("&lt;script&gt;"), "{svg}");
    }
}
