//! Power and pours needed.

use super::super::power::*;
use super::cases;

#[test]
fn sample_sizes() {
    for case in cases("sample_size_two_proportions") {
        let number = |field| case.number(field);
        let got = sample_size(number("p1"), number("p2"), number("alpha"), number("power")).unwrap();
        case.holds("n_per_group", got.plain);
        case.holds("n_per_group_ceil", got.plain.ceil());
        case.holds("n_continuity", got.corrected);
        case.holds("n_continuity_ceil", f64::from(got.pours().unwrap()));
        case.holds("n_arcsine", got.arcsine);
    }
}

#[test]
fn normal_power() {
    for case in cases("power_two_proportions_normal") {
        let number = |field| case.number(field);
        let got = power_normal(case.count("n_per_group"), number("p1"), number("p2"), number("alpha"));
        case.holds("power", got.unwrap());
    }
}

#[test]
fn exact_power() {
    for case in cases("power_fisher_exact") {
        let side = |p, n| (case.number(p), case.count(n));
        case.holds("power", power_fisher(side("p1", "n1"), side("p2", "n2"), case.number("alpha")).unwrap());
    }
}

#[test]
fn zero_leak_pours() {
    for case in cases("zero_leak_sample_size") {
        let (exact, whole) = zero_event_pours(case.number("p0"), case.number("conf")).unwrap();
        case.holds("n_exact", exact);
        case.holds("n", f64::from(whole));
    }
}

#[test]
fn more_pours_needed() {
    for case in cases("more_pours_needed") {
        let (a, b) = (case.arm("x1", "n1"), case.arm("x2", "n2"));
        let got = more_pours(a, b, case.number("alpha"), case.number("power")).unwrap();
        case.holds("n_per_group", f64::from(got.each));
        case.holds("extra_1", f64::from(got.first));
        case.holds("extra_2", f64::from(got.second));
    }
}
