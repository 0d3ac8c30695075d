//! Rates by level: what was seen, with its interval, and where it comes to stand when it is drawn
//! towards the others (shrunken), as all few pours must be.

use std::fmt::Write as _;

use super::frame::{Drawing, Scale, Written, circle, diamond, path, sane, text};
use super::{LEFT, RIGHT, WIDTH, escaped, linked, percent, short, ticks};

/// One level of a factor. Rates are from 0 to 1.
#[derive(Clone, Debug, Default)]
pub struct Level {
    /// What it is called.
    pub label: String,
    /// The count in words: `3 of 41`.
    pub count: String,
    /// The rate seen; none where nothing was observed.
    pub rate: Option<f64>,
    /// The lower end of its interval.
    pub low: f64,
    /// The upper end of its interval.
    pub high: f64,
    /// The shrunken rate; none where none was computed.
    pub shrunk: Option<f64>,
    /// Where what is behind it opens.
    pub to: String,
}

/// Levels in their order, one row each, on one scale from 0: an open circle for what was seen
/// with a whisker for its interval, below it a filled square on its corner for the shrunken rate.
/// Each row is a link. A fine line stands at the `overall` rate.
#[must_use]
pub fn rates_by_level(title: &str, about: &str, levels: &[Level], overall: Option<f64>) -> Drawing {
    const ROW: f64 = 58.0;
    const HEAD: f64 = 24.0;
    let finite = |v: &f64| v.is_finite();
    let seen = levels.iter().filter(|l| l.rate.is_some()).flat_map(|l| [Some(l.high), l.rate, l.shrunk]);
    let top = seen.flatten().chain(overall).filter(finite).fold(0.0, f64::max).clamp(0.01, 1.0);
    let at = ticks(top, 4);
    let top = at.last().copied().unwrap_or(1.0).min(1.0);
    let scale = Scale { from: 0.0, to: top, at_from: LEFT + 6.0, at_to: RIGHT - 6.0 };
    let foot = HEAD + ROW * f64::from(u32::try_from(levels.len()).unwrap_or(0)) + 4.0;
    let mut marks = String::new();
    legend(&mut marks);
    for tick in at.iter().filter(|t| **t <= top) {
        let x = scale.place(*tick);
        path(&mut marks, "grid", &format!("M{x:.1} {HEAD:.1}V{foot:.1}"));
        text(
            &mut marks,
            if x < 30.0 {
                "tick"
            } else if x > RIGHT - 30.0 {
                "tick end"
            } else {
                "tick middle"
            },
            x,
            foot + 15.0,
            &percent(*tick),
        );
    }
    if let Some(overall) = overall.filter(finite) {
        let x = scale.place(overall);
        path(&mut marks, "fine", &format!("M{x:.1} {HEAD:.1}V{foot:.1}"));
        text(&mut marks, "tick", LEFT, foot + 32.0, &format!("Finely dotted: all together, {}", percent(overall)));
    }
    for (n, level) in (0_u32..).zip(levels) {
        marks.push_str(&row(level, HEAD + ROW * f64::from(n), ROW, scale));
    }
    Drawing::new(title, about, foot + 40.0, marks)
}

fn legend(marks: &mut String) {
    circle(marks, "seen", LEFT + 6.0, 10.0, 5.0);
    text(marks, "tick", LEFT + 16.0, 14.0, "seen, with its interval");
    diamond(marks, "shrunk", LEFT + 182.0, 10.0, 6.0);
    text(marks, "tick", LEFT + 192.0, 14.0, "drawn towards the others");
}

fn row(level: &Level, y: f64, tall: f64, scale: Scale) -> String {
    let count = short(&level.count, 16);
    let said = match level.rate {
        None => format!("not yet seen, {count}"),
        // None seen is no rate of 0: it still allows some.
        Some(rate) if rate <= 0.0 => format!("{count}, up to {}", Written::Percent.of(level.high)),
        Some(rate) => format!("{}, {count}", Written::Percent.of(rate)),
    };
    let mut part = String::new();
    text(&mut part, "name", LEFT, y + 16.0, &short(&level.label, 22));
    text(&mut part, "value end", RIGHT, y + 16.0, &said);
    let _ = write!(part, "<rect class=\"touch\" x=\"0\" y=\"{y:.1}\" width=\"{WIDTH}\" height=\"{tall}\"/>");
    if let Some(rate) = level.rate {
        let (low, high, line) = (scale.place(sane(level.low)), scale.place(sane(level.high)), y + 29.0);
        path(
            &mut part,
            "whisker",
            &format!("M{low:.1} {line:.1}H{high:.1}M{low:.1} {:.1}v10M{high:.1} {:.1}v10", line - 5.0, line - 5.0),
        );
        circle(&mut part, "seen", scale.place(rate), line, 5.0);
    }
    let mut words = format!("{}: {said}", level.label);
    if let Some(shrunk) = level.shrunk.filter(|s| s.is_finite()) {
        diamond(&mut part, "shrunk", scale.place(shrunk), y + 44.0, 6.0);
        let _ = write!(words, ", drawn towards the others {}", percent(shrunk));
    }
    linked(&level.to, &words, &format!("<title>{}</title>{part}", escaped(&words)))
}
