//! The schemas of the reports on the metal ledger.

use serde_json::{Value, json};

fn text() -> Value {
    json!({"type": "string"})
}

fn whole() -> Value {
    json!({"type": "integer"})
}

fn number() -> Value {
    json!({"type": "number"})
}

fn time() -> Value {
    json!({"type": "string", "format": "date-time"})
}

fn id() -> Value {
    json!({"type": "string", "format": "uuid"})
}

fn list(of: &Value) -> Value {
    json!({"type": "array", "items": of})
}

fn filters() -> Value {
    json!({"type": "object"})
}

/// Members of one type.
type Members<'a> = (&'a [&'a str], fn() -> Value);

/// An object: members of each type, and which are always there.
fn object(members: &[Members<'_>], more: Value, required: &[&str]) -> Value {
    let mut properties = more;
    for (names, schema) in members {
        for name in *names {
            properties[*name] = schema();
        }
    }
    json!({"type": "object", "required": required, "properties": properties})
}

fn thing() -> Value {
    object(&[(&["id"], id), (&["name"], text)], json!({}), &["id", "name"])
}

/// Of `/v1/reports/heat-balances`.
pub fn heat_balances() -> Value {
    let masses: &[&str] =
        &["charged_kg", "poured_kg", "pigged_kg", "dross_kg", "spilled_kg", "heel_kg", "unexplained_kg", "limit_kg"];
    let item = object(
        &[
            (masses, number),
            (&["number", "href", "alloy"], text),
            (&["id"], id),
            (&["at"], time),
            (&["furnace", "crucible"], thing),
        ],
        json!({"within_tolerance": {"type": "boolean"},
               "closed_by_difference": {"type": "boolean", "description": "in no sum of the unexplained"}}),
        &[
            "id",
            "number",
            "href",
            "at",
            "alloy",
            "furnace",
            "charged_kg",
            "unexplained_kg",
            "within_tolerance",
            "closed_by_difference",
        ],
    );
    let summary = object(
        &[(&["heats", "weighed", "by_difference", "out_of_balance"], whole), (&["unexplained_kg", "unexplained_share"], number)],
        json!({}),
        &["heats", "weighed", "by_difference", "out_of_balance", "unexplained_kg"],
    );
    object(
        &[(&["next_cursor"], text), (&["filters"], filters)],
        json!({"summary": summary, "items": list(&item)}),
        &["filters", "summary", "items"],
    )
}

/// Of `/v1/reports/unexplained`.
pub fn unexplained() -> Value {
    let signals =
        json!({"type": "array", "items": {"type": "string", "enum": ["above_upper", "below_lower", "range_above_upper"]}});
    let point = object(
        &[
            (&["at"], time),
            (&["heat"], id),
            (&["number", "href"], text),
            (&["value", "moving_range", "unexplained_kg", "cumulative_kg"], number),
        ],
        json!({"signals": signals}),
        &["at", "heat", "number", "href", "value", "signals", "unexplained_kg", "cumulative_kg"],
    );
    object(
        &[
            (&["filters"], filters),
            (&["method"], text),
            (&["centre", "lower", "upper", "mean_range", "upper_range"], number),
            (&["by_difference"], whole),
        ],
        json!({"points": list(&point), "few": {"type": "boolean", "description": "too few points: the limits are not to be relied on"}}),
        &["filters", "method", "points", "few", "by_difference"],
    )
}

/// Of `/v1/reports/melt-loss`.
pub fn melt_loss() -> Value {
    let apart = || object(&[(&["heats"], whole), (&["charged_kg"], number)], json!({}), &["heats", "charged_kg"]);
    let figures: &[&str] = &["charged_kg", "melt_loss", "low", "high", "dross_share", "dross_low", "dross_high"];
    let overall = object(
        &[(&["heats"], whole), (figures, number), (&["by_difference"], apart)],
        json!({}),
        &["heats", "charged_kg", "by_difference"],
    );
    let mut row = overall.clone();
    row["properties"]["level"] = json!({"type": ["string", "null"], "description": "null: not on record"});
    row["properties"]["level_id"] = id();
    row["properties"]["label"] = text();
    row["properties"]["href"] = text();
    row["required"] = json!(["level", "label", "heats", "charged_kg", "by_difference"]);
    object(
        &[(&["by", "interval"], text), (&["filters"], filters)],
        json!({"rows": list(&row), "overall": overall}),
        &["by", "filters", "interval", "rows", "overall"],
    )
}

/// Of `/v1/reports/losses`.
pub fn losses() -> Value {
    let behind = object(&[(&["id"], id), (&["tag", "href"], text), (&["at"], time)], json!({}), &["id", "tag", "href", "at"]);
    let money = json!({"type": "integer", "description": "metal value that rests on them"});
    let overall = object(
        &[(&["castings"], whole), (&["kg", "hours"], number)],
        json!({"recast_minor": money}),
        &["castings", "kg", "hours"],
    );
    let row = object(
        &[(&["level", "label"], text), (&["castings"], whole), (&["kg", "hours", "share"], number)],
        json!({"recast_minor": money, "behind": {"type": "array", "items": behind, "description": "the first 200 of the castings"}}),
        &["level", "label", "castings", "kg", "hours", "share", "behind"],
    );
    let sink = object(&[(&["sink"], text), (&["mass_kg"], number)], json!({}), &["sink", "mass_kg"]);
    object(
        &[(&["by"], text), (&["filters"], filters)],
        json!({"rows": list(&row), "overall": overall, "metal_lost": list(&sink)}),
        &["by", "filters", "rows", "overall"],
    )
}

/// Of `/v1/reports/work-in-progress`.
pub fn in_progress() -> Value {
    let held = |more: Value, required: &[&str]| {
        let required: Vec<&str> = required.iter().copied().chain(["mass_kg"]).collect();
        object(&[(&["mass_kg"], number), (&["value_minor"], whole)], more, &required)
    };
    let heat = held(json!({"id": id(), "number": text(), "href": text()}), &["id", "number", "href"]);
    let shell = held(json!({"id": id(), "tag": text(), "href": text()}), &["id", "tag", "href"]);
    let casting = held(json!({"id": id(), "tag": text(), "stage": text(), "href": text()}), &["id", "tag", "stage", "href"]);
    let stage = held(json!({"stage": text(), "castings": whole()}), &["stage", "castings"]);
    let piece = held(
        json!({"id": id(), "commission": text(), "castings": whole(), "href": text()}),
        &["id", "commission", "castings", "href"],
    );
    let place = |rows: &Value| held(json!({"rows": list(rows)}), &["rows"]);
    object(
        &[(&["at"], time)],
        json!({"in_heats": place(&heat), "in_shells": place(&shell),
               "in_castings": held(json!({"rows": list(&casting), "by_stage": list(&stage)}), &["rows", "by_stage"]),
               "pieces": list(&piece), "given_up": held(json!({"castings": whole()}), &["castings"]),
               "in_progress": held(json!({}), &[]), "total": held(json!({}), &[])}),
        &["at", "in_heats", "in_shells", "in_castings", "pieces", "given_up", "in_progress", "total"],
    )
}

/// Of `/v1/clients/{id}/metal-statement`.
pub fn statement() -> Value {
    let standing = || object(&[(&["on_hand_kg", "in_process_kg"], number)], json!({}), &["on_hand_kg", "in_process_kg"]);
    let what = json!({"type": "string", "description": "received, charged, rod, returned, counted, cast, cast_for_others, handed_back, passed_on, gained, or the sink"});
    let record = object(&[(&["kind"], text), (&["id"], id)], json!({}), &["kind", "id"]);
    let line = object(
        &[(&["at"], time), (&["href"], text), (&["mass_kg", "on_hand_kg"], number), (&["heat", "shell", "casting"], thing)],
        json!({"what": what, "record": record}),
        &["at", "what", "mass_kg", "on_hand_kg", "record", "href"],
    );
    let masses: &[&str] =
        &["received_kg", "counted_kg", "gained_kg", "cast_kg", "cast_for_others_kg", "lost_kg", "handed_back_kg", "passed_on_kg"];
    let required: Vec<&str> = masses
        .iter()
        .copied()
        .chain(["filters", "href", "opening", "closing", "lost", "closing_difference_mg", "lines"])
        .collect();
    object(
        &[
            (masses, number),
            (&["opening", "closing"], standing),
            (&["closing_difference_mg"], whole),
            (&["href"], text),
            (&["filters"], filters),
        ],
        json!({"lost": {"type": "object", "additionalProperties": {"type": "number"}}, "lines": list(&line)}),
        &required,
    )
}
