//! A browser as far as pages need one: cookies, forms, and where it is sent on to. No scripts.

use crate::kit::TestShop;
use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{HeaderMap, Request};
use pourbook::app;
use pourbook::book::{secret, session};
use pourbook::kernel::{Actor, Role};
use pourbook::web::page::escape_part;
use std::collections::BTreeMap;
use tower::ServiceExt as _;

/// The password of everyone here.
pub const PASSWORD: &str = "six green otters";

/// A browser at a service.
#[derive(Clone)]
pub struct Browser {
    app: Router,
    /// Its cookies.
    pub cookies: BTreeMap<String, String>,
    /// Headers that it sends with what it writes.
    pub sends: Vec<(&'static str, String)>,
}

/// What was shown.
#[derive(Debug)]
pub struct Seen {
    /// The status.
    pub status: u16,
    /// The headers.
    pub headers: HeaderMap,
    /// The page.
    pub html: String,
}

impl Seen {
    /// The page, once its status is that one.
    #[track_caller]
    pub fn is(self, status: u16) -> String {
        assert_eq!(self.status, status, "{}", self.html);
        self.html
    }
    /// Where one is sent on to.
    #[track_caller]
    pub fn to(&self) -> &str {
        assert_eq!(self.status, 303, "{}", self.html);
        self.headers["location"].to_str().unwrap()
    }
    /// A header.
    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |v| v.to_str().unwrap())
    }
}

impl Browser {
    /// A browser without cookies at a service of its own over the shop's book.
    pub fn at(shop: &TestShop) -> Self {
        let sends = vec![("sec-fetch-site", "same-origin".to_owned())];
        Self { app: app::service(&shop.db), cookies: BTreeMap::new(), sends }
    }
    /// Another browser at the same service.
    pub fn other(&self) -> Self {
        Self { cookies: BTreeMap::new(), ..self.clone() }
    }
    /// A browser signed in as someone new.
    pub async fn signed_in(shop: &TestShop, name: &str, role: Role) -> Self {
        take_in(shop, name, role).await;
        let mut browser = Self::at(shop);
        assert_eq!(browser.post("/sign-in", &[("name", name), ("password", PASSWORD)]).await.to(), "/");
        browser
    }

    /// Looks at a page.
    pub async fn get(&mut self, path: &str) -> Seen {
        self.send(Request::get(path), Body::empty()).await
    }
    /// Sends a form.
    pub async fn post(&mut self, path: &str, form: &[(&str, &str)]) -> Seen {
        let body = form.iter().map(|(n, v)| format!("{}={}", escape_part(n), escape_part(v))).collect::<Vec<_>>().join("&");
        let mut request = Request::post(path).header("content-type", "application/x-www-form-urlencoded");
        for (name, value) in &self.sends {
            request = request.header(*name, value);
        }
        self.send(request, Body::from(body)).await
    }
    /// Sends JSON to the API, as a page's script would.
    pub async fn call(&mut self, path: &str, body: &serde_json::Value) -> Seen {
        let mut request = Request::post(path).header("content-type", "application/json");
        for (name, value) in &self.sends {
            request = request.header(*name, value);
        }
        self.send(request, Body::from(body.to_string())).await
    }

    async fn send(&mut self, mut request: axum::http::request::Builder, body: Body) -> Seen {
        if !self.cookies.is_empty() {
            let all: Vec<String> = self.cookies.iter().map(|(n, v)| format!("{n}={v}")).collect();
            request = request.header("cookie", all.join("; "));
        }
        let response = self.app.clone().oneshot(request.header("host", "shop.local").body(body).unwrap()).await.unwrap();
        let (status, headers) = (response.status().as_u16(), response.headers().clone());
        for set in headers.get_all("set-cookie") {
            let set = set.to_str().unwrap();
            assert!(set.ends_with("; HttpOnly; SameSite=Lax") && set.contains("; Path=/;"), "{set}");
            let (name, value) = set.split(';').next().unwrap().split_once('=').unwrap();
            if set.contains("Max-Age=0;") {
                self.cookies.remove(name);
            } else {
                self.cookies.insert(name.to_owned(), value.to_owned());
            }
        }
        let bytes = to_bytes(response.into_body(), 1 << 26).await.unwrap();
        Seen { status, headers, html: String::from_utf8(bytes.to_vec()).unwrap() }
    }
}

/// Lets someone sign in.
pub async fn take_in(shop: &TestShop, name: &str, role: Role) {
    let hash = secret::hash(shop.db.clock(), PASSWORD).await.unwrap();
    let mut tx = shop.db.write(Actor::new("setup", Role::Owner)).await.unwrap();
    session::put(&mut tx, name, role, Some(&hash)).await.unwrap();
    tx.save(()).await.unwrap();
}
