//! Draws against closed forms.

use super::*;
use crate::science::quoting::chance::student;
use crate::science::statistics::quoting::attempts;
use crate::science::statistics::special::normal_quantile;
use crate::science::statistics::t_quantile;

fn spread_of(fit: Fit, copies: u32, draws: u32) -> (Simulated, f64, f64) {
    let asked = AskedLine { prices: vec![1.0], ..line(5.0, copies) };
    let got = simulate(&[(asked, fit)], &OverheadRates::default(), draws, 11).unwrap();
    let n = f64::from(draws);
    let mean = got.draws.iter().sum::<f64>() / n;
    let sd = (got.draws.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / n).sqrt();
    (got, mean, sd)
}

#[test]
fn students_t_by_one_normal() {
    for freedom in [4.0, 5.0, 7.5, 12.0, 30.0, 104.0, 1e6] {
        for (p, most) in [(0.6, 0.01), (0.75, 0.01), (0.9, 0.002), (0.95, 0.01), (0.99, 0.02), (0.999, 0.04)] {
            let z = normal_quantile(p).unwrap();
            let want = t_quantile(p, freedom).unwrap();
            let got = student(z, freedom);
            assert!((got / want - 1.0).abs() < most, "{freedom} {p}: {got} for {want}");
            assert!(near(student(-z, freedom), -got));
        }
        assert!(student(0.0, freedom).abs() < f64::EPSILON && student(50.0, freedom) < 8.0);
    }
}

#[test]
fn castings_have_the_moments_of_the_closed_form() {
    // The cost is the number of castings. 8 copies are tried one by one, 60 by binomial draws.
    let draws = 40_000;
    for (copies, loss) in [(8, (2.6, 15.4)), (60, (2.6, 15.4)), (1, (0.6, 5.4))] {
        let one = mover("casting", Per::Casting, Unit::Quantity, known(1.0, 0.0));
        let (got, mean, sd) = spread_of(Fit { loss, ..certain(vec![one]) }, copies, draws);
        let want = attempts(loss.0, loss.1, 3, copies).unwrap();
        assert!((mean - want.castings).abs() < 5.0 * want.castings_sd / f64::from(draws).sqrt(), "{mean} {want:?}");
        assert!((sd / want.castings_sd - 1.0).abs() < 0.03, "{sd} {want:?}");
        assert!(near(got.lines[0].castings_mean, mean) && near(got.lines[0].lost, want.never_good));
        assert!(near(got.lines[0].mean_loss, want.mean_loss) && got.lines[0].castings_q90 >= got.lines[0].castings_mean.floor());
        // Good copies, by a mover of pieces: copies × (1 − chance that one is never good).
        let piece = mover("piece", Per::Piece, Unit::Quantity, known(1.0, 0.0));
        let fixed = AskedLine { prices: vec![1.0], fixed: 1.0, ..line(5.0, copies) };
        let fit = Fit { loss, ..certain(vec![piece]) };
        let good = simulate(&[(fixed, fit)], &OverheadRates::default(), draws, 12).unwrap().mean - 1.0;
        let off = (good / f64::from(copies) - 1.0 + want.never_good).abs();
        assert!(off < 5.0 * (want.never_good / f64::from(draws)).sqrt(), "{good} {want:?}");
    }
}

#[test]
fn one_mover_has_all_the_spread_and_its_own() {
    // ln cost is normal with 0.3: quantiles known, mean e^(0.045).
    let one = mover("work", Per::Line, Unit::Quantity, known(100.0, 0.3));
    let (got, mean, _) = spread_of(certain(vec![one]), 1, 40_000);
    assert!((got.spread - 0.3).abs() < 0.006, "{}", got.spread);
    assert!((got.median / 100.0 - 1.0).abs() < 0.01 && (mean / (100.0 * 0.045_f64.exp()) - 1.0).abs() < 0.01);
    assert_eq!(got.movers.len(), 1);
    assert!(near(got.movers[0].share_of_spread, 1.0) && near(got.movers[0].own, 9.0));
    assert!(near(got.movers[0].low, got.q10) && near(got.movers[0].high, got.q90) && near(got.mean, mean));
    assert!((got.chance_above(100.0 * 0.3_f64.exp()) - 0.158_655).abs() < 0.01);
}

#[test]
fn the_spread_is_shared_as_the_variances_are() {
    // Small spreads of equal money: variances 0.03² and 0.06², so a fifth and four fifths.
    let movers = || {
        vec![
            mover("calm", Per::Line, Unit::Quantity, known(100.0, 0.03)),
            mover("wild", Per::Line, Unit::Quantity, known(100.0, 0.06)),
        ]
    };
    let asked = AskedLine { prices: vec![1.0, 1.0], fixed: 50.0, ..line(5.0, 1) };
    let none = OverheadRates::default();
    let got = simulate(&[(asked.clone(), certain(movers()))], &none, 20_000, 3).unwrap();
    assert!((got.movers[0].share_of_spread - 0.2).abs() < 0.02, "{:?}", got.movers);
    assert!(near(got.movers.iter().map(|m| m.share_of_spread).sum(), 1.0));
    assert!(near(got.movers.iter().map(|m| m.mean).sum::<f64>() + 50.0, got.mean));
    // Two lines alike have the same luck: twice the cost, the same spread of ln.
    let line = (asked, certain(movers()));
    let twice = simulate(&[line.clone(), line], &none, 20_000, 3).unwrap();
    assert!(near(twice.median, 2.0 * got.median) && near(twice.spread, got.spread));
}

#[test]
fn what_is_done_now_and_then_costs_now_and_then() {
    let mut patina = mover("patina", Per::Line, Unit::Quantity, known(100.0, 0.0));
    patina.done = 0.3;
    let asked = AskedLine { prices: vec![1.0], fixed: 10.0, ..line(5.0, 1) };
    let got = simulate(&[(asked, certain(vec![patina]))], &OverheadRates::default(), 20_000, 5).unwrap();
    assert!((got.mean - 40.0).abs() < 5.0 * 100.0 * (0.21_f64 / 20_000.0).sqrt(), "{}", got.mean);
    assert!(near(got.q10, 10.0) && near(got.q90, 110.0));
}

#[test]
fn the_same_seed_gives_the_same_answer() {
    let one = || {
        (
            AskedLine { prices: vec![1.0], ..line(5.0, 40) },
            Fit { loss: (2.0, 9.0), ..certain(vec![mover("work", Per::Casting, Unit::Minutes, known(9.0, 0.4))]) },
        )
    };
    let run = |seed| simulate(&[one()], &OverheadRates::default(), 500, seed).unwrap();
    let here = run(7);
    let there = std::thread::spawn(move || simulate(&[one()], &OverheadRates::default(), 500, 7).unwrap()).join().unwrap();
    assert_eq!(here, there);
    assert_ne!(here.draws, run(8).draws);
}

#[test]
fn what_cannot_be_reckoned_is_refused() {
    let fit = || certain(vec![mover("work", Per::Casting, Unit::Quantity, known(9.0, 0.4))]);
    let asked = || AskedLine { prices: vec![1.0], ..line(5.0, 2) };
    let none = OverheadRates::default();
    let refused = |line: AskedLine| basis(&line, &[]).is_none() && simulate(&[(line, fit())], &none, 9, 1).is_none();
    assert!(simulate(&[(asked(), fit())], &none, 1, 1).is_some());
    assert!(simulate(&[(asked(), fit())], &none, 0, 1).is_none());
    assert!(simulate(&[(asked(), fit())], &none, 1_000_001, 1).is_none());
    assert!(simulate(&[], &none, 9, 1).is_none());
    assert!(refused(AskedLine { copies: 0, ..asked() }));
    assert!(refused(AskedLine { most_attempts: 0, ..asked() }));
    assert!(refused(AskedLine { mass_kg: 0.0, ..asked() }));
    assert!(refused(AskedLine { metal_per_kg: f64::NAN, ..asked() }));
    assert!(refused(AskedLine { prices: vec![-1.0], ..asked() }));
    assert!(simulate(&[(asked(), fit())], &OverheadRates { of_work: f64::NAN, ..none }, 9, 1).is_none());
    // A total of nothing has no ln.
    assert!(simulate(&[(line(5.0, 1), fit())], &none, 9, 1).is_none());
}
