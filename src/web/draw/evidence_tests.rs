//! The drawings of evidence: places worked by hand, and nothing that is no drawing, whatever
//! comes in.

use super::control::{ControlPoint, Signalled, control_chart};
use super::curve::{CurvePoint, Dot, Section, fitted_curve};
use super::frame::{Drawing, Written};
use super::levels::{Level, rates_by_level};
use super::trial::{TrialLines, TrialPoint, trial_course};

const BAD: &str = "<script>alert(1)</script>\" onload='x' class=\"touch\" & ]]>";

/// A small reader of XML: the names of all elements, once the text is found well-formed.
fn elements(xml: &str) -> Vec<String> {
    let mut open: Vec<String> = Vec::new();
    let mut all = Vec::new();
    let mut rest = xml;
    while let Some(at) = rest.find('<') {
        sound_text(&rest[..at]);
        let end = rest.find('>').unwrap_or_else(|| panic!("an open tag: {rest}"));
        let tag = &rest[at + 1..end];
        rest = &rest[end + 1..];
        if let Some(name) = tag.strip_prefix('/') {
            assert_eq!(open.pop().as_deref(), Some(name), "{xml}");
            continue;
        }
        let (tag, closed) = tag.strip_suffix('/').map_or((tag, false), |tag| (tag, true));
        let (name, attributes) = tag.split_once(' ').unwrap_or((tag, ""));
        sound_attributes(attributes);
        all.push(name.to_owned());
        if !closed {
            open.push(name.to_owned());
        }
    }
    assert!(open.is_empty() && rest.is_empty(), "{open:?} {rest}");
    all
}

fn sound_text(text: &str) {
    for entity in text.split('&').skip(1) {
        assert!(["amp;", "lt;", "gt;", "quot;", "#39;"].iter().any(|e| entity.starts_with(e)), "{text}");
    }
    assert!(!text.contains(['<', '>']), "{text}");
}

fn sound_attributes(attributes: &str) {
    let mut rest = attributes.trim();
    let mut names = Vec::new();
    while !rest.is_empty() {
        let (name, more) = rest.split_once("=\"").unwrap_or_else(|| panic!("no value: {attributes}"));
        assert!(name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-'), "{attributes}");
        assert!(!names.contains(&name), "{name} twice: {attributes}");
        names.push(name);
        let (value, after) = more.split_once('"').unwrap_or_else(|| panic!("no end: {attributes}"));
        sound_text(value);
        if ["x", "y", "cx", "cy", "r", "width", "height"].contains(&name) {
            assert!(value.parse::<f64>().is_ok_and(f64::is_finite), "{name} {value}");
        }
        if name == "d" {
            let numbers = value.split(|c: char| c.is_ascii_alphabetic() || c == ' ').filter(|n| !n.is_empty());
            assert!(value.starts_with('M') && numbers.clone().count() > 0, "{value}");
            numbers.for_each(|n| assert!(n.parse::<f64>().is_ok_and(|n| n.abs() < 1e5), "{n} in {value}"));
        }
        rest = after.trim();
    }
}

/// Both forms of a drawing, found sound.
fn sound(drawing: &Drawing) -> String {
    let (inline, alone) = (drawing.inline(), drawing.alone());
    for svg in [&inline, &alone] {
        let found = elements(svg);
        assert_eq!(found[..3], ["svg", "title", "desc"]);
        assert!(!["NaN", "inf", "script>"].iter().any(|bad| svg.contains(bad)), "{svg}");
        assert!(svg.contains(" role=\"group\" aria-label=\"") && svg.contains("viewBox=\"0 0 360 "));
    }
    assert!(alone.contains("xmlns=\"http://www.w3.org/2000/svg\"") && !inline.contains("xmlns"));
    // Standing alone it needs no stylesheet: only the frame has a class.
    assert_eq!(alone.matches(" class=\"").count(), 1, "{alone}");
    inline
}

fn all(of: &str, name: &str) -> Vec<f64> {
    of.split(&format!(" {name}=\"")).skip(1).map(|r| r.split('"').next().unwrap().parse().unwrap()).collect()
}

fn level(rate: Option<f64>, shrunk: Option<f64>) -> Level {
    Level { label: BAD.into(), count: "3 of 41".into(), rate, low: 0.02, high: 0.37, shrunk, to: format!("/x?{BAD}") }
}

fn point(value: Option<f64>, upper: Option<f64>) -> ControlPoint {
    ControlPoint { label: BAD.into(), value, centre: upper, lower: upper.map(|u| u / 4.0), upper, signal: None, to: BAD.into() }
}

const ODD: [f64; 6] = [0.0, 1.0, -3.0, f64::NAN, f64::INFINITY, f64::NEG_INFINITY];

#[test]
fn a_level_stands_where_its_rates_are() {
    // The scale goes to 0.4 between 14 and 346: 0.1 is at 97, 0.2 at 180, 0.02 at 30.6 and 0.37
    // at 321.1; the first circle is the legend's.
    let svg = sound(&rates_by_level("t", "d", &[level(Some(0.1), Some(0.2)), level(None, Some(0.2))], Some(0.15)));
    assert_eq!(all(&svg, "cx"), [14.0, 97.0]);
    assert!(svg.contains("M30.6 53.0H321.1") && svg.contains("M174.0 68.0L180.0 62.0L186.0 68.0L180.0 74.0Z"), "{svg}");
    assert!(svg.contains("M138.5 24.0V144.0") && svg.contains("all together, 15 %"), "{svg}");
    assert!(svg.contains("not yet seen") && svg.matches("<a href=").count() == 2, "{svg}");
    assert!(svg.contains("10 %, 3 of 41, drawn towards the others 20 %"), "{svg}");
    // No rate is 0: none in so many still allows some.
    let none = Level { count: "0 of 20".into(), low: 0.0, high: 0.161, ..level(Some(0.0), None) };
    let svg = sound(&rates_by_level("t", "d", &[none], None));
    assert!(svg.contains(">0 of 20, up to 16.1 %</text>") && !svg.contains("0 %, 0"), "{svg}");
    for odd in ODD {
        let rows = [level(Some(odd), Some(odd)), Level { low: odd, high: odd, ..level(Some(0.5), None) }];
        sound(&rates_by_level(BAD, BAD, &rows, Some(odd)));
        sound(&rates_by_level(BAD, BAD, &rows[..1], None));
    }
    sound(&rates_by_level("", "", &[], None));
}

#[test]
fn a_signal_is_seen_by_its_shape_and_words() {
    let mut points: Vec<ControlPoint> = [0.1, 0.2, 0.4].map(|v| point(Some(v), Some(0.3))).to_vec();
    for (point, label) in points.iter_mut().zip(["Jan 26", "Feb 26", "Mar 26"]) {
        point.label = label.into();
    }
    points[2].signal = Some(Signalled { words: "above its limit".into(), more: true });
    points.insert(2, point(None, None));
    let svg = sound(&control_chart("t", "d", &points, Written::Percent));
    // From 56 to 340 in three steps; 180 units for 0.4: 0.1 at 157, 0.2 at 112.
    assert!(svg.contains("<path class=\"line\" d=\"M56.0 157.0L150.7 112.0M340.0 22.0\"/>"), "{svg}");
    assert!(svg.contains("M340.0 14.0L348.0 28.0H332.0Z") && svg.contains("1 ▲ Mar 26: above its limit"), "{svg}");
    assert!(svg.contains("Mar 26: 40 %, above its limit</title>"), "{svg}");
    assert_eq!(svg.matches("class=\"dot\"").count(), 2);
    // The limit is stepped, and broken where nothing was observed.
    assert!(
        svg.contains("<path class=\"limit\" d=\"M44.0 67.0L103.3 67.0L103.3 67.0L198.0 67.0M292.7 67.0L352.0 67.0\"/>"),
        "{svg}"
    );
    // One that falls points down; more than are named are counted.
    let fewer = Signalled { words: BAD.into(), more: false };
    let many = vec![ControlPoint { signal: Some(fewer), ..point(Some(3.0), Some(90.0)) }; 11];
    let svg = sound(&control_chart(BAD, BAD, &many, Written::Number));
    assert!(svg.contains("and 3 more") && svg.contains("8 ▼") && !svg.contains("9 ▼"), "{svg}");
    for odd in ODD {
        let points = [point(Some(odd), Some(odd)), point(Some(0.5), None), point(None, Some(odd))];
        for written in [Written::Percent, Written::Number] {
            sound(&control_chart(BAD, BAD, &points, written));
            sound(&control_chart(BAD, BAD, &points[..1], written));
        }
    }
    sound(&control_chart("", "", &[], Written::Percent));
    sound(&control_chart("", "", &vec![point(Some(0.0), Some(0.0)); 400], Written::Percent));
}

#[test]
fn a_dot_is_as_large_as_its_count() {
    let curve: Vec<CurvePoint> = [(700.0, 0.3), (750.0, 0.1), (800.0, 0.2)]
        .map(|(x, rate)| CurvePoint { x, low: rate - 0.1, rate, high: rate + 0.1 })
        .to_vec();
    let dot = |x, rate, n| Dot { x, rate, n, label: BAD.into(), to: BAD.into() };
    let dots = vec![dot(750.0, 0.2, 40), dot(800.0, 0.0, 10), dot(700.0, 0.5, 0)];
    let section = Section { name: BAD.into(), curve, dots };
    let svg = sound(&fitted_curve("t", "d", "°C", &[section.clone(), Section::default()]));
    // From 56 to 340: 750 at 198. To 0.4, the band's highest, from 176 up to 26: 0.2 at 101. A
    // quarter of the pours is half as wide; a dot of none is none.
    assert_eq!(all(&svg, "cx"), [198.0, 198.0, 340.0, 340.0]);
    assert_eq!(all(&svg, "r"), [14.0, 11.0, 14.0, 5.5]);
    assert_eq!(all(&svg, "cy"), [101.0, 101.0, 176.0, 176.0]);
    assert!(svg.contains("<path class=\"line\" d=\"M56.0 63.5L198.0 138.5L340.0 101.0\"/>"), "{svg}");
    assert!(svg.contains("class=\"area\"") && svg.matches("<a href=").count() == 2, "{svg}");
    for odd in ODD {
        let curve = vec![CurvePoint { x: odd, low: odd, rate: odd, high: odd }; 3];
        let dots = vec![dot(odd, odd, 0), dot(odd, 0.1, 5), dot(1.0, odd, u32::MAX)];
        sound(&fitted_curve(BAD, BAD, BAD, &[Section { name: BAD.into(), curve: curve.clone(), dots }]));
        sound(&fitted_curve(BAD, BAD, BAD, &[Section { curve, ..section.clone() }]));
    }
    sound(&fitted_curve("", "", "", &[]));
    sound(&fitted_curve("", "", "", &[Section { dots: vec![dot(5.0, 0.1, 3)], ..Section::default() }]));
}

fn lines(worth_knowing: f64) -> TrialLines {
    TrialLines { told_apart: 20.0, worth_knowing, a: BAD.into(), b: BAD.into() }
}

#[test]
fn evidence_stands_on_powers_of_ten() {
    let at = |pairs, e| TrialPoint { pairs, e, seen: Some(0.1), possible: Some((-0.2, 0.3)) };
    let svg = sound(&trial_course("t", "d", &[at(0, 1.0), at(50, 10.0), at(100, 100.0)], &lines(0.1)));
    // Powers from −1 to 2 between 190 and 30; 20 is at 190 − 160 × 2.301 ∕ 3 = 67.3.
    assert!(svg.contains("<path class=\"line\" d=\"M50.0 136.7L196.0 83.3L342.0 30.0\"/>"), "{svg}");
    assert!(svg.contains("<path class=\"limit\" d=\"M44.0 67.3H352.0\"/>") && svg.contains("20: told apart"), "{svg}");
    // The differences run from −0.3 to 0.3: 0.1 at 320 − 80 ∕ 3, −0.2 at 373.3, 0.3 at 240.
    assert!(svg.contains("M50.0 293.3L196.0 293.3L342.0 293.3"), "{svg}");
    assert!(
        svg.contains("<path class=\"area\" d=\"M50.0 373.3L196.0 373.3L342.0 373.3L342.0 240.0L196.0 240.0L50.0 240.0Z\"/>"),
        "{svg}"
    );
    assert!(svg.contains(">−20</text>") && svg.contains(">1/10</text>") && svg.contains(">100</text>"), "{svg}");
    for odd in ODD {
        let points = [TrialPoint { pairs: 3, e: odd, seen: Some(odd), possible: Some((odd, odd)) }, TrialPoint::default()];
        sound(&trial_course(BAD, BAD, &points, &lines(odd)));
        sound(&trial_course(BAD, BAD, &points[..1], &TrialLines { told_apart: odd, ..lines(0.1) }));
    }
    sound(&trial_course("", "", &[], &lines(0.1)));
    let long: Vec<TrialPoint> = (0..5_000).map(|pairs| at(pairs, f64::from(pairs) * 1e300)).collect();
    assert!(sound(&trial_course("", "", &long, &lines(0.1))).len() < 30_000);
}

#[test]
fn what_the_page_draws_with_is_in_its_stylesheet() {
    let css = include_str!("../../../assets/pourbook.css");
    let dots = vec![Dot { x: 1.0, rate: 0.1, n: 3, ..Dot::default() }];
    let curve = vec![CurvePoint::default(), CurvePoint { x: 1.0, ..CurvePoint::default() }];
    let drawings = [
        fitted_curve("t", "d", "x", &[Section { name: "s".into(), curve, dots }]),
        rates_by_level("t", "d", &[level(Some(0.1), Some(0.2)), level(None, None)], Some(0.1)),
        control_chart(
            "t",
            "d",
            &[point(Some(0.1), Some(0.2)), ControlPoint { signal: Some(Signalled::default()), ..point(Some(0.5), None) }],
            Written::Percent,
        ),
        trial_course("t", "d", &[TrialPoint { pairs: 1, e: 1.0, seen: Some(0.0), possible: Some((-1.0, 1.0)) }; 2], &lines(0.1)),
    ];
    for drawing in drawings {
        let svg = drawing.inline();
        for class in svg.split(" class=\"").skip(2).flat_map(|part| part.split('"').next().unwrap().split(' ')) {
            assert!(class == "value" || css.contains(&format!(".plot .{class}")), "{class}");
        }
    }
}
