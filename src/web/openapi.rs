//! The API document (OpenAPI 3.1) from the route table.

use super::route::{Answer, Method, Route};
use crate::kernel::ProblemType;
use crate::kernel::actor::Right;
use serde_json::{Map, Value, json};

/// The document over a table of routes and named schemas.
#[must_use]
pub fn document(routes: &[Route], schemas: Map<String, Value>) -> Value {
    let mut paths: Map<String, Value> = Map::new();
    let mut components = schemas;
    components.insert("Problem".into(), problem_schema());
    let mut headings: Vec<&str> = Vec::new();
    for route in routes {
        if !headings.contains(&route.heading) {
            headings.push(route.heading);
        }
        let operation = operation(route, &mut components);
        let item = paths.entry(route.path.clone()).or_insert_with(|| json!({}));
        item[route.method.name().to_lowercase()] = operation;
    }
    json!({
        "openapi": "3.1.0",
        "info": {
            "title": "Pourbook",
            "version": env!("CARGO_PKG_VERSION"),
            "summary": "The book of the small ceramic-shell foundry",
            "description": "SI quantities with the unit in the field's name; RFC 3339 instants with an offset; problems as RFC 9457. A member that is not there is left out, never null or zero.",
            "license": {"name": "MIT", "identifier": "MIT"}
        },
        "servers": [{"url": "/", "description": "this server"}],
        "tags": headings.iter().map(|h| json!({"name": h, "description": about(h)})).collect::<Vec<_>>(),
        "security": [{"token": []}],
        "paths": paths,
        "components": {
            "schemas": components,
            "securitySchemes": {"token": {"type": "http", "scheme": "bearer", "description": "pourbook token NAME --role owner|hand|reader"}},
            "responses": {"Problem": {
                "description": "A problem; its type has a help page on this server",
                "content": {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}}
            }}
        }
    })
}

/// One line on each heading that routes stand under.
fn about(heading: &str) -> &'static str {
    match heading {
        "Help" => "Whether the server is well, what a problem means, this document.",
        "History" => "Who changed what, when, from what to what.",
        "The shop" => "Hands, kilns, furnaces, crucibles, suppliers; dated settings; who I am.",
        "Clients and commissions" => "Who commissions work, the jobs agreed on, and what they cost.",
        "Patterns, pieces and castings" => "Forms on file, works owed, and every attempt to cast them.",
        "Shells" => "Recipes in versions, slurry, shells, their coats and patches.",
        "Kilns" => "Burnouts and preheats.",
        "Metal" => "Lots and pools, and where every gram and every cent is.",
        "Heats and pours" => "Melts from lighting to closing, pours and their leaks.",
        "Breakout and bench" => "Shells opened, castings judged, cut off and worked on.",
        "Reports" => {
            "Leaks, shorts, defects and yields, each with its count and interval; where metal was lost, lies, and whose it is."
        }
        "Trade" => "Alloys, pattern materials, defects, cups, units, cautions, each value with its source.",
        _ => "Further routes.",
    }
}

fn operation(route: &Route, components: &mut Map<String, Value>) -> Value {
    let mut parameters: Vec<Value> = route
        .path
        .split('/')
        .filter_map(|part| part.strip_prefix('{').and_then(|p| p.strip_suffix('}')))
        .map(|name| {
            json!({"name": name, "in": "path", "required": true,
                   "schema": {"type": "string", "minLength": 1, "maxLength": 64}})
        })
        .collect();
    for param in &route.params {
        parameters.push(json!({"name": param.name, "in": "query", "required": param.required,
                               "description": param.about, "schema": param.schema}));
    }
    match route.method {
        Method::Post => parameters.push(json!({"name": "Idempotency-Key", "in": "header", "required": false,
            "description": "Made by the caller for this one request; a repeat is answered again and recorded once.",
            "schema": {"type": "string", "minLength": 1, "maxLength": 128}})),
        Method::Patch | Method::Put => parameters.push(json!({"name": "If-Match", "in": "header", "required": true,
            "description": "The etag of the record as last read.",
            "schema": {"type": "string", "minLength": 1, "maxLength": 128}})),
        Method::Get => {}
    }
    let mut headers = Map::new();
    if route.answer.etag {
        headers.insert("ETag".into(), json!({"schema": {"type": "string"}}));
    }
    if route.answer.status == 201 {
        headers.insert("Location".into(), json!({"schema": {"type": "string"}}));
    }
    let mut success = json!({
        "description": route.answer.about,
        "content": content(&route.answer)
    });
    if route.answer.varies() {
        headers.insert("Vary".into(), json!({"schema": {"type": "string"}}));
    }
    if !headers.is_empty() {
        success["headers"] = Value::Object(headers);
    }
    let mut out = json!({
        "operationId": route.operation,
        "summary": route.about,
        "tags": [route.heading],
        "responses": {
            route.answer.status.to_string(): success,
            "4XX": {"$ref": "#/components/responses/Problem"},
            "5XX": {"$ref": "#/components/responses/Problem"}
        }
    });
    if !parameters.is_empty() {
        out["parameters"] = parameters.into();
    }
    if route.right == Right::Open {
        out["security"] = json!([]);
    }
    if let Some(body) = &route.body {
        let media = if body.merge_patch { "application/merge-patch+json" } else { "application/json" };
        let schema = if body.name.is_empty() {
            body.schema.clone()
        } else {
            components.insert(body.name.clone(), body.schema.clone());
            json!({"$ref": format!("#/components/schemas/{}", body.name)})
        };
        out["requestBody"] = json!({"required": true, "content": {media: {"schema": schema}}});
    }
    out
}

/// What is answered in each media type: the first as its schema has it, a drawing as a whole.
fn content(answer: &Answer) -> Value {
    let drawing = || json!({"type": "string", "description": "the drawing alone; its marks lead to pages of this server"});
    let schemas = answer.medias().enumerate().map(|(n, media)| {
        let schema = if n == 0 { answer.schema.clone() } else { drawing() };
        (media.to_owned(), json!({"schema": schema}))
    });
    Value::Object(schemas.collect())
}

fn problem_schema() -> Value {
    let types: Vec<String> = ProblemType::ALL.iter().map(|k| super::reply::type_uri(*k)).collect();
    json!({
        "type": "object",
        "required": ["type", "title", "status", "detail"],
        "properties": {
            "type": {"type": "string", "examples": types},
            "title": {"type": "string"},
            "status": {"type": "integer"},
            "detail": {"type": "string"},
            "instance": {"type": "string"},
            "request_id": {"type": "string"},
            "errors": {"type": "array", "items": {
                "type": "object",
                "required": ["pointer", "code", "message"],
                "properties": {
                    "pointer": {"type": "string", "description": "JSON pointer into the body (RFC 6901), or a parameter"},
                    "code": {"type": "string"},
                    "message": {"type": "string"}
                }
            }}
        }
    })
}
