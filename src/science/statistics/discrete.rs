//! Distributions on whole numbers, kept in a window about their mode.
//!
//! The weights of a log-concave distribution fall off faster than a geometric series on
//! both sides of its mode, so what lies below a stated share of the largest weight can be
//! left out, and a convolution of many costs by their spread, not by their counts.

/// Two outcomes count as equally probable up to this relative difference, which is far
/// above rounding and far below any real difference at sizes that matter.
pub(super) const TIE: f64 = 1e-7;
/// The share of the largest weight below which weights are left out.
pub(super) const KEEP: f64 = 1e-60;
/// The same when an observation lies so far out that the usual window may miss it.
pub(super) const KEEP_ALL: f64 = 1e-290;

/// Weights of successive whole numbers, the largest of them about 1.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct Discrete {
    first: u64,
    weights: Vec<f64>,
}

impl Discrete {
    /// One outcome only.
    pub(super) fn certain(at: u64) -> Self {
        Self { first: at, weights: vec![1.0] }
    }

    /// The distribution on `low..=high` whose successive weights have the ratios
    /// `ratio(k) = w(k + 1) ∕ w(k)`, which must not rise with k.
    pub(super) fn by_ratio(low: u64, high: u64, keep: f64, ratio: impl Fn(u64) -> f64) -> Self {
        let high = high.max(low);
        let mode = mode(low, high, &ratio);
        let mut below = Vec::new();
        let (mut weight, mut at) = (1.0, mode);
        while at > low {
            weight /= ratio(at - 1);
            if weight < keep || !weight.is_finite() {
                break;
            }
            at -= 1;
            below.push(weight);
        }
        let first = at;
        below.reverse();
        let mut weights = below;
        weights.push(1.0);
        (weight, at) = (1.0, mode);
        while at < high {
            weight *= ratio(at);
            if weight < keep || !weight.is_finite() {
                break;
            }
            at += 1;
            weights.push(weight);
        }
        Self { first, weights }
    }

    /// The distribution of the sum of two independent variables.
    pub(super) fn plus(&self, other: &Self, keep: f64) -> Self {
        let (long, short) = if self.weights.len() < other.weights.len() { (other, self) } else { (self, other) };
        let mut sums = vec![0.0; long.weights.len() + short.weights.len() - 1];
        for (i, &one) in short.weights.iter().enumerate() {
            for (sum, &weight) in sums.iter_mut().skip(i).zip(&long.weights) {
                *sum += one * weight;
            }
        }
        let most = sums.iter().copied().fold(0.0, f64::max);
        let kept = |weight: &f64| *weight >= keep * most;
        let skip = sums.iter().position(kept).unwrap_or(0);
        let end = sums.iter().rposition(kept).map_or(sums.len(), |last| last + 1);
        let weights = sums.get(skip..end).unwrap_or_default().iter().map(|weight| weight / most).collect();
        Self { first: self.first + other.first + skip as u64, weights }
    }

    /// How many outcomes the window holds.
    pub(super) fn width(&self) -> usize {
        self.weights.len()
    }

    /// The outcomes and their weights.
    pub(super) fn iter(&self) -> impl Iterator<Item = (u64, f64)> + '_ {
        (self.first..).zip(self.weights.iter().copied())
    }

    /// The weight of one outcome, 0 outside the window.
    pub(super) fn weight(&self, at: u64) -> f64 {
        let index = at.checked_sub(self.first).and_then(|index| usize::try_from(index).ok());
        index.and_then(|index| self.weights.get(index)).copied().unwrap_or(0.0)
    }

    /// The sum of all weights.
    pub(super) fn total(&self) -> f64 {
        self.weights.iter().sum()
    }

    /// Mean and variance.
    pub(super) fn moments(&self) -> (f64, f64) {
        let total = self.total();
        #[expect(clippy::cast_precision_loss, reason = "counts lie far below 2^53")]
        let offset = |k: u64| (k - self.first) as f64;
        let mean = self.iter().map(|(k, w)| offset(k) * w).sum::<f64>() / total;
        let variance = self.iter().map(|(k, w)| (offset(k) - mean).powi(2) * w).sum::<f64>() / total;
        #[expect(clippy::cast_precision_loss, reason = "counts lie far below 2^53")]
        let first = self.first as f64;
        (first + mean, variance)
    }

    /// The chance of at most `at`, and of at least `at`.
    pub(super) fn one_sided(&self, at: u64) -> (f64, f64) {
        let (mut less, mut greater) = (0.0, 0.0);
        for (k, weight) in self.iter() {
            if k <= at {
                less += weight;
            }
            if k >= at {
                greater += weight;
            }
        }
        let total = self.total();
        (less / total, greater / total)
    }

    /// The chance of an outcome no more probable than `at`; equals count (see [`TIE`]).
    pub(super) fn two_sided(&self, at: u64) -> f64 {
        let limit = self.weight(at) * (1.0 + TIE);
        let sum: f64 = self.weights.iter().filter(|weight| **weight <= limit).sum();
        (sum / self.total()).min(1.0)
    }
}

/// The first k whose successor weighs less.
fn mode(low: u64, high: u64, ratio: &impl Fn(u64) -> f64) -> u64 {
    let (mut low, mut high) = (low, high);
    while low < high {
        let middle = low + (high - low) / 2;
        if ratio(middle) < 1.0 {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    low
}

#[cfg(test)]
mod tests {
    use super::*;

    fn binomial(n: u64, odds: f64, keep: f64) -> Discrete {
        #[expect(clippy::cast_precision_loss, reason = "small counts")]
        Discrete::by_ratio(0, n, keep, |k| (n - k) as f64 / (k + 1) as f64 * odds)
    }

    #[test]
    fn binomials_of_one_chance_add_up() {
        let (one, other, both) = (binomial(30, 0.4, KEEP), binomial(50, 0.4, KEEP), binomial(80, 0.4, KEEP));
        let sum = one.plus(&other, KEEP);
        for (k, weight) in both.iter() {
            let (got, want) = (sum.weight(k) / sum.total(), weight / both.total());
            assert!((got / want - 1.0).abs() < 1e-12, "{k}: {got} {want}");
        }
        let (mean, variance) = sum.moments();
        let p = 0.4 / 1.4;
        assert!((mean - 80.0 * p).abs() < 1e-10 && (variance - 80.0 * p * (1.0 - p)).abs() < 1e-10);
    }

    #[test]
    fn the_window_holds_what_matters() {
        let narrow = binomial(1_000_000, 0.05, KEEP);
        assert!(narrow.weights.len() < 10_000, "{}", narrow.weights.len());
        let wide = binomial(1_000_000, 0.05, KEEP_ALL);
        assert!((narrow.total() / wide.total() - 1.0).abs() < 1e-14);
        assert!(wide.weight(42_000) > 0.0 && narrow.weight(42_000) <= 0.0);
    }

    #[test]
    fn equals_count_on_both_sides() {
        let fair = binomial(10, 1.0, KEEP);
        let (less, greater) = fair.one_sided(2);
        assert!((fair.two_sided(2) - 2.0 * less).abs() < 1e-15 && (less - 56.0 / 1024.0).abs() < 1e-15);
        assert!((greater - (1.0 - 11.0 / 1024.0)).abs() < 1e-15);
        assert!((fair.two_sided(5) - 1.0).abs() < 1e-15);
        assert_eq!(Discrete::certain(4).two_sided(4).to_bits(), 1.0_f64.to_bits());
    }
}
