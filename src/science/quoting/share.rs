//! How often ranges held, and what the next quote learns from it.

use super::back_test::{LEVELS, Tested};
use crate::science::statistics::quoting::{Calibration, WINDOW};

/// How often ranges of past quotes held.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Share {
    /// Finished jobs within their range, at 50, 80 and 95 %.
    pub held: [usize; 3],
    /// Of so many finished jobs that had a finite range.
    pub held_of: [usize; 3],
    /// Finished jobs that cost at most what was said, at 50, 80 and 95 %.
    pub at_most: [usize; 3],
    /// Of so many finished jobs that had a finite bound.
    pub at_most_of: [usize; 3],
    /// Median of ln(actual ∕ said), where said is the one-sided bound at 50 %, the median as past
    /// scores correct it: above 0, jobs cost more than was said. `None` without finished jobs.
    pub bias: Option<f64>,
    /// Finished jobs.
    pub jobs: usize,
    /// Jobs not finished: they are in no share.
    pub open: usize,
    /// Of the open ones, those whose cost so far is above the upper end of the 80 % range
    /// already. An open job is not a cheap one: these will be misses.
    pub open_already_above: usize,
}

/// Counts how often the ranges held.
#[must_use]
pub fn summary(tested: &[Tested]) -> Share {
    let mut share = Share::default();
    let mut off = Vec::new();
    for job in tested {
        let Some(actual) = job.actual else {
            share.open += 1;
            let above = job.ranges.get(1).and_then(|range| range.high).is_some_and(|high| job.so_far > high);
            share.open_already_above += usize::from(above);
            continue;
        };
        share.jobs += 1;
        let said = job.ranges.first().and_then(|half| half.at_most).unwrap_or(job.median);
        off.push((actual / said).ln());
        for (i, range) in job.ranges.iter().enumerate().take(LEVELS.len()) {
            if let (Some(low), Some(high)) = (range.low, range.high) {
                count(&mut share.held_of, i, true);
                count(&mut share.held, i, (low..=high).contains(&actual));
            }
            if let Some(most) = range.at_most {
                count(&mut share.at_most_of, i, true);
                count(&mut share.at_most, i, actual <= most);
            }
        }
    }
    off.sort_unstable_by(f64::total_cmp);
    let middle = off.len() / 2;
    share.bias = match off.get(middle) {
        Some(upper) if off.len() % 2 == 0 => off.get(middle.saturating_sub(1)).map(|lower| f64::midpoint(*lower, *upper)),
        found => found.copied(),
    };
    share
}

fn count(counts: &mut [usize; 3], i: usize, one: bool) {
    if let Some(count) = counts.get_mut(i) {
        *count += usize::from(one);
    }
}

/// What a quote given at `now` is widened by: scores of the last hundred finished jobs whose end
/// was recorded before. `None` where a score is not finite, which [`super::back_test`] never gives.
#[must_use]
pub fn calibration(tested: &[Tested], now: i64) -> Option<Calibration> {
    let known = |job: &Tested| job.known_from.filter(|from| *from < now).zip(job.score);
    let mut scores: Vec<((i64, usize), f64)> =
        tested.iter().filter_map(|job| known(job).map(|(from, score)| ((from, job.job), score))).collect();
    scores.sort_unstable_by_key(|(when, _)| *when);
    let last: Vec<f64> = scores.iter().skip(scores.len().saturating_sub(WINDOW)).map(|(_, score)| *score).collect();
    Calibration::new(&last)
}
