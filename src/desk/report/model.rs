//! `/v1/reports/model`: an outcome on several factors at once, by Firth's penalised regression,
//! and the curve of leaks and short pours against the shell's temperature at the pour.
//!
//! * One row is one shell poured; for a defect, one with a casting broken out. A shell of which
//!   a factor is not on record, or whose castings do not agree in it, is left out and counted.
//! * A factor of bands enters as the number itself, any other by its levels beside the most used.
//!   The section of a shell is its thinnest, where all its castings are of one band.
//! * Shells that are alike are one row of counts. Where there are too many kinds, numbers are
//!   taken to the nearest step; where there still are, the report says so and fits nothing.
//! * At most one column for five outcomes of the rarer kind.
//! * Rates are FLIC's, at the reference of the other factors and the mean of their numbers.

use super::ask::{Ask, filters, malformed};
use super::factor::Factor;
use super::model_curve::{self, Curved};
use super::model_fit::{self, Fitted, Refused};
use super::model_schema::schema;
use super::model_terms::{Enters, Terms, number};
use super::model_words::{self as words, Odds};
use super::outcome::{Outcome, handed_on};
use super::pages::factor_words;
use super::rates::put_rate;
use super::store::{self, model as sql};
use crate::book::api::Kit;
use crate::db::ReadTx;
use crate::kernel::actor::Right;
use crate::kernel::{Instant, Problem};
use crate::shop::house::settings;
use crate::web::page::escape_part;
use crate::web::route::{JSON_OR_SVG, handler};
use crate::web::{Answer, Ctx, Method, Param, Reply, Route};
use serde_json::{Value, json};
use tokio::sync::Semaphore;

/// The most kinds of shells that are read.
const MOST: usize = 1_200;
/// The most work of a fit, some 0.6 s of a core: 0.15 µs each, measured.
const MOST_WORK: u64 = 4_000_000;
/// One at a time: each takes a whole core.
static AT_ONCE: Semaphore = Semaphore::const_new(1);

/// The factors that a model takes: those of which a shell has one level.
fn taken(factor: Factor) -> bool {
    !factor.several() && factor != Factor::Month
}

/// The route.
pub fn route(kit: &Kit) -> Route {
    let kit = kit.clone();
    let names: Vec<&str> = Factor::ALL.iter().filter(|f| taken(**f)).map(|f| f.name()).collect();
    let by = Param {
        required: false,
        name: "by",
        about: "the factors, with commas between; alloy when left out",
        schema: json!({"type": "string", "minLength": 1, "maxLength": 400, "description": names.join(" ")}),
    };
    Route {
        method: Method::Get,
        path: "/v1/reports/model".into(),
        operation: "report_model".into(),
        right: Right::Read,
        about: "An outcome on several factors at once, and its curve against the shell's temperature; as a drawing too".into(),
        heading: "Reports",
        params: [Outcome::param(), by].into_iter().chain(filters(&["code"])).collect(),
        body: None,
        answer: Answer { status: 200, about: "The model", media: JSON_OR_SVG, schema: schema(), etag: false },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move {
                let report = report(&kit, &ctx).await?;
                Ok(Reply::json(&report).drawn(|report| model_curve::drawing(&report["curves"][0]).alone()))
            }
        }),
    }
}

/// The factors asked for.
fn chosen(ctx: &Ctx) -> Result<Vec<Factor>, Problem> {
    let mut out = Vec::new();
    for name in ctx.param("by").unwrap_or("alloy").split(',').map(str::trim) {
        let factor = Factor::parse(name).filter(|f| taken(*f)).ok_or_else(|| {
            let names: Vec<&str> = Factor::ALL.iter().filter(|f| taken(**f)).map(|f| f.name()).collect();
            let why = match Factor::parse(name) {
                Some(Factor::Month) => "Months are what the chart is for.".to_owned(),
                Some(_) => format!("A shell may have several of {name}, so it is in no model."),
                None => format!("There is no factor {name}."),
            };
            malformed(format!("{why} The parameter by takes, with commas between: {}.", names.join(" ")))
        })?;
        if out.contains(&factor) {
            return Err(malformed(format!("The parameter by names {name} twice.")));
        }
        out.push(factor);
    }
    Ok(out)
}

/// What is read before anything is fitted.
struct Read {
    terms: Terms,
    coarse: bool,
    over: bool,
    curves: Vec<model_curve::Seen>,
}

/// The report.
///
/// # Errors
/// `malformed`, `not-found`; as the database says.
pub async fn report(kit: &Kit, ctx: &Ctx) -> Result<Value, Problem> {
    let outcome = Outcome::read(ctx)?;
    let factors = chosen(ctx)?;
    let mut read = kit.db.read().await?;
    let ask = Ask::of(&mut read, ctx, Factor::Alloy).await?;
    if ask.code.is_some() && outcome != Outcome::Defect {
        return Err(malformed("The parameter code goes with the outcome defect.".into()));
    }
    let gathered = gather(&mut read, &ask, outcome, &factors, ctx.now).await?;
    drop(read);
    let Read { terms, coarse, over, curves } = gathered;
    let one = AT_ONCE.acquire().await.map_err(Problem::internal)?;
    let work = move || {
        // Held for as long as the work takes, also where nobody waits for it any more.
        let _one = one;
        let fitted = if over { Err(Refused::TooWide) } else { model_fit::fit(&terms) };
        (fitted, curves.into_iter().map(model_curve::fit).collect::<Vec<Curved>>(), terms)
    };
    let (fitted, curves, terms) = tokio::task::spawn_blocking(work).await.map_err(Problem::internal)?;
    let mut out = told(outcome, &ask, &terms, fitted.as_ref(), over);
    if coarse {
        let near = terms
            .factors
            .iter()
            .filter_map(|t| number(t.factor).map(|(_, unit, near)| format!("{} {near} {unit}", factor_words(t.factor.name()))));
        out["coarse"] =
            format!("So many shells differ that numbers are taken to the nearest: {}.", near.collect::<Vec<_>>().join(", "))
                .into();
    }
    out["curves"] = curves.iter().map(|curved| model_curve::told(curved, &ask)).collect();
    Ok(out)
}

async fn gather(read: &mut ReadTx, ask: &Ask, outcome: Outcome, factors: &[Factor], now: Instant) -> Result<Read, Problem> {
    let settings = settings::of(read).await?;
    let edges = |f: Factor| f.bands().map(|(name, _)| settings.edges(name, now)).unwrap_or_default();
    let liquidus = super::rates::liquidus(read).await?;
    let with_edges: Vec<(Factor, Vec<f64>)> = factors.iter().map(|f| (*f, edges(*f))).collect();
    let columns = |coarse: bool| -> Vec<sql::Column> {
        let one = |(factor, edges): &(Factor, Vec<f64>)| {
            let near = number(*factor).map(|(_, _, near)| if coarse { near } else { 0.0 });
            sql::Column { factor: *factor, edges: edges.clone(), number: near }
        };
        with_edges.iter().map(one).collect()
    };
    let mut coarse = false;
    let (mut terms, mut over) = taken_together(read, ask, outcome, &with_edges, &columns(false), &liquidus).await?;
    if over && factors.iter().any(|f| number(*f).is_some()) {
        coarse = true;
        (terms, over) = taken_together(read, ask, outcome, &with_edges, &columns(true), &liquidus).await?;
    }
    let mut curves = Vec::new();
    let others = [Outcome::Leak, Outcome::Short].into_iter().filter(|o| *o != outcome);
    for outcome in std::iter::once(outcome).chain(others) {
        let (shell, section) = (edges(Factor::ShellTemperature), edges(Factor::Section));
        curves.push(model_curve::gather(read, ask, outcome, &shell, &section).await?);
    }
    Ok(Read { terms, coarse, over, curves })
}

/// The shells of a model, and whether they are too many to be fitted.
async fn taken_together(
    read: &mut ReadTx,
    ask: &Ask,
    outcome: Outcome,
    factors: &[(Factor, Vec<f64>)],
    columns: &[sql::Column],
    liquidus: &Value,
) -> Result<(Terms, bool), Problem> {
    let all = sql::alike(read, ask, outcome, columns, liquidus, MOST).await?;
    let cut = all.len() > MOST;
    let mut names = Vec::new();
    for (at, (factor, _)) in factors.iter().enumerate() {
        let mut seqs: Vec<i64> = all.iter().filter_map(|row| row.told.get(at)?.as_deref()?.parse().ok()).collect();
        seqs.sort_unstable();
        seqs.dedup();
        names.push(store::names(read, *factor, &seqs).await?);
    }
    let terms = Terms::of(factors, all, &names);
    // What is refused for another reason takes no time.
    let over = cut || (terms.too_many().is_empty() && terms.work() > MOST_WORK);
    Ok((terms, over))
}

fn told(outcome: Outcome, ask: &Ask, terms: &Terms, fitted: Result<&Fitted, &Refused>, over: bool) -> Value {
    let mut out = json!({
        "outcome": outcome.name(), "unit": "shell", "of": outcome.of(), "filters": ask.said(),
        "by": terms.factors.iter().map(|t| t.factor.name()).collect::<Vec<_>>(),
        "method": "Firth's penalised logistic regression; intervals by the profile of the penalised likelihood, 95 %; rates with the intercept refitted (FLIC)",
        "heats": words::NOT_BY_HEAT, "measures": "°C and mm, whatever the shop reads in",
        "n": terms.n, "count": terms.count, "left_out": {"count": terms.left_out, "why": left_out(terms)},
        "fitted": fitted.is_ok(),
        "reference": terms.factors.iter().filter_map(|t| match &t.enters {
            Enters::Levels(levels) => levels.first().map(|l| json!({"factor": t.factor.name(), "level": l.label, "n": l.n, "count": l.count})),
            Enters::Number(..) => None,
        }).collect::<Vec<_>>(),
    });
    if over {
        // How many there are in all was not counted.
        for name in ["n", "count", "left_out", "reference"] {
            out.as_object_mut().map(|o| o.shift_remove(name));
        }
        out["refused"] = json!({"code": "too_much", "words": words::TOO_MUCH});
        return out;
    }
    match fitted {
        Err(why) => {
            out["refused"] = json!({"code": code(why), "words": words::refused(why, terms, outcome)});
            if let Refused::TooFew { leave_out, .. } = why {
                out["refused"]["leave_out"] = leave_out.iter().map(|f| f.name()).collect();
            }
            out["rates"] = rates(outcome, ask, terms, None);
        }
        Ok(fitted) => {
            fill(&mut out, outcome, terms, fitted);
            out["rates"] = rates(outcome, ask, terms, Some(fitted));
        }
    }
    out
}

const fn code(why: &Refused) -> &'static str {
    match why {
        Refused::Nothing => "nothing_counted",
        Refused::AllAlike => "all_alike",
        Refused::NothingDiffers => "nothing_differs",
        Refused::TooFew { .. } => "too_few",
        Refused::TooWide => "too_wide",
        Refused::NotFound => "not_found",
    }
}

fn left_out(terms: &Terms) -> Vec<Value> {
    let missing = terms.factors.iter().filter(|t| t.unknown + t.mixed > 0);
    missing.map(|t| json!({"factor": t.factor.name(), "not_on_record": t.unknown, "mixed": t.mixed})).collect()
}

fn fill(out: &mut Value, outcome: Outcome, terms: &Terms, fitted: &Fitted) {
    let several = terms.factors.iter().filter(|t| t.columns() > 0).count() > 1;
    let term = |term: &model_fit::Term| {
        let taken = terms.factors.get(term.factor)?;
        let step = number(taken.factor).map_or(1.0, |(step, ..)| step);
        let odds = Odds::of(term, step);
        let mut said = json!({
            "factor": taken.factor.name(), "odds_ratio": odds.ratio, "low": odds.low, "high": odds.high, "p": term.p,
            "includes_one": odds.includes_one(), "pinned_down": term.pinned_down,
            "words": words::term(term, taken, outcome, several),
        });
        match (&taken.enters, term.level) {
            (Enters::Levels(levels), Some(at)) => {
                let (reference, level) = (levels.first()?, levels.get(at)?);
                said["level"] = level.label.as_str().into();
                said["beside"] = reference.label.as_str().into();
                said["n"] = level.n.into();
                said["count"] = level.count.into();
            }
            (Enters::Number(low, high, mean), _) => {
                said["step"] = step.into();
                said["unit"] = number(taken.factor).map_or("", |(_, unit, _)| unit).into();
                said["seen"] = json!({"from": low, "to": high, "mean": mean});
            }
            _ => {}
        }
        Some(said)
    };
    out["terms"] = fitted.terms.iter().filter_map(term).collect();
    let test = |(at, (chi_squared, freedom, p)): &(usize, (f64, f64, f64))| {
        let name = terms.factors.get(*at)?.factor.name();
        Some(json!({"factor": name, "chi_squared": chi_squared, "freedom": freedom, "p": p}))
    };
    out["tests"] = fitted.tests.iter().filter_map(test).collect();
    out["dropped"] = fitted.left_out.iter().map(|left| words::left_out(left, terms)).collect();
    // What is the same everywhere has no column to be dropped.
    if let Some(dropped) = out["dropped"].as_array_mut() {
        for taken in terms.factors.iter().filter(|t| t.columns() == 0) {
            let words = super::outcome::capital(factor_words(taken.factor.name()));
            dropped.push(format!("{words} is left out: it is the same for all shells.").into());
        }
    }
    out["separation"] = fitted.separation.map_or("left open", |s| s.name()).into();
}

/// Every level with its counts, its rate as seen, and its rate with the rest alike.
fn rates(outcome: Outcome, ask: &Ask, terms: &Terms, fitted: Option<&Fitted>) -> Value {
    let mut out = Vec::new();
    for (at, taken) in terms.factors.iter().enumerate() {
        let Enters::Levels(levels) = &taken.enters else { continue };
        let row = |(n, level): (usize, &super::model_terms::Level)| {
            let mut row = json!({"level": level.label, "n": level.n, "count": level.count});
            put_rate(&mut row, level.count, level.n);
            if let Some((.., predicted)) = fitted.and_then(|f| f.rates.iter().find(|(f, l, _)| (*f, *l) == (at, n))) {
                row["adjusted"] = predicted.rate.into();
                row["adjusted_low"] = predicted.low.into();
                row["adjusted_high"] = predicted.high.into();
            }
            row["behind_href"] = behind(outcome, ask, taken.factor, &level.label).into();
            row
        };
        // A page of thousands of levels helps nobody; the counts by a factor have a report.
        let rows: Vec<Value> = levels.iter().enumerate().take(60).map(row).collect();
        out.push(json!({"factor": taken.factor.name(), "at": words::standing(terms, at), "levels": levels.len(), "rows": rows}));
    }
    out.into()
}

/// Where what is behind a level opens.
pub fn behind(outcome: Outcome, ask: &Ask, factor: Factor, label: &str) -> String {
    let level = escape_part(label);
    format!("/reports/behind?outcome={}&by={}&level={level}{}", outcome.report(), factor.name(), handed_on(&ask.filters))
}
