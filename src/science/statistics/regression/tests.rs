use proptest::prelude::*;

use super::*;

#[test]
fn what_has_no_fit_is_named() {
    assert_eq!(least_squares(&[vec![1.0, 2.0]], &[1.0]).unwrap_err(), NoFit::Lengths);
    assert_eq!(least_squares(&[vec![1.0, 2.0]], &[1.0, 2.0]).unwrap_err(), NoFit::TooFew);
    assert_eq!(least_squares(&[vec![1.0, 2.0, f64::NAN]], &[1.0, 2.0, 3.0]).unwrap_err(), NoFit::NotFinite);
    let (a, twice) = (vec![1.0, 2.0, 3.0, 5.0], vec![2.0, 4.0, 6.0, 10.0]);
    assert_eq!(least_squares(&[a, twice], &[1.0, 0.0, 1.0, 0.0]).unwrap_err(), NoFit::Collinear);
    assert_eq!(least_squares(&[vec![3.0; 4]], &[1.0, 0.0, 1.0, 0.0]).unwrap_err(), NoFit::Collinear);
    assert_eq!(Line::fit(&[2.0; 3], &[1.0, 2.0, 3.0]).unwrap_err(), NoFit::Collinear);
    assert_eq!(Line::fit(&[1.0, 2.0], &[1.0, 2.0]).unwrap_err(), NoFit::TooFew);
    assert_eq!(LogLog::fit(&[1.0, 2.0, 0.0], &[1.0, 2.0, 3.0]).unwrap_err(), NoFit::NotPositive);
    assert_eq!(theil_sen(&[2.0; 3], &[1.0, 2.0, 3.0]).unwrap_err(), NoFit::Collinear);
    assert_eq!(quantile_line(&[2.0; 3], &[1.0, 2.0, 3.0], 0.5).unwrap_err(), NoFit::Collinear);
    assert_eq!(quantile_line(&[1.0, 2.0], &[1.0, 2.0], 1.0).unwrap_err(), NoFit::Level);
    assert_eq!(split_conformal(&[1.0], 0.0, 1.0, ScoreKind::Absolute).unwrap_err(), NoFit::Level);
    assert_eq!(split_conformal(&[1.0], 0.2, -1.0, ScoreKind::Ratio).unwrap_err(), NoFit::NotPositive);
    assert_eq!(conformal_coverage(3, 0.2), Ok(None));
    // One point apart from the rest: without it no line.
    assert_eq!(jackknife_plus(&[1.0, 1.0, 2.0], &[1.0, 2.0, 3.0], 1.5, 0.2, Model::Line).unwrap_err(), NoFit::Collinear);
    let line = Line::fit(&[1.0, 2.0, 3.0], &[1.0, 2.0, 4.0]).unwrap();
    assert!(line.predict(3.5, 0.8).unwrap().outside && !line.predict(3.0, 0.8).unwrap().outside);
    assert_eq!(line.predict(1.0, 1.0).unwrap_err(), NoFit::Level);
}

#[test]
fn the_levels_need_what_they_need() {
    // 80 % takes 4 jobs, 90 % takes 9, 95 % takes 19.
    for (alpha, least) in [(0.2, 4), (0.1, 9), (0.05, 19)] {
        assert_eq!(conformal_coverage(least - 1, alpha), Ok(None));
        assert_eq!(conformal_coverage(least, alpha).unwrap().unwrap().rank, least);
    }
}

#[test]
fn one_wild_job_does_not_rule() {
    let x: Vec<f64> = (0..11).map(f64::from).collect();
    let mut y: Vec<f64> = x.iter().map(|x| 3.0 + 2.0 * x).collect();
    y[9] = 500.0;
    let robust = theil_sen(&x, &y).unwrap();
    assert!((robust.slope - 2.0).abs() < 1e-12 && (robust.intercept - 3.0).abs() < 1e-12);
    let median = quantile_line(&x, &y, 0.5).unwrap();
    assert!((median.slope - 2.0).abs() < 1e-12 && (median.intercept - 3.0).abs() < 1e-12);
    assert!(Line::fit(&x, &y).unwrap().slope > 10.0);
}

/// The least loss over all lines through two points.
fn all_pairs(x: &[f64], y: &[f64], tau: f64) -> f64 {
    let mut best = f64::INFINITY;
    for i in 0..x.len() {
        for j in 0..i {
            if (x[i] - x[j]).abs() > 0.0 {
                let slope = (y[i] - y[j]) / (x[i] - x[j]);
                let check = |r: f64| if r >= 0.0 { tau * r } else { (tau - 1.0) * r };
                best = best.min(x.iter().zip(y).map(|(u, v)| check(v - y[i] - slope * (u - x[i]))).sum());
            }
        }
    }
    best
}

proptest! {
    #[test]
    fn no_line_is_lower(points in prop::collection::vec((0_i32..9, 0_i32..12), 2..16), tau in 0.05_f64..0.95, part in 0.0_f64..1.0) {
        // Whole numbers bring ties and several points on one line.
        let x: Vec<f64> = points.iter().map(|p| f64::from(p.0)).collect();
        let y: Vec<f64> = points.iter().enumerate().map(|(i, p)| f64::from(p.1) + if part > 0.5 { part * (i as f64).sin() } else { 0.0 }).collect();
        match quantile_line(&x, &y, tau) {
            Ok(got) => {
                let want = all_pairs(&x, &y, tau);
                prop_assert!((got.loss - want).abs() <= 1e-9 * want.max(1.0), "{} {}", got.loss, want);
            }
            Err(cause) => prop_assert!(cause == NoFit::Collinear && x.iter().all(|v| (v - x[0]).abs() < f64::EPSILON)),
        }
    }

    #[test]
    fn a_line_is_least_squares_on_one_column(points in prop::collection::vec((-50_i32..50, -50_i32..50), 4..20)) {
        let x: Vec<f64> = points.iter().map(|p| f64::from(p.0)).collect();
        let y: Vec<f64> = points.iter().map(|p| f64::from(p.1)).collect();
        let (line, columns) = (Line::fit(&x, &y), least_squares(&[x], &y));
        prop_assert_eq!(line.is_ok(), columns.is_ok());
        if let (Ok(line), Ok(columns)) = (line, columns) {
            prop_assert!((line.slope - columns.coefficients[1]).abs() < 1e-9);
            prop_assert!((line.intercept - columns.coefficients[0]).abs() < 1e-8);
            prop_assert!((line.residual_sd - columns.residual_sd).abs() < 1e-8);
        }
    }
}
