//! From cost to price, worked by hand.

use super::*;
use crate::science::statistics::quoting::Calibration;

#[test]
fn the_largest_rule_names_itself() {
    let rule = |name, amount| Rule { name, amount };
    let got = largest(&[rule("margin", 900.0), rule("least", 1_000.0), rule("broken", f64::NAN), rule("equal", 1_000.0)]);
    assert_eq!(got.unwrap().name, "least");
    assert!(largest(&[rule("broken", f64::INFINITY)]).is_none() && largest(&[]).is_none());
}

#[test]
fn rounding_and_tax() {
    assert_eq!([rounded_up(10_001, 500), rounded_up(10_000, 500), rounded_up(7, 1), rounded_up(7, 0)], [10_500, 10_000, 7, 7]);
    assert_eq!([rounded_up(-10_001, 500), rounded_up(i64::MAX, 500)], [-10_000, i64::MAX]);
    // 19 % of 103,240 is 19,615.6; 7.5 % of 20 is 1.5, of 100 is 7.5, of 60 is 4.5: to even.
    assert_eq!([tax(103_240, 0.19), tax(20, 0.075), tax(100, 0.075), tax(60, 0.075)], [19_616, 2, 8, 4]);
    assert_eq!([tax(100, -0.1), tax(100, f64::NAN), tax(0, 0.2)], [0, 0, 0]);
}

#[test]
fn stages_add_up() {
    let shares = |of: &[f64]| of.iter().enumerate().map(|(i, s)| (format!("{i}"), *s)).collect::<Vec<_>>();
    let parts = |total, of: &[f64]| stages(total, &shares(of)).into_iter().map(|(_, part)| part).collect::<Vec<_>>();
    assert_eq!(parts(100, &[1.0, 1.0, 1.0]), [34, 33, 33]);
    assert_eq!(parts(100_001, &[0.5, 0.3, 0.2]), [50_001, 30_000, 20_000]);
    assert_eq!(parts(100, &[0.0, 1.0, f64::NAN]), [0, 100, 0]);
    assert_eq!(parts(-10, &[1.0, 2.0]), [-3, -7]);
    assert_eq!(parts(i64::MAX, &[1.0, 2.0]).iter().sum::<i64>(), i64::MAX);
    assert!(parts(100, &[0.0]).is_empty() && parts(100, &[]).is_empty());
}

#[test]
fn an_edition_bears_its_mould() {
    let got = edition_price(80_000.0, 50_000.0, 8).unwrap();
    assert!(near(got.spread_over, 60_000.0) && near(got.next_alone, 50_000.0) && near(got.first_with_all, 130_000.0));
    assert!(edition_price(1.0, 1.0, 0).is_none() && edition_price(f64::NAN, 1.0, 1).is_none());
}

#[test]
fn the_chance_of_loss_is_that_of_past_quotes() {
    let one = mover("work", Per::Line, Unit::Quantity, known(1000.0, 0.2));
    let asked = AskedLine { prices: vec![1.0], ..line(5.0, 1) };
    let got = simulate(&[(asked.clone(), certain(vec![one]))], &OverheadRates::default(), 2_000, 1).unwrap();
    // Scores −0.99, −0.97, … 0.99: 100 of them. At the median 50 lie above: 51 ∕ 101.
    let scores: Vec<f64> = (0..100).map(|i| f64::from(2 * i - 99) / 100.0).collect();
    let calibration = Calibration::new(&scores).unwrap();
    let chance = |price| chance_of_loss(price, &got, &calibration).unwrap();
    assert!(near(chance(got.median), 51.0 / 101.0));
    assert!(near(chance(got.median * (0.8 * got.spread).exp() * 1.000_001), 11.0 / 101.0));
    assert!(near(chance(got.median * 100.0), 1.0 / 101.0) && near(chance(got.median / 100.0), 1.0) && near(chance(0.0), 1.0));
    for level in [0.5, 0.8, 0.9, 0.95] {
        let price = calibration.promise(level, got.median, got.spread).unwrap().at_most.unwrap() * (1.0 + 1e-12);
        let risk = chance(price);
        assert!(risk <= 1.0 - level + 1e-9 && risk > 1.0 - level - 0.02, "{level}: {risk}");
    }
    // A new shop: nine prior scores and the job itself; no price is safer than one in ten.
    let none = Calibration::new(&[]).unwrap();
    assert!(near(chance_of_loss(1e12, &got, &none).unwrap(), 0.1));
    assert!(chance_of_loss(f64::NAN, &got, &none).is_none() && none.beyond(f64::NAN).is_none());
    // Without spread it is known.
    let sure = certain(vec![mover("work", Per::Line, Unit::Quantity, known(1000.0, 0.0))]);
    let sure = simulate(&[(asked, sure)], &OverheadRates::default(), 20, 1).unwrap();
    assert!(near(chance_of_loss(999.0, &sure, &none).unwrap(), 1.0) && near(chance_of_loss(1001.0, &sure, &none).unwrap(), 0.0));
}
