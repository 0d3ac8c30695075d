//! Counts of levels, equal ones together: the beta-binomial likelihood costs as many terms as
//! there are different counts, not levels.

use std::collections::BTreeMap;

use super::super::gamma::{digamma_rise, ln_gamma_rise};
use super::Level;

/// Different counts with how often each occurs; zeros are left out, they add nothing.
#[derive(Clone, Debug)]
pub(super) struct Tally(Vec<(f64, f64)>);

impl Tally {
    fn of(counts: impl Iterator<Item = u32>) -> Self {
        let mut seen = BTreeMap::new();
        for count in counts.filter(|count| *count > 0) {
            *seen.entry(count).or_insert(0.0) += 1.0;
        }
        Self(seen.into_iter().map(|(count, times)| (f64::from(count), times)).collect())
    }

    /// Σ ln Γ(a + r) − ln Γ(a) over the counts r.
    pub(super) fn ln_rises(&self, a: f64) -> f64 {
        self.0.iter().map(|(r, times)| times * ln_gamma_rise(a, *r)).sum()
    }

    /// Σ ψ(a + r) − ψ(a) over the counts r.
    pub(super) fn digamma_rises(&self, a: f64) -> f64 {
        self.0.iter().map(|(r, times)| times * digamma_rise(a, *r)).sum()
    }
}

/// All levels, as the likelihood needs them.
#[derive(Clone, Debug)]
pub(super) struct Tallies {
    pub(super) counts: Tally,
    pub(super) rests: Tally,
    pub(super) totals: Tally,
    /// Σ n.
    pub(super) observed: f64,
}

impl Tallies {
    pub(super) fn new(levels: &[Level]) -> Self {
        Self {
            counts: Tally::of(levels.iter().map(|l| l.count)),
            rests: Tally::of(levels.iter().map(|l| l.rest())),
            totals: Tally::of(levels.iter().map(|l| l.of)),
            observed: levels.iter().map(|l| f64::from(l.of)).sum(),
        }
    }

    /// The part of the log-likelihood that holds the mean m (with 1 − m given apart, for its
    /// digits) at precision k: Σ ln B(mk + x, (1 − m)k + n − x) − ln B(mk, (1 − m)k), less the
    /// part of k alone.
    pub(super) fn of_mean(&self, m: f64, rest: f64, k: f64) -> f64 {
        self.counts.ln_rises(m * k) + self.rests.ln_rises(rest * k)
    }

    /// The part of k alone.
    pub(super) fn of_precision(&self, k: f64) -> f64 {
        -self.totals.ln_rises(k)
    }
}
