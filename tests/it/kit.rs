//! The test kit: a shop on a book of its own, asked through the router as a caller would,
//! every answer held against the API document.
//!
//! ```ignore
//! at_both(async |shop| {
//!     let shell = shop.fired("A").await;
//!     let heat = shop.heat(18.0).await;
//!     shop.pour(&heat, &shell, 15.4).await.is(201);
//! })
//! .await;
//! ```

mod build;
mod contract;

pub use build::{at, id};

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{HeaderMap, Method, Request};
use pourbook::app;
use pourbook::book::{journal, token};
use pourbook::db::{Cell, Db, Options, Read as _};
use pourbook::kernel::{Actor, Clock, Instant, Role};
use serde_json::{Value, json};
use std::cell::Cell as Slot;
use tower::ServiceExt as _;

/// Now, as every test begins: Tuesday 31 March 2026, noon UTC.
pub const NOW: &str = "2026-03-31T12:00:00Z";

/// A shop on a book of its own. A test that fails keeps the book and says where it is.
pub struct TestShop {
    /// The book.
    pub db: Db,
    app: Router,
    dir: Option<tempfile::TempDir>,
    tokens: Vec<(Role, String)>,
    /// Numbers for names and ids, so that no two are alike.
    count: Slot<u64>,
    /// Whether requests come one after the other: then what is refused is seen to write nothing.
    alone: Slot<bool>,
}

impl TestShop {
    /// A shop whose writer takes up to `batch` turns into one commit. Where several share one,
    /// every replay is put off and worked out on a snapshot.
    pub async fn open(batch: usize) -> Self {
        let dir = tempfile::Builder::new().prefix("pourbook-test-").tempdir().unwrap();
        let clock = Clock::fixed(Instant::parse(NOW).unwrap(), 7);
        let most_in_turn = if batch > 1 { 0 } else { Options::default().most_in_turn };
        let options = Options { batch_max: batch, most_in_turn, ..Options::default() };
        let db = Db::open(dir.path(), options, clock.clone(), app::SETTLERS).await.unwrap();
        let mut tokens = Vec::new();
        for role in Role::ALL {
            let secret = token::mint(&clock);
            let mut tx = db.write(Actor::new("setup", Role::Owner)).await.unwrap();
            token::keep(&mut tx, &secret, role.name(), role);
            tx.save(()).await.unwrap();
            tokens.push((role, secret));
        }
        contract::learn(&app::document(&app::all_routes(&app::kit(&db))));
        Self { app: app::service(&db), db, dir: Some(dir), tokens, count: Slot::new(0), alone: Slot::new(true) }
    }

    /// The next number.
    pub fn next(&self) -> u64 {
        self.count.set(self.count.get() + 1);
        self.count.get()
    }

    /// From here on requests may come at once.
    pub fn crowded(&self) {
        self.alone.set(false);
    }

    /// A request, by the owner unless said otherwise.
    pub fn ask(&self, method: &str, path: &str) -> Ask<'_> {
        Ask {
            shop: self,
            method: Method::from_bytes(method.as_bytes()).unwrap(),
            path: path.to_owned(),
            who: Some(Role::Owner),
            headers: Vec::new(),
            body: Vec::new(),
        }
    }
    /// Reads, as the owner.
    pub async fn get(&self, path: &str) -> Reply {
        self.ask("GET", path).send().await
    }
    /// Records, as the owner.
    pub async fn post(&self, path: &str, body: &Value) -> Reply {
        self.ask("POST", path).json(body).send().await
    }
    /// Corrects the record at `path` as it now stands, as the owner.
    pub async fn patch(&self, path: &str, body: &Value) -> Reply {
        let etag = self.get(path).await.is(200)["etag"].as_str().unwrap().to_owned();
        self.ask("PATCH", path).if_match(&etag).merge(body).send().await
    }
    /// Voids the record at `path`, as the owner.
    pub async fn void(&self, path: &str) -> Reply {
        self.post(&format!("{path}/void"), &json!({"reason": "recorded by mistake"})).await
    }

    /// One number out of the book.
    pub async fn number(&self, sql: &str) -> i64 {
        let mut read = self.db.read().await.unwrap();
        read.fetch_one(sql, Vec::<Cell>::new()).await.unwrap().unwrap().int(0).unwrap()
    }
    /// How many records and journal lines there are: unchanged where nothing was written.
    pub async fn written(&self) -> (i64, i64) {
        (self.number("SELECT count(*) FROM record").await, self.number("SELECT count(*) FROM journal").await)
    }

    /// What holds after every story: all that is derived follows from the records, every
    /// gram and cent is somewhere, the journal's chain is whole.
    pub async fn closes(&self) {
        assert_eq!(app::rebuild::run(&self.db).await.unwrap(), Vec::<String>::new(), "derived anew it differs");
        let balance = self.get("/v1/metal/balance").await.is(200);
        assert_eq!(balance["closing_difference"], json!({"mass_mg": 0, "value_minor": 0}), "{balance:#}");
        let mut read = self.db.read().await.unwrap();
        assert_eq!(journal::verify(&mut read).await.unwrap(), None);
    }
}

impl Drop for TestShop {
    fn drop(&mut self) {
        if std::thread::panicking()
            && let Some(dir) = self.dir.take()
        {
            eprintln!("the book of this test is kept: {}", dir.keep().join("pourbook.db").display());
        }
    }
}

/// Runs a story at a batch of 1 and at one of 8, and looks the book over after each.
pub async fn at_both(story: impl AsyncFn(&TestShop)) {
    for batch in [1, 8] {
        let shop = TestShop::open(batch).await;
        story(&shop).await;
        shop.closes().await;
    }
}

/// A request in preparation.
#[must_use]
pub struct Ask<'s> {
    shop: &'s TestShop,
    method: Method,
    path: String,
    who: Option<Role>,
    headers: Vec<(&'static str, String)>,
    body: Vec<u8>,
}

impl Ask<'_> {
    /// By whom; nobody sends no token.
    pub fn by(mut self, who: Option<Role>) -> Self {
        self.who = who;
        self
    }
    /// With a header more.
    pub fn header(mut self, name: &'static str, value: &str) -> Self {
        self.headers.push((name, value.to_owned()));
        self
    }
    /// With an idempotency key.
    pub fn key(self, key: &str) -> Self {
        self.header("idempotency-key", key)
    }
    /// With `If-Match`.
    pub fn if_match(self, etag: &str) -> Self {
        self.header("if-match", &format!("\"{etag}\""))
    }
    /// With a body as it stands.
    pub fn raw(mut self, media: &str, body: impl Into<Vec<u8>>) -> Self {
        self.body = body.into();
        self.header("content-type", media)
    }
    /// With a JSON body.
    pub fn json(self, body: &Value) -> Self {
        self.raw("application/json", body.to_string())
    }
    /// With a merge patch.
    pub fn merge(self, body: &Value) -> Self {
        self.raw("application/merge-patch+json", body.to_string())
    }

    /// Sends it, holds the answer against the API document, and sees that a refusal wrote nothing.
    pub async fn send(self) -> Reply {
        // Every request comes a little later than the one before it.
        let clock = self.shop.db.clock();
        clock.set(clock.now().plus_ms(1));
        let alone = self.shop.alone.get();
        let before = if alone { Some(self.shop.written().await) } else { None };
        let mut request = Request::builder().method(self.method.clone()).uri(&self.path);
        if let Some(role) = self.who {
            let (_, secret) = self.shop.tokens.iter().find(|(r, _)| *r == role).unwrap();
            request = request.header("authorization", format!("Bearer {secret}"));
        }
        for (name, value) in &self.headers {
            request = request.header(*name, value);
        }
        let response = self.shop.app.clone().oneshot(request.body(Body::from(self.body)).unwrap()).await.unwrap();
        let (status, headers) = (response.status().as_u16(), response.headers().clone());
        let bytes = to_bytes(response.into_body(), 1 << 26).await.unwrap();
        let json = serde_json::from_slice(&bytes).unwrap_or(Value::Null);
        let reply = Reply { asked: format!("{} {}", self.method, self.path), status, headers, bytes: bytes.to_vec(), json };
        contract::check(&self.method, self.path.split('?').next().unwrap(), &reply);
        if alone && reply.status >= 400 {
            assert_eq!(Some(self.shop.written().await), before, "{} was refused and wrote something", reply.asked);
        }
        reply
    }
}

/// An answer.
#[derive(Debug)]
pub struct Reply {
    /// What was asked.
    pub asked: String,
    /// Its status.
    pub status: u16,
    /// Its headers.
    pub headers: HeaderMap,
    /// Its body.
    pub bytes: Vec<u8>,
    /// Its body as JSON; null where it is not.
    pub json: Value,
}

impl Reply {
    /// Its JSON, once its status is that one.
    #[track_caller]
    pub fn is(self, status: u16) -> Value {
        assert_eq!(self.status, status, "{}: {:#}", self.asked, self.json);
        self.json
    }
    /// The record made.
    #[track_caller]
    pub fn made(self) -> Value {
        self.is(201)
    }
    /// The problem it is, once it is of that type.
    #[track_caller]
    pub fn refused(self, slug: &str) -> Value {
        assert_eq!(self.json["type"], format!("/problems/{slug}"), "{}: {} {:#}", self.asked, self.status, self.json);
        self.json
    }
    /// The wrong fields it names, as (pointer, code), in order of their pointers.
    #[track_caller]
    pub fn faults(self) -> Vec<(String, String)> {
        let problem = self.refused("invalid");
        let text = |v: &Value| v.as_str().unwrap().to_owned();
        let mut out: Vec<_> =
            problem["errors"].as_array().unwrap().iter().map(|e| (text(&e["pointer"]), text(&e["code"]))).collect();
        out.sort();
        out
    }
    /// A header.
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.get(name).map(|v| v.to_str().unwrap())
    }
}
