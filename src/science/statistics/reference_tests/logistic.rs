//! Logistic regression: plain, penalised, separated, predicted.

use serde_json::Value;

use super::super::logistic::*;
use super::{Case, cases};

fn design(case: &Case) -> Design {
    let input = &case.0["input"];
    let counts = |field: &str| -> Vec<u32> {
        input[field].as_array().unwrap().iter().map(|v| u32::try_from(v.as_u64().unwrap()).unwrap()).collect()
    };
    let columns: Vec<Column> = input["names"]
        .as_array()
        .unwrap()
        .iter()
        .enumerate()
        .map(|(j, name)| Column {
            name: name.as_str().unwrap().to_owned(),
            values: rows(case).iter().map(|row| row[j]).collect(),
        })
        .collect();
    Design::new(&columns, &counts("successes"), &counts("trials")).unwrap()
}

fn rows(case: &Case) -> Vec<Vec<f64>> {
    let row = |row: &Value| row.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect();
    case.0["input"]["X"].as_array().unwrap().iter().map(row).collect()
}

fn list(case: &Case, field: &str, got: impl Iterator<Item = f64>) {
    let want = case.0["expected"][field].as_array().unwrap();
    let got: Vec<f64> = got.collect();
    assert_eq!(got.len(), want.len(), "{} {field}", case.id());
    for (got, want) in got.into_iter().zip(want) {
        case.close(field, got, want);
    }
}

#[test]
fn plain_fits() {
    for case in cases("logistic_ml") {
        let got = maximum_likelihood(&design(&case)).unwrap();
        list(&case, "coef", got.estimates.iter().copied());
        list(&case, "se", got.standard_errors.iter().copied());
        case.holds("loglik", got.ln_likelihood);
        case.holds("deviance", got.deviance);
    }
}

#[test]
fn separated_data_are_told() {
    for case in cases("separation_check") {
        let got = separation(&design(&case)).unwrap();
        assert_eq!(got.name(), case.0["expected"]["separation"].as_str().unwrap(), "{}", case.id());
    }
}

#[test]
fn penalised_fits() {
    for case in cases("logistic_firth") {
        let design = design(&case);
        let fit = Firth::new(&design).unwrap();
        case.holds("penalized_loglik", fit.penalised_ln_likelihood());
        let got = fit.coefficients(case.number("conf")).unwrap();
        list(&case, "coef", fit.estimates().into_iter());
        list(&case, "coef", got.iter().map(|c| c.estimate));
        list(&case, "ci_lower", got.iter().map(|c| c.low));
        list(&case, "ci_upper", got.iter().map(|c| c.high));
        list(&case, "chi2", got.iter().map(|c| c.chi_squared));
        list(&case, "p", got.iter().map(|c| c.p));
        // What the literature prints, to its own last digit but one.
        if let Some(published) = case.0["published"].as_object() {
            assert_eq!(published.len(), 3 * got.len(), "{}", case.id());
            for (name, printed) in published {
                let (field, index) = name.split_at(name.len() - 1);
                let one = &got[index.parse::<usize>().unwrap()];
                let value = match field {
                    "coef" => one.estimate,
                    "ci_lower" => one.low,
                    _ => one.high,
                };
                assert!((value - printed.as_f64().unwrap()).abs() < 2e-6, "{} {name}", case.id());
            }
        }
    }
}

#[test]
fn predicted_rates() {
    for case in cases("firth_flic_prediction") {
        let design = design(&case);
        let fit = Firth::new(&design).unwrap();
        let flic = Flic::new(&fit).unwrap();
        case.holds("intercept_firth", fit.estimates()[0]);
        case.holds("intercept_flic", flic.intercept());
        case.holds("observed_rate", design.events() / design.observed());
        let rows = rows(&case);
        let trials: Vec<f64> = case.0["input"]["trials"].as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect();
        let mean = |rate: &dyn Fn(&Vec<f64>) -> f64| {
            rows.iter().zip(&trials).map(|(row, n)| n * rate(row)).sum::<f64>() / trials.iter().sum::<f64>()
        };
        case.holds("mean_predicted_firth", mean(&|row| 1.0 / (1.0 + (-fit.predictor(row).unwrap()).exp())));
        case.holds("observed_rate", mean(&|row| flic.rate(row).unwrap()));
        list(&case, "predicted_flic", rows.iter().map(|row| flic.rate(row).unwrap()));
    }
}
