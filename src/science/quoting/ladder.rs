//! What comparables say, drawn towards what the shop's record says, drawn towards a handbook.

use super::basis::{Basis, Beyond};
use super::model::{Comparable, Handbook, above_zero};
use crate::science::statistics::quoting::{Driver, Kernel, Prior, driver, minutes};

/// For how many jobs what was known before counts, its median and its spread.
const PRIOR_COUNT: f64 = 4.0;
const PRIOR_FREEDOM: f64 = 4.0;
/// How much the slope of mass to begin with weighs, against Σ(ln m − mean)².
const SLOPE_WEIGHT: f64 = 0.5;
/// Without a handbook the record's own median is the prior one, and counts for nothing.
const NOTHING: f64 = 1e-6;
/// Without a handbook, the spread of ln between jobs to begin with. Common practice, no source.
const UNKNOWN_SCALE: f64 = 0.5;

/// What one thing is likely to be in the next job.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Rung {
    /// Its ln is Student's t.
    pub driver: Driver,
    /// The exponent of mass.
    pub slope: f64,
    /// How many comparables it rests on, in effect.
    pub effective: f64,
    /// How many of the record it rests on.
    pub on_record: usize,
}

/// Values above 0 with their masses and weights.
#[derive(Default)]
struct Known {
    masses: Vec<f64>,
    values: Vec<f64>,
    weights: Vec<f64>,
}

impl Known {
    fn push(&mut self, past: &Comparable, value: Option<f64>, weight: f64) {
        if let Some(value) = value.filter(|value| above_zero(*value) && above_zero(past.mass_kg)) {
            self.masses.push(past.mass_kg);
            self.values.push(value);
            self.weights.push(weight);
        }
    }

    /// Values as they would be at the mass asked for.
    fn carried(&self, target: f64, slope: f64) -> Vec<f64> {
        if slope == 0.0 {
            return self.values.clone();
        }
        self.masses.iter().zip(&self.values).map(|(mass, value)| value * (target / mass).powf(slope)).collect()
    }

    fn slope(&self, kernel: &Kernel, target: f64, prior: Option<f64>) -> f64 {
        prior.map_or(0.0, |b| minutes(&self.masses, &self.values, kernel, target, b, SLOPE_WEIGHT).map_or(b, |fit| fit.slope))
    }
}

/// What is done never grows as mass gets less, nor much faster than mass.
const EXPONENTS: (f64, f64) = (0.0, 1.2);
/// How unsure an exponent is where it carries beyond the masses on record. Common practice, no source.
const EXPONENT_UNSURE: f64 = 0.2;

fn held(slope: f64) -> f64 {
    slope.clamp(EXPONENTS.0, EXPONENTS.1)
}

/// Comparables → shop → handbook. The shop's driver takes every one of the record at weight 1,
/// carried over to the mass asked for by a slope fitted to them ([`minutes`], from the slope
/// given, none where mass does not matter), with the handbook for four jobs ([`driver`]). Its
/// median and scale between jobs are the prior for the comparables' own, again for four, and its slope that
/// of theirs. Without a handbook the record's own geometric mean stands in for it and counts
/// for nothing, with a spread of ½ for four jobs. Exponents are held between 0 and 1.2; beyond the masses on
/// record the spread of ln grows with the ln of the distance.
///
/// `None` where neither a handbook nor a value above 0 is known, or a figure leaves all bounds.
pub(super) fn ladder(
    record: &[Comparable],
    basis: &Basis,
    target: f64,
    slope: Option<f64>,
    handbook: Option<Handbook>,
    value: impl Fn(&Comparable) -> Option<f64>,
) -> Option<Rung> {
    let (mut shop, mut near) = (Known::default(), Known::default());
    for past in record {
        shop.push(past, value(past), 1.0);
    }
    for (i, weight) in &basis.members {
        if let Some(past) = record.get(*i) {
            near.push(past, value(past), *weight);
        }
    }
    let everyone = Kernel::weighted(std::mem::take(&mut shop.weights), basis.bandwidth)?;
    let kernel = Kernel::weighted(std::mem::take(&mut near.weights), basis.bandwidth)?;
    let shop_slope = held(shop.slope(&everyone, target, slope));
    let carried = shop.carried(target, shop_slope);
    let before = match handbook {
        Some(known) => Prior {
            median: known.at_one_kg * target.powf(slope.unwrap_or(0.0)),
            count: PRIOR_COUNT,
            scale: known.scale,
            freedom: PRIOR_FREEDOM,
        },
        None if carried.is_empty() => return None,
        None => Prior {
            median: (carried.iter().map(|v| v.ln()).sum::<f64>() / carried.len() as f64).exp(),
            count: NOTHING,
            scale: UNKNOWN_SCALE,
            freedom: PRIOR_FREEDOM,
        },
    };
    let level = driver(&carried, &everyone, before)?;
    let near_slope = held(near.slope(&kernel, target, slope.map(|_| shop_slope)));
    // Between jobs: how uncertain the level itself is comes in once, with the comparables.
    let between = level.scale / (1.0 + 1.0 / (before.count + everyone.effective)).sqrt();
    let prior = Prior { median: level.median, count: PRIOR_COUNT, scale: between, freedom: PRIOR_FREEDOM };
    let mut driver = driver(&near.carried(target, near_slope), &kernel, prior)?;
    if slope.is_some()
        && let Some(Beyond::BelowLeast(factor) | Beyond::AboveMost(factor)) = basis.beyond
    {
        driver.scale += EXPONENT_UNSURE * factor.ln();
    }
    let usable = above_zero(driver.median) && driver.scale.is_finite() && driver.freedom.is_finite();
    usable.then_some(Rung { driver, slope: near_slope, effective: kernel.effective, on_record: carried.len() })
}
