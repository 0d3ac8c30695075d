//! Shrunken rates: beta-binomial fits, tests, posteriors.

use super::super::shrinkage::*;
use super::{Case, cases, planning_cases};

fn levels(case: &Case) -> Vec<Level> {
    let read = |field: &str| -> Vec<u32> {
        case.0["input"][field].as_array().unwrap().iter().map(|v| u32::try_from(v.as_u64().unwrap()).unwrap()).collect()
    };
    read("x").into_iter().zip(read("n")).map(|(count, of)| Level { count, of }).collect()
}

fn fits(case: &Case, fit: BetaFit) {
    let kind = case.0["expected"]["fit"].as_str().unwrap();
    match fit {
        BetaFit::Interior { alpha, beta, mean, correlation } => {
            assert_eq!(kind, "interior", "{}", case.id());
            case.holds("alpha", alpha);
            case.holds("beta", beta);
            case.holds("mean", mean);
            if !case.0["expected"]["rho"].is_null() {
                case.holds("rho", correlation);
            }
        }
        BetaFit::NoExcessVariation { mean } => {
            assert_eq!(kind, "boundary_no_excess_variation", "{}", case.id());
            case.holds("mean", mean);
        }
        BetaFit::AllOrNothing { .. } => panic!("{}: {fit:?}", case.id()),
    }
}

#[test]
fn maximum_likelihood_fits() {
    for case in cases("betabinom_mle") {
        let (fit, ln_likelihood) = maximum_likelihood(&levels(&case)).unwrap();
        fits(&case, fit);
        if !case.0["expected"]["loglik"].is_null() {
            case.holds("loglik", ln_likelihood);
        }
    }
}

#[test]
fn moment_fits() {
    for case in cases("betabinom_moments_unweighted") {
        let got = moments(&levels(&case)).unwrap();
        fits(&case, got.fit);
        case.holds("variance", got.variance);
    }
}

#[test]
fn analysis_of_variance_fits() {
    for case in cases("betabinom_anova_icc") {
        let got = anova(&levels(&case)).unwrap();
        fits(&case, got.fit);
        let field = if case.0["expected"]["rho"].is_null() { "rho_raw" } else { "rho" };
        case.holds(field, got.correlation);
    }
}

#[test]
fn tests_of_excess_variation() {
    for case in cases("overdispersion_tests") {
        let got = overdispersion(&levels(&case)).unwrap();
        case.holds("pearson_chi2", got.chi_squared);
        case.holds("df", got.freedom);
        case.holds("dispersion", got.dispersion);
        case.holds("p_pearson", got.p_pearson);
        case.holds("tarone_z", got.tarone_z.unwrap());
        case.holds("p_tarone_one_sided", got.p_tarone.unwrap());
    }
}

#[test]
fn posteriors_of_a_known_distribution() {
    for case in cases("betabinom_shrink") {
        let level = Level { count: case.count("x"), of: case.count("n") };
        let got = plug_in(case.number("alpha"), case.number("beta"), level, case.number("conf")).unwrap();
        case.holds("posterior_mean", got.mean);
        case.holds("posterior_sd", got.sd);
        case.holds("lower", got.interval.low);
        case.holds("upper", got.interval.high);
        case.holds("shrink_weight_on_own_data", got.own_weight);
    }
}

#[test]
fn averaged_posteriors() {
    for case in planning_cases("betabinom_hyperprior") {
        let got = shrink(&levels(&case), 0.95).unwrap();
        let list = |field: &str| case.0["expected"][field].as_array().unwrap().clone();
        for (field, value) in [
            ("mean", (|s: &Shrunken| s.mean) as fn(&Shrunken) -> f64),
            ("lower", |s: &Shrunken| s.low),
            ("upper", |s: &Shrunken| s.high),
        ] {
            assert_eq!(list(field).len(), got.len());
            for (want, got) in list(field).iter().zip(&got) {
                // One end is the lowest rate the reference's own search looks at; the quantile
                // is near 5e-9. Below the floor both say the floor.
                if want.as_f64().unwrap() < RATE_FLOOR {
                    assert!((value(got) / RATE_FLOOR - 1.0).abs() < 1e-9, "{} {field}", case.id());
                } else {
                    case.close(field, value(got), want);
                }
            }
        }
    }
}
