//! The fit of a model: pure, and as long as its rows and columns make it, so that it is done off
//! the threads that serve.

use super::factor::Factor;
use super::model_terms::{DELTA_FROM, Enters, Terms};
use crate::science::statistics::CONFIDENCE;
use crate::science::statistics::logistic::{
    Column, Design, DesignError, DropReason, Firth, Flic, NoFit, Predicted, Separation, separation,
};

/// Why there is no fit.
#[derive(Clone, PartialEq, Debug)]
pub enum Refused {
    /// No shell has all that is asked on record.
    Nothing,
    /// None had it, or all.
    AllAlike,
    /// Nothing differs between the shells.
    NothingDiffers,
    /// Too few outcomes for so many columns.
    TooFew {
        /// Columns there would be.
        columns: usize,
        /// What has to be left out.
        leave_out: Vec<Factor>,
    },
    /// More columns than a fit takes.
    TooWide,
    /// The search for the maximum did not end.
    NotFound,
}

impl From<NoFit> for Refused {
    fn from(no: NoFit) -> Self {
        if no == NoFit::AllAlike { Self::AllAlike } else { Self::NotFound }
    }
}

/// One coefficient: of a level beside the reference, or of a number.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Term {
    /// The place of its factor.
    pub factor: usize,
    /// The place of its level.
    pub level: Option<usize>,
    /// The change of ln odds.
    pub estimate: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// The chance of so large a part where it has none.
    pub p: f64,
    /// Whether the shells pin it down: not where some were all alike.
    pub pinned_down: bool,
}

/// A column left out: its factor and level, and why; where it is another over again, that one.
#[derive(Clone, PartialEq, Debug)]
pub struct LeftOut {
    /// The place of its factor.
    pub factor: usize,
    /// The place of its level.
    pub level: Option<usize>,
    /// Why.
    pub reason: DropReason,
    /// The factor and level that it repeats.
    pub of: Option<(usize, Option<usize>)>,
}

/// A model fitted.
#[derive(Clone, Debug)]
pub struct Fitted {
    /// Its coefficients.
    pub terms: Vec<Term>,
    /// Of each factor with columns: chi-squared, degrees of freedom, p.
    pub tests: Vec<(usize, (f64, f64, f64))>,
    /// The rate of each level of each factor, the others at their reference or mean.
    pub rates: Vec<(usize, usize, Predicted)>,
    /// Columns left out.
    pub left_out: Vec<LeftOut>,
    /// Whether the columns separate; nothing where rounding leaves it open.
    pub separation: Option<Separation>,
}

type Place = (usize, Option<usize>);

/// Fits.
///
/// # Errors
/// Why it cannot be done.
pub fn fit(terms: &Terms) -> Result<Fitted, Refused> {
    check(terms)?;
    let placed = terms.columns();
    let place = |name: &str| placed.iter().find(|(.., c)| c.name == name).map(|(factor, level, _)| (*factor, *level));
    let columns: Vec<Column> = placed.iter().map(|(.., column)| column.clone()).collect();
    let (counts, totals): (Vec<u32>, Vec<u32>) = terms.rows.iter().map(|row| (row.count, row.n)).unzip();
    let design = Design::new(&columns, &counts, &totals).map_err(|error| match error {
        DesignError::TooManyColumns => Refused::TooWide,
        DesignError::NothingObserved => Refused::Nothing,
        _ => Refused::NotFound,
    })?;
    let left_out = design.dropped().iter().filter_map(|dropped| {
        let (factor, level) = place(&dropped.name)?;
        let of = match &dropped.reason {
            DropReason::Duplicate { of } => place(of),
            _ => None,
        };
        Some(LeftOut { factor, level, reason: dropped.reason.clone(), of })
    });
    let left_out: Vec<LeftOut> = left_out.collect();
    if design.names().is_empty() {
        return Err(Refused::NothingDiffers);
    }
    let used: Vec<Place> = design.names().iter().filter_map(|name| place(name)).collect();
    let fit = Firth::new(&design)?;
    let separation = separation(&design);
    let mut made = Vec::new();
    for coefficient in fit.coefficients(CONFIDENCE)?.iter().skip(1) {
        let Some((factor, level)) = place(&coefficient.name) else { continue };
        made.push(Term {
            factor,
            level,
            estimate: coefficient.estimate,
            low: coefficient.low,
            high: coefficient.high,
            p: coefficient.p,
            pinned_down: pinned_down(terms, (factor, level), &columns, &counts, &totals),
        });
    }
    let mut tests = Vec::new();
    for at in 0..terms.factors.len() {
        let names: Vec<&str> =
            design.names().iter().filter(|name| place(name).is_some_and(|(of, _)| of == at)).map(String::as_str).collect();
        tests.extend(fit.test(&names)?.map(|test| (at, test)));
    }
    let rates = rates(terms, &fit, &used, &left_out)?;
    Ok(Fitted { terms: made, tests, rates, left_out, separation })
}

fn check(terms: &Terms) -> Result<(), Refused> {
    let (columns, leave_out) = (terms.width(), terms.too_many());
    if terms.n == 0 {
        return Err(Refused::Nothing);
    }
    if terms.rarer() == 0 {
        return Err(Refused::AllAlike);
    }
    if columns == 0 {
        return Err(Refused::NothingDiffers);
    }
    if leave_out.is_empty() { Ok(()) } else { Err(Refused::TooFew { columns, leave_out }) }
}

/// A level is not pinned down where its shells, or those of the reference, are all alike; a
/// number where it alone tells apart those that had it.
fn pinned_down(terms: &Terms, (factor, level): Place, columns: &[Column], counts: &[u32], totals: &[u32]) -> bool {
    let Some(taken) = terms.factors.get(factor) else { return true };
    if let (Enters::Levels(levels), Some(level)) = (&taken.enters, level) {
        return [0, level].iter().all(|at| levels.get(*at).is_none_or(|l| !l.alike()));
    }
    let own: Vec<Column> = columns.iter().filter(|c| c.name == taken.factor.name()).cloned().collect();
    let alone = Design::new(&own, counts, totals).ok();
    !matches!(alone.as_ref().and_then(separation), Some(Separation::Quasi | Separation::Complete))
}

fn rates(
    terms: &Terms,
    fit: &Firth<'_>,
    used: &[Place],
    left_out: &[LeftOut],
) -> Result<Vec<(usize, usize, Predicted)>, Refused> {
    let flic = Flic::new(fit)?;
    let mut out = Vec::new();
    for (at, taken) in terms.factors.iter().enumerate() {
        let Enters::Levels(levels) = &taken.enters else { continue };
        for level in 0..levels.len() {
            if levels.len() < 2 || left_out.iter().any(|l| l.factor == at && l.level == Some(level)) {
                continue;
            }
            let value = |(factor, of): &Place| match terms.factors.get(*factor).map(|t| &t.enters) {
                Some(Enters::Number(_, _, mean)) => *mean,
                _ => f64::from(u8::from(*factor == at && *of == Some(level))),
            };
            let row: Vec<f64> = used.iter().map(value).collect();
            let predicted =
                if terms.rarer() < DELTA_FROM { flic.predict(&row, CONFIDENCE) } else { flic.predict_by_delta(&row, CONFIDENCE) };
            out.push((at, level, predicted?));
        }
    }
    Ok(out)
}
