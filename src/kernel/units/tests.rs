use proptest::prelude::*;

use super::*;

fn near(got: f64, want: f64, relative: f64) {
    assert!((got - want).abs() <= relative * want.abs(), "got {got}, want {want}");
}

#[test]
fn factors_are_those_of_nist_sp_811() {
    // NIST SP 811 (2008), Appendix B.8: the defining relations behind each factor.
    near(PSI_PA, 0.453_592_37 * 9.806_65 / (0.0254 * 0.0254), 1e-15);
    near(LB_PER_IN3_G_CM3, 453.592_37 / (2.54 * 2.54 * 2.54), 1e-15);
    near(OUNCE_G, POUND_KG * 1e3 / 16.0, 1e-15);
    near(TROY_OUNCE_G, 480.0 * 0.064_798_91, 1e-15);
    near(PENNYWEIGHT_G, 24.0 * 0.064_798_91, 1e-15);
    near(FOOT_MM, 12.0 * INCH_MM, 1e-15);
    near(US_GALLON_L, 231.0 * 0.016_387_064, 1e-15);
    near(BTU_PER_LB_J_KG, BTU_J / POUND_KG, 1e-11);
    near(BTU_PER_LB_F_J_KG_K, BTU_J * 1.8 / POUND_KG, 1e-11);
    near(BTU_PER_FT_H_F_W_M_K, BTU_J * 1.8 / (0.3048 * 3600.0), 1e-15);
    // Printed beside them: 32.150 75 troy ounces a kilogram, 1.097 14 oz a troy ounce.
    near(1e3 / TROY_OUNCE_G, 32.150_75, 1e-6);
    near(TROY_OUNCE_G / OUNCE_G, 1.097_14, 1e-5);
}

#[test]
fn exact_masses() {
    // NIST SP 811 (2008), Appendix B.8, to the milligram.
    for (typed, mg) in [
        ("1 lb", 453_592),
        ("100 lb", 45_359_237),
        ("1 oz", 28_350),
        ("1000 ozt", 31_103_477),
        ("100 dwt", 155_517),
        ("1 kg", 1_000_000),
        ("850 g", 850_000),
        ("0.0005 g", 0),
        ("0.0015 g", 2),
    ] {
        assert_eq!(Units::Metric.read_mass(typed), Ok(Mass::from_mg(mg)), "{typed}");
    }
}

#[test]
fn u4_and_u5_sheet_conversions() {
    // U4 (published): Conex Casting, C86300 sheet, data credited to CDA.
    near(celsius_from_fahrenheit(1693.0), 923.0, 0.005);
    near(celsius_from_fahrenheit(1625.0), 885.0, 0.005);
    near(0.283 * LB_PER_IN3_G_CM3, 7.83, 0.005);
    near(20.5 * BTU_PER_FT_H_F_W_M_K, 35.5, 0.005);
    // U5 (published): Bronze Bearings Inc., C95400 sheet, data credited to CDA.
    near(0.269 * LB_PER_IN3_G_CM3, 7.45, 0.005);
    near(fahrenheit_from_celsius(100.0), 212.0, 1e-15);
}

#[test]
fn w6_and_w7_read_alike_in_both_units() {
    // W6 and W7 (our arithmetic): the answers 8.99 kg and 7.77 kg as a shop sees them.
    let answer = MassUnit::Kilogram.read("8.99").unwrap();
    assert_eq!(Units::Metric.mass_text(answer), "8.99 kg");
    assert_eq!(Units::Us.mass_brief(answer, 2), "19.82 lb");
    let answer = MassUnit::Kilogram.read("7.77").unwrap();
    assert_eq!(Units::Us.mass_brief(answer, 1), "17.1 lb");
    let wax = Units::Metric.read_mass("5.5 g").unwrap();
    assert_eq!(Units::Metric.mass_text(wax), "5.5 g");
}

#[test]
fn what_was_typed_comes_back() {
    let mass = Units::Us.read_mass("26.45").unwrap();
    assert_eq!(mass, Mass::from_mg(11_997_518));
    assert_eq!(Units::Us.mass_field(mass), "26.45");
    assert_eq!(Units::Us.mass_text(mass), "26.45 lb");
    let pour = Units::Us.read_temperature("2150").unwrap();
    assert_eq!(Units::Us.temperature_text(pour), "2150 °F");
    assert_eq!(Units::Metric.temperature_brief(pour), "1177 °C");
    let wall = Units::Us.read_length("0.1875").unwrap();
    assert_eq!(Units::Us.length_text(wall), "0.1875 in");
    assert_eq!(Units::Metric.length_field(wall), "4.7625");
    assert_eq!(Units::Metric.read_length("1 ft"), Units::Us.read_length("12"));
    assert_eq!(Units::Us.read_temperature("-40"), Units::Metric.read_temperature("-40"));
}

#[test]
fn what_is_no_value_says_why() {
    let read = |text| Units::Us.read_mass(text);
    assert_eq!(read(""), Err(ReadError::Empty));
    assert_eq!(read("lb"), Err(ReadError::Empty));
    assert_eq!(read("1,200"), Err(ReadError::UnknownUnit));
    assert_eq!(read("."), Err(ReadError::NotANumber));
    assert_eq!(read("1.2.3"), Err(ReadError::NotANumber));
    assert_eq!(read("5 stone"), Err(ReadError::UnknownUnit));
    assert_eq!(read("1e3"), Err(ReadError::UnknownUnit));
    assert_eq!(read("NaN"), Err(ReadError::UnknownUnit));
    assert_eq!(read("1000001 kg"), Err(ReadError::OutOfRange));
    assert_eq!(read("1234567890123456789"), Err(ReadError::OutOfRange));
    assert_eq!(Units::Us.read_temperature("-460"), Err(ReadError::OutOfRange));
    assert_eq!(Units::Us.read_temperature("70 K"), Err(ReadError::UnknownUnit));
    assert_eq!(Units::Us.read_temperature("70 °"), Err(ReadError::UnknownUnit));
    assert_eq!(Units::Metric.read_length("0"), Err(ReadError::OutOfRange));
}

/// A number without trailing zeros, as a person types it.
fn plain(digits: i64, places: usize) -> String {
    let sign = if digits < 0 { "-" } else { "" };
    let padded = format!("{:0>width$}", digits.abs(), width = places + 1);
    let (whole, part) = padded.split_at(padded.len() - places);
    let part = part.trim_end_matches('0');
    let point = if part.is_empty() { "" } else { "." };
    let text = format!("{sign}{whole}{point}{part}");
    if text == "-0" { "0".to_owned() } else { text }
}

proptest! {
    #[test]
    fn any_typed_mass_comes_back(digits in -9_999_999_999_i64..9_999_999_999, places in 0_usize..=5) {
        let typed = plain(digits % 20_000_000, places);
        for units in [Units::Metric, Units::Us] {
            if let Ok(mass) = units.read_mass(&typed) {
                prop_assert_eq!(units.mass_field(mass), typed.clone());
            }
        }
    }

    #[test]
    fn any_typed_temperature_and_length_come_back(digits in 1_i64..299_999_999, places in 0_usize..=5) {
        let typed = plain(digits, places);
        for units in [Units::Metric, Units::Us] {
            if let Ok(temperature) = units.read_temperature(&typed) {
                prop_assert_eq!(units.temperature_field(temperature), typed.clone());
            }
            if let Ok(length) = units.read_length(&typed) {
                prop_assert_eq!(units.length_field(length), typed.clone());
            }
        }
    }

    #[test]
    fn a_form_saved_untouched_changes_nothing(mg in -1_000_000_000_000_i64..=1_000_000_000_000, micro in -273_150_000_i64..3_000_000_000) {
        let mass = Mass::from_mg(mg);
        let temperature = Units::Metric
            .read_temperature(&plain(micro, 6))
            .unwrap();
        for units in [Units::Metric, Units::Us] {
            prop_assert_eq!(units.read_mass(&units.mass_field(mass)), Ok(mass));
            prop_assert_eq!(units.read_mass(&units.mass_text(mass)), Ok(mass));
            prop_assert_eq!(units.read_temperature(&units.temperature_field(temperature)), Ok(temperature));
        }
    }
}
