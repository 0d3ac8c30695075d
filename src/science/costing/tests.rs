//! Against closed forms, hand-worked sums, and random books.

use super::*;
use proptest::prelude::*;
use std::f64::consts::PI;

fn money(minor: i64) -> Money {
    Money::from_minor(minor)
}

fn close(got: f64, want: f64, within: f64) {
    assert!((got - want).abs() <= within * want, "{got} and {want}");
}

/// Closed forms of Euclidean solids.
#[test]
fn areas_are_those_of_closed_forms() {
    // A sheet of 300 by 200 by 5 mm: both faces 120,000 mm², its edges 5,000 more.
    close(wall(300.0 * 200.0 * 5.0, 5.0, Faces::Both), 120_000.0, 1e-12);
    close(wall(300.0 * 200.0 * 5.0, 5.0, Faces::Outer), 60_000.0, 1e-12);
    // A ball of 40 mm, given by its own diameter as thinnest section: 4 π r².
    let (r, d) = (20.0_f64, 40.0);
    close(wall(4.0 / 3.0 * PI * r.powi(3), d, Faces::Both), 4.0 * PI * r * r, 1e-12);
    // A hollow sphere of radius 150 and wall 5: 4 π (R² + (R−s)²); off by s²/(6R²), below 0.02 %.
    let (big, s) = (150.0_f64, 5.0);
    let volume = 4.0 / 3.0 * PI * (big.powi(3) - (big - s).powi(3));
    close(wall(volume, s, Faces::Both), 4.0 * PI * (big.powi(2) + (big - s).powi(2)), 3e-4);
    // An open tube of outer radius 60, wall 6, 400 long: 2 π L (R + r), its rims left out.
    let (outer, inner, long) = (60.0_f64, 54.0_f64, 400.0);
    let volume = PI * long * (outer.powi(2) - inner.powi(2));
    close(wall(volume, outer - inner, Faces::Both), 2.0 * PI * long * (outer + inner), 1e-12);
    // A round rod of 20 mm, 500 long: π d L.
    close(rod(PI / 4.0 * 400.0 * 500.0, 20.0), PI * 20.0 * 500.0, 1e-12);
}

#[test]
fn marks_are_read_and_counted() {
    let mark = |text: &str| Mark::parse(text).unwrap_or_else(|| panic!("{text}"));
    assert_eq!(mark("3/8"), Mark { kind: String::new(), n: 3, of: 8 });
    assert_eq!(mark(" ap 1 / 2 ").text(), "AP 1/2");
    assert_eq!(mark("A.P. 2/2").text(), "AP 2/2");
    for text in ["", "8", "9/8", "0/8", "3/", "x/8", "3/8 bis", "AP", "3/8/9"] {
        assert_eq!(Mark::parse(text), None, "{text}");
    }
    // An edition of eight with two artist's proofs and one hors commerce: 11 copies.
    let marks = ["1/8", "5/8", "AP 1/2", "HC 1/1"].map(mark);
    assert_eq!(copies(&marks), 11);
    assert_eq!(copies(&[]), 0);
}

#[test]
fn rates_are_rounded_half_to_even() {
    // 50 minutes at 42.00 an hour is 35.00; 1 minute at 0.90 is 1.5 cents, to even 2; 3 are 4.5, to 4.
    assert_eq!(by_hour(money(4200), 50.0), money(3500));
    assert_eq!((by_hour(money(90), 1.0), by_hour(money(90), 3.0)), (money(2), money(4)));
    // 7.35 kg of gas at 2.80 is 20.58.
    assert_eq!(by_amount(money(280), 7.35), money(2058));
    // 12.5 dm² of coat at 0.46 is 5.75.
    assert_eq!(by_area(money(46), 125_000), money(575));
}

/// One year of a shop worked by hand: three jobs, two pour days, one heat that poured nothing.
///
/// Work: job 1 40 h, job 2 25 h, job 3 10 h, all at 30.00 an hour: 1,200.00, 750.00, 300.00.
/// Poured: day A shells of job 1 (30 kg) and job 2 (10 kg); day B shell of job 3 (20 kg).
#[test]
fn overhead_by_each_rule_is_as_worked_by_hand() {
    let mut bearers = Bearers::default();
    for (shell, casting) in [(11, 101), (12, 102), (13, 103)] {
        bearers.shells.insert(shell, vec![(casting, 1)]);
    }
    bearers.days.insert(1, vec![(11, 30_000_000), (12, 10_000_000)]);
    bearers.days.insert(2, vec![(13, 20_000_000)]);
    let work = [(101, 40.0), (102, 25.0), (103, 10.0)];
    let by = |rule: Overhead| {
        let mut out = BTreeMap::new();
        let mut bear = |line: Line| {
            for (bearer, share) in fall(&line, &bearers) {
                *out.entry(bearer).or_insert(Money::ZERO) += share;
            }
        };
        for (casting, hours) in work {
            let amount = rule.of_work(by_hour(money(3000), hours * 60.0), hours * 60.0);
            bear(Line { record: casting, part: Part::Overhead, on: On::Casting(casting), amount });
        }
        for (day, kg) in [(1, 40), (2, 20)] {
            let amount = rule.of_day(kg * 1_000_000);
            bear(Line { record: day, part: Part::Overhead, on: On::Day(day), amount });
        }
        [101, 102, 103].map(|casting| out.get(&Bearer::Casting(casting)).map_or(0, |m| m.minor()))
    };
    // 25 % of work: 300.00, 187.50, 75.00.
    assert_eq!(by(Overhead::Work(2500)), [30_000, 18_750, 7_500]);
    // 8.00 an hour: 320.00, 200.00, 80.00.
    assert_eq!(by(Overhead::Hour(money(800))), [32_000, 20_000, 8_000]);
    // 9.50 a kg: 285.00, 95.00, 190.00.
    assert_eq!(by(Overhead::Kg(money(950))), [28_500, 9_500, 19_000]);
    // 280.01 a day: of day A three quarters (210.0075) and a quarter (70.0025): the cent left over
    // to the larger remainder.
    assert_eq!(by(Overhead::Day(money(28_001))), [21_001, 7_000, 28_001]);
    assert_eq!(by(Overhead::None), [0, 0, 0]);
}

#[test]
fn a_mould_is_borne_by_its_edition() {
    let mut bearers = Bearers::default();
    bearers.moulds.insert(7, Edition { copies: 8, pieces: vec![1, 2, 3] });
    let line = |on| Line { record: 7, part: Part::Mould, on, amount: money(100_003) };
    // 1,000.03 over 8: 125.00 each and 3 cents to the first three; five copies are still to come.
    assert_eq!(
        fall(&line(On::Mould(7)), &bearers),
        [
            (Bearer::Piece(1), money(12_501)),
            (Bearer::Piece(2), money(12_501)),
            (Bearer::Piece(3), money(12_501)),
            (Bearer::Mould(7), money(62_500)),
        ]
    );
    // Nothing was pulled from it: it stays on the mould. A heat that poured nothing: on the shop.
    assert_eq!(fall(&line(On::Mould(8)), &bearers), [(Bearer::Mould(8), money(100_003))]);
    assert_eq!(fall(&line(On::Heat(9)), &bearers), [(Bearer::Shop, money(100_003))]);
}

prop_compose! {
    fn book()(
        shells in prop::collection::vec(prop::collection::vec(0_i64..5_000_000, 0..5), 1..8),
        groups in prop::collection::vec(prop::collection::vec((0_usize..8, 0_i64..90_000_000), 0..6), 3),
        edition in (0_usize..12, 0_usize..6),
        lines in prop::collection::vec((0_u8..8, 0_usize..8, 0_i64..1_000_000_000_000), 1..60),
    ) -> (Bearers, Vec<Line>) {
        let mut bearers = Bearers::default();
        for (shell, castings) in (0..).zip(&shells) {
            bearers.shells.insert(shell, (0..).zip(castings).map(|(n, w)| (1000 + shell * 10 + n, *w)).collect());
        }
        let some = |group: &[(usize, i64)]| -> Vec<(Seq, i64)> {
            let mut out: Vec<(Seq, i64)> = group.iter().map(|(s, w)| (i64::try_from(s % shells.len()).unwrap(), *w)).collect();
            out.sort_unstable();
            out.dedup_by_key(|(s, _)| *s);
            out
        };
        bearers.heats.insert(0, some(&groups[0]));
        bearers.loads.insert(0, some(&groups[1]));
        bearers.days.insert(0, some(&groups[2]));
        bearers.moulds.insert(0, Edition { copies: edition.0, pieces: (0..).take(edition.1).collect() });
        let lines = lines.into_iter().map(|(what, n, amount)| {
            let seq = i64::try_from(n % shells.len()).unwrap();
            let on = match what {
                0 => On::Commission(seq),
                1 => On::Piece(seq),
                2 => On::Casting(1000 + seq),
                3 => On::Shell(seq),
                4 => On::Heat(0),
                5 => On::Load(0),
                6 => On::Day(0),
                _ => On::Mould(0),
            };
            Line { record: 1, part: Part::Work, on, amount: money(amount) }
        }).collect();
        (bearers, lines)
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// What all bear is what all lines cost, to the minor unit, and nobody bears less than nothing.
    #[test]
    fn nothing_is_lost_and_nothing_is_made_up((bearers, lines) in book()) {
        let mut borne = 0_i128;
        for line in &lines {
            let falls = fall(line, &bearers);
            let sum: i64 = falls.iter().map(|(_, m)| m.minor()).sum();
            prop_assert_eq!(sum, line.amount.minor());
            prop_assert!(falls.iter().all(|(_, m)| m.minor() >= 0));
            borne += i128::from(sum);
        }
        prop_assert_eq!(borne, lines.iter().map(|l| i128::from(l.amount.minor())).sum::<i128>());
    }
}
