//! The dispatcher of pages: who is there, what was typed, what is shown.

use super::assets;
use super::page::{
    Cookie, DONE, Done, FLOOR, Form, Frame, Kept, Page, PageHandler, ProblemPage, SESSION, Shown, Visit, escape_part,
};
use super::reply::status;
use super::serve::{BODY_MAX, Credential, Holder, PATIENCE, form_pairs, guard, request_id, same_site};
use crate::db::Db;
use crate::kernel::actor::Right;
use crate::kernel::problem::Class;
use crate::kernel::{Actor, Instant, Problem, ProblemType};
use askama::Template as _;
use axum::Router;
use axum::body::{Body, to_bytes};
use axum::extract::{ConnectInfo, RawPathParams, Request};
use axum::http::{HeaderMap, HeaderValue, Method, Response, StatusCode, header, request::Parts};
use axum::routing::any;
use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::Arc;

/// The most fields a form may have.
const PAIRS_MAX: usize = 2_000;

struct Place {
    db: Db,
    pages: Vec<Page>,
    holder: Holder,
    sign_in: PageHandler,
}

/// The pages there are, and the one where people sign in.
#[derive(Clone)]
pub struct Pages {
    /// All of them.
    pub all: Vec<Page>,
    /// Shows the page where people sign in.
    pub sign_in: PageHandler,
}

/// The router over the pages and what they are made of.
pub(super) fn router(db: &Db, pages: &Pages, holder: &Holder) -> Router {
    let mut by_path: BTreeMap<&str, Vec<Page>> = BTreeMap::new();
    for page in &pages.all {
        by_path.entry(page.path).or_default().push(page.clone());
    }
    let mut router = Router::new();
    for (path, of_path) in by_path {
        let place = Arc::new(Place { db: db.clone(), pages: of_path, holder: holder.clone(), sign_in: pages.sign_in.clone() });
        router = router.route(
            path,
            any(move |params: RawPathParams, request: Request| {
                let place = place.clone();
                async move { serve(&place, &params, request).await }
            }),
        );
    }
    for asset in assets::all() {
        let clock = db.clock().clone();
        router = router.route(
            asset.path,
            any(move |request: Request| {
                let id = request_id(request.headers(), || clock.mint().to_string());
                async move {
                    let read = request.method() == Method::GET || request.method() == Method::HEAD;
                    let response = if read {
                        asset.respond(request.headers(), request.uri().query())
                    } else {
                        problem_page(&Problem::new(ProblemType::WrongMethod, "That is only read."), None, asset.path, &id)
                    };
                    guard(response, asset.path, &id)
                }
            }),
        );
    }
    router
}

async fn serve(place: &Place, params: &RawPathParams, request: Request) -> Response<Body> {
    let id = request_id(request.headers(), || place.db.clock().mint().to_string());
    let path = request.uri().path().to_owned();
    let head = request.method() == Method::HEAD;
    let mut actor = None;
    let result = match tokio::time::timeout(PATIENCE, answer(place, params, request, &mut actor)).await {
        Ok(result) => result,
        Err(_) => Err(Problem::new(ProblemType::Busy, "That took too long and was given up.")),
    };
    let mut response = match result {
        Ok(shown) => respond(shown),
        Err(problem) => {
            if let Some(cause) = &problem.internal {
                tracing::error!(request_id = id, path, "{}: {cause}", problem.kind.slug());
            }
            problem_page(&problem, actor, &path, &id)
        }
    };
    if head {
        *response.body_mut() = Body::empty();
    }
    guard(response, &path, &id)
}

/// A problem as a page, in the words of whoever reads it.
pub(super) fn problem_page(problem: &Problem, actor: Option<Actor>, path: &str, id: &str) -> Response<Body> {
    let class = problem.kind.class();
    let frame = Frame {
        title: problem.kind.title().to_owned(),
        who: actor,
        here: path.to_owned(),
        find: String::new(),
        faulty: false,
        done: None,
        now: Instant::from_ms(0),
    };
    let page = ProblemPage { frame, problem, request_id: id, internal: matches!(class, Class::Internal | Class::Busy) };
    let html = page.render().unwrap_or_else(|e| {
        tracing::error!("the page of a problem cannot be written: {e}");
        problem.kind.title().to_owned()
    });
    let mut response = Response::new(Body::from(html));
    *response.status_mut() = StatusCode::from_u16(status(class)).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("text/html; charset=utf-8"));
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    let wait = problem.more.get("retry_after_s").and_then(serde_json::Value::as_u64);
    if let Some(seconds) = wait.or((class == Class::Busy).then_some(2)) {
        headers.insert(header::RETRY_AFTER, HeaderValue::from(seconds));
    }
    response
}

fn respond(shown: Shown) -> Response<Body> {
    let body = shown.bytes.map_or_else(|| Body::from(shown.html), Body::from);
    let mut response = Response::new(body);
    *response.status_mut() = StatusCode::from_u16(shown.status).unwrap_or(StatusCode::OK);
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(shown.media.unwrap_or("text/html; charset=utf-8")));
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("private, no-store"));
    if let Some(name) = shown.file {
        let name: String = name.chars().map(|c| if c.is_ascii_alphanumeric() || "-._".contains(c) { c } else { '-' }).collect();
        if let Ok(text) = HeaderValue::from_str(&format!("attachment; filename=\"{name}\"")) {
            headers.insert(header::CONTENT_DISPOSITION, text);
        }
    }
    if let Some(Ok(to)) = shown.to.as_deref().map(HeaderValue::from_str) {
        headers.insert(header::LOCATION, to);
    }
    for Cookie { name, value, lasts_s } in shown.cookies {
        let (value, lasts_s) = value.map_or((String::new(), 0), |value| (value, lasts_s));
        let text = format!("{name}={value}; Path=/; Max-Age={lasts_s}; HttpOnly; SameSite=Lax");
        if let Ok(text) = HeaderValue::from_str(&text) {
            headers.append(header::SET_COOKIE, text);
        }
    }
    response
}

/// A cookie of a request; the first of that name, as long as a secret of ours may be.
pub(super) fn cookie(headers: &HeaderMap, name: &str) -> Option<String> {
    cookie_of(headers, name, 200)
}

fn cookie_of(headers: &HeaderMap, name: &str, most: usize) -> Option<String> {
    headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|v| v.to_str().ok())
        .flat_map(|v| v.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(n, v)| *n == name && !v.is_empty() && v.len() <= most)
        .map(|(_, v)| v.to_owned())
}

/// The address a request came from, without its port.
fn address(parts: &Parts) -> String {
    parts.extensions.get::<ConnectInfo<SocketAddr>>().map_or_else(|| "unknown".to_owned(), |ConnectInfo(at)| at.ip().to_string())
}

async fn answer(place: &Place, params: &RawPathParams, request: Request, who: &mut Option<Actor>) -> Result<Shown, Problem> {
    let (parts, payload) = request.into_parts();
    let takes_form = match parts.method {
        Method::GET | Method::HEAD => Some(false),
        Method::POST => Some(true),
        _ => None,
    };
    let page = place
        .pages
        .iter()
        .find(|p| Some(p.takes_form) == takes_form)
        .ok_or_else(|| Problem::new(ProblemType::WrongMethod, format!("{} cannot be done here.", parts.method)))?;
    same_site(&parts.method, &parts.headers)?;
    let query = form_pairs(parts.uri.query().unwrap_or("")).map(Form);
    let form = if page.takes_form { form(&parts.headers, payload).await? } else { Form::default() };
    let session = cookie(&parts.headers, SESSION);
    let actor = match &session {
        Some(secret) => (place.holder)(Credential::Session(secret.clone())).await?,
        None => None,
    };
    who.clone_from(&actor);
    let mut visit = Visit {
        actor,
        session,
        device: cookie(&parts.headers, FLOOR),
        path: parts.uri.path().to_owned(),
        path_params: params.iter().map(|(n, v)| (n.to_owned(), v.to_owned())).collect(),
        query: query.ok_or_else(|| Problem::new(ProblemType::Malformed, "The address cannot be read."))?,
        form,
        kept: None,
        faults: Vec::new(),
        refused: None,
        done: cookie_of(&parts.headers, DONE, 4_000).and_then(|text| Done::read(&text, place.db.clock().now())),
        address: address(&parts),
        now: place.db.clock().now(),
    };
    if page.right == Right::Open {
        return (page.handler)(visit).await;
    }
    match &visit.actor {
        Some(actor) if actor.role.may(page.right) => (page.handler)(visit).await,
        Some(actor) => Err(Problem::new(ProblemType::NotAllowed, format!("A {} may not do that.", actor.role.name()))),
        // What was typed is kept until they have signed in again.
        None if page.takes_form => {
            // Passwords and PINs are not: another may be the next to sign in here.
            if ["/log/", "/pour-day/"].iter().any(|begins| visit.path.starts_with(begins)) {
                visit.kept = Some(Kept { path: visit.path.clone(), form: std::mem::take(&mut visit.form) });
            }
            (place.sign_in)(visit).await.map(|shown| shown.status(401))
        }
        None => {
            let wanted = parts.uri.path_and_query().map_or("/", |p| p.as_str());
            Ok(Shown::go(&if wanted == "/" { "/sign-in".to_owned() } else { format!("/sign-in?then={}", escape_part(wanted)) }))
        }
    }
}

async fn form(headers: &HeaderMap, payload: Body) -> Result<Form, Problem> {
    let media = headers.get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).and_then(|v| v.split(';').next());
    if media.map(str::trim) != Some("application/x-www-form-urlencoded") {
        return Err(Problem::new(ProblemType::WrongType, "A page is sent as the form that is on it."));
    }
    let bytes =
        to_bytes(payload, BODY_MAX).await.map_err(|_| Problem::new(ProblemType::TooLarge, "A form may hold one megabyte."))?;
    // Reading goes over all names for each: no page of ours has a tenth of these.
    let text = std::str::from_utf8(&bytes).ok();
    if text.is_some_and(|text| text.split('&').count() > PAIRS_MAX) {
        return Err(Problem::new(ProblemType::TooLarge, format!("A form may have {PAIRS_MAX} fields.")));
    }
    let text = text.and_then(form_pairs);
    text.map(Form).ok_or_else(|| Problem::new(ProblemType::Malformed, "The form cannot be read."))
}
