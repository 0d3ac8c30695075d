//! What moves the price of a casting job, and what handbooks say of it before a shop has a record.

use crate::science::costing::Part;
use crate::science::quoting::{Handbook, MoverSpec, Per, Unit};
use crate::science::trade::{Catalogue, OperationName, TradeStep};
use std::sync::OnceLock;

/// What a mover is taken from in the record.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum From {
    /// What a part cost on castings, pieces and the job, in what it is priced by.
    Part(Part),
    /// What was bought in for the job as a whole under a part.
    Bought(Part),
    /// Minutes of an operation, by its place in the catalogue.
    Minutes(usize),
}

/// A mover and where it comes from.
#[derive(Clone, Debug)]
pub struct Mover {
    /// As the model has it.
    pub spec: MoverSpec,
    /// From what.
    pub from: From,
    /// What it is, for people.
    pub about: String,
}

/// The operation that makes a mould: booked once, not for every casting.
pub const MAKE_MOULD: &str = "make_mould";

/// A part, what it counts for, its exponent of mass, a handbook's figure with its spread, and what it is.
type PartMover = (Part, Per, f64, Option<(f64, f64)>, &'static str);

/// Parts, what they count for, their exponent of mass, and the handbook's figure for a casting of 1 kg
/// with the spread of its logarithm between jobs.
///
/// Wax: a kg of bronze holds 0.95 ÷ 8.4 of its mass in wax, with half as much in gates. Coats: 1 kg of
/// bronze in a wall of 6 mm has 4 dm² of surface on both sides and 2 on its gates, seven times coated.
/// The others are common practice, no source: 0.6 kg of gas for kiln and furnace, a tenth of a
/// crucible's heat, an eighth of a pour day.
const PARTS: [PartMover; 9] = [
    (Part::Wax, Per::Casting, 1.0, Some((0.17, 0.3)), "wax and prints"),
    (Part::Shell, Per::Casting, 0.75, Some((42.0, 0.35)), "slurry and stucco"),
    (Part::Fuel, Per::Casting, 0.8, Some((0.6, 0.5)), "fuel of kilns and heats"),
    (Part::Crucible, Per::Casting, 0.9, Some((0.1, 0.6)), "wear of the crucible"),
    (Part::PourDay, Per::Casting, 0.8, Some((0.125, 0.6)), "its share of a pour day"),
    (Part::Material, Per::Piece, 0.5, None, "bench materials"),
    (Part::Services, Per::Piece, 0.5, None, "work done outside"),
    (Part::Delivery, Per::Piece, 0.5, None, "crate and freight"),
    (Part::Mould, Per::Line, 0.5, None, "mould and pattern"),
];

/// Minutes for a casting of 1 kg; common practice, no source. Spread of the logarithm 0.5, exponent 0.65.
const MINUTES: [(&str, f64); 16] = [
    ("pull_wax", 25.0),
    ("chase_wax", 30.0),
    ("sprue", 30.0),
    ("dip", 40.0),
    ("load_kiln", 8.0),
    ("melt", 10.0),
    ("pour", 6.0),
    ("knock_off", 12.0),
    ("cut_off", 12.0),
    ("blast", 15.0),
    ("chase", 90.0),
    ("weld", 20.0),
    ("patina", 40.0),
    ("wax", 8.0),
    ("mount", 15.0),
    ("crate", 15.0),
];

fn per(operation: &OperationName) -> Per {
    match operation.stage {
        TradeStep::Bench | TradeStep::Delivery => Per::Piece,
        _ => Per::Casting,
    }
}

/// All movers, in one order.
pub fn all() -> &'static [Mover] {
    static ALL: OnceLock<Vec<Mover>> = OnceLock::new();
    ALL.get_or_init(|| {
        let mut out = Vec::new();
        for (part, per, slope, handbook, about) in PARTS {
            let handbook = handbook.map(|(at_one_kg, scale)| Handbook { at_one_kg, scale });
            let spec = MoverSpec { name: part.name().to_owned(), per, unit: Unit::Quantity, slope, handbook };
            out.push(Mover { spec, from: From::Part(part), about: about.to_owned() });
        }
        let base = MoverSpec { name: "base".into(), per: Per::Piece, unit: Unit::Quantity, slope: 0.5, handbook: None };
        out.push(Mover { spec: base, from: From::Bought(Part::Material), about: "bases bought in".into() });
        let operations = Catalogue::builtin().map_or(&[][..], |built_in| built_in.operations.as_slice());
        // The hours that make a mould are in what the mould cost: it is bought or made.
        for (n, operation) in operations.iter().enumerate().filter(|(_, operation)| operation.code != MAKE_MOULD) {
            let known = MINUTES.iter().find(|(code, _)| *code == operation.code);
            let handbook = known.map(|(_, minutes)| Handbook { at_one_kg: *minutes, scale: 0.5 });
            let name = format!("minutes_{}", operation.code);
            let spec = MoverSpec { name, per: per(operation), unit: Unit::Minutes, slope: 0.65, handbook };
            out.push(Mover { spec, from: From::Minutes(n), about: format!("minutes of {}", operation.name) });
        }
        out
    })
}

/// The code of an operation by its place in the catalogue.
#[must_use]
pub fn operation(n: usize) -> &'static str {
    Catalogue::builtin().ok().and_then(|built_in| built_in.operations.get(n)).map_or("other", |one| one.code.as_str())
}

/// The movers as the model has them.
pub fn specs() -> &'static [MoverSpec] {
    static SPECS: OnceLock<Vec<MoverSpec>> = OnceLock::new();
    SPECS.get_or_init(|| all().iter().map(|mover| mover.spec.clone()).collect())
}
