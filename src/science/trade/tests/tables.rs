//! The files of `data/trade` hold together.

use std::collections::BTreeSet;

use super::mm;
use crate::kernel::quantity::Celsius;
use crate::kernel::units;
use crate::science::trade::alloy::{LEADED_PERCENT, ZINC_RICH_PERCENT};
use crate::science::trade::{Alloy, AlloyFamily, Catalogue, MetalGroup, Practice, Reading, TradeStep};

fn trade() -> &'static Catalogue {
    Catalogue::builtin().unwrap()
}

#[track_caller]
fn no_code_twice<'a>(codes: impl Iterator<Item = &'a str>) {
    let mut seen = BTreeSet::new();
    for code in codes {
        assert!(seen.insert(code.to_ascii_lowercase()), "{code} is there twice");
    }
    assert!(!seen.is_empty());
}

#[test]
fn every_code_is_there_once() {
    let trade = trade();
    no_code_twice(trade.alloys.iter().flat_map(|alloy| {
        let aliases = alloy.aliases.iter().map(String::as_str);
        std::iter::once(alloy.designation.as_str()).chain(aliases)
    }));
    no_code_twice(trade.pattern_materials.iter().map(|entry| entry.code.as_str()));
    no_code_twice(trade.defects.iter().map(|entry| entry.code.as_str()));
    no_code_twice(trade.cups.iter().flat_map(|cup| [cup.code.as_str(), cup.name.as_str()]));
    no_code_twice(trade.units.iter().map(|entry| entry.code.as_str()));
    no_code_twice(trade.cautions.iter().map(|entry| entry.code.as_str()));
    no_code_twice(trade.operations.iter().map(|entry| entry.code.as_str()));
    no_code_twice(trade.practices.iter().map(|entry| entry.code.as_str()));
}

/// The fields of an alloy that hold something that must have a source.
fn sourced_fields(alloy: &Alloy) -> Vec<String> {
    let value = serde_json::to_value(alloy).unwrap();
    let plain = ["designation", "aliases", "common_name", "family", "notes", "sources", "from_memory"];
    let held = |value: &serde_json::Value| !value.is_null() && !value.as_object().is_some_and(serde_json::Map::is_empty);
    let fields = value.as_object().unwrap().iter();
    fields.filter(|(name, value)| !plain.contains(&name.as_str()) && held(value)).map(|(name, _)| name.clone()).collect()
}

#[test]
fn every_figure_of_an_alloy_has_its_source() {
    for alloy in &trade().alloys {
        let name = &alloy.designation;
        let fields = sourced_fields(alloy);
        for field in &fields {
            let source = alloy.source_of(field);
            assert!(source.is_some_and(|text| !text.is_empty()), "{name} {field}");
        }
        for field in &alloy.from_memory {
            assert!(fields.contains(field), "{name}: {field} is recalled but not there");
            let source = alloy.source_of(field).unwrap();
            assert!(source.contains("memory"), "{name} {field} does not say so: {source}");
        }
        let used: BTreeSet<_> = fields.iter().filter_map(|field| alloy.source_of(field)).collect();
        for source in alloy.sources.values() {
            assert!(used.contains(source.as_str()), "{name}: {source} stands for nothing");
        }
    }
}

#[test]
fn the_figures_of_an_alloy_make_sense() {
    for alloy in &trade().alloys {
        let name = &alloy.designation;
        let ordered = |low: Option<f64>, high: Option<f64>| low.zip(high).is_none_or(|(low, high)| low <= high);
        assert!(ordered(alloy.solidus_c, alloy.liquidus_c), "{name}");
        assert!(ordered(alloy.liquidus_c, alloy.pour_min_c), "{name}");
        assert!(ordered(alloy.pour_min_c, alloy.pour_max_c), "{name}");
        for band in [alloy.pour_light_c, alloy.pour_heavy_c].into_iter().flatten() {
            assert!(band.low < band.high, "{name}");
            assert!(ordered(alloy.pour_min_c, Some(band.low)), "{name}");
            assert!(ordered(Some(band.high), alloy.pour_max_c), "{name}");
        }
        let mut least = 0.0;
        for (element, limits) in &alloy.composition {
            assert!(limits.min.is_some() || limits.max.is_some(), "{name} {element}");
            assert!(ordered(limits.min, limits.max), "{name} {element}");
            assert!(limits.min.unwrap_or(0.0) >= 0.0 && limits.max.unwrap_or(0.0) <= 100.0);
            least += limits.min.unwrap_or(0.0);
        }
        assert!(least <= 100.0, "{name}: the least of all is {least}");
    }
}

#[test]
fn families_are_told_apart() {
    let alloy = |name: &str| trade().alloy(name).unwrap();
    let zinc_rich: Vec<_> = trade().alloys.iter().filter(|alloy| alloy.is_zinc_rich()).collect();
    let names: Vec<_> = zinc_rich.iter().map(|alloy| alloy.designation.as_str()).collect();
    assert_eq!(names, ["C87500", "C86300", "C86500", "C97300", "C99700", "ZA-12", "ZA-27"]);
    let leaded: Vec<_> = trade().alloys.iter().filter(|alloy| alloy.is_leaded()).collect();
    let names: Vec<_> = leaded.iter().map(|alloy| alloy.designation.as_str()).collect();
    assert_eq!(names, ["C92200", "C83600", "C97300", "C97600", "C99700"]);
    assert!(alloy("C95400").family.is_copper_base() && !alloy("C95400").family.is_aluminium());
    assert!(alloy("319").family.is_aluminium());
    assert_eq!(AlloyFamily::Silver.group(), MetalGroup::Other);
    let figure = |code: &str| trade().practice(code).and_then(|rule| rule.value).unwrap();
    super::within(figure("zinc_rich_percent"), ZINC_RICH_PERCENT, 0.0);
    super::within(figure("leaded_percent"), LEADED_PERCENT, 0.0);
}

#[test]
fn a_single_temperature_is_no_window() {
    assert_eq!(trade().alloy("Ag925").unwrap().pour_window(), None);
    assert_eq!(trade().alloy("C86300").unwrap().pour_window(), None);
    let (low, high) = trade().alloy("C87300").unwrap().pour_window().unwrap();
    // Art foundries pour silicon bronze at 2150 to 2200 °F: none of that is flagged.
    let usual = units::celsius_from_fahrenheit(2200.0);
    assert!(low.get() < usual && usual < high.get());
}

#[test]
fn pattern_materials_make_sense() {
    for material in &trade().pattern_materials {
        let (low, high) = (material.density_low, material.density_high);
        let inside = |density: f64| low.is_none_or(|low| low <= density) && high.is_none_or(|high| density <= high);
        assert!(material.density_g_cm3.is_none_or(inside), "{}", material.code);
        assert!(!material.source.is_empty());
        assert_eq!(material.from_memory, material.source.starts_with("from memory"));
    }
    for unknown in ["wood", "cloth", "plant", "eps"] {
        assert_eq!(trade().pattern_material(unknown).unwrap().density(), None, "{unknown}");
    }
}

#[test]
fn the_units_on_file_are_those_computed_with() {
    for (code, factor) in [
        ("lb", units::POUND_KG),
        ("oz", units::OUNCE_G / 1e3),
        ("ozt", units::TROY_OUNCE_G / 1e3),
        ("dwt", units::PENNYWEIGHT_G / 1e3),
        ("in", units::INCH_MM),
        ("ft", units::FOOT_MM),
        ("gal_us", units::US_GALLON_L),
        ("gal_imp", units::IMPERIAL_GALLON_L),
        ("kWh", units::KWH_J),
        ("Btu", units::BTU_J),
        ("cal", units::CALORIE_J),
        ("psi", units::PSI_PA),
        ("lb_in3", units::LB_PER_IN3_G_CM3),
        ("Btu_lbF", units::BTU_PER_LB_F_J_KG_K),
        ("Btu_lb", units::BTU_PER_LB_J_KG),
        ("Btu_fthF", units::BTU_PER_FT_H_F_W_M_K),
    ] {
        super::within(trade().unit(code).unwrap().factor, factor, 1e-15);
    }
    let fahrenheit = trade().unit("degF").unwrap().to_base(2150.0);
    super::within(fahrenheit, units::celsius_from_fahrenheit(2150.0), 1e-14);
}

#[test]
fn cups_start_inside_their_range() {
    for cup in &trade().cups {
        assert!(cup.a > 0.0 && cup.b < cup.min_s && cup.min_s < cup.max_s, "{}", cup.code);
        assert!(cup.cst_low < cup.cst_high, "{}", cup.code);
    }
}

#[test]
fn every_operation_of_the_book_has_a_name() {
    for code in "make_mould pull_wax chase_wax core sprue dip patch load_kiln melt pour knock_off \
                 cut_off blast chase weld straighten assemble patina wax mount crate other"
        .split_whitespace()
    {
        assert!(trade().operation(code).is_some(), "{code}");
    }
    assert_eq!(trade().operations.len(), 22);
}

#[test]
fn defects_carry_their_causes_and_sources() {
    for defect in &trade().defects {
        assert!(!defect.description.is_empty() && !defect.source.is_empty(), "{}", defect.code);
        assert!(!defect.likely_causes.is_empty() && !defect.causes_source.is_empty());
        assert_eq!(defect.is_house_code(), defect.category.contains("house"), "{}", defect.code);
    }
    for letter in ["A1", "B1", "C2", "D1", "E1", "F1", "G1", "H0"] {
        assert!(trade().defects.iter().any(|defect| defect.code.starts_with(letter)));
    }
}

#[test]
fn a_caution_is_short_at_the_step_and_defers_on_its_card() {
    for caution in &trade().cautions {
        let code = &caution.code;
        assert!(caution.line.chars().count() <= 70, "{code}: {}", caution.line);
        let sentences = caution.card.split(['.', '?']).filter(|part| part.trim().len() > 2).count();
        assert!((3..=8).contains(&sentences), "{code}: {sentences}");
        assert!(!caution.stages.is_empty() && !caution.source.is_empty(), "{code}");
    }
    let all = format!("{:?}", trade().cautions).to_lowercase();
    assert!(!all.contains("ready to pour"));
}

#[test]
fn cautions_stand_where_they_concern() {
    let trade = trade();
    let at = |step, alloy: Option<&str>, pattern: Option<&str>| {
        let alloy = alloy.map(|name| trade.alloy(name).unwrap());
        let pattern = pattern.map(|code| trade.pattern_material(code).unwrap());
        let found = trade.cautions_at(step, alloy, pattern).into_iter();
        found.map(|caution| caution.code.as_str()).collect::<BTreeSet<_>>()
    };
    assert!(at(TradeStep::Pour, Some("C87300"), None).contains("moisture_meets_metal"));
    assert!(!at(TradeStep::Pour, Some("C87300"), None).contains("zinc_fume"));
    assert!(at(TradeStep::Pour, Some("C86500"), None).contains("zinc_fume"));
    assert!(at(TradeStep::Bench, Some("C83600"), None).contains("lead"));
    // What is not known rules nothing out.
    assert!(at(TradeStep::Pour, None, None).contains("lead"));
    assert!(at(TradeStep::Burnout, None, Some("pla")).contains("pattern_fumes"));
    assert!(!at(TradeStep::Burnout, None, Some("wax_micro")).contains("pattern_fumes"));
    assert!(at(TradeStep::Burnout, None, Some("wax_micro")).contains("wax_in_kiln"));
    assert!(at(TradeStep::Shell, None, None).contains("silica_dip_room"));
    assert!(at(TradeStep::Breakout, None, None).contains("silica_knock_off"));
}

#[test]
fn practices_hold_a_figure_and_a_source() {
    for rule in &trade().practices {
        let Practice { code, value, low, high, .. } = rule;
        assert!(value.is_some() || low.is_some() || high.is_some(), "{code}");
        assert!(low.zip(*high).is_none_or(|(low, high)| low < high), "{code}");
        assert!(value.zip(*low).is_none_or(|(value, low)| low <= value), "{code}");
        assert!(value.zip(*high).is_none_or(|(value, high)| value <= high), "{code}");
        assert!(!rule.source.is_empty() && !rule.unit.is_empty(), "{code}");
    }
}

#[test]
fn shell_windows_by_metal_and_section() {
    let at = |degrees| Celsius::new(degrees).unwrap();
    let read = |metal, section, shell| trade().shell_window(metal, mm(section)).map(|window| window.reading(at(shell)));
    assert_eq!(read(MetalGroup::CopperBase, 5.9, 539.0), Some(Reading::Cool));
    assert_eq!(read(MetalGroup::CopperBase, 5.9, 540.0), Some(Reading::Within));
    assert_eq!(read(MetalGroup::CopperBase, 6.0, 300.0), None);
    assert_eq!(read(MetalGroup::CopperBase, 19.0, 871.1), Some(Reading::Hot));
    assert_eq!(read(MetalGroup::Aluminium, 12.0, 541.0), Some(Reading::Hot));
    assert_eq!(read(MetalGroup::Aluminium, 12.0, 199.0), Some(Reading::Cool));
    assert_eq!(read(MetalGroup::Other, 12.0, 20.0), None);
}
