//! Jobs like the one asked for.

use super::super::special::t_quantile;

/// Bandwidth of ln mass to begin with: at e^½ = 1.65 times the mass a job counts 0.61.
pub const BANDWIDTH: f64 = 0.5;
/// Widened by this factor until enough count.
const WIDENING: f64 = 1.5;
/// So many jobs should count in effect.
pub const ENOUGH: f64 = 8.0;
/// Most widenings: to 5.7, where a job of a hundred times the mass still counts 0.72. With
/// fewer than eight jobs there never are enough; then all count nearly alike.
const MOST_WIDENINGS: u32 = 6;

/// How much each job counts.
#[derive(Clone, PartialEq, Debug)]
pub struct Kernel {
    /// exp(−(ln(m ∕ m₀) ∕ h)² ∕ 2) for each job, between 0 and 1.
    pub weights: Vec<f64>,
    /// How many jobs count in effect, (Σw)² ∕ Σw² (Kish 1965); 0 where none is near.
    pub effective: f64,
    /// The bandwidth h.
    pub bandwidth: f64,
}

impl Kernel {
    /// The weights at a bandwidth. `None` where a mass, the target or the bandwidth is not
    /// above 0.
    #[must_use]
    pub fn new(masses: &[f64], target: f64, bandwidth: f64) -> Option<Self> {
        let usable = |value: f64| value > 0.0 && value.is_finite();
        if !masses.iter().chain([&target, &bandwidth]).all(|value| usable(*value)) {
            return None;
        }
        Some(Self::weighing(
            masses.iter().map(|mass| (-((mass / target).ln() / bandwidth).powi(2) / 2.0).exp()).collect(),
            bandwidth,
        ))
    }

    /// Jobs whose weights are known, such as those of a kernel of which something is on record.
    /// `None` where a weight is below 0 or not finite.
    #[must_use]
    pub fn weighted(weights: Vec<f64>, bandwidth: f64) -> Option<Self> {
        weights.iter().all(|w| *w >= 0.0 && w.is_finite()).then(|| Self::weighing(weights, bandwidth))
    }

    fn weighing(weights: Vec<f64>, bandwidth: f64) -> Self {
        let (sum, squares) = weights.iter().fold((0.0, 0.0), |(sum, squares), w| (sum + w, squares + w * w));
        let effective = if squares > 0.0 { sum * sum / squares } else { 0.0 };
        Self { weights, effective, bandwidth }
    }

    /// The weights at a bandwidth of ½, widened by 1.5 until eight jobs count in effect, six
    /// times at most.
    #[must_use]
    pub fn widened(masses: &[f64], target: f64) -> Option<Self> {
        let mut kernel = Self::new(masses, target, BANDWIDTH)?;
        for _ in 0..MOST_WIDENINGS {
            if kernel.effective >= ENOUGH {
                break;
            }
            kernel = Self::new(masses, target, kernel.bandwidth * WIDENING)?;
        }
        Some(kernel)
    }

    /// The weighted mean.
    fn mean(&self, values: impl Iterator<Item = f64>) -> f64 {
        let sum: f64 = self.weights.iter().sum();
        if sum > 0.0 { self.weights.iter().zip(values).map(|(w, value)| w * value).sum::<f64>() / sum } else { 0.0 }
    }

    /// Whether a value above 0 goes with every weight.
    fn goes_with(&self, values: &[f64]) -> bool {
        values.len() == self.weights.len() && values.iter().all(|value| *value > 0.0 && value.is_finite())
    }
}

/// What was known of a driver, such as poured over net mass, before any job.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Prior {
    /// Its median.
    pub median: f64,
    /// For how many jobs the median counts.
    pub count: f64,
    /// Spread of ln between jobs.
    pub scale: f64,
    /// For how many jobs the spread counts.
    pub freedom: f64,
}

/// A driver of the next job: ln is Student's t.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Driver {
    /// The jobs' own weighted geometric mean; none where none counts.
    pub own: Option<f64>,
    /// The median, between the jobs' and the prior's.
    pub median: f64,
    /// Scale of ln of the next job.
    pub scale: f64,
    /// Degrees of freedom.
    pub freedom: f64,
}

/// The next job's driver from weighted jobs and a prior: normal–inverse-gamma on ln with n the
/// effective count (Gelman et al., *Bayesian Data Analysis*, 3rd ed., section 3.3):
/// κ = κ₀ + n, ν = ν₀ + n, νs² = ν₀s₀² + Σ + κ₀n(ȳ − μ₀)² ∕ κ with Σ = n times the weighted
/// variance, and the next job's scale s √(1 + 1 ∕ κ).
///
/// `None` where values and weights do not go together or the prior is not above 0.
#[must_use]
pub fn driver(values: &[f64], kernel: &Kernel, prior: Prior) -> Option<Driver> {
    let Prior { median, count, scale, freedom } = prior;
    let known = [median, count, scale, freedom].iter().all(|value| *value > 0.0 && value.is_finite());
    if !known || !kernel.goes_with(values) {
        return None;
    }
    let n = kernel.effective;
    let mean = kernel.mean(values.iter().map(|value| value.ln()));
    let variance = kernel.mean(values.iter().map(|value| (value.ln() - mean).powi(2)));
    let (counts, freedoms, before) = (count + n, freedom + n, median.ln());
    let squares = freedom * scale * scale + n * variance + count * n / counts * (mean - before).powi(2);
    Some(Driver {
        own: (n > 0.0).then(|| mean.exp()),
        median: ((count * before + n * mean) / counts).exp(),
        scale: (squares / freedoms * (1.0 + 1.0 / counts)).sqrt(),
        freedom: freedoms,
    })
}

impl Driver {
    /// The value the next job stays below with chance `p`, 0 < p < 1.
    #[must_use]
    pub fn quantile(&self, p: f64) -> Option<f64> {
        let t = if p >= 0.5 { t_quantile(p, self.freedom)? } else { -t_quantile(1.0 - p, self.freedom)? };
        Some(self.median * (t * self.scale).exp())
    }
}

/// Minutes of work at a mass.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct MinutesFit {
    /// The exponent of mass.
    pub slope: f64,
    /// The median at the mass asked for.
    pub median: f64,
}

/// Minutes at `target` from jobs of other masses: ln minutes on ln mass, weighted, with the
/// slope drawn towards a prior one as ridge regression does, (κ b₀ + Sxy) ∕ (κ + Sxx), where
/// the sums are the effective count times weighted moments. With jobs of one mass the prior
/// slope alone carries them over.
///
/// `None` where lists do not go together, a value is not above 0, or no job counts.
#[must_use]
pub fn minutes(
    masses: &[f64],
    minutes: &[f64],
    kernel: &Kernel,
    target: f64,
    prior_slope: f64,
    prior_weight: f64,
) -> Option<MinutesFit> {
    let usable = kernel.goes_with(masses) && kernel.goes_with(minutes) && target > 0.0 && prior_weight > 0.0;
    if !usable || kernel.effective <= 0.0 || !prior_slope.is_finite() || !target.is_finite() {
        return None;
    }
    let n = kernel.effective;
    let (mean_x, mean_y) = (kernel.mean(masses.iter().map(|m| m.ln())), kernel.mean(minutes.iter().map(|m| m.ln())));
    let squares = n * kernel.mean(masses.iter().map(|m| (m.ln() - mean_x).powi(2)));
    let products = n * kernel.mean(masses.iter().zip(minutes).map(|(x, y)| (x.ln() - mean_x) * (y.ln() - mean_y)));
    let slope = (prior_weight * prior_slope + products) / (prior_weight + squares);
    let median = (mean_y + slope * (target.ln() - mean_x)).exp();
    median.is_finite().then_some(MinutesFit { slope, median })
}
