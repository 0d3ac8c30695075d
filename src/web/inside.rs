//! The API asked from inside: pages show what callers are answered and log what callers log,
//! under the same rights, by the same routes.

use super::page::Visit;
use super::reply::Reply;
use super::route::{Ctx, Method, Route};
use super::serve::{form_pairs, unescaped};
use crate::kernel::{Actor, Instant, Problem, ProblemType};
use serde_json::Value;
use std::sync::Arc;

/// The routes, to be asked by pages.
#[derive(Clone)]
pub struct Inside {
    routes: Arc<Vec<Route>>,
}

/// What a page asks.
pub struct Asked {
    /// Who asks.
    pub actor: Actor,
    /// How.
    pub method: Method,
    /// The path, its query with it.
    pub path: String,
    /// The body.
    pub body: Value,
    /// `Idempotency-Key`.
    pub key: Option<String>,
    /// What the key is bound to, where that is not the body.
    pub sent: Option<Value>,
    /// `If-Match`.
    pub if_match: Option<String>,
    /// Now.
    pub now: Instant,
}

fn matches(route: &str, path: &str) -> Option<Vec<(String, String)>> {
    let (mut mine, mut asked) = (route.split('/'), path.split('/'));
    let mut parts = Vec::new();
    loop {
        match (mine.next(), asked.next()) {
            (None, None) => return Some(parts),
            (Some(m), Some(a)) => match m.strip_prefix('{').and_then(|m| m.strip_suffix('}')) {
                Some(name) if !a.is_empty() => parts.push((name.to_owned(), unescaped(a)?)),
                None if m == a => {}
                _ => return None,
            },
            _ => return None,
        }
    }
}

impl Inside {
    /// Over these routes.
    #[must_use]
    pub fn new(routes: Vec<Route>) -> Self {
        Self { routes: Arc::new(routes) }
    }

    /// The route of a path without its query, and the parts of the path.
    #[must_use]
    pub fn route(&self, method: Method, path: &str) -> Option<(&Route, Vec<(String, String)>)> {
        let mut found: Vec<_> =
            self.routes.iter().filter(|r| r.method == method).filter_map(|r| Some((r, matches(&r.path, path)?))).collect();
        // A word of its own goes before a part in braces.
        found.sort_by_key(|(_, parts)| parts.len());
        found.into_iter().next()
    }

    /// Asks.
    ///
    /// # Errors
    /// What the route refuses; `not-found` where there is none; `not-allowed`.
    pub async fn ask(&self, asked: Asked) -> Result<Reply, Problem> {
        let (path, query) = asked.path.split_once('?').unwrap_or((&asked.path, ""));
        let (route, path_params) = self
            .route(asked.method, path)
            .ok_or_else(|| Problem::new(ProblemType::NotFound, format!("There is nothing at {path}.")))?;
        if !asked.actor.role.may(route.right) {
            return Err(Problem::new(ProblemType::NotAllowed, format!("A {} may not do that.", asked.actor.role.name())));
        }
        let query = form_pairs(query).ok_or_else(|| Problem::new(ProblemType::Malformed, "The address cannot be read."))?;
        if let Some((name, _)) = query.iter().find(|(name, _)| !route.params.iter().any(|p| p.name == name)) {
            return Err(Problem::new(ProblemType::UnknownParameter, format!("{name} is not asked here.")));
        }
        let who = asked.actor.clone();
        let ctx = Ctx {
            actor: Some(asked.actor),
            path_params,
            query,
            body: asked.body,
            path: path.to_owned(),
            method: asked.method,
            if_match: asked.if_match,
            key: asked.key,
            sent: asked.sent,
            now: asked.now,
        };
        let reply = (route.handler)(ctx).await?;
        Ok(reply.seen_by(Some(&who)))
    }

    /// What a caller who is signed in as this visitor would be answered.
    ///
    /// # Errors
    /// As [`Self::ask`].
    pub async fn get(&self, visit: &Visit, path: &str) -> Result<Value, Problem> {
        let asked = Asked {
            actor: visit.actor()?,
            method: Method::Get,
            path: path.to_owned(),
            body: Value::Null,
            key: None,
            sent: None,
            if_match: None,
            now: visit.now,
        };
        Ok(self.ask(asked).await?.value.unwrap_or(Value::Null))
    }
}
