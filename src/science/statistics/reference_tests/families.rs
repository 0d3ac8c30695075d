//! Families of comparisons.

use serde_json::Value;

use super::super::multiple::*;
use super::super::*;
use super::{Case, cases};

fn list(case: &Case, what: &str, got: &[f64]) {
    let want = case.0["expected"][what].as_array().unwrap();
    assert_eq!(got.len(), want.len(), "{} {what}", case.id());
    for (got, want) in got.iter().zip(want) {
        case.close(what, *got, want);
    }
}

#[test]
fn adjusted_p() {
    for case in cases("p_adjust") {
        let p: Vec<f64> = case.0["input"]["p"].as_array().unwrap().iter().map(|p| p.as_f64().unwrap()).collect();
        list(&case, "holm", &holm(&p));
        list(&case, "bh", &benjamini_hochberg(&p));
    }
}

#[test]
fn pairwise_families() {
    for case in cases("recipe_family_pairwise") {
        let count = |value: &Value| u32::try_from(value.as_u64().unwrap()).unwrap();
        let recipes = case.0["input"]["recipes"].as_object().unwrap();
        let names: Vec<&String> = recipes.keys().collect();
        let arms: Vec<Arm> = recipes.values().map(|r| Arm::new(count(&r["x"]), count(&r["n"])).unwrap()).collect();
        let got = pairwise(&arms, 1).unwrap();
        case.holds("overall_p", got.overall.p);
        let pairs: Vec<[&String; 2]> = got.pairs.iter().map(|pair| [names[pair.first], names[pair.second]]).collect();
        assert_eq!(serde_json::to_value(pairs).unwrap(), case.0["input"]["pairs"], "{}", case.id());
        list(&case, "pair_p", &got.pairs.iter().map(|pair| pair.p).collect::<Vec<_>>());
        list(&case, "pair_p_holm", &got.pairs.iter().map(|pair| pair.holm_p).collect::<Vec<_>>());
    }
}
