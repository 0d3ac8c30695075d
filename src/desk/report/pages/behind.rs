//! `/reports/behind`: the castings and shells that a figure counts.

use super::super::ask::Ask;
use super::super::rates::{levels, rests};
use super::super::store::{self, Base};
use super::{Asked, factor_words, said};
use crate::kernel::actor::Right;
use crate::kernel::{Problem, ProblemType, Seq};
use crate::shop::casting::{self, Listed};
use crate::shop::house::floor::Floor;
use crate::web::page::Form;
use crate::web::sheet::{Cell, Sheet, Table};
use crate::web::{Ctx, Method, Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

/// How many are listed.
const MOST: i64 = 300;

pub(super) fn pages(floor: &Floor) -> Vec<Page> {
    vec![floor.page("/reports/behind", Right::Read, show)]
}

/// The reports that have castings behind them: name, title, and what counts as one.
const REPORTS: [(&str, &str, &str); 4] = [
    ("leaks", "Leaks", "leaked"),
    ("shorts", "Short pours", "short"),
    ("defects", "Defects", "with a finding"),
    ("yields", "Yields", "good"),
];

async fn show(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let asked = Asked::of(&visit, "alloy");
    let outcome = visit.query.get("outcome");
    let (outcome, title, counts) = REPORTS
        .iter()
        .find(|(name, ..)| *name == outcome)
        .ok_or_else(|| Problem::new(ProblemType::NotFound, "Open this from a figure of a report."))?;
    let level = visit.query.get("level");
    let ctx = Ctx {
        actor: visit.actor.clone(),
        path_params: Vec::new(),
        query: Form::decode(&asked.api(&look, true)).0,
        body: Value::Null,
        path: visit.path.clone(),
        method: Method::Get,
        if_match: None,
        key: None,
        sent: None,
        now: visit.now,
    };
    let mut read = floor.kit.db.read().await?;
    let ask = Ask::read(&mut read, &ctx).await?;
    let rests = rests(&mut read, &ask, visit.now).await?;
    let count = if *outcome == "yields" { store::MARKS } else { store::rate_of(outcome, &ask) };
    let counted = store::fetch(&mut read, store::counting(&ask, &count, Some(ask.factor), &rests)).await?;
    let known = levels(&mut read, &ask, &rests, counted).await?;
    let (_, told) = known
        .iter()
        .find(|(shown, _)| shown.row()["label"] == level)
        .ok_or_else(|| Problem::new(ProblemType::NotFound, format!("Nothing is counted at {level}.")))?;
    let found = store::behind(&mut read, &ask, &count, outcome, &rests, told.level.as_deref(), MOST).await?;
    let seqs: Vec<Seq> = found.iter().map(|(seq, _)| *seq).collect();
    let castings = casting::listed_of(&mut read, &seqs, 2000).await?;
    let shells = count.base == Base::Shells;
    let notes = if shells { store::noted(&mut read, &seqs).await? } else { std::collections::BTreeMap::new() };
    drop(read);
    let hits = found.iter().filter(|(_, hit)| *hit).count();
    let mut sheet = Sheet::new(&visit, format!("{title}: {level}"));
    sheet.lead = format!("By {}. {}", factor_words(&asked.by), said(&asked));
    let what = if shells { "Shells" } else { "Castings" };
    let noted = (!notes.is_empty()).then_some("Noted at the pour");
    let rest = ["What", "Job", "Where it is", "Counted as"];
    let heads: Vec<&str> = std::iter::once(what).chain(noted).chain(rest).collect();
    let mut table = Table::new(&format!("{what}: {}, {counts}: {hits}", found.len()), "None.", &heads);
    let of = |seq: Seq| -> Vec<&Listed> {
        castings.iter().filter(|c| c.seq == seq || c.shell.as_ref().is_some_and(|(shell, _)| *shell == seq)).collect()
    };
    // Those that count first, newest first.
    let (yes, no): (Vec<_>, Vec<_>) = found.iter().partition(|(_, hit)| *hit);
    for (seq, hit) in yes.into_iter().chain(no) {
        let all = of(seq);
        let Some(first) = all.first() else { continue };
        let (tag, to) = match (&first.shell, shells) {
            (Some((_, tag)), true) => (tag.clone(), format!("/shells/{tag}")),
            _ => (first.tag.clone(), format!("/castings/{}", first.tag)),
        };
        let what: Vec<String> = all.iter().map(|c| c.called()).collect();
        table.row([
            Cell::tag(tag).to(to),
            what.join("; ").into(),
            Cell::text(first.number.clone()).to(format!("/jobs/{}", first.number)),
            first.stage.clone().into(),
            if hit { (*counts).into() } else { format!("not {counts}").into() },
        ]);
        if !notes.is_empty() {
            let note = notes.get(&seq).cloned().unwrap_or_default();
            table.rows.last_mut().into_iter().for_each(|row| row.insert(1, note.clone().into()));
        }
    }
    if found.len() >= usize::try_from(MOST).unwrap_or(usize::MAX) {
        table.foot = format!("The newest {MOST}.");
    }
    sheet.table(table);
    sheet.links(&[(title, format!("/reports/{outcome}?{}", asked.page())), ("All reports", "/reports".to_owned())]);
    sheet.show()
}
