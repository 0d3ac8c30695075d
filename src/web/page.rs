//! The frame of every page, what a visit brings, and what is shown.

use super::assets;
use super::slip::Refused;
use crate::kernel::actor::Right;
use crate::kernel::{Actor, Instant, Problem, ProblemType};
use askama::Template;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;

/// The cookie of a session.
pub const SESSION: &str = "pourbook_session";
/// The cookie of a browser of the floor.
pub const FLOOR: &str = "pourbook_floor";
/// The cookie of what was recorded a moment ago.
pub const DONE: &str = "pourbook_done";

/// What a form said; white space around it does not count.
#[derive(Clone, Debug, Default)]
pub struct Form(pub Vec<(String, String)>);

impl Form {
    /// What stands in a field; nothing where there is none.
    #[must_use]
    pub fn get(&self, name: &str) -> &str {
        self.0.iter().find(|(n, _)| n == name).map_or("", |(_, v)| v.trim())
    }
    /// Everything of that name: of boxes ticked.
    pub fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> + 'a {
        self.0.iter().filter(move |(n, _)| n == name).map(|(_, v)| v.trim())
    }
    /// Reads what [`Self::encoded`] wrote; nothing of what cannot be read.
    #[must_use]
    pub fn decode(text: &str) -> Self {
        Self(super::serve::form_pairs(text).unwrap_or_default())
    }
    /// As it was sent.
    #[must_use]
    pub fn encoded(&self) -> String {
        self.0.iter().map(|(n, v)| format!("{}={}", escape_part(n), escape_part(v))).collect::<Vec<_>>().join("&")
    }
}

/// Text as part of a query or a form.
#[must_use]
pub fn escape_part(text: &str) -> String {
    use std::fmt::Write as _;
    let mut out = String::with_capacity(text.len());
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            out.push(char::from(byte));
        } else {
            // Writing to a string does not fail.
            let _ = write!(out, "%{byte:02X}");
        }
    }
    out
}

/// A path of this server, so that nobody is sent elsewhere; else the start.
#[must_use]
pub fn local(path: &str) -> &str {
    let fine = path.starts_with('/') && !path.starts_with("//") && !path.contains('\\') && !path.bytes().any(|b| b < 0x20);
    if fine { path } else { "/" }
}

/// What whoever was signed out meanwhile had typed, and where to.
#[derive(Clone, Debug)]
pub struct Kept {
    /// Where it was sent.
    pub path: String,
    /// What was typed.
    pub form: Form,
}

/// A visit to a page.
pub struct Visit {
    /// Who is signed in.
    pub actor: Option<Actor>,
    /// The secret of the session.
    pub session: Option<String>,
    /// The secret of the browser, where it is the floor's.
    pub device: Option<String>,
    /// The path as asked.
    pub path: String,
    /// Parts of the path by name.
    pub path_params: Vec<(String, String)>,
    /// The query.
    pub query: Form,
    /// What was typed.
    pub form: Form,
    /// What was typed on a page whose session had ended.
    pub kept: Option<Kept>,
    /// What is wrong with what was typed: field, and what to do.
    pub faults: Vec<(String, String)>,
    /// Why it was refused, when another word would have it taken.
    pub refused: Option<Refused>,
    /// What was recorded a moment ago and may be undone.
    pub done: Option<Done>,
    /// From where.
    pub address: String,
    /// Now.
    pub now: Instant,
}

impl Visit {
    /// Who is signed in.
    ///
    /// # Errors
    /// `no-token` on a page that forgot to ask.
    pub fn actor(&self) -> Result<Actor, Problem> {
        self.actor.clone().ok_or_else(|| Problem::new(ProblemType::NoToken, "Sign in."))
    }
    /// A part of the path.
    #[must_use]
    pub fn part(&self, name: &str) -> &str {
        self.path_params.iter().find(|(n, _)| n == name).map_or("", |(_, v)| v)
    }
    /// The frame of a page for this visitor.
    #[must_use]
    pub fn frame(&self, title: impl Into<String>) -> Frame {
        Frame {
            title: title.into(),
            who: self.actor.clone(),
            here: self.path.clone(),
            find: self.query.get("q").to_owned(),
            faulty: !self.faults.is_empty() || self.refused.is_some(),
            done: self.done.clone(),
            now: self.now,
        }
    }
}

/// What was recorded a moment ago: carried in a cookie for as long as it may be undone at once.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Done {
    /// The collection.
    pub collection: String,
    /// The records.
    pub ids: Vec<String>,
    /// When, in milliseconds.
    pub at_ms: i64,
}

impl Done {
    /// How long a record may be undone from the line at the top.
    pub const LASTS_S: i64 = 30;
    /// As a cookie's value; nothing where it would be too long for one.
    #[must_use]
    pub fn written(&self) -> Option<String> {
        let text = format!("{}:{}:{}", self.collection, self.at_ms, self.ids.join("."));
        (text.len() <= 3_500).then_some(text)
    }
    /// Reads what [`Self::written`] wrote, while it may be undone.
    #[must_use]
    pub fn read(text: &str, now: Instant) -> Option<Self> {
        let (collection, rest) = text.split_once(':')?;
        let (at, ids) = rest.split_once(':')?;
        let at_ms = at.parse::<i64>().ok()?;
        let shaped = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-');
        let ids: Vec<String> = ids.split('.').map(str::to_owned).collect();
        let fresh = (0..Self::LASTS_S * 1000).contains(&(now.ms() - at_ms));
        (fresh && shaped(collection) && ids.iter().all(|id| shaped(id))).then(|| Self {
            collection: collection.to_owned(),
            ids,
            at_ms,
        })
    }
    /// In words: `2 coats`.
    #[must_use]
    pub fn words(&self) -> String {
        let many = self.collection.replace('-', " ");
        let one = match many.as_str() {
            "work" => "work".to_owned(),
            "heat events" => "what was done to the melt".to_owned(),
            "metal lots" => "metal taken in".to_owned(),
            "cut offs" => "cut off".to_owned(),
            text if text.ends_with("ies") => format!("{}y", text.trim_end_matches("ies")),
            text if ["sses", "xes", "shes", "ches"].iter().any(|end| text.ends_with(end)) => {
                text.trim_end_matches("es").to_owned()
            }
            text => text.trim_end_matches('s').to_owned(),
        };
        match self.ids.len() {
            1 => one,
            n => format!("{n} {many}"),
        }
    }
    /// How many seconds are left.
    #[must_use]
    pub const fn left_s(&self, now: Instant) -> i64 {
        Self::LASTS_S - (now.ms() - self.at_ms) / 1000
    }
}

/// What stands around every page.
#[derive(Clone, Debug)]
pub struct Frame {
    /// The title.
    pub title: String,
    /// Who is signed in.
    pub who: Option<Actor>,
    /// The path, to mark where one is.
    pub here: String,
    /// What was sought.
    pub find: String,
    /// Whether something typed was wrong.
    pub faulty: bool,
    /// What was recorded a moment ago.
    pub done: Option<Done>,
    /// Now.
    pub now: Instant,
}

impl Frame {
    /// Whether whoever looks may do something.
    #[must_use]
    pub fn may(&self, right: Right) -> bool {
        self.who.as_ref().is_some_and(|who| who.role.may(right))
    }
    /// Whether they may log.
    #[must_use]
    pub fn may_log(&self) -> bool {
        self.may(Right::Log)
    }
    /// Whether they are the owner.
    #[must_use]
    pub fn may_own(&self) -> bool {
        self.may(Right::Own)
    }
    /// Where an asset is, its version with it.
    #[must_use]
    pub fn asset(&self, path: &str) -> String {
        assets::address(path)
    }
    /// The pages that whoever looks has most to do with: path and words.
    #[must_use]
    pub fn places(&self) -> Vec<(&'static str, &'static str)> {
        let log = [("/dip", "Dip"), ("/kiln", "Kiln"), ("/heats", "Heats"), ("/breakout", "Break out"), ("/bench", "Bench")];
        let mut out = vec![("/", "Where everything is")];
        if self.may_log() {
            out.extend(log);
        }
        out.extend([("/jobs", "Jobs"), ("/metal", "Metal"), ("/reports", "Reports")]);
        out
    }
    /// How many seconds are left to undo what was recorded a moment ago.
    #[must_use]
    pub fn left_s(&self) -> i64 {
        self.done.as_ref().map_or(0, |done| done.left_s(self.now))
    }
    /// Whether the page is the one of a link.
    #[must_use]
    pub fn at(&self, path: &str) -> bool {
        self.here == path
    }
}

/// A cookie to be set; without a value it is taken away.
#[derive(Clone, Debug)]
pub struct Cookie {
    /// Its name.
    pub name: &'static str,
    /// Its value.
    pub value: Option<String>,
    /// How long it is kept, in seconds.
    pub lasts_s: i64,
}

/// What is shown.
#[derive(Clone, Debug)]
pub struct Shown {
    /// The status.
    pub status: u16,
    /// The page; empty where one is sent on.
    pub html: String,
    /// What is sent instead of a page, where that is no text.
    pub bytes: Option<Vec<u8>>,
    /// What it is, when no page.
    pub media: Option<&'static str>,
    /// The name under which a browser keeps it, when it is to be kept.
    pub file: Option<String>,
    /// Where one is sent on to.
    pub to: Option<String>,
    /// Cookies set.
    pub cookies: Vec<Cookie>,
}

impl Shown {
    /// A page.
    ///
    /// # Errors
    /// Internal, when it cannot be written.
    pub fn page(page: &impl Template) -> Result<Self, Problem> {
        let html = page.render().map_err(Problem::internal)?;
        Ok(Self::text(html))
    }
    const fn text(html: String) -> Self {
        Self { status: 200, html, bytes: None, media: None, file: None, to: None, cookies: Vec::new() }
    }
    /// A table as CSV, to be kept under that name.
    #[must_use]
    pub fn csv(name: &str, text: String) -> Self {
        Self { media: Some("text/csv; charset=utf-8"), file: Some(format!("{name}.csv")), ..Self::text(text) }
    }
    /// A file to be kept under that name.
    #[must_use]
    pub fn file(media: &'static str, name: String, bytes: Vec<u8>) -> Self {
        Self { media: Some(media), file: Some(name), bytes: Some(bytes), ..Self::text(String::new()) }
    }
    /// What a page's script asked.
    #[must_use]
    pub fn json(value: &serde_json::Value) -> Self {
        Self { media: Some("application/json"), ..Self::text(value.to_string()) }
    }
    /// Another page, to be fetched (303: what was sent is not sent again by going back).
    #[must_use]
    pub fn go(to: &str) -> Self {
        Self { status: 303, to: Some(local(to).to_owned()), ..Self::text(String::new()) }
    }
    /// With that status.
    #[must_use]
    pub const fn status(mut self, status: u16) -> Self {
        self.status = status;
        self
    }
    /// With a cookie.
    #[must_use]
    pub fn cookie(mut self, cookie: Cookie) -> Self {
        self.cookies.push(cookie);
        self
    }
}

impl Page {
    /// The parts of a path, by name, when this is its page.
    #[must_use]
    pub fn matches(&self, path: &str) -> Option<Vec<(String, String)>> {
        let (mut mine, mut asked) = (self.path.split('/'), path.split('/'));
        let mut parts = Vec::new();
        loop {
            match (mine.next(), asked.next()) {
                (None, None) => return Some(parts),
                (Some(m), Some(a)) => match m.strip_prefix('{').and_then(|m| m.strip_suffix('}')) {
                    Some(name) if !a.is_empty() => parts.push((name.to_owned(), super::serve::unescaped(a)?)),
                    None if m == a => {}
                    _ => return None,
                },
                _ => return None,
            }
        }
    }
}

/// What shows a page.
pub type PageHandler = Arc<dyn Fn(Visit) -> Pin<Box<dyn Future<Output = Result<Shown, Problem>> + Send>> + Send + Sync>;

/// A page, or what a form is sent to.
#[derive(Clone)]
pub struct Page {
    /// Whether a form is sent there.
    pub takes_form: bool,
    /// Its path, parts in braces.
    pub path: &'static str,
    /// What a visitor must be allowed.
    pub right: Right,
    /// What shows it.
    pub handler: PageHandler,
}

impl Page {
    /// A page to look at.
    pub fn get<F, T>(path: &'static str, right: Right, f: F) -> Self
    where
        F: Fn(Visit) -> T + Send + Sync + 'static,
        T: Future<Output = Result<Shown, Problem>> + Send + 'static,
    {
        Self { takes_form: false, path, right, handler: Arc::new(move |visit| Box::pin(f(visit))) }
    }
    /// What a form is sent to.
    pub fn post<F, T>(path: &'static str, right: Right, f: F) -> Self
    where
        F: Fn(Visit) -> T + Send + Sync + 'static,
        T: Future<Output = Result<Shown, Problem>> + Send + 'static,
    {
        Self { takes_form: true, ..Self::get(path, right, f) }
    }
}

/// A problem as a page.
#[derive(Template)]
#[template(path = "problem.html")]
pub(super) struct ProblemPage<'p> {
    pub(super) frame: Frame,
    pub(super) problem: &'p Problem,
    pub(super) request_id: &'p str,
    pub(super) internal: bool,
}

/// A help page: a heading and what stands below it, which is ours and holds no one's words.
#[derive(Template)]
#[template(path = "help.html")]
pub(super) struct HelpPage<'p> {
    pub(super) frame: Frame,
    pub(super) body: &'p str,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_is_sent_elsewhere() {
        for elsewhere in ["//evil.example", "https://evil.example", "/\\evil.example", "evil", "", "/a\nb"] {
            assert_eq!(local(elsewhere), "/", "{elsewhere}");
        }
        assert_eq!(local("/castings/7K2QD?x=1"), "/castings/7K2QD?x=1");
    }

    #[test]
    fn a_form_comes_back_as_it_was() {
        let form = Form(vec![("a".into(), "Müller & <b>=\"1\"+".into()), ("b".into(), " x ".into())]);
        assert_eq!(form.encoded(), "a=M%C3%BCller%20%26%20%3Cb%3E%3D%221%22%2B&b=%20x%20");
        assert_eq!(Form::decode(&form.encoded()).0, form.0);
        assert_eq!((form.get("b"), form.get("c")), ("x", ""));
    }
}
