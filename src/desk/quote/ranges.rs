//! The standing back-test: how often quotes held what they said, over time; and what is learnt of quotes
//! won and lost.

use super::answer::{DRAWS_AGAIN, SEED_AGAIN, about, rounded};
use super::model::Step;
use super::movers;
use super::record::{self, GROUPS, Record};
use super::store;
use crate::book::api::Kit;
use crate::db::Read as _;
use crate::kernel::actor::Right;
use crate::kernel::{Instant, Money, Problem};
use crate::science::quoting::{LEVELS, Share, Tested, back_test, summary};
use crate::web::draw::frame::Drawing;
use crate::web::draw::quote::{PastQuote, past_quotes};
use crate::web::page::escape_part;
use crate::web::route::{JSON_OR_SVG, handler};
use crate::web::{Answer, Ctx, Method, Param, Reply, Route};
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, OnceLock};
use std::time::Duration;

/// How long a request waits for a test that is under way before it says how far it is.
const PATIENCE: Duration = Duration::from_secs(8);
/// How often it looks.
const LOOK: Duration = Duration::from_millis(50);
/// Jobs to a stretch of the course over time.
const STRETCH: usize = 20;
/// The most quotes that are looked over.
const MOST_QUOTES: i64 = 2_000;

/// A back-test under way, or done: kept until the book moves on.
struct Test {
    record: Arc<Record>,
    done: AtomicUsize,
    tested: OnceLock<Vec<Tested>>,
}

/// The routes.
pub fn routes(kit: &Kit) -> Vec<Route> {
    let (ranges_kit, learnt_kit) = (kit.clone(), kit.clone());
    let route = |path: &str, operation: &str, about: &str, params, media, schema, handler| Route {
        method: Method::Get,
        path: path.into(),
        operation: operation.into(),
        right: Right::Own,
        about: about.into(),
        heading: "Quotes",
        params,
        body: None,
        answer: Answer { status: 200, about: "As it stands now", media, schema, etag: false },
        handler,
    };
    let wait = Param {
        required: false,
        name: "wait",
        about: "no: say at once how far a test is that is under way",
        schema: json!({"type": "string", "enum": ["no", "yes"], "default": "yes"}),
    };
    vec![
        route(
            "/v1/reports/quote-ranges",
            "report_quote_ranges",
            "How often quotes would have held: every job quoted again from what was on record before it",
            vec![wait],
            JSON_OR_SVG,
            ranges_schema(),
            handler(move |ctx| {
                let kit = ranges_kit.clone();
                async move {
                    let report = ranges(&kit, &ctx).await?;
                    Ok(Reply::json(&report).drawn(|report| drawing(report).alone()))
                }
            }),
        ),
        route(
            "/v1/reports/quotes",
            "report_quotes",
            "Quotes won and lost by price and kind, and which part of the cost misses most",
            Vec::new(),
            "application/json",
            learnt_schema(),
            handler(move |ctx| {
                let kit = learnt_kit.clone();
                async move { learnt(&kit, ctx.now).await.map(|value| Reply::json(&value)) }
            }),
        ),
    ]
}

/// The test of the record as it stands: one is begun where there is none.
async fn test(kit: &Kit) -> Result<Arc<Test>, Problem> {
    let mut read = kit.db.read().await?;
    let record = record::of(&mut read).await?;
    if let Some(kept) = read.shared().get::<Test>()
        && kept.record.journal == record.journal
    {
        return Ok(kept);
    }
    let begun = Arc::new(Test { record, done: AtomicUsize::new(0), tested: OnceLock::new() });
    read.shared().put(begun.clone());
    let work = begun.clone();
    tokio::task::spawn_blocking(move || {
        let mut told = |done: usize| work.done.store(done, Ordering::Relaxed);
        let tested = back_test(&work.record.jobs, movers::specs(), DRAWS_AGAIN, SEED_AGAIN, &mut told);
        // Nobody else sets it.
        let _ = work.tested.set(tested);
    });
    Ok(begun)
}

async fn ranges(kit: &Kit, ctx: &Ctx) -> Result<Value, Problem> {
    let test = test(kit).await?;
    let patience = if ctx.param("wait") == Some("no") { Duration::ZERO } else { PATIENCE };
    let mut waited = Duration::ZERO;
    loop {
        if let Some(tested) = test.tested.get() {
            return Ok(answered(tested, &test.record));
        }
        if waited >= patience {
            let of = test.record.jobs.len();
            return Ok(json!({"state": "working", "done": test.done.load(Ordering::Relaxed), "of": of}));
        }
        tokio::time::sleep(LOOK).await;
        waited += LOOK;
    }
}

/// The most jobs that are drawn, the latest.
const DRAWN: usize = 60;

/// The last jobs of the report, each with its range and what it cost, over the middle of its quote.
pub fn drawing(report: &Value) -> Drawing {
    let none = Vec::new();
    let all = report["items"].as_array().unwrap_or(&none);
    let finished: Vec<&Value> = all.iter().filter(|one| one["cost_minor"].is_i64()).collect();
    let last = finished.get(finished.len().saturating_sub(DRAWN)..).unwrap_or(&[]);
    let past = |one: &&Value| {
        let middle = one["p50_minor"].as_f64().filter(|p50| *p50 > 0.0)?;
        let over = |value: &Value| value.as_f64().map(|v| v / middle);
        let (number, ratio) = (one["job"].as_str().unwrap_or_default(), over(&one["cost_minor"])?);
        Some(PastQuote {
            said: format!("{number}: cost {ratio:.2} of the middle"),
            ratio,
            low: over(&one["range80_minor"]["low"]),
            high: over(&one["range80_minor"]["high"]),
            to: format!("/jobs/{}/cost", escape_part(number)),
        })
    };
    let jobs: Vec<PastQuote> = last.iter().filter_map(past).collect();
    let about = format!(
        "What each of the last {} jobs cost over the middle of its quote, with the range that should hold 80 in 100.",
        jobs.len()
    );
    past_quotes("How quotes held, job by job", &about, &jobs)
}

fn share(held: usize, of: usize) -> Value {
    json!({"held": held, "of": of, "share": (of > 0).then(|| (held as f64 / of as f64 * 1000.0).round() / 1000.0)})
}

fn shares(of: &Share) -> Vec<Value> {
    let all = LEVELS.iter().zip(of.held.iter().zip(&of.held_of)).zip(of.at_most.iter().zip(&of.at_most_of));
    all.map(|((level, (held, n)), (most, most_of))| {
        let mut one = share(*held, *n);
        one["level"] = json!(level);
        one["at_most"] = share(*most, *most_of);
        one
    })
    .collect()
}

fn answered(tested: &[Tested], record: &Record) -> Value {
    let all = summary(tested);
    let finished: Vec<&Tested> = tested.iter().filter(|one| one.actual.is_some()).collect();
    let course: Vec<Value> = finished
        .chunks(STRETCH)
        .map(|chunk| {
            let of_chunk: Vec<Tested> = chunk.iter().map(|one| (*one).clone()).collect();
            let part = summary(&of_chunk);
            let at = |one: Option<&&Tested>| one.map(|one| Instant::from_ms(one.quoted_at).to_string());
            json!({"from": at(chunk.first()), "to": at(chunk.last()), "jobs": chunk.len(), "levels": shares(&part), "bias": part.bias})
        })
        .collect();
    let mut kinds: BTreeMap<&str, Vec<Tested>> = BTreeMap::new();
    for one in &finished {
        let kind = record.jobs_told.get(one.job).map_or("", |told| told.kind.as_str());
        kinds.entry(kind).or_default().push((*one).clone());
    }
    let kinds = kinds.iter().map(|(kind, of)| {
        let part = summary(of);
        json!({"kind": kind, "jobs": of.len(), "levels": shares(&part), "bias": part.bias})
    });
    let kinds: Vec<Value> = kinds.collect();
    let one = |one: &Tested| {
        let told = record.jobs_told.get(one.job)?;
        let ends =
            |n: usize| one.ranges.get(n).map(|range| json!({"low": range.low.map(rounded), "high": range.high.map(rounded)}));
        let [_, eighty, _] = &one.ranges;
        let inside =
            one.actual.map(|actual| eighty.low.is_none_or(|low| low <= actual) && eighty.high.is_none_or(|high| actual <= high));
        Some(json!({
            "job": told.number, "title": told.title, "at": told.at.to_string(), "really": one.really, "calibrated_on": one.calibrated_on,
            "p50_minor": rounded(middle(one)), "range80_minor": ends(1), "range50_minor": ends(0),
            "cost_minor": one.actual.map(rounded), "so_far_minor": one.actual.is_none().then(|| rounded(one.so_far)), "inside80": inside,
        }))
    };
    let jobs: Vec<Value> = tested.iter().filter_map(one).collect();
    let really = tested.iter().filter(|one| one.really && one.actual.is_some()).count();
    json!({
        "state": "done", "jobs": all.jobs, "really_quoted": really, "levels": shares(&all), "bias": all.bias,
        "open": all.open, "open_already_above": all.open_already_above, "course": course, "by_kind": kinds, "items": jobs,
        "said": sentence(&all, really),
    })
}

/// What a quote said is as often too much as too little.
fn middle(one: &Tested) -> f64 {
    one.ranges.first().and_then(|half| half.at_most).unwrap_or(one.median)
}

fn sentence(of: &Share, really: usize) -> String {
    let [_, held, _] = of.held;
    let [_, n, _] = of.held_of;
    if n == 0 {
        return "No finished job could be quoted again yet: nothing is known of how well ranges hold here.".into();
    }
    let bias = of.bias.map_or_else(String::new, |bias| {
        let percent = ((bias.exp() - 1.0) * 100.0).round();
        if percent.abs() < 1.0 {
            " The middle was right.".to_owned()
        } else {
            format!(
                " In the middle jobs cost {:.0} % {} than was said.",
                percent.abs(),
                if percent > 0.0 { "more" } else { "less" }
            )
        }
    });
    let open = if of.open == 0 {
        String::new()
    } else {
        format!(
            " {} open, {} of them above the 80 % line already.",
            if of.open == 1 { "1 job is".to_owned() } else { format!("{} jobs are", of.open) },
            of.open_already_above
        )
    };
    let asked = if really == 0 {
        "None of them was quoted by the book at the time; all are quoted again from what was on record before them."
    } else {
        "Where a job was really quoted, that quote is counted; the others are quoted again from what was on record before them."
    };
    format!("Ranges said to hold 80 in 100 held {held} of {n}.{bias}{open} {asked}")
}

/// Bands of a price: under 1,000, 3,000, 10,000, and over, in whole currency.
const BANDS: [(i64, &str); 4] =
    [(1_000, "under 1,000"), (3_000, "1,000 to 3,000"), (10_000, "3,000 to 10,000"), (i64::MAX, "10,000 and over")];

#[derive(Default)]
struct Won {
    won: usize,
    lost: usize,
    open: usize,
}

impl Won {
    fn add(&mut self, state: &str) {
        match state {
            "accepted" => self.won += 1,
            "declined" | "lapsed" => self.lost += 1,
            _ => self.open += 1,
        }
    }
    fn value(&self, level: &str) -> Value {
        let settled = self.won + self.lost;
        json!({"level": level, "won": self.won, "lost": self.lost, "open": self.open,
               "share": (settled > 0).then(|| (self.won as f64 / settled as f64 * 1000.0).round() / 1000.0)})
    }
}

async fn learnt(kit: &Kit, now: Instant) -> Result<Value, Problem> {
    let mut read = kit.db.read().await?;
    let record = record::of(&mut read).await?;
    let today = crate::shop::house::settings::of(&mut read).await?.day(now);
    let quotes = store::latest(&mut read, MOST_QUOTES).await?;
    let seqs: Vec<_> = quotes.iter().map(|quote| quote.seq).collect();
    let worked = store::worked(&mut read, &seqs).await?;
    let (mut by_price, mut by_kind): (BTreeMap<usize, Won>, BTreeMap<String, Won>) = (BTreeMap::new(), BTreeMap::new());
    let mut misses: BTreeMap<&'static str, Vec<(f64, f64)>> = BTreeMap::new();
    let mut all = Won::default();
    for quote in quotes.iter().filter(|quote| !quote.superseded) {
        let state = super::api::state(quote);
        let state = if matches!(state, "sent" | "draft") && quote.valid_until < today { "lapsed" } else { state };
        let price = quote.price.map_or(0, Money::minor);
        let place = BANDS.iter().position(|(edge, _)| price / 100 < *edge).unwrap_or(0);
        let of_it = worked.get(&quote.seq).cloned().unwrap_or(Value::Null);
        by_price.entry(place).or_default().add(state);
        by_kind.entry(kind(&of_it)).or_default().add(state);
        all.add(state);
        let job = quote.commission.and_then(|c| record.jobs_told.iter().position(|told| told.commission == c));
        if let Some(job) = job
            && record.jobs.get(job).is_some_and(|job| job.finished.is_some())
            && let Some(told) = record.jobs_told.get(job)
        {
            for (group, quoted) in quoted_groups(&of_it) {
                misses.entry(group).or_default().push((quoted, told.groups.get(group).copied().unwrap_or(0.0)));
            }
        }
    }
    let mut misses: Vec<Value> = misses.iter().map(|(group, pairs)| missed(group, pairs)).collect();
    misses.sort_by_key(|one| std::cmp::Reverse(one["off_minor"].as_i64().map_or(0, i64::abs)));
    let reasons = reasons(&mut read, &quotes).await?;
    Ok(json!({
        "quotes": all.value("all"),
        "by_price": by_price.iter().map(|(place, won)| won.value(BANDS.get(*place).map_or("", |(_, words)| words))).collect::<Vec<_>>(),
        "by_kind": by_kind.iter().map(|(kind, won)| won.value(kind)).collect::<Vec<_>>(),
        "misses": misses,
        "reasons": reasons,
    }))
}

/// What kind of work a quote is of, by its first line.
fn kind(worked: &Value) -> String {
    let first = &worked["lines"][0];
    let alloy = first["alloy"].as_str().unwrap_or("several alloys");
    record::kind_words(first["unique"] == true, first["copies"].as_u64().unwrap_or(0), alloy)
}

/// What a quote said of each group of a cost, in minor units. What it said for failed castings is shared out
/// over all but what is bought in, as they cost of all of it.
fn quoted_groups(worked: &Value) -> BTreeMap<&'static str, f64> {
    let mut out: BTreeMap<&'static str, f64> = GROUPS.iter().map(|group| (*group, 0.0)).collect();
    let mut recast = 0.0;
    for driver in worked["drivers"].as_array().into_iter().flatten() {
        let adds = driver["adds_minor"].as_f64().unwrap_or(0.0);
        match group_of(driver["name"].as_str().unwrap_or_default()) {
            Some(group) => *out.entry(group).or_default() += adds,
            None => recast += adds,
        }
    }
    let cast: f64 = out.iter().filter(|(group, _)| **group != "bought").map(|(_, adds)| adds).sum();
    for (_, adds) in out.iter_mut().filter(|(group, _)| **group != "bought" && cast > 0.0) {
        *adds += recast * *adds / cast;
    }
    out
}

/// The group that a mover belongs to; none for failed castings, which cost of everything.
fn group_of(name: &str) -> Option<&'static str> {
    match name {
        "metal" | "metal_lost" => Some("metal"),
        "wax" | "shell" => Some("wax_and_shell"),
        "fuel" | "crucible" | "pour_day" => Some("firing_and_pour"),
        "poured" => Some("work"),
        "recast" => None,
        _ if name.starts_with("minutes_") => Some("work"),
        _ => Some("bought"),
    }
}

fn missed(group: &str, pairs: &[(f64, f64)]) -> Value {
    let n = pairs.len();
    let (quoted, real) = pairs.iter().fold((0.0, 0.0), |(q, r), (quoted, real)| (q + quoted, r + real));
    json!({"group": group, "about": about(group), "jobs": n, "quoted_minor": rounded(quoted), "real_minor": rounded(real),
           "off_minor": rounded(real - quoted)})
}

/// Why quotes were not taken, as it was said, the most frequent first.
async fn reasons(read: &mut crate::db::ReadTx, quotes: &[store::QuoteRow]) -> Result<Vec<Value>, Problem> {
    let declined: Vec<_> =
        quotes.iter().flat_map(|q| &q.steps).filter(|(step, ..)| *step == Step::Declined).map(|(.., seq)| *seq).collect();
    let mut counts: BTreeMap<String, usize> = BTreeMap::new();
    for found in crate::book::reach::by_seqs(read, &declined).await? {
        let reason = found.body["reason"].as_str().unwrap_or("not said").trim().to_lowercase();
        *counts.entry(reason).or_default() += 1;
    }
    let mut out: Vec<(String, usize)> = counts.into_iter().collect();
    out.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
    Ok(out.into_iter().take(20).map(|(reason, n)| json!({"reason": reason, "quotes": n})).collect())
}

fn counted() -> Value {
    json!({"type": "object", "required": ["held", "of"], "properties": {"held": {"type": "integer"}, "of": {"type": "integer"},
        "share": {"type": ["number", "null"]}}})
}

fn levels_schema() -> Value {
    let mut level = counted();
    level["properties"]["level"] = json!({"type": "number"});
    level["properties"]["at_most"] = counted();
    json!({"type": "array", "items": level})
}

fn ranges_schema() -> Value {
    let (whole, text) = (json!({"type": "integer"}), json!({"type": "string"}));
    json!({"type": "object", "required": ["state"], "properties": {
        "state": {"type": "string", "enum": ["working", "done"]}, "done": whole, "of": whole, "jobs": whole, "really_quoted": whole,
        "levels": levels_schema(), "bias": {"type": ["number", "null"], "description": "median of ln(cost ÷ p50)"},
        "open": whole, "open_already_above": whole, "said": text,
        "course": {"type": "array", "items": {"type": "object", "properties": {"from": text, "to": text, "jobs": whole,
            "levels": levels_schema(), "bias": {"type": ["number", "null"]}}}},
        "by_kind": {"type": "array", "items": {"type": "object", "properties": {"kind": text, "jobs": whole,
            "levels": levels_schema(), "bias": {"type": ["number", "null"]}}}},
        "items": {"type": "array", "items": {"type": "object", "required": ["job", "at"], "properties": {
            "job": text, "title": text, "at": text, "really": {"type": "boolean"}, "calibrated_on": whole, "p50_minor": whole,
            "inside80": {"type": ["boolean", "null"]}}}}}})
}

fn learnt_schema() -> Value {
    let (whole, text) = (json!({"type": "integer"}), json!({"type": "string"}));
    let won = json!({"type": "object", "required": ["level", "won", "lost", "open"], "properties": {
        "level": text, "won": whole, "lost": whole, "open": whole, "share": {"type": ["number", "null"]}}});
    let members: Map<String, Value> = [
        ("quotes".to_owned(), won.clone()),
        ("by_price".to_owned(), json!({"type": "array", "items": won})),
        ("by_kind".to_owned(), json!({"type": "array", "items": won})),
        (
            "misses".to_owned(),
            json!({"type": "array", "items": {"type": "object", "required": ["group", "jobs"], "properties": {"group": text, "about": text,
                "jobs": whole, "quoted_minor": whole, "real_minor": whole, "off_minor": whole}}}),
        ),
        (
            "reasons".to_owned(),
            json!({"type": "array", "items": {"type": "object", "properties": {"reason": text, "quotes": whole}}}),
        ),
    ]
    .into_iter()
    .collect();
    json!({"type": "object", "required": ["quotes", "by_price", "by_kind", "misses", "reasons"], "properties": members})
}
