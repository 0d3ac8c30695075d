//! `/v1/reports/chart`: a rate over time, month by month or shell by shell.
//!
//! The unit is the shell. A leak and a short pour are seen at its pour; a defect at its breakout,
//! so that a shell counts once a casting of it (of those the report is of) is broken out, at the
//! time of its pour. Months run from that of the first shell to that of the last; one without
//! any keeps its place. Shells poured at the same instant stand in the order in which they were
//! made.

use super::ask::{Ask, filters, malformed};
use super::chart_drawing;
use super::chart_words::{self as words, Per};
use super::factor::{self, Factor};
use super::outcome::{Outcome, handed_on};
use super::store::{self, Rests, chart as sql};
use crate::book::api::Kit;
use crate::db::ReadTx;
use crate::kernel::actor::Right;
use crate::kernel::{Instant, Problem};
use crate::science::statistics::Rate;
use crate::science::statistics::charts::{ControlChart, Group, Point, control_chart};
use crate::shop::house::settings::{self, Settings};
use crate::web::page::escape_part;
use crate::web::route::{JSON_OR_SVG, handler};
use crate::web::{Answer, Ctx, Method, Param, Reply, Route};
use serde_json::{Map, Value, json};

/// The most shells that are charted one by one.
const MOST: i64 = 5_000;

/// The route.
pub fn route(kit: &Kit) -> Route {
    let kit = kit.clone();
    let per = Param {
        required: false,
        name: "per",
        about: "what stands at one place: the shells of a month (the default), or each shell",
        schema: json!({"type": "string", "enum": ["month", "pour"]}),
    };
    Route {
        method: Method::Get,
        path: "/v1/reports/chart".into(),
        operation: "report_chart".into(),
        right: Right::Read,
        about: "A rate over time with its limits, each signal explained; as a drawing too".into(),
        heading: "Reports",
        params: [Outcome::param(), per].into_iter().chain(filters(&["code"])).collect(),
        body: None,
        answer: Answer { status: 200, about: "The chart", media: JSON_OR_SVG, schema: schema(), etag: false },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move {
                let mut read = kit.db.read().await?;
                Ok(Reply::json(&report(&mut read, &ctx).await?).drawn(|report| chart_drawing::chart(report).alone()))
            }
        }),
    }
}

/// Where what is behind a place opens: pages take days, where the instants asked for begin one.
fn behind(outcome: Outcome, ask: &Ask, settings: &Settings, month: &str) -> String {
    let shown = |(name, value): (&String, &Value)| {
        let at = value.as_str().and_then(Instant::parse).filter(|_| name == "from" || name == "to");
        let day = at.map(|at| (at, settings.day(at))).filter(|(at, day)| settings.begin(*day) == Some(*at));
        (name.clone(), day.map_or_else(|| value.clone(), |(_, day)| day.to_string().into()))
    };
    let filters: Map<String, Value> = ask.filters.iter().map(shown).collect();
    format!("/reports/behind?outcome={}&by=month&level={}{}", outcome.report(), escape_part(month), handed_on(&filters))
}

/// A place on the chart before it is judged.
struct Place {
    at: Instant,
    label: String,
    /// In words, for a sentence.
    when: String,
    group: Group,
    href: String,
    tag: Option<String>,
}

/// The report.
///
/// # Errors
/// `malformed`, `not-found`; as the database says.
pub async fn report(read: &mut ReadTx, ctx: &Ctx) -> Result<Value, Problem> {
    let outcome = Outcome::read(ctx)?;
    let per = match ctx.param("per") {
        None | Some("month") => Per::Month,
        Some("pour") => Per::Pour,
        Some(_) => return Err(malformed("The parameter per is month or pour.".into())),
    };
    let ask = Ask::of(read, ctx, Factor::Month).await?;
    if ask.code.is_some() && outcome != Outcome::Defect {
        return Err(malformed("The parameter code goes with the outcome defect.".into()));
    }
    let settings = settings::of(read).await?;
    let (all, had) = sql::all(read, &ask, outcome).await?;
    let places = match per {
        Per::Month => months(read, &ask, outcome, &settings).await?,
        Per::Pour => pours(read, &ask, outcome, &settings).await?,
    };
    let groups: Vec<Group> = places.iter().map(|p| p.group).collect();
    let chart = control_chart(&groups).map_err(|unfit| Problem::internal(format!("{unfit:?}")))?;
    let mut out = told(outcome, per, &ask, &places, &chart);
    out["overall"] = rated(u32::try_from(all).unwrap_or(u32::MAX), u32::try_from(had).unwrap_or(u32::MAX));
    let left = all - i64::try_from(places.len()).unwrap_or(i64::MAX);
    if per == Per::Pour && left > 0 {
        let why = format!("the newest {MOST} are charted one by one; ask from and to for others, or by month");
        out["left_out"] = json!({"count": left, "why": why});
    }
    Ok(out)
}

async fn months(read: &mut ReadTx, ask: &Ask, outcome: Outcome, settings: &Settings) -> Result<Vec<Place>, Problem> {
    let Some((first, last)) = sql::reach(read, ask, outcome).await? else { return Ok(Vec::new()) };
    let months = factor::months(settings, first, last);
    let rests = Rests { months: months.clone(), ..Rests::default() };
    let counted = store::fetch(read, sql::by_month(ask, outcome, &rests)).await?;
    let place = |month: &Value| {
        let (at, name) = (Instant::from_ms(month[0].as_i64()?), month[2].as_str()?);
        let found = counted.iter().find(|c| c.level.as_deref() == Some(name));
        let group = found.map_or_else(Group::default, |c| Group { n: c.count(0), count: c.count(1) });
        let when = settings.day(at).strftime("%B %Y").to_string();
        Some(Place { at, label: name.to_owned(), when, group, href: behind(outcome, ask, settings, name), tag: None })
    };
    Ok(months.as_array().into_iter().flatten().filter_map(place).collect())
}

async fn pours(read: &mut ReadTx, ask: &Ask, outcome: Outcome, settings: &Settings) -> Result<Vec<Place>, Problem> {
    let place = |poured: sql::Poured| {
        let day = settings.day(poured.at);
        Place {
            at: poured.at,
            label: day.to_string(),
            when: day.strftime("%-d %B %Y").to_string(),
            group: Group { n: 1, count: u32::from(poured.hit) },
            href: format!("/shells/{}", poured.tag),
            tag: Some(poured.tag),
        }
    };
    Ok(sql::newest(read, ask, outcome, MOST).await?.into_iter().map(place).collect())
}

fn rated(n: u32, count: u32) -> Value {
    let mut out = json!({"n": n, "count": count});
    super::rates::put_rate(&mut out, count, n);
    out
}

fn told(outcome: Outcome, per: Per, ask: &Ask, places: &[Place], chart: &ControlChart) -> Value {
    let mut said = json!({"method": words::method(chart, outcome)});
    let mut out = json!({
        "outcome": outcome.name(), "per": per.name(), "unit": "shell", "of": outcome.of(), "filters": ask.said(),
        "method": chart.method, "why": chart.why,
        "points": places.iter().zip(&chart.points).map(|(place, made)| point(outcome, place, made)).collect::<Vec<_>>(),
    });
    if let Some(baseline) = chart.baseline {
        out["baseline"] = json!(baseline);
        said["baseline"] = words::baseline(baseline, chart.gap_limits.is_some()).into();
    }
    if let Some(running) = chart.running {
        let gap = |gap: &crate::science::statistics::charts::Gap| {
            let place = places.get(gap.ended)?;
            Some(
                json!({"ended": gap.ended, "at": place.at.to_string(), "label": place.label, "sound": gap.sound, "behind_href": place.href}),
            )
        };
        out["gaps"] = chart.gaps.iter().filter_map(gap).collect();
        out["running"] = running.into();
        let any = chart.points.iter().any(|p| p.group.count > 0);
        said["running"] = words::running(running, outcome, any).into();
    }
    if let Some(limits) = chart.gap_limits {
        out["gap_limits"] = json!({"mean_gap": limits.mean_gap, "p": limits.p, "upper": limits.upper, "lower": limits.lower});
        if let Some(zeros) = limits.zeros_to_signal {
            out["gap_limits"]["zeros_to_signal"] = zeros.into();
        }
    }
    out["words"] = said;
    out
}

fn point(outcome: Outcome, place: &Place, made: &Point) -> Value {
    let mut out = json!({"at": place.at.to_string(), "label": place.label, "n": made.group.n, "count": made.group.count});
    if let Some(tag) = &place.tag {
        out["tag"] = tag.as_str().into();
    }
    if let Some(rate) = Rate::new(made.group.count, made.group.n) {
        out["rate"] = rate.rate.into();
        out["rate_low"] = rate.low.into();
        out["rate_high"] = rate.high.into();
    }
    if let Some(centre) = made.centre {
        out["centre"] = centre.into();
    }
    if let Some(limits) = made.limits {
        out["lower"] = limits.lower.into();
        out["upper"] = limits.upper.into();
        out["limits_by"] = json!(made.kind);
    }
    let signals = made.signals.iter().map(|signal| {
        let mut said = json!(signal);
        said["more"] = signal.is_more().into();
        said["words"] = words::signal(*signal, outcome, &place.when, made.centre.unwrap_or(0.0)).into();
        said["brief"] = words::brief(*signal).into();
        said
    });
    out["signals"] = signals.collect();
    if made.group.n > 0 {
        out["behind_href"] = place.href.as_str().into();
    }
    out
}

fn schema() -> Value {
    let (whole, part, text) = (json!({"type": "integer", "minimum": 0}), json!({"type": "number"}), json!({"type": "string"}));
    let share = json!({"type": "number", "minimum": 0, "maximum": 1});
    let at = json!({"type": "string", "format": "date-time"});
    let signal = json!({"type": "object", "required": ["signal", "more", "words", "brief"], "properties": {
        "signal": text, "more": {"type": "boolean", "description": "more than the centre makes expect; else fewer"},
        "words": text, "brief": text}});
    let point = json!({"type": "object", "required": ["at", "label", "n", "count", "signals"], "properties": {
        "at": at, "label": text, "tag": text, "n": whole, "count": whole,
        "rate": share, "rate_low": share, "rate_high": share, "centre": share, "lower": share, "upper": share,
        "limits_by": {"type": "string", "description": "three_sigma or exact"},
        "signals": {"type": "array", "items": signal},
        "behind_href": {"type": "string", "description": "the page of what is counted there"}}});
    json!({"type": "object", "required": ["outcome", "per", "unit", "of", "method", "why", "words", "points", "overall"], "properties": {
        "outcome": text, "per": text, "unit": text, "of": text, "filters": {"type": "object"},
        "method": {"type": "string", "description": "rates_only, g_chart, p_chart, exact_tails, laney_p or against_clean"},
        "why": {"type": "object", "required": ["why"], "properties": {"why": text}},
        "words": {"type": "object", "required": ["method"], "properties": {"method": text, "baseline": text, "running": text}},
        "baseline": {"type": "object", "required": ["groups", "frozen"], "properties": {"groups": whole, "frozen": {"type": "boolean"}}},
        "points": {"type": "array", "items": point},
        "gaps": {"type": "array", "description": "sound shells between two with the outcome, where shells stand singly",
            "items": {"type": "object", "required": ["ended", "at", "label", "sound"], "properties": {
                "ended": whole, "at": at, "label": text, "sound": whole, "behind_href": text}}},
        "running": {"type": "integer", "minimum": 0, "description": "sound shells since the last with the outcome"},
        "gap_limits": {"type": "object", "required": ["mean_gap", "p", "upper", "lower"], "properties": {
            "mean_gap": part, "p": part, "upper": whole, "lower": whole, "zeros_to_signal": whole}},
        "left_out": {"type": "object", "required": ["count", "why"], "properties": {"count": whole, "why": text}},
        "overall": {"type": "object", "required": ["n", "count"], "properties": {
            "n": whole, "count": whole, "rate": share, "low": share, "high": share}}
    }})
}
