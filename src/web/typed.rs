//! What was typed on a page, as the body that the API takes: led by the route's own schema,
//! so that a field of a page is named as the API names it and there is one truth of types.
//!
//! A name with dots leads into lists and objects (`charge.0.lot_id`). An empty field is not
//! there: nothing typed is never 0. A row in which nothing was typed is no row; a `*` for the
//! number of a row makes each tick of that name a row.

use super::page::Form;
use crate::kernel::{Celsius, Instant, Mass, Millimetres};
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

/// How a shop writes its quantities: units, clock, currency.
pub trait Measures: Send + Sync {
    /// Whether people here part thousands with commas.
    fn parts_thousands(&self) -> bool;
    /// A mass as typed.
    ///
    /// # Errors
    /// What is wrong with it, as the end of a sentence.
    fn mass(&self, typed: &str) -> Result<Mass, String>;
    /// A temperature as typed.
    ///
    /// # Errors
    /// What is wrong with it, as the end of a sentence.
    fn temperature(&self, typed: &str) -> Result<Celsius, String>;
    /// A length as typed.
    ///
    /// # Errors
    /// What is wrong with it, as the end of a sentence.
    fn length(&self, typed: &str) -> Result<Millimetres, String>;
    /// An amount as typed, in minor units.
    ///
    /// # Errors
    /// What is wrong with it, as the end of a sentence.
    fn money(&self, typed: &str) -> Result<i64, String>;
    /// A time of the shop's clock, as a browser's field gives it.
    ///
    /// # Errors
    /// What is wrong with it, as the end of a sentence.
    fn time(&self, typed: &str) -> Result<Instant, String>;
}

/// What was read: the body, and which field of the page each pointer comes from.
#[derive(Debug, Default)]
pub struct Typed {
    /// The body.
    pub body: Map<String, Value>,
    /// JSON pointer and name of the field.
    pub names: Vec<(String, String)>,
    /// Fields that cannot be read, and what is wrong with each.
    pub faults: Vec<(String, String)>,
}

impl Typed {
    /// The name of the field that a pointer comes from, or of the list or object around it.
    #[must_use]
    pub fn name_of(&self, pointer: &str) -> String {
        let exact = self.names.iter().find(|(p, _)| p == pointer).map(|(_, name)| name.clone());
        exact.unwrap_or_else(|| {
            // A member that was left out stands beside those of its row.
            let (row, last) = pointer.rsplit_once('/').unwrap_or(("", pointer));
            let beside = self.names.iter().find_map(|(p, name)| {
                let (p, name) = (p.rsplit_once('/')?.0, name.rsplit_once('.')?.0);
                (p == row).then(|| format!("{name}.{last}"))
            });
            beside.unwrap_or_else(|| pointer.trim_start_matches('/').replace('/', "."))
        })
    }
}

/// A node of what was typed, by the dotted names.
#[derive(Default)]
struct Node {
    texts: Vec<String>,
    under: BTreeMap<(usize, String), Node>,
}

/// The most parts a dotted name may have.
const DEEPEST: usize = 6;

/// Reads a form by the schema of a body. Names that begin with `_` are the page's own.
#[must_use]
pub fn read(form: &Form, schema: &Value, measures: &dyn Measures) -> Typed {
    let mut root = Node::default();
    let mut stars = 0_usize;
    for (name, text) in &form.0 {
        let text = text.trim();
        // Each tick of such a name is a row of its own, after those with a number.
        let starred = name.contains(".*.").then(|| {
            stars += 1;
            name.replace(".*.", &format!(".{}.", 100_000 + stars))
        });
        let name = starred.as_ref().unwrap_or(name);
        if name.starts_with('_') || text.is_empty() || name.split('.').count() > DEEPEST {
            continue;
        }
        let mut node = &mut root;
        for part in name.split('.') {
            // Rows in the order of their numbers, members by name.
            let rank = part.parse::<usize>().unwrap_or(usize::MAX);
            node = node.under.entry((rank, part.to_owned())).or_default();
        }
        node.texts.push(text.to_owned());
    }
    let mut typed = Typed::default();
    if let Some(Value::Object(body)) = value(&root, schema, "", "", &mut typed, measures) {
        typed.body = body;
    }
    typed
}

fn types(schema: &Value) -> Vec<&str> {
    match &schema["type"] {
        Value::String(one) => vec![one],
        Value::Array(many) => many.iter().filter_map(Value::as_str).collect(),
        _ => Vec::new(),
    }
}

fn value(node: &Node, schema: &Value, pointer: &str, name: &str, typed: &mut Typed, by: &dyn Measures) -> Option<Value> {
    typed.names.push((pointer.to_owned(), name.to_owned()));
    let join = |part: &str| if name.is_empty() { part.to_owned() } else { format!("{name}.{part}") };
    let list = types(schema).contains(&"array") || (types(schema).is_empty() && node.under.keys().any(|(n, _)| *n != usize::MAX));
    if list {
        let item = &schema["items"];
        let mut out = Vec::new();
        if node.under.is_empty() {
            for text in node.texts.iter().flat_map(|t| t.split(',')).map(str::trim).filter(|t| !t.is_empty()) {
                out.extend(leaf(text, item, name, typed, by));
            }
        }
        for ((_, part), under) in &node.under {
            out.extend(value(under, item, &format!("{pointer}/{}", out.len()), &join(part), typed, by));
        }
        return (!out.is_empty()).then_some(Value::Array(out));
    }
    if node.under.is_empty() {
        return node.texts.last().and_then(|text| leaf(text, schema, name, typed, by));
    }
    let mut out = Map::new();
    for ((_, part), under) in &node.under {
        let schema = schema
            .get("properties")
            .and_then(|p| p.get(part))
            .or_else(|| schema.get("additionalProperties"))
            .unwrap_or(&Value::Null);
        if let Some(value) = value(under, schema, &format!("{pointer}/{part}"), &join(part), typed, by) {
            out.insert(part.clone(), value);
        }
    }
    (!out.is_empty()).then_some(Value::Object(out))
}

/// A comma for decimals as a point. Where commas may part thousands, `1,250` can be read in two
/// ways, and is asked about.
///
/// # Errors
/// That it can be read in two ways.
fn decimal(text: &str, parts_thousands: bool) -> Result<String, String> {
    let digits = |part: &str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
    let number: String = text.chars().take_while(|c| c.is_ascii_digit() || ",.".contains(*c)).collect();
    if let Some((whole, rest)) = number.split_once(',') {
        let thousands = digits(whole) && whole.len() <= 3 && !whole.starts_with('0') && rest.len() == 3 && digits(rest);
        if thousands && parts_thousands {
            return Err(format!("is that {whole}.{rest} or {whole}{rest}? Write it without the comma"));
        }
        if rest.contains(',') || rest.contains('.') {
            return Err("write it with one point or comma at most".to_owned());
        }
    }
    Ok(text.replace(',', "."))
}

/// A number as people type it: a comma or a point for decimals.
///
/// # Errors
/// That it is none.
pub fn number(text: &str) -> Result<f64, String> {
    let plain = decimal(text, false)?;
    let shaped = plain.bytes().all(|b| b.is_ascii_digit() || b"+-.".contains(&b));
    plain.parse::<f64>().ok().filter(|n| shaped && n.is_finite()).ok_or_else(|| "give a plain number".to_owned())
}

fn leaf(text: &str, schema: &Value, name: &str, typed: &mut Typed, by: &dyn Measures) -> Option<Value> {
    let last = name.rsplit('.').find(|part| part.parse::<usize>().is_err()).unwrap_or(name);
    let types = types(schema);
    let point = |text: &str| decimal(text, by.parts_thousands());
    let read: Result<Value, String> = if last.ends_with("_kg") {
        point(text).and_then(|text| by.mass(&text)).map(|mass| json!(mass.kg()))
    } else if last.ends_with("_mm") {
        point(text).and_then(|text| by.length(&text)).map(|length| json!(length.get()))
    } else if last.ends_with("_c") {
        point(text).and_then(|text| by.temperature(&text)).map(|t| json!(t.get()))
    } else if last.ends_with("_minor") {
        point(text).and_then(|text| by.money(&text)).map(|minor| json!(minor))
    } else if last == "at" || last.ends_with("_at") {
        by.time(text).map(|at| json!(at.to_string()))
    } else if types.contains(&"integer") {
        text.parse::<i64>().map(|n| json!(n)).map_err(|_| "give a whole number".to_owned())
    } else if types.contains(&"number") {
        point(text).and_then(|text| number(&text)).map(|n| json!(n))
    } else if types.contains(&"boolean") {
        Ok(json!(matches!(text, "true" | "on" | "yes")))
    } else {
        Ok(json!(text))
    };
    match read {
        Ok(value) => Some(value),
        Err(why) => {
            typed.faults.push((name.to_owned(), sentence(&why)));
            None
        }
    }
}

/// A sentence: begins with a capital, ends with a stop.
#[must_use]
pub fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    let stop = if text.ends_with(['.', '?', '!']) { "" } else { "." };
    format!("{first}{}{stop}", letters.as_str())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernel::units::Units;

    struct Pounds;
    impl Measures for Pounds {
        fn parts_thousands(&self) -> bool {
            true
        }
        fn mass(&self, typed: &str) -> Result<Mass, String> {
            Units::Us.read_mass(typed).map_err(|e| e.to_string())
        }
        fn temperature(&self, typed: &str) -> Result<Celsius, String> {
            Units::Us.read_temperature(typed).map_err(|e| e.to_string())
        }
        fn length(&self, typed: &str) -> Result<Millimetres, String> {
            Units::Us.read_length(typed).map_err(|e| e.to_string())
        }
        fn money(&self, typed: &str) -> Result<i64, String> {
            typed.parse().map_err(|_| "no money".to_owned())
        }
        fn time(&self, typed: &str) -> Result<Instant, String> {
            Instant::parse(typed).ok_or_else(|| "no time".to_owned())
        }
    }

    fn form(pairs: &[(&str, &str)]) -> Form {
        Form(pairs.iter().map(|(n, v)| ((*n).to_owned(), (*v).to_owned())).collect())
    }

    fn schema() -> Value {
        json!({"type": "object", "properties": {
            "name": {"type": "string"}, "net_kg": {"type": "number"}, "metal_c": {"type": "number"},
            "vents": {"type": ["integer", "null"]}, "kept": {"type": "boolean"}, "seconds": {"type": "number"},
            "hands": {"type": "array", "items": {"type": "string"}},
            "charge": {"type": "array", "items": {"type": "object", "properties": {
                "lot_id": {"type": "string"}, "mass_kg": {"type": "number"}}}}}})
    }

    #[test]
    fn quantities_are_read_in_the_shops_units() {
        // 1 lb = 0.45359237 kg exactly and t/°C = (t/°F − 32)/1.8 (NIST SP 811, appendix B.8).
        let typed = read(&form(&[("net_kg", "1"), ("metal_c", "2012"), ("vents", "3"), ("kept", "on")]), &schema(), &Pounds);
        assert_eq!(Value::Object(typed.body), json!({"net_kg": 0.453_592, "metal_c": 1100.0, "vents": 3, "kept": true}));
        assert!(typed.faults.is_empty());
    }

    #[test]
    fn nothing_typed_is_not_there_and_every_bad_field_is_named() {
        let typed = read(&form(&[("name", "  "), ("net_kg", "")]), &schema(), &Pounds);
        assert!(typed.body.is_empty() && typed.faults.is_empty());
        let typed = read(&form(&[("net_kg", "heavy"), ("vents", "1.5"), ("seconds", "1e3"), ("name", "x")]), &schema(), &Pounds);
        let names: Vec<&str> = typed.faults.iter().map(|(name, _)| name.as_str()).collect();
        assert_eq!(names, ["net_kg", "seconds", "vents"]);
        assert_eq!(typed.faults[2].1, "Give a whole number.");
    }

    #[test]
    fn rows_close_up_and_a_fault_finds_its_field() {
        let typed = read(
            &form(&[("charge.0.lot_id", ""), ("charge.2.lot_id", "b"), ("charge.10.lot_id", "c"), ("charge.10.mass_kg", "2 kg")]),
            &schema(),
            &Pounds,
        );
        assert_eq!(Value::Object(typed.body.clone()), json!({"charge": [{"lot_id": "b"}, {"lot_id": "c", "mass_kg": 2.0}]}));
        assert_eq!(typed.name_of("/charge/1/mass_kg"), "charge.10.mass_kg");
        assert_eq!(typed.name_of("/charge/0/mass_kg"), "charge.2.mass_kg", "left out, it stands beside those of its row");
        assert_eq!(typed.name_of("/verdict"), "verdict");
    }

    #[test]
    fn a_comma_is_asked_about_where_it_may_part_thousands() {
        let typed = read(&form(&[("net_kg", "1,250")]), &schema(), &Pounds);
        assert_eq!(typed.faults, [("net_kg".to_owned(), "Is that 1.250 or 1250? Write it without the comma.".to_owned())]);
        for (text, kg) in [("1,25", 0.56699), ("0,250", 0.113_398), ("12,3456", 5.59987)] {
            let typed = read(&form(&[("net_kg", text)]), &schema(), &Pounds);
            assert_eq!(typed.body["net_kg"], json!(kg), "{text}");
        }
        assert_eq!((decimal("1,250", false), decimal("1,2,3", false).is_err()), (Ok("1.250".to_owned()), true));
    }

    #[test]
    fn every_tick_is_a_row() {
        let typed = read(&form(&[("charge.*.lot_id", "a"), ("charge.*.lot_id", "b")]), &schema(), &Pounds);
        assert_eq!(Value::Object(typed.body), json!({"charge": [{"lot_id": "a"}, {"lot_id": "b"}]}));
    }

    #[test]
    fn a_list_is_typed_with_commas_or_ticked() {
        let typed = read(&form(&[("hands", "Ada, Bo ,")]), &schema(), &Pounds);
        assert_eq!(typed.body["hands"], json!(["Ada", "Bo"]));
        let typed = read(&form(&[("hands", "Ada"), ("hands", "Bo")]), &schema(), &Pounds);
        assert_eq!(typed.body["hands"], json!(["Ada", "Bo"]));
    }
}
