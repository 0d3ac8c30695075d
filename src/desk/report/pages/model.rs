//! `/reports/model`: what goes with an outcome, factor by factor with the rest alike, and the
//! curve against the shell's temperature.

use super::super::factor::Factor;
use super::super::model_curve::drawing;
use super::super::outcome::{Outcome, about, capital, many, percent};
use super::{Asked, FACTORS, factor_words, reader, said};
use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::shop::house::floor::{Floor, choice, items, text};
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Part, Sheet, Table};
use crate::web::slip::{Field, How};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;

/// So many factors may be chosen on the page.
const CHOSEN: [&str; 4] = ["by", "by2", "by3", "by4"];

pub(super) fn pages(floor: &Floor) -> Vec<Page> {
    vec![floor.page("/reports/model", Right::Read, |floor, visit| async move { show(&floor, &visit).await })]
}

/// The factors chosen: those of four lists, each once.
fn chosen(visit: &Visit) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for given in CHOSEN.iter().flat_map(|name| visit.query.get(name).split(',')) {
        if !given.is_empty() && !out.iter().any(|known| known == given) {
            out.push(given.to_owned());
        }
    }
    if out.is_empty() {
        out.push("alloy".to_owned());
    }
    out
}

async fn show(floor: &Floor, visit: &Visit) -> Result<Shown, Problem> {
    let look = floor.look(visit).await?;
    let named = |o: &Outcome| o.name() == visit.query.get("outcome");
    let outcome = Outcome::ALL.into_iter().find(named).unwrap_or(Outcome::Leak);
    let by = chosen(visit);
    let mut asked = Asked::of(visit, "alloy");
    if outcome != Outcome::Defect {
        asked.code.clear();
    }
    let path =
        format!("/v1/reports/model?outcome={}&by={}&{}", outcome.name(), escape_part(&by.join(",")), asked.api(&look, false));
    let mut report = look.get(&path).await?;
    reader::model(look.reads.units(), &mut report);
    let mut sheet = Sheet::new(visit, format!("{}: several causes at once", outcome.title()));
    sheet.lead = said(&asked);
    sheet.part(asking(outcome, &by, &asked));
    summary(&mut sheet, outcome, &report);
    terms(&mut sheet, &report);
    for rates in items(&report["rates"]) {
        sheet.table(levels(rates, outcome));
    }
    for curve in items(&report["curves"]) {
        curved(&mut sheet, curve);
    }
    sheet.links(&[("All reports", "/reports".to_owned())]);
    sheet.show()
}

fn asking(outcome: Outcome, by: &[String], asked: &Asked) -> Part {
    let outcomes = Outcome::ALL.map(|o| choice(o.name(), o.title(), ""));
    let mut fields = vec![Field::new("outcome", "Watch", How::List).of(outcomes).with(outcome.name())];
    for (n, name) in CHOSEN.into_iter().enumerate() {
        let known = FACTORS.iter().filter(|(f, _)| !f.several() && *f != Factor::Month);
        let factors = known.map(|(f, words)| choice(f.name(), *words, ""));
        let none = (n > 0).then(|| choice("", "nothing more", ""));
        let label = if n == 0 { "By" } else { "and" };
        fields.push(
            Field::new(name, label, How::List).of(none.into_iter().chain(factors)).with(by.get(n).cloned().unwrap_or_default()),
        );
    }
    fields.extend(asked.fields());
    Part::asking("/reports/model", fields)
}

fn summary(sheet: &mut Sheet, outcome: Outcome, report: &Value) {
    if let Some(words) = report["refused"]["words"].as_str() {
        sheet.part(Part::Note(words.to_owned()));
    } else {
        let (n, count) = (report["n"].as_u64().unwrap_or(0), text(report, "count"));
        sheet.part(Part::Note(format!("{count} of {} {}.", many(n, "shell"), outcome.did())));
    }
    let left = report["left_out"]["count"].as_u64().unwrap_or(0);
    if left > 0 {
        let mut parts = Vec::new();
        for why in items(&report["left_out"]["why"]) {
            let words = factor_words(&text(why, "factor"));
            for (name, said) in [("not_on_record", "not on record"), ("mixed", "not the same for all its castings")] {
                let count = why[name].as_u64().unwrap_or(0);
                if count > 0 {
                    parts.push(format!("{words} {said} of {count}"));
                }
            }
        }
        sheet.part(Part::Words(format!("{} left out: {}.", capital(&many(left, "shell")), parts.join(", "))));
    }
    if let Some(words) = report["coarse"].as_str() {
        sheet.part(Part::Words(words.to_owned()));
    }
    for dropped in items(&report["dropped"]) {
        sheet.part(Part::Words(dropped.as_str().unwrap_or_default().to_owned()));
    }
}

fn terms(sheet: &mut Sheet, report: &Value) {
    let found = items(&report["terms"]);
    if found.is_empty() {
        return;
    }
    for term in found {
        sheet.part(Part::Words(text(term, "words")));
    }
    let mut table = Table::new("The effects", "", &["What", "Beside", "Odds ratio#", "95 % interval#", "Pinned down"]);
    for term in found {
        let words = factor_words(&text(term, "factor"));
        let (what, beside) = if term["level"].is_string() {
            (format!("{words} {}", text(term, "level")), text(term, "beside"))
        } else {
            (capital(words), format!("each {} {} more", term["step"].as_f64().unwrap_or(1.0), text(term, "unit")))
        };
        let number =
            |name: &str| term[name].as_f64().map_or_else(String::new, |v| if v > 1000.0 { "over 1000".into() } else { about(v) });
        let pinned = if term["pinned_down"] == true { "yes" } else { "no" };
        table.row([
            what.into(),
            beside.into(),
            number("odds_ratio").into(),
            format!("{} to {}", number("low"), number("high")).into(),
            pinned.into(),
        ]);
    }
    "An odds ratio is no ratio of rates; the rates stand below. What goes with an outcome need not be its cause."
        .clone_into(&mut table.foot);
    sheet.table(table);
    sheet.part(Part::Words(text(report, "heats")));
}

/// A rate with its range; none seen still allows some.
fn ranged(row: &Value, names: [&str; 3]) -> String {
    let n = row["n"].as_f64().unwrap_or(0.0);
    match (row[names[0]].as_f64(), row[names[1]].as_f64(), row[names[2]].as_f64()) {
        (Some(rate), Some(low), Some(high)) => {
            format!("{} ({} to {})", percent(rate, n), percent(low, n).trim_end_matches(" %"), percent(high, n))
        }
        _ => String::new(),
    }
}

fn levels(rates: &Value, outcome: Outcome) -> Table {
    let words = factor_words(&text(rates, "factor"));
    let did = capital(outcome.did());
    let heads = [
        capital(words),
        "Shells#".into(),
        format!("{did}#"),
        "As seen, 95 % interval#".into(),
        "The rest alike, 95 % interval#".into(),
    ];
    let heads: Vec<&str> = heads.iter().map(String::as_str).collect();
    let mut table = Table::new(&format!("Rates by {words}"), "Nothing of that is on record yet.", &heads);
    let rows = items(&rates["rows"]);
    for row in rows {
        table.row([
            Cell::text(text(row, "level")).to(text(row, "behind_href")),
            text(row, "n").into(),
            text(row, "count").into(),
            ranged(row, ["rate", "low", "high"]).into(),
            ranged(row, ["adjusted", "adjusted_low", "adjusted_high"]).into(),
        ]);
    }
    let at = text(rates, "at");
    if !at.is_empty() {
        table.foot = format!("The rest alike: {at}.");
    }
    let levels = rates["levels"].as_u64().and_then(|n| usize::try_from(n).ok()).unwrap_or(0);
    if levels > rows.len() {
        table.foot = format!("The first {} of {levels}. {}", rows.len(), table.foot);
    }
    table
}

fn curved(sheet: &mut Sheet, curve: &Value) {
    let outcome = Outcome::ALL.into_iter().find(|o| curve["outcome"] == o.name()).unwrap_or(Outcome::Leak);
    let heading = format!("{} by the shell's temperature at the pour", outcome.title());
    let sections = items(&curve["sections"]);
    let refused = curve["refused"].as_str();
    if sections.is_empty() {
        sheet.part(Part::Words(format!("{heading}: {}", refused.unwrap_or("nothing is on record."))));
        return;
    }
    sheet.part(Part::Drawing(heading, drawing(curve).inline()));
    if let Some(words) = refused {
        sheet.part(Part::Words(format!("There is no curve, only what was seen. {words}")));
    }
    let left = curve["left_out"].as_u64().unwrap_or(0);
    if left > 0 {
        sheet.part(Part::Words(format!(
            "{} left out: no temperature on record, or castings of several sections.",
            capital(&many(left, "shell"))
        )));
    }
    let did = format!("{}#", capital(outcome.did()));
    let mut table = Table::new(
        "",
        "",
        &["Section", "Shell at the pour", "Shells#", &did, "As seen, 95 % interval#", "Curve there, 95 % interval#"],
    );
    for section in sections {
        for dot in items(&section["dots"]) {
            let nearest = items(&section["points"]).iter().min_by(|a, b| {
                let off = |p: &Value| (p["shell_c"].as_f64().unwrap_or(0.0) - dot["shell_c"].as_f64().unwrap_or(0.0)).abs();
                off(a).total_cmp(&off(b))
            });
            let fitted = nearest.map_or_else(String::new, |p| {
                let mut p = p.clone();
                p["n"] = dot["n"].clone();
                ranged(&p, ["rate", "low", "high"])
            });
            table.row([
                text(section, "section").into(),
                Cell::text(text(dot, "band")).to(text(dot, "behind_href")),
                text(dot, "n").into(),
                text(dot, "count").into(),
                ranged(dot, ["rate", "low", "high"]).into(),
                fitted.into(),
            ]);
        }
    }
    sheet.table(table);
}
