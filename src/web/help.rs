//! Pages that explain, offline: one for each type of problem, and the reader of the API
//! document.

use super::page::{Frame, HelpPage};
use super::reply::{Reply, status, type_uri};
use super::route::{Answer, Method, Route, handler};
use crate::kernel::actor::Right;
use crate::kernel::{Instant, Problem, ProblemType};
use askama::Template as _;
use serde_json::json;

/// Text made safe to stand in a page.
#[must_use]
pub fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

fn page(title: &str, body: &str) -> String {
    let frame = Frame {
        title: title.to_owned(),
        who: None,
        here: String::new(),
        find: String::new(),
        faulty: false,
        done: None,
        now: Instant::from_ms(0),
    };
    HelpPage { frame, body }.render().unwrap_or_else(|e| {
        tracing::error!("a help page cannot be written: {e}");
        String::new()
    })
}

fn one(kind: ProblemType) -> String {
    let title = escape(kind.title());
    page(
        kind.title(),
        &format!(
            "<p><a href=\"/problems\">All problems</a></p><h1>{title}</h1><p>{}</p>\
             <p>Answered with status {} and type <code>{}</code>.</p>",
            escape(kind.help()),
            status(kind.class()),
            type_uri(kind)
        ),
    )
}

fn all() -> String {
    let items: Vec<String> =
        ProblemType::ALL.iter().map(|k| format!("<li><a href=\"{}\">{}</a></li>", type_uri(*k), escape(k.title()))).collect();
    let items = items.concat();
    page("Problems", &format!("<h1>What may be answered instead</h1><ul>{items}</ul><p><a href=\"/api\">The API</a></p>"))
}

const READER: &str = "<!doctype html><html lang=\"en\"><meta charset=\"utf-8\"><title>API · Pourbook</title>\
<meta name=\"viewport\" content=\"width=device-width,initial-scale=1\"><link rel=\"icon\" href=\"data:,\">\
<script type=\"module\" src=\"/assets/rapidoc-min.js\"></script>\
<rapi-doc spec-url=\"/v1/openapi.json\" load-fonts=\"false\" show-header=\"false\" render-style=\"read\" \
allow-server-selection=\"false\" persist-auth=\"false\"></rapi-doc></html>";

const RAPIDOC: &[u8] = include_bytes!("../../vendor/rapidoc/rapidoc-min.js");

fn page_route(
    path: &str,
    operation: &str,
    about: &str,
    media: &'static str,
    reply: impl Fn(&str) -> Result<Reply, Problem> + Send + Sync + Clone + 'static,
) -> Route {
    Route {
        method: Method::Get,
        path: path.into(),
        operation: operation.into(),
        right: Right::Open,
        about: about.into(),
        heading: "Help",
        params: Vec::new(),
        body: None,
        answer: Answer { status: 200, about: "The page", media, schema: json!({"type": "string"}), etag: false },
        handler: handler(move |ctx| {
            let reply = reply.clone();
            async move { reply(ctx.part("slug")) }
        }),
    }
}

/// The pages as routes.
#[must_use]
pub fn routes() -> Vec<Route> {
    let html = "text/html; charset=utf-8";
    vec![
        page_route("/problems", "problem_pages", "Every type of problem", html, |_| Ok(Reply::html(all()))),
        page_route("/problems/{slug}", "problem_page", "What a problem means and what to do", html, |slug| {
            ProblemType::ALL
                .iter()
                .find(|k| k.slug() == slug)
                .map(|k| Reply::html(one(*k)))
                .ok_or_else(|| Problem::new(ProblemType::NotFound, "There is no problem of that name."))
        }),
        page_route("/api", "api_reader", "The API document to read, offline", html, |_| Ok(Reply::html(READER))),
        page_route("/assets/rapidoc-min.js", "api_reader_script", "The script of the reader", "text/javascript", |_| {
            Ok(Reply::file("text/javascript", RAPIDOC))
        }),
    ]
}
