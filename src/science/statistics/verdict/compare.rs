//! Two levels, or one and all the rest.

use super::counts::Counts;
use super::{Estimate, LEANING, LEAST_SHELLS, Options, Side, Test, Verdict};
use crate::science::statistics::arm::Arm;
use crate::science::statistics::binomial::{CONFIDENCE, Rate};
use crate::science::statistics::difference::{Difference, newcombe};
use crate::science::statistics::heats::permute_heats;
use crate::science::statistics::power::{MorePours, more_pours, more_pours_for_gap};
use crate::science::statistics::tables::{
    OddsRatio, Stratum, breslow_day, conditional_odds_ratio, exact_conditional, fisher_p, mantel_haenszel,
};

/// The p below which a comparison to be planned for should fall, and the chance that it does.
const PLANNED: (f64, f64) = (0.05, 0.8);
/// From this p of Breslow and Day's test on the strata are said not to be alike.
const UNLIKE: f64 = 0.05;

/// What the strata say together.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Adjusted {
    /// How p was found.
    pub test: Test,
    /// The p; 1 where no stratum informs.
    pub p: f64,
    /// How the odds ratio was found.
    pub estimate: Estimate,
    /// Odds of a to those of b with its 95 % interval. `None` where no stratum informs.
    pub odds_ratio: Option<OddsRatio>,
    /// Breslow and Day's p (Tarone's) of one odds ratio in all strata. `None` below two
    /// strata that inform, and where the odds ratio is 0 or infinite.
    pub homogeneity_p: Option<f64>,
}

impl Adjusted {
    /// The side with the higher odds. `None` where there is no odds ratio, or it is 1.
    #[must_use]
    pub fn higher(&self) -> Option<Side> {
        let value = self.odds_ratio?.value;
        if value > 1.0 {
            Some(Side::A)
        } else if value < 1.0 {
            Some(Side::B)
        } else {
            None
        }
    }

    /// Whether the strata are to be shown, the effect being not alike in them.
    #[must_use]
    pub fn unlike_in_strata(&self) -> bool {
        self.homogeneity_p.is_some_and(|p| p < UNLIKE)
    }
}

/// What could be used: a stratum without one of the sides, without an event or without a
/// shell spared says nothing and is dropped.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Used {
    /// Strata used.
    pub strata: usize,
    /// Strata in which a or b was seen.
    pub of_strata: usize,
    /// Shells of a used.
    pub of_a: u32,
    /// Shells of b used.
    pub of_b: u32,
}

/// Pours of each side to tell a difference; both by the corrected formula at 0.05 with a
/// chance of 0.8. For planning only.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct PoursNeeded {
    /// Were the rates seen the true ones. `None` where they are equal.
    pub for_seen_gap: Option<MorePours>,
    /// For rates as far apart as is worth knowing. `None` where that is not between 0 and 1.
    pub for_gap_worth_knowing: Option<MorePours>,
}

/// One comparison with all that is to be said of it.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Comparison {
    /// The first level.
    pub a: usize,
    /// The second. `None`: all the rest.
    pub b: Option<usize>,
    /// The crude rate of a.
    pub rate_a: Rate,
    /// The crude rate of b.
    pub rate_b: Rate,
    /// The crude difference, a less b.
    pub difference: Difference,
    /// Fisher's p without strata. Crude: it never decides.
    pub fisher_p: f64,
    /// What decides.
    pub adjusted: Adjusted,
    /// The p of the comparison by itself: that of `adjusted`.
    pub raw_p: f64,
    /// Holm's over the family. `None` where a side has too few shells to be in it.
    pub holm_p: Option<f64>,
    /// Comparisons in the family.
    pub family: usize,
    /// The word.
    pub verdict: Verdict,
    /// What could be used of all shells, which the rates count.
    pub used: Used,
    /// Whether the crude difference points the other way than the adjusted one.
    pub opposite: bool,
    /// Pours that would tell.
    pub more_pours: PoursNeeded,
}

/// The sides of a comparison with their strata.
pub(super) struct Sides {
    pub(super) a: usize,
    pub(super) b: Option<usize>,
    all: (Arm, Arm),
    strata: Vec<Stratum>,
    numbers: Vec<usize>,
    of_strata: usize,
}

impl Sides {
    pub(super) fn new(counts: &Counts, a: usize, b: Option<usize>) -> Self {
        let all = counts.strata(a, b);
        // Strata with b alone are counted besides those with a.
        let of_strata = b.map_or_else(
            || counts.of_strata(),
            |b| all.len() + counts.strata(b, Some(a)).iter().filter(|(_, stratum)| stratum.b.of() == 0).count(),
        );
        let (numbers, strata) = all.into_iter().filter(|(_, stratum)| stratum.informs()).unzip();
        Self { a, b, all: counts.all(a, b), strata, numbers, of_strata }
    }

    /// Whether either side has too few shells for anything but counts.
    pub(super) fn few(&self) -> bool {
        self.all.0.of().min(self.all.1.of()) < LEAST_SHELLS
    }

    /// The p that decides, and how it was found.
    pub(super) fn p(&self, counts: &Counts, options: &Options) -> (Test, f64) {
        if options.within_heats {
            let heats = counts.heats(self.a, self.b, &self.numbers);
            let found = permute_heats(&heats, options.seed);
            return (Test::HeatPermutation(found.draws), found.p);
        }
        (Test::ExactConditional, exact_conditional(&self.strata).p)
    }

    /// All that is to be said, given the p and Holm's. `None` where a side was not observed.
    pub(super) fn say(&self, found: (Test, f64), holm_p: Option<f64>, family: usize, options: &Options) -> Option<Comparison> {
        let (a, b) = self.all;
        let (test, p) = found;
        let (estimate, odds_ratio) = self.odds_ratio();
        let homogeneity_p = breslow_day(&self.strata).map(|test| test.p_tarone);
        let adjusted = Adjusted { test, p, estimate, odds_ratio, homogeneity_p };
        let difference = newcombe(a, b, CONFIDENCE)?;
        let used = self.used();
        let half = |used: u32, all: Arm| u64::from(used) * 2 >= u64::from(all.of());
        let enough = half(used.of_a, a) && half(used.of_b, b) && !self.few();
        let apart = holm_p.is_some_and(|p| p < options.threshold) && odds_ratio.is_some_and(|odds| odds.excludes_one());
        let verdict = match p < LEANING && holm_p.is_some() {
            true if apart && enough => Verdict::ToldApart,
            true => Verdict::Leaning,
            false => Verdict::CannotTellYet,
        };
        let crude = if difference.value > 0.0 { Some(Side::A) } else { (difference.value < 0.0).then_some(Side::B) };
        let opposite = crude.zip(adjusted.higher()).is_some_and(|(crude, adjusted)| crude != adjusted);
        let (alpha, power) = PLANNED;
        let more_pours = PoursNeeded {
            for_seen_gap: more_pours(a, b, alpha, power),
            for_gap_worth_knowing: more_pours_for_gap(a, b, options.worth_knowing, alpha, power),
        };
        let (rate_a, rate_b, fisher_p) = (a.rate()?, b.rate()?, fisher_p(a, b));
        Some(Comparison {
            a: self.a,
            b: self.b,
            rate_a,
            rate_b,
            difference,
            fisher_p,
            adjusted,
            raw_p: p,
            holm_p,
            family,
            verdict,
            used,
            opposite,
            more_pours,
        })
    }

    fn odds_ratio(&self) -> (Estimate, Option<OddsRatio>) {
        match mantel_haenszel(&self.strata, CONFIDENCE).filter(|found| found.log_se.is_some()) {
            Some(found) => (Estimate::MantelHaenszel, Some(found.odds_ratio)),
            None => (Estimate::ExactConditional, conditional_odds_ratio(&self.strata, CONFIDENCE)),
        }
    }

    fn used(&self) -> Used {
        let sum = |of: fn(&Stratum) -> Arm| self.strata.iter().map(of).fold(Arm::default(), Arm::with).of();
        let (of_a, of_b) = (sum(|stratum| stratum.a), sum(|stratum| stratum.b));
        Used { strata: self.strata.len(), of_strata: self.of_strata, of_a, of_b }
    }
}
