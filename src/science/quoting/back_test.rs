//! Past jobs quoted again, each from what was on record when it was quoted.

use std::collections::BTreeMap;

use super::basis::basis;
use super::fit::{Fit, fit};
use super::model::{AskedLine, Comparable, MoverSpec, OverheadRates, above_zero, sane};
use super::simulate::simulate;
use crate::science::statistics::quoting::{Calibration, Promise, WINDOW};

/// Levels of the ranges.
pub const LEVELS: [f64; 3] = [0.5, 0.8, 0.95];

/// How a job ended.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Finished {
    /// When its end was recorded, in ms.
    pub known_from: i64,
    /// What it cost, in minor units.
    pub actual: f64,
}

/// A past job.
#[derive(Clone, PartialEq, Debug)]
pub struct Job {
    /// What was asked for.
    pub lines: Vec<AskedLine>,
    /// Overhead as it was then.
    pub overhead: OverheadRates,
    /// When it was quoted, in ms.
    pub quoted_at: i64,
    /// `None`: open.
    pub finished: Option<Finished>,
    /// Its cost so far.
    pub so_far: f64,
    /// Median and spread that were really quoted, where they were: then these are scored.
    pub quoted: Option<(f64, f64)>,
    /// What it adds to the record, each from its own `known_from` on.
    pub comparables: Vec<Comparable>,
}

/// A past job quoted again.
#[derive(Clone, PartialEq, Debug)]
pub struct Tested {
    /// Index of the job.
    pub job: usize,
    /// When it was quoted, in ms.
    pub quoted_at: i64,
    /// When its end was recorded; `None`: open.
    pub known_from: Option<i64>,
    /// Median quoted.
    pub median: f64,
    /// Spread of ln quoted.
    pub spread: f64,
    /// Whether these were really quoted then, not only now.
    pub really: bool,
    /// (ln actual − ln median) ∕ spread; `None` where open or the spread is 0.
    pub score: Option<f64>,
    /// Ranges at [`LEVELS`].
    pub ranges: [Promise; 3],
    /// On so many finished jobs the ranges rest.
    pub calibrated_on: usize,
    /// The fewest comparables in effect behind a line of it.
    pub effective: f64,
    /// What it cost.
    pub actual: Option<f64>,
    /// Its cost so far.
    pub so_far: f64,
}

/// Quotes jobs in the order of their quoting, ties in theirs: each from comparables recorded
/// before it was quoted, its ranges from scores of the last hundred jobs finished and recorded
/// before it was quoted. Jobs that cannot be quoted, lines and all, are left out. After each job
/// `progress` is told how many are done. Chance is the job's own: the seed and its index.
pub fn back_test(jobs: &[Job], movers: &[MoverSpec], draws: u32, seed: u64, progress: &mut dyn FnMut(usize)) -> Vec<Tested> {
    let mut record: Vec<Comparable> = jobs.iter().flat_map(|job| job.comparables.iter().cloned()).collect();
    record.sort_by_key(|past| past.known_from);
    let mut order: Vec<(usize, &Job)> = jobs.iter().enumerate().collect();
    order.sort_by_key(|(i, job)| (job.quoted_at, *i));
    let mut scores: BTreeMap<(i64, usize), f64> = BTreeMap::new();
    let mut tested = Vec::with_capacity(jobs.len());
    for (done, (i, job)) in order.into_iter().enumerate() {
        let known = record.partition_point(|past| past.known_from < job.quoted_at);
        let own = seed ^ (i as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        if let Some(one) = again(job, i, record.get(..known).unwrap_or(&[]), movers, &scores, (draws, own)) {
            if let Some((score, from)) = one.score.zip(one.known_from) {
                scores.insert((from, i), score);
            }
            tested.push(one);
        }
        progress(done + 1);
    }
    tested
}

fn again(
    job: &Job,
    i: usize,
    record: &[Comparable],
    movers: &[MoverSpec],
    scores: &BTreeMap<(i64, usize), f64>,
    (draws, seed): (u32, u64),
) -> Option<Tested> {
    let mut effective = f64::INFINITY;
    let mut lines: Vec<(AskedLine, Fit)> = Vec::with_capacity(job.lines.len());
    for line in &job.lines {
        let basis = basis(line, record)?;
        effective = effective.min(basis.effective);
        lines.push((line.clone(), fit(line, &basis, record, movers)?));
    }
    let really = job.quoted.filter(|(median, spread)| above_zero(*median) && sane(*spread));
    let (median, spread) = match really {
        Some(quoted) => quoted,
        None => simulate(&lines, &job.overhead, draws, seed).map(|got| (got.median, got.spread))?,
    };
    let mut last: Vec<f64> = scores.range(..(job.quoted_at, 0)).rev().take(WINDOW).map(|(_, score)| *score).collect();
    last.reverse();
    let calibration = Calibration::new(&last)?;
    let promise = |level: f64| calibration.promise(level, median, spread);
    let [half, eight, most] = LEVELS;
    let finished = job.finished.filter(|end| above_zero(end.actual));
    let score = finished.map(|end| (end.actual / median).ln() / spread).filter(|score| score.is_finite());
    Some(Tested {
        job: i,
        quoted_at: job.quoted_at,
        known_from: finished.map(|end| end.known_from),
        median,
        spread,
        really: really.is_some(),
        score,
        ranges: [promise(half)?, promise(eight)?, promise(most)?],
        calibrated_on: calibration.jobs(),
        effective: if effective.is_finite() { effective } else { 0.0 },
        actual: finished.map(|end| end.actual),
        so_far: job.so_far,
    })
}
