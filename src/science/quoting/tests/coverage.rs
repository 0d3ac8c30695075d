//! Ranges hold what they say, over shops whose truth is known, from the first job on.

use super::shops::{Truth, movers, shop};
use super::*;

const DRAWS: u32 = 200;

fn tested(truth: Truth, seed: u64) -> Vec<Tested> {
    back_test(&shop(truth, seed), &movers(), DRAWS, seed, &mut |_| {})
}

/// Share of 80 % ranges that held, two-sided and one-sided, over shops, and the mean over shops
/// of the median of ln(actual ∕ median quoted) from the hundredth finished job on.
fn over_shops(truth: Truth, shops: u64) -> (f64, f64, f64) {
    let (mut held, mut at_most, mut bias) = ([0, 0], [0, 0], 0.0);
    for seed in 0..shops {
        let jobs = tested(truth, 1_000 + seed);
        assert_eq!(jobs.len(), truth.jobs);
        let share = summary(&jobs);
        held = [held[0] + share.held[1], held[1] + share.held_of[1]];
        at_most = [at_most[0] + share.at_most[1], at_most[1] + share.at_most_of[1]];
        let settled: Vec<Tested> = jobs.into_iter().filter(|job| job.calibrated_on >= 100).collect();
        bias += summary(&settled).bias.unwrap();
    }
    let share = |[of, all]: [usize; 2]| of as f64 / all as f64;
    let got = (share(held), share(at_most), bias / shops as f64);
    println!("two-sided {:.4}, one-sided {:.4}, bias {:.4}", got.0, got.1, got.2);
    got
}

fn holds(truth: Truth, shops: u64) {
    let (two, one, bias) = over_shops(truth, shops);
    assert!((0.78..=0.82).contains(&two), "two-sided {two}");
    assert!((0.78..=0.82).contains(&one), "one-sided {one}");
    // A step that nobody knows of is a bias while it is new.
    assert!(truth.step > 1.0 || bias.abs() <= 0.03, "bias {bias}");
}

const STEADY: Truth = Truth { jobs: 500, wrong: 1.0, late: 0, step: 1.0, plain: false };

#[test]
fn eighty_of_a_hundred_hold() {
    holds(STEADY, 6);
}

#[test]
fn eighty_hold_when_answers_come_late() {
    holds(Truth { late: 20, ..STEADY }, 6);
}

#[test]
fn eighty_hold_when_costs_step_up() {
    holds(Truth { step: 1.22, ..STEADY }, 6);
}

#[test]
#[ignore = "long form, run nightly"]
fn eighty_hold_over_many_shops() {
    for wrong in [0.8, 1.0, 1.5] {
        // Late answers or a step, not both: then "at most" held in 77.3 % of jobs (two-sided 78.8 %),
        // as twenty jobs more are quoted before anyone can know.
        for (late, step) in [(0, 1.0), (20, 1.0), (0, 1.22)] {
            println!("spread {wrong}, late {late}, step {step}");
            holds(Truth { wrong, late, step, ..STEADY }, 60);
        }
    }
}

/// Finished jobs; least and most coverage of "80 %" then: the handbook's spread being right or
/// wrong by 0.8 to 1.5, it begins too wide and comes down to what it says.
const BY_JOBS: [(usize, f64, f64); 5] = [(0, 0.89, 0.99), (5, 0.84, 0.99), (10, 0.84, 0.92), (20, 0.78, 0.84), (100, 0.78, 0.82)];

/// Noise between jobs, in handbook's spreads, at which the score of a new shop's first quote has
/// this spread: it quotes t₄ with the scale √(1 + 1 ∕ 4), 10 to 90 % of it over 2.563, and its own
/// median lies off by half a spread.
fn noise(score: f64) -> f64 {
    let quoted = 1.25_f64.sqrt() * 1.533_206 / 1.281_552;
    ((score * quoted).powi(2) - 0.25).sqrt()
}

/// Coverage with so many finished jobs, over shops of each spread; bounds give way by so many
/// standard errors. A full shop's first quotes are wider than they need be, as they draw the
/// handbook's spread and the chance of failure as hardly known: their scores spread less than
/// 0.8, so that the most that is borne is asked of it from ten jobs on only.
fn by_jobs(places: &[(usize, f64, f64)], shops: u64, errors: f64, plain: bool) {
    let most = places.iter().map(|(n, _, _)| *n).max().unwrap();
    let mut broken = Vec::new();
    for spread in [0.8, 1.0, 1.5] {
        let wrong = if plain { noise(spread) } else { spread };
        let truth = Truth { jobs: most + 1, wrong, late: 0, step: 1.0, plain };
        let mut held = vec![0.0; places.len()];
        let mut squares = vec![0.0; places.len()];
        for seed in 0..shops {
            let jobs = tested(truth, 50_000 + seed);
            for (((n, _, _), held), squares) in places.iter().zip(&mut held).zip(&mut squares) {
                assert_eq!(jobs[*n].calibrated_on, *n);
                *held += f64::from(u8::from(summary(&jobs[*n..=*n]).held[1] == 1)) / shops as f64;
                *squares += jobs[*n].score.unwrap().powi(2) / shops as f64;
            }
        }
        for (((n, least, most), share), square) in places.iter().zip(held).zip(squares) {
            let said = format!("{n} jobs, spread {spread}, plain {plain}: {share:.4}, scores {:.3}", square.sqrt());
            println!("{said}");
            let give = |p: f64| errors * (p * (1.0 - p) / shops as f64).sqrt();
            // The handbook's spread being half as wide again too narrow, 0.84 at twenty jobs is not
            // kept: scores of the first quotes, whose spread was too narrow, are still among the
            // twenty when the spread has been learnt (0.867 over 300 plain shops). Ranges are then
            // too wide, never too narrow, until those jobs are out of the window.
            let learnt = spread > 1.0 && *n == 20;
            let wide = share > most + give(*most) && (plain || *n >= 10) && !learnt;
            if share < least - give(*least) || wide {
                broken.push(said);
            }
        }
    }
    assert!(broken.is_empty(), "{broken:#?}");
}

#[test]
fn ranges_are_as_wide_as_few_jobs_ask_for() {
    by_jobs(&BY_JOBS[..4], 300, 2.0, true);
}

#[test]
#[ignore = "long form, run nightly"]
fn ranges_are_as_wide_as_few_jobs_ask_for_over_many_shops() {
    by_jobs(&BY_JOBS, 2_000, 2.0, true);
}

#[test]
#[ignore = "long form, run nightly"]
fn a_full_shop_is_as_wide_as_few_jobs_ask_for() {
    by_jobs(&BY_JOBS, 1_000, 2.0, false);
}

#[test]
fn only_what_was_recorded_by_then_counts() {
    let truth = Truth { jobs: 60, wrong: 1.0, late: 3, step: 1.0, plain: false };
    let jobs = shop(truth, 4);
    let run = |jobs: &[Job]| back_test(jobs, &movers(), 50, 9, &mut |_| {});
    let all = run(&jobs);
    // Job j knows of jobs 0 to j − 4.
    assert!(all.iter().all(|one| one.calibrated_on == one.job.saturating_sub(3)));
    // What comes later changes nothing before: as quoted when the later was not there yet.
    let mut changed = jobs.clone();
    for job in &mut changed[30..] {
        job.comparables[0].values = vec![Some(1e6); 4];
        job.finished.as_mut().unwrap().actual *= 50.0;
    }
    let other = run(&changed);
    // The first changed job is known to the thirty-fourth.
    let said = |one: &Tested| (one.median, one.spread, one.ranges);
    assert!(all.iter().zip(&other).all(|(a, b)| (a.job > 33) != (said(a) == said(b))));
    // Any order of the list, the same quotes; open jobs teach nothing and are counted apart.
    let mut open = jobs.clone();
    open[59].finished = None;
    open[59].so_far = 1e12;
    open[58].finished = None;
    open[58].so_far = 0.0;
    let got = summary(&run(&open));
    assert_eq!((got.jobs, got.open, got.open_already_above), (58, 2, 1));
    // What was really quoted is what is scored.
    let mut really = jobs;
    really[40].quoted = Some((12_345.0, 0.5));
    let got = run(&really);
    assert!(got[40].really && near(got[40].median, 12_345.0));
    assert!(near(got[40].score.unwrap(), (got[40].actual.unwrap() / 12_345.0).ln() / 0.5));
    // The next quote's calibration is that of the test at that time.
    let next = calibration(&all, 40_000).unwrap();
    assert_eq!(next.jobs(), all[40].calibrated_on);
    assert_eq!(next.promise(0.8, all[40].median, all[40].spread).unwrap(), all[40].ranges[1]);
    let mut told = Vec::new();
    back_test(&really[..3], &movers(), 5, 9, &mut |done| told.push(done));
    assert_eq!(told, [1, 2, 3]);
}
