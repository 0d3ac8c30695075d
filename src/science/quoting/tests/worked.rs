//! Quotes worked by hand, to the cent.

use super::*;

/// Two movers of each kind of counting.
fn movers() -> Vec<MoverFit> {
    vec![
        mover("shelling", Per::Casting, Unit::Minutes, known(30.0, 0.0)),
        mover("slurry", Per::Casting, Unit::Quantity, known(4.0, 0.0)),
        mover("chasing", Per::Piece, Unit::Minutes, known(50.0, 0.0)),
        mover("mould", Per::Line, Unit::Minutes, known(100.0, 0.0)),
    ]
}

fn asked() -> AskedLine {
    AskedLine { metal_per_kg: 1_500.0, prices: vec![80.0, 250.0, 90.0, 100.0], fixed: 5_000.0, per_piece: 700.0, ..line(10.0, 3) }
}

const OVERHEAD: OverheadRates = OverheadRates { of_work: 0.2, per_minute: 5.0, per_poured_kg: 10.0 };

#[test]
fn every_copy_good_at_once() {
    let got = simulate(&[(asked(), certain(movers()))], &OVERHEAD, 50, 1).unwrap();
    // Net 10 kg, poured 20 kg. Metal of a good casting 1500 × (10 + 0.1 × 20) = 18,000.
    // Shelling 30 × (80 × 1.2 + 5) = 3,030; slurry 4 × 250 = 1,000; poured 20 × 10 = 200.
    // Chasing 50 × (90 × 1.2 + 5) = 5,650. Mould 100 × (100 × 1.2 + 5) = 12,500.
    // Three copies: 3 × (18,000 + 3,030 + 1,000 + 200 + 5,650 + 700) = 3 × 28,580 = 85,740.
    // Once: 12,500 + 5,000. In all 103,240.
    for total in [got.median, got.q10, got.q90, got.mean] {
        assert!(near(total, 103_240.0), "{got:?}");
    }
    assert!(got.spread.abs() < f64::EPSILON && got.movers.iter().all(|m| m.share_of_spread.abs() < f64::EPSILON));
    // One casting more: 18,000 + 3,030 + 1,000 + 200. Minutes 3 × (30 + 50) + 100.
    let one = &got.lines[0];
    assert!(near(one.one_more, 22_230.0) && near(one.minutes, 340.0) && near(one.poured_kg, 60.0), "{one:?}");
    let adds = |name: &str| got.movers.iter().find(|m| m.name == name).unwrap().mean;
    assert!(near(adds(METAL), 45_000.0) && near(adds(METAL_LOST), 9_000.0) && near(adds(POURED), 600.0));
    assert!(near(adds("shelling"), 9_090.0) && near(adds("slurry"), 3_000.0) && near(adds("chasing"), 16_950.0));
    assert!(near(adds("mould"), 12_500.0) && !got.movers.iter().any(|m| m.name == RECAST));
    assert!(near(got.chance_above(103_239.0), 1.0) && near(got.chance_above(103_241.0), 0.0));
}

#[test]
fn every_attempt_fails() {
    let doomed = Fit { loss: (1e9, 1e-9), ..certain(movers()) };
    let got = simulate(&[(asked(), doomed.clone())], &OVERHEAD, 50, 1).unwrap();
    // Nine attempts, each 3,030 + 1,000 + 200 and metal lost 1500 × 0.25 × 20 = 7,500, so 11,730;
    // nothing chased or delivered: 9 × 11,730 + 12,500 + 5,000 = 123,070.
    assert!(near(got.median, 123_070.0), "{}", got.median);
    let one = &got.lines[0];
    assert!(near(one.castings_mean, 9.0) && near(one.poured_kg, 180.0) && near(one.minutes, 370.0));
    assert!((one.lost - 1.0).abs() < 1e-6 && (one.mean_loss - 1.0).abs() < 1e-6);
    // As if good at once 103,240; the luck of failures adds the rest.
    assert!(near(got.movers.iter().find(|m| m.name == RECAST).unwrap().mean, 19_830.0));
    // On the client from the second attempt of a copy: 3 × 11,730 + 17,500 = 52,690.
    let borne = AskedLine { client_bears_recast: true, ..asked() };
    let got = simulate(&[(borne, doomed.clone())], &OVERHEAD, 50, 1).unwrap();
    assert!(near(got.median, 52_690.0) && near(got.lines[0].castings_mean, 9.0), "{}", got.median);
    // A unique work: what it costs if it is not lost, and how likely that is, apart.
    let unique = AskedLine { most_attempts: 1, ..asked() };
    let got = simulate(&[(unique, doomed)], &OVERHEAD, 50, 1).unwrap();
    assert!(near(got.median, 103_240.0) && (got.lines[0].lost - 1.0).abs() < 1e-6);
}

#[test]
fn lines_add_up() {
    let small = AskedLine { fixed: 0.0, prices: vec![0.0, 250.0], ..asked() };
    let got = simulate(&[(asked(), certain(movers())), (small, certain(movers()))], &OVERHEAD, 50, 1).unwrap();
    // The second: 3 × (18,000 + 1,000 + 200 + 700) = 59,700.
    assert!(near(got.median, 162_940.0) && got.lines.len() == 2 && near(got.lines[1].minutes, 0.0), "{got:?}");
}
