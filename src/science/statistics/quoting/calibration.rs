//! How wide a quote must be, from how far past ones were off.

use super::super::special::t_quantile;

/// So many finished jobs count, the last ones: shops change.
pub const WINDOW: usize = 100;
/// Below so many jobs, scores of a prior are added.
const ALONE_FROM: f64 = 20.0;
/// How many scores the prior has.
const PRIOR_SCORES: u32 = 9;
/// Their spread and degrees of freedom: 1.25 t₄, since a spread from handbooks is too narrow
/// more often than too wide.
const PRIOR_SPREAD: f64 = 1.25;
const PRIOR_FREEDOM: f64 = 4.0;
/// Sums of weights are multiples of 1 ∕ 20 and levels have few decimals: what is nearer than
/// this is equal.
const EQUAL: f64 = 1e-9;

/// Scores of finished jobs, (ln actual − ln median quoted) ∕ spread quoted, as quoted from
/// what was recorded by then.
#[derive(Clone, PartialEq, Debug)]
pub struct Calibration {
    /// Scores with weights, rising.
    scores: Vec<(f64, f64)>,
    jobs: usize,
}

/// The range of a quote at one level. Absent ends are infinite: too few jobs.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Promise {
    /// Lower end of the two-sided range.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
    /// The one-sided bound: "at most".
    pub at_most: Option<f64>,
}

impl Calibration {
    /// From the scores of finished jobs, the latest last; the last hundred count. Below 20 of
    /// them nine quantiles of a prior are added, each with weight 1 − n ∕ 20. `None` where a
    /// score is not finite.
    #[must_use]
    pub fn new(scores: &[f64]) -> Option<Self> {
        if scores.iter().any(|score| !score.is_finite()) {
            return None;
        }
        let last = scores.get(scores.len().saturating_sub(WINDOW)..).unwrap_or(scores);
        let jobs = last.len();
        let mut weighted: Vec<(f64, f64)> = last.iter().map(|score| (*score, 1.0)).collect();
        let weight = 1.0 - jobs as f64 / ALONE_FROM;
        if weight > 0.0 {
            for j in 1..=PRIOR_SCORES {
                let p = (f64::from(j) - 0.5) / f64::from(PRIOR_SCORES);
                let t = if p >= 0.5 { t_quantile(p, PRIOR_FREEDOM)? } else { -t_quantile(1.0 - p, PRIOR_FREEDOM)? };
                weighted.push((PRIOR_SPREAD * t, weight));
            }
        }
        weighted.sort_by(|a, b| a.0.total_cmp(&b.0));
        Some(Self { scores: weighted, jobs })
    }

    /// How many finished jobs it rests on.
    #[must_use]
    pub const fn jobs(&self) -> usize {
        self.jobs
    }

    /// The range at a level around a median, with the spread of ln quoted ((ln q₉₀ − ln q₁₀) ∕
    /// 2.563): normalised split conformal (Vovk, Gammerman & Shafer 2005; Lei et al. 2018). Of n
    /// scores of equal weight it takes ranks ⌊(n + 1) α ∕ 2⌋ and ⌈(n + 1)(1 − α ∕ 2)⌉, one-sided
    /// ⌈(n + 1)(1 − α)⌉; with weights, the score at which their sum, the next job counted as 1,
    /// is reached. `None` unless 0 < level < 1, median > 0 and spread ≥ 0.
    #[must_use]
    pub fn promise(&self, level: f64, median: f64, spread: f64) -> Option<Promise> {
        let usable = level > 0.0 && level < 1.0 && median > 0.0 && median.is_finite() && spread >= 0.0 && spread.is_finite();
        usable.then(|| {
            let at = |score: Option<f64>| score.map(|score| median * (score * spread).exp()).filter(|value| value.is_finite());
            let share = f64::midpoint(1.0, level);
            Promise { low: at(self.downwards(share)), high: at(self.upwards(share)), at_most: at(self.upwards(level)) }
        })
    }

    /// The chance that the next job's score lies above this one: (weight of the scores above, and
    /// that of the next job itself, 1) ∕ (all weight + 1), the conformal p-value (Vovk, Gammerman
    /// & Shafer 2005). It errs upwards, by 1 ∕ (all weight + 1) at most, and agrees with
    /// [`Promise::at_most`]: at that price of a level it is 1 − level or less. `None` for NaN.
    #[must_use]
    pub fn beyond(&self, score: f64) -> Option<f64> {
        let above: f64 = self.scores.iter().filter(|(past, _)| *past > score).map(|(_, weight)| weight).sum();
        (!score.is_nan()).then(|| ((above + 1.0) / self.total()).min(1.0))
    }

    fn total(&self) -> f64 {
        self.scores.iter().map(|(_, weight)| weight).sum::<f64>() + 1.0
    }

    /// The lowest score that this share of the weight lies at or below.
    fn upwards(&self, share: f64) -> Option<f64> {
        reached(self.scores.iter(), share * self.total())
    }

    /// The highest score that this share of the weight lies at or above.
    fn downwards(&self, share: f64) -> Option<f64> {
        reached(self.scores.iter().rev(), share * self.total())
    }
}

fn reached<'a>(mut scores: impl Iterator<Item = &'a (f64, f64)>, wanted: f64) -> Option<f64> {
    let mut sum = 0.0;
    let found = scores.find(|(_, weight)| {
        sum += weight;
        sum >= wanted - EQUAL
    });
    found.map(|(score, _)| *score)
}
