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
        // A letter is no text: of it only the status is looked at.
        let pdf = headers.get("content-type").is_some_and(|media| media == "application/pdf");
        let html = if pdf { String::from_utf8_lossy(&bytes).into_owned() } else { String::from_utf8(bytes.to_vec()).unwrap() };
        Seen { status, headers, html }
    }
}

/// Lets someone sign in.
pub async fn take_in(shop: &TestShop, name: &str, role: Role) {
    let hash = secret::hash(shop.db.clock(), PASSWORD).await.unwrap();
    let mut tx = shop.db.write(Actor::new("setup", Role::Owner)).await.unwrap();
    session::put(&mut tx, name, role, Some(&hash)).await.unwrap();
    tx.save(()).await.unwrap();
}

/// A slip as it stands on a page: what would be sent if its button were tapped now.
#[derive(Clone, Debug)]
pub struct Sent {
    /// Where it goes.
    pub action: String,
    /// Its fields, as a browser would send them.
    pub fields: Vec<(String, String)>,
    /// The fields that are seen at once: names, each once.
    pub seen: Vec<String>,
}

/// A name and what stands in it.
fn attribute(of: &str, name: &str) -> Option<String> {
    let at = format!(" {name}=\"");
    let value = of.split(&at).nth(1)?.split('"').next()?;
    Some(value.replace("&#60;", "<").replace("&#62;", ">").replace("&#34;", "\"").replace("&#39;", "'").replace("&#38;", "&"))
}

impl Sent {
    /// The first slip of a page whose action ends so.
    #[track_caller]
    pub fn on(html: &str, action: &str) -> Self {
        Self::all(html)
            .into_iter()
            .find(|sent| sent.action.ends_with(action))
            .unwrap_or_else(|| panic!("no slip goes to {action}: {html}"))
    }
    /// Every slip of a page.
    pub fn all(html: &str) -> Vec<Self> {
        let forms = html.split("<form ").skip(1).map(|f| f.split("</form>").next().unwrap());
        forms.filter(|f| f.contains("method=\"post\"")).map(Self::read).collect()
    }
    fn read(form: &str) -> Self {
        let mut fields = Vec::new();
        let mut seen: Vec<String> = Vec::new();
        let folded = form.find("<details").unwrap_or(form.len());
        let mut at = 0;
        while let Some(next) = form[at..].find('<') {
            at += next;
            let tag = &form[at..=at + form[at..].find('>').unwrap()];
            let here = format!(" {}", tag.trim_start_matches('<'));
            let name = attribute(&here, "name").unwrap_or_default();
            let kind = attribute(&here, "type").unwrap_or_default();
            let value = if tag.starts_with("<input") {
                let ticked = !matches!(kind.as_str(), "radio" | "checkbox") || tag.contains(" checked");
                ticked.then(|| attribute(&here, "value").unwrap_or_default())
            } else if tag.starts_with("<select") {
                let options = form[at..].split("</select>").next().unwrap();
                let mut options = options.split("<option ").skip(1).map(|o| format!(" {}", o.split('>').next().unwrap()));
                let first = options.clone().next();
                let chosen = options.find(|o| o.ends_with(" selected")).or(first);
                chosen.map(|o| attribute(&o, "value").unwrap_or_default())
            } else if tag.starts_with("<textarea") {
                Some(form[at + tag.len()..].split("</textarea>").next().unwrap().to_owned())
            } else {
                None
            };
            let field = ["<input", "<select", "<textarea"].iter().any(|t| tag.starts_with(t));
            if field && kind != "hidden" && at < folded && !seen.contains(&name) {
                seen.push(name.clone());
            }
            if let Some(value) = value.filter(|_| !name.is_empty()) {
                fields.push((name, value));
            }
            at += tag.len();
        }
        Self { action: attribute(&format!(" {form}"), "action").unwrap(), fields, seen }
    }
    /// With something typed or chosen in a field that is there; ticks of that name are replaced.
    #[track_caller]
    pub fn with(mut self, name: &str, value: &str) -> Self {
        self.fields.retain(|(n, _)| n != name);
        self.fields.push((name.to_owned(), value.to_owned()));
        self
    }
}

impl Browser {
    /// Sends a slip.
    pub async fn tap(&mut self, sent: &Sent) -> Seen {
        let fields: Vec<(&str, &str)> = sent.fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
        self.post(&sent.action, &fields).await
    }
    /// Looks at a page, taps a slip of it as it comes but for what is typed, and answers where
    /// one is sent on to.
    pub async fn log(&mut self, page: &str, action: &str, typed: &[(&str, &str)]) -> String {
        let html = self.get(page).await.is(200);
        let sent = typed.iter().fold(Sent::on(&html, action), |sent, (name, value)| sent.with(name, value));
        self.tap(&sent).await.to().to_owned()
    }
}
