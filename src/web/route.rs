//! A route as data: the API document, the rights and the dispatcher all read this.

use super::reply::Reply;
use crate::kernel::actor::Right;
use crate::kernel::{Actor, Instant, Problem, ProblemType};
use serde_json::Value;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;

/// A method.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Hash, PartialOrd, Ord)]
pub enum Method {
    /// Reads.
    Get,
    /// Records.
    Post,
    /// Corrects.
    Patch,
    /// Puts in place.
    Put,
}

impl Method {
    /// In capitals.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Get => "GET",
            Self::Post => "POST",
            Self::Patch => "PATCH",
            Self::Put => "PUT",
        }
    }
}

/// A parameter of the query.
#[derive(Clone, Debug)]
pub struct Param {
    /// Whether it must be given.
    pub required: bool,
    /// Its name.
    pub name: &'static str,
    /// What it does.
    pub about: &'static str,
    /// Its JSON Schema.
    pub schema: Value,
}

/// What a route takes as a body.
#[derive(Clone, Debug)]
pub struct RequestBody {
    /// The name of its schema among the components; empty for one that stands inline.
    pub name: String,
    /// Its JSON Schema.
    pub schema: Value,
    /// Whether it is a merge patch.
    pub merge_patch: bool,
}

/// What a route answers.
#[derive(Clone, Debug)]
pub struct Answer {
    /// The status of success.
    pub status: u16,
    /// What it is.
    pub about: &'static str,
    /// Its media type; of several, with commas between, the first unless another is liked better.
    pub media: &'static str,
    /// Its JSON Schema.
    pub schema: Value,
    /// Whether it carries an etag.
    pub etag: bool,
}

/// A report, or its drawing alone where that is asked for: its handler answers
/// [`Reply::drawn`](super::Reply::drawn).
pub const JSON_OR_SVG: &str = "application/json, image/svg+xml";

impl Answer {
    /// Its media types.
    pub fn medias(&self) -> impl Iterator<Item = &'static str> + use<> {
        self.media.split(", ")
    }
    /// Whether it depends on what `Accept` says.
    #[must_use]
    pub fn varies(&self) -> bool {
        self.medias().nth(1).is_some()
    }
}

/// A request, read as far as every route needs it.
pub struct Ctx {
    /// Who asks; nobody on open routes.
    pub actor: Option<Actor>,
    /// Parts of the path by name.
    pub path_params: Vec<(String, String)>,
    /// The query, each name known to the route and there once.
    pub query: Vec<(String, String)>,
    /// The body; null where there is none.
    pub body: Value,
    /// The path as asked.
    pub path: String,
    /// The method.
    pub method: Method,
    /// `If-Match`.
    pub if_match: Option<String>,
    /// `Idempotency-Key`.
    pub key: Option<String>,
    /// What the key is bound to, where that is not the body: a page says how long ago
    /// something was, so that its body is another each time it is sent.
    pub sent: Option<Value>,
    /// Now.
    pub now: Instant,
}

impl Ctx {
    /// What an idempotency key is bound to.
    #[must_use]
    pub fn bound(&self) -> &Value {
        self.sent.as_ref().unwrap_or(&self.body)
    }
    /// Who asks.
    ///
    /// # Errors
    /// `no-token` on a route that forgot to ask for one.
    pub fn actor(&self) -> Result<Actor, Problem> {
        self.actor.clone().ok_or_else(|| Problem::new(ProblemType::NoToken, "Send a bearer token."))
    }
    /// A part of the path.
    #[must_use]
    pub fn part(&self, name: &str) -> &str {
        self.path_params.iter().find(|(n, _)| n == name).map_or("", |(_, v)| v)
    }
    /// A parameter of the query.
    #[must_use]
    pub fn param(&self, name: &str) -> Option<&str> {
        self.query.iter().find(|(n, _)| n == name).map(|(_, v)| v.as_str())
    }
}

/// What answers a request.
pub type Handler = Arc<dyn Fn(Ctx) -> Pin<Box<dyn Future<Output = Result<Reply, Problem>> + Send>> + Send + Sync>;

/// One route.
#[derive(Clone)]
pub struct Route {
    /// Its method.
    pub method: Method,
    /// Its path, parts in braces.
    pub path: String,
    /// A stable name.
    pub operation: String,
    /// What a caller must be allowed.
    pub right: Right,
    /// One line.
    pub about: String,
    /// The heading it stands under.
    pub heading: &'static str,
    /// Its query.
    pub params: Vec<Param>,
    /// Its body.
    pub body: Option<RequestBody>,
    /// Its answer.
    pub answer: Answer,
    /// What answers.
    pub handler: Handler,
}

/// Wraps an async function as a handler.
pub fn handler<F, T>(f: F) -> Handler
where
    F: Fn(Ctx) -> T + Send + Sync + 'static,
    T: Future<Output = Result<Reply, Problem>> + Send + 'static,
{
    Arc::new(move |ctx| Box::pin(f(ctx)))
}
