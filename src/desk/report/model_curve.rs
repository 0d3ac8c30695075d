//! The curve of an outcome against the shell's temperature at the pour, by section, and its
//! drawing: fitted line and band from the lowest temperature seen in a section to the highest,
//! and what was seen as dots, one to a band of temperature.

use super::ask::Ask;
use super::factor::{Factor, MIXED, Shown};
use super::model::behind;
use super::model_words as words;
use super::outcome::{Outcome, many};
use super::rates::put_rate;
use super::store::model::{self as sql, Column};
use crate::db::ReadTx;
use crate::kernel::Problem;
use crate::science::statistics::CONFIDENCE;
use crate::science::statistics::logistic::{BandMethod, Curve, NoCurve, Observation, Shape, curve};
use crate::shop::house::floor::{items, text};
use crate::web::draw::curve::{CurvePoint, Dot, Section, fitted_curve};
use crate::web::draw::frame::Drawing;
use serde_json::{Value, json};

/// Places on each curve.
const POINTS: u32 = 25;
/// The most kinds of shells that are taken as they are; more are taken to the nearest 5 °C.
const MOST_AS_THEY_ARE: usize = 300;
/// The most kinds of shells.
const MOST: usize = 1_200;
/// The most bands of section: each has a curve and a band of its own to be worked out.
const MOST_SECTIONS: usize = 8;

/// What was seen.
pub struct Seen {
    outcome: Outcome,
    observations: Vec<Observation>,
    left_out: u32,
    edges: Vec<f64>,
    over: bool,
    sections: usize,
}

/// What was seen, and the curve of it.
pub struct Curved {
    seen: Seen,
    curve: Result<Curve, NoCurve>,
}

/// Reads the shells by temperature and band of section.
///
/// # Errors
/// As the database says.
pub async fn gather(read: &mut ReadTx, ask: &Ask, outcome: Outcome, shell: &[f64], section: &[f64]) -> Result<Seen, Problem> {
    let columns = |near: f64| {
        [
            Column { factor: Factor::ShellTemperature, edges: shell.to_vec(), number: Some(near) },
            Column { factor: Factor::Section, edges: section.to_vec(), number: None },
        ]
    };
    let mut all = sql::alike(read, ask, outcome, &columns(0.0), &Value::Null, MOST).await?;
    if all.len() > MOST_AS_THEY_ARE {
        all = sql::alike(read, ask, outcome, &columns(5.0), &Value::Null, MOST).await?;
    }
    let mut seen =
        Seen { outcome, observations: Vec::new(), left_out: 0, edges: shell.to_vec(), over: all.len() > MOST, sections: 0 };
    // By band, then by temperature: sections then stand in their order.
    let band = |told: &Option<String>| told.as_deref().filter(|t| *t != MIXED).and_then(|t| t.parse::<u32>().ok());
    all.sort_by_key(|row| row.told.get(1).and_then(band));
    for row in all {
        let value = row.told.first().and_then(|t| t.as_deref()?.parse::<f64>().ok());
        let known = value.zip(row.told.get(1).cloned().flatten().filter(|t| t != MIXED));
        match known {
            Some((value, told)) => {
                let label =
                    Shown::new(Factor::Section, Some(&told), section, &[]).row()["label"].as_str().unwrap_or("").to_owned();
                seen.observations.push(Observation { value, section: label, count: row.count, of: row.n });
            }
            None => seen.left_out = seen.left_out.saturating_add(row.n),
        }
    }
    seen.sections = named(&seen).len();
    Ok(seen)
}

/// The sections, in their order.
fn named(seen: &Seen) -> Vec<&str> {
    let mut names: Vec<&str> = Vec::new();
    for one in &seen.observations {
        if !names.contains(&one.section.as_str()) {
            names.push(&one.section);
        }
    }
    names
}

/// Fits the curve.
#[must_use]
pub fn fit(seen: Seen) -> Curved {
    let curve = if seen.over || seen.sections > MOST_SECTIONS || seen.observations.is_empty() {
        Err(NoCurve::Data(crate::science::statistics::logistic::DesignError::NothingObserved))
    } else {
        curve(&seen.observations, POINTS, CONFIDENCE)
    };
    Curved { seen, curve }
}

/// What was seen in a band of temperature, in one section.
struct Heap {
    band: usize,
    sum: f64,
    n: u32,
    count: u32,
}

fn heaps(seen: &Seen, section: &str) -> Vec<Heap> {
    let mut out: Vec<Heap> = Vec::new();
    for one in seen.observations.iter().filter(|o| o.section == section) {
        let band = seen.edges.iter().filter(|edge| one.value >= **edge).count();
        let heap = if let Some(at) = out.iter().position(|h| h.band == band) {
            &mut out[at]
        } else {
            out.push(Heap { band, sum: 0.0, n: 0, count: 0 });
            let last = out.len() - 1;
            &mut out[last]
        };
        heap.sum += one.value * f64::from(one.of);
        heap.n = heap.n.saturating_add(one.of);
        heap.count = heap.count.saturating_add(one.count);
    }
    out.sort_by_key(|h| h.band);
    out
}

/// As answered.
#[must_use]
pub fn told(curved: &Curved, ask: &Ask) -> Value {
    let Curved { seen, curve } = curved;
    let names = named(seen);
    let section = |name: &&str| {
        let drawn = curve.as_ref().ok().and_then(|c| c.sections.iter().find(|s| s.section == **name));
        let points = drawn
            .into_iter()
            .flat_map(|s| &s.points)
            .map(|p| json!({"shell_c": p.value, "rate": p.predicted.rate, "low": p.predicted.low, "high": p.predicted.high}));
        let dots = heaps(seen, name).into_iter().map(|heap| {
            let label =
                Shown::new(Factor::ShellTemperature, Some(&heap.band.to_string()), &seen.edges, &[]).row()["label"].clone();
            let mut dot =
                json!({"band": label, "shell_c": heap.sum / f64::from(heap.n.max(1)), "n": heap.n, "count": heap.count});
            put_rate(&mut dot, heap.count, heap.n);
            dot["behind_href"] = behind(seen.outcome, ask, Factor::ShellTemperature, label.as_str().unwrap_or_default()).into();
            dot
        });
        json!({"section": name, "points": points.collect::<Vec<_>>(), "dots": dots.collect::<Vec<_>>()})
    };
    let mut out = json!({
        "outcome": seen.outcome.name(), "against": "shell_c", "unit": "°C", "left_out": seen.left_out,
        "sections": names.iter().map(section).collect::<Vec<_>>(),
    });
    match curve {
        Ok(curve) => {
            out["shape"] = if matches!(curve.shape, Shape::Line) { "line" } else { "spline" }.into();
            out["band"] = if curve.band == BandMethod::Profile { "profile" } else { "delta" }.into();
            out["p"] = curve.p.into();
        }
        Err(_) if seen.over => out["refused"] = words::TOO_MUCH.into(),
        Err(_) if seen.sections > MOST_SECTIONS => {
            out["refused"] = format!(
                "The sections poured lie in {} bands, and curves are worked out for {MOST_SECTIONS} at most: ask of a shorter time, or set fewer edges of bands in the settings.",
                seen.sections
            )
            .into();
        }
        Err(why) => out["refused"] = words::no_curve(why, seen.outcome).into(),
    }
    out
}

/// The drawing of one curve as answered.
#[must_use]
pub fn drawing(curve: &Value) -> Drawing {
    let outcome = Outcome::ALL.into_iter().find(|o| curve["outcome"] == o.name()).unwrap_or(Outcome::Leak);
    let number = |of: &Value, name: &str| of[name].as_f64().unwrap_or(0.0);
    let section = |section: &Value| Section {
        name: format!("Section {}", text(section, "section")),
        curve: items(&section["points"])
            .iter()
            .map(|p| CurvePoint {
                x: number(p, "shell_c"),
                low: number(p, "low"),
                rate: number(p, "rate"),
                high: number(p, "high"),
            })
            .collect(),
        dots: items(&section["dots"])
            .iter()
            .map(|d| Dot {
                x: number(d, "shell_c"),
                rate: number(d, "rate"),
                n: d["n"].as_u64().and_then(|n| u32::try_from(n).ok()).unwrap_or(0),
                label: format!("{}, {} of {}", text(d, "band"), text(d, "count"), many(d["n"].as_u64().unwrap_or(0), "shell")),
                to: text(d, "behind_href"),
            })
            .collect(),
    };
    let sections: Vec<Section> = items(&curve["sections"]).iter().map(section).collect();
    let about = curve["refused"].as_str().map_or_else(
        || "The line is the fitted rate, the shade its 95 % interval; nothing is drawn where nothing was poured.".to_owned(),
        str::to_owned,
    );
    let title = format!("{} by the shell's temperature at the pour", outcome.title());
    fitted_curve(&title, &about, &format!("shell at the pour, {}", text(curve, "unit")), &sections)
}
