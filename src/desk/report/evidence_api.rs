//! `/v1/reports/compare` and `/v1/reports/changed`.

use super::ask::{Ask, malformed, params};
use super::evidence::{self, Question, WORTH_KNOWING};
use super::factor::Factor;
use crate::book::api::Kit;
use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::web::route::handler;
use crate::web::{Answer, Ctx, Method, Param, Reply, Route};
use serde_json::{Value, json};

/// The outcomes that are compared: as asked for, and as reports are called.
const OUTCOMES: [(&str, &str); 3] = [("leak", "leaks"), ("short", "shorts"), ("defect", "defects")];

/// The outcome asked for.
///
/// # Errors
/// `malformed` when it is none.
pub fn outcome(ctx: &Ctx) -> Result<&'static str, Problem> {
    let given = ctx.param("outcome").unwrap_or("leak");
    OUTCOMES
        .iter()
        .find(|(name, _)| *name == given)
        .map(|(_, report)| *report)
        .ok_or_else(|| malformed("The parameter outcome is leak, short or defect.".into()))
}

/// The parameters that every one of these reports takes besides the factor.
fn filters() -> Vec<Param> {
    let mut out = params(&["code"]);
    out.retain(|p| p.name != "by");
    out.insert(
        0,
        Param {
            required: false,
            name: "outcome",
            about: "what is counted; leak if not said",
            schema: json!({"type": "string", "enum": ["leak", "short", "defect"]}),
        },
    );
    out
}

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let names: Vec<&str> = Factor::ALL.iter().map(|f| f.name()).collect();
    let text = || json!({"type": "string", "minLength": 1, "maxLength": 200});
    let mut asked = filters();
    asked.extend([
        Param { required: true, name: "factor", about: "the factor", schema: json!({"type": "string", "enum": names}) },
        Param { required: true, name: "a", about: "a level of it, by name or id", schema: text() },
        Param { required: true, name: "b", about: "another level", schema: text() },
        Param {
            required: false,
            name: "adjust",
            about: "what is adjusted for: factors with commas between; the alloy if not said, nothing where empty is said as none",
            schema: text(),
        },
        Param {
            required: false,
            name: "beforehand",
            about: "yes: this comparison was named before those pours, and is read once",
            schema: json!({"type": "string", "enum": ["yes", "no"]}),
        },
        Param {
            required: false,
            name: "worth_knowing",
            about: "the least difference of rates that would matter, 0.01 to 0.9; 0.1 if not said",
            schema: json!({"type": "string", "maxLength": 8}),
        },
    ]);
    let mut compared = comparison();
    for (name, schema) in [
        ("outcome", json!({"type": "string"})),
        ("factor", json!({"type": "string"})),
        ("filters", json!({"type": "object"})),
        ("unit", json!({"type": "string"})),
        ("threshold", json!({"type": "number"})),
        ("worth_knowing", json!({"type": "number"})),
        ("left_out", json!({"type": "integer"})),
        (
            "a_year",
            json!({"type": ["object", "null"], "description": "what the difference comes to in a year at the pace of those pours", "properties": {
                "in_a_hundred": {"type": "number"}, "pours": {"type": "number"}, "events": {"type": "number"},
                "kg": {"type": "number"}, "metal_minor": {"type": "integer"}}}),
        ),
    ] {
        compared["properties"][name] = schema;
    }
    vec![
        route(kit, "compare", "Two levels of a factor: whether they can be told apart", asked, compared, |kit, ctx| {
            Box::pin(async move { compare(&kit, &ctx).await })
        }),
        route(kit, "changed", "Which of all factors make a difference", filters(), changed_schema(), |kit, ctx| {
            Box::pin(async move {
                let outcome = outcome(&ctx)?;
                let mut read = kit.db.read().await?;
                let ask = Ask::of(&mut read, &ctx, Factor::Alloy).await?;
                evidence::changed(&mut read, &ask, outcome, ctx.now).await
            })
        }),
    ]
}

type Run = fn(Kit, Ctx) -> std::pin::Pin<Box<dyn Future<Output = Result<Value, Problem>> + Send>>;

fn route(kit: &Kit, name: &'static str, about: &str, params: Vec<Param>, schema: Value, run: Run) -> Route {
    let kit = kit.clone();
    Route {
        method: Method::Get,
        path: format!("/v1/reports/{name}"),
        operation: format!("report_{name}"),
        right: Right::Read,
        about: about.into(),
        heading: "Reports",
        params,
        body: None,
        answer: Answer { status: 200, about: "The report", media: "application/json", schema, etag: false },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move { run(kit, ctx).await.map(|value| Reply::json(&value)) }
        }),
    }
}

async fn compare(kit: &Kit, ctx: &Ctx) -> Result<Value, Problem> {
    let outcome = outcome(ctx)?;
    let mut read = kit.db.read().await?;
    let ask = Ask::read_by(&mut read, ctx, "factor").await?;
    let mut question = Question::standing(outcome, ask.factor);
    match ctx.param("adjust") {
        None => {}
        Some("none") => question.adjust.clear(),
        Some(text) => question.adjust = evidence::factors(text)?,
    }
    if question.adjust.len() > 3 {
        return Err(malformed("The parameter adjust takes up to three factors: each makes the strata smaller.".into()));
    }
    question.beforehand = ctx.param("beforehand") == Some("yes");
    question.worth_knowing = match ctx.param("worth_knowing") {
        None => WORTH_KNOWING,
        Some(text) => text
            .parse()
            .ok()
            .filter(|gap| (0.01..=0.9).contains(gap))
            .ok_or_else(|| malformed("The parameter worth_knowing is a difference of rates from 0.01 to 0.9.".into()))?,
    };
    let level = |name: &str| ctx.param(name).unwrap_or_default().to_owned();
    let money = ctx.actor()?.sees_money;
    evidence::compare(&mut read, &ask, &question, &level("a"), &level("b"), ctx.now, money).await
}

/// The schema of a comparison.
#[must_use]
pub fn comparison() -> Value {
    let (whole, part, text) = (json!({"type": "integer", "minimum": 0}), json!({"type": "number"}), json!({"type": "string"}));
    let rate = json!({"type": "object", "required": ["count", "of", "rate", "low", "high"], "properties": {
        "count": whole, "of": whole, "rate": part, "low": part, "high": part}});
    let more = json!({"type": ["object", "null"], "description": "pours in all of each, and still to be made of a and of b",
        "properties": {"each": whole, "a": whole, "b": whole}});
    json!({"type": "object", "required": ["a", "rate_a", "rate_b", "difference", "adjusted", "raw_p", "family", "verdict", "words"], "properties": {
        "a": text, "b": {"type": "string", "description": "left out: all the rest"}, "rate_a": rate, "rate_b": rate,
        "difference": {"type": "object", "description": "a less b, as counted", "properties": {"value": part, "low": part, "high": part}},
        "fisher_p": part,
        "adjusted": {"type": "object", "required": ["method", "test", "for", "p"], "properties": {
            "method": text, "test": text, "for": {"type": "array", "items": text},
            "odds_ratio": {"type": "number", "description": "left out where it has no end"},
            "low": part, "high": {"type": "number", "description": "left out where it has no end"}, "p": part, "homogeneity_p": part}},
        "raw_p": part, "holm_p": part, "family": {"type": "integer", "description": "comparisons that it is one of"},
        "verdict": {"type": "string", "enum": ["told_apart", "leaning", "cannot_tell_yet"]},
        "opposite": {"type": "boolean", "description": "as counted it points the other way than adjusted"},
        "used": {"type": "object", "properties": {"strata": whole, "of_strata": whole, "a": whole, "b": whole}},
        "more_pours_needed": {"type": "object", "properties": {"for_seen_gap": more, "for_gap_worth_knowing": more}},
        "words": text}})
}

fn changed_schema() -> Value {
    let text = json!({"type": "string"});
    json!({"type": "object", "required": ["outcome", "rows", "words"], "properties": {
        "outcome": text, "filters": {"type": "object"}, "unit": text, "threshold": {"type": "number"}, "words": text,
        "not_looked_at": {"type": "array", "items": text, "description": "factors of which a shell may have several"},
        "rows": {"type": "array", "items": {"type": "object", "required": ["factor", "levels", "differs", "comparisons"], "properties": {
            "factor": text, "levels": {"type": "integer"}, "differs": {"type": "boolean"},
            "comparisons": {"type": "array", "items": comparison()}}}}}})
}
