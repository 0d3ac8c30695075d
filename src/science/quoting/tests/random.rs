//! Whatever comes in, no figure is NaN and nothing stops.

use proptest::collection::vec;
use proptest::prelude::*;

use super::*;
use crate::science::statistics::quoting::Calibration;

/// Any number a record could hold by mistake, sane ones mostly.
fn wild() -> impl Strategy<Value = f64> {
    prop_oneof![6 => 1e-3..1e4_f64, 1 => Just(0.0), 1 => any::<f64>(), 1 => Just(f64::NAN), 1 => -5.0..5.0_f64]
}

fn comparable() -> impl Strategy<Value = Comparable> {
    let ratios = vec(prop::option::of(wild()), 4);
    let values = vec(prop::option::of(wild()), 0..4);
    (wild(), 0..3_u8, wild(), 0..30_u32, 0..40_u32, ratios, values).prop_map(
        |(mass, family, wall, castings, failed, r, values)| Comparable {
            family,
            section_mm: wall,
            castings,
            failed,
            net_over_estimate: r[0],
            poured_over_net: r[1],
            lost_share: r[2],
            failed_share: r[3],
            values,
            ..past(mass)
        },
    )
}

fn asked() -> impl Strategy<Value = AskedLine> {
    (wild(), 0..4_u8, 0..50_u32, 0..5_u32, any::<bool>(), wild(), vec(wild(), 0..4), wild()).prop_map(
        |(mass, family, copies, most, client, metal, prices, fixed)| AskedLine {
            family,
            most_attempts: most,
            client_bears_recast: client,
            metal_per_kg: metal,
            prices,
            fixed,
            ..line(mass, copies)
        },
    )
}

fn movers() -> Vec<MoverSpec> {
    vec![
        spec("a", Per::Casting, Unit::Minutes, 0.65, 60.0, 0.3),
        MoverSpec { handbook: None, ..spec("b", Per::Piece, Unit::Quantity, 1.0, 1.0, 1.0) },
        spec("c", Per::Line, Unit::Minutes, 0.0, f64::NAN, 0.3),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn nothing_is_nan(record in vec(comparable(), 0..30), lines in vec(asked(), 1..3), share in wild(), seed in any::<u64>()) {
        let specs = &movers()[..if seed % 4 == 0 { 3 } else { 2 }];
        let mut fitted = Vec::new();
        for line in lines {
            let Some(found) = basis(&line, &record) else { continue };
            prop_assert!(found.effective.is_finite() && found.members.windows(2).all(|w| w[0].1 >= w[1].1));
            let Some(fit) = fit(&line, &found, &record, specs) else { continue };
            prop_assert!(fit.loss.0.is_finite() && fit.loss.1.is_finite());
            for one in fit.movers.iter().flatten() {
                prop_assert!((0.0..=1.0).contains(&one.done));
            }
            fitted.push((line, fit));
        }
        let overhead = OverheadRates { of_work: share, per_minute: 0.0, per_poured_kg: 1.0 };
        if let Some(got) = simulate(&fitted, &overhead, 60, seed) {
            for value in [got.median, got.q10, got.q90, got.spread, got.mean] {
                prop_assert!(value.is_finite() && value >= 0.0);
            }
            prop_assert!(got.q10 <= got.median && got.median <= got.q90);
            for one in &got.lines {
                let values = [one.castings_mean, one.castings_q90, one.lost, one.mean_loss, one.one_more, one.poured_kg];
                prop_assert!(values.iter().chain(&[one.poured_kg_q90, one.minutes]).all(|v| v.is_finite() && *v >= 0.0), "{one:?}");
            }
            let shares: f64 = got.movers.iter().map(|m| m.share_of_spread).sum();
            prop_assert!(near(shares, 1.0) || shares.abs() < f64::EPSILON, "{shares}");
            prop_assert!(got.movers.iter().all(|m| m.low.is_finite() && m.high.is_finite() && m.mean.is_finite()));
            let chance = chance_of_loss(got.median, &got, &Calibration::new(&[]).unwrap()).unwrap();
            prop_assert!((0.0..=1.0).contains(&chance));
        }
    }

    #[test]
    fn stages_always_add_up(total in any::<i64>(), shares in vec(wild(), 0..9)) {
        let named: Vec<(String, f64)> = shares.iter().map(|s| (String::new(), *s)).collect();
        let got = stages(total, &named);
        if !got.is_empty() {
            prop_assert_eq!(got.iter().map(|(_, part)| i128::from(*part)).sum::<i128>(), i128::from(total));
            prop_assert!(total.abs() > 1 << 52 || got.iter().all(|(_, part)| part.signum() * total.signum() >= 0));
        }
    }
}
