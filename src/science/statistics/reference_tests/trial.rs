//! The cases of trials in `tests/reference/planning.json`.

use serde_json::Value;

use super::super::trial::*;
use super::{Case, PLANNING};

fn planning(holds: impl Fn(&Value) -> bool) -> Vec<Case> {
    let all: Vec<Value> = serde_json::from_str(PLANNING).unwrap();
    let found: Vec<Case> = all.into_iter().filter(holds).map(Case).collect();
    assert!(!found.is_empty(), "no such case");
    found
}

fn of(method: &str) -> Vec<Case> {
    planning(|case| case["method"] == method)
}

fn named(id: &str) -> Vec<Case> {
    planning(|case| case["id"].as_str().unwrap().starts_with(id))
}

#[test]
fn e_values_of_pairs() {
    for case in of("pair_e_value") {
        let got = pair_e_value(Counts { a_only: case.count("a_only"), b_only: case.count("b_only"), same: 0 });
        case.holds("e", got.e);
        case.holds("e_a_worse", got.a_worse);
        case.holds("e_b_worse", got.b_worse);
    }
}

#[test]
fn the_path_of_e_values() {
    for case in of("pair_e_path") {
        let tokens: Vec<String> = serde_json::from_value(case.0["input"]["pairs"].clone()).unwrap();
        let pairs: Vec<Pair> = tokens.iter().map(|t| Pair::of(t.starts_with('1'), t.ends_with('1'))).collect();
        let want = case.0["expected"]["e"].as_array().unwrap();
        let course = follow(&pairs, &Plan { worth_knowing: 0.001, max_pairs: None });
        assert_eq!(course.e.len(), want.len());
        for (got, want) in course.e.iter().zip(want) {
            case.close("e", *got, want);
        }
        assert!((case.number("alpha") - ALPHA).abs() < 1e-15);
        assert_eq!(course.stop.map(|stop| u64::from(stop.after)), case.0["expected"]["stop_after_pair"].as_u64());
        case.holds("a_only", f64::from(course.counts.a_only));
        case.holds("b_only", f64::from(course.counts.b_only));
    }
}

#[test]
fn confidence_sequences() {
    for case in of("pair_difference_confidence_sequence") {
        let counts = Counts { a_only: case.count("a_only"), b_only: case.count("b_only"), same: case.count("same") };
        let got = difference(counts).unwrap();
        case.holds("estimate", got.value);
        case.holds("lower", got.low);
        case.holds("upper", got.high);
        case.holds("k_at_0", ln_k(counts, 0.0).unwrap().exp());
    }
}

#[test]
fn e_values_of_blocks() {
    for case in of("block_e_value") {
        let rows: Vec<[u32; 4]> = serde_json::from_value(case.0["input"]["blocks_a_leaked_na_nb_total_leaked"].clone()).unwrap();
        let blocks: Vec<Block> = rows.iter().map(|&[a_failed, a, b, failed]| Block { a_failed, a, b, failed }).collect();
        case.holds("e", block_e_value(&blocks).unwrap());
    }
}

#[test]
fn powers() {
    for case in named("trial.power.") {
        let got = power(case.number("p_a"), case.number("p_b"), case.count("pairs")).unwrap();
        println!("{}: {got:.4}, simulated {}", case.id(), case.0["expected"]["power"]);
        case.holds("power", got);
    }
}

#[test]
fn false_stops() {
    for case in named("trial.false_stop") {
        let p = case.number("p");
        let got = power(p, p, case.count("pairs")).unwrap();
        println!("{}: {got:.4}, simulated {}", case.id(), case.0["expected"]["false_stop_rate"]);
        case.holds("false_stop_rate", got);
    }
}

#[test]
fn pairs_until_told_apart() {
    for case in named("trial.pairs_to_stop") {
        for (field, chance) in [("q50", 0.5), ("q80", 0.8), ("q90", 0.9)] {
            let got = pairs_for(Counts::default(), case.number("p_a"), case.number("p_b"), chance).unwrap();
            println!("{} {field}: {got}, simulated {}", case.id(), case.0["expected"][field]);
            case.holds(field, f64::from(got));
        }
    }
    // Simulated like them, 4,000 trials each: half and four of five.
    for (p_a, p_b, half, most) in [(0.25, 0.05, 49.0, 78.0), (0.3, 0.1, 61.0, 104.0), (0.2, 0.1, 192.0, 345.0)] {
        let PairsToStop { p50, p80 } = pairs_to_stop(Counts::default(), p_a, p_b).unwrap();
        println!("{p_a} {p_b}: {p50:?} {p80:?}");
        for (got, want) in [(p50, half), (p80, most)] {
            assert!((f64::from(got.unwrap()) / want - 1.0).abs() < 0.05, "{p_a} {p_b}: {got:?} {want}");
        }
    }
}
