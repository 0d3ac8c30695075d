//! Y2 to Y5, U4 to U9.

use super::{kilograms, mm, near, percent, within};
use crate::kernel::quantity::{Celsius, Mass, Money};
use crate::science::trade::measure::{Seconds, Volume};
use crate::science::trade::yields::{implied_price, volume_yield, yield_of};
use crate::science::trade::{Catalogue, CupReading, cup_seconds_to_cst};

#[test]
fn y2_price_behind_a_loss() {
    // Y2, our arithmetic: yearly figures from a furnace maker's metal-yield note.
    let melted = kilograms(5_000_000.0);
    let price = implied_price(melted, percent(1.0), Money::from_minor(7_000_000)).unwrap();
    assert_eq!(price.lost, kilograms(50_000.0));
    assert_eq!(price.minor_per_kg, 140);
    assert_eq!(implied_price(Mass::ZERO, percent(1.0), Money::ZERO), None);
}

#[test]
fn y4_plate_with_its_riser() {
    // Y4, our arithmetic: volumes of the plate example C1.
    let part = |cm3| Volume::from_cm3(cm3).unwrap();
    near(volume_yield(part(187.5), part(81.6)).unwrap().percent(), 69.7);
}

#[test]
fn y5_yield_of_poured_and_of_charged() {
    // Y5, our arithmetic: both definitions of casting yield.
    let net = kilograms(12.0);
    near(yield_of(net, kilograms(21.4)).unwrap().percent(), 56.1);
    near(yield_of(net, kilograms(22.0)).unwrap().percent(), 54.5);
    assert_eq!(yield_of(net, Mass::ZERO), None);
    assert_eq!(yield_of(Mass::ZERO, Mass::ZERO), None);
}

#[test]
fn u4_and_u5_by_the_units_on_file() {
    // U4, published: Conex Casting C86300 (CDA). U5, published: Bronze Bearings C95400
    // (CDA). The kernel's own tests hold the constants; these hold the file.
    let trade = Catalogue::builtin().unwrap();
    let base = |code: &str, value| trade.unit(code).unwrap().to_base(value);
    near(base("degF", 1693.0), 923.0);
    near(base("degF", 1625.0), 885.0);
    near(base("lb_in3", 0.283), 7.83);
    near(base("Btu_fthF", 20.5), 35.5);
    near(base("lb_in3", 0.269), 7.45);
    let sheet = trade.alloy("C86300").unwrap();
    near(sheet.liquidus_c.unwrap(), 923.0);
    near(sheet.density_g_cm3.unwrap(), 7.83);
    near(trade.alloy("C95400").unwrap().density_g_cm3.unwrap(), 7.45);
}

fn cst(cup: &str, seconds: f64) -> CupReading {
    let cup = Catalogue::builtin().unwrap().cup(cup).unwrap();
    cup_seconds_to_cst(cup, Seconds::new(seconds).unwrap())
}

#[test]
fn u6_zahn_2() {
    // U6, published: Cannon Instrument cup table (an oil standard listed at 120).
    near(cst("zahn_2", 48.0).viscosity().unwrap().get(), 119.0);
}

#[test]
fn u7_zahn_4_and_5_on_one_oil() {
    // U7, published: Cannon Instrument cup table (both listed at 850).
    near(cst("zahn_4", 62.0).viscosity().unwrap().get(), 843.6);
    near(cst("zahn_5", 37.0).viscosity().unwrap().get(), 851.0);
}

#[test]
fn a_time_outside_a_cup_carries_no_number() {
    assert_eq!(cst("zahn_5", 12.0), CupReading::Outside { min_s: 20.0, max_s: 80.0 });
    assert_eq!(cst("zahn_5", 80.1).viscosity(), None);
    assert!(cst("zahn_5", 80.0).viscosity().is_some());
}

#[test]
fn u8_thermocouple_limit() {
    // U8, our arithmetic: rule of ASTM E230/E230M-12, greater of 2.2 or 0.75 %, ×1.8.
    let trade = Catalogue::builtin().unwrap();
    let wire = |kind: &str| {
        let mut all = trade.thermocouples.iter();
        all.find(|wire| wire.kind == kind && wire.class == "ASTM E230 standard").unwrap()
    };
    let at = |degrees| Celsius::new(degrees).unwrap();
    within(wire("K").limit(at(1200.0)).unwrap(), 9.0, 1e-12);
    within(wire("K").limit(at(1200.0)).unwrap() * 1.8, 16.2, 1e-12);
    within(wire("K").limit(at(100.0)).unwrap(), 2.2, 1e-12);
    within(wire("S").limit(at(1100.0)).unwrap(), 2.75, 1e-12);
    assert_eq!(wire("K").limit(at(1300.0)), None);
}

#[test]
fn u9_dimension_tolerance() {
    // U9, published: ISO 8062-3:2007 Table 2; Dean Group for grade 9.
    let trade = Catalogue::builtin().unwrap();
    let width = |grade, nominal| {
        let column = trade.dimension_grades.iter().find(|column| column.grade == grade).unwrap();
        column.width(mm(nominal)).map(crate::kernel::quantity::Millimetres::get)
    };
    assert_eq!(width(7, 120.0), Some(1.2));
    assert_eq!(width(9, 120.0), Some(2.5));
    assert_eq!(width(7, 100.0), Some(1.1));
    assert_eq!(width(7, 631.0), None);
}
