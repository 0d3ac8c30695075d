//! The cases of `tests/reference/statistics.json`, each at the tolerance it states.

use serde_json::Value;

use super::*;

mod charts;
mod families;
mod logistic;
mod power;
mod quoting;
mod rates;
mod regression;
mod shrinkage;
mod special;
mod tables;
mod trial;

const CASES: &str = include_str!("../../../../tests/reference/statistics.json");
pub(super) const PLANNING: &str = include_str!("../../../../tests/reference/planning.json");

pub(super) struct Case(Value);

impl Case {
    pub(super) fn number(&self, field: &str) -> f64 {
        self.0["input"][field].as_f64().unwrap_or_else(|| panic!("{}: {field}", self.id()))
    }
    pub(super) fn count(&self, field: &str) -> u32 {
        u32::try_from(self.0["input"][field].as_u64().unwrap()).unwrap()
    }
    pub(super) fn id(&self) -> &str {
        self.0["id"].as_str().unwrap()
    }
    /// `|got − want| ≤ tolerance · max(|got|, |want|)`; a want of 0 within 1e-12.
    pub(super) fn holds(&self, field: &str, got: f64) {
        self.close(field, got, &self.0["expected"][field]);
    }
    pub(super) fn close(&self, field: &str, got: f64, want: &Value) {
        let want = want.as_f64().unwrap_or_else(|| panic!("{}: {field}", self.id()));
        let tolerance = self.0["rel_tol"].as_f64().unwrap();
        let allowed = if want == 0.0 { 1e-12 } else { tolerance * got.abs().max(want.abs()) };
        assert!((got - want).abs() <= allowed, "{} {field}: got {got:e}, want {want:e}", self.id());
    }
}

pub(super) fn cases(method: &str) -> Vec<Case> {
    cases_in(CASES, method)
}

/// The cases of `tests/reference/planning.json`.
pub(super) fn planning_cases(method: &str) -> Vec<Case> {
    cases_in(PLANNING, method)
}

fn cases_in(file: &str, method: &str) -> Vec<Case> {
    let all: Vec<Value> = serde_json::from_str(file).unwrap();
    let found: Vec<Case> = all.into_iter().filter(|c| c["method"] == method).map(Case).collect();
    assert!(!found.is_empty(), "no case of {method}");
    found
}

fn intervals(method: &str, interval: fn(u32, u32, f64) -> Option<Interval>) {
    for case in cases(method) {
        let (x, n) = (case.count("x"), case.count("n"));
        let got = interval(x, n, case.number("conf")).unwrap();
        case.holds("estimate", Rate::new(x, n).unwrap().rate);
        case.holds("lower", got.low);
        case.holds("upper", got.high);
    }
}

#[test]
fn wilson_intervals() {
    intervals("binom_ci_wilson", wilson);
}

#[test]
fn clopper_pearson_intervals() {
    intervals("binom_ci_clopper_pearson", clopper_pearson);
}

#[test]
fn jeffreys_intervals() {
    intervals("binom_ci_jeffreys", jeffreys);
}

#[test]
fn one_sided_bounds() {
    for case in cases("binom_upper_bound_one_sided") {
        let got = upper_bound(case.count("x"), case.count("n"), case.number("conf"));
        case.holds("upper", got.unwrap());
    }
}

#[test]
fn what_is_waiting_is_in_no_denominator() {
    for case in cases("denominator_pending") {
        let (sound, leak) = (case.count("sound"), case.count("leak"));
        let rate = Rate::new(leak, sound + leak).unwrap();
        let waiting = Waiting::of_bad(leak, sound + leak, case.count("pending")).unwrap();
        case.holds("n_known", f64::from(rate.of));
        case.holds("x", f64::from(rate.count));
        case.holds("rate", rate.rate);
        case.holds("wilson_lower", rate.low);
        case.holds("wilson_upper", rate.high);
        case.holds("rate_if_all_pending_sound", waiting.if_all_good);
        case.holds("rate_if_all_pending_leak", waiting.if_all_bad);
    }
}

#[test]
fn rolled_throughput_yields() {
    for case in cases("rolled_throughput_yield") {
        let stages: Vec<Stage> = case.0["input"]["steps"]
            .as_array()
            .unwrap()
            .iter()
            .map(|step| {
                let count = |field: &str| u32::try_from(step[field].as_u64().unwrap()).unwrap();
                Stage { entered: count("entered"), right_first_time: count("right_first_time") }
            })
            .collect();
        let got = rolled_throughput(&stages).unwrap();
        let want = case.0["expected"]["first_pass_yield"].as_array().unwrap();
        assert_eq!(got.stages.len(), want.len());
        for (got, want) in got.stages.iter().zip(want) {
            case.close("first_pass_yield", *got, want);
        }
        case.holds("rolled_throughput_yield", got.rolled);
        case.holds("normalized_yield", got.normalised);
        case.holds("total_dpu_equivalent", got.defects_per_unit.unwrap());
    }
}
