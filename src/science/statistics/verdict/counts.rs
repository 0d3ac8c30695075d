//! What was seen, by level and stratum, and by heat.

use std::collections::BTreeMap;

use crate::science::statistics::arm::Arm;
use crate::science::statistics::heats::Heat;
use crate::science::statistics::tables::Stratum;

/// Shells of one level in one stratum, of one heat where the heat matters. Levels, strata
/// and heats are numbers of the caller's; several cells of the same are added up.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Cell {
    /// The level of the factor.
    pub level: usize,
    /// The stratum: the cell of what is adjusted for. All the same where nothing is.
    pub stratum: usize,
    /// The heat (for a kiln the burnout load). Cells without one are each a heat of its own.
    pub heat: Option<usize>,
    /// Events out of shells observed.
    pub arm: Arm,
}

/// The cells added up.
pub(super) struct Counts<'a> {
    cells: &'a [Cell],
    levels: BTreeMap<usize, BTreeMap<usize, Arm>>,
    strata: BTreeMap<usize, Arm>,
    /// All shells, each once, where a shell may stand at several levels.
    all: Option<&'a [Cell]>,
}

impl<'a> Counts<'a> {
    pub(super) fn new(cells: &'a [Cell]) -> Self {
        let mut levels: BTreeMap<usize, BTreeMap<usize, Arm>> = BTreeMap::new();
        let mut strata: BTreeMap<usize, Arm> = BTreeMap::new();
        for cell in cells.iter().filter(|cell| cell.arm.of() > 0) {
            let add = |sum: &mut Arm| *sum = sum.with(cell.arm);
            add(levels.entry(cell.level).or_default().entry(cell.stratum).or_default());
            add(strata.entry(cell.stratum).or_default());
        }
        Self { cells, levels, strata, all: None }
    }

    /// Cells of levels of which a shell may have several, among all shells, each once: a level is held
    /// against the shells that are not at it.
    pub(super) fn among(cells: &'a [Cell], all: &'a [Cell]) -> Self {
        let whole = Self::new(all);
        Self { strata: whole.strata, all: Some(all), ..Self::new(cells) }
    }

    /// Whether a shell may stand at several levels.
    pub(super) const fn overlap(&self) -> bool {
        self.all.is_some()
    }

    /// The levels, each with all its shells.
    pub(super) fn levels(&self) -> impl Iterator<Item = (usize, Arm)> + '_ {
        self.levels.iter().map(|(level, strata)| (*level, sum(strata.values())))
    }

    /// How many strata there are.
    pub(super) fn of_strata(&self) -> usize {
        self.strata.len()
    }

    /// All shells of one level, or of all but one.
    pub(super) fn all(&self, a: usize, b: Option<usize>) -> (Arm, Arm) {
        let of = |level: usize| self.levels.get(&level).map_or_else(Arm::default, |strata| sum(strata.values()));
        let first = of(a);
        (first, b.map_or_else(|| less(sum(self.strata.values()), first), of))
    }

    /// The strata of `a` against `b`, or against the rest, with their numbers; those without
    /// a are left out.
    pub(super) fn strata(&self, a: usize, b: Option<usize>) -> Vec<(usize, Stratum)> {
        let of_b = b.map(|b| self.levels.get(&b));
        let against = |stratum: &usize, first: Arm| match of_b {
            Some(strata) => strata.and_then(|strata| strata.get(stratum)).copied().unwrap_or_default(),
            None => less(self.strata.get(stratum).copied().unwrap_or_default(), first),
        };
        let of_a = self.levels.get(&a).into_iter().flatten();
        of_a.map(|(stratum, arm)| (*stratum, Stratum { a: *arm, b: against(stratum, *arm) })).collect()
    }

    /// The heats of `a` and `b`, or of the rest, in the strata told.
    pub(super) fn heats(&self, a: usize, b: Option<usize>, strata: &[usize]) -> Vec<Heat> {
        // By level and number, or by the place of a cell without one.
        type Key = (bool, Result<usize, usize>);
        let mut heats: BTreeMap<Key, BTreeMap<usize, Arm>> = BTreeMap::new();
        let used = |cell: &Cell| cell.arm.of() > 0 && strata.binary_search(&cell.stratum).is_ok();
        for (place, cell) in self.cells.iter().enumerate() {
            let at_a = cell.level == a;
            let counts = at_a || (self.all.is_none() && b.is_none_or(|b| cell.level == b));
            if counts && used(cell) {
                let sum = heats.entry((at_a, cell.heat.ok_or(place))).or_default().entry(cell.stratum).or_default();
                *sum = sum.with(cell.arm);
            }
        }
        // What of each heat is not at a, where the levels overlap.
        for cell in self.all.into_iter().flatten().filter(|cell| used(cell)) {
            let Some(heat) = cell.heat else { continue };
            let at_a = heats.get(&(true, Ok(heat))).and_then(|parts| parts.get(&cell.stratum)).copied().unwrap_or_default();
            let rest = less(cell.arm, at_a);
            if rest.of() > 0 {
                let sum = heats.entry((false, Ok(heat))).or_default().entry(cell.stratum).or_default();
                *sum = sum.with(rest);
            }
        }
        heats.into_iter().map(|((at_a, _), parts)| Heat { at_a, parts: parts.into_iter().collect() }).collect()
    }
}

fn sum<'a>(arms: impl Iterator<Item = &'a Arm>) -> Arm {
    arms.fold(Arm::default(), |sum, arm| sum.with(*arm))
}

fn less(all: Arm, part: Arm) -> Arm {
    let of = all.of().saturating_sub(part.of());
    Arm::new(all.events().saturating_sub(part.events()).min(of), of).unwrap_or_default()
}
