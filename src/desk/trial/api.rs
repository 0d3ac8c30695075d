//! `/v1/trials`, their pairs and ends, and the plan of a trial.

use super::card;
use super::model::{Outcome, Stratum, TrialBody, TrialEndBody, TrialPairBody};
use super::plan::{self, Supposed};
use super::ready;
use super::store;
use super::verbs::{TrialEnds, TrialPairs, Trials};
use crate::book::api::{InPath, Kit, by_ref, find, post, record_schema, standard};
use crate::book::merging::{Corrector, corrector};
use crate::book::render::{Adding, render_one};
use crate::db::ReadTx;
use crate::kernel::actor::Right;
use crate::kernel::{Kind, Problem, ProblemType, Seq};
use crate::shop::casting;
use crate::shop::casting::route::Stage;
use crate::web::route::handler;
use crate::web::{Answer, Ctx, Method, Param, Reply, Route};
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let under = Some(InPath { kind: Kind::Trial, member: "trial_id" });
    let pair = "Pair two ready shells of one stratum; then the coin says which is A and which is B";
    let mut out = vec![
        post::<Trials>(kit, "/v1/trials", "trial_create", "Start a trial", Right::Own, None),
        post::<TrialPairs>(kit, "/v1/trials/{id}/pairs", "trial_pair_create", pair, Right::Log, under),
        post::<TrialEnds>(kit, "/v1/trials/{id}/end", "trial_end_create", "End a trial", Right::Own, under),
        trial_route(kit),
        ready_route(kit),
        plan_route(kit),
    ];
    // One trial is answered with more than its record.
    out.extend(standard::<Trials>(kit, &[], Right::Own).into_iter().filter(|route| route.operation != "trial_get"));
    out.extend(standard::<TrialPairs>(kit, store::PAIRS, Right::Correct));
    out.extend(standard::<TrialEnds>(kit, store::ENDS, Right::Own));
    out
}

fn get(kit: &Kit, path: &str, operation: &str, about: &str, schema: Value) -> Route {
    let _ = kit;
    Route {
        method: Method::Get,
        path: path.into(),
        operation: operation.into(),
        right: Right::Read,
        about: about.into(),
        heading: "Trials",
        params: Vec::new(),
        body: None,
        answer: Answer { status: 200, about: "As it stands now", media: "application/json", schema, etag: false },
        handler: handler(|_| async { Err(Problem::internal("a route without its answer")) }),
    }
}

fn trial_route(kit: &Kit) -> Route {
    let (objects, whole) = (json!({"type": "array", "items": {"type": "object"}}), json!({"type": "integer", "minimum": 0}));
    let both = |kind: &str| json!({"type": "object", "required": ["p50", "p80"], "properties": {"p50": {"type": [kind, "null"]}, "p80": {"type": [kind, "null"]}}});
    let arm = json!({"type": "object", "required": ["shells", "failed"], "properties": {"shells": whole, "failed": whole, "rate": {"type": "number"}}});
    let schema = json!({"allOf": [by_ref(Kind::Trial), {"type": "object",
        "required": ["assignments", "pairs", "course", "deviations", "to_set", "pairs_to_stop", "years", "supposed", "pace"],
        "properties": {
            "assignments": objects, "pairs": objects, "course": objects, "deviations": objects,
            "to_set": {"type": "array", "items": {"type": "object"}, "description": "shells that still bear another recipe than the coin gave them"},
            "as_treated": {"type": "object", "properties": {"a": arm, "b": arm, "neither": arm}},
            "with_void_pairs": {"type": "object", "description": "as if no pair were void, where one was complete"},
            "pairs_to_stop": both("integer"), "years": both("number"),
            "supposed": {"type": "object", "description": "the rates that is reckoned with"},
            "pace": {"type": "object", "description": "what was poured in the last 365 days"}}}]});
    let kit = kit.clone();
    Route {
        answer: Answer { etag: true, ..get(&kit, "", "", "", schema.clone()).answer },
        handler: handler({
            let kit = kit.clone();
            move |ctx| {
                let kit = kit.clone();
                async move { trial(&kit, &ctx).await }
            }
        }),
        ..get(&kit, "/v1/trials/{id}", "trial_get", "A trial: what the coin gave, what came of it, how sure it is", schema)
    }
}

async fn trial(kit: &Kit, ctx: &Ctx) -> Result<Reply, Problem> {
    let mut read = kit.db.read().await?;
    let seq = find(&mut read, Kind::Trial, ctx.part("id")).await?;
    let mut out = render_one(&mut read, &kit.catalogue, seq).await?;
    let found = card::load(&mut read, seq).await?;
    for (name, value) in found.card(&mut read, ctx.now).await? {
        out[name.as_str()] = value;
    }
    Ok(Reply::json(&out))
}

fn ready_route(kit: &Kit) -> Route {
    let text = json!({"type": "string"});
    let schema = json!({"type": "object", "required": ["strata"], "properties": {"strata": {"type": "array", "items": {
        "type": "object", "required": ["stratum", "shells"], "properties": {"stratum": text, "shells": {"type": "array", "items": {
            "type": "object", "required": ["tag", "holds"], "properties": {"tag": text, "holds": text}}}}}}}});
    let kit = kit.clone();
    Route {
        handler: handler({
            let kit = kit.clone();
            move |ctx| {
                let kit = kit.clone();
                async move { ready(&kit, &ctx).await }
            }
        }),
        ..get(&kit, "/v1/trials/{id}/ready", "trial_ready", "Shells that may be paired next, by stratum", schema)
    }
}

async fn ready(kit: &Kit, ctx: &Ctx) -> Result<Reply, Problem> {
    let mut read = kit.db.read().await?;
    let seq = find(&mut read, Kind::Trial, ctx.part("id")).await?;
    let trial = store::one(&mut read, seq).await?;
    let stages: &[Stage] = match (trial.factor.in_the_shell(), trial.factor.loss_is_failure()) {
        (true, _) => &[Stage::Shell],
        (_, false) => &[Stage::Burnout, Stage::Preheat],
        _ => &[Stage::Shell, Stage::Burnout, Stage::Preheat],
    };
    let shells = casting::shells_at(&mut read, stages).await?;
    let taken = store::in_the_way(&mut read, &shells, seq).await?;
    let free: Vec<Seq> = shells.into_iter().filter(|s| !taken.iter().any(|(of, ..)| of == s)).collect();
    let found = ready::look(&mut read, &free, trial.factor, &trial.strata, ctx.now).await?;
    let listed = casting::listed_of(&mut read, &free, 500).await?;
    let mut strata: BTreeMap<String, Vec<Value>> = BTreeMap::new();
    for shell in found.iter().filter(|s| s.against.is_none()) {
        let holds: Vec<&str> = listed
            .iter()
            .filter(|l| l.shell.as_ref().is_some_and(|(of, _)| *of == shell.seq))
            .map(|l| l.pattern.as_str())
            .collect();
        strata.entry(shell.stratum_words()).or_default().push(json!({"tag": shell.tag, "holds": holds.join("; ")}));
    }
    let strata: Vec<Value> = strata.into_iter().map(|(stratum, shells)| json!({"stratum": stratum, "shells": shells})).collect();
    Ok(Reply::json(&json!({"strata": strata})))
}

fn plan_route(kit: &Kit) -> Route {
    let both = |kind: &str| json!({"type": "object", "required": ["p50", "p80"], "properties": {"p50": {"type": [kind, "null"]}, "p80": {"type": [kind, "null"]}}});
    let number = json!({"type": "number"});
    let schema = json!({"type": "object", "required": ["outcome", "rate_a", "rate_b", "worth_knowing", "pace", "pairs_to_stop", "years", "if_alike"],
        "properties": {"outcome": {"type": "string"}, "rate_a": number, "rate_b": number, "worth_knowing": number, "pace": {"type": "object"},
            "pairs_to_stop": both("integer"), "years": both("number"), "if_alike": {"type": "object"}}});
    let rate = || json!({"type": "number", "minimum": 0, "maximum": 1});
    let outcomes: Vec<&str> = Outcome::ALL.iter().map(|o| o.name()).collect();
    let kit = kit.clone();
    Route {
        params: vec![
            Param {
                required: true,
                name: "outcome",
                about: "what counts as failed",
                schema: json!({"type": "string", "enum": outcomes}),
            },
            Param {
                required: false,
                name: "rate_a",
                about: "the failure rate supposed of A; else the shop's of the last 365 days, or as far from it as is worth knowing",
                schema: rate(),
            },
            Param { required: false, name: "rate_b", about: "and of B", schema: rate() },
            Param {
                required: false,
                name: "worth_knowing",
                about: "the smallest difference worth knowing",
                schema: json!({"type": "number", "minimum": 0.01, "maximum": 0.5, "default": 0.1}),
            },
            Param {
                required: false,
                name: "strata",
                about: "what the shells of a pair agree in, with commas between",
                schema: json!({"type": "string", "default": "alloy,section_band"}),
            },
        ],
        handler: handler({
            let kit = kit.clone();
            move |ctx| {
                let kit = kit.clone();
                async move { the_plan(&kit, &ctx).await }
            }
        }),
        ..get(
            &kit,
            "/v1/reports/trial-plan",
            "report_trial_plan",
            "How many pairs and years a trial takes at this shop's pace",
            schema,
        )
    }
}

fn malformed(said: String) -> Problem {
    Problem::new(ProblemType::Malformed, said)
}

fn fraction(ctx: &Ctx, name: &str, low: f64, high: f64) -> Result<Option<f64>, Problem> {
    ctx.param(name)
        .map(|text| {
            let read = text.parse::<f64>().ok().filter(|n| (low..=high).contains(n));
            read.ok_or_else(|| malformed(format!("The parameter {name} is a number from {low} to {high}.")))
        })
        .transpose()
}

async fn the_plan(kit: &Kit, ctx: &Ctx) -> Result<Reply, Problem> {
    let outcome = ctx.param("outcome").and_then(Outcome::parse);
    let outcome = outcome.ok_or_else(|| malformed("The parameter outcome is leak, short or defect.".into()))?;
    let worth = fraction(ctx, "worth_knowing", 0.01, 0.5)?.unwrap_or(0.1);
    let (a, b) = (fraction(ctx, "rate_a", 0.0, 1.0)?, fraction(ctx, "rate_b", 0.0, 1.0)?);
    let strata: Option<Vec<Stratum>> =
        ctx.param("strata").unwrap_or("alloy,section_band").split(',').map(|part| Stratum::parse(part.trim())).collect();
    let strata = strata.ok_or_else(|| {
        let all: Vec<&str> = Stratum::ALL.iter().map(|s| s.name()).collect();
        malformed(format!("The parameter strata names some of: {}.", all.join(" ")))
    })?;
    let mut read = kit.db.read().await?;
    let pace = plan::pace(&mut read, outcome, &strata, ctx.now).await?;
    let away = |from: f64| if from >= worth { from - worth } else { (from + worth).min(1.0) };
    let (a, b) = match (a, b) {
        (Some(a), Some(b)) => (a, b),
        (Some(a), None) => (a, away(a)),
        (None, Some(b)) => (away(b), b),
        (None, None) => plan::supposed(pace.rate(), worth),
    };
    Ok(Reply::json(&plan::planned(outcome, Supposed { a, b, worth }, &pace)))
}

/// What is added to trials.
pub fn extras<'a>(read: &'a mut ReadTx, seqs: &'a [Seq]) -> Adding<'a> {
    card::extras(read, seqs)
}

/// What is added to pairs.
pub fn pair_extras<'a>(read: &'a mut ReadTx, seqs: &'a [Seq]) -> Adding<'a> {
    card::pair_extras(read, seqs)
}

/// How its records are corrected, for what corrects records of many kinds.
#[must_use]
pub fn correctors() -> Vec<(Kind, Corrector)> {
    vec![corrector::<Trials>(), corrector::<TrialPairs>(), corrector::<TrialEnds>()]
}

fn members(pairs: &[(&str, Value)]) -> Map<String, Value> {
    pairs.iter().map(|(name, schema)| ((*name).to_owned(), schema.clone())).collect()
}

/// The schemas of what is answered.
#[must_use]
pub fn schemas() -> Vec<(Kind, Value)> {
    let (text, whole, number) = (json!({"type": "string"}), json!({"type": "integer", "minimum": 0}), json!({"type": "number"}));
    let trial = members(&[
        ("a_is", text.clone()),
        ("b_is", text.clone()),
        ("seed", json!({"type": "string", "description": "what the coin is tossed with: a whole number of 64 bits in digits"})),
        ("a_only", whole.clone()),
        ("b_only", whole.clone()),
        ("same", whole.clone()),
        ("waiting", whole.clone()),
        ("void_pairs", whole.clone()),
        ("fell_out", whole.clone()),
        ("lost", whole.clone()),
        ("e", number.clone()),
        ("told_apart_at", number.clone()),
        (
            "difference",
            json!({"type": "object", "required": ["value", "low", "high"], "properties": {"value": number, "low": number, "high": number}}),
        ),
        ("verdict", json!({"type": "string", "enum": ["told_apart", "alike", "leaning", "cannot_tell_yet", "planned_end"]})),
        ("worse", json!({"type": "string", "enum": ["a", "b"]})),
        ("stopped_after", whole.clone()),
        ("said", text.clone()),
        ("ended", json!({"type": "object", "properties": {"at": {"type": "string", "format": "date-time"}, "reason": text}})),
    ]);
    let pair = members(&[
        ("n", whole),
        ("trial", text.clone()),
        ("factor", text.clone()),
        ("running", json!({"type": "boolean"})),
        ("seed", text.clone()),
        (
            "assignments",
            json!({"type": "array", "items": {"type": "object", "required": ["shell_id", "tag", "arm", "is"], "properties": {
                "shell_id": {"type": "string", "format": "uuid"}, "tag": text, "arm": {"type": "string", "enum": ["a", "b"]}, "is": text}}}),
        ),
    ]);
    vec![
        (Kind::Trial, record_schema::<TrialBody>(Kind::Trial, &trial, &[])),
        (Kind::TrialPair, record_schema::<TrialPairBody>(Kind::TrialPair, &pair, &[])),
        (Kind::TrialEnd, record_schema::<TrialEndBody>(Kind::TrialEnd, &Map::new(), &[])),
    ]
}
