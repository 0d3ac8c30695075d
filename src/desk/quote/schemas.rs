//! The JSON Schemas of quotes as they are answered.

use crate::book::api::by_ref;
use crate::kernel::Kind;
use serde_json::{Map, Value, json};

fn object(required: &[&str], properties: &Value) -> Value {
    json!({"type": "object", "required": required, "properties": properties})
}

fn list(items: &Value) -> Value {
    json!({"type": "array", "items": items})
}

/// Members that the book adds to a quote.
pub fn quote() -> Map<String, Value> {
    let (text, whole, number) = (json!({"type": "string"}), json!({"type": "integer"}), json!({"type": "number"}));
    let maybe = json!({"type": ["integer", "null"], "description": "null: from too few jobs to say"});
    let ends = object(&["low", "high"], &json!({"low": maybe, "high": maybe}));
    let of_line = object(
        &["what", "alloy", "copy_kg", "copies", "castings", "chance_of_failure", "chance_lost", "looked", "extrapolates"],
        &json!({
            "what": text, "alloy": text, "family": text, "copy_kg": number, "copies": whole, "sections": whole, "section_mm": number,
            "unique": {"type": "boolean"}, "share_minor": {"type": "integer", "description": "of the price before tax, what falls on this line"}, "metal": {"type": "object", "description": "the price of a kg, and whether it was said, is the book's or the market's"},
            "most_attempts": whole, "recast_borne_by": text, "castings": {"type": "object"},
            "chance_of_failure": {"type": "number", "description": "that a casting fails, on average"},
            "chance_lost": {"type": "number", "description": "that a copy is not good within the attempts; of a unique pattern, that the work is lost"},
            "one_more_minor": whole, "recast_price_minor": {"type": "integer", "description": "what one casting more is offered at, before tax"},
            "remake_price_minor": {"type": ["integer", "null"], "description": "what making a unique work again is offered at, before tax"}, "poured_kg": {"type": "object"}, "hours": number,
            "looked": {"type": "object", "description": "how far it was necessary to look for castings to compare with"},
            "extrapolates": {"type": ["object", "null"], "description": "the mass lies outside the record, and how far"},
            "nothing_known_of": list(&text),
        }),
    );
    let driver = object(
        &["name", "about", "share_of_spread", "rests_on"],
        &json!({"name": text, "about": text, "adds_minor": whole, "low_minor": whole, "high_minor": whole, "share_of_spread": number,
                "rests_on": {"type": "number", "description": "how many jobs count behind it"}, "narrower": text}),
    );
    let basis = object(
        &["items", "left_out"],
        &json!({"left_out": whole, "effective": list(&number), "items": list(&object(&["line", "weight", "job", "castings"], &json!({
            "line": whole, "weight": number, "job": text, "title": text, "castings": list(&text), "alloy": text, "mass_kg": number,
            "section_mm": number, "attempts": whole, "failed": whole})))}),
    );
    let price = object(
        &["rules", "rule"],
        &json!({"rules": list(&object(&["rule"], &json!({"rule": text, "amount_minor": whole}))), "rule": text, "rounded_to_minor": whole,
                "net_minor": whole, "tax_percent": number, "tax_minor": whole, "total_minor": whole,
                "stages": list(&object(&["for"], &json!({"for": text, "amount_minor": whole}))),
                "chance_of_loss": {"type": ["number", "null"], "description": "that the job costs more than the price before tax"},
                "each_minor": {"type": ["integer", "null"], "description": "of a copy, with what is paid once spread over all"},
                "next_alone_minor": {"type": ["integer", "null"], "description": "of one copy more, what is paid once being paid for"},
                "once_minor": whole}),
    );
    let members = json!({
        "number": text, "quote_version": whole,
        "state": {"type": "string", "enum": ["draft", "sent", "accepted", "declined", "superseded", "void"]},
        "commission": object(&["id", "number"], &json!({"id": {"type": "string", "format": "uuid"}, "number": text})),
        "draws": whole, "cost_minor": object(&["p50", "p80", "p95"], &json!({"p50": whole, "p80": whole, "p95": maybe})),
        "interval80": ends, "interval50_minor": ends, "interval95_minor": ends, "median_minor": number, "mean_minor": number, "spread": number,
        "calibrated": {"type": "boolean"}, "calibrated_on": whole, "said": text, "price_minor": whole, "price": price,
        "drivers": list(&driver), "basis": basis, "lines_worked": list(&of_line),
        "lacking": list(&object(&["rate", "said"], &json!({"rate": text, "said": text}))),
    });
    match members {
        Value::Object(members) => members,
        _ => Map::new(),
    }
}

/// One quote, as it is answered by itself.
pub fn one() -> Value {
    json!({"allOf": [by_ref(Kind::Quote), {"type": "object", "required": ["lapsed", "versions"], "properties": {
        "versions": {"type": "array", "items": {"type": "string"}, "description": "the numbers of its versions that are not void, in order"},
        "lapsed": {"type": "boolean", "description": "its days are over and nothing became of it"},
        "real": {"type": "object", "description": "what the job that it became has cost so far", "properties": {
            "finished": {"type": "boolean"}, "cost_minor": {"type": "integer"}, "past_p80": {"type": "boolean"},
            "provisional": {"type": "boolean", "description": "some of its metal may still move"}, "groups": {"type": "object"}, "said": {"type": "string"}}}}}]})
}
