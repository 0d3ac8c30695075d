//! Least squares, robust lines, conformal intervals.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value;

use super::super::regression::*;
use super::{Case, cases, planning_cases};

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

fn input(case: &Case, field: &str) -> Vec<f64> {
    numbers(&case.0["input"][field])
}

fn list(case: &Case, field: &str, got: impl IntoIterator<Item = f64>) {
    let want = case.0["expected"][field].as_array().unwrap();
    let got: Vec<f64> = got.into_iter().collect();
    assert_eq!(got.len(), want.len(), "{} {field}", case.id());
    for (got, want) in got.into_iter().zip(want) {
        case.close(field, got, want);
    }
}

/// Infinite and undefined ends are absent.
fn end(case: &Case, field: &str, got: Option<f64>) {
    match &case.0["expected"][field] {
        Value::String(_) | Value::Null => assert_eq!(got, None, "{} {field}", case.id()),
        _ => case.holds(field, got.unwrap()),
    }
}

fn rank(case: &Case, field: &str, got: usize) {
    assert_eq!(got as u64, case.0["expected"][field].as_u64().unwrap(), "{} {field}", case.id());
}

#[test]
fn certified_least_squares() {
    for case in cases("ols") {
        let rows: Vec<Vec<f64>> = case.0["input"]["X"].as_array().unwrap().iter().map(numbers).collect();
        let columns: Vec<Vec<f64>> = (1..rows[0].len()).map(|j| rows.iter().map(|row| row[j]).collect()).collect();
        let got = least_squares(&columns, &input(&case, "y")).unwrap();
        list(&case, "coef", got.coefficients);
        list(&case, "se", got.standard_errors);
        case.holds("resid_sd", got.residual_sd);
        case.holds("r2", got.r_squared);
    }
}

#[test]
fn predictions_of_a_line() {
    for case in cases("ols_prediction") {
        let line = Line::fit(&input(&case, "x"), &input(&case, "y")).unwrap();
        case.holds("intercept", line.intercept);
        case.holds("slope", line.slope);
        case.holds("resid_sd", line.residual_sd);
        let got: Vec<LinePrediction> =
            input(&case, "x_new").iter().map(|x| line.predict(*x, case.number("conf")).unwrap()).collect();
        list(&case, "fit", got.iter().map(|p| p.fit));
        list(&case, "mean_lower", got.iter().map(|p| p.of_mean.low));
        list(&case, "mean_upper", got.iter().map(|p| p.of_mean.high));
        list(&case, "pred_lower", got.iter().map(|p| p.of_next.low));
        list(&case, "pred_upper", got.iter().map(|p| p.of_next.high));
        assert!(got.last().unwrap().outside);
    }
}

#[test]
fn predictions_of_a_power_law() {
    for case in cases("loglog_prediction") {
        let fit = LogLog::fit(&input(&case, "x"), &input(&case, "y")).unwrap();
        case.holds("log_intercept", fit.line.intercept);
        case.holds("exponent", fit.line.slope);
        case.holds("log_resid_sd", fit.line.residual_sd);
        case.holds("smearing_factor", fit.smearing_factor);
        let got: Vec<LogLogPrediction> =
            input(&case, "x_new").iter().map(|x| fit.predict(*x, case.number("conf")).unwrap()).collect();
        list(&case, "median", got.iter().map(|p| p.median));
        list(&case, "pred_lower", got.iter().map(|p| p.of_next.low));
        list(&case, "pred_upper", got.iter().map(|p| p.of_next.high));
        list(&case, "mean_smearing", got.iter().map(|p| p.mean));
    }
}

#[test]
fn lines_of_theil_and_sen() {
    for case in cases("theil_sen") {
        let got = theil_sen(&input(&case, "x"), &input(&case, "y")).unwrap();
        case.holds("slope", got.slope);
        case.holds("intercept", got.intercept);
    }
}

#[test]
fn regression_quantiles() {
    for case in cases("quantile_regression") {
        let got = quantile_line(&input(&case, "x"), &input(&case, "y"), case.number("tau")).unwrap();
        case.holds("slope", got.slope);
        case.holds("intercept", got.intercept);
        case.holds("loss", got.loss);
    }
}

#[test]
fn split_conformal_intervals() {
    for case in cases("split_conformal") {
        let kind = match case.0["input"]["kind"].as_str().unwrap() {
            "abs" => ScoreKind::Absolute,
            "upper" => ScoreKind::Upper,
            "ratio" => ScoreKind::Ratio,
            other => panic!("{}: {other}", case.id()),
        };
        let got = split_conformal(&input(&case, "scores"), case.number("alpha"), case.number("prediction"), kind).unwrap();
        rank(&case, "k", got.rank);
        end(&case, "q", got.score);
        end(&case, "lower", got.low);
        end(&case, "upper", got.high);
    }
}

#[test]
fn jackknife_plus_intervals() {
    for case in cases("jackknife_plus") {
        let model = match case.0["input"]["model"].as_str().unwrap() {
            "ols_line" => Model::Line,
            "mean" => Model::Mean,
            other => panic!("{}: {other}", case.id()),
        };
        let got =
            jackknife_plus(&input(&case, "x"), &input(&case, "y"), case.number("x_new"), case.number("alpha"), model).unwrap();
        rank(&case, "k_lower", got.ranks.0);
        rank(&case, "k_upper", got.ranks.1);
        end(&case, "lower", got.low);
        end(&case, "upper", got.high);
        end(&case, "plain_jackknife_lower", got.plain.map(|ends| ends.0));
        end(&case, "plain_jackknife_upper", got.plain.map(|ends| ends.1));
        list(&case, "loo_residuals", got.residuals);
        list(&case, "loo_predictions", got.predictions);
    }
}

#[test]
fn coverage_of_split_conformal() {
    for case in cases("conformal_coverage_exact") {
        let got = conformal_coverage(case.count("n") as usize, case.number("alpha")).unwrap().unwrap();
        rank(&case, "k", got.rank);
        case.holds("marginal_coverage", got.marginal);
        case.holds("training_conditional_beta_a", got.shapes().0);
        case.holds("training_conditional_beta_b", got.shapes().1);
        case.holds("conditional_p05", got.quantile(0.05).unwrap());
        case.holds("conditional_p95", got.quantile(0.95).unwrap());
    }
    for case in planning_cases("conformal_coverage_exact") {
        let got = conformal_coverage(case.count("n") as usize, 1.0 - case.number("level")).unwrap().unwrap();
        rank(&case, "k", got.rank);
        case.holds("mean", got.marginal);
        case.holds("q05", got.quantile(0.05).unwrap());
        case.holds("q95", got.quantile(0.95).unwrap());
        case.holds("chance_in_76_84", got.chance_between(0.76, 0.84).unwrap());
    }
}

/// A standard normal draw (Box & Muller 1958).
fn normal(random: &mut ChaCha8Rng) -> f64 {
    let (u, v): (f64, f64) = (1.0 - random.random::<f64>(), random.random());
    (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
}

fn jackknife_coverage(case: &Case, repeats: u32, seed: u64) -> f64 {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    assert_eq!(case.0["input"]["noise"], "normal");
    let mut job = || {
        let x = 10.0 * random.random::<f64>();
        (x, 2.0 + 3.0 * x + normal(&mut random))
    };
    let held = (0..repeats).filter(|_| {
        let (x, y): (Vec<f64>, Vec<f64>) = (0..case.count("n")).map(|_| job()).unzip();
        let (at, truth) = job();
        let got = jackknife_plus(&x, &y, at, case.number("alpha"), Model::Line).unwrap();
        got.low.unwrap() <= truth && truth <= got.high.unwrap()
    });
    held.count() as f64 / f64::from(repeats)
}

#[test]
fn coverage_of_the_jackknife() {
    for case in cases("jackknife_plus_coverage_simulation") {
        let coverage = jackknife_coverage(&case, case.count("repeats_to_run"), 12);
        println!("{}: {coverage}", case.id());
        case.holds("coverage", coverage);
    }
}
