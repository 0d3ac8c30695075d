//! `/history` and `/records/{id}`: what was recorded, by whom, what was changed, and undoing it.

use crate::kernel::actor::Right;
use crate::kernel::{Instant, Kind, Problem, ProblemType};
use crate::shop::house::floor::{Floor, Look, Names, choice, items, plain, text};
use crate::shop::house::shown::flag_words;
use crate::web::sheet::{Cell, Part, Sheet, Table};
use crate::web::slip::{Field, How};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;
use uuid::Uuid;

/// The pages.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    vec![floor.page("/history", Right::Read, history), floor.page("/records/{id}", Right::Read, record)]
}

/// A kind of record as a caster calls it.
fn called(kind: &str) -> String {
    let mut words = plain(kind);
    if let Some(first) = words.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    words
}

fn action(line: &Value) -> &'static str {
    match line["action"].as_str() {
        Some("create") => "recorded",
        Some("correct") => "corrected",
        Some("void") => "undone",
        _ => "contact forgotten",
    }
}

async fn history(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let (lines, next) = look.list("/v1/journal", 50).await?;
    let mut sheet = Sheet::new(&visit, "History");
    "What was written into the book, newest first.".clone_into(&mut sheet.lead);
    let mut table = Table::new("", "Nothing is in the book yet.", &["When", "What", "By"]);
    for line in &lines {
        let what = format!("{} {}", called(&text(line, "kind")), action(line));
        table.row([
            look.reads.at(&line["at"]).into(),
            Cell::text(what).to(format!("/records/{}", text(line, "record"))),
            text(line, "by").into(),
        ]);
    }
    table.next = next;
    sheet.table(table);
    sheet.show()
}

/// Members that every record bears, which stand elsewhere on the page.
const ENVELOPE: &[&str] = &[
    "id",
    "at",
    "at_precision",
    "recorded_at",
    "by",
    "hands",
    "practice_flags",
    "version",
    "etag",
    "void",
    "despite",
    "assumed",
    "first_use",
    "cautions",
];

async fn record(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let id = Uuid::parse_str(visit.part("id"))
        .map_err(|_| Problem::new(ProblemType::NotFound, "A record's address ends with its id."))?;
    let journal = look.get(&format!("/v1/journal?record={id}&limit=50")).await?;
    let lines = items(&journal["items"]);
    let kind = lines.first().map(|line| text(line, "kind")).unwrap_or_default();
    let kind = Kind::parse(&kind).ok_or_else(|| Problem::new(ProblemType::NotFound, "There is no record of that id."))?;
    let record = look.get(&format!("/v1/{}/{id}", kind.collection())).await?;
    let mut ids = Vec::new();
    gather(&record, &mut ids);
    for line in lines {
        gather(&line["from"], &mut ids);
        gather(&line["to"], &mut ids);
    }
    let names = floor.names(&ids).await?;
    let mut sheet = Sheet::new(&visit, called(kind.name()));
    sheet.lead = format!("{}, typed by {}.", look.reads.at(&record["at"]), text(&record, "by"));
    if let Some(reason) = record["void"]["reason"].as_str() {
        sheet.part(Part::Note(format!("Undone {}: {reason}", look.reads.at(&record["void"]["at"]))));
    }
    let mut table = Table::new("What it says", "It says no more than that.", &["", ""]);
    let hands = names.all(&record["hands"]);
    if !hands.is_empty() {
        table.row(["Hands".into(), hands.into()]);
    }
    for (name, value) in record.as_object().into_iter().flatten().filter(|(name, _)| !ENVELOPE.contains(&name.as_str())) {
        rows(&look, &names, &mut table, &label(name), name, value, 0);
    }
    sheet.table(table);
    let mut remarks = Vec::new();
    for flag in items(&record["practice_flags"]) {
        remarks.push(format!("Flagged: {}.", flag_words(flag["code"].as_str().unwrap_or(""))));
    }
    for code in items(&record["despite"]).iter().filter_map(Value::as_str) {
        remarks.push(format!("Taken all the same, said on purpose: {}.", plain(code)));
    }
    for code in items(&record["assumed"]).iter().filter_map(Value::as_str) {
        remarks.push(format!("Proposed and confirmed by nobody, so in no factor: {}.", label(code)));
    }
    for remark in remarks {
        sheet.part(Part::Words(remark));
    }
    let mut table = Table::new("Its history", "", &["When", "What", "By", "Why"]);
    for line in lines {
        let what = changes(&look, &names, line);
        table.row([look.reads.at(&line["at"]).into(), what.into(), text(line, "by").into(), text(line, "reason").into()]);
    }
    sheet.table(table);
    if record["void"].is_null() {
        let owner = visit.actor()?.role.may(Right::Own);
        let reason = Field::text("reason", "Why").need().with("logged by mistake");
        let mut undo = look.slip(format!("{}/{id}/void", kind.collection()), "Undo this record").field(reason);
        if owner {
            let rest = "Undo what rests on it too";
            undo = undo.field(Field::new("cascade", "If other records rest on it", How::Ticks).of([choice(
                "true",
                rest,
                "newest first",
            )]));
        }
        sheet.folded("Undo it", undo);
        sheet.part(Part::Words("What is undone stays in the history; it counts nowhere else, and is final.".to_owned()));
    }
    sheet.links(&[("All history", "/history".to_owned())]);
    sheet.show()
}

fn gather<'v>(value: &'v Value, into: &mut Vec<&'v Value>) {
    match value {
        Value::String(_) => into.push(value),
        Value::Array(items) => items.iter().for_each(|item| gather(item, into)),
        Value::Object(members) => members.values().for_each(|member| gather(member, into)),
        _ => {}
    }
}

/// A member's name in words, its unit left off.
fn label(name: &str) -> String {
    let bare =
        ["_kg", "_mm", "_c", "_minor", "_id", "_ids", "_cm3", "_cm2", "_s"].iter().find_map(|unit| name.strip_suffix(unit));
    called(bare.unwrap_or(name))
}

/// A value as this shop reads it: by its name, and where it is an id by the name of its thing.
fn shown(look: &Look<'_>, names: &Names, name: &str, value: &Value) -> Cell {
    let bare = match value {
        Value::String(text) => text.clone(),
        Value::Bool(yes) => if *yes { "yes" } else { "no" }.to_owned(),
        other => other.to_string(),
    };
    if name.ends_with("_kg") {
        return Cell::text(look.reads.kg(value));
    }
    if name.ends_with("_minor") {
        return Cell::text(look.reads.minor(value));
    }
    if name.ends_with("_c") {
        return Cell::text(value.as_f64().map_or(bare, |c| look.reads.temperature(c)));
    }
    if Uuid::parse_str(&bare).is_ok() {
        let known = names.of(value);
        return if known.is_empty() { Cell::text("its record").to(format!("/records/{bare}")) } else { Cell::text(known) };
    }
    if Instant::parse(&bare).is_some() {
        return Cell::text(look.reads.at(value));
    }
    let unit = match name.rsplit('_').next() {
        Some("mm") => " mm",
        Some("cm3") => " cm³",
        Some("cm2") => " cm²",
        Some("s") => " s",
        Some("percent") => " %",
        _ => "",
    };
    Cell::text(format!(
        "{}{unit}",
        if matches!(value, Value::String(_)) && !name.ends_with("note") { plain(&bare) } else { bare }
    ))
}

/// How deep a record is opened; below that its parts have pages of their own.
const DEEP: u8 = 2;

fn rows(look: &Look<'_>, names: &Names, table: &mut Table, label_of: &str, name: &str, value: &Value, depth: u8) {
    match value {
        Value::Null => {}
        Value::Array(list) => {
            for (n, item) in list.iter().enumerate() {
                rows(look, names, table, &format!("{label_of} {}", n + 1), name, item, depth + 1);
            }
        }
        Value::Object(members) if depth <= DEEP => {
            // What has a record of its own leads there.
            if let Some(id) = members.get("id").and_then(Value::as_str) {
                table.row([label_of.into(), Cell::text("its record").to(format!("/records/{id}"))]);
                return;
            }
            for (inner, member) in members {
                rows(look, names, table, &format!("{label_of}: {}", label(inner).to_lowercase()), inner, member, depth + 1);
            }
        }
        Value::Object(_) => {}
        _ => table.row([label_of.into(), shown(look, names, name, value)]),
    }
}

/// What a line of the journal changed, in words.
fn changes(look: &Look<'_>, names: &Names, line: &Value) -> String {
    let said = action(line);
    if line["action"] != "correct" {
        return said.to_owned();
    }
    let none = serde_json::Map::new();
    let (from, to) = (line["from"].as_object().unwrap_or(&none), line["to"].as_object().unwrap_or(&none));
    let mut keys: Vec<&String> = from.keys().chain(to.keys()).collect();
    keys.sort_unstable();
    keys.dedup();
    let text = |value: Option<&Value>, name: &str| match value {
        None | Some(Value::Null) => "nothing".to_owned(),
        Some(Value::Array(_) | Value::Object(_)) => "other parts".to_owned(),
        Some(value) => shown(look, names, name, value).text,
    };
    let changed = keys.into_iter().filter(|name| from.get(*name) != to.get(*name));
    let changed: Vec<String> = changed
        .map(|name| format!("{} from {} to {}", label(name).to_lowercase(), text(from.get(name), name), text(to.get(name), name)))
        .collect();
    format!("{said}: {}", changed.join("; "))
}
