//! Where castings stand: walked anew whenever something that bears on them is written.

use super::route::{Event, Happened, Misfit, Stage, Step, Walked, next, walk};
use super::store::{self, Settled};
use crate::book::story::{self, Line, Story};
use crate::book::void::stands_in_the_way;
use crate::db::{Read, WriteTx};
use crate::kernel::{Instant, Kind, Order, Problem, ProblemType, Seq};
use crate::shop::commission;
use crate::shop::house::settings::{self, Settings};
use std::collections::{BTreeMap, BTreeSet};
use std::pin::Pin;

/// The settler of the route.
pub fn settle<'t>(tx: &'t mut WriteTx) -> Pin<Box<dyn Future<Output = Result<(), Problem>> + Send + 't>> {
    Box::pin(async move {
        for pattern in tx.touched(Kind::Pattern) {
            super::verbs::refit_pattern(tx, pattern).await?;
        }
        let commissions: commission::ClientCorrected = tx.recall_or_default();
        for commission in commissions.0 {
            super::verbs::refit_commission(tx, commission).await?;
        }
        let story = story::touched(tx).await?;
        if story.castings.is_empty() {
            return Ok(());
        }
        let settings = settings::of(tx).await?;
        let mut settled = Vec::with_capacity(story.castings.len());
        let mut refused = None;
        let mut lines = Vec::new();
        let mut in_the_way = BTreeSet::new();
        for &casting in &story.castings {
            let walked = walk(&happened(&story, &settings, casting));
            if let Some(misfit) = &walked.misfit {
                in_the_way.insert(misfit.seq);
                lines.extend(story.of(casting).find(|l| l.seq == misfit.seq).map(named));
                refused.get_or_insert_with(|| refusal(tx, &story, casting, misfit));
                continue;
            }
            if !matches!(walked.stage, Stage::Scrapped | Stage::Lost)
                && let Some(recast) = story.of(casting).find(|l| rests_on_scrap(l))
            {
                in_the_way.insert(recast.seq);
                lines.push(named(recast));
                refused.get_or_insert_with(|| still_good(tx, recast, walked.stage));
                continue;
            }
            settled.push(row(&story, casting, &walked));
        }
        in_the_way.extend(trees_of(&story, &in_the_way));
        stands_in_the_way(tx, in_the_way, []);
        // All that are in the way are named; the first says why.
        match refused {
            Some(problem) if problem.kind == ProblemType::InUse => return Err(problem.with("dependents", lines)),
            Some(problem) => return Err(problem),
            None => {}
        }
        store::write_settled(tx, &settled);
        Ok(())
    })
}

/// Trees opened of which no casting's breakout can stand: they were not opened either.
fn trees_of(story: &Story, gone: &BTreeSet<Seq>) -> Vec<Seq> {
    let judged_in = |tree: &Line| {
        let id = tree.id.to_string();
        story.lines.iter().filter(move |l| l.kind == Kind::Breakout && l.body["shell_breakout_id"] == id.as_str())
    };
    let trees = story.lines.iter().filter(|l| l.kind == Kind::ShellBreakout);
    let opened =
        trees.filter(|tree| judged_in(tree).any(|l| gone.contains(&l.seq)) && judged_in(tree).all(|l| gone.contains(&l.seq)));
    opened.map(|tree| tree.seq).collect()
}

/// Where some castings stood at an instant, or stand now, what happened at that instant among it.
///
/// # Errors
/// As the database says.
pub async fn stood<R: Read>(read: &mut R, castings: &[Seq], at: Option<Instant>) -> Result<BTreeMap<Seq, Walked>, Problem> {
    let story = story::load(read, castings, &[]).await?;
    let settings = settings::of(read).await?;
    let until = |casting| {
        let mut records = happened(&story, &settings, casting);
        records.retain(|r| at.is_none_or(|at| r.order.at <= at));
        walk(&records)
    };
    Ok(castings.iter().map(|&casting| (casting, until(casting))).collect())
}

fn happened(story: &Story, settings: &Settings, casting: Seq) -> Vec<Happened> {
    story
        .of(casting)
        .filter_map(|line| {
            Some(Happened {
                order: Order { at: line.at, seq: line.seq },
                span: settings.span(line.at, line.precision),
                event: event(story, line)?,
                despite: line.despite("not_on_record"),
            })
        })
        .collect()
}

/// What a record means to a casting's route, if anything.
fn event(story: &Story, line: &Line) -> Option<Event> {
    Some(match line.kind {
        Kind::Wax => Event::Wax,
        Kind::Shell => Event::Shell,
        Kind::Coat => Event::Coat,
        Kind::Patch => Event::Patch,
        Kind::Burnout => match fired_result(story, line) {
            Some("lost") => Event::LostInKiln,
            _ => Event::Fired,
        },
        Kind::Preheat => Event::Preheat,
        Kind::Pour if line.body["continues_pour_id"].is_string() => Event::Stream,
        Kind::Pour => Event::Pour,
        Kind::Breakout if line.body["verdict"] == "scrap" => Event::OpenedScrap,
        Kind::Breakout => Event::Opened,
        Kind::CutOff => Event::CutOff,
        Kind::Work if line.shell == 0 => Event::Work,
        Kind::Assembly => Event::Join,
        Kind::Finish => Event::Finish,
        Kind::Scrap => Event::Scrap,
        Kind::Delivery => Event::Deliver,
        _ => return None,
    })
}

/// What came of a shell in a burnout: sound, cracked, lost; `None` while not known.
#[must_use]
pub fn fired_result<'s>(story: &'s Story, line: &'s Line) -> Option<&'s str> {
    let shell = story.shell(line.shell)?.id.to_string();
    line.body["shells"].as_array()?.iter().find(|s| s["shell_id"] == shell.as_str()).and_then(|s| s["result"].as_str())
}

fn row(story: &Story, casting: Seq, walked: &Walked) -> Settled {
    let judged = story.of(casting).filter(|l| l.kind == Kind::Breakout).filter_map(|l| l.body["verdict"].as_str());
    let mut verdict = judged.filter(|v| *v != "not_judged").last().map(str::to_owned);
    if verdict.is_none() && story.of(casting).any(|l| l.kind == Kind::Finish) {
        verdict = Some("accepted".into());
    }
    let wax = story
        .of(casting)
        .filter(|l| l.kind == Kind::Wax)
        .filter_map(|l| l.body["wax_kg"].as_number().and_then(|n| crate::kernel::json::scaled(n, 6)))
        .last();
    Settled {
        seq: casting,
        stage: walked.stage.name(),
        stage_ms: walked.since.map(Instant::ms),
        verdict,
        shell: story.of(casting).filter(|l| l.kind == Kind::Shell).map(|l| l.seq).last(),
        wax_mg: wax.and_then(|mg| i64::try_from(mg).ok()),
    }
}

/// The refusal of a record that does not fit: of the one being written, or, when that one
/// pulls the ground from under a later record, of the writing.
fn refusal(tx: &WriteTx, story: &Story, casting: Seq, misfit: &Misfit) -> Problem {
    let writes_it = tx.acting().iter().any(|a| a.seq == misfit.seq && !a.voids);
    let line = story.of(casting).find(|l| l.seq == misfit.seq);
    let what = line.map_or_else(String::new, |l| format!("{} of {}", l.kind.name().replace('_', " "), l.at));
    if writes_it {
        if before_the_pour(misfit) && story.of(casting).any(|l| l.kind == Kind::Pour) {
            return Problem::new(
                ProblemType::BeforeThePour,
                "The pour of that shell is on record as later than this. Check both times.",
            );
        }
        let mut problem = Problem::new(misfit.problem, sentence(misfit)).with("stage", misfit.stage.name());
        if misfit.problem == ProblemType::NotYet {
            let may = matches!(next(misfit.stage, misfit.event), Step::NotYet(_));
            problem = problem.with("despite", if may { vec!["not_on_record"] } else { vec![] });
        }
        return problem;
    }
    let dependents: Vec<serde_json::Value> = line.map(named).into_iter().collect();
    if tx.acting().iter().any(|a| a.voids) {
        return Problem::new(ProblemType::InUse, format!("The {what} rests on it.")).with("dependents", dependents);
    }
    Problem::new(ProblemType::TimesContradict, format!("With this, the {what} would not follow from what stands before it."))
        .with("dependents", dependents)
}

/// A record as a refusal names it.
fn named(line: &Line) -> serde_json::Value {
    serde_json::json!({"kind": line.kind.name(), "id": line.id.to_string(), "at": line.at.to_string()})
}

/// Whether a record is a recast that says nothing for itself but that its casting was scrapped.
fn rests_on_scrap(line: &Line) -> bool {
    line.kind == Kind::Recast && line.body["reason"].as_str().is_none_or(|r| r == "scrapped") && !line.despite("not_on_record")
}

/// The refusal of what would leave a casting good that was cast again because it was scrapped.
fn still_good(tx: &WriteTx, recast: &Line, stage: Stage) -> Problem {
    let stage = stage.name();
    if tx.acting().iter().any(|a| a.seq == recast.seq) {
        let said =
            format!("The casting is still good (stage {stage}). Say why another is wanted: spare, lost, damaged or refused.");
        return Problem::new(ProblemType::StillGood, said).with("stage", stage);
    }
    let dependents = vec![named(recast)];
    let what = format!("The recast of {} gives no reason but the scrap", recast.at);
    let problem = if tx.acting().iter().any(|a| a.voids) {
        Problem::new(ProblemType::InUse, format!("{what}. Void it first."))
    } else {
        Problem::new(ProblemType::StillGood, format!("{what}, and with this the casting is good (stage {stage}). Void it first."))
    };
    problem.with("dependents", dependents)
}

/// What is wrong and what to do, in one or two sentences.
fn sentence(misfit: &Misfit) -> String {
    let stage = misfit.stage.name();
    let what = words(misfit);
    let what = if what.starts_with('a') { format!("an {what}") } else { format!("a {what}") };
    match (misfit.problem, next(misfit.stage, misfit.event)) {
        (ProblemType::NotYet, Step::NotYet(_)) => format!(
            "By the book the casting stood at {stage} then: what comes before {what} is not on record. Record it first; \
             if it happened but was never logged, say despite: [not_on_record]."
        ),
        (ProblemType::NotYet, _) => {
            format!(
                "By the book the casting stood at {stage} then: {what} needs a shell and a pour on record before it. Record those first."
            )
        }
        (ProblemType::AlreadyPoured, _) => {
            "The shell was poured already. A second stream into it names the first pour in continues_pour_id.".to_owned()
        }
        (problem, _) => format!("The casting stood at {stage} then; {what} does not follow. {}", problem.help()),
    }
}

/// Whether a shell is opened that was not yet poured.
const fn before_the_pour(misfit: &Misfit) -> bool {
    matches!(misfit.event, Event::Opened | Event::OpenedScrap | Event::CutOff | Event::Join)
        && matches!(misfit.stage, Stage::Shell | Stage::Burnout | Stage::Preheat)
}

const fn words(misfit: &Misfit) -> &'static str {
    match misfit.event {
        Event::Wax => "wax",
        Event::Shell => "shell",
        Event::Coat => "coat",
        Event::Patch => "patch",
        Event::Fired | Event::LostInKiln => "burnout",
        Event::Preheat => "preheat",
        Event::Pour => "pour",
        Event::Stream => "further stream",
        Event::Opened | Event::OpenedScrap => "breakout",
        Event::CutOff => "cut-off",
        Event::Join => "assembly",
        Event::Work => "work",
        Event::Finish => "finish",
        Event::Deliver => "delivery",
        Event::Scrap => "scrap",
    }
}
