//! C1 to C10: Chvorinov's rule.

use super::{minutes, mm, near, within};
use crate::science::trade::measure::{Area, MouldConstant, Seconds, Volume};
use crate::science::trade::solidification::{Body, freezing_time, modulus, mould_constant, riser_diameter};

fn plate(a: f64, b: f64, c: f64) -> Body {
    Body::Block { edges: [mm(a), mm(b), mm(c)] }
}

fn cylinder(diameter: f64, height: f64) -> Body {
    Body::Cylinder { diameter: mm(diameter), height: mm(height) }
}

/// The constant of a body that froze in a time.
fn timed(body: Body, minutes_taken: f64) -> MouldConstant {
    mould_constant(minutes(minutes_taken), body.modulus().unwrap()).unwrap()
}

fn time(constant: MouldConstant, body: Body) -> Seconds {
    freezing_time(constant, body.modulus().unwrap()).unwrap()
}

#[test]
fn c1_steel_plate_and_its_riser() {
    // C1, published: Groover-type example (document share 514612776); V/A and D are
    // printed to two figures, so they are held to half of the last one.
    let plate = plate(75.0, 125.0, 20.0);
    let constant = timed(plate, 1.6);
    assert!((plate.modulus().unwrap().get() / 10.0 - 0.70).abs() < 0.005);
    near(constant.get() * 100.0 / 60.0, 3.26);
    let riser = riser_diameter(constant, minutes(2.0)).unwrap().get();
    near(riser / 10.0, 4.7);
    near(cylinder(riser, riser).volume().unwrap().cm3(), 81.6);
}

#[test]
fn c2_plate_and_its_riser() {
    // C2, published: GATE ME 2018, gate-exam.in.
    let constant = timed(plate(80.0, 120.0, 20.0), 2.0);
    near(constant.get() / 60.0, 0.040_14);
    near(riser_diameter(constant, minutes(3.0)).unwrap().get(), 51.87);
}

#[test]
fn c3_time_of_a_riser() {
    // C3, our arithmetic: GATE Mechanical statement, key not seen.
    let constant = timed(plate(70.0, 100.0, 20.0), 1.36);
    near(time(constant, cylinder(60.0, 60.0)).minutes(), 3.00);
}

#[test]
fn c4_cube_and_sphere_of_one_volume() {
    // C4, recalled: GATE ME statement, gate-exam.in.
    let cube = Body::cube(mm(100.0));
    let constant = mould_constant(Seconds::new(4.0).unwrap(), cube.modulus().unwrap()).unwrap();
    let sphere = Body::sphere_of(cube.volume().unwrap()).unwrap();
    near(time(constant, sphere).get(), 6.157);
}

#[test]
fn c5_cube_with_an_insulated_face() {
    // C5, recalled: GATE ME statement, gate-exam.in.
    let cube = Body::cube(mm(100.0));
    let plain = cube.modulus().unwrap();
    let open = Area::new(cube.area().unwrap().get() * 5.0 / 6.0).unwrap();
    let insulated = modulus(cube.volume().unwrap(), open).unwrap();
    let constant = MouldConstant::new(1.0).unwrap();
    let ratio = freezing_time(constant, insulated).unwrap().get() / freezing_time(constant, plain).unwrap().get();
    within(ratio, 36.0 / 25.0, 1e-12);
}

#[test]
fn c7_cube_and_a_riser_a_quarter_slower() {
    // C7, published for the constant: learnexams 2025; the diameter is computed.
    let constant = timed(Body::cube(mm(30.0)), 4.0);
    within(constant.get() / 60.0, 0.16, 1e-12);
    near(riser_diameter(constant, minutes(5.0)).unwrap().get(), 33.54);
}

#[test]
fn c8_sphere_cylinder_and_cube_alike() {
    // C8, recalled: Groover problem statement (study.com).
    let constant = MouldConstant::new(3.5 * 60.0 / 100.0).unwrap();
    let sphere = Body::Sphere { diameter: mm(100.0) };
    for body in [sphere, cylinder(100.0, 100.0), Body::cube(mm(100.0))] {
        near(body.modulus().unwrap().get() / 10.0, 1.667);
        near(time(constant, body).minutes(), 9.72);
    }
}

#[test]
fn c9_round_bar_against_rectangular() {
    // C9, published: ME 324 homework 8 solution, Iowa State 2008 (Kalpakjian problem).
    let round = cylinder(100.0, 500.0);
    let side = (std::f64::consts::PI * 2500.0 / 2.0).sqrt();
    let bar = plate(side, 2.0 * side, 500.0);
    within(bar.volume().unwrap().get(), round.volume().unwrap().get(), 1e-12);
    near(round.area().unwrap().get(), 172_787.0);
    near(bar.area().unwrap().get(), 203_710.0);
    let constant = MouldConstant::new(1.0).unwrap();
    near(time(constant, bar).get() / time(constant, round).get(), 0.72);
}

#[test]
fn c10_flat_cylinder_in_inches() {
    // C10, published: ME 324 homework 8 solution, Iowa State 2008.
    let inch = 25.4_f64;
    let body = cylinder(8.0 * inch, 2.0 * inch);
    near(body.volume().unwrap().get() / inch.powi(3), 100.5);
    near(body.area().unwrap().get() / inch.powi(2), 150.8);
    let unit = MouldConstant::new(1.0 / inch.powi(2)).unwrap();
    near(time(unit, body).get(), 0.444);
}

#[test]
fn a_body_past_counting_has_no_volume() {
    assert_eq!(Volume::new(f64::INFINITY), None);
    assert!(Body::sphere_of(Volume::new(1e300).unwrap()).is_none());
}
