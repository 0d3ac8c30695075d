//! The quick search for an end against the one step by step, and the derivatives against
//! differences.

use nalgebra::DVector;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::super::design::{Column, Design};
use super::*;

/// 95 %.
const FALL: f64 = 3.841_458_820_694_124;

fn some(random: &mut ChaCha8Rng, rows: u32, leaks: f64) -> Design {
    let mut columns: Vec<Column> =
        ["wall", "hot", "quick"].map(|name| Column { name: name.to_owned(), values: Vec::new() }).into();
    let (mut counts, mut totals) = (Vec::new(), Vec::new());
    for _ in 0..rows {
        columns[0].values.push(f64::from(random.random_range(3_u32..12)));
        columns[1].values.push(f64::from(random.random_range(500_u32..800)));
        columns[2].values.push(f64::from(random.random_range(0_u32..2)));
        let total = random.random_range(1_u32..4);
        totals.push(total);
        counts.push((0..total).filter(|_| random.random::<f64>() < leaks).count().try_into().unwrap());
    }
    Design::new(&columns, &counts, &totals).unwrap()
}

#[test]
fn both_searches_find_the_same_ends() {
    let mut random = ChaCha8Rng::seed_from_u64(7);
    for (rows, leaks) in [(6, 0.3), (12, 0.1), (12, 0.9), (30, 0.05), (60, 0.15), (120, 0.02), (120, 0.4)].repeat(6) {
        let design = some(&mut random, rows, leaks);
        let fit = Firth::new(&design).unwrap();
        let mut trail = Trail::default();
        for row in [[3.0, 500.0, 0.0], [4.0, 520.0, 0.0], [7.0, 650.0, 1.0], [12.0, 800.0, 1.0]] {
            // A column may have been dropped where rows are few.
            let weights = design.standard(&row[..design.names().len()]);
            if rows >= 60 {
                for side in [-1.0, 1.0] {
                    let end = quick::end(&fit.likelihood, &fit.top, &DVector::from_column_slice(&weights), FALL, side, None);
                    assert!(end.is_some(), "{rows} rows, {leaks}, {row:?}: left to the search step by step");
                }
            }
            let by_steps = fit.turned(&weights).unwrap().interval(FALL).unwrap();
            let quick = fit.interval(&weights, FALL, &mut trail).unwrap();
            for (a, b) in [(by_steps.0, quick.0), (by_steps.1, quick.1)] {
                assert!((a - b).abs() <= 1e-7 * a.abs().max(1.0), "{rows} rows, {leaks}: {by_steps:?} {quick:?}");
            }
        }
    }
}

#[test]
fn derivatives_are_those_of_the_height() {
    const STEP: f64 = 1e-5;
    let mut random = ChaCha8Rng::seed_from_u64(11);
    for (rows, leaks) in [(9, 0.3), (40, 0.1), (90, 0.5)] {
        let design = some(&mut random, rows, leaks);
        let likelihood = likelihood(&design, design.standardised());
        let beta = DVector::from_fn(likelihood.width(), |i, _| [-1.2, 0.4, -0.7, 0.3][i]);
        let at = |index: usize, step: f64| {
            let mut there = beta.clone();
            there[index] += step;
            likelihood.at(there).unwrap()
        };
        let slope = likelihood.slope(&at(0, 0.0));
        for i in 0..likelihood.width() {
            let rise = (at(i, STEP).height - at(i, -STEP).height) / (2.0 * STEP);
            assert!((rise - slope.score[i]).abs() < 1e-6 * (1.0 + rise.abs()), "{rise} {}", slope.score[i]);
            let (after, before) = (likelihood.slope(&at(i, STEP)).score, likelihood.slope(&at(i, -STEP)).score);
            for j in 0..likelihood.width() {
                let bend = (before[j] - after[j]) / (2.0 * STEP);
                assert!((bend - slope.curvature[(i, j)]).abs() < 1e-6 * (1.0 + bend.abs()), "{bend} {}", slope.curvature[(i, j)]);
            }
        }
    }
}
