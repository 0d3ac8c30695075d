//! The past castings that a line is reckoned from.

use super::model::{AskedLine, Comparable, above_zero};
use crate::science::statistics::quoting::{BANDWIDTH, ENOUGH, Kernel};

/// Walls are alike within this factor.
const SECTION_FACTOR: f64 = 1.5;
/// What weighs less than this in a kernel is left out.
const NO_WEIGHT: f64 = 1e-6;

/// How far it was necessary to look.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Step {
    /// Same family of alloys, like walls, same recipe, same finish, near in mass.
    Alike,
    /// Any finish.
    AnyFinish,
    /// Any finish and recipe.
    AnyRecipe,
    /// Any finish, recipe and wall: the family, near in mass.
    AnySection,
    /// The family, farther in mass.
    Widened,
    /// The family was never cast: every family, and by mass.
    EveryFamily,
    /// Nothing is on record.
    NoRecord,
}

/// The mass asked for lies outside the masses on record of its family (of every family where
/// it was never cast), by a factor above 1.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Beyond {
    /// Least on record over the mass asked for.
    BelowLeast(f64),
    /// The mass asked for over the most on record.
    AboveMost(f64),
}

/// What a line is reckoned from.
#[derive(Clone, PartialEq, Debug)]
pub struct Basis {
    /// How far it was necessary to look.
    pub step: Step,
    /// Bandwidth of ln mass.
    pub bandwidth: f64,
    /// How many comparables count in effect, (Σw)² ∕ Σw² (Kish 1965).
    pub effective: f64,
    /// Index into the record and weight, largest first.
    pub members: Vec<(usize, f64)>,
    /// Whether it is an extrapolation.
    pub beyond: Option<Beyond>,
}

/// Comparables nearest in ln mass: first those alike in all that the line says, at a bandwidth
/// of ½; while fewer than eight count in effect, those of any finish, any recipe, any wall; then
/// the bandwidth is widened within the family ([`Kernel::widened`]); only where the family was
/// never cast does every family count. A mass that is not above 0 takes a comparable out.
///
/// `None` where the line cannot be reckoned with: its mass, copies, attempts or a price.
#[must_use]
pub fn basis(line: &AskedLine, record: &[Comparable]) -> Option<Basis> {
    if !line.usable() {
        return None;
    }
    let all: Vec<usize> = indices(record, |past| above_zero(past.mass_kg));
    let family: Vec<usize> = indices(record, |past| above_zero(past.mass_kg) && past.family == line.family);
    if all.is_empty() {
        return Some(made(Step::NoRecord, &[], Kernel::new(&[], line.mass_kg, BANDWIDTH)?, None));
    }
    if family.is_empty() {
        let kernel = Kernel::widened(&masses(record, &all), line.mass_kg)?;
        return Some(made(Step::EveryFamily, &all, kernel, beyond(line, record, &all)));
    }
    let outside = beyond(line, record, &family);
    for step in [Step::Alike, Step::AnyFinish, Step::AnyRecipe, Step::AnySection] {
        let alike: Vec<usize> = family.iter().copied().filter(|i| record.get(*i).is_some_and(|p| kept(line, p, step))).collect();
        let kernel = Kernel::new(&masses(record, &alike), line.mass_kg, BANDWIDTH)?;
        if kernel.effective >= ENOUGH {
            return Some(made(step, &alike, kernel, outside));
        }
    }
    Some(made(Step::Widened, &family, Kernel::widened(&masses(record, &family), line.mass_kg)?, outside))
}

fn indices(record: &[Comparable], wanted: impl Fn(&Comparable) -> bool) -> Vec<usize> {
    record.iter().enumerate().filter(|(_, past)| wanted(past)).map(|(i, _)| i).collect()
}

fn masses(record: &[Comparable], of: &[usize]) -> Vec<f64> {
    of.iter().filter_map(|i| record.get(*i)).map(|past| past.mass_kg).collect()
}

/// Whether a casting of the family is alike as far as a step asks. What the line does not say
/// is not asked for.
fn kept(line: &AskedLine, past: &Comparable, step: Step) -> bool {
    let same = |asked: Option<i64>, was: Option<i64>| asked.is_none() || asked == was;
    let walls = !above_zero(line.section_mm)
        || above_zero(past.section_mm) && (past.section_mm / line.section_mm).ln().abs() <= SECTION_FACTOR.ln() + f64::EPSILON;
    (step >= Step::AnyFinish || same(line.finish, past.finish))
        && (step >= Step::AnyRecipe || same(line.recipe, past.recipe))
        && (step >= Step::AnySection || walls)
}

fn beyond(line: &AskedLine, record: &[Comparable], of: &[usize]) -> Option<Beyond> {
    let (least, most) =
        masses(record, of).into_iter().fold((f64::INFINITY, 0.0_f64), |(least, most), m| (least.min(m), most.max(m)));
    if line.mass_kg < least {
        Some(Beyond::BelowLeast(least / line.mass_kg))
    } else {
        (line.mass_kg > most).then_some(Beyond::AboveMost(line.mass_kg / most))
    }
}

fn made(step: Step, of: &[usize], kernel: Kernel, beyond: Option<Beyond>) -> Basis {
    let mut members: Vec<(usize, f64)> =
        of.iter().copied().zip(kernel.weights.iter().copied()).filter(|(_, weight)| *weight >= NO_WEIGHT).collect();
    members.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    Basis { step, bandwidth: kernel.bandwidth, effective: kernel.effective, members, beyond }
}
