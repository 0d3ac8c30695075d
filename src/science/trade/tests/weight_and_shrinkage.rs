//! W1 to W7, S1 to S7.

use super::{density, grams, in_grams, mm, near, percent, within};
use crate::science::trade::measure::Volume;
use crate::science::trade::shrinkage::{from_inches_per_foot, length_after, length_before, pattern_length, pattern_volume_ratio};
use crate::science::trade::{Catalogue, metal_from_volume, metal_from_wax, with_allowance};

#[test]
fn w1_gold_from_wax_with_a_button() {
    // W1, published: Rio Grande, How to determine metal weight for wax trees, 7 Oct 2019.
    let wax = with_allowance(grams(5.0), percent(10.0)).unwrap();
    assert_eq!(wax, grams(5.5));
    let metal = in_grams(metal_from_wax(wax, density(13.07), density(1.0)));
    near(metal, 71.89);
    within(metal, 71.885, 1e-12);
}

#[test]
fn w2_metal_by_a_multiplier() {
    // W2, published: Romanoff, Wax weight vs metal weight.
    let wax = with_allowance(grams(5.0), percent(10.0)).unwrap();
    near(in_grams(metal_from_wax(wax, density(13.5), density(1.0))), 74.25);
}

#[test]
fn w4_gold_on_wax_taken_as_one() {
    // W4, published: Romanoff, casting weight tips.
    near(in_grams(metal_from_wax(grams(5.5), density(15.20), density(1.0))), 83.60);
}

#[test]
fn w6_silicon_bronze_on_micro_wax() {
    // W6, our arithmetic: C87300 data sheet (8.36); 0.93 inside PMC9260780, Table 1.
    let trade = Catalogue::builtin().unwrap();
    let bronze = trade.alloy("C87300").and_then(super::super::Alloy::density).unwrap();
    let wax = trade.pattern_material("wax_micro").unwrap().density().unwrap();
    near(in_grams(metal_from_wax(grams(1000.0), bronze, wax)), 8990.0);
}

#[test]
fn w7_aluminium_on_casting_wax_with_a_margin() {
    // W7, our arithmetic: Ace Foundry aluminium table (2.685); Ganoksin threads (0.95).
    let trade = Catalogue::builtin().unwrap();
    let metal = trade.alloy("A356.0").and_then(super::super::Alloy::density).unwrap();
    let wax = trade.pattern_material("wax_casting").unwrap().density().unwrap();
    let bare = metal_from_wax(grams(2500.0), metal, wax);
    near(in_grams(bare), 7066.0);
    let weighed = with_allowance(grams(2500.0), percent(10.0)).unwrap();
    near(in_grams(metal_from_wax(weighed, metal, wax)), 7770.0);
}

#[test]
fn metal_from_a_volume_is_density_times_it() {
    let litre = Volume::from_cm3(1000.0).unwrap();
    assert_eq!(metal_from_volume(litre, density(8.36)), Some(grams(8360.0)));
    assert_eq!(metal_from_volume(Volume::new(1e300).unwrap(), density(8.36)), None);
}

#[test]
fn s1_cube_shrinks_by_volume_twice() {
    // S1, published: GATE Mechanical exam question, worked on Sarthaks.
    let side = length_after(mm(50.0), &[percent(4.0), percent(6.0)]).unwrap().get();
    near(side, 48.32);
    near(side.powi(3), 112_800.0);
}

#[test]
fn s4_pattern_volume_of_grey_iron() {
    // S4, recalled: tutorial sheet (GATE question).
    let ratio = pattern_volume_ratio(percent(1.0)).unwrap().get();
    near(ratio, 1.03);
    within(ratio, 1.030_301, 1e-12);
}

#[test]
fn s5_pattern_of_a_cube() {
    // S5, published: exam question, cdquestions.com; accepted range, and both workings.
    let in_turn = length_before(mm(80.0), &[percent(4.5), percent(2.0)]).unwrap().get();
    assert!((81.50..=82.50).contains(&in_turn));
    within(in_turn, 81.79, 1e-4);
    let added = length_before(mm(80.0), &[percent(6.5)]).unwrap().get();
    near(added, 81.68);
}

#[test]
fn s6_bronze_allowance_by_the_foot() {
    // S6, our arithmetic: Dooley, Applied Science for Metal Workers, ch. XXXI.
    let shrinkage = from_inches_per_foot(5.0 / 32.0).unwrap();
    near(shrinkage.percent(), 1.302);
    let pattern = pattern_length(mm(24.0 * 25.4), shrinkage).unwrap();
    within(pattern.get() / 25.4, 24.3125, 1e-12);
}

#[test]
fn s7_c87200_allowance() {
    // S7, our arithmetic: Conex Casting C87200 sheet (1/4 in/ft).
    let shrinkage = from_inches_per_foot(0.25).unwrap();
    within(shrinkage.percent(), 2.0833, 1e-4);
    within(pattern_length(mm(600.0), shrinkage).unwrap().get(), 612.5, 1e-12);
    let on_file = Catalogue::builtin().unwrap().alloy("C87200").unwrap().shrinkage().unwrap();
    near(on_file.percent(), shrinkage.percent());
}
