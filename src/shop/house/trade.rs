//! The trade catalogue as this shop has it: built in, with the shop's own entries beside
//! and over it.

use super::model::{Section, TradeEntryBody};
use super::store;
use crate::db::Read;
use crate::kernel::Problem;
use crate::science::trade::{Alloy, Catalogue, Defect, PatternMaterial, TradeStep};
use jiff::civil::Date;
use serde_json::{Map, Value, json};
use std::sync::Arc;

/// The catalogue of this shop. Of a code that has several entries its lists have the one with
/// the latest date, whether that has come or not.
#[derive(Debug)]
pub struct Trade {
    /// Alloys.
    pub alloys: Vec<Alloy>,
    /// Pattern materials.
    pub pattern_materials: Vec<PatternMaterial>,
    /// Defects and house codes.
    pub defects: Vec<Defect>,
    own: Vec<(String, String)>,
    /// The built-in alloys, and the shop's own after them in order of their dates.
    dated: Vec<(Date, Alloy)>,
}

/// The catalogue, read once and kept.
///
/// # Errors
/// As the database says.
pub async fn of<R: Read>(read: &mut R) -> Result<Arc<Trade>, Problem> {
    if let Some(kept) = read.shared().get::<Trade>() {
        return Ok(kept);
    }
    let trade = Arc::new(read_until(read, Date::MAX).await?);
    read.shared().put(trade.clone());
    Ok(trade)
}

/// The catalogue as in force on a day.
///
/// # Errors
/// As the database says.
pub async fn on<R: Read>(read: &mut R, day: Date) -> Result<Trade, Problem> {
    read_until(read, day).await
}

async fn read_until<R: Read>(read: &mut R, day: Date) -> Result<Trade, Problem> {
    let built_in = Catalogue::builtin().map_err(Problem::internal)?;
    let mut trade = Trade {
        alloys: built_in.alloys.clone(),
        pattern_materials: built_in.pattern_materials.clone(),
        defects: built_in.defects.clone(),
        own: Vec::new(),
        dated: built_in.alloys.iter().map(|alloy| (Date::MIN, alloy.clone())).collect(),
    };
    for (section, code, body) in store::trade_entries(read).await? {
        let body: Value = serde_json::from_str(&body).map_err(Problem::internal)?;
        let from_on = body["from_on"].as_str().map_or(Ok(Date::MIN), str::parse).map_err(Problem::internal)?;
        if from_on > day {
            continue;
        }
        let values = with_code(&section, &code, &body["values"], body["source"].as_str().unwrap_or_default());
        match Section::parse(&section) {
            Some(Section::Alloys) => {
                let alloy: Alloy = parse(values)?;
                trade.dated.push((from_on, alloy.clone()));
                put(&mut trade.alloys, alloy, |a| a.designation.clone());
            }
            Some(Section::PatternMaterials) => put(&mut trade.pattern_materials, parse(values)?, |m| m.code.clone()),
            Some(Section::Defects) => put(&mut trade.defects, parse(values)?, |d| d.code.clone()),
            None => {}
        }
        trade.own.push((section, code));
    }
    Ok(trade)
}

fn parse<T: serde::de::DeserializeOwned>(values: Value) -> Result<T, Problem> {
    serde_json::from_value(values).map_err(Problem::internal)
}

fn put<T>(list: &mut Vec<T>, entry: T, code: impl Fn(&T) -> String) {
    let key = code(&entry);
    match list.iter_mut().find(|other| code(other).eq_ignore_ascii_case(&key)) {
        Some(slot) => *slot = entry,
        None => list.push(entry),
    }
}

/// The members of an entry, with its code and source under the names its section uses.
fn with_code(section: &str, code: &str, values: &Value, source: &str) -> Value {
    let mut members = values.as_object().cloned().unwrap_or_else(Map::new);
    let name = if section == "alloys" { "designation" } else { "code" };
    members.insert(name.into(), code.into());
    if section == "alloys" {
        members.insert("sources".into(), json!({"entry": source}));
    } else {
        members.insert("source".into(), source.into());
    }
    Value::Object(members)
}

/// Whether an entry has the members that its section needs.
///
/// # Errors
/// `invalid`, saying what is missing or wrong.
pub fn check(body: &TradeEntryBody) -> Result<(), Problem> {
    if !body.values.0.is_object() {
        return Err(Problem::field("/values", "wrong-type", "Give an object, as the built-in entries have it."));
    }
    let values = with_code(body.section.name(), &body.code.0, &body.values.0, &body.source.0);
    let wrong = |e: serde_json::Error| Problem::field("/values", "wrong-members", format!("{e}. See the built-in entries."));
    match body.section {
        Section::Alloys => serde_json::from_value::<Alloy>(values).map(drop).map_err(wrong),
        Section::PatternMaterials => serde_json::from_value::<PatternMaterial>(values).map(drop).map_err(wrong),
        Section::Defects => serde_json::from_value::<Defect>(values).map(drop).map_err(wrong),
    }
}

impl Trade {
    /// An alloy by its designation; case does not matter.
    #[must_use]
    pub fn alloy(&self, code: &str) -> Option<&Alloy> {
        self.alloys.iter().find(|a| a.designation.eq_ignore_ascii_case(code.trim()))
    }
    /// An alloy as in force on a day: what a record of that day is flagged by.
    #[must_use]
    pub fn alloy_on(&self, code: &str, day: Date) -> Option<&Alloy> {
        let is_it = |(from, alloy): &&(Date, Alloy)| *from <= day && alloy.designation.eq_ignore_ascii_case(code.trim());
        self.dated.iter().rev().find(is_it).map(|(_, alloy)| alloy)
    }
    /// A pattern material by its code.
    #[must_use]
    pub fn pattern_material(&self, code: &str) -> Option<&PatternMaterial> {
        self.pattern_materials.iter().find(|m| m.code.eq_ignore_ascii_case(code.trim()))
    }
    /// A defect or house code.
    #[must_use]
    pub fn defect(&self, code: &str) -> Option<&Defect> {
        self.defects.iter().find(|d| d.code.eq_ignore_ascii_case(code.trim()))
    }
    /// Whether the shop entered or overrode it.
    #[must_use]
    pub fn is_own(&self, section: &str, code: &str) -> bool {
        self.own.iter().any(|(s, c)| s == section && c.eq_ignore_ascii_case(code))
    }
}

/// The fault of an alloy that is not in the catalogue.
#[must_use]
pub fn no_alloy(pointer: &str, given: &str) -> Problem {
    Problem::field(
        pointer,
        "not-in-catalogue",
        format!("{given} is not in /v1/trade/alloys. Take one of those, or let the owner add it."),
    )
}

/// One line each of the cautions that stand at some steps for a metal; the cards are under
/// `/v1/trade/cautions`. What is not known rules nothing out.
///
/// # Errors
/// When the built-in catalogue cannot be read.
pub fn cautions(steps: &[TradeStep], alloy: Option<&Alloy>) -> Result<Value, Problem> {
    let built_in = Catalogue::builtin().map_err(Problem::internal)?;
    let stands = |c: &&crate::science::trade::Caution| steps.iter().any(|step| c.stands(*step, alloy, None));
    Ok(built_in.cautions.iter().filter(stands).map(|c| json!({"code": c.code, "line": c.line})).collect())
}

/// The JSON Schema of a list of cautions.
#[must_use]
pub fn cautions_schema() -> Value {
    json!({"type": "array", "items": {"type": "object", "required": ["code", "line"], "properties": {
        "code": {"type": "string"}, "line": {"type": "string"}}}})
}
