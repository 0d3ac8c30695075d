//! Rates, their differences and ratios.

use super::super::*;
use super::{Case, cases};

impl Case {
    pub(super) fn arm(&self, events: &str, of: &str) -> Arm {
        Arm::new(self.count(events), self.count(of)).unwrap()
    }
}

#[test]
fn binomial_tails() {
    for case in cases("binom_tail") {
        let (x, n, p) = (case.count("x"), case.count("n"), case.number("p"));
        let got = match case.0["input"]["side"].as_str().unwrap() {
            "ge" => binomial_at_least(x, n, p),
            "le" => binomial_at_most(x, n, p),
            side => panic!("{}: {side}", case.id()),
        };
        case.holds("prob", got.unwrap());
    }
}

#[test]
fn worst_of_k() {
    for case in cases("worst_of_k_binomial") {
        let got = worst_of(case.count("k"), case.count("n"), case.number("p"), case.count("x"));
        case.holds("prob", got.unwrap());
    }
}

#[test]
fn newcombe_differences() {
    for case in cases("newcombe_diff") {
        let got = newcombe(case.arm("x1", "n1"), case.arm("x2", "n2"), case.number("conf")).unwrap();
        case.holds("diff", got.value);
        case.holds("lower", got.low);
        case.holds("upper", got.high);
    }
}

#[test]
fn garwood_intervals() {
    for case in cases("poisson_rate_ci_garwood") {
        let got = garwood(case.count("count"), case.number("exposure"), case.number("conf")).unwrap();
        case.holds("rate", got.rate);
        case.holds("lower", got.low);
        case.holds("upper", got.high);
    }
}

#[test]
fn rate_ratios() {
    for case in cases("poisson_rate_ratio_exact") {
        let side = |x, t| (case.count(x), case.number(t));
        let got = rate_ratio(side("x1", "t1"), side("x2", "t2"), case.number("conf")).unwrap();
        case.holds("ratio", got.ratio);
        case.holds("lower", got.low);
        case.holds("upper", got.high);
        case.holds("p_two_sided", got.p);
    }
}

#[test]
fn clustered_rates() {
    for case in cases("clustered_rate_rao_scott") {
        let count = |value: &serde_json::Value| u32::try_from(value.as_u64().unwrap()).unwrap();
        let clusters = case.0["input"]["clusters"].as_array().unwrap();
        let clusters: Vec<Arm> = clusters.iter().map(|c| Arm::new(count(&c[0]), count(&c[1])).unwrap()).collect();
        let got = clustered_rate(&clusters).unwrap();
        assert!((case.number("conf") - CONFIDENCE).abs() < 1e-15);
        case.holds("rate", got.rate);
        case.holds("design_effect", got.design_effect);
        case.holds("n_effective", got.effective_n);
        case.holds("wilson_lower", got.low);
        case.holds("wilson_upper", got.high);
    }
}

#[test]
fn defects_per_opportunity() {
    for case in cases("defects_per_opportunity") {
        let got = defects_per(case.count("defects"), case.count("units"), case.count("opportunities_per_unit")).unwrap();
        case.holds("dpu", got.unit);
        case.holds("dpo", got.opportunity);
        case.holds("dpmo", got.million);
        case.holds("throughput_yield_poisson", got.throughput_yield);
    }
}

#[test]
fn poisson_yields() {
    for case in cases("throughput_yield_poisson") {
        let list = |value: &serde_json::Value| value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect::<Vec<_>>();
        let got = poisson_yield(&list(&case.0["input"]["dpu"])).unwrap();
        let want = case.0["expected"]["throughput_yield"].as_array().unwrap();
        assert_eq!(got.steps.len(), want.len());
        for (got, want) in got.steps.iter().zip(want) {
            case.close("throughput_yield", *got, want);
        }
        case.holds("rty", got.rolled);
        case.holds("tdpu", got.total_defects_per_unit);
    }
}
