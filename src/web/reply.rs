//! Answers, and problems as answers (RFC 9457).

use crate::kernel::actor::Right;
use crate::kernel::problem::Class;
use crate::kernel::{Actor, Problem, ProblemType};
use axum::body::Body;
use axum::http::{HeaderName, HeaderValue, Response, StatusCode, header};
use serde_json::{Map, Value, json};

/// An answer.
#[derive(Clone, Debug)]
pub struct Reply {
    /// The status.
    pub status: u16,
    /// The media type.
    pub media: &'static str,
    /// The body, where it is JSON that may still lose members.
    pub value: Option<Value>,
    /// The body, where it is not.
    pub bytes: Vec<u8>,
    /// `Location`.
    pub location: Option<String>,
    /// The etag, unquoted.
    pub etag: Option<String>,
    /// `Link`.
    pub link: Option<String>,
    /// Whether an idempotency key was answered again.
    pub replayed: bool,
    /// What draws the body, for those who ask for a drawing.
    pub drawing: Option<fn(&Value) -> String>,
}

impl Reply {
    /// JSON with status 200.
    #[must_use]
    pub fn json(value: &Value) -> Self {
        Self {
            status: 200,
            media: "application/json",
            value: Some(value.clone()),
            bytes: Vec::new(),
            location: None,
            etag: value.get("etag").and_then(Value::as_str).map(str::to_owned),
            link: None,
            replayed: false,
            drawing: None,
        }
    }
    /// A page.
    #[must_use]
    pub fn html(text: impl Into<String>) -> Self {
        Self { media: "text/html; charset=utf-8", value: None, bytes: text.into().into_bytes(), ..Self::json(&Value::Null) }
    }
    /// A file that the binary carries.
    #[must_use]
    pub fn file(media: &'static str, bytes: &[u8]) -> Self {
        Self { media, value: None, bytes: bytes.to_vec(), ..Self::json(&Value::Null) }
    }
    /// JSON that may be asked for as a drawing, `image/svg+xml`: what draws it is given what the
    /// caller may see. Its route says [`JSON_OR_SVG`](super::route::JSON_OR_SVG).
    #[must_use]
    pub fn drawn(mut self, draw: fn(&Value) -> String) -> Self {
        self.drawing = Some(draw);
        self
    }
    /// As that media type, if it can be drawn and that is it.
    #[must_use]
    pub(super) fn written_as(self, media: &str) -> Self {
        match (&self.value, self.drawing) {
            (Some(value), Some(draw)) if media == "image/svg+xml" => {
                Self { media: "image/svg+xml", bytes: draw(value).into_bytes(), value: None, ..self }
            }
            _ => self,
        }
    }
    /// With that status.
    #[must_use]
    pub const fn status(mut self, status: u16) -> Self {
        self.status = status;
        self
    }

    /// Without money: members that tell an amount or a price are left out, never 0.
    #[must_use]
    pub fn without_money(mut self) -> Self {
        if let Some(value) = &mut self.value {
            strip_money(value);
        }
        self
    }

    /// As someone may see it: without money where it is not theirs to see, and without the names of makers
    /// for those who only read.
    #[must_use]
    pub fn seen_by(mut self, actor: Option<&Actor>) -> Self {
        let Some(actor) = actor else { return self };
        if !actor.sees_money {
            self = self.without_money();
        }
        if let (false, Some(value)) = (actor.role.may(Right::Log), &mut self.value) {
            strip_makers(value);
        }
        self
    }

    /// As a response.
    #[must_use]
    pub fn into_response(self) -> Response<Body> {
        let cache = if self.media == "text/javascript" { "public, max-age=86400" } else { "private, no-cache" };
        let bytes = self.value.map_or(self.bytes, |value| value.to_string().into_bytes());
        let mut response = Response::new(Body::from(bytes));
        *response.status_mut() = StatusCode::from_u16(self.status).unwrap_or(StatusCode::OK);
        let mut set = |name: HeaderName, value: &str| {
            if let Ok(value) = HeaderValue::from_str(value) {
                response.headers_mut().insert(name, value);
            }
        };
        set(header::CONTENT_TYPE, self.media);
        set(header::CACHE_CONTROL, cache);
        if let Some(location) = &self.location {
            set(header::LOCATION, location);
        }
        if let Some(etag) = &self.etag {
            set(header::ETAG, &format!("\"{etag}\""));
        }
        if let Some(link) = &self.link {
            set(header::LINK, link);
        }
        if self.replayed {
            set(HeaderName::from_static("idempotency-replayed"), "true");
        }
        response
    }
}

fn strip_money(value: &mut Value) {
    match value {
        Value::Object(members) => {
            members.retain(|name, _| !name.ends_with("_minor") && !name.contains("_minor_"));
            members.values_mut().for_each(strip_money);
        }
        Value::Array(items) => items.iter_mut().for_each(strip_money),
        _ => {}
    }
}

fn strip_makers(value: &mut Value) {
    match value {
        Value::Object(members) => {
            members.shift_remove("maker");
            members.values_mut().for_each(strip_makers);
        }
        Value::Array(items) => items.iter_mut().for_each(strip_makers),
        _ => {}
    }
}

/// The status of a class of problems. The one place that maps them.
#[must_use]
pub const fn status(class: Class) -> u16 {
    match class {
        Class::Malformed => 400,
        Class::NoToken => 401,
        Class::NotAllowed => 403,
        Class::NotFound => 404,
        Class::WrongMethod => 405,
        Class::NotAcceptable => 406,
        Class::Conflict => 409,
        Class::Stale => 412,
        Class::TooLarge => 413,
        Class::WrongType => 415,
        Class::Invalid => 422,
        Class::PreconditionMissing => 428,
        Class::TooMany => 429,
        Class::Internal => 500,
        Class::Busy => 503,
    }
}

/// The stable `type` of a problem: a page that this server answers.
#[must_use]
pub fn type_uri(kind: ProblemType) -> String {
    format!("/problems/{}", kind.slug())
}

/// A problem as JSON.
#[must_use]
pub fn problem_json(problem: &Problem, instance: &str, request_id: &str) -> Value {
    let mut out = Map::new();
    out.insert("type".into(), type_uri(problem.kind).into());
    out.insert("title".into(), problem.kind.title().into());
    out.insert("status".into(), status(problem.kind.class()).into());
    out.insert("detail".into(), problem.detail.as_str().into());
    out.insert("instance".into(), instance.into());
    out.insert("request_id".into(), request_id.into());
    if !problem.faults.is_empty() {
        let errors: Vec<Value> =
            problem.faults.iter().map(|f| json!({"pointer": f.pointer, "code": f.code, "message": f.message})).collect();
        out.insert("errors".into(), errors.into());
    }
    for (name, value) in &problem.more {
        out.insert(name.clone(), value.clone());
    }
    Value::Object(out)
}

/// A problem as a response.
#[must_use]
pub fn problem_response(problem: &Problem, instance: &str, request_id: &str) -> Response<Body> {
    let class = problem.kind.class();
    let mut response = Response::new(Body::from(problem_json(problem, instance, request_id).to_string()));
    *response.status_mut() = StatusCode::from_u16(status(class)).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    match class {
        Class::NoToken => {
            headers.insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer realm=\"pourbook\""));
        }
        Class::Busy => {
            headers.insert(header::RETRY_AFTER, HeaderValue::from_static("2"));
        }
        Class::TooMany => {
            let seconds = problem.more.get("retry_after_s").and_then(Value::as_u64).unwrap_or(60);
            headers.insert(header::RETRY_AFTER, HeaderValue::from(seconds));
        }
        _ => {}
    }
    response
}
