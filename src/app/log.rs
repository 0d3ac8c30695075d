//! `/log/…`: what is logged from a page goes through the API's own route of that path. What is
//! refused comes back on the page it was typed on; what is recorded may be undone for a while.

use crate::db::Db;
use crate::kernel::actor::Right;
use crate::kernel::problem::Class;
use crate::kernel::{Fault, Kind, Problem, ProblemType};
use crate::shop::house::settings;
use crate::shop::house::shown::Shown as Reads;
use crate::web::inside::{Asked, Inside};
use crate::web::page::{Cookie, DONE, Done, local};
use crate::web::slip::{Refused, despite_words};
use crate::web::typed::{self, Typed};
use crate::web::{Form, Method, Page, Shown, Visit, reply};
use serde_json::{Value, json};
use std::sync::Arc;

/// The oldest a record kept by a page without connection may be.
const OLDEST_MS: i64 = 400 * 86_400_000;
/// From how much on it is said that a browser's clock is wrong.
const CLOCK_OFF_MS: i64 = 60_000;

#[derive(Clone)]
struct Log {
    db: Db,
    inside: Inside,
    pages: Arc<Vec<Page>>,
}

/// The pages that log and undo, over the API's routes and the other pages.
#[must_use]
pub fn pages(db: &Db, inside: &Inside, others: &[Page]) -> Vec<Page> {
    let log = Log { db: db.clone(), inside: inside.clone(), pages: Arc::new(others.to_vec()) };
    let undo = log.clone();
    vec![
        Page::post("/log/{*to}", Right::Read, move |visit| {
            let log = log.clone();
            async move { log.take(visit).await }
        }),
        Page::post("/undo", Right::Log, move |visit| {
            let log = undo.clone();
            async move { log.undo(&visit).await }
        }),
    ]
}

/// What a page's script is told, or a page itself.
fn wants_json(visit: &Visit) -> bool {
    !visit.form.get("_script").is_empty()
}

impl Log {
    async fn take(&self, mut visit: Visit) -> Result<Shown, Problem> {
        let to = visit.part("to").to_owned();
        let path = format!("/v1/{to}");
        let corrects = visit.form.get("_corrects").to_owned();
        let method = if corrects.is_empty() { Method::Post } else { Method::Patch };
        let reads = Reads::new(settings::of(&mut self.db.read().await?).await?, visit.now);
        let (route, _) = self
            .inside
            .route(method, &path)
            .ok_or_else(|| Problem::new(ProblemType::NotFound, format!("There is nothing to log at {to}.")))?;
        let schema = route.body.as_ref().map_or(Value::Null, |body| body.schema.clone());
        let mut form = visit.form.clone();
        form.0.extend(
            visit.form.all("_despite").filter(|code| !code.is_empty()).map(|code| ("despite".to_owned(), code.to_owned())),
        );
        // What was proposed and left as it was, nobody confirmed.
        let assumed = visit.form.0.iter().filter_map(|(name, value)| Some((name.strip_prefix("_assumed.")?, value)));
        let assumed = assumed.filter(|(name, value)| form.get(name) == value.trim());
        form.0.extend(assumed.map(|(name, _)| ("assumed".to_owned(), name.to_owned())).collect::<Vec<_>>());
        let mut read = typed::read(&form, &schema, &reads);
        // On a correction, what stood in a field and was emptied is not so.
        if method == Method::Patch {
            for name in visit.form.all("_clears").filter(|name| !name.contains('.') && form.get(name).is_empty()) {
                read.body.insert(name.to_owned(), Value::Null);
            }
        }
        let clock = date(&visit, &schema, method, &mut read);
        if !read.faults.is_empty() {
            let faults = std::mem::take(&mut read.faults);
            let problem = Problem::invalid(
                faults
                    .iter()
                    .map(|(name, said)| Fault { pointer: pointer(name), code: "unreadable", message: said.clone() })
                    .collect(),
            );
            return self.refused(visit, &problem, &read).await;
        }
        let key = visit.form.get("_key").to_owned();
        let varies = |name: &str| matches!(name, "_age_ms" | "_clock_ms" | "_script") || name.starts_with("_age_of_");
        let sent = Form(visit.form.0.iter().filter(|(name, _)| !varies(name)).cloned().collect());
        let sent = json!({"typed": sent.encoded()});
        let asked = Asked {
            actor: visit.actor()?,
            method,
            path,
            body: Value::Object(std::mem::take(&mut read.body)),
            key: (!key.is_empty()).then_some(key),
            sent: Some(sent),
            if_match: (!corrects.is_empty()).then_some(corrects),
            now: visit.now,
        };
        match self.inside.ask(asked).await {
            Ok(reply) => {
                let done = (method == Method::Post).then(|| done(&reply, &visit)).flatten();
                let value = reply.value.unwrap_or(Value::Null);
                visit.done.clone_from(&done);
                Ok(recorded(&visit, &value, done.as_ref(), reply.replayed, clock))
            }
            Err(problem) => self.refused(visit, &problem, &read).await,
        }
    }

    async fn refused(&self, mut visit: Visit, problem: &Problem, read: &Typed) -> Result<Shown, Problem> {
        let codes = problem.despite();
        // What is our own fault is logged as such, and a page keeps what it was to send.
        if matches!(problem.kind.class(), Class::Internal | Class::Busy) {
            return Err(problem.clone());
        }
        if wants_json(&visit) {
            let mut out = reply::problem_json(problem, &visit.path, "");
            out["despite"] = json!(codes);
            out["words"] = json!(codes.first().map_or("", |code| despite_words(code)));
            return Ok(Shown::json(&out).status(reply::status(problem.kind.class())));
        }
        let class = reply::status(problem.kind.class());
        if !matches!(class, 409 | 422 | 412) {
            return Err(problem.clone());
        }
        let faults: Vec<(String, String)> =
            problem.faults.iter().map(|f| (read.name_of(&f.pointer), f.message.clone())).collect();
        visit.refused = faults.is_empty().then(|| Refused {
            why: problem.detail.clone(),
            words: codes.first().map_or_else(String::new, |code| despite_words(code).to_owned()),
            codes: codes.clone(),
        });
        visit.faults = faults;
        // The key served a record that was made of other words: what is typed now is a new one.
        if problem.kind == ProblemType::KeyReused {
            visit.form.0.retain(|(name, _)| name != "_key");
            visit.form.0.push(("_key".to_owned(), self.db.clock().mint().to_string()));
        }
        let from = local(visit.form.get("_from")).to_owned();
        let (path, query) = from.split_once('?').unwrap_or((&from, ""));
        let found = self.pages.iter().filter(|p| !p.takes_form).find_map(|page| Some((page, page.matches(path)?)));
        let Some((page, parts)) = found.filter(|(page, _)| visit.actor.as_ref().is_some_and(|a| a.role.may(page.right))) else {
            return Err(problem.clone());
        };
        (visit.path, visit.path_params, visit.query) = (path.to_owned(), parts, Form::decode(query));
        let shown = (page.handler)(visit).await?.status(class);
        // A page that has no such slip any more says nothing of it: then the problem does.
        if shown.html.contains("class=\"faults\"") { Ok(shown) } else { Err(problem.clone()) }
    }

    /// Voids what was recorded a moment ago, newest first.
    async fn undo(&self, visit: &Visit) -> Result<Shown, Problem> {
        let back = local(visit.form.get("_back")).to_owned();
        let gone = Cookie { name: DONE, value: None, lasts_s: 0 };
        let Some(done) = &visit.done else {
            return Err(Problem::new(
                ProblemType::NotFound,
                "It is more than half a minute ago by now. Undo it from its history, on the card of what it belongs to.",
            ));
        };
        for id in done.ids.iter().rev() {
            let asked = Asked {
                actor: visit.actor()?,
                method: Method::Post,
                path: format!("/v1/{}/{id}/void", done.collection),
                body: json!({"reason": "undone at once"}),
                key: None,
                sent: None,
                if_match: None,
                now: visit.now,
            };
            match self.inside.ask(asked).await {
                Ok(_) => {}
                // Undone twice is undone.
                Err(problem) if problem.kind == ProblemType::AlreadyVoid => {}
                Err(problem) => return Err(problem),
            }
        }
        if wants_json(visit) {
            return Ok(Shown::json(&json!({"said": format!("Undone: {}.", done.words())})).cookie(gone));
        }
        Ok(Shown::go(&back).cookie(gone))
    }
}

/// When it happened: as typed; else as long ago as the page says, by the server's clock; so
/// that a browser's wrong clock does no harm. Answers how far that clock is off.
fn date(visit: &Visit, schema: &Value, method: Method, read: &mut Typed) -> Option<i64> {
    let age = visit.form.get("_age_ms").parse::<i64>().ok().filter(|ms| (0..OLDEST_MS).contains(ms)).unwrap_or(0);
    let takes = schema.get("properties").is_some_and(|p| p.get("at").is_some());
    if method == Method::Post && takes && !read.body.contains_key("at") && !read.faults.iter().any(|(name, _)| name == "at") {
        read.body.insert("at".into(), json!(visit.now.plus_ms(-age).to_string()));
    }
    // Times that are now, unless said otherwise.
    for name in visit.form.all("_now") {
        if !name.is_empty() && !read.body.contains_key(name) && !read.faults.iter().any(|(fault, _)| fault == name) {
            read.body.insert(name.to_owned(), json!(visit.now.plus_ms(-age).to_string()));
        }
    }
    // Times that a watcher tapped besides the record's own, each with its age.
    for (name, age) in visit.form.0.iter().filter_map(|(n, v)| Some((n.strip_prefix("_age_of_")?, v.parse::<i64>().ok()?))) {
        if (0..OLDEST_MS).contains(&age) && !read.body.contains_key(name) {
            read.body.insert(name.to_owned(), json!(visit.now.plus_ms(-age).to_string()));
        }
    }
    let theirs = visit.form.get("_clock_ms").parse::<i64>().ok()?;
    let off = theirs.saturating_sub(visit.now.ms());
    (off.abs() >= CLOCK_OFF_MS).then_some(off)
}

fn pointer(name: &str) -> String {
    format!("/{}", name.replace('.', "/"))
}

/// What was recorded, for as long as it may be undone at once.
fn done(reply: &reply::Reply, visit: &Visit) -> Option<Done> {
    let value = reply.value.as_ref()?;
    let collection = reply.location.as_deref()?.strip_prefix("/v1/")?.split('/').next()?.to_owned();
    let id = |value: &Value| value["id"].as_str().map(str::to_owned);
    let ids = match id(value) {
        // A recast is answered by the next casting.
        Some(_) if value["recast_id"].is_string() => {
            let id = value["recast_id"].as_str()?.to_owned();
            return Some(Done { collection: Kind::Recast.collection().to_owned(), ids: vec![id], at_ms: visit.now.ms() });
        }
        Some(id) => vec![id],
        None => value.as_object()?.values().filter_map(Value::as_array).flatten().filter_map(id).collect(),
    };
    (!ids.is_empty()).then(|| Done { collection, ids, at_ms: visit.now.ms() })
}

fn recorded(visit: &Visit, value: &Value, done: Option<&Done>, replayed: bool, clock: Option<i64>) -> Shown {
    let cookie = done.and_then(Done::written).map(|text| Cookie { name: DONE, value: Some(text), lasts_s: Done::LASTS_S });
    let back = visit.form.get("_back");
    // The page of what was just made is known only now.
    let made = ["number", "tag", "id"].iter().find_map(|name| match &value[*name] {
        Value::String(text) => Some(text.clone()),
        Value::Number(n) => Some(n.to_string()),
        _ => None,
    });
    let back = back.replace("{made}", made.as_deref().unwrap_or(""));
    let shown = if wants_json(visit) {
        Shown::json(&json!({
            "said": done.map_or_else(|| "Corrected.".to_owned(), |done| format!("Recorded: {}.", done.words())),
            "ids": done.map_or_else(Vec::new, |done| done.ids.clone()),
            "to": local(&back), "again": replayed, "clock_off_ms": clock, "record": value,
        }))
    } else {
        Shown::go(&back)
    };
    match cookie {
        Some(cookie) => shown.cookie(cookie),
        None => shown.cookie(Cookie { name: DONE, value: None, lasts_s: 0 }),
    }
}
