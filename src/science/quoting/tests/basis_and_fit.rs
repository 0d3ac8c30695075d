//! Which jobs count, and what they say, worked by hand.

use super::*;
use crate::science::statistics::quoting::Kernel;

fn many(count: usize, one: &Comparable) -> Vec<Comparable> {
    vec![one.clone(); count]
}

#[test]
fn it_looks_no_farther_than_it_must() {
    let asked = AskedLine { recipe: Some(1), finish: Some(1), ..line(4.0, 1) };
    let other_finish = Comparable { finish: Some(2), ..past(4.0) };
    let other_recipe = Comparable { recipe: None, ..past(4.0) };
    let other_wall = Comparable { section_mm: 8.0, ..past(4.0) };
    let aluminium = Comparable { family: 1, ..past(4.0) };
    let mut record = many(9, &aluminium);
    let mut found = Vec::new();
    let mut step = |record: &[Comparable]| {
        let got = basis(&asked, record).unwrap();
        found.push((got.step, got.members.len()));
    };
    step(&[]);
    step(&record);
    record.push(other_wall.clone());
    step(&record);
    record.extend(many(7, &other_wall));
    step(&record);
    record.extend(many(8, &other_recipe));
    step(&record);
    record.extend(many(8, &other_finish));
    step(&record);
    record.extend(many(8, &past(4.0)));
    step(&record);
    use Step::{Alike, AnyFinish, AnyRecipe, AnySection, EveryFamily, NoRecord, Widened};
    let want = [(NoRecord, 0), (EveryFamily, 9), (Widened, 1), (AnySection, 8), (AnyRecipe, 8), (AnyFinish, 8), (Alike, 8)];
    assert_eq!(found, want);
    // What the line does not say is not asked for; walls within 1.5 are alike.
    let free = AskedLine { recipe: None, finish: None, section_mm: 0.0, ..asked.clone() };
    assert_eq!(basis(&free, &record).unwrap().members.len(), 32);
    let wide = AskedLine { section_mm: 7.5, recipe: None, finish: None, ..asked };
    assert_eq!(basis(&wide, &record).unwrap().members.len(), 32);
    let wider = AskedLine { section_mm: 7.6, ..wide };
    assert_eq!(basis(&wider, &record).unwrap().members.len(), 8);
}

#[test]
fn nearest_in_mass_first_and_how_far_outside() {
    let record = [past(32.0), past(4.0), past(8.0), Comparable { family: 1, ..past(500.0) }, past(0.0)];
    let got = basis(&line(4.0, 1), &record).unwrap();
    assert_eq!(got.members.iter().map(|(i, _)| *i).collect::<Vec<_>>(), [1, 2, 0]);
    // Three jobs never are eight: widened six times, exp(−(ln 2 ∕ h)² ∕ 2) at h = 0.5 × 1.5⁶.
    assert_eq!(got.step, Step::Widened);
    let h = 0.5 * 1.5_f64.powi(6);
    assert!(near(got.bandwidth, h) && near(got.members[1].1, (-(2_f64.ln() / h).powi(2) / 2.0).exp()));
    assert_eq!(got.beyond, None);
    let beyond = |mass| basis(&line(mass, 1), &record).unwrap().beyond;
    assert!(matches!(beyond(96.0), Some(Beyond::AboveMost(f)) if near(f, 3.0)));
    assert!(matches!(beyond(1.0), Some(Beyond::BelowLeast(f)) if near(f, 4.0)));
    // A family never cast: against every family.
    let silver = AskedLine { family: 7, ..line(1000.0, 1) };
    let got = basis(&silver, &record).unwrap();
    assert!(matches!(got.beyond, Some(Beyond::AboveMost(f)) if near(f, 2.0)));
    assert_eq!((got.step, got.members.len()), (Step::EveryFamily, 4));
}

#[test]
fn comparables_are_drawn_to_the_shop_and_the_shop_to_the_handbook() {
    let record = many(2, &Comparable { values: vec![Some(120.0)], castings: 10, failed: 3, ..past(1.0) });
    let asked = AskedLine { prices: vec![1.0], ..line(1.0, 1) };
    let got =
        fit(&asked, &basis(&asked, &record).unwrap(), &record, &[spec("work", Per::Casting, Unit::Minutes, 0.65, 100.0, 0.3)]);
    let got = got.unwrap();
    let rung = got.movers[0].as_ref().unwrap().rung.unwrap();
    // Shop: (4 ln 100 + 2 ln 120) ∕ 6; comparables: (4 × that + 2 ln 120) ∕ 6: 100 × 1.2^(5 ∕ 9).
    assert!(near(rung.driver.median, 100.0 * 1.2_f64.powf(5.0 / 9.0)), "{rung:?}");
    let l = 1.2_f64.ln();
    let shop = (4.0 * 0.09 + 8.0 / 6.0 * l * l) / 6.0;
    let own = (4.0 * shop + 8.0 / 6.0 * (2.0 * l / 3.0).powi(2)) / 6.0 * (7.0 / 6.0);
    assert!(near(rung.driver.scale, own.sqrt()) && near(rung.driver.freedom, 6.0));
    assert!(near(rung.slope, 0.65) && near(rung.effective, 2.0) && rung.on_record == 2);
    // Beta(0.6 + 6, 5.4 + 14).
    assert!(near(got.loss.0, 6.6) && near(got.loss.1, 19.4));
    assert!(got.absent.is_empty() && got.net_over_estimate.on_record == 0);
    assert!(near(got.poured_over_net.driver.median, 1.0 / 0.525));
}

#[test]
fn mass_is_carried_over_by_the_slope() {
    // One mass only: by the slope given, twice (shop and comparables), to 8 times the mass.
    let record = many(400, &Comparable { values: vec![Some(50.0)], ..past(1.0) });
    let asked = AskedLine { prices: vec![1.0], ..line(8.0, 1) };
    let movers = [MoverSpec { handbook: None, ..spec("work", Per::Casting, Unit::Minutes, 2.0 / 3.0, 1.0, 1.0) }];
    let got = fit(&asked, &basis(&asked, &record).unwrap(), &record, &movers).unwrap();
    let rung = got.movers[0].as_ref().unwrap().rung.unwrap();
    assert!((rung.driver.median / 200.0 - 1.0).abs() < 1e-9, "{rung:?}");
    // Jobs that grow as mass to the 0.3 teach that slope against 0.65 of the caller.
    let grown: Vec<Comparable> = (0..60_u32)
        .map(|i| 0.2 * 1.1_f64.powf(f64::from(i)))
        .map(|m| Comparable { values: vec![Some(40.0 * m.powf(0.3))], ..past(m) })
        .collect();
    let got = fit(&asked, &basis(&asked, &grown).unwrap(), &grown, &[spec("work", Per::Casting, Unit::Minutes, 0.65, 40.0, 0.3)]);
    let rung = got.unwrap().movers[0].as_ref().unwrap().rung.unwrap();
    assert!((rung.slope - 0.3).abs() < 0.02 && (rung.driver.median / (40.0 * 8_f64.powf(0.3)) - 1.0).abs() < 0.02, "{rung:?}");
}

#[test]
fn what_is_not_known_is_told() {
    let movers = [
        MoverSpec { handbook: None, ..spec("never heard of", Per::Line, Unit::Quantity, 0.0, 1.0, 1.0) },
        MoverSpec { handbook: None, ..spec("never done", Per::Line, Unit::Quantity, 0.0, 1.0, 1.0) },
        spec("sometimes", Per::Piece, Unit::Quantity, 0.0, 20.0, 0.2),
        spec("not asked for", Per::Line, Unit::Quantity, 0.0, 20.0, 0.2),
    ];
    let with = Comparable { values: vec![None, Some(0.0), Some(20.0), Some(9.0)], ..past(4.0) };
    let without = Comparable { values: vec![Some(f64::NAN), Some(0.0), Some(0.0), Some(9.0)], ..past(4.0) };
    let record = [many(6, &with), many(2, &without)].concat();
    let asked = AskedLine { prices: vec![1.0, 1.0, 1.0], fixed: 10.0, ..line(4.0, 1) };
    let got = fit(&asked, &basis(&asked, &record).unwrap(), &record, &movers).unwrap();
    assert_eq!(got.absent, [0]);
    assert!(got.movers[0].is_none() && got.movers[3].is_none() && got.movers[1].as_ref().unwrap().rung.is_none());
    // What counts once for a line is done where it has a price: that says that it is asked for.
    let once = [spec("mould", Per::Line, Unit::Quantity, 0.0, 20.0, 0.2)];
    let values = [vec![Some(20.0)], vec![Some(0.0)]];
    let some: Vec<Comparable> = (0..8).map(|i| Comparable { values: values[i % 2].clone(), ..past(4.0) }).collect();
    let sure = AskedLine { prices: vec![1.0], ..line(4.0, 1) };
    let fitted = fit(&sure, &basis(&sure, &some).unwrap(), &some, &once).unwrap();
    assert!(near(fitted.movers[0].as_ref().unwrap().done, 1.0));
    // Six of eight have it: shop (6 + 1) ∕ 9, comparables (6 + 7 ∕ 9) ∕ 9.
    assert!(near(got.movers[2].as_ref().unwrap().done, (6.0 + 7.0 / 9.0) / 9.0));
    let cost = simulate(&[(asked.clone(), got)], &OverheadRates::default(), 100, 1).unwrap();
    assert_eq!(cost.movers.iter().map(|m| m.name.as_str()).collect::<Vec<_>>(), ["sometimes"]);
    // No record at all: the handbook alone, always done, and who has no handbook is absent.
    let none = fit(&asked, &basis(&asked, &[]).unwrap(), &[], &movers).unwrap();
    assert_eq!(none.absent, [0, 1]);
    let alone = none.movers[2].as_ref().unwrap();
    assert!(near(alone.done, 1.0) && near(alone.rung.unwrap().driver.median, 20.0));
    assert!(near(alone.rung.unwrap().driver.scale, 0.2 * 1.25_f64.sqrt()));
    assert!(near(alone.rung.unwrap().effective, 0.0) && near(none.loss.0, 0.6) && near(none.loss.1, 5.4));
    assert!(simulate(&[(asked, none)], &OverheadRates::default(), 100, 1).is_some());
}

#[test]
fn a_family_never_cast_learns_from_the_others() {
    let cast = Comparable { poured_over_net: Some(2.5), lost_share: Some(-0.01), castings: 20, failed: 10, ..past(4.0) };
    let record = many(50, &cast);
    let asked = AskedLine { family: 3, ..line(4.0, 1) };
    let got = fit(&asked, &basis(&asked, &record).unwrap(), &record, &[]).unwrap();
    assert!(got.poured_over_net.driver.median > 2.4 && near(got.poured_over_net.effective, 50.0));
    assert!(got.loss.0 > 500.0 && got.lost_share.driver.median < 0.007);
}

#[test]
fn a_kernel_of_given_weights() {
    let got = Kernel::weighted(vec![1.0, 0.5, 0.0], 0.5).unwrap();
    assert!(near(got.effective, 2.25 / 1.25));
    assert_eq!(Kernel::weighted(vec![1.0, -0.5], 0.5), None);
    assert_eq!(Kernel::weighted(vec![f64::NAN], 0.5), None);
    assert!(Kernel::weighted(Vec::new(), 0.5).unwrap().effective.abs() < f64::EPSILON);
}
