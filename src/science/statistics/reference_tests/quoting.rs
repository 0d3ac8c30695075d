//! The pieces of a quote.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value;

use super::super::quoting::*;
use super::{Case, planning_cases};

fn input(case: &Case, field: &str) -> Vec<f64> {
    case.0["input"][field].as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

fn kernel(case: &Case) -> Kernel {
    Kernel::new(&input(case, "mass_kg"), case.number("target_kg"), case.number("h")).unwrap()
}

#[test]
fn jobs_like_it() {
    for case in planning_cases("kernel_weights_and_shrinkage") {
        let kernel = kernel(&case);
        let want = case.0["expected"]["weights"].as_array().unwrap();
        assert_eq!(want.len(), kernel.weights.len());
        for (got, want) in kernel.weights.iter().zip(want) {
            case.close("weights", *got, want);
        }
        case.holds("n_eff", kernel.effective);
        let prior = |field: &str| case.0["input"]["prior"][field].as_f64().unwrap();
        let prior = Prior { median: prior("median"), count: prior("k0"), scale: prior("s0"), freedom: prior("nu0") };
        let got = driver(&input(&case, "poured_to_net"), &kernel, prior).unwrap();
        case.holds("weighted_geo_mean", got.own.unwrap());
        case.holds("shrunk_median", got.median);
        case.holds("predictive_scale_ln", got.scale);
        case.holds("nu", got.freedom);
    }
}

#[test]
fn minutes_of_work() {
    for case in planning_cases("loglog_with_slope_prior") {
        let (masses, worked) = (input(&case, "mass_kg"), input(&case, "minutes"));
        let got =
            minutes(&masses, &worked, &kernel(&case), case.number("target_kg"), case.number("slope_prior"), case.number("kappa"))
                .unwrap();
        case.holds("slope", got.slope);
        case.holds("median_minutes", got.median);
    }
}

#[test]
fn castings_until_good() {
    for case in planning_cases("truncated_geometric_beta") {
        let got = attempts(case.number("a"), case.number("b"), case.count("max_attempts"), case.count("copies")).unwrap();
        case.holds("mean_p", got.mean_loss);
        case.holds("attempts_per_piece", got.per_piece);
        case.holds("chance_piece_never_good", got.never_good);
        case.holds("castings_mean", got.castings);
        case.holds("castings_sd", got.castings_sd);
        assert!((PRIOR_LOSS.0 + 2.0 - case.number("a")).abs() < 1e-12 && (PRIOR_LOSS.1 + 10.0 - case.number("b")).abs() < 1e-12);
    }
}

#[test]
fn ranges_from_past_quotes() {
    for case in planning_cases("normalised_split_conformal") {
        let calibration = Calibration::new(&input(&case, "scores")).unwrap();
        for (level, want) in case.0["expected"].as_object().unwrap() {
            let got = calibration.promise(level.parse().unwrap(), case.number("median_minor"), case.number("spread_ln")).unwrap();
            for (field, got) in [("low", got.low), ("high", got.high), ("at_most", got.at_most)] {
                match &want[field] {
                    Value::Null | Value::String(_) => assert_eq!(got, None, "{level} {field}"),
                    want => case.close(field, got.unwrap(), want),
                }
            }
        }
    }
}

/// t with 6 degrees by Bailey's polar form (1994).
fn student(random: &mut ChaCha8Rng) -> f64 {
    let (u, v): (f64, f64) = (1.0 - random.random::<f64>(), random.random());
    (6.0 * (u.powf(-1.0 / 3.0) - 1.0)).sqrt() * (std::f64::consts::TAU * v).cos()
}

#[test]
fn the_last_hundred_keep_their_promise() {
    let cases: Vec<Case> = planning_cases("simulation").into_iter().filter(|case| case.id() == "quote.rolling").collect();
    assert_eq!(cases.len(), 1);
    for case in cases {
        let (start, jobs, repeats) = (case.count("start"), case.count("jobs"), 150_u32);
        assert_eq!(case.count("window") as usize, WINDOW);
        let mut random = ChaCha8Rng::seed_from_u64(4);
        let shops: Vec<f64> = (0..repeats)
            .map(|_| {
                let mut scores: Vec<f64> = (0..start).map(|_| student(&mut random)).collect();
                let mut held = 0.0;
                for _ in 0..jobs {
                    let promise = Calibration::new(&scores).unwrap().promise(case.number("level"), 1.0, 1.0).unwrap();
                    let score = student(&mut random);
                    held += f64::from(u8::from(promise.low.unwrap() <= score.exp() && score.exp() <= promise.high.unwrap()));
                    scores.push(score);
                }
                held / f64::from(jobs)
            })
            .collect();
        let mean = shops.iter().sum::<f64>() / f64::from(repeats);
        let sd = (shops.iter().map(|share| (share - mean).powi(2)).sum::<f64>() / f64::from(repeats - 1)).sqrt();
        println!("rolling coverage {mean:.4}, sd {sd:.4}");
        case.holds("coverage_mean", mean);
        case.holds("coverage_sd", sd);
        // The tolerance of the case suits the standard deviation; the mean is known better.
        assert!((mean - 0.8018).abs() < 0.005, "{mean}");
    }
}
