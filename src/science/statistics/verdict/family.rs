//! All comparisons of one factor under one filter.

use super::compare::{Comparison, Sides};
use super::counts::{Cell, Counts};
use super::ranks::{Places, places};
use super::{LEAST_SHELLS, MOST_IN_PAIRS, Options};
use crate::science::statistics::multiple::holm;

/// What is compared with what.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Kind {
    /// Each level with each other.
    Pairs,
    /// Each level with all the rest, the levels being many.
    EachWithTheRest,
}

/// A family of comparisons with its words and ranks.
#[derive(Clone, PartialEq, Debug)]
pub struct Family {
    /// What is compared with what.
    pub kind: Kind,
    /// All comparisons.
    pub comparisons: Vec<Comparison>,
    /// The places of the levels with enough shells, in the order of their numbers. Where each
    /// was compared with the rest all places stay open.
    pub places: Vec<Places>,
    /// The p that any level differs: the least of Holm's. 1 without comparisons.
    pub any_p: f64,
}

/// Judges all levels of a factor with at least [`LEAST_SHELLS`] shells.
#[must_use]
pub fn judge(cells: &[Cell], options: &Options) -> Family {
    judged(&Counts::new(cells), options)
}

/// Judges levels of which a shell may have several, as hands or batches: each against the shells that are
/// not at it. `all` has every shell once, in the same strata and heats; its levels do not matter.
#[must_use]
pub fn judge_among(cells: &[Cell], all: &[Cell], options: &Options) -> Family {
    judged(&Counts::among(cells, all), options)
}

fn judged(counts: &Counts, options: &Options) -> Family {
    let Members { levels, kind, sides } = Members::new(counts);
    let found: Vec<_> = sides.iter().map(|sides| sides.p(counts, options)).collect();
    let adjusted = holm(&found.iter().map(|found| found.1).collect::<Vec<f64>>());
    let comparisons: Vec<Comparison> = sides
        .iter()
        .zip(found)
        .zip(&adjusted)
        .filter_map(|((side, found), holm_p)| side.say(found, Some(*holm_p), sides.len(), options))
        .collect();
    let places = places(&levels, &comparisons);
    Family { kind, comparisons, places, any_p: adjusted.into_iter().fold(1.0, f64::min) }
}

/// Compares two levels, with Holm's adjustment over the whole family they are picked from.
/// Where the levels are too many for pairs, all pairs count as the family, and the raw p
/// is multiplied by their number, which Holm's never exceeds.
///
/// `None` where a is b, or one of them was not observed.
#[must_use]
pub fn compare(cells: &[Cell], a: usize, b: usize, options: &Options) -> Option<Comparison> {
    let counts = Counts::new(cells);
    let Members { levels, kind, sides } = Members::new(&counts);
    let asked = Sides::new(&counts, a, Some(b));
    if a == b {
        return None;
    }
    if asked.few() {
        return asked.say(asked.p(&counts, options), None, sides.len(), options);
    }
    if kind == Kind::EachWithTheRest {
        let found = asked.p(&counts, options);
        let pairs = levels.len() * levels.len().saturating_sub(1) / 2;
        #[expect(clippy::cast_precision_loss, reason = "counts of pairs lie far below 2^53")]
        let bound = (found.1 * pairs as f64).min(1.0);
        return asked.say(found, Some(bound), pairs, options);
    }
    // The pair's own p is the one in the list, whichever way round it is asked for.
    let all: Vec<_> = sides.iter().map(|sides| sides.p(&counts, options)).collect();
    let place = sides.iter().position(|sides| (sides.a, sides.b) == (a.min(b), Some(a.max(b))))?;
    let adjusted = holm(&all.iter().map(|found| found.1).collect::<Vec<f64>>());
    asked.say(*all.get(place)?, adjusted.get(place).copied(), sides.len(), options)
}

/// "What changed": which of several factors, each given by its cells and options, show any
/// difference. Holm's adjustment goes over the factors first; a factor that survives at
/// `alpha` is judged by pairs at alpha over the number of factors, another answers `None`.
#[must_use]
pub fn changed(factors: &[(&[Cell], Options)], alpha: f64) -> Vec<Option<Family>> {
    #[expect(clippy::cast_precision_loss, reason = "counts of factors lie far below 2^53")]
    let threshold = alpha / factors.len().max(1) as f64;
    let judged: Vec<Family> = factors.iter().map(|(cells, options)| judge(cells, &Options { threshold, ..*options })).collect();
    let overall = holm(&judged.iter().map(|family| family.any_p).collect::<Vec<f64>>());
    judged.into_iter().zip(overall).map(|(family, p)| (p < alpha).then_some(family)).collect()
}

/// The levels with enough shells and what is compared.
struct Members {
    levels: Vec<usize>,
    kind: Kind,
    sides: Vec<Sides>,
}

impl Members {
    fn new(counts: &Counts) -> Self {
        let levels: Vec<usize> = counts.levels().filter(|(_, arm)| arm.of() >= LEAST_SHELLS).map(|(level, _)| level).collect();
        if levels.len() > MOST_IN_PAIRS || counts.overlap() {
            let sides = levels.iter().map(|a| Sides::new(counts, *a, None)).collect();
            return Self { levels, kind: Kind::EachWithTheRest, sides };
        }
        let pairs = levels.iter().enumerate().flat_map(|(at, a)| levels.iter().skip(at + 1).map(move |b| (*a, *b)));
        let sides = pairs.map(|(a, b)| Sides::new(counts, a, Some(b))).collect();
        Self { levels, kind: Kind::Pairs, sides }
    }
}
