//! Working a quote out: comparables, movers, many jobs drawn, the range by past quotes, the price.

use super::asked::{Asked, Line};
use super::movers;
use super::price::{self, LineShare};
use super::prices::overhead;
use super::record::Record;
use crate::kernel::{Instant, Problem, ProblemType};
use crate::science::quoting::{
    AskedLine, Basis, Beyond, Fit, Job, LineSimulated, MoverEffect, Simulated, Step, Tested, back_test, basis, calibration, fit,
    simulate,
};
use crate::science::statistics::quoting::{Calibration, Promise};
use serde_json::{Value, json};

/// Jobs drawn for a quote.
pub const DRAWS: u32 = 10_000;
/// Jobs drawn for each past job that is quoted again.
pub const DRAWS_AGAIN: u32 = 400;
/// What past jobs are drawn with: the same at every look.
pub const SEED_AGAIN: u64 = 1;
/// Of the jobs that are finished, so many of the last are quoted again to widen a quote by.
const LAST: usize = 120;
/// The most comparables that are answered.
const MOST_BASIS: usize = 100;
/// The most movers of which is said what would narrow them.
const NARROWED: usize = 3;

/// Jobs as they are quoted again to widen a quote given now: only the last that are finished are; the
/// others are there for what they add to the record.
fn last_jobs(jobs: &[Job], now: i64) -> Vec<Job> {
    let mut ends: Vec<i64> =
        jobs.iter().filter_map(|job| job.finished).map(|end| end.known_from).filter(|end| *end < now).collect();
    ends.sort_unstable();
    let from = ends.get(ends.len().saturating_sub(LAST)).copied().unwrap_or(i64::MIN);
    let counts = |job: &Job| job.finished.is_some_and(|end| end.known_from >= from && end.known_from < now);
    jobs.iter()
        .map(|job| if counts(job) { job.clone() } else { Job { lines: Vec::new(), quoted: None, ..job.clone() } })
        .collect()
}

/// What a quote given at an instant is widened by.
#[must_use]
pub fn calibrated_at(record: &Record, now: Instant) -> Option<Calibration> {
    let jobs = last_jobs(&record.jobs, now.ms());
    let tested: Vec<Tested> = back_test(&jobs, movers::specs(), DRAWS_AGAIN, SEED_AGAIN, &mut |_| {});
    calibration(&tested, now.ms())
}

/// Works a quote out. Takes some tens of milliseconds and more: not on a thread that serves others.
///
/// # Errors
/// When what is asked for cannot be reckoned with.
pub fn work_out(asked: &Asked, record: &Record, said_price: Option<i64>, tax_percent: f64, seed: u64) -> Result<Value, Problem> {
    let cannot = || Problem::internal("a quote that was read cannot be reckoned with");
    let mut lines: Vec<(AskedLine, Fit)> = Vec::new();
    let mut bases: Vec<Basis> = Vec::new();
    for line in &asked.lines {
        let basis = basis(&line.asked, &record.comparables).ok_or_else(cannot)?;
        let fit = fit(&line.asked, &basis, &record.comparables, movers::specs()).ok_or_else(cannot)?;
        lines.push((line.asked.clone(), fit));
        bases.push(basis);
    }
    let rates = overhead(asked.settings.overhead(asked.at)).0;
    let simulated = simulate(&lines, &rates, DRAWS, seed).ok_or_else(|| {
        let said = "Nothing in it has a price: record rates (hand_hour, shell_coat_dm2, wax_kg, fuel_kg), or give the metal's.";
        Problem::new(ProblemType::Invalid, said)
    })?;
    let calibration = calibrated_at(record, asked.at).ok_or_else(cannot)?;
    let promise = |level: f64| calibration.promise(level, simulated.median, simulated.spread).ok_or_else(cannot);
    let (half, eighty, most) = (promise(0.5)?, promise(0.8)?, promise(0.95)?);
    let p50 = half.at_most.unwrap_or(simulated.median);
    let p80 = eighty.at_most.unwrap_or(simulated.q90);
    let priced = price::of(asked, &simulated, &calibration, p50, p80, said_price, tax_percent)?;
    Ok(json!({
        "seed": seed.to_string(),
        "draws": DRAWS,
        "cost_minor": {"p50": rounded(p50), "p80": rounded(p80), "p95": most.at_most.map(rounded)},
        "interval80_minor": range(eighty),
        "interval50_minor": range(half),
        "interval95_minor": range(most),
        "median_minor": simulated.median,
        "mean_minor": simulated.mean,
        "spread": simulated.spread,
        "calibrated": calibration.jobs() > 0,
        "calibrated_on": calibration.jobs(),
        "said": sentence(&calibration, &bases),
        "price_minor": priced.net,
        "price": priced.value,
        "drivers": drivers(&simulated, &lines, known(asked)),
        "basis": basis_value(&bases, record),
        "lines": line_values(asked, &bases, &simulated, &lines, &priced.shares),
        "lacking": asked.lacking,
    }))
}

#[expect(clippy::cast_possible_truncation, reason = "money is bounded far below what a float holds exactly")]
pub fn rounded(minor: f64) -> i64 {
    minor.round().clamp(-9e15, 9e15) as i64
}

fn range(promise: Promise) -> Value {
    json!({"low": promise.low.map(rounded), "high": promise.high.map(rounded)})
}

/// One sentence on how far the range is to be trusted.
fn sentence(calibration: &Calibration, bases: &[Basis]) -> String {
    let jobs = calibration.jobs();
    let extrapolates = bases.iter().any(|basis| basis.beyond.is_some());
    let mut said = match jobs {
        0 => "No job of this shop is finished on record: this range is a handbook's, and was never checked against what jobs here cost."
            .to_owned(),
        1..=19 => format!(
            "The range rests on {jobs} finished {} of this shop and, for the rest, on a handbook: it is wide on purpose, and narrows as jobs are finished.",
            if jobs == 1 { "job" } else { "jobs" }
        ),
        _ => format!("The range is as wide as the last {jobs} finished jobs were off when they are quoted from what was on record before them."),
    };
    if extrapolates {
        said.push_str(" What is asked for lies outside the masses on record: it is carried over by a rule.");
    }
    said
}

/// How far it was necessary to look, in words; what was not asked for is not named.
fn looked(step: Step, line: &Line) -> String {
    let recipe = line.asked.recipe.is_some() && step <= Step::AnyFinish;
    let finish = line.asked.finish.is_some() && step == Step::Alike;
    let section = step <= Step::AnyRecipe;
    let mut alike = vec!["same family of alloys"];
    alike.extend(section.then_some("like sections"));
    alike.extend(recipe.then_some("same recipe"));
    alike.extend(finish.then_some("same finish"));
    match step {
        Step::Widened => "same family of alloys, farther in mass".to_owned(),
        Step::EveryFamily => "no casting of this family of alloys is on record: castings of every alloy".to_owned(),
        Step::NoRecord => "no finished job is on record: a handbook's figures".to_owned(),
        _ => alike.join(", "),
    }
}

const fn step_code(step: Step) -> &'static str {
    match step {
        Step::Alike => "alike",
        Step::AnyFinish => "any_finish",
        Step::AnyRecipe => "any_recipe",
        Step::AnySection => "any_section",
        Step::Widened => "widened",
        Step::EveryFamily => "every_family",
        Step::NoRecord => "no_record",
    }
}

fn beyond(basis: &Basis) -> Value {
    match basis.beyond {
        None => Value::Null,
        Some(Beyond::BelowLeast(factor)) => json!({"side": "below", "factor": hundredths(factor),
            "said": format!("{} times lighter than the lightest casting on record.", times(factor))}),
        Some(Beyond::AboveMost(factor)) => json!({"side": "above", "factor": hundredths(factor),
            "said": format!("{} times heavier than the heaviest casting on record.", times(factor))}),
    }
}

fn times(factor: f64) -> String {
    if factor < 10.0 { format!("{factor:.1}") } else { format!("{factor:.0}") }
}

fn hundredths(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

fn thousandths(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

fn line_values(
    asked: &Asked,
    bases: &[Basis],
    simulated: &Simulated,
    fits: &[(AskedLine, Fit)],
    shares: &[LineShare],
) -> Vec<Value> {
    let both = asked.lines.iter().zip(bases).zip(simulated.lines.iter().zip(fits)).zip(shares);
    both.map(|(((line, basis), (of, (_, fit))), share)| line_value(line, basis, of, fit, share)).collect()
}

fn line_value(line: &Line, basis: &Basis, of: &LineSimulated, fit: &Fit, share: &LineShare) -> Value {
    let absent: Vec<&str> = fit.absent.iter().filter_map(|n| movers::all().get(*n)).map(|mover| mover.about.as_str()).collect();
    json!({
        "what": line.what, "alloy": line.alloy, "family": line.family, "copy_kg": thousandths(line.copy_kg), "copies": line.copies,
        "sections": line.sections, "section_mm": line.asked.section_mm, "unique": line.unique,
        "share_minor": share.net, "recast_price_minor": share.recast, "remake_price_minor": share.remake,
        "metal": {"from": line.metal_from, "per_kg_minor": rounded(line.asked.metal_per_kg)},
        "most_attempts": line.asked.most_attempts,
        "recast_borne_by": if line.asked.client_bears_recast { "client" } else { "shop" },
        "castings": {"mean": hundredths(of.castings_mean), "p90": of.castings_q90},
        "chance_of_failure": thousandths(of.mean_loss),
        // With one attempt it is the chance that the work is lost.
        "chance_lost": thousandths(of.lost),
        "one_more_minor": rounded(of.one_more),
        "poured_kg": {"p50": hundredths(of.poured_kg), "p90": hundredths(of.poured_kg_q90)},
        "hours": hundredths(of.minutes / 60.0),
        "looked": {"step": step_code(basis.step), "said": looked(basis.step, line), "effective": hundredths(basis.effective),
                   "bandwidth": thousandths(basis.bandwidth), "comparables": basis.members.len()},
        "extrapolates": beyond(basis),
        "nothing_known_of": absent,
    })
}

/// What is known by itself, in all: what is paid once, and each copy's.
fn known(asked: &Asked) -> f64 {
    asked.lines.iter().map(|line| line.asked.fixed + line.asked.per_piece * f64::from(line.asked.copies)).sum()
}

/// What moves the price, the most first.
fn drivers(simulated: &Simulated, lines: &[(AskedLine, Fit)], known: f64) -> Vec<Value> {
    let mut movers: Vec<&MoverEffect> = simulated.movers.iter().collect();
    movers.sort_by(|a, b| b.mean.abs().total_cmp(&a.mean.abs()));
    let mut by_share: Vec<&MoverEffect> = simulated.movers.iter().collect();
    by_share.sort_by(|a, b| b.share_of_spread.total_cmp(&a.share_of_spread));
    let narrowed: Vec<&str> = by_share.iter().take(NARROWED).map(|m| m.name.as_str()).collect();
    let effective = lines.iter().map(|(_, fit)| fit.effective).fold(f64::INFINITY, f64::min);
    let known = (known > 0.0).then(|| {
        json!({"name": "known", "about": about("known"), "adds_minor": rounded(known), "low_minor": rounded(known),
               "high_minor": rounded(known), "share_of_spread": 0.0, "rests_on": 0.0})
    });
    let mut out: Vec<Value> = movers
        .into_iter()
        .map(|mover| {
            let mut one = json!({
                "name": mover.name, "about": about(&mover.name), "adds_minor": rounded(mover.mean),
                "low_minor": rounded(mover.low), "high_minor": rounded(mover.high),
                "share_of_spread": thousandths(mover.share_of_spread), "rests_on": hundredths(mover.own),
            });
            if narrowed.contains(&mover.name.as_str()) && mover.share_of_spread > 0.02 {
                one["narrower"] = narrower(&mover.name, mover.own, effective).into();
            }
            one
        })
        .collect();
    out.extend(known);
    out
}

/// What a mover is, in words.
#[must_use]
pub fn about(name: &str) -> String {
    if let Some(mover) = movers::all().iter().find(|mover| mover.spec.name == name) {
        return mover.about.clone();
    }
    match name {
        crate::science::quoting::METAL => "metal that goes out with the work".into(),
        crate::science::quoting::METAL_LOST => "metal lost as dross, spill and skull".into(),
        crate::science::quoting::POURED => "metal poured over what stays".into(),
        crate::science::quoting::RECAST => "castings that fail and are cast again".into(),
        "known" => "what is said: moulds, bases, royalties, crates, freight, minutes".into(),
        "work" => "work with its overhead".into(),
        "bought" => "what is bought in and done outside".into(),
        other => other.replace('_', " "),
    }
}

/// What would make a mover's range narrower.
fn narrower(name: &str, own: f64, effective: f64) -> String {
    if name == crate::science::quoting::RECAST {
        return "A first casting that came out well says more of this pattern than any past job.".into();
    }
    if name.starts_with("minutes_") {
        let said = about(name);
        let operation = said.strip_prefix("minutes of ").unwrap_or(&said);
        return if own < 8.0 {
            format!("Book the minutes of {operation} on every casting: few jobs like this have them.")
        } else {
            format!("Say the minutes of {operation} yourself, from the piece before you: jobs like this differ that much.")
        };
    }
    if effective < 8.0 {
        return "More finished jobs like this: there are few to compare with.".into();
    }
    "Agree on it beforehand, or weigh a wax: jobs like this differ that much.".into()
}

/// The castings that it rests on, the nearest first.
fn basis_value(bases: &[Basis], record: &Record) -> Value {
    let mut items = Vec::new();
    for (n, basis) in bases.iter().enumerate() {
        for (index, weight) in basis.members.iter().take(MOST_BASIS) {
            let (Some(of), Some(told)) = (record.comparables.get(*index), record.told.get(*index)) else { continue };
            items.push(json!({
                "line": n, "weight": thousandths(*weight), "job": told.number, "title": told.title, "castings": told.tags,
                "alloy": told.alloy, "mass_kg": thousandths(of.mass_kg), "section_mm": of.section_mm, "attempts": of.castings, "failed": of.failed,
            }));
        }
    }
    let left_out: usize = bases.iter().map(|basis| basis.members.len().saturating_sub(MOST_BASIS)).sum();
    json!({"items": items, "left_out": left_out, "effective": bases.iter().map(|b| hundredths(b.effective)).collect::<Vec<_>>()})
}
