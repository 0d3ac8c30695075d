//! The posterior averaged over what the levels have in common.
//!
//! Mean m ~ Beta(½, ½) and precision k with density proportional to (k + 20)^(−3∕2): with
//! m = sin²(πz∕2) and k = 20 ∕ (1 − u)² − 20 both z and u are uniform on (0, 1). The prior of k
//! puts half its mass below 60, so that a few levels are neither pooled outright nor left
//! alone (a proper, heavy-tailed choice in the manner of Gelman et al., *Bayesian Data
//! Analysis*, 3rd ed., 2013, section 5.3).
//!
//! An equal-mass grid over (z, u) would do; one of 300 × 160 is what the tests compare with.
//! But with large counts the posterior is narrower than its cells. So the mass is looked for
//! first, and nodes are put only there: over √s with s = −ln(1 − u) by Gauss–Legendre (the root
//! sets them close at small k, where the chance of a rate near 0 turns quickly), over z by
//! midpoints at every s. For a fixed k the likelihood is log-concave in m, so its mass has one
//! piece and the search cannot miss it; over s it is scanned in steps of ¼.

use std::collections::BTreeMap;
use std::f64::consts::{FRAC_PI_2, PI};

use super::super::quadrature::gauss_legendre;
use super::mixture::Mixture;
use super::tally::Tallies;
use super::{Level, Shrunken, possible};

/// The k at which its prior density has fallen by the factor 2^(−3∕2).
const PRIOR_SCALE: f64 = 20.0;
/// s is scanned up to here, k = 1.6 × 10¹⁵; the prior mass beyond is 10⁻⁷.
const FARTHEST: f64 = 16.0;
/// Steps of the scan over s.
const SCAN: f64 = 0.25;
/// Log-density below its highest at which mass is left out: e^(−16) of it.
const LEFT_OUT: f64 = 16.0;
/// Nodes below so much of the weightiest are left out.
const NEGLIGIBLE: f64 = 1e-7;
/// From so many different levels on the mass is narrow, and fewer nodes carry it.
const MANY: usize = 400;
/// Most nodes over z at one s.
const MOST_NODES: f64 = 300.0;

/// One point of the hyperposterior.
#[derive(Clone, Copy, Debug)]
pub(super) struct Node {
    /// The mean m.
    pub(super) mean: f64,
    /// 1 − m.
    pub(super) rest: f64,
    /// The precision k.
    pub(super) precision: f64,
    /// Its share of the posterior mass; all sum to 1.
    pub(super) weight: f64,
}

/// The posterior mean and the equal-tailed interval of every level's rate, in the order given,
/// averaged over the posterior of mean and precision (see the module's head).
///
/// `None` where a count exceeds its total or confidence is not within (0, 1). No levels give
/// an empty list; a level of nothing observed gives what a further level may be.
#[must_use]
pub fn shrink(levels: &[Level], confidence: f64) -> Option<Vec<Shrunken>> {
    if !(possible(levels) && confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let mut seen: BTreeMap<Level, Option<Shrunken>> = levels.iter().map(|level| (*level, None)).collect();
    let tallies = Tallies::new(levels);
    let nodes = nodes(&tallies, seen.len() > MANY);
    let widest = 200.0 * tallies.observed.max(100.0);
    for (level, shrunken) in &mut seen {
        *shrunken = Mixture::new(&nodes, *level, widest).summary(confidence);
    }
    levels.iter().map(|level| seen.get(level).copied().flatten()).collect()
}

/// The hyperposterior as weighted nodes; weights sum to 1.
pub(super) fn nodes(tallies: &Tallies, many: bool) -> Vec<Node> {
    let (low, high) = range_of_precision(tallies);
    let (over_s, least) = if many { (14, 16.0) } else { (40, 28.0) };
    let mut nodes = Vec::new();
    let mut highest = f64::NEG_INFINITY;
    for (root, width) in gauss_legendre(over_s, low.sqrt(), high.sqrt()) {
        let (s, width) = (root * root, 2.0 * root * width);
        let slice = Slice::new(tallies, s);
        let (from, to) = slice.range();
        // Close enough for the components of neighbouring nodes to run into each other.
        let k = slice.precision.min(200.0 * tallies.observed.max(100.0));
        let count = ((to - from) * PI * k.sqrt() / 1.5).ceil().clamp(least, MOST_NODES);
        let step = (to - from) / count;
        let mut at = from + step / 2.0;
        while at < to {
            let ln_weight = slice.ln_density(at) + slice.ln_prior + (width * step).ln();
            highest = highest.max(ln_weight);
            let (mean, rest) = mean_at(at);
            nodes.push(Node { mean, rest, precision: slice.precision, weight: ln_weight });
            at += step;
        }
    }
    let share = |node: &Node| (node.weight - highest).exp();
    nodes.retain(|node| share(node) > NEGLIGIBLE);
    let total: f64 = nodes.iter().map(share).sum();
    for node in &mut nodes {
        node.weight = share(node) / total;
    }
    nodes
}

/// The mean m at z, and 1 − m.
fn mean_at(z: f64) -> (f64, f64) {
    let (sine, cosine) = (FRAC_PI_2 * z).sin_cos();
    (sine * sine, cosine * cosine)
}

/// The hyperposterior at one precision.
struct Slice<'a> {
    tallies: &'a Tallies,
    precision: f64,
    /// ln of the prior density of s, e^(−s), and of the likelihood's part of k alone.
    ln_prior: f64,
}

impl<'a> Slice<'a> {
    fn new(tallies: &'a Tallies, s: f64) -> Self {
        let precision = PRIOR_SCALE * (2.0 * s).exp_m1();
        Self { tallies, precision, ln_prior: tallies.of_precision(precision) - s }
    }

    fn ln_density(&self, z: f64) -> f64 {
        let (mean, rest) = mean_at(z);
        self.tallies.of_mean(mean, rest, self.precision)
    }

    /// Where z has its mass.
    fn range(&self) -> (f64, f64) {
        let peak = Peak::find(|z| self.ln_density(z), 0.0, 1.0);
        peak.reach(|z| self.ln_density(z), 0.0, 1.0)
    }

    /// About ln of the slice's mass.
    fn ln_mass(&self) -> f64 {
        let peak = Peak::find(|z| self.ln_density(z), 0.0, 1.0);
        let (from, to) = peak.reach(|z| self.ln_density(z), 0.0, 1.0);
        peak.height + (to - from).ln() + self.ln_prior
    }
}

/// Where s has its mass.
fn range_of_precision(tallies: &Tallies) -> (f64, f64) {
    let mass = |s: f64| Slice::new(tallies, s).ln_mass();
    let mut scanned: Vec<(f64, f64)> = Vec::new();
    let mut highest = f64::NEG_INFINITY;
    let mut s = SCAN / 2.0;
    while s < FARTHEST {
        let here = mass(s);
        highest = highest.max(here);
        scanned.push((s, here));
        // The prior alone falls by s, and the likelihood is flat once k is far above the counts.
        if here < highest - 2.0 * LEFT_OUT && s > 8.0 {
            break;
        }
        s += SCAN;
    }
    let top = scanned.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1)).map_or(SCAN, |(s, _)| s);
    let peak = Peak::find(mass, (top - SCAN).max(1e-6), top + SCAN);
    let (mut low, mut high) = peak.reach(mass, 0.0, FARTHEST);
    for (s, here) in scanned {
        if here > peak.height - LEFT_OUT {
            low = low.min((s - SCAN).max(0.0));
            high = high.max((s + SCAN).min(FARTHEST));
        }
    }
    (low, high)
}

/// The top of a function with one hump, as closely as it takes to measure around it.
struct Peak {
    at: f64,
    height: f64,
    /// How far around the top the function is within a fraction of its height.
    width: f64,
}

impl Peak {
    /// By golden section (Kiefer 1953), until the bracket's ends are near the top in height.
    fn find(f: impl Fn(f64) -> f64, low: f64, high: f64) -> Self {
        const GOLDEN: f64 = 0.618_033_988_749_894_8;
        let (mut a, mut b) = ((low, f(low)), (high, f(high)));
        let inner = |a: f64, b: f64| {
            let x = b - GOLDEN * (b - a);
            (x, f(x))
        };
        let outer = |a: f64, b: f64| {
            let x = a + GOLDEN * (b - a);
            (x, f(x))
        };
        let (mut c, mut d) = (inner(a.0, b.0), outer(a.0, b.0));
        for _ in 0..60 {
            let top = a.1.max(b.1).max(c.1).max(d.1);
            if top - a.1.min(b.1) < 0.3 || b.0 - a.0 < 1e-12 {
                break;
            }
            if c.1 >= d.1 {
                (b, d) = (d, c);
                c = inner(a.0, b.0);
            } else {
                (a, c) = (c, d);
                d = outer(a.0, b.0);
            }
        }
        let top = [a, b, c, d].into_iter().fold(c, |best, point| if point.1 > best.1 { point } else { best });
        Self { at: top.0, height: top.1, width: (b.0 - a.0).max(1e-12) }
    }

    /// How far on either side the function is within [`LEFT_OUT`] of the top.
    fn reach(&self, f: impl Fn(f64) -> f64, low: f64, high: f64) -> (f64, f64) {
        let side = |sign: f64, end: f64| {
            let (mut at, mut step) = (self.at, self.width);
            while (end - at) * sign > 0.0 && self.height - f(at) < LEFT_OUT {
                at += sign * step;
                step *= 1.5;
            }
            if (end - at) * sign > 0.0 { at } else { end }
        };
        (side(-1.0, low), side(1.0, high))
    }
}
