//! Saying things to the book the way a tablet does: requests to the public service.

use crate::app;
use crate::book::token;
use crate::db::Db;
use crate::kernel::{Actor, Clock, Instant, Role};
use axum::body::Body;
use axum::http::{Request, header};
use serde_json::Value;
use tower::ServiceExt as _;

/// Who types.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Who {
    /// The owner.
    Owner,
    /// The hand of the dip room and the kilns.
    Shell,
    /// The hand of the furnace and the bench.
    Metal,
}

/// A bearer token made for the shop.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Token {
    /// Whose it is.
    pub name: String,
    /// What it may do.
    pub role: Role,
    /// The secret, to be shown once.
    pub secret: String,
}

/// The names that tokens are made for.
const NAMES: [(&str, Role); 4] =
    [("Maren Tollick", Role::Owner), ("Odo Fennimore", Role::Hand), ("Isa Quill", Role::Hand), ("Visitor", Role::Reader)];

/// The service of an open book, with the shop's tokens.
pub struct Caller {
    router: axum::Router,
    clock: Clock,
    /// The tokens, in the order of `NAMES`.
    pub tokens: Vec<Token>,
    /// How many requests were made.
    pub calls: usize,
}

impl Caller {
    /// Makes the tokens, their secrets from `secrets`, and stands ready.
    ///
    /// # Errors
    /// As the book says.
    pub async fn new(db: &Db, secrets: &Clock) -> Result<Self, String> {
        let mut tx = db.write(Actor::new("command line", Role::Owner)).await.map_err(|p| p.to_string())?;
        let tokens: Vec<Token> = NAMES
            .iter()
            .map(|(name, role)| Token { name: (*name).to_owned(), role: *role, secret: token::mint(secrets) })
            .collect();
        for one in &tokens {
            token::keep(&mut tx, &one.secret, &one.name, one.role);
        }
        tx.save(()).await.map_err(|p| p.to_string())?;
        Ok(Self { router: app::service(db), clock: db.clock().clone(), tokens, calls: 0 })
    }

    /// Lets the shop's clock run on to an instant; it never runs back.
    pub fn tick(&self, ms: i64) {
        if ms > self.clock.now().ms() {
            self.clock.set(Instant::from_ms(ms));
        }
    }

    fn secret(&self, who: Who) -> &str {
        let place = match who {
            Who::Owner => 0,
            Who::Shell => 1,
            Who::Metal => 2,
        };
        self.tokens.get(place).map_or("", |t| t.secret.as_str())
    }

    /// Makes a request and answers what came back, refused or not.
    ///
    /// # Errors
    /// When no answer comes or it cannot be read.
    pub async fn ask(&mut self, who: Who, method: &str, path: &str, body: Option<&Value>) -> Result<(u16, Value), String> {
        self.calls += 1;
        let media = if method == "PATCH" { "application/merge-patch+json" } else { "application/json" };
        let mut request = Request::builder().method(method).uri(path);
        if method == "PATCH" {
            // Nobody else writes: whatever stands is what was read.
            request = request.header(header::IF_MATCH, "*");
        }
        let request = request
            .header(header::AUTHORIZATION, format!("Bearer {}", self.secret(who)))
            .header(header::CONTENT_TYPE, media)
            .body(body.map_or_else(Body::empty, |b| Body::from(b.to_string())))
            .map_err(|e| e.to_string())?;
        let answer = self.router.clone().oneshot(request).await.map_err(|e| e.to_string())?;
        let status = answer.status().as_u16();
        let bytes = axum::body::to_bytes(answer.into_body(), 16 << 20).await.map_err(|e| e.to_string())?;
        let value = serde_json::from_slice(&bytes).map_err(|e| format!("{method} {path}: {e}"))?;
        Ok((status, value))
    }

    /// Records something that must be taken.
    ///
    /// # Errors
    /// What the book refuses, with what was asked.
    pub async fn post(&mut self, who: Who, path: &str, body: Value) -> Result<Value, String> {
        self.taken(who, "POST", path, Some(body)).await
    }

    /// Corrects something; it must be taken.
    ///
    /// # Errors
    /// What the book refuses, with what was asked.
    pub async fn patch(&mut self, who: Who, path: &str, body: Value) -> Result<Value, String> {
        self.taken(who, "PATCH", path, Some(body)).await
    }

    /// Reads something that must be there.
    ///
    /// # Errors
    /// What the book refuses.
    pub async fn get(&mut self, path: &str) -> Result<Value, String> {
        self.taken(Who::Owner, "GET", path, None).await
    }

    async fn taken(&mut self, who: Who, method: &str, path: &str, body: Option<Value>) -> Result<Value, String> {
        let (status, answer) = self.ask(who, method, path, body.as_ref()).await?;
        if (200..300).contains(&status) {
            return Ok(answer);
        }
        let said = body.map_or_else(String::new, |b| b.to_string());
        Err(format!("{method} {path} {said}\n{status} {answer}"))
    }
}

/// A member of an answer that is text.
///
/// # Errors
/// When it is not there.
pub fn text(answer: &Value, pointer: &str) -> Result<String, String> {
    answer.pointer(pointer).and_then(Value::as_str).map(str::to_owned).ok_or_else(|| format!("no {pointer} in {answer}"))
}

/// A mass of mg as the kg of a request.
#[must_use]
pub fn kg(mg: i64) -> Value {
    serde_json::Number::from_f64(mg as f64 / 1e6).map_or(Value::Null, Value::Number)
}

/// An instant of ms as the text of a request.
#[must_use]
pub fn at(ms: i64) -> Value {
    Instant::from_ms(ms).to_string().into()
}
