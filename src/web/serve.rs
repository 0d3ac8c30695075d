//! The dispatcher: one path to every route for tokens, rights, bodies, problems and headers.

use super::accept;
use super::page::SESSION;
use super::reply::{Reply, problem_response, type_uri};
use super::route::{Ctx, Method, Route};
use super::visit::{self, Pages};
use crate::db::Db;
use crate::kernel::actor::Right;
use crate::kernel::{Actor, Problem, ProblemType, json};
use axum::Router;
use axum::body::{Body, to_bytes};
use axum::extract::{RawPathParams, Request};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Response, header};
use axum::routing::any;
use serde_json::Value;
use std::collections::BTreeMap;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;

/// The most a body may hold.
pub const BODY_MAX: usize = 1 << 20;
/// How long a request may take before it is given up.
pub(super) const PATIENCE: Duration = Duration::from_secs(30);

/// What a caller shows: a token, or the secret of a session.
#[derive(Clone, Debug)]
pub enum Credential {
    /// A bearer token.
    Token(String),
    /// A session, from its cookie.
    Session(String),
}

/// Who holds a token or a session: given by `app`, since `web` knows no table.
pub type Holder = Arc<dyn Fn(Credential) -> Pin<Box<dyn Future<Output = Result<Option<Actor>, Problem>> + Send>> + Send + Sync>;

struct Path {
    db: Db,
    routes: Vec<Route>,
    holder: Holder,
}

/// The router over a table of routes, and over the pages.
pub fn router(db: &Db, routes: &[Route], pages: &Pages, holder: &Holder) -> Router {
    let mut by_path: BTreeMap<&str, Vec<Route>> = BTreeMap::new();
    for route in routes {
        by_path.entry(&route.path).or_default().push(route.clone());
    }
    let mut router = visit::router(db, pages, holder);
    for (path, routes) in by_path {
        let here = Arc::new(Path { db: db.clone(), routes, holder: holder.clone() });
        router = router.route(
            path,
            any(move |params: RawPathParams, request: Request| {
                let here = here.clone();
                async move { serve(&here, &params, request).await }
            }),
        );
    }
    let clock = db.clock().clone();
    router
        .fallback(move |request: Request| {
            let id = request_id(request.headers(), || clock.mint().to_string());
            async move {
                let path = request.uri().path().to_owned();
                let problem = Problem::new(ProblemType::NotFound, format!("There is nothing at {path}."));
                if reads_pages(request.headers()) && !path.starts_with("/v1") {
                    return guard(visit::problem_page(&problem, None, &path, &id), &path, &id);
                }
                finish(Err(problem), &path, &id)
            }
        })
        .layer(CatchPanicLayer::custom(|_| {
            tracing::error!("a request panicked; the message above says where");
            problem_response(&Problem::internal("panic"), "", "")
        }))
        .layer(CompressionLayer::new())
}

/// Whether whoever asks would rather have a page than JSON.
fn reads_pages(headers: &HeaderMap) -> bool {
    headers.get(header::ACCEPT).and_then(|v| v.to_str().ok()).is_some_and(|v| v.contains("text/html"))
}

pub(super) fn request_id(headers: &HeaderMap, mint: impl FnOnce() -> String) -> String {
    headers
        .get("x-request-id")
        .and_then(|v| v.to_str().ok())
        .filter(|v| !v.is_empty() && v.len() <= 64 && v.bytes().all(|b| b.is_ascii_graphic()))
        .map_or_else(mint, str::to_owned)
}

async fn serve(here: &Path, params: &RawPathParams, request: Request) -> Response<Body> {
    let id = request_id(request.headers(), || here.db.clock().mint().to_string());
    let path = request.uri().path().to_owned();
    let head = request.method() == axum::http::Method::HEAD;
    if request.method() == axum::http::Method::OPTIONS {
        let mut response = Reply::json(&Value::Null).status(204).into_response();
        *response.body_mut() = Body::empty();
        return allow(response, &here.routes);
    }
    let result = match tokio::time::timeout(PATIENCE, answer(here, params, request)).await {
        Ok(result) => result,
        Err(_) => Err(Problem::new(ProblemType::Busy, "That took too long and was given up.")),
    };
    let wrong_method = matches!(&result, Err(p) if p.kind == ProblemType::WrongMethod);
    let mut response = finish(result, &path, &id);
    if here.routes.iter().any(|r| r.answer.varies()) {
        response.headers_mut().append(header::VARY, HeaderValue::from_static("accept"));
    }
    if wrong_method {
        response = allow(response, &here.routes);
    }
    if head {
        *response.body_mut() = Body::empty();
    }
    response
}

fn allow(mut response: Response<Body>, routes: &[Route]) -> Response<Body> {
    let mut names: Vec<_> = routes.iter().map(|r| r.method.name()).collect();
    if names.contains(&"GET") {
        names.push("HEAD");
    }
    names.push("OPTIONS");
    if let Ok(value) = HeaderValue::from_str(&names.join(", ")) {
        response.headers_mut().insert(header::ALLOW, value);
    }
    response
}

fn finish(result: Result<Reply, Problem>, path: &str, id: &str) -> Response<Body> {
    let response = match result {
        Ok(reply) => reply.into_response(),
        Err(problem) => {
            if let Some(cause) = &problem.internal {
                tracing::error!(request_id = id, path, "{}: {cause}", problem.kind.slug());
            }
            problem_response(&problem, path, id)
        }
    };
    guard(response, path, id)
}

/// The page that reads the API document brings styles of its own; nothing else does.
const READER_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; \
     connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; \
     form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// The headers that every answer bears.
pub(super) fn guard(mut response: Response<Body>, path: &str, id: &str) -> Response<Body> {
    let headers = response.headers_mut();
    if let Ok(value) = HeaderValue::from_str(id) {
        headers.insert(HeaderName::from_static("x-request-id"), value);
    }
    for (name, value) in [
        ("x-content-type-options", "nosniff"),
        // Not "no-referrer": a form would then say it comes from nowhere, and on plain http in the
        // shop's own network nothing else says where it is from.
        ("referrer-policy", "same-origin"),
        ("cross-origin-opener-policy", "same-origin"),
        ("content-security-policy", if path == "/api" { READER_POLICY } else { POLICY }),
    ] {
        headers.insert(HeaderName::from_static(name), HeaderValue::from_static(value));
    }
    response
}

/// Refuses what a page of another site sends: browsers say where a request comes from, by
/// `Sec-Fetch-Site` or else by `Origin`. What says neither is no browser.
pub(super) fn same_site(method: &axum::http::Method, headers: &HeaderMap) -> Result<(), Problem> {
    if method.is_safe() {
        return Ok(());
    }
    let text = |name: HeaderName| headers.get(name).map(|v| v.to_str().unwrap_or("?"));
    let ours = match (text(HeaderName::from_static("sec-fetch-site")), text(header::ORIGIN)) {
        (Some(site), _) => matches!(site, "same-origin" | "none"),
        (None, Some(origin)) => {
            let host = origin.split_once("://").map(|(_, host)| host);
            host.is_some() && host == text(header::HOST)
        }
        (None, None) => true,
    };
    if ours {
        return Ok(());
    }
    tracing::warn!("a request from another site was refused");
    Err(Problem::new(ProblemType::CrossSite, "This came from another site. Nothing was written."))
}

async fn answer(here: &Path, params: &RawPathParams, request: Request) -> Result<Reply, Problem> {
    let (request, payload) = request.into_parts();
    let method = match request.method {
        axum::http::Method::GET | axum::http::Method::HEAD => Some(Method::Get),
        axum::http::Method::POST => Some(Method::Post),
        axum::http::Method::PATCH => Some(Method::Patch),
        axum::http::Method::PUT => Some(Method::Put),
        _ => None,
    };
    let route = here
        .routes
        .iter()
        .find(|r| Some(r.method) == method)
        .ok_or_else(|| Problem::new(ProblemType::WrongMethod, format!("{} cannot be done here.", request.method)))?;
    same_site(&request.method, &request.headers)?;
    let actor = actor(here, &request.headers, route.right).await?;
    let query = query(request.uri.query().unwrap_or(""), route)?;
    let accept = request.headers.get(header::ACCEPT).and_then(|v| v.to_str().ok());
    let media = accept::chosen(accept, &route.answer)?;
    let text = |name: &str| -> Result<Option<String>, Problem> {
        let mut values = request.headers.get_all(name).iter();
        match (values.next(), values.next()) {
            (None, _) => Ok(None),
            (Some(v), None) => v.to_str().map(|v| Some(v.to_owned())).map_err(|_| malformed_header(name)),
            _ => Err(malformed_header(name)),
        }
    };
    let (if_match, key) = (text("if-match")?, text("idempotency-key")?);
    if matches!(route.method, Method::Patch | Method::Put) && if_match.is_none() {
        return Err(Problem::new(ProblemType::PreconditionMissing, "Send If-Match with the etag of the record as last read."));
    }
    let path = request.uri.path().to_owned();
    let path_params = params.iter().map(|(n, v)| (n.to_owned(), v.to_owned())).collect();
    let method = route.method;
    let body = body(route, &request.headers, payload).await?;
    let now = here.db.clock().now();
    let who = actor.clone();
    let reply = (route.handler)(Ctx { actor, path_params, query, body, path, method, if_match, key, sent: None, now }).await?;
    Ok(reply.seen_by(who.as_ref()).written_as(media))
}

fn malformed_header(name: &str) -> Problem {
    Problem::new(ProblemType::Malformed, format!("The header {name} cannot be read, or is there twice."))
}

async fn actor(here: &Path, headers: &HeaderMap, right: Right) -> Result<Option<Actor>, Problem> {
    if right == Right::Open {
        return Ok(None);
    }
    let bearer = |value: &HeaderValue| {
        value
            .to_str()
            .ok()
            .and_then(|v| v.split_once(' '))
            .filter(|(scheme, secret)| scheme.eq_ignore_ascii_case("bearer") && secret.len() <= 200)
            .map(|(_, secret)| Credential::Token(secret.trim().to_owned()))
    };
    // A page's session is worth what a token of its person would be.
    let shown = match headers.get(header::AUTHORIZATION) {
        Some(value) => bearer(value),
        None => visit::cookie(headers, SESSION).map(Credential::Session),
    };
    let shown = shown.ok_or_else(|| Problem::new(ProblemType::NoToken, "Send Authorization: Bearer and a token."))?;
    let unknown = match shown {
        Credential::Token(_) => "That token is not known here.",
        Credential::Session(_) => "You are signed out. Sign in again.",
    };
    let actor = (here.holder)(shown).await?.ok_or_else(|| Problem::new(ProblemType::NoToken, unknown))?;
    if actor.role.may(right) {
        Ok(Some(actor))
    } else {
        Err(Problem::new(ProblemType::NotAllowed, format!("A {} may not do that.", actor.role.name())))
    }
}

fn query(text: &str, route: &Route) -> Result<Vec<(String, String)>, Problem> {
    let pairs: Vec<(String, String)> =
        form_pairs(text).ok_or_else(|| Problem::new(ProblemType::Malformed, "The query cannot be read."))?;
    for (i, (name, _)) in pairs.iter().enumerate() {
        let known = route.params.iter().any(|p| p.name == name);
        let twice = pairs[..i].iter().any(|(n, _)| n == name);
        if !known || twice {
            let names: Vec<_> = route.params.iter().map(|p| p.name).collect();
            let why = if twice { "there twice" } else { "not known" };
            let taken = if names.is_empty() { "none".to_owned() } else { names.join(", ") };
            return Err(Problem::new(
                ProblemType::UnknownParameter,
                format!("The parameter {name} is {why}. Taken here: {taken}."),
            ));
        }
    }
    Ok(pairs)
}

/// `application/x-www-form-urlencoded` pairs; `None` when an escape is broken or not UTF-8.
pub(super) fn form_pairs(text: &str) -> Option<Vec<(String, String)>> {
    let decode = |part: &str| -> Option<String> {
        let bytes = part.as_bytes();
        let mut out = Vec::with_capacity(bytes.len());
        let mut i = 0;
        while i < bytes.len() {
            match bytes[i] {
                b'+' => out.push(b' '),
                b'%' => {
                    let hex = part.get(i + 1..i + 3)?;
                    out.push(u8::from_str_radix(hex, 16).ok()?);
                    i += 2;
                }
                other => out.push(other),
            }
            i += 1;
        }
        String::from_utf8(out).ok()
    };
    text.split('&')
        .filter(|pair| !pair.is_empty())
        .map(|pair| {
            let (name, value) = pair.split_once('=').unwrap_or((pair, ""));
            Some((decode(name)?, decode(value)?))
        })
        .collect()
}

/// A part of a path without its escapes; a plus is a plus there.
pub(super) fn unescaped(part: &str) -> Option<String> {
    let pairs = form_pairs(&part.replace('+', "%2B").replace(['&', '='], "_"))?;
    Some(pairs.into_iter().next().map_or_else(String::new, |(name, _)| name))
}

async fn body(route: &Route, headers: &HeaderMap, payload: Body) -> Result<Value, Problem> {
    let Some(wanted) = &route.body else { return Ok(Value::Null) };
    let media = headers
        .get(header::CONTENT_TYPE)
        .and_then(|v| v.to_str().ok())
        .and_then(|v| v.split(';').next())
        .map(|v| v.trim().to_ascii_lowercase());
    let taken = if wanted.merge_patch { "application/merge-patch+json" } else { "application/json" };
    if media.as_deref() != Some(taken) {
        return Err(Problem::new(ProblemType::WrongType, format!("Send the body as {taken}.")));
    }
    let too_large = || Problem::new(ProblemType::TooLarge, "A body may be one megabyte.");
    let said = headers.get(header::CONTENT_LENGTH).and_then(|v| v.to_str().ok()).and_then(|v| v.parse::<usize>().ok());
    if said.is_some_and(|n| n > BODY_MAX) {
        return Err(too_large());
    }
    let bytes = to_bytes(payload, BODY_MAX).await.map_err(|_| too_large())?;
    json::parse(&bytes)
}

/// All types of problems, for the help pages.
#[must_use]
pub fn problem_pages() -> Vec<(String, ProblemType)> {
    ProblemType::ALL.iter().map(|kind| (type_uri(*kind), *kind)).collect()
}
