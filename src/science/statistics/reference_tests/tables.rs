//! Two-by-two tables, alone and in strata.

use serde_json::Value;

use super::super::freeman_halton::*;
use super::super::tables::*;
use super::super::trend::*;
use super::super::*;
use super::{Case, cases, planning_cases};

fn count(value: &Value) -> u32 {
    u32::try_from(value.as_u64().unwrap()).unwrap()
}

/// `[[events a, spared a], [events b, spared b]]`.
fn stratum(rows: &Value) -> Stratum {
    let arm = |row: &Value| Arm::new(count(&row[0]), count(&row[0]) + count(&row[1])).unwrap();
    Stratum { a: arm(&rows[0]), b: arm(&rows[1]) }
}

fn strata(case: &Case) -> Vec<Stratum> {
    case.0["input"]["strata"].as_array().unwrap().iter().map(stratum).collect()
}

impl Case {
    /// As [`Case::holds`], where a want of null is none.
    fn holds_or_none(&self, field: &str, got: Option<f64>) {
        match got {
            Some(got) => self.holds(field, got),
            None => assert!(self.0["expected"][field].is_null(), "{} {field}: none", self.id()),
        }
    }
}

#[test]
fn fisher_exact() {
    for case in cases("fisher_exact_2x2") {
        let got = exact_conditional(&[stratum(&case.0["input"]["table"])]);
        case.holds("p_two_sided", got.p);
        case.holds("p_less", got.less);
        case.holds("p_greater", got.greater);
    }
}

#[test]
fn conditional_odds_ratios() {
    for case in cases("fisher_conditional_or") {
        let got = conditional_odds_ratio(&[stratum(&case.0["input"]["table"])], case.number("conf")).unwrap();
        case.holds("odds_ratio", got.value);
        case.holds("lower", got.low);
        case.holds("upper", got.high);
    }
}

#[test]
fn exact_conditional_strata() {
    for case in planning_cases("exact_conditional_stratified_2x2") {
        let list = case.0["input"]["strata_xa_na_xb_nb"].as_array().unwrap();
        let arm = |x: &Value, n: &Value| Arm::new(count(x), count(n)).unwrap();
        let strata: Vec<Stratum> = list.iter().map(|s| Stratum { a: arm(&s[0], &s[1]), b: arm(&s[2], &s[3]) }).collect();
        let got = exact_conditional(&strata);
        case.holds("p", got.p);
        case.holds("expected_under_null", got.expected);
        assert_eq!(case.0["expected"]["observed"].as_u64(), Some(got.observed));
    }
}

#[test]
fn mantel_haenszel_odds_ratios() {
    for case in cases("mantel_haenszel") {
        let got = mantel_haenszel(&strata(&case), case.number("conf")).unwrap();
        let (plain, corrected) = (got.plain.unwrap(), got.corrected.unwrap());
        case.holds("cmh_chi2", plain.chi2);
        case.holds("cmh_p", plain.p);
        case.holds("cmh_chi2_cc", corrected.chi2);
        case.holds("cmh_p_cc", corrected.p);
        case.holds("odds_ratio", got.odds_ratio.value);
        case.holds_or_none("se_log", got.log_se);
        case.holds_or_none("lower", got.log_se.map(|_| got.odds_ratio.low));
        case.holds_or_none("upper", got.log_se.map(|_| got.odds_ratio.high));
    }
}

#[test]
fn breslow_day_tests() {
    for case in cases("breslow_day") {
        let got = breslow_day(&strata(&case)).unwrap();
        case.holds("chi2", got.chi2);
        case.holds("df", f64::from(got.freedom));
        case.holds("p", got.p);
        case.holds("chi2_tarone", got.chi2_tarone);
        case.holds("p_tarone", got.p_tarone);
    }
}

fn doses(case: &Case) -> Vec<Dose> {
    let list = |field: &str| case.0["input"][field].as_array().unwrap().clone();
    let arms = list("x").into_iter().zip(list("n")).map(|(x, n)| Arm::new(count(&x), count(&n)).unwrap());
    arms.zip(list("scores")).map(|(arm, score)| Dose { arm, score: score.as_f64().unwrap() }).collect()
}

#[test]
fn trends() {
    for case in cases("cochran_armitage") {
        let got = cochran_armitage(&doses(&case)).unwrap();
        case.holds("z", got.z);
        case.holds("chi2", got.chi2);
        case.holds("p_two_sided", got.p);
    }
}

#[test]
fn exact_trends() {
    for case in cases("cochran_armitage_exact") {
        let got = cochran_armitage_exact(&doses(&case)).unwrap();
        case.holds("p_two_sided", got.p);
        case.holds("p_increasing", got.p_increasing);
    }
}

fn rows(case: &Case) -> Vec<Vec<u32>> {
    let rows = case.0["input"]["table"].as_array().unwrap();
    rows.iter().map(|row| row.as_array().unwrap().iter().map(count).collect()).collect()
}

#[test]
fn chi_square_of_tables() {
    for case in cases("chi2_homogeneity") {
        let got = pearson(&rows(&case)).unwrap();
        case.holds("chi2", got.chi2);
        case.holds("df", got.freedom);
        case.holds("p", got.p);
        case.holds("min_expected", got.least_expected);
    }
}

#[test]
fn freeman_halton_tests() {
    for case in cases("fisher_freeman_halton") {
        let got = freeman_halton(&rows(&case), 1).unwrap();
        assert_eq!(got.method, Method::Exact, "{}", case.id());
        case.holds("p", got.p);
    }
}
