//! `/v1/reports/hours`: minutes by hand and week, as they were booked.

use super::year::{span, span_params};
use crate::book::api::Kit;
use crate::book::reach;
use crate::kernel::actor::Right;
use crate::kernel::{Kind, Problem, Seq};
use crate::shop::house::settings;
use crate::web::route::handler;
use crate::web::{Answer, Ctx, Method, Reply, Route};
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

/// The route.
pub fn routes(kit: &Kit) -> Vec<Route> {
    let kit = kit.clone();
    let number = json!({"type": "number"});
    vec![Route {
        method: Method::Get,
        path: "/v1/reports/hours".into(),
        operation: "report_hours".into(),
        right: Right::Read,
        about: "Hours booked, by hand and week".into(),
        heading: "Reports",
        params: span_params(),
        body: None,
        answer: Answer {
            status: 200,
            about: "A row for each hand and week, the newest week first",
            media: "application/json",
            schema: json!({"type": "object", "required": ["from", "to", "rows", "hours"], "properties": {
                "from": {"type": "string", "format": "date-time"}, "to": {"type": "string", "format": "date-time"}, "hours": number,
                "rows": {"type": "array", "items": {"type": "object", "required": ["week", "begins_on", "hours", "by_operation"], "properties": {
                    "week": {"type": "string", "description": "ISO 8601, as 2026-W10, of the shop's days"},
                    "begins_on": {"type": "string", "format": "date"},
                    "hand": {"type": "string", "description": "none: nobody was named"}, "hours": number,
                    "by_operation": {"type": "object", "additionalProperties": number}}}}}}),
            etag: false,
        },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move { hours(&kit, &ctx).await.map(|v| Reply::json(&v)) }
        }),
    }]
}

async fn hours(kit: &Kit, ctx: &Ctx) -> Result<Value, Problem> {
    let mut read = kit.db.read().await?;
    let settings = settings::of(&mut read).await?;
    let (from, to) = span(ctx, &settings)?;
    let found = reach::between(&mut read, &[Kind::Work], from, to).await?;
    let references = reach::referred(&mut read, &found.iter().map(|w| w.seq).collect::<Vec<_>>()).await?;
    let who: BTreeMap<Seq, Seq> = references.iter().filter(|r| r.member == "hand").map(|r| (r.record, r.target)).collect();
    let mut hands: Vec<Seq> = who.values().copied().collect();
    hands.sort_unstable();
    hands.dedup();
    let hands = reach::by_seqs(&mut read, &hands).await?;
    // By week (newest first) and name: minutes by operation.
    let mut rows: BTreeMap<(std::cmp::Reverse<jiff::civil::Date>, String), BTreeMap<String, f64>> = BTreeMap::new();
    for work in &found {
        let week = settings.day(work.at).iso_week_date();
        let monday = week.first_of_week().map_err(Problem::internal)?.date();
        let hand = who.get(&work.seq).and_then(|hand| hands.iter().find(|h| h.seq == *hand));
        let name = hand.and_then(|h| h.body["name"].as_str()).unwrap_or_default().to_owned();
        let operation = work.body["operation"].as_str().unwrap_or("other").to_owned();
        let minutes = work.body["minutes"].as_f64().unwrap_or(0.0);
        *rows.entry((std::cmp::Reverse(monday), name)).or_default().entry(operation).or_default() += minutes;
    }
    let mut all = 0.0;
    let mut out = Vec::new();
    for ((std::cmp::Reverse(monday), name), operations) in rows {
        let minutes: f64 = operations.values().sum();
        all += minutes;
        let week = monday.iso_week_date();
        let mut one = Map::new();
        one.insert("week".into(), format!("{:04}-W{:02}", week.year(), week.week()).into());
        one.insert("begins_on".into(), monday.to_string().into());
        if !name.is_empty() {
            one.insert("hand".into(), name.into());
        }
        one.insert("hours".into(), json!(in_hours(minutes)));
        let by: Map<String, Value> = operations.into_iter().map(|(o, m)| (o, json!(in_hours(m)))).collect();
        one.insert("by_operation".into(), by.into());
        out.push(Value::Object(one));
    }
    Ok(json!({"from": from.to_string(), "to": to.to_string(), "hours": in_hours(all), "rows": out}))
}

/// Minutes in hours, to the hundredth.
fn in_hours(minutes: f64) -> f64 {
    (minutes / 60.0 * 100.0).round() / 100.0
}
