//! What is said of trials.

use super::level::{Level, Worth};
use crate::kernel::field::{List, Many, Parent, Ref, Text, Whole};
use crate::kernel::id::{Shell, Trial};
use crate::{body, words};

words! {
    /// What is tried.
    pub enum Factor {
        /// One shell recipe against another; assigned before the first coat.
        Recipe = "recipe",
        /// One version of a recipe against another; assigned before the first coat.
        RecipeVersion = "recipe_version",
        /// How a shell stands at its pour; assigned after the burnout.
        Support = "support",
        /// A way of working, in words.
        Practice = "practice",
    }
}

words! {
    /// What counts as failed.
    pub enum Outcome {
        /// Metal escaped.
        Leak = "leak",
        /// It filled short or was stopped.
        Short = "short",
        /// A casting of it was broken out with a finding.
        Defect = "defect",
    }
}

words! {
    /// What the two shells of a pair agree in.
    pub enum Stratum {
        /// The alloy of what is in them.
        Alloy = "alloy",
        /// The band of the thinnest section in them.
        SectionBand = "section_band",
        /// The patterns in them.
        Pattern = "pattern",
        /// Their recipe.
        Recipe = "recipe",
    }
}

body! {
    /// A fair comparison of two ways of working. What it compares stays as it is once a pair was assigned.
    pub struct TrialBody {
        /// What it is called.
        name: Text<120>,
        /// What is tried.
        factor: Factor,
        /// The first way.
        a: Level,
        /// The second way.
        b: Level,
        /// What counts as failed.
        outcome: Outcome,
        /// The smallest difference of failure rates worth knowing.
        worth_knowing: Worth,
        /// The planned end: so many pairs.
        max_pairs: Option<Whole<1, 10_000>>,
        /// What the two shells of a pair agree in; alloy and band of sections where nothing is said.
        strata: Many<Stratum, 4>,
        /// Notes.
        notes: Option<Text<1000>>,
    }
}

body! {
    /// Two ready shells of one stratum, named before the coin is known.
    pub struct TrialPairBody {
        /// The trial.
        trial_id: Parent<Trial>,
        /// The two shells; the coin is tossed for the first.
        shell_ids: List<Ref<Shell>, 2>,
        /// Notes.
        notes: Option<Text<500>>,
    }
}

body! {
    /// The end of a trial.
    pub struct TrialEndBody {
        /// The trial.
        trial_id: Parent<Trial>,
        /// Why it ends.
        reason: Text<500>,
    }
}

impl Factor {
    /// Whether a shell that was lost after the coin counts as failed: where what is tried is in the shell
    /// itself. What is tried at the pour has no part in a shell lost before it.
    #[must_use]
    pub const fn loss_is_failure(self) -> bool {
        !matches!(self, Self::Support)
    }
    /// Whether the coin is tossed before the first coat.
    #[must_use]
    pub const fn in_the_shell(self) -> bool {
        matches!(self, Self::Recipe | Self::RecipeVersion)
    }
}
