use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::*;

fn column(name: &str, values: &[f64]) -> Column {
    Column { name: name.to_owned(), values: values.to_vec() }
}

#[test]
fn columns_that_say_nothing_are_named() {
    let a = [0.0, 1.0, 0.0, 1.0, 2.0];
    let columns = [
        column("a", &a),
        column("always", &[7.0; 5]),
        column("again", &a.map(|v| 30.0 - 2.0 * v)),
        column("b", &[1.0, 0.0, 0.0, 1.0, 0.0]),
        column("sum", &[1.0, 1.0, 0.0, 2.0, 2.0]),
        // Differs only where nothing was observed.
        column("unseen", &[5.0, 5.0, 5.0, 5.0, 5.0]),
    ];
    let design = Design::new(&columns, &[1, 0, 2, 1, 1], &[4, 4, 4, 4, 4]).unwrap();
    assert_eq!(design.names(), ["a", "b"]);
    let reasons: Vec<(&str, DropReason)> = design.dropped().iter().map(|d| (d.name.as_str(), d.reason.clone())).collect();
    assert_eq!(
        reasons,
        [
            ("always", DropReason::Constant),
            ("again", DropReason::Duplicate { of: "a".to_owned() }),
            ("sum", DropReason::Collinear),
            ("unseen", DropReason::Constant)
        ]
    );
    let unseen = Design::new(&[column("c", &[1.0, 1.0, 9.0])], &[1, 0, 0], &[2, 2, 0]).unwrap();
    assert_eq!(unseen.dropped()[0].reason, DropReason::Constant);
}

#[test]
fn data_at_fault_are_named() {
    let a = [column("a", &[0.0, 1.0])];
    let error = |columns: &[Column], s: &[u32], n: &[u32]| Design::new(columns, s, n).unwrap_err();
    assert_eq!(error(&a, &[1], &[1, 1]), DesignError::Lengths);
    assert_eq!(error(&a, &[1, 2], &[1, 1]), DesignError::Counts { row: 1 });
    assert_eq!(error(&a, &[0, 0], &[0, 0]), DesignError::NothingObserved);
    assert_eq!(error(&[column("a", &[f64::NAN, 0.0])], &[0, 0], &[1, 1]), DesignError::NotFinite { column: "a".to_owned() });
}

#[test]
fn plain_likelihood_refuses_what_separates() {
    let design = Design::new(&[column("b", &[0.0, 1.0])], &[0, 4], &[14, 12]).unwrap();
    assert_eq!(separation(&design), Some(Separation::Quasi));
    assert_eq!(maximum_likelihood(&design).unwrap_err(), NoFit::Separated);
    // One row to all: nothing tells apart, unless all are alike.
    let none = Design::new(&[], &[3], &[9]).unwrap();
    assert_eq!(separation(&none), Some(Separation::None));
    let all = Design::new(&[], &[9], &[9]).unwrap();
    assert_eq!(separation(&all), Some(Separation::Complete));
}

#[test]
fn a_border_between_many_rows_is_found() {
    let mut random = ChaCha8Rng::seed_from_u64(5);
    let mut draw = |rows: usize| (0..rows).map(|_| random.random::<f64>()).collect::<Vec<f64>>();
    let (a, b, c) = (draw(1000), draw(1000), draw(1000));
    let over: Vec<u32> = a.iter().zip(&b).map(|(a, b)| u32::from(a + b > 1.2)).collect();
    let columns = [column("a", &a), column("b", &b), column("c", &c)];
    let design = |s: &[u32]| Design::new(&columns, s, &[1; 1000]).unwrap();
    assert_eq!(separation(&design(&over)), Some(Separation::Complete));
    // The penalised fit finds the border too, and one row on the other side takes it away.
    let got = Firth::new(&design(&over)).unwrap().estimates();
    assert!((got[1] / got[2] - 1.0).abs() < 0.1 && (got[0] / got[1] + 1.2).abs() < 0.1, "{got:?}");
    let mut one = over.clone();
    let farthest = (0..1000).max_by(|i, j| (a[*i] + b[*i]).total_cmp(&(a[*j] + b[*j]))).unwrap();
    one[farthest] = 0;
    assert_eq!(separation(&design(&one)), Some(Separation::None));
}

#[test]
fn firth_has_its_closed_forms() {
    // Saturated 2 × 2: one half added to every cell (Firth 1993).
    for (a, m, b, n) in [(0, 14, 4, 12), (3, 9, 3, 9), (5, 5, 0, 7), (1, 400, 90, 350)] {
        let design = Design::new(&[column("b", &[0.0, 1.0])], &[a, b], &[m, n]).unwrap();
        let got = Firth::new(&design).unwrap().estimates();
        let logit = |x: u32, n: u32| ((f64::from(x) + 0.5) / (f64::from(n - x) + 0.5)).ln();
        assert!((got[0] - logit(a, m)).abs() < 1e-8, "{got:?}");
        assert!((got[1] - (logit(b, n) - logit(a, m))).abs() < 1e-8, "{got:?}");
    }
}

#[test]
fn scale_and_origin_do_not_matter() {
    let years = [1950.0, 1951.0, 1953.0, 1954.0, 1957.0, 1960.0];
    let (s, n) = ([0, 1, 1, 3, 2, 5], [6, 7, 5, 9, 4, 8]);
    let raw = Design::new(&[column("year", &years)], &s, &n).unwrap();
    let moved = Design::new(&[column("year", &years.map(|y| (y - 1955.0) / 100.0))], &s, &n).unwrap();
    let (raw, moved) = (Firth::new(&raw).unwrap(), Firth::new(&moved).unwrap());
    let (one, other) = (raw.coefficients(0.95).unwrap(), moved.coefficients(0.95).unwrap());
    for (a, b) in [(one[1].estimate, other[1].estimate), (one[1].low, other[1].low), (one[1].high, other[1].high)] {
        assert!((a * 100.0 / b - 1.0).abs() < 1e-7, "{a} {b}");
    }
    assert!((one[1].p / other[1].p - 1.0).abs() < 1e-7);
    let (at, there) = (raw.predictor_interval(&[1955.0], 0.95).unwrap(), other[0].clone());
    assert!((at.0 - there.low).abs() < 1e-7 && (at.1 - there.high).abs() < 1e-7);
}

#[test]
fn bands_of_a_level_are_those_of_its_own_fit() {
    // With one column for a level, the profile band of each rate is that of a fit to that level
    // alone: the penalised likelihood falls apart into the two.
    let design = Design::new(&[column("b", &[0.0, 1.0])], &[0, 4], &[14, 12]).unwrap();
    let fit = Firth::new(&design).unwrap();
    for (row, s, n) in [([0.0], 0, 14), ([1.0], 4, 12)] {
        let alone = Design::new(&[], &[s], &[n]).unwrap();
        let alone = Firth::new(&alone).unwrap().coefficients(0.95).unwrap();
        let (low, high) = fit.predictor_interval(&row, 0.95).unwrap();
        assert!((low - alone[0].low).abs() < 1e-6 && (high - alone[0].high).abs() < 1e-6, "{low} {high} {alone:?}");
    }
    // By the delta method at 0 of 14 the band is short on the low side.
    let (profile, delta) =
        (fit.predictor_interval(&[0.0], 0.95).unwrap(), fit.predictor_interval_by_delta(&[0.0], 0.95).unwrap());
    assert!(delta.0 > profile.0 + 1.0);
}

#[test]
fn bad_questions_are_refused() {
    let design = Design::new(&[column("b", &[0.0, 1.0])], &[0, 0], &[14, 12]).unwrap();
    let fit = Firth::new(&design).unwrap();
    assert_eq!(fit.coefficients(1.0).unwrap_err(), NoFit::BadInput);
    assert_eq!(fit.predictor(&[]).unwrap_err(), NoFit::BadInput);
    assert_eq!(fit.predictor_interval(&[f64::NAN], 0.95).unwrap_err(), NoFit::BadInput);
    assert_eq!(Flic::new(&fit).err(), Some(NoFit::AllAlike));
    assert!(fit.coefficients(0.95).unwrap().iter().all(|c| c.low < c.estimate && c.estimate < c.high));
    assert_eq!(fit.test(&["nobody"]).unwrap(), None);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, ..ProptestConfig::default() })]
    #[test]
    fn every_design_has_a_fit(
        rows in prop::collection::vec((0_u32..3, 0_u32..2, -3_i32..4, 0_u32..5, 0_u32..5), 2..14),
        large in 0.0_f64..1e6,
    ) {
        let columns = [
            column("one", &rows.iter().map(|r| f64::from(u8::from(r.0 == 1))).collect::<Vec<f64>>()),
            column("two", &rows.iter().map(|r| f64::from(u8::from(r.0 == 2))).collect::<Vec<f64>>()),
            column("coat", &rows.iter().map(|r| f64::from(r.1)).collect::<Vec<f64>>()),
            column("wall", &rows.iter().map(|r| f64::from(r.2) * large).collect::<Vec<f64>>()),
        ];
        let s: Vec<u32> = rows.iter().map(|r| r.3).collect();
        let n: Vec<u32> = rows.iter().map(|r| r.3 + r.4).collect();
        let Ok(design) = Design::new(&columns, &s, &n) else { return Ok(()) };
        let fit = Firth::new(&design).unwrap();
        for c in fit.coefficients(0.95).unwrap() {
            prop_assert!(c.low < c.estimate && c.estimate < c.high && (0.0..=1.0).contains(&c.p), "{c:?}");
            // The interval and the test are of one likelihood.
            prop_assert_eq!(c.low > 0.0 || c.high < 0.0, c.p < 0.05, "{:?}", c);
        }
        // Separated is when plain likelihood climbs without end, and only then.
        let separated = separation(&design).unwrap() != Separation::None;
        prop_assert_eq!(maximum_likelihood(&design).is_err(), separated);
    }
}

fn shop(random: &mut ChaCha8Rng, pours: u32, rate: impl Fn(f64) -> f64) -> Vec<Observation> {
    (0..pours)
        .map(|_| {
            let value = f64::from(random.random_range(40_u32..160));
            let section = if random.random::<bool>() { "thin" } else { "thick" };
            let count = u32::from(random.random::<f64>() < rate(value));
            Observation { value, section: section.to_owned(), count, of: 1 }
        })
        .collect()
}

#[test]
fn a_curve_is_refused_by_name() {
    let one = |value: f64, count, of| Observation { value, section: String::new(), count, of };
    let few = [one(1.0, 2, 40), one(2.0, 2, 40)];
    assert_eq!(curve(&few, 9, 0.95).unwrap_err(), NoCurve::TooFew { outcomes: 4.0, needed: 5.0 });
    assert_eq!(curve(&[], 9, 0.95).unwrap_err(), NoCurve::TooFew { outcomes: 0.0, needed: 5.0 });
    // All leaks is as uninformative as none.
    assert!(matches!(curve(&[one(1.0, 40, 40), one(2.0, 39, 40)], 9, 0.95), Err(NoCurve::TooFew { .. })));
    assert_eq!(curve(&[one(1.0, 20, 40), one(1.0, 2, 40)], 9, 0.95).unwrap_err(), NoCurve::OneValue);
    assert_eq!(curve(&few, 1, 0.95).unwrap_err(), NoCurve::NoPoints);
    let over = curve(&[one(2.0, 2, 40), one(1.0, 1, 0)], 9, 0.95);
    assert_eq!(over.unwrap_err(), NoCurve::Data(DesignError::Counts { row: 1 }));
    assert!(matches!(curve(&[one(f64::INFINITY, 20, 40)], 9, 0.95), Err(NoCurve::Data(DesignError::NotFinite { .. }))));
}

#[test]
fn a_curve_follows_and_stays_where_it_was_seen() {
    let mut random = ChaCha8Rng::seed_from_u64(5);
    let bowl = |value: f64| 0.04 + 0.3 * ((value - 100.0) / 60.0).powi(2);
    let mut seen = shop(&mut random, 500, bowl);
    seen.push(Observation { value: 10.0, section: "fat".to_owned(), count: 1, of: 2 });
    let got = curve(&seen, 13, 0.95).unwrap();
    assert!(matches!(got.shape, Shape::Spline(_)) && got.band == BandMethod::Profile, "{:?} {:?}", got.shape, got.band);
    assert!(got.p < 1e-3, "{}", got.p);
    let names: Vec<&str> = got.sections.iter().map(|s| s.section.as_str()).collect();
    assert_eq!(names.len(), 3);
    for section in &got.sections {
        let values: Vec<f64> = seen.iter().filter(|o| o.section == section.section).map(|o| o.value).collect();
        let (low, high) = values.iter().fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
        for point in &section.points {
            assert!(low <= point.value && point.value <= high);
            let Predicted { rate, low, high } = point.predicted;
            assert!(0.0 < low && low < rate && rate < high && high < 1.0, "{point:?}");
        }
        if section.section != "fat" {
            assert_eq!(section.points.len(), 13);
            let middle = section.points[6].predicted.rate;
            assert!(section.points[0].predicted.rate > middle && section.points[12].predicted.rate > middle);
        }
    }
    // Fewer outcomes: a line only.
    let few: Vec<Observation> = seen.iter().filter(|o| o.section == "thin").take(40).cloned().collect();
    let events: u32 = few.iter().map(|o| o.count).sum();
    assert!((5..10).contains(&events), "{events}");
    assert_eq!(curve(&few, 5, 0.95).unwrap().shape, Shape::Line);
}

#[test]
fn the_two_bands_meet_in_large_data() {
    let mut random = ChaCha8Rng::seed_from_u64(9);
    let seen = shop(&mut random, 4_000, |value| 0.05 + 0.001 * value);
    let values: Vec<f64> = seen.iter().map(|o| o.value).collect();
    let (s, n): (Vec<u32>, Vec<u32>) = seen.iter().map(|o| (o.count, o.of)).unzip();
    let design = Design::new(&[column("value", &values)], &s, &n).unwrap();
    let fit = Firth::new(&design).unwrap();
    for value in [40.0, 100.0, 159.0] {
        let (profile, delta) =
            (fit.predictor_interval(&[value], 0.95).unwrap(), fit.predictor_interval_by_delta(&[value], 0.95).unwrap());
        let width = profile.1 - profile.0;
        assert!(
            (profile.0 - delta.0).abs() < 0.05 * width && (profile.1 - delta.1).abs() < 0.05 * width,
            "{profile:?} {delta:?}"
        );
    }
    assert_eq!(curve(&seen, 9, 0.95).unwrap().band, BandMethod::Delta);
}

#[test]
fn bands_hold_what_they_say() {
    // Pointwise coverage of the profile band on lines, 60 to 120 pours.
    let mut random = ChaCha8Rng::seed_from_u64(21);
    let rate = |value: f64| 1.0 / (1.0 + (2.5 - 0.015 * value).exp());
    let (mut held, mut all) = (0.0, 0.0);
    for _ in 0..120 {
        let pours = random.random_range(60..120);
        let seen = shop(&mut random, pours, rate);
        let values: Vec<f64> = seen.iter().map(|o| o.value).collect();
        let (s, n): (Vec<u32>, Vec<u32>) = seen.iter().map(|o| (o.count, o.of)).unzip();
        let design = Design::new(&[column("value", &values)], &s, &n).unwrap();
        let fit = Firth::new(&design).unwrap();
        for value in [50.0, 100.0, 150.0] {
            let (low, high) = fit.predictor_interval(&[value], 0.95).unwrap();
            let truth = (rate(value) / (1.0 - rate(value))).ln();
            all += 1.0;
            held += f64::from(u8::from(low <= truth && truth <= high));
        }
    }
    println!("profile band holds {:.3} of {all}", held / all);
    assert!((0.92..=0.98).contains(&(held / all)), "{}", held / all);
}
