//! Every answer held against the API document: a path and method that stand in it, the
//! status and the content type it promises, the headers, and the schema of the body.

use super::Reply;
use axum::http::Method;
use jsonschema::Validator;
use serde_json::{Value, json};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, OnceLock};

struct Contract {
    document: Value,
    /// Path templates in parts, longest match of literals first.
    paths: Vec<(String, Vec<String>)>,
    validators: Mutex<HashMap<String, Arc<Validator>>>,
}

static CONTRACT: OnceLock<Contract> = OnceLock::new();

/// Takes the document in; it is the same for every shop.
pub fn learn(document: &Value) {
    CONTRACT.get_or_init(|| {
        let names = document["paths"].as_object().unwrap().keys();
        let mut paths: Vec<(String, Vec<String>)> =
            names.map(|p| (p.clone(), p.split('/').map(str::to_owned).collect())).collect();
        paths.sort_by_key(|(_, parts)| parts.iter().filter(|p| p.starts_with('{')).count());
        Contract { document: document.clone(), paths, validators: Mutex::default() }
    });
}

impl Contract {
    fn template(&self, path: &str) -> Option<&str> {
        let given: Vec<&str> = path.split('/').collect();
        let fits = |parts: &[String]| {
            parts.len() == given.len() && parts.iter().zip(&given).all(|(p, g)| p == g || (p.starts_with('{') && !g.is_empty()))
        };
        self.paths.iter().find(|(_, parts)| fits(parts)).map(|(name, _)| name.as_str())
    }

    fn validator(&self, name: &str, schema: &Value) -> Arc<Validator> {
        let mut known = self.validators.lock().unwrap();
        known
            .entry(name.to_owned())
            .or_insert_with(|| {
                let whole = json!({
                    "$schema": "https://json-schema.org/draft/2020-12/schema",
                    "allOf": [schema],
                    "components": self.document["components"],
                });
                let options = jsonschema::options().should_validate_formats(true);
                Arc::new(options.build(&whole).unwrap_or_else(|e| panic!("the schema of {name}: {e}")))
            })
            .clone()
    }

    #[track_caller]
    fn hold(&self, name: &str, schema: &Value, value: &Value) {
        let validator = self.validator(name, schema);
        let wrong: Vec<String> = validator.iter_errors(value).map(|e| format!("{}: {e}", e.instance_path())).collect();
        assert!(wrong.is_empty(), "{name} is not as documented: {wrong:#?}\n{value:#}");
    }
}

/// Holds an answer against the document.
#[track_caller]
pub fn check(method: &Method, path: &str, reply: &Reply) {
    let contract = CONTRACT.get().unwrap();
    let template = contract.template(path);
    let media = reply.header("content-type").unwrap_or("");
    let name = format!("{method} {}", template.unwrap_or(path));
    if method == Method::OPTIONS && template.is_some() {
        assert_eq!((reply.status, reply.bytes.len()), (204, 0), "{name}");
        return;
    }
    let read = if method == Method::HEAD { "get".to_owned() } else { method.as_str().to_lowercase() };
    let operation = template.map_or(&Value::Null, |t| &contract.document["paths"][t][&read]);
    if reply.status >= 400 {
        assert_eq!(media, "application/problem+json", "{name}: {}", reply.status);
        if operation.is_null() {
            assert!([404, 405].contains(&reply.status), "{name}: {}", reply.status);
        }
        if method != Method::HEAD {
            contract.hold("a problem", &json!({"$ref": "#/components/schemas/Problem"}), &reply.json);
            assert_eq!(reply.json["status"], reply.status, "{name}");
        }
        return;
    }
    assert!(!operation.is_null(), "{name} answered {} and is not in the document", reply.status);
    let answer = &operation["responses"][reply.status.to_string()];
    assert!(answer.is_object(), "{name} answered {}, which is not in the document", reply.status);
    let content = answer["content"].as_object().unwrap();
    let schema = content.get(media).unwrap_or_else(|| panic!("{name} answers {media}, and promises {content:?}"));
    for (header, _) in answer["headers"].as_object().into_iter().flatten() {
        assert!(reply.header(header).is_some(), "{name} promises {header}");
    }
    if method == Method::HEAD {
        assert!(reply.bytes.is_empty(), "{name}");
    } else if media == "application/json" {
        contract.hold(&format!("{name} {}", reply.status), &schema["schema"], &reply.json);
    }
}
