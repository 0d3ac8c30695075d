//! The cases of control charts.

use serde_json::Value;

use super::super::charts::p_chart::{at_least, at_most};
use super::super::charts::*;
use super::{Case, cases};

impl Case {
    fn list(&self, field: &str) -> Vec<f64> {
        self.0["input"][field].as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
    }
    /// Places from 1 as expected, against places from 0.
    fn places(&self, field: &str, got: &[usize]) {
        let want: Vec<usize> = serde_json::from_value(self.0["expected"][field].clone()).unwrap();
        assert_eq!(got.iter().map(|at| at + 1).collect::<Vec<_>>(), want, "{} {field}", self.id());
    }
    fn each(&self, field: &str, got: &[f64]) {
        let want: &Vec<Value> = self.0["expected"][field].as_array().unwrap();
        assert_eq!(got.len(), want.len(), "{} {field}", self.id());
        for (got, want) in got.iter().zip(want) {
            self.close(field, *got, want);
        }
    }
}

fn places(list: &[f64], holds: impl Fn(usize, f64) -> bool) -> Vec<usize> {
    list.iter().enumerate().filter(|(at, v)| holds(*at, **v)).map(|(at, _)| at).collect()
}

#[test]
fn g_charts() {
    for case in cases("g_chart") {
        let gaps: Vec<u32> = serde_json::from_value(case.0["input"]["gaps"].clone()).unwrap();
        let got = g_limits(&gaps, case.number("alpha")).unwrap();
        let (lower, upper) = g_three_sigma(got.mean_gap, case.number("k"));
        case.holds("mean_gap", got.mean_gap);
        case.holds("p_hat", got.p);
        case.holds("ucl_3sigma", upper);
        case.holds("lcl_3sigma", lower);
        let want = |field: &str| case.0["expected"][field].as_u64();
        assert_eq!(Some(got.upper), want("ucl_prob"), "{}", case.id());
        assert_eq!(Some(got.lower), want("lcl_prob"), "{}", case.id());
        assert_eq!(got.zeros_to_signal, want("zeros_in_a_row_to_signal"), "{}", case.id());
        let which = |beyond: &dyn Fn(u64) -> bool| {
            gaps.iter().enumerate().filter(|(_, g)| beyond(u64::from(**g))).map(|(at, _)| at).collect::<Vec<_>>()
        };
        case.places("above_ucl_prob", &which(&|gap| gap > got.upper));
        case.places("below_lcl_prob", &which(&|gap| gap < got.lower));
    }
}

#[test]
fn t_charts() {
    for case in cases("t_chart_nelson") {
        let got = t_chart(&case.list("times"), case.number("k")).unwrap();
        case.holds("mean_y", got.mean_y);
        case.holds("mean_moving_range_y", got.mean_moving_range_y);
        case.holds("ucl", got.upper);
        case.holds("center", got.centre);
        case.holds("lcl", got.lower);
        case.places("above", &got.above);
        case.places("below", &got.below);
    }
}

fn groups(case: &Case) -> Vec<Group> {
    let counts = |field: &str| -> Vec<u32> { serde_json::from_value(case.0["input"][field].clone()).unwrap() };
    counts("n").into_iter().zip(counts("defective")).map(|(n, count)| Group { n, count }).collect()
}

fn rates_within(case: &Case, groups: &[Group], p: f64, sigma_z: f64) {
    let limits: Vec<Limits> = groups.iter().map(|g| three_sigma_limits(p, g.n, case.number("k"), sigma_z).unwrap()).collect();
    let lower: Vec<f64> = limits.iter().map(|l| l.lower).collect();
    let upper: Vec<f64> = limits.iter().map(|l| l.upper).collect();
    case.holds("center", p);
    case.each("lcl", &lower);
    case.each("ucl", &upper);
    let rates: Vec<f64> = groups.iter().map(|g| f64::from(g.count) / f64::from(g.n)).collect();
    case.places("above", &places(&rates, |at, rate| rate > upper[at]));
    case.places("below", &places(&rates, |at, rate| rate < lower[at]));
}

#[test]
fn p_charts() {
    for case in cases("p_chart") {
        let groups = groups(&case);
        rates_within(&case, &groups, pooled_rate(&groups).unwrap(), 1.0);
    }
}

#[test]
fn laney_p_charts() {
    for case in cases("laney_p_chart") {
        let groups = groups(&case);
        let p = pooled_rate(&groups).unwrap();
        let sigma_z = sigma_z(&groups, p).unwrap();
        case.holds("sigma_z", sigma_z);
        rates_within(&case, &groups, p, sigma_z);
    }
}

#[test]
fn ewma_charts() {
    for case in cases("ewma_chart") {
        let made = Ewma {
            lambda: case.number("lam"),
            target: case.number("target"),
            sigma: case.number("sigma"),
            reach: case.number("L"),
            exact_limits: case.0["input"]["exact_limits"].as_bool().unwrap(),
        };
        let got = ewma_chart(&case.list("x"), &made).unwrap();
        case.each("ewma", &got.iter().map(|p| p.ewma).collect::<Vec<_>>());
        case.each("ucl", &got.iter().map(|p| p.upper).collect::<Vec<_>>());
        case.each("lcl", &got.iter().map(|p| p.lower).collect::<Vec<_>>());
        let out: Vec<usize> = got.iter().enumerate().filter(|(_, p)| p.out).map(|(at, _)| at).collect();
        case.places("out", &out);
    }
}

fn patterns(method: &str, prefix: &str, rules: &[Rule]) {
    for case in cases(method) {
        let values = case.list("x");
        let marks = run_rules(&values, case.number("center"), case.number("sigma"), rules).unwrap();
        assert_eq!(marks.len(), values.len());
        for (number, rule) in (1..).zip(rules) {
            let found: Vec<usize> = marks.iter().enumerate().filter(|(_, m)| m.contains(rule)).map(|(at, _)| at).collect();
            case.places(&format!("{prefix}{number}"), &found);
        }
    }
}

#[test]
fn nelsons_rules() {
    patterns("nelson_rules", "rule", &Rule::NELSON);
}

#[test]
fn western_electric_rules() {
    patterns("western_electric_rules", "we", &Rule::WESTERN_ELECTRIC);
}

#[test]
fn tails_of_counts() {
    for case in cases("binom_tail") {
        let (x, n, p) = (case.count("x"), case.count("n"), case.number("p"));
        let got = if case.0["input"]["side"] == "ge" { at_least(x, n, p) } else { at_most(x, n, p) };
        case.holds("prob", got.unwrap());
    }
}
