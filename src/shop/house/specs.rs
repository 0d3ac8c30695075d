//! Every setting that there is: its name, what holds until one is set, and what will do.

use super::checks::{edges, lines, number, percent, stages};
use jiff::tz::TimeZone;
use serde_json::{Value, json};

/// A setting that there is.
pub struct Spec {
    /// Its name.
    pub name: &'static str,
    /// What holds until one is set.
    pub default: fn() -> Value,
    /// Whether a value will do.
    pub check: fn(&Value) -> bool,
    /// What it is and what will do, in words.
    pub about: &'static str,
}

/// What the start page reminds of.
pub const REMINDERS: [&str; 10] =
    ["coat", "slurry", "fired", "approval", "away", "keep_until", "crucible", "payment", "alloy", "backup"];

/// Every setting.
pub const SPECS: &[Spec] = &[
    Spec {
        name: "currency",
        default: || json!("EUR"),
        about: "ISO 4217 code of the shop's one currency: three capitals; fixed once money exists",
        check: |v| v.as_str().is_some_and(|t| t.len() == 3 && t.bytes().all(|b| b.is_ascii_uppercase())),
    },
    Spec {
        name: "zone",
        default: || json!("UTC"),
        about: "the shop's time zone, as Europe/Lisbon: its days and months",
        check: |v| v.as_str().is_some_and(|t| TimeZone::get(t).is_ok()),
    },
    Spec {
        name: "units",
        default: || json!("metric"),
        about: "what pages, documents and the command line show: metric or us",
        check: |v| matches!(v.as_str(), Some("metric" | "us")),
    },
    Spec {
        name: "money_for_hands",
        default: || json!(false),
        about: "whether hands see money: true or false",
        check: Value::is_boolean,
    },
    Spec {
        name: "money_for_readers",
        default: || json!(false),
        about: "whether readers see money: true or false",
        check: Value::is_boolean,
    },
    Spec {
        name: "scale_step_kg",
        default: || json!(0.01),
        about: "the step of the shop's scale in kg, above 0 and at most 10",
        check: |v| number(v, 0.000_001, 10.0),
    },
    Spec {
        name: "scale_tolerance_percent",
        default: || json!(0.2),
        about: "percent of a mass that the scale may be off where that is more than its step, 0 to 10",
        check: |v| number(v, 0.0, 10.0),
    },
    Spec {
        name: "heat_residual_scale_steps",
        default: || json!(2),
        about: "scale steps a weighing that a heat may leave unexplained before it is flagged, 0 to 100",
        check: |v| v.as_i64().is_some_and(|n| (0..=100).contains(&n)),
    },
    Spec {
        name: "heat_residual_percent",
        default: || json!(2),
        about: "percent of the charge that a heat may leave unexplained before it is flagged, 0 to 100",
        check: percent,
    },
    Spec { name: "heat_residual_aluminium_percent", default: || json!(3), about: "the same for aluminium", check: percent },
    Spec {
        name: "heat_residual_zinc_rich_percent",
        default: || json!(5),
        about: "the same for zinc-rich alloys",
        check: percent,
    },
    Spec {
        name: "heat_residual_scrap_percent",
        default: || json!(10),
        about: "the same for a heat charged with nothing but returns",
        check: percent,
    },
    Spec {
        name: "mass_estimate_percent",
        default: || json!(25),
        about: "percent that a weighed pour may be from the estimate of its shell before it is flagged, 0 to 100",
        check: percent,
    },
    Spec {
        name: "moisture_fire_c",
        default: || json!(600),
        about: "°C that a firing must reach since the last coat or patch",
        check: |v| number(v, 0.0, 1500.0),
    },
    Spec {
        name: "moisture_stand_c",
        default: || json!(120),
        about: "°C below which a fired shell takes up water",
        check: |v| number(v, 0.0, 500.0),
    },
    Spec {
        name: "moisture_stand_hours",
        default: || json!(4),
        about: "hours that a fired shell may stand cold without a preheat",
        check: |v| number(v, 0.0, 1000.0),
    },
    Spec {
        name: "shell_dry_c",
        default: || json!(204),
        about: "°C below which a shell at the pour is not held to be dry",
        check: |v| number(v, 0.0, 500.0),
    },
    Spec {
        name: "shell_cool_c",
        default: || json!(540),
        about: "copper-base: °C below which a shell is cool for a thin section",
        check: |v| number(v, 0.0, 1500.0),
    },
    Spec {
        name: "thin_section_mm",
        default: || json!(6),
        about: "sections under this are thin, in mm",
        check: |v| number(v, 0.1, 100.0),
    },
    Spec {
        name: "shell_hot_c",
        default: || json!(871),
        about: "copper-base: °C over which a shell is hot for a heavy section",
        check: |v| number(v, 0.0, 1500.0),
    },
    Spec {
        name: "heavy_section_mm",
        default: || json!(19),
        about: "sections of this or more are heavy, in mm",
        check: |v| number(v, 0.1, 1000.0),
    },
    Spec {
        name: "aluminium_shell_low_c",
        default: || json!(200),
        about: "aluminium: least °C of the shell at the pour",
        check: |v| number(v, 0.0, 1000.0),
    },
    Spec {
        name: "aluminium_shell_high_c",
        default: || json!(540),
        about: "aluminium: most °C of the shell at the pour",
        check: |v| number(v, 0.0, 1000.0),
    },
    Spec {
        name: "slurry_check_hours",
        default: || json!(72),
        about: "hours after which the check of a slurry batch is overdue",
        check: |v| number(v, 1.0, 10_000.0),
    },
    Spec {
        name: "overhead_rule",
        default: || json!({"rule": "none"}),
        about: "how jobs are charged with what the shop costs as such: {\"rule\": \"none\"}; {\"rule\": \"percent_of_work\", \"percent\": 35}; \
                or {\"rule\": \"per_hand_hour\" | \"per_kg\" (poured) | \"per_pour_day\", \"amount_minor\": 800}",
        check: |v| super::overhead::read(v).is_some(),
    },
    Spec {
        name: "reminders_off",
        default: || json!([]),
        about: "which reminders the start page leaves out: a list of coat, slurry, fired, approval, away, keep_until, crucible, payment, alloy, backup",
        check: |v| v.as_array().is_some_and(|all| all.iter().all(|r| r.as_str().is_some_and(|r| REMINDERS.contains(&r)))),
    },
    Spec {
        name: "fired_standing_days",
        default: || json!(14),
        about: "days after which a fired shell that was not poured is spoken of, 1 to 1000 (common practice, no source)",
        check: |v| number(v, 1.0, 1000.0),
    },
    Spec {
        name: "backup_days",
        default: || json!(7),
        about: "days after which a copy of the book is asked for, 1 to 1000 (common practice, no source)",
        check: |v| number(v, 1.0, 1000.0),
    },
    Spec {
        name: "gating_rod_mm",
        default: || json!(25),
        about: "diameter in mm of the rods that gating is taken as where only its mass or volume is known, 1 to 500 (common practice, no source)",
        check: |v| number(v, 1.0, 500.0),
    },
    Spec {
        name: "shell_coat_mm",
        default: || json!(0.9),
        about: "thickness in mm that a coat with its stucco adds, by which the fired mass of shells is estimated, 0.1 to 10 (common practice, no source)",
        check: |v| number(v, 0.1, 10.0),
    },
    Spec {
        name: "shell_density_kg_m3",
        default: || json!(1750),
        about: "density of fired shell in kg/m³, by which its mass is estimated, 500 to 5000 (from memory: colloidal-silica shell is porous to about a quarter)",
        check: |v| number(v, 500.0, 5000.0),
    },
    Spec {
        name: "fuel_mj_kg",
        default: || json!(50.0),
        about: "gross heat of the shop's fuel in MJ/kg, where fuel is logged in kg and priced by the kWh or the other way round, 5 to 150 \
                (propane 50.0: 21,500 to 21,600 Btu/lb as reprinted in trade tables)",
        check: |v| number(v, 5.0, 150.0),
    },
    Spec {
        name: "shop_name",
        default: || json!(""),
        about: "the shop's name, as it stands on letters",
        check: |v| v.as_str().is_some_and(|text| text.chars().count() <= 80),
    },
    Spec {
        name: "shop_lines",
        default: || json!([]),
        about: "address, telephone, tax number as they stand on letters: up to 8 lines",
        check: |v| lines(v, 8, 120),
    },
    Spec {
        name: "shop_mark",
        default: || json!(""),
        about: "up to three letters that stand in the ring on letters; the initials of the name where nothing is said",
        check: |v| v.as_str().is_some_and(|text| text.chars().count() <= 3),
    },
    Spec {
        name: "quote_markup_percent",
        default: || json!(30),
        about: "percent on the cost that a quote's job stays below four times in five, 0 to 500 (common practice, no source)",
        check: |v| number(v, 0.0, 500.0),
    },
    Spec {
        name: "quote_round_minor",
        default: || json!(500),
        about: "prices of quotes are rounded up to a multiple of so many minor units, 1 to 1000000",
        check: |v| v.as_i64().is_some_and(|n| (1..=1_000_000).contains(&n)),
    },
    Spec { name: "tax_percent", default: || json!(0), about: "percent of tax on the price of quotes, 0 to 100", check: percent },
    Spec {
        name: "quote_stages",
        default: || json!([{"for": "deposit", "percent": 50}, {"for": "delivery", "percent": 50}]),
        about: "how the price of a quote is paid: up to 10 of {\"for\", \"percent\"}, together 100 (common practice, no source)",
        check: stages,
    },
    Spec {
        name: "quote_valid_days",
        default: || json!(30),
        about: "days that a quote holds, 1 to 1000 (common practice, no source)",
        check: |v| number(v, 1.0, 1000.0),
    },
    Spec {
        name: "quote_attempts",
        default: || json!(3),
        about: "how often a copy is cast until it is good, as quotes reckon, 1 to 20 (common practice, no source)",
        check: |v| v.as_i64().is_some_and(|n| (1..=20).contains(&n)),
    },
    Spec {
        name: "quote_size_kg",
        default: || json!([2, 10]),
        about: "net kg of a casting up to which it is small, and up to which it is middling, for prices by the kg",
        check: |v| edges(v) && v.as_array().is_some_and(|edges| edges.len() == 2),
    },
    Spec {
        name: "quote_terms",
        default: || {
            json!(["The metal's colour and the finish vary within what was shown.", "What the client changes is quoted anew."])
        },
        about: "what stands under every quote: up to 12 paragraphs",
        check: |v| lines(v, 12, 600),
    },
    Spec {
        name: "bands_section_mm",
        default: || json!([4, 6, 10, 19]),
        about: "edges of the bands of sections in mm, rising",
        check: edges,
    },
    Spec {
        name: "bands_shell_c",
        default: || json!([300, 540, 700, 871]),
        about: "edges of the bands of shell temperature in °C, rising",
        check: edges,
    },
    Spec {
        name: "bands_superheat_c",
        default: || json!([100, 150, 200, 250]),
        about: "edges of the bands of °C over liquidus, rising",
        check: edges,
    },
    Spec {
        name: "bands_minutes_out",
        default: || json!([2, 4, 6, 10]),
        about: "edges of the bands of minutes out of the kiln, rising",
        check: edges,
    },
    Spec {
        name: "bands_drying_hours",
        default: || json!([0.5, 2, 6]),
        about: "edges of the bands of hours short of dry, rising",
        check: edges,
    },
];
