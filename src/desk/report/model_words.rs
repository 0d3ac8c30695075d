//! What a model says, in a caster's words with the figures inside.

use super::factor::Factor;
use super::model_fit::{LeftOut, Refused, Term};
use super::model_terms::{Enters, Level, OUTCOMES_PER_COLUMN, Taken, Terms, number};
use super::outcome::{Outcome, about, capital, many};
use super::pages::factor_words;
use crate::science::statistics::logistic::{DropReason, NoCurve};

/// An odds ratio with its interval.
#[derive(Clone, Copy, Debug)]
pub struct Odds {
    /// The ratio.
    pub ratio: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Odds {
    /// Of a term, for a step of its column. An end too far out to be written is as far as a
    /// number goes.
    #[must_use]
    pub fn of(term: &Term, step: f64) -> Self {
        let ratio = |ln: f64| (ln * step).exp().min(f64::MAX);
        Self { ratio: ratio(term.estimate), low: ratio(term.low), high: ratio(term.high) }
    }
    /// Whether 1 is in the interval.
    #[must_use]
    pub fn includes_one(&self) -> bool {
        self.low <= 1.0 && 1.0 <= self.high
    }
    fn range(&self) -> String {
        format!("{} to {}", times(self.low), times(self.high))
    }
    fn one(&self) -> &'static str {
        if self.includes_one() { "the interval includes 1" } else { "the interval does not include 1" }
    }
}

/// A ratio as it may be said: nobody needs to know more than that it is beyond a thousand.
pub fn times(ratio: f64) -> String {
    if ratio > 1000.0 { "more than 1000".to_owned() } else { about(ratio) }
}

/// A factor at the beginning of a sentence.
fn named(factor: Factor) -> String {
    capital(factor_words(factor.name()))
}

fn alike(level: &Level, outcome: Outcome) -> String {
    if level.count == 0 {
        format!("{} has never {} (0 of {})", level.words, outcome.did(), level.n)
    } else {
        format!("every shell of {} {} ({} of {})", level.words, outcome.did(), level.count, level.n)
    }
}

/// A term in a sentence.
#[must_use]
pub fn term(term: &Term, taken: &Taken, outcome: Outcome, several: bool) -> String {
    let one = outcome.one();
    let rest = if several { ", the rest alike," } else { "" };
    match (&taken.enters, term.level) {
        (Enters::Levels(levels), Some(at)) => {
            let (Some(reference), Some(level)) = (levels.first(), levels.get(at)) else { return String::new() };
            let odds = Odds::of(term, 1.0);
            let bound = if term.estimate < 0.0 {
                format!("at most {}", times(odds.high))
            } else {
                format!("at least {}", times(odds.low))
            };
            if level.alike() && reference.alike() {
                return format!(
                    "{}; {}: how they differ cannot be pinned down.",
                    capital(&alike(level, outcome)),
                    alike(reference, outcome)
                );
            }
            if level.alike() || reference.alike() {
                let who = if level.alike() { level } else { reference };
                return format!(
                    "{}; its effect cannot be pinned down: the odds of {one} at {}{rest} are {bound} times those at {}.",
                    capital(&alike(who, outcome)),
                    level.words,
                    reference.words
                );
            }
            format!(
                "{}: {} of {} {did}; {}: {} of {}. The odds of {one} at {}{rest} are {} times those at {} ({}); {}.",
                capital(&level.words),
                level.count,
                level.n,
                reference.words,
                reference.count,
                reference.n,
                level.words,
                times(odds.ratio),
                reference.words,
                odds.range(),
                odds.one(),
                did = outcome.did()
            )
        }
        (Enters::Number(low, high, _), _) => {
            let (step, unit, _) = number(taken.factor).unwrap_or((1.0, "", 0.0));
            let odds = Odds::of(term, step);
            let seen = format!("seen from {} to {} {unit}", about(*low), about(*high));
            if !term.pinned_down {
                return format!(
                    "{}, {seen}: it alone tells apart all that {} from all that did not, so its effect cannot be pinned down.",
                    named(taken.factor),
                    outcome.did()
                );
            }
            format!(
                "{}, {seen}: each {step} {unit} more{rest} makes the odds of {one} {} times what they were ({}); {}.",
                named(taken.factor),
                times(odds.ratio),
                odds.range(),
                odds.one()
            )
        }
        _ => String::new(),
    }
}

/// Where the rates of a factor's levels stand: at the reference of the others, or their mean.
#[must_use]
pub fn standing(terms: &Terms, at: usize) -> String {
    let others = terms.factors.iter().enumerate().filter(|(n, taken)| *n != at && taken.columns() > 0).map(|(_, taken)| {
        match &taken.enters {
            Enters::Levels(levels) => {
                format!("{} {}", factor_words(taken.factor.name()), levels.first().map_or("", |l| l.words.as_str()))
            }
            Enters::Number(_, _, mean) => {
                let unit = number(taken.factor).map_or("", |(_, unit, _)| unit);
                format!("{} {} {unit}", factor_words(taken.factor.name()), about(*mean))
            }
        }
    });
    others.collect::<Vec<_>>().join("; ")
}

/// Why there is no model, and what would help.
#[must_use]
pub fn refused(why: &Refused, terms: &Terms, outcome: Outcome) -> String {
    let did = outcome.did();
    match why {
        Refused::Nothing if terms.left_out > 0 => {
            format!("Of none of the {} is all that was asked on record.", many(terms.left_out.into(), "shell"))
        }
        Refused::Nothing => format!("There are no {} in this time.", outcome.of()),
        Refused::AllAlike if terms.count == 0 => {
            format!("None of the {} {did}, so nothing can be said of what makes one do so.", many(terms.n.into(), "shell"))
        }
        Refused::AllAlike => {
            format!("All of the {} {did}, so nothing can be said of what keeps one from it.", many(terms.n.into(), "shell"))
        }
        Refused::NothingDiffers => {
            "In what was asked the shells do not differ, so there is nothing to hold beside another.".to_owned()
        }
        Refused::TooFew { columns, leave_out } => {
            let names: Vec<&str> = leave_out.iter().map(|f| factor_words(f.name())).collect();
            let needs: Vec<String> = terms
                .factors
                .iter()
                .filter(|taken| taken.columns() > 0)
                .map(|taken| format!("{} {}", factor_words(taken.factor.name()), taken.columns()))
                .collect();
            let kind = if terms.count <= terms.n - terms.count { did } else { "did not" };
            format!(
                "{} of {} shells {kind}, which bears {} ({OUTCOMES_PER_COLUMN} for each); asked for are {columns}: {}. Leave out {}, or ask of a longer time.",
                terms.rarer(),
                terms.n,
                many((terms.rarer() / OUTCOMES_PER_COLUMN).into(), "effect"),
                needs.join(", "),
                names.join(" and ")
            )
        }
        Refused::TooWide => {
            "That is more effects than can be told from one another at once. Leave out the factor with most levels.".to_owned()
        }
        Refused::NotFound => "No effects could be found that stand firm. Leave out a factor.".to_owned(),
    }
}

/// What the intervals of a model do not take into account.
pub const NOT_BY_HEAT: &str = "The shells of one heat share their metal and its luck. The intervals here take each shell by itself, so where several shells come from one heat they are narrower than they should be, most of all for what is the same for a whole heat: alloy, furnace, crucible, the metal's temperature. Two levels are held against one another with that in mind where two are compared.";

/// Why there is no model, or curve, where too many shells differ in too much.
pub const TOO_MUCH: &str = "In what was asked too many shells differ in too much for it to be worked out while somebody waits. Leave out a factor, or ask of a shorter time.";

/// A column left out, and why.
#[must_use]
pub fn left_out(left: &LeftOut, terms: &Terms) -> String {
    let called = |(factor, level): (usize, Option<usize>)| {
        let Some(taken) = terms.factors.get(factor) else { return String::new() };
        let words = factor_words(taken.factor.name());
        match (&taken.enters, level) {
            (Enters::Levels(levels), Some(at)) => format!("{words} {}", levels.get(at).map_or("", |l| l.words.as_str())),
            _ => words.to_owned(),
        }
    };
    let own = capital(&called((left.factor, left.level)));
    match (&left.reason, left.of) {
        (DropReason::Constant, _) => format!("{own} is left out: it is the same for all shells."),
        (DropReason::Duplicate { .. }, Some(of)) => {
            format!("{own} is left out: it goes with {} shell by shell, so the two cannot be told from one another.", called(of))
        }
        _ => format!("{own} is left out: the other factors settle it, so it has no effect of its own to be seen."),
    }
}

/// Why there is no curve.
#[must_use]
pub fn no_curve(why: &NoCurve, outcome: Outcome) -> String {
    match why {
        NoCurve::TooFew { outcomes, needed } => format!(
            "A curve section by section takes {needed:.0} shells that {}, and as many that did not; of the rarer kind there are {outcomes:.0} with their temperature on record.",
            outcome.did()
        ),
        NoCurve::OneValue => "All shells were poured at one temperature.".to_owned(),
        NoCurve::Data(_) => "No shell temperature at a pour is on record with its section.".to_owned(),
        NoCurve::Fit(_) | NoCurve::NoPoints => "No curve could be found that stands firm.".to_owned(),
    }
}
