//! Which shells may be paired: how far each is by the record, and in what stratum it stands.

use super::model::{Factor, Stratum};
use crate::book::story::{self, Story};
use crate::db::Read;
use crate::kernel::{Instant, Kind, Problem, Seq};
use crate::shop::casting::{self, CastingRow};
use crate::shop::house::settings::{self, Settings};
use crate::shop::shell;

/// A shell as a pair needs it.
#[derive(Clone, Debug)]
pub struct Shell {
    /// Its number.
    pub seq: Seq,
    /// Its tag.
    pub tag: String,
    /// Its stratum, part by part, as the trial pairs.
    pub stratum: Vec<(Stratum, String)>,
    /// What stands against pairing it: a code, and a sentence.
    pub against: Option<(&'static str, &'static str)>,
}

impl Shell {
    /// Its stratum in words.
    #[must_use]
    pub fn stratum_words(&self) -> String {
        self.stratum.iter().map(|(_, words)| words.as_str()).collect::<Vec<_>>().join(", ")
    }
}

/// The name of a part of a stratum in words.
#[must_use]
pub const fn part_words(part: Stratum) -> &'static str {
    match part {
        Stratum::Alloy => "alloy",
        Stratum::SectionBand => "band of sections",
        Stratum::Pattern => "pattern",
        Stratum::Recipe => "recipe",
    }
}

/// A band of sections in words.
#[must_use]
pub fn band(settings: &Settings, section_mm: f64, now: Instant) -> String {
    let edges = settings.edges("bands_section_mm", now);
    let n = edges.iter().filter(|edge| section_mm >= **edge).count();
    match (n.checked_sub(1).and_then(|low| edges.get(low)), edges.get(n)) {
        (Some(low), Some(high)) => format!("{low} to {high} mm"),
        (None, Some(high)) => format!("under {high} mm"),
        (Some(low), None) => format!("{low} mm and over"),
        (None, None) => "all sections".to_owned(),
    }
}

/// What stands against a shell in a trial of that factor.
fn against(story: &Story, seq: Seq, castings: &[&CastingRow], factor: Factor) -> Option<(&'static str, &'static str)> {
    let lines = story.on_shell(seq);
    let has = |kind: Kind| lines.iter().any(|l| l.kind == kind);
    let stands = |stage: &str| castings.iter().any(|c| c.stage == stage);
    if castings.iter().all(|c| c.stage == "scrapped") {
        Some(("lost", "All that was in this shell was given up."))
    } else if has(Kind::ShellBreakout) || ["breakout", "bench", "done", "delivered"].into_iter().any(stands) {
        Some(("opened", "This shell was broken out: what came of it is known."))
    } else if has(Kind::Pour) {
        Some(("poured", "This shell was poured: what came of it is known."))
    } else if factor.in_the_shell() && has(Kind::Coat) {
        Some(("coated", "This shell has a coat already: a recipe is assigned before the first."))
    } else if factor == Factor::Support && !has(Kind::Burnout) {
        Some(("not-fired", "This shell was not fired yet: for the pour the coin is tossed after the burnout."))
    } else {
        None
    }
}

/// Some shells, in the order given, as a trial of that factor and those strata sees them.
///
/// # Errors
/// As the database says.
pub async fn look<R: Read>(
    read: &mut R,
    seqs: &[Seq],
    factor: Factor,
    strata: &[Stratum],
    now: Instant,
) -> Result<Vec<Shell>, Problem> {
    let story = story::load(read, &[], seqs).await?;
    let castings = casting::by_seqs(read, &story.castings).await?;
    let names = shell::names(read, seqs).await?;
    let settings = settings::of(read).await?;
    let patterns = if strata.contains(&Stratum::Pattern) {
        casting::listed_of(read, &castings.iter().map(|c| c.seq).collect::<Vec<_>>(), 2000).await?
    } else {
        Vec::new()
    };
    let mut out = Vec::with_capacity(seqs.len());
    for &seq in seqs {
        let inside: Vec<&CastingRow> = castings.iter().filter(|c| c.shell_seq == Some(seq) && !c.void).collect();
        let (tag, recipe) =
            names.iter().find(|(of, ..)| *of == seq).map(|(_, tag, recipe)| (tag.clone(), recipe.clone())).unwrap_or_default();
        let part = |part: Stratum| {
            let mut found: Vec<String> = match part {
                Stratum::Alloy => inside.iter().map(|c| c.alloy.clone()).collect(),
                Stratum::SectionBand => {
                    let thinnest = inside.iter().map(|c| c.section_mm).fold(f64::INFINITY, f64::min);
                    vec![band(&settings, thinnest, now)]
                }
                Stratum::Pattern => {
                    let name = |c: &&CastingRow| patterns.iter().find(|l| l.seq == c.seq).map(|l| l.pattern.clone());
                    inside.iter().filter_map(name).collect()
                }
                Stratum::Recipe => vec![recipe.clone()],
            };
            found.sort_unstable();
            found.dedup();
            (part, found.join(" and "))
        };
        out.push(Shell {
            seq,
            tag,
            stratum: strata.iter().map(|s| part(*s)).collect(),
            against: against(&story, seq, &inside, factor),
        });
    }
    Ok(out)
}
