//! Whether the columns separate the outcomes, so that plain likelihood has no maximum.
//!
//! With a = x for a row with successes only, −x for one with failures only and both for one
//! with both, a direction δ separates if a·δ ≥ 0 for all and > 0 for some (Albert & Anderson,
//! *Biometrika* 71, 1984, 1–10); completely if > 0 for all. Konis (*Linear programming
//! algorithms for detecting separated data*, Oxford 2007) finds it as a linear program:
//! maximise Σ a·δ subject to a·δ ≥ 0 and −1 ≤ δ ≤ 1; and complete separation as the largest t
//! with a·δ ≥ t.
//!
//! No verdict rests on the solver. A direction is multiplied out again; and that there is none
//! is shown by the prices y ≥ 0 of the rows with Σ (1 + y) a = 0, since then
//! Σ (1 + y) a·δ = 0 for every δ, in which no term may be above 0 without another below
//! (Stiemke's alternative). If neither can be shown the question is left open.

use super::design::Design;
use super::simplex::maximise;

/// Rows are scaled to 1 and δ lies in a box of 1: what is below this is rounding.
const ROUNDING: f64 = 1e-8;

/// How far the outcomes are separated.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Separation {
    /// Not: plain likelihood has a maximum.
    None,
    /// Some rows lie on the border, as where one level never had the outcome.
    Quasi,
    /// All rows are told apart by the columns.
    Complete,
}

impl Separation {
    /// As answered.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Quasi => "quasi",
            Self::Complete => "complete",
        }
    }
}

/// Whether the columns of a design separate its outcomes; `None` where rounding leaves it open.
#[must_use]
pub fn separation(design: &Design) -> Option<Separation> {
    let mut sides: Vec<Vec<f64>> = Vec::new();
    let mut mixed = false;
    let rows = design.standardised();
    for ((row, s), n) in rows.iter().zip(design.successes()).zip(design.trials()) {
        let largest = row.iter().fold(0.0_f64, |most, value| most.max(value.abs()));
        let side = |sign: f64| row.iter().map(|value| sign * value / largest).collect::<Vec<f64>>();
        if *s > 0.0 {
            sides.push(side(1.0));
        }
        if s < n {
            sides.push(side(-1.0));
        }
        mixed |= *s > 0.0 && s < n;
    }
    match separating(&sides)? {
        false => Some(Separation::None),
        true if !mixed && completely(&sides) => Some(Separation::Complete),
        true => Some(Separation::Quasi),
    }
}

/// δ = u − w with 0 ≤ u, w ≤ 1, and perhaps t ≤ 1 after them: maximise gain·(δ, t) with
/// −a·δ + t ≤ 0, or without t, for all sides. A program of a few sides at a time: those that
/// its answer violates most are added until it violates none, so that the table stays small and
/// keeps its digits. Answers δ, t (0 without) and the price of each side.
fn solve(sides: &[Vec<f64>], gain: &[f64], with_margin: bool) -> Option<(Vec<f64>, f64, Vec<f64>)> {
    let width = sides.first()?.len();
    let extra = usize::from(with_margin);
    let mut active: Vec<usize> = Vec::new();
    loop {
        let mut rows: Vec<Vec<f64>> = Vec::with_capacity(active.len() + 2 * width + extra);
        let mut bounds = vec![0.0; active.len()];
        for side in &active {
            let a = &sides[*side];
            rows.push(a.iter().map(|v| -v).chain(a.iter().copied()).chain(std::iter::repeat_n(1.0, extra)).collect());
        }
        for variable in 0..2 * width + extra {
            let mut row = vec![0.0; 2 * width + extra];
            row[variable] = 1.0;
            rows.push(row);
            bounds.push(1.0);
        }
        let optimum = maximise(gain, &rows, &bounds)?;
        let delta: Vec<f64> = (0..width).map(|j| optimum.solution[j] - optimum.solution[j + width]).collect();
        let margin = if with_margin { *optimum.solution.last()? } else { 0.0 };
        let mut violated: Vec<(f64, usize)> = sides
            .iter()
            .enumerate()
            .map(|(side, a)| (along(a, &delta) - margin, side))
            .filter(|(slack, side)| *slack < -ROUNDING / 10.0 && !active.contains(side))
            .collect();
        if violated.is_empty() {
            let mut prices = vec![0.0; sides.len()];
            for (side, price) in active.iter().zip(&optimum.prices) {
                prices[*side] = *price;
            }
            return Some((delta, margin, prices));
        }
        violated.sort_by(|a, b| a.0.total_cmp(&b.0));
        active.extend(violated.iter().take(2 * width).map(|(_, side)| side));
    }
}

fn along(a: &[f64], delta: &[f64]) -> f64 {
    a.iter().zip(delta).map(|(a, d)| a * d).sum()
}

/// Whether some direction separates; `None` where neither answer can be shown.
fn separating(sides: &[Vec<f64>]) -> Option<bool> {
    let width = sides.first()?.len();
    let sum: Vec<f64> = (0..width).map(|j| sides.iter().map(|a| a[j]).sum()).collect();
    let gain: Vec<f64> = sum.iter().copied().chain(sum.iter().map(|value| -value)).collect();
    let (delta, _, prices) = solve(sides, &gain, false)?;
    let steps: Vec<f64> = sides.iter().map(|a| along(a, &delta)).collect();
    if steps.iter().sum::<f64>() > ROUNDING * steps.len() as f64 {
        let shown = steps.iter().all(|step| *step > -ROUNDING) && steps.iter().any(|step| *step > ROUNDING);
        return shown.then_some(true);
    }
    let weights: Vec<f64> = prices.iter().map(|price| 1.0 + price).collect();
    let heaviest = weights.iter().copied().fold(1.0, f64::max);
    let balanced = (0..width).all(|j| {
        let left: f64 = sides.iter().zip(&weights).map(|(a, weight)| a[j] * weight).sum();
        left.abs() <= ROUNDING * heaviest * weights.len() as f64
    });
    balanced.then_some(false)
}

/// Whether some direction has every row strictly on its side.
fn completely(sides: &[Vec<f64>]) -> bool {
    let Some(width) = sides.first().map(Vec::len) else { return false };
    let mut gain = vec![0.0; 2 * width + 1];
    gain[2 * width] = 1.0;
    let found = solve(sides, &gain, true);
    found.is_some_and(|(delta, _, _)| sides.iter().all(|a| along(a, &delta) > ROUNDING))
}
