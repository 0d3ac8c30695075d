//! The schema of the model's answer.

use serde_json::{Value, json};

pub fn schema() -> Value {
    let (whole, part, text) = (json!({"type": "integer", "minimum": 0}), json!({"type": "number"}), json!({"type": "string"}));
    let share = json!({"type": "number", "minimum": 0, "maximum": 1});
    let flag = json!({"type": "boolean"});
    let list = |items: Value| json!({"type": "array", "items": items});
    let term = json!({"type": "object", "required": ["factor", "odds_ratio", "low", "high", "p", "includes_one", "pinned_down", "words"],
        "properties": {
            "factor": text, "level": text, "n": whole, "count": whole,
            "beside": {"type": "string", "description": "the level it is held beside: the most used"},
            "step": {"type": "number", "description": "what the odds ratio is for"}, "unit": text,
            "seen": {"type": "object", "required": ["from", "to", "mean"], "properties": {"from": part, "to": part, "mean": part}},
            "odds_ratio": part, "low": part, "high": part, "p": share, "includes_one": flag,
            "pinned_down": {"type": "boolean", "description": "false where a level had the outcome never or always"},
            "words": text}});
    let test = json!({"type": "object", "required": ["factor", "chi_squared", "freedom", "p"], "properties": {
        "factor": text, "chi_squared": part, "freedom": part, "p": share}});
    let row = json!({"type": "object", "required": ["level", "n", "count", "behind_href"], "properties": {
        "level": text, "n": whole, "count": whole, "rate": share, "low": share, "high": share,
        "adjusted": share, "adjusted_low": share, "adjusted_high": share, "behind_href": text}});
    let rates = json!({"type": "object", "required": ["factor", "at", "levels", "rows"], "properties": {
        "factor": text, "at": {"type": "string", "description": "where the other factors stand"}, "levels": whole, "rows": list(row)}});
    let point = json!({"type": "object", "required": ["shell_c", "rate", "low", "high"], "properties": {
        "shell_c": part, "rate": share, "low": share, "high": share}});
    let dot = json!({"type": "object", "required": ["band", "shell_c", "n", "count", "behind_href"], "properties": {
        "band": text, "shell_c": part, "n": whole, "count": whole, "rate": share, "low": share, "high": share, "behind_href": text}});
    let section = json!({"type": "object", "required": ["section", "points", "dots"], "properties": {
        "section": text, "points": list(point), "dots": list(dot)}});
    let curve = json!({"type": "object", "required": ["outcome", "against", "unit", "left_out", "sections"], "properties": {
        "outcome": text, "against": text, "unit": text, "left_out": whole, "sections": list(section),
        "shape": {"type": "string", "description": "line or spline"}, "band": {"type": "string", "description": "profile or delta"},
        "p": share, "refused": text}});
    let missing = json!({"type": "object", "required": ["factor", "not_on_record", "mixed"], "properties": {
        "factor": text, "not_on_record": whole, "mixed": whole}});
    let reference = json!({"type": "object", "required": ["factor", "level", "n", "count"], "properties": {
        "factor": text, "level": text, "n": whole, "count": whole}});
    json!({"type": "object", "required": ["outcome", "unit", "of", "by", "method", "heats", "measures", "fitted", "curves"], "properties": {
        "outcome": text, "unit": text, "of": text, "filters": {"type": "object"}, "by": list(text.clone()), "method": text,
        "heats": {"type": "string", "description": "that the intervals take each shell by itself, though the shells of a heat share its luck"},
        "measures": {"type": "string", "description": "the units of all that is said, whatever the shop reads in"},
        "n": whole, "count": whole,
        "left_out": {"type": "object", "required": ["count", "why"], "properties": {"count": whole, "why": list(missing)}},
        "fitted": flag,
        "refused": {"type": "object", "required": ["code", "words"], "properties": {
            "code": text, "words": text, "leave_out": list(text.clone())}},
        "coarse": text, "reference": list(reference), "terms": list(term), "tests": list(test), "dropped": list(text.clone()),
        "separation": {"type": "string", "description": "none, quasi or complete; left open where rounding hides it"},
        "rates": list(rates), "curves": list(curve)
    }})
}
