//! `/v1/reports/pour-day` and `/pour-days/{day}`: what a day of pouring came to.

use crate::book::api::Kit;
use crate::book::reach::{self, Found};
use crate::db::ReadTx;
use crate::kernel::actor::Right;
use crate::kernel::{Instant, Kind, Mass, Problem, ProblemType, Seq};
use crate::shop::house::floor::{Floor, items, plain, text};
use crate::shop::house::settings::{self, Settings};
use crate::shop::metal::{self, Taken};
use crate::shop::shell;
use crate::web::page::escape_part;
use crate::web::route::handler;
use crate::web::sheet::{Cell, Sheet, Table};
use crate::web::{Answer, Ctx, Method, Page, Param, Reply, Route, Shown, Visit};
use jiff::civil::Date;
use serde_json::{Map, Value, json};
use std::collections::BTreeSet;
use std::sync::Arc;

/// The route.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let kit = kit.clone();
    let (text, number, whole) = (json!({"type": "string"}), json!({"type": "number"}), json!({"type": "integer"}));
    let heat = json!({"type": "object", "required": ["number", "alloy", "poured_kg"], "properties": {
        "number": text, "alloy": text, "charged_kg": number, "poured_kg": number, "closed": {"type": "boolean"}}});
    let pour = json!({"type": "object", "required": ["id", "at", "shell", "filled", "leaked"], "properties": {
        "id": {"type": "string", "format": "uuid"}, "at": {"type": "string", "format": "date-time"}, "heat": text, "shell": text,
        "filled": text, "leaked": {"type": "boolean"}, "poured_kg": number, "minutes_out": number}});
    vec![Route {
        method: Method::Get,
        path: "/v1/reports/pour-day".into(),
        operation: "report_pour_day".into(),
        right: Right::Read,
        about: "What a day of pouring came to".into(),
        heading: "Reports",
        params: vec![Param {
            required: false,
            name: "day",
            about: "which day of the shop, as 2026-03-14; left out, today",
            schema: json!({"type": "string", "format": "date"}),
        }],
        body: None,
        answer: Answer {
            status: 200,
            about: "The day",
            media: "application/json",
            schema: json!({"type": "object", "required": ["day", "shells", "full", "short", "leaked", "poured_kg", "heats", "pours"], "properties": {
                "day": {"type": "string", "format": "date"}, "shells": whole, "full": whole, "short": whole, "leaked": whole,
                "poured_kg": number, "lost_kg": number, "fuel_kg": number, "fuel_kwh": number, "fuel_minor": whole, "minutes": number,
                "begun_at": {"type": "string", "format": "date-time"}, "ended_at": {"type": "string", "format": "date-time"},
                "heats": {"type": "array", "items": heat}, "pours": {"type": "array", "items": pour},
                "before": {"type": "string", "format": "date"}}}),
            etag: false,
        },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move { day(&kit, &ctx).await.map(|v| Reply::json(&v)) }
        }),
    }]
}

/// The page.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    vec![floor.page("/pour-days/{id}", Right::Read, show)]
}

/// How far back an earlier pour day is looked for.
const BACK_DAYS: i64 = 400;

fn span(settings: &Settings, day: Date) -> Option<(Instant, Instant)> {
    Some((settings.begin(day)?, settings.begin(day.tomorrow().ok()?)?))
}

/// Sums a member of some records as it was typed; nothing where none has it.
fn sum(records: &[&Found], member: &str) -> Option<f64> {
    let told: Vec<f64> = records.iter().filter_map(|r| r.body[member].as_f64()).collect();
    (!told.is_empty()).then(|| told.iter().sum())
}

async fn day(kit: &Kit, ctx: &Ctx) -> Result<Value, Problem> {
    let none = || Problem::new(ProblemType::Malformed, "The parameter day is a day, as 2026-03-14.");
    let mut read = kit.db.read().await?;
    let settings = settings::of(&mut read).await?;
    let day: Date = ctx.param("day").map_or(Ok(settings.day(ctx.now)), str::parse).map_err(|_| none())?;
    let (from, to) = span(&settings, day).ok_or_else(none)?;
    let taken = metal::taken_within(&mut read, &[(from, to)]).await?;
    let kinds = [Kind::Pour, Kind::Leak, Kind::Closing, Kind::Work];
    let found = reach::between(&mut read, &kinds, from, to).await?;
    let of_kind = |kind: Kind| found.iter().filter(|r| r.kind == kind).collect::<Vec<_>>();
    let references = reach::referred(&mut read, &found.iter().map(|r| r.seq).collect::<Vec<_>>()).await?;
    let target =
        |record: Seq, member: &str| references.iter().find(|r| r.record == record && r.member == member).map(|r| r.target);
    let leaked: BTreeSet<Seq> = of_kind(Kind::Leak).iter().filter_map(|l| target(l.seq, "pour_id")).collect();
    let shells: BTreeSet<Seq> = taken.iter().map(|t| t.shell).collect();
    let on_heats: Vec<&Found> = of_kind(Kind::Work).into_iter().filter(|w| target(w.seq, "heat_id").is_some()).collect();
    let (closings, leaks) = (of_kind(Kind::Closing), of_kind(Kind::Leak));
    let mut out = Map::new();
    out.insert("day".into(), day.to_string().into());
    out.insert("shells".into(), shells.len().into());
    let pours = of_kind(Kind::Pour);
    // A shell with several streams is as its last one left it.
    let last_of = |shell: Seq| pours.iter().rev().find(|p| target(p.seq, "shell_id") == Some(shell));
    let full = shells.iter().filter(|s| last_of(**s).is_some_and(|p| p.body["filled"] == "full")).count();
    out.insert("full".into(), full.into());
    out.insert("short".into(), (shells.len() - full).into());
    let leaky = shells.iter().filter(|s| taken.iter().any(|t| t.shell == **s && leaked.contains(&t.pour))).count();
    out.insert("leaked".into(), leaky.into());
    let poured: Mass = taken.iter().map(|t| t.mass).sum();
    out.insert("poured_kg".into(), json!(poured.kg()));
    for (name, value) in [
        ("lost_kg", sum(&leaks, "lost_kg")),
        ("fuel_kg", sum(&closings, "fuel_kg")),
        ("fuel_kwh", sum(&closings, "fuel_kwh")),
        ("minutes", sum(&on_heats, "minutes")),
    ] {
        if let Some(value) = value {
            out.insert(name.into(), json!(value));
        }
    }
    let fuel: Vec<i64> = closings.iter().filter_map(|c| c.body["fuel_minor"].as_i64()).collect();
    if !fuel.is_empty() {
        out.insert("fuel_minor".into(), fuel.iter().sum::<i64>().into());
    }
    if let (Some(first), Some(last)) = (taken.first(), taken.last()) {
        out.insert("begun_at".into(), first.at.to_string().into());
        out.insert("ended_at".into(), last.at.to_string().into());
    }
    let (heats, numbers) = heats(&mut read, &taken).await?;
    out.insert("heats".into(), heats.into());
    let tags = shell::names(&mut read, &shells.iter().copied().collect::<Vec<_>>()).await?;
    let lines = taken.iter().map(|one| {
        let pour = pours.iter().find(|p| p.seq == one.pour);
        let tag = tags.iter().find(|(seq, ..)| *seq == one.shell).map_or("", |(_, tag, _)| tag.as_str());
        let heat = numbers.iter().find(|(seq, _)| *seq == one.heat).map_or("", |(_, number)| number.as_str());
        let mut line = json!({"id": one.id.to_string(), "at": one.at.to_string(), "heat": heat, "shell": tag,
            "filled": pour.map_or(Value::Null, |p| p.body["filled"].clone()), "leaked": leaked.contains(&one.pour)});
        if !one.mass.is_zero() {
            line["poured_kg"] = json!(one.mass.kg());
        }
        let out_at = pour.and_then(|p| p.body["shell_out_at"].as_str()).and_then(Instant::parse);
        if let Some(out_at) = out_at.filter(|at| *at <= one.at) {
            line["minutes_out"] = json!((one.at.hours_since(out_at) * 600.0).round() / 10.0);
        }
        line
    });
    out.insert("pours".into(), lines.collect());
    if let Some(before) = before(&mut read, &settings, from).await? {
        out.insert("before".into(), before.to_string().into());
    }
    Ok(Value::Object(out))
}

/// The heats poured from, with their figures; and their numbers.
async fn heats(read: &mut ReadTx, taken: &[Taken]) -> Result<(Vec<Value>, Vec<(Seq, String)>), Problem> {
    let mut seqs: Vec<Seq> = taken.iter().map(|t| t.heat).collect();
    seqs.sort_unstable();
    seqs.dedup();
    let figures = metal::heat_figures(read, &seqs).await?;
    let numbers = crate::shop::heat::numbers(read, &seqs).await?;
    let mut out = Vec::new();
    for (seq, number, alloy) in &numbers {
        let poured: Mass = taken.iter().filter(|t| t.heat == *seq).map(|t| t.mass).sum();
        let mut one = json!({"number": number, "alloy": alloy, "poured_kg": poured.kg()});
        if let Some(figures) = figures.iter().find(|f| f.seq == *seq) {
            one["charged_kg"] = json!(figures.charged.kg());
            one["closed"] = figures.closed.into();
        }
        out.push(one);
    }
    Ok((out, numbers.into_iter().map(|(seq, number, _)| (seq, number)).collect()))
}

/// The pour day before an instant.
async fn before(read: &mut ReadTx, settings: &Settings, at: Instant) -> Result<Option<Date>, Problem> {
    let found = metal::last_pour(read, at.plus_ms(-BACK_DAYS * 86_400_000), at).await?;
    Ok(found.map(|at| settings.day(at)))
}

async fn show(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let day = look.get(&format!("/v1/reports/pour-day?day={}", escape_part(visit.part("id")))).await?;
    let date = day["day"].as_str().and_then(|d| d.parse().ok()).map_or_else(String::new, |d| look.reads.date(d));
    let mut sheet = Sheet::new(&visit, format!("Poured on {date}"));
    let count = |name: &str| Cell::text(text(&day, name));
    let minutes = day["minutes"].as_f64().map_or_else(String::new, |m| format!("{m} min"));
    let fuel = [
        Some(look.reads.kg(&day["fuel_kg"])).filter(|t| !t.is_empty()).map(|t| format!("{t} of gas")),
        day["fuel_kwh"].as_f64().map(|n| format!("{n} kWh")),
        Some(look.reads.minor(&day["fuel_minor"])).filter(|t| !t.is_empty()),
    ];
    sheet.facts(
        "",
        [
            ("Shells poured", count("shells")),
            ("Full", count("full")),
            ("Short or stopped", count("short")),
            ("Leaked", count("leaked")),
            ("Poured", Cell::text(look.reads.kg(&day["poured_kg"]))),
            ("Lost by leaks", Cell::text(look.reads.kg(&day["lost_kg"]))),
            ("Fuel of the heats", Cell::text(fuel.into_iter().flatten().collect::<Vec<_>>().join(", "))),
            ("Booked at the furnace", Cell::text(minutes)),
            ("First pour", Cell::text(look.reads.at(&day["begun_at"]))),
            ("Last pour", Cell::text(look.reads.at(&day["ended_at"]))),
        ],
    );
    let mut table = Table::new("Heats", "Nothing was poured on that day.", &["Heat", "Alloy", "Charged#", "Poured#", ""]);
    for heat in items(&day["heats"]) {
        let number = text(heat, "number");
        let open = if heat["closed"] == false { "still open" } else { "" };
        table.row([
            Cell::text(number.clone()).to(format!("/heats/{}", escape_part(&number))),
            text(heat, "alloy").into(),
            look.reads.kg(&heat["charged_kg"]).into(),
            look.reads.kg(&heat["poured_kg"]).into(),
            open.into(),
        ]);
    }
    sheet.table(table);
    let mut table = Table::new("In this order", "", &["Shell", "When", "From", "How", "Took#", "Minutes out#"]);
    for pour in items(&day["pours"]) {
        let tag = text(pour, "shell");
        let leaked = if pour["leaked"] == true { ", leaked" } else { "" };
        table.row([
            Cell::tag(tag.clone()).to(format!("/shells/{tag}")),
            look.reads.at(&pour["at"]).into(),
            text(pour, "heat").into(),
            format!("{}{leaked}", plain(&text(pour, "filled"))).into(),
            look.reads.kg(&pour["poured_kg"]).into(),
            text(pour, "minutes_out").into(),
        ]);
    }
    if !table.rows.is_empty() {
        sheet.table(table);
    }
    if let Some(before) = day["before"].as_str() {
        sheet.links(&[("The pour day before", format!("/pour-days/{before}"))]);
    }
    sheet.links(&[("Pour day", "/pour-day".to_owned()), ("Heats", "/heats".to_owned())]);
    sheet.show()
}
