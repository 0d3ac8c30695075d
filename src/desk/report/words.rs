//! What a comparison comes to, in sentences: counts first, range next, advice last; no p by itself.

use crate::science::statistics::binomial::Rate;
use crate::science::statistics::verdict::{Comparison, Kind, Side, Verdict};

/// What is counted, in words.
#[derive(Clone, Copy, Debug)]
pub struct Said {
    /// What happened to them: leaked, came short, had a finding.
    pub did: &'static str,
    /// The same as a rate: leaks, runs short, has findings.
    pub does: &'static str,
}

impl Said {
    /// Of an outcome.
    #[must_use]
    pub fn of(outcome: &str) -> Self {
        match outcome {
            "leaks" => Self { did: "leaked", does: "leaks" },
            "shorts" => Self { did: "came short", does: "runs short" },
            _ => Self { did: "had a finding", does: "has findings" },
        }
    }
}

/// Under so many shells in all, percents bear no decimals.
const FEW: u32 = 200;

/// A rate in words: a count of how many, and percent.
#[must_use]
pub fn rate(rate: &Rate) -> String {
    let percent = rate.rate * 100.0;
    let said = if rate.of < FEW { format!("{percent:.0} %") } else { format!("{percent:.1} %") };
    format!("{} of {} ({said})", rate.count, rate.of)
}

/// A difference of rates in pours of a hundred.
fn points(value: f64) -> String {
    format!("{:.0}", (value * 100.0).abs())
}

/// The range of a difference, for a level that is called `a`.
fn range(low: f64, high: f64, a: &str) -> String {
    let (fewer, more) = (points(low), points(high));
    match (low < 0.0, high > 0.0) {
        (true, true) => format!("{a} could be {fewer} in a hundred better or {more} worse"),
        (true, false) => format!("{a} is between {more} and {fewer} in a hundred better"),
        _ => format!("{a} is between {fewer} and {more} in a hundred worse"),
    }
}

/// A comparison in a sentence or a few. `a` and `b` are what the levels are called; `b` is all the rest
/// where the comparison has none.
#[must_use]
pub fn comparison(found: &Comparison, outcome: &str, a: &str, b: &str, strata: &str) -> String {
    let said = Said::of(outcome);
    let counts = format!("{a} {} {}, {b} {}.", said.did, rate(&found.rate_a), rate(&found.rate_b));
    let width = range(found.difference.low, found.difference.high, a);
    let mut out = match found.verdict {
        Verdict::CannotTellYet if found.holm_p.is_none() => {
            format!("{counts} Too few pours of one of them for more than counts.")
        }
        Verdict::CannotTellYet => format!("{counts} Not enough pours to tell: {width}."),
        Verdict::Leaning => {
            let (worse, better) = if found.adjusted.higher() == Some(Side::B) { (b, a) } else { (a, b) };
            let among = match found.family {
                0 | 1 => String::new(),
                n => format!("; with {n} comparisons made, such a gap comes up by luck more often than one would think"),
            };
            format!("{counts} {worse} looks worse than {better}, but it is not told apart{among}.")
        }
        Verdict::ToldApart => {
            let (worse, better) = if found.adjusted.higher() == Some(Side::B) { (b, a) } else { (a, b) };
            format!("{counts} {worse} {} more than {better}: {width}, in these pours.", said.does)
        }
    };
    if found.opposite {
        out = format!(
            "{out} As counted it points the other way than within each {strata}: only the latter decides, since the two were not poured alike."
        );
    }
    if found.adjusted.unlike_in_strata() {
        out = format!("{out} It is not alike in every {strata}.");
    }
    if found.used.of_a < found.rate_a.of || found.used.of_b < found.rate_b.of {
        out = format!(
            "{out} {} of {} pours could be used: elsewhere one of the two, or the outcome, is missing.",
            found.used.of_a + found.used.of_b,
            found.rate_a.of + found.rate_b.of
        );
    }
    if let (Verdict::CannotTellYet | Verdict::Leaning, Some(more)) = (found.verdict, &found.more_pours.for_gap_worth_knowing) {
        out = format!("{out} About {} more of each would tell a gap worth knowing.", more.first.max(more.second));
    }
    out
}

/// What a whole family comes to, in a sentence.
#[must_use]
pub fn family(kind: Kind, comparisons: &[Comparison], levels: usize) -> String {
    let told = comparisons.iter().filter(|c| c.verdict == Verdict::ToldApart).count();
    let leaning = comparisons.iter().filter(|c| c.verdict == Verdict::Leaning).count();
    let how = match kind {
        Kind::Pairs => "each with each",
        Kind::EachWithTheRest => "each with all the rest",
    };
    match (comparisons.len(), told, leaning) {
        (0, ..) if levels < 2 => "With one level there is nothing to compare.".to_owned(),
        (0, ..) => "Too few pours at more than one level to compare.".to_owned(),
        (n, 0, 0) => format!("{n} compared, {how}: none can be told apart yet. That is not proof that they are alike."),
        (n, 0, l) => format!("{n} compared, {how}: none is told apart, {l} leaning."),
        (n, t, 0) => format!("{n} compared, {how}: {t} told apart."),
        (n, t, l) => format!("{n} compared, {how}: {t} told apart, {l} leaning."),
    }
}
