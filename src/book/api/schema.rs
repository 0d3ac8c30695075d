//! JSON Schemas of requests, corrections and answers.

use crate::book::common::Common;
use crate::kernel::Kind;
use crate::kernel::field::Body;
use serde_json::{Map, Value, json};

/// The JSON Schema of a request that records `B`; `without` is given by the path.
#[must_use]
pub fn request_schema<B: Body>(at_required: bool, without: Option<&str>) -> Value {
    let (members, mut required) = B::member_schemas();
    let mut properties = Common::schemas();
    properties.extend(members);
    if at_required {
        required.push("at");
        properties["at"] = json!({"type": "string", "format": "date-time", "description": "when it happened, with an offset"});
    }
    if let Some(without) = without {
        properties.shift_remove(without);
        required.retain(|name| *name != without);
    }
    json!({"type": "object", "properties": properties, "required": required, "additionalProperties": false})
}

/// The JSON Schema of a correction of `B`.
#[must_use]
pub fn patch_schema<B: Body>() -> Value {
    let (mut members, _) = B::member_schemas();
    members.extend(Common::schemas());
    members.shift_remove("id");
    for (_, schema) in &mut members {
        nullable(schema);
    }
    for name in B::child_members() {
        // In a correction a child with an id is kept or changed, one without is new.
        members[name] = json!({"type": ["array", "null"], "items": {"type": "object"}, "maxItems": 200});
    }
    members.insert("reason".into(), json!({"type": ["string", "null"], "minLength": 1, "maxLength": 500}));
    json!({"type": "object", "properties": members, "additionalProperties": false})
}

fn nullable(schema: &mut Value) {
    if let Some(Value::String(one)) = schema.get("type").cloned() {
        schema["type"] = json!([one, "null"]);
        if let Some(Value::Array(words)) = schema.get_mut("enum") {
            words.push(Value::Null);
        }
    }
}

/// The JSON Schema of a record as answered: what every record bears, its body, and what
/// else it may carry.
#[must_use]
pub fn record_schema<B: Body>(kind: Kind, more: &Map<String, Value>, children: &[(&'static str, Kind)]) -> Value {
    let (members, required) = B::member_schemas();
    let mut properties = envelope_schemas();
    for (name, mut schema) in members {
        if !B::child_members().contains(&name.as_str()) {
            loosen(&mut schema);
            properties.insert(name, schema);
        }
    }
    for (name, schema) in more {
        properties.insert(name.clone(), schema.clone());
    }
    for (name, child) in children {
        let schema = json!({"type": "array", "items": {"$ref": format!("#/components/schemas/{}", child.type_name())}});
        properties.insert((*name).to_owned(), schema);
    }
    let mut needed: Vec<&str> =
        vec!["id", "at", "at_precision", "recorded_at", "by", "hands", "practice_flags", "version", "etag"];
    // Money is left out for those who may not see it.
    needed.extend(required.iter().filter(|name| !B::child_members().contains(name) && !name.ends_with("_minor")));
    json!({
        "type": "object",
        "title": kind.type_name(),
        "properties": properties,
        "required": needed
    })
}

/// Answers may gain words: lists of words and nulls are not closed in what is answered.
fn loosen(schema: &mut Value) {
    if let Some(object) = schema.as_object_mut() {
        object.shift_remove("additionalProperties");
        for value in object.values_mut() {
            loosen(value);
        }
    } else if let Some(items) = schema.as_array_mut() {
        items.iter_mut().for_each(loosen);
    }
}

fn envelope_schemas() -> Map<String, Value> {
    let mut out = Map::new();
    for (name, schema) in [
        ("id", json!({"type": "string", "format": "uuid"})),
        ("at", json!({"type": "string", "format": "date-time"})),
        ("at_precision", json!({"type": "string"})),
        ("recorded_at", json!({"type": "string", "format": "date-time"})),
        ("by", json!({"type": "string"})),
        ("hands", json!({"type": "array", "items": {"type": "string", "format": "uuid"}})),
        ("despite", json!({"type": "array", "items": {"type": "string"}})),
        ("assumed", json!({"type": "array", "items": {"type": "string"}})),
        (
            "practice_flags",
            json!({"type": "array", "items": {"type": "object", "required": ["code"], "properties": {
            "code": {"type": "string"}, "limit": {"type": "string"}, "was": {"type": "string"}}}}),
        ),
        ("version", json!({"type": "integer", "minimum": 1})),
        ("etag", json!({"type": "string"})),
        (
            "void",
            json!({"type": "object", "required": ["at", "reason"], "properties": {
            "at": {"type": "string", "format": "date-time"}, "reason": {"type": "string"}}}),
        ),
        (
            "first_use",
            json!({"type": "array", "items": {"type": "object", "properties": {
            "kind": {"type": "string"}, "name": {"type": "string"}, "id": {"type": "string", "format": "uuid"}}}}),
        ),
    ] {
        out.insert(name.to_owned(), schema);
    }
    out
}

/// A reference to the schema of a kind's records.
#[must_use]
pub fn by_ref(kind: Kind) -> Value {
    json!({"$ref": format!("#/components/schemas/{}", kind.type_name())})
}

pub(super) fn words(kind: Kind) -> String {
    kind.name().replace('_', " ")
}
