use super::*;
use crate::science::statistics::arm::Arm;

fn cell(level: usize, stratum: usize, events: u32, of: u32) -> Cell {
    Cell { level, stratum, heat: None, arm: Arm::new(events, of).unwrap() }
}

const ONCE: Options = Options { threshold: NAMED_BEFOREHAND, within_heats: false, worth_knowing: 0.1, seed: 1 };
const STANDS: Options = Options { threshold: STANDING, ..ONCE };

/// The family `one_bad` of the reference values: A 1 of 40, B 2 of 38, C 11 of 36.
fn one_bad() -> Vec<Cell> {
    vec![cell(0, 0, 1, 40), cell(1, 0, 2, 38), cell(2, 0, 11, 36)]
}

#[test]
fn a_pair_from_a_list_is_still_in_the_list() {
    let asked = compare(&one_bad(), 2, 0, &ONCE).unwrap();
    assert!((asked.raw_p - 0.000_995_120_395_908_478_4).abs() < 1e-15 && asked.family == 3);
    assert!((asked.holm_p.unwrap() - 0.002_985_361_187_725_440_4).abs() < 1e-14);
    assert_eq!((asked.verdict, asked.adjusted.higher()), (Verdict::ToldApart, Some(Side::A)));
    assert_eq!((asked.rate_a.count, asked.rate_b.count, asked.opposite), (11, 1, false));
    // Without strata, p is Fisher's; and "between 12 and 44 points more".
    assert!((asked.fisher_p - asked.raw_p).abs() < 1e-15);
    assert!((asked.difference.low - 0.12).abs() < 0.005 && (asked.difference.high - 0.44).abs() < 0.005);
    let family = judge(&one_bad(), &ONCE);
    assert_eq!(family.comparisons.len(), 3);
    assert!((family.any_p - asked.holm_p.unwrap()).abs() < 1e-14);
    let other = family.comparisons.iter().find(|c| (c.a, c.b) == (0, Some(2))).unwrap();
    assert_eq!((other.verdict, other.adjusted.higher()), (Verdict::ToldApart, Some(Side::B)));
}

#[test]
fn the_threshold_is_that_of_the_page() {
    let word = |options: &Options| compare(&one_bad(), 1, 2, options).unwrap();
    // Holm's p is 0.010990…: below 0.05, not below 0.01, and the raw p below 0.05.
    assert!((word(&ONCE).holm_p.unwrap() - 0.010_990_730_816_052_029).abs() < 1e-14);
    assert_eq!((word(&ONCE).verdict, word(&STANDS).verdict), (Verdict::ToldApart, Verdict::Leaning));
    let alike = compare(&one_bad(), 0, 1, &ONCE).unwrap();
    assert_eq!(alike.verdict, Verdict::CannotTellYet);
}

#[test]
fn ranks_are_places_that_may_be() {
    let places = |options: &Options| judge(&one_bad(), options).places.iter().map(|p| (p.from, p.to)).collect::<Vec<_>>();
    // At 0.05 C is worse than both, so it is the worst; which of A and B is better is open.
    assert_eq!(places(&ONCE), [(1, 2), (1, 2), (3, 3)]);
    // At 0.01 only A is told apart from C.
    assert_eq!(places(&STANDS), [(1, 2), (1, 3), (2, 3)]);
}

#[test]
fn simpsons_set_up_is_said_and_only_the_adjusted_decides() {
    // Easy alloy 0 and hard alloy 1. Level 0 is mostly tried on the hard one, and is better on both.
    let cells = [cell(0, 0, 0, 50), cell(1, 0, 60, 800), cell(0, 1, 150, 980), cell(1, 1, 50, 160)];
    let got = compare(&cells, 0, 1, &ONCE).unwrap();
    assert!(got.difference.low > 0.0, "crude, level 0 leaks more: {:?}", got.difference);
    assert!(got.opposite && got.adjusted.higher() == Some(Side::B) && got.verdict == Verdict::ToldApart, "{got:?}");
    assert!(got.adjusted.odds_ratio.unwrap().high < 1.0);
    assert_eq!(got.used, Used { strata: 2, of_strata: 2, of_a: 1_030, of_b: 960 });
    // Without the strata the crude answer would stand.
    let merged: Vec<Cell> = cells.iter().map(|cell| Cell { stratum: 0, ..*cell }).collect();
    let crude = compare(&merged, 0, 1, &ONCE).unwrap();
    assert!(!crude.opposite && crude.adjusted.higher() == Some(Side::A));
}

#[test]
fn a_side_without_events_has_one_open_end() {
    let got = compare(&[cell(0, 0, 0, 60), cell(1, 0, 12, 60)], 0, 1, &STANDS).unwrap();
    let odds = got.adjusted.odds_ratio.unwrap();
    assert_eq!(got.adjusted.estimate, Estimate::ExactConditional);
    assert!(odds.value.abs() < 1e-300 && odds.low.abs() < 1e-300 && odds.high < 1.0);
    assert_eq!(got.verdict, Verdict::ToldApart);
    let other = compare(&[cell(0, 0, 0, 60), cell(1, 0, 12, 60)], 1, 0, &STANDS).unwrap();
    let odds = other.adjusted.odds_ratio.unwrap();
    assert!(odds.high.is_infinite() && odds.low > 1.0 && other.adjusted.higher() == Some(Side::A));
}

#[test]
fn with_under_half_in_use_the_best_word_is_leaning() {
    let apart = [cell(0, 0, 0, 60), cell(1, 0, 20, 60)];
    assert_eq!(compare(&apart, 0, 1, &STANDS).unwrap().verdict, Verdict::ToldApart);
    // Level 0 was poured 61 times more in a stratum without level 1.
    let mostly_alone = [apart.as_slice(), &[cell(0, 1, 1, 61)]].concat();
    let got = compare(&mostly_alone, 0, 1, &STANDS).unwrap();
    assert_eq!(got.verdict, Verdict::Leaning);
    assert_eq!(got.used, Used { strata: 1, of_strata: 2, of_a: 60, of_b: 60 });
    let half = [apart.as_slice(), &[cell(0, 1, 1, 60)]].concat();
    assert_eq!(compare(&half, 0, 1, &STANDS).unwrap().verdict, Verdict::ToldApart);
    // A stratum without events is dropped, and said to be.
    let quiet = [apart.as_slice(), &[cell(0, 1, 0, 5), cell(1, 1, 0, 5)]].concat();
    assert_eq!(compare(&quiet, 0, 1, &STANDS).unwrap().used, Used { strata: 1, of_strata: 2, of_a: 60, of_b: 60 });
}

#[test]
fn under_five_shells_there_are_counts_only() {
    let cells = [cell(0, 0, 0, 40), cell(1, 0, 4, 4), cell(2, 0, 3, 40)];
    let got = compare(&cells, 0, 1, &ONCE).unwrap();
    assert_eq!((got.holm_p, got.verdict, got.family), (None, Verdict::CannotTellYet, 1));
    assert!(got.raw_p < 0.001);
    let family = judge(&cells, &ONCE);
    assert_eq!(family.places.iter().map(|p| p.level).collect::<Vec<_>>(), [0, 2]);
    assert_eq!(family.comparisons.len(), 1);
}

#[test]
fn what_was_not_seen_is_not_compared() {
    assert_eq!(compare(&one_bad(), 0, 0, &ONCE), None);
    assert_eq!(compare(&one_bad(), 0, 7, &ONCE), None);
    assert_eq!(compare(&[], 0, 1, &ONCE), None);
    let family = judge(&[], &ONCE);
    assert!(family.comparisons.is_empty() && family.places.is_empty() && (family.any_p - 1.0).abs() < 1e-15);
    // Seen, but never in one stratum: rates are there, p is 1 and there is no odds ratio.
    let apart = compare(&[cell(0, 0, 5, 20), cell(1, 1, 0, 20)], 0, 1, &ONCE).unwrap();
    assert!(apart.raw_p >= 1.0 && apart.adjusted.odds_ratio.is_none() && apart.verdict == Verdict::CannotTellYet);
    assert_eq!(apart.used, Used { strata: 0, of_strata: 2, of_a: 0, of_b: 0 });
}

#[test]
fn pours_needed_are_those_of_the_rates() {
    let got = compare(&[cell(0, 0, 1, 20), cell(1, 0, 3, 20)], 0, 1, &ONCE).unwrap();
    let seen = got.more_pours.for_seen_gap.unwrap();
    assert_eq!((seen.each, seen.first, seen.second), (160, 140, 140));
    assert_eq!(got.more_pours.for_gap_worth_knowing, got.more_pours.for_seen_gap);
    let equal = compare(&[cell(0, 0, 1, 20), cell(1, 0, 2, 40)], 0, 1, &Options { worth_knowing: 0.0, ..ONCE }).unwrap();
    assert_eq!((equal.more_pours.for_seen_gap, equal.more_pours.for_gap_worth_knowing), (None, None));
}

#[test]
fn many_levels_are_each_compared_with_the_rest() {
    let cells: Vec<Cell> = (0..13).map(|level| cell(level, 0, if level == 4 { 20 } else { 2 }, 40)).collect();
    let family = judge(&cells, &STANDS);
    assert_eq!((family.kind, family.comparisons.len()), (Kind::EachWithTheRest, 13));
    let fourth = family.comparisons[4];
    assert_eq!((fourth.rate_b.count, fourth.rate_b.of, fourth.b), (24, 480, None));
    assert_eq!(fourth.verdict, Verdict::ToldApart);
    assert_eq!(fourth.used, Used { strata: 1, of_strata: 1, of_a: 40, of_b: 480 });
    assert!(family.comparisons.iter().enumerate().all(|(i, c)| i == 4 || c.verdict != Verdict::ToldApart));
    assert!(family.places.iter().all(|place| (place.from, place.to) == (1, 13)));
    // A pair picked from them counts all 78.
    let pair = compare(&cells, 4, 5, &STANDS).unwrap();
    assert!(pair.family == 78 && (pair.holm_p.unwrap() - 78.0 * pair.raw_p).abs() < 1e-12);
}

#[test]
fn what_is_constant_within_heats_is_judged_by_heats() {
    // Two furnaces, three heats of eight shells each: all events of one heat.
    let by_heat = |events: [u32; 6]| -> Vec<Cell> {
        events.iter().enumerate().map(|(i, x)| Cell { heat: Some(i), ..cell(usize::from(i >= 3), 0, *x, 8) }).collect()
    };
    let cells = by_heat([0, 0, 0, 8, 0, 0]);
    let shells = compare(&cells, 0, 1, &ONCE).unwrap();
    let heats = compare(&cells, 0, 1, &Options { within_heats: true, ..ONCE }).unwrap();
    assert!(shells.raw_p < 0.01 && heats.raw_p > 0.9, "{} {}", shells.raw_p, heats.raw_p);
    assert_eq!(heats.adjusted.test, Test::HeatPermutation(9_999));
    // Permutations are drawn once for a pair, whichever way round it is asked for.
    let turned = compare(&by_heat([3, 1, 2, 5, 0, 6]), 1, 0, &Options { within_heats: true, ..ONCE }).unwrap();
    let straight = compare(&by_heat([3, 1, 2, 5, 0, 6]), 0, 1, &Options { within_heats: true, ..ONCE }).unwrap();
    assert_eq!((turned.raw_p.to_bits(), turned.holm_p), (straight.raw_p.to_bits(), straight.holm_p));
    // One heat, its shells one by one, is still one heat.
    let singly: Vec<Cell> = cells
        .iter()
        .flat_map(|cell| (0..8).map(|i| Cell { arm: Arm::new(u32::from(i < cell.arm.events()), 1).unwrap(), ..*cell }))
        .collect();
    let again = compare(&singly, 0, 1, &Options { within_heats: true, ..ONCE }).unwrap();
    assert!((again.raw_p - heats.raw_p).abs() < 1e-15);
}

#[test]
fn unlike_strata_are_named() {
    let cells = [cell(0, 0, 20, 60), cell(1, 0, 2, 60), cell(0, 1, 2, 60), cell(1, 1, 20, 60)];
    let got = compare(&cells, 0, 1, &ONCE).unwrap();
    assert!(got.adjusted.unlike_in_strata() && got.verdict == Verdict::CannotTellYet);
    assert!(!compare(&one_bad(), 0, 2, &ONCE).unwrap().adjusted.unlike_in_strata());
}

#[test]
fn what_changed_goes_by_factors_first() {
    let quiet = [cell(0, 0, 3, 40), cell(1, 0, 4, 40)];
    let loud = one_bad();
    let got = changed(&[(&quiet, ONCE), (&loud, ONCE)], 0.05);
    assert!(got[0].is_none());
    // Judged at 0.025: both pairs with C pass.
    let apart = got[1].as_ref().unwrap().comparisons.iter().filter(|c| c.verdict == Verdict::ToldApart).count();
    assert_eq!(apart, 2);
    assert!(changed(&[], 0.05).is_empty());
    // Among ten factors, the pair at 0.011 does not pass 0.005.
    let many: Vec<(&[Cell], Options)> = (0..10).map(|i| (if i == 0 { loud.as_slice() } else { &quiet }, ONCE)).collect();
    let apart = changed(&many, 0.05)[0].as_ref().unwrap().comparisons.iter().filter(|c| c.verdict == Verdict::ToldApart).count();
    assert_eq!(apart, 1);
}

#[test]
fn levels_that_overlap_are_each_held_against_the_shells_that_are_not_at_them() {
    // 40 shells: 10 had hand 0 alone, 10 hand 1 alone, 10 both, 10 neither; those with hand 0 leaked.
    let arm = |events, of| Arm::new(events, of).unwrap();
    let cell = |level, arm| Cell { level, stratum: 0, heat: None, arm };
    let options = Options { threshold: STANDING, within_heats: false, worth_knowing: 0.1, seed: 1 };
    let cells = [cell(0, arm(16, 20)), cell(1, arm(8, 20))];
    let all = [cell(0, arm(16, 40))];
    let family = judge_among(&cells, &all, &options);
    assert_eq!((family.kind, family.comparisons.len()), (Kind::EachWithTheRest, 2));
    let rates: Vec<_> = family.comparisons.iter().map(|c| (c.rate_a.count, c.rate_a.of, c.rate_b.count, c.rate_b.of)).collect();
    assert_eq!(rates, [(16, 20, 0, 20), (8, 20, 8, 20)]);
    let words: Vec<_> = family.comparisons.iter().map(|c| c.verdict).collect();
    assert_eq!(words, [Verdict::ToldApart, Verdict::CannotTellYet]);
    // By heats: each heat has ten, the hand worked in half of them all.
    let cell = |level, heat, arm| Cell { level, stratum: 0, heat: Some(heat), arm };
    let cells: Vec<Cell> = (0..10).map(|heat| cell(0, heat, arm(5, 10))).collect();
    let all: Vec<Cell> = (0..20).map(|heat| cell(0, heat, arm(if heat < 10 { 5 } else { 0 }, 10))).collect();
    let family = judge_among(&cells, &all, &Options { within_heats: true, ..options });
    let first = &family.comparisons[0];
    assert_eq!((first.rate_b.count, first.rate_b.of, first.verdict), (0, 100, Verdict::ToldApart));
}
