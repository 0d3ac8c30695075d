//! The one chart: which method it takes, what it says, and how often it says so by luck.

use rand::RngExt;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use super::groups::RECENT_GROUPS;
use super::p_chart::{at_least, at_most};
use super::*;

/// NIST/SEMATECH e-Handbook 6.3.3.2: chips defective of 50 on each of 30 wafers.
const WAFERS: [u32; 30] =
    [12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6];

fn of(n: u32, counts: &[u32]) -> Vec<Group> {
    counts.iter().map(|count| Group { n, count: *count }).collect()
}

/// Pours one by one: gaps of sound ones, each ended by a leak.
fn pours(gaps: &[u32]) -> Vec<Group> {
    let leak = Group { n: 1, count: 1 };
    gaps.iter().flat_map(|gap| vec![Group { n: 1, count: 0 }; *gap as usize].into_iter().chain([leak])).collect()
}

fn signalled(chart: &ControlChart) -> Vec<usize> {
    chart.points.iter().enumerate().filter(|(_, p)| !p.signals.is_empty()).map(|(at, _)| at).collect()
}

fn chart(groups: &[Group]) -> ControlChart {
    control_chart(groups).unwrap()
}

#[test]
fn a_baseline_is_frozen_from_its_first_groups() {
    let chart = chart(&of(50, &WAFERS));
    assert_eq!((chart.method, chart.why), (Method::PChart, Why::LargeGroups));
    assert_eq!(chart.baseline, Some(Baseline { groups: 20, frozen: true }));
    // 214 of the first 1000; 0.214 ± 3 √(0.214 × 0.786 ∕ 50) is 0.0400 to 0.3880, so that 20, 22
    // and 24 of 50 lie above, the 21st, 15th and 23rd.
    let limits = chart.points[0].limits.unwrap();
    assert!((limits.lower - 0.0400).abs() < 5e-5 && (limits.upper - 0.3880).abs() < 5e-5, "{limits:?}");
    assert_eq!(signalled(&chart), [14, 20, 22]);
    assert_eq!(chart.points[20].signals, [Signal::AboveUpper { count: 20, of: 50, expected: 10.7, most: 19 }]);
    // What comes later does not move them.
    let mut more = of(50, &WAFERS);
    more.extend(of(50, &[49; 40]));
    assert_eq!(control_chart(&more).unwrap().points[0].limits, chart.points[0].limits);
    // Before that they are provisional, from all there is.
    let few = control_chart(&of(50, &WAFERS[..12])).unwrap();
    assert_eq!(few.baseline, Some(Baseline { groups: 12, frozen: false }));
    assert!((few.points[0].centre.unwrap() - 116.0 / 600.0).abs() < 1e-15);
}

#[test]
fn small_groups_have_exact_tails() {
    // Leaks of 10 shells a month, 5 in 100 in the baseline: P(X ≥ 4) of Bin(10, 0.05) is 0.00103.
    let mut counts = [1, 0].repeat(10);
    counts.extend([0, 3, 0, 4]);
    let chart = chart(&of(10, &counts));
    assert_eq!((chart.method, chart.why), (Method::ExactTails, Why::SmallGroups { large: 0, of: 20 }));
    assert_eq!(chart.points[0].limits, Some(Limits { lower: 0.0, upper: 0.3 }));
    assert!(at_least(4, 10, 0.05).unwrap() < TAIL && at_least(3, 10, 0.05).unwrap() > TAIL);
    assert_eq!(chart.points[23].signals[0], Signal::AboveUpper { count: 4, of: 10, expected: 0.5, most: 3 });
    assert_eq!(signalled(&chart), [23]);
}

#[test]
fn what_no_small_group_says_alone_several_say_together() {
    // 2 of 10 each month is no signal, at 5 in 100; 10 or more of 60 come by luck in 1 of 1,350,
    // 9 in 1 of 360.
    let mut counts = [1, 0].repeat(10);
    counts.extend([2; 6]);
    let chart = chart(&of(10, &counts));
    let said: Vec<Signal> = chart.points.iter().flat_map(|p| p.signals.clone()).collect();
    let more = |count| Signal::RecentMore { count, of: 60, expected: 3.0, chance: at_least(count, 60, 0.05).unwrap() };
    assert_eq!(said, [more(10), more(12)]);
    assert!(said.iter().all(|s| s.is_more()) && signalled(&chart) == [24, 25]);
    // Six months of 20 without a leak, at 1 in 20: 0.95^120 is 0.0021, and more than six are not
    // looked at. At 1 in 12, of 24 a month, they are a signal.
    let none = control_chart(&of(20, &[[1; 20].to_vec(), vec![0; 8]].concat())).unwrap();
    assert!(at_most(0, 120, 0.05).unwrap() > TAIL);
    assert_eq!(signalled(&none), Vec::<usize>::new());
    let none = control_chart(&of(24, &[[2; 20].to_vec(), vec![0; 8]].concat())).unwrap();
    assert!(none.points[25].signals.iter().any(|s| matches!(s, Signal::RecentFewer { count: 0, of: 144, .. })));
    assert!(none.points.iter().flat_map(|p| &p.signals).all(|s| !s.is_more()));
}

#[test]
fn a_run_on_one_side_counts_only_where_counts_are_even() {
    let run = |n: u32, base: [u32; 2], after: u32| {
        let mut counts = base.repeat(10);
        counts.extend([after; 10]);
        chart(&of(n, &counts)).points.iter().flat_map(|p| p.signals.clone()).collect::<Vec<_>>()
    };
    assert_eq!(run(100, [21, 19], 23), [Signal::RunAbove { groups: 9 }, Signal::RunAbove { groups: 10 }]);
    assert_eq!(run(100, [19, 21], 18), [Signal::RunBelow { groups: 9 }, Signal::RunBelow { groups: 10 }]);
    // Months without a leak lie below the centre nearly always when leaks are rare.
    assert_eq!(run(5, [0, 1], 0), []);
}

#[test]
fn groups_that_truly_differ_widen_the_limits() {
    // Alternating good and bad weeks, whose plain limits would give a signal every week.
    let weeks = [(3, 120), (18, 140), (2, 110), (21, 150), (5, 130), (26, 160), (5, 125), (15, 125), (4, 115), (30, 170)];
    let groups: Vec<Group> = weeks.iter().cycle().take(24).map(|(count, n)| Group { n: *n, count: *count }).collect();
    let chart = chart(&groups);
    let Why::GroupsDiffer { sigma_z, beyond, of: 20 } = chart.why else { panic!("{:?}", chart.why) };
    // Seven of the ten weeks lie beyond two sigma of 129 in 1,345, each twice in the baseline.
    assert!(chart.method == Method::LaneyP && sigma_z > 3.0 && beyond == 14, "{sigma_z} {beyond}");
    assert_eq!(signalled(&chart), Vec::<usize>::new());
    // One bad week among even ones is a signal, and no reason to widen.
    let mut even = [11, 19].repeat(12);
    even[7] = 40;
    let chart = control_chart(&of(100, &even)).unwrap();
    assert_eq!((chart.method, signalled(&chart)), (Method::PChart, vec![7]));
}

#[test]
fn a_clean_baseline_is_held_against_by_counts() {
    let after = |n: u32, counts: &[u32]| {
        let mut groups = of(n, &[0; 20]);
        groups.extend(of(n, counts));
        chart(&groups)
    };
    // 20 months of 5: one leak of 5 after 100 sound ones is no signal (5 ∕ 105), nor two
    // (5 × 4 ∕ 105 × 104 = 0.0018), three are (0.00005).
    let one = after(5, &[1, 0, 0, 0, 0, 0, 0, 2, 0, 0, 0, 0, 0, 0, 3]);
    assert_eq!((one.method, one.why), (Method::AgainstClean, Why::NoneInBaseline { of: 100 }));
    assert_eq!(one.points[34].signals[0], Signal::AboveUpper { count: 3, of: 5, expected: 0.0, most: 2 });
    assert_eq!(signalled(&one), [34]);
    // One of 2 every month says nothing alone, but together: 4 of 8 beside 40 sound ones,
    // 8 × 7 × 6 × 5 ∕ 48 × 47 × 46 × 45 = 0.00036, and 3 of 6 before that in 0.00132.
    let slow = after(2, &[1, 1, 1, 1]);
    let [Signal::RecentMore { count: 4, of: 8, chance, .. }] = slow.points[23].signals[..] else { panic!("{slow:?}") };
    assert!((chance - 1680.0 / 4_669_920.0).abs() < 1e-12, "{chance}");
    assert_eq!(signalled(&slow), [22, 23]);
    // And the mirror of it: everything leaked, and then some did not.
    let mut bad = of(2, &[2; 20]);
    bad.extend(of(2, &[1, 1, 1, 1, 0, 0]));
    let bad = chart(&bad);
    assert_eq!(bad.why, Why::AllInBaseline { of: 40 });
    assert!(!bad.points[23].signals.is_empty() && bad.points.iter().flat_map(|p| &p.signals).all(|s| !s.is_more()));
}

#[test]
fn single_pours_are_a_chart_of_gaps() {
    // The gaps of tests/reference g_chart.foundry18, a first leak before them and 5 sound pours
    // after: 17 gaps of a mean 26.9.
    let gaps = [12, 30, 7, 0, 22, 41, 3, 18, 9, 55, 14, 2, 0, 0, 26, 190, 8, 33];
    let mut groups = pours(&gaps);
    groups.extend([Group { n: 1, count: 0 }; 5]);
    groups.insert(3, Group::default());
    let chart = chart(&groups);
    assert_eq!((chart.method, chart.why, chart.running), (Method::GChart, Why::SinglePours, Some(5)));
    assert_eq!(chart.gaps.iter().map(|g| g.sound).collect::<Vec<_>>(), gaps[1..]);
    assert_eq!(chart.baseline, Some(Baseline { groups: 17, frozen: false }));
    let limits = chart.gap_limits.unwrap();
    assert!((limits.mean_gap - 458.0 / 17.0).abs() < 1e-12);
    // Three leaks in a row, and the 190 sound pours once they pass the limit.
    let said: Vec<Signal> = chart.points.iter().flat_map(|p| p.signals.clone()).collect();
    let p = limits.p;
    let [Signal::LeaksInARow { leaks: 3, chance }, Signal::LongGap { gap, most }] = said[..] else { panic!("{said:?}") };
    assert!((chance - p * p).abs() < 1e-15 && u64::from(gap) == most + 1 && most == limits.upper && gap < 190);
}

#[test]
fn many_leaks_of_late_are_seen_in_single_pours() {
    // Every 25th pour leaks, then every 3rd, never two directly after one another.
    let mut gaps = vec![24; 21];
    gaps.extend([2; 6]);
    let chart = chart(&pours(&gaps));
    assert_eq!(chart.baseline, Some(Baseline { groups: 20, frozen: true }));
    let first = signalled(&chart)[0];
    // 5 in 20 at 1 in 25: 0.0010; 4 would be 0.0074.
    let chance = at_least(5, 20, 0.04).unwrap();
    assert_eq!(chart.points[first].signals, [Signal::RecentMore { count: 5, of: 20, expected: 0.8, chance }]);
    assert!(chance < TAIL && at_least(4, 20, 0.04).unwrap() > TAIL);
}

#[test]
fn little_or_nothing_has_no_limits() {
    let nothing = chart(&[]);
    assert_eq!((nothing.method, nothing.why, nothing.points.len()), (Method::RatesOnly, Why::NothingObserved, 0));
    let empty = chart(&[Group::default(); 3]);
    assert_eq!((empty.why, empty.points.len(), empty.points[0].rate), (Why::NothingObserved, 3, None));
    for count in [0, 4, 9] {
        let one = chart(&[Group { n: 9, count }, Group::default()]);
        assert_eq!((one.method, one.why, one.points[0].limits), (Method::RatesOnly, Why::OneGroup, None));
        assert_eq!(one.points[0].rate, Some(f64::from(count) / 9.0));
    }
    assert_eq!(chart(&pours(&[4, 9])).why, Why::TooFewLeaks { leaks: 2 });
    assert_eq!(chart(&pours(&[0; 30])).points.iter().map(|p| p.signals.len()).sum::<usize>(), 0);
    for (count, why) in [(0, Why::NoneInBaseline { of: 27 }), (9, Why::AllInBaseline { of: 27 })] {
        let flat = chart(&of(9, &[count; 3]));
        assert_eq!((flat.method, flat.why, signalled(&flat)), (Method::AgainstClean, why, vec![]));
    }
    let gap = chart(&[of(10, &[1; 8]), vec![Group::default()], of(10, &[1; 8])].concat());
    assert_eq!((gap.points[8].rate, gap.points[8].limits), (None, None));
    assert!(gap.points[7].limits.is_some());
    assert_eq!(control_chart(&[Group { n: 1, count: 0 }, Group { n: 2, count: 3 }]), Err(Unfit::CountAboveN { at: 1 }));
}

/// Shops whose rate never changes: signals per group after a baseline that is only an estimate.
fn false_signals(shops: u64, draw: impl Fn(&mut ChaCha8Rng) -> Vec<Group>, from: usize) -> f64 {
    let (mut signals, mut all) = (0.0, 0.0);
    for seed in 0..shops {
        let chart = chart(&draw(&mut ChaCha8Rng::seed_from_u64(seed)));
        let after = &chart.points[from..];
        signals += after.iter().filter(|p| !p.signals.is_empty()).count() as f64;
        all += after.len() as f64;
    }
    signals / all
}

fn drawn(rng: &mut ChaCha8Rng, n: u32, p: f64) -> Group {
    Group { n, count: (0..n).map(|_| u32::from(rng.random_bool(p))).sum() }
}

#[test]
fn false_signals_stay_few() {
    let months = |n: u32, p: f64| false_signals(300, move |rng| (0..80).map(|_| drawn(rng, n, p)).collect(), 20);
    // 80 months each; the baseline's own error is the larger part of what is left.
    let small = months(12, 0.08);
    let large = months(60, 0.15);
    // 1,500 pours at 4 in 100; limits are provisional for about 500 of them.
    let single = false_signals(60, |rng| (0..1_500).map(|_| drawn(rng, 1, 0.04)).collect(), 0);
    println!("false signals per month: small {small:.4}, large {large:.4}; per pour {single:.5}");
    assert!(small > 0.0 && small < 0.012, "{small}");
    assert!(large > 0.0 && large < 0.02, "{large}");
    assert!(single > 0.0 && single < 0.003, "{single}");
}

#[test]
fn a_true_worsening_is_seen_soon() {
    // From 4 in 100 to 20 in 100, 12 pours a month: how many months until the first signal.
    let mut waits: Vec<usize> = (0..200)
        .map(|seed| {
            let rng = &mut ChaCha8Rng::seed_from_u64(seed);
            let groups: Vec<Group> = (0..80).map(|month| drawn(rng, 12, if month < 40 { 0.04 } else { 0.20 })).collect();
            let points = &chart(&groups).points[40..];
            points.iter().position(|p| p.signals.iter().any(|s| s.is_more())).unwrap_or(40)
        })
        .collect();
    waits.sort_unstable();
    println!("months until a worsening is seen: half {}, nine of ten {}", waits[100], waits[180]);
    assert!(waits[100] <= RECENT_GROUPS && waits[180] <= 2 * RECENT_GROUPS, "{waits:?}");
}
