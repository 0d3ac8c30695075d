//! A trial as it is read: what the coin gave, what came of it, how sure it is.

use super::model::{Factor, Outcome};
use super::outcome::{self, Fate, Followed, Tells, arm_name};
use super::plan;
use super::store::{self, PairRow, ShellRow, TrialRow};
use crate::book::render::{Adding, etag};
use crate::db::ReadTx;
use crate::desk::facts::{self, CameOf};
use crate::kernel::{Instant, Problem, Seq};
use crate::science::statistics::trial::{Arm, Course, TOLD_APART, Verdict, difference, pair_e_value};
use crate::shop::shell;
use serde_json::{Map, Value, json};

/// More points of the course than this are thinned.
const MOST_POINTS: usize = 200;

/// What a trial is read from.
pub struct Read {
    /// The trial.
    pub trial: TrialRow,
    /// Its pairs, void ones too.
    pub pairs: Vec<PairRow>,
    /// What A and B are called.
    pub called: [String; 2],
    came: Vec<CameOf>,
    shells: Vec<ShellRow>,
    tags: Vec<(Seq, String, String)>,
    first_done: Vec<store::FirstDone>,
    recipes: Vec<(Seq, String)>,
}

/// What the levels of some trials are called.
///
/// # Errors
/// As the database says.
async fn called(read: &mut ReadTx, trials: &[TrialRow]) -> Result<Vec<[String; 2]>, Problem> {
    let seqs: Vec<Seq> = trials.iter().flat_map(|t| t.level).flatten().collect();
    let names = if seqs.is_empty() { Vec::new() } else { shell::recipe_names(read, &seqs).await? };
    let one = |trial: &TrialRow, n: usize| match trial.level[n] {
        Some(seq) => names.iter().find(|(of, _)| *of == seq).map_or_else(String::new, |(_, name)| name.clone()),
        None if trial.factor == Factor::Support => trial.said[n].replace('_', " "),
        None => trial.said[n].clone(),
    };
    Ok(trials.iter().map(|trial| [one(trial, 0), one(trial, 1)]).collect())
}

/// Reads a trial with all that belongs to it.
///
/// # Errors
/// As the database says.
pub async fn load(read: &mut ReadTx, seq: Seq) -> Result<Read, Problem> {
    let trial = store::one(read, seq).await?;
    let pairs = store::pairs(read, &[seq]).await?;
    let seqs: Vec<Seq> = pairs.iter().flat_map(|p| p.shells).collect();
    let called = called(read, std::slice::from_ref(&trial)).await?.pop().unwrap_or_default();
    let shells = store::shells(read, &seqs).await?;
    let of_shells: Vec<Seq> = shells.iter().flat_map(|s| [s.recipe, s.recipe_version]).flatten().collect();
    Ok(Read {
        came: facts::came_of(read, &seqs).await?,
        tags: shell::names(read, &seqs).await?,
        first_done: store::first_done(read, &seqs).await?,
        recipes: if trial.factor.in_the_shell() { shell::recipe_names(read, &of_shells).await? } else { Vec::new() },
        shells,
        trial,
        pairs,
        called,
    })
}

/// What was really done to a shell.
#[derive(PartialEq)]
enum Done {
    /// That arm.
    Arm(Arm),
    /// Something else.
    Other(String),
    /// Nothing yet, or nobody said, or the book cannot know.
    NotKnown,
}

impl Read {
    fn tag(&self, shell: Seq) -> &str {
        self.tags.iter().find(|(of, ..)| *of == shell).map_or("", |(_, tag, _)| tag)
    }
    fn row(&self, shell: Seq) -> Option<&ShellRow> {
        self.shells.iter().find(|s| s.seq == shell)
    }
    fn id(&self, shell: Seq) -> String {
        self.row(shell).map_or_else(String::new, |s| s.id.to_string())
    }
    fn came(&self, shell: Seq) -> Option<&CameOf> {
        self.came.iter().find(|c| c.shell == shell)
    }
    /// Whether it was done, and when first, as far as that is known.
    fn first(&self, shell: Seq, kind: &str) -> Option<Option<Instant>> {
        self.first_done.iter().find(|(of, what, _)| *of == shell && what == kind).map(|(.., at)| *at)
    }
    fn name_of(&self, arm: Arm) -> &str {
        &self.called[usize::from(arm == Arm::B)]
    }
    fn level_of(&self, arm: Arm) -> Option<Seq> {
        self.trial.level[usize::from(arm == Arm::B)]
    }
    /// What a shell has by its record, of a recipe even before it was coated.
    fn has(&self, shell: Seq) -> Option<Seq> {
        let row = self.row(shell)?;
        if self.trial.factor == Factor::Recipe { row.recipe } else { row.recipe_version }
    }

    /// What was really done. A recipe is done once the first coat is on.
    fn done(&self, shell: Seq) -> Done {
        match self.trial.factor {
            Factor::Practice => Done::NotKnown,
            Factor::Support => match self.came(shell).filter(|c| c.poured).and_then(|c| c.support.as_deref()) {
                None => Done::NotKnown,
                Some(word) if word == self.trial.said[0] => Done::Arm(Arm::A),
                Some(word) if word == self.trial.said[1] => Done::Arm(Arm::B),
                Some(word) => Done::Other(word.replace('_', " ")),
            },
            Factor::Recipe | Factor::RecipeVersion => {
                if self.first(shell, "coat").is_none() && self.first(shell, "pour").is_none() {
                    return Done::NotKnown;
                }
                match self.has(shell) {
                    None => Done::NotKnown,
                    has if has == self.trial.level[0] => Done::Arm(Arm::A),
                    has if has == self.trial.level[1] => Done::Arm(Arm::B),
                    Some(seq) => Done::Other(
                        self.recipes.iter().find(|(of, _)| *of == seq).map_or_else(String::new, |(_, name)| name.clone()),
                    ),
                }
            }
        }
    }

    /// What differs from what the coin said, shell by shell; of a void pair nothing was to be done.
    fn deviations(&self) -> Vec<Value> {
        let mut out = Vec::new();
        for pair in self.pairs.iter().filter(|p| p.void.is_none()) {
            for (shell, arm) in pair.named() {
                let line = |what: &str, done: Option<&str>| {
                    let mut line = json!({"pair": pair.n, "pair_id": pair.id.to_string(), "shell_id": self.id(shell), "tag": self.tag(shell),
                        "arm": arm_name(arm), "assigned": self.name_of(arm), "what": what});
                    if let Some(done) = done {
                        line["done"] = done.into();
                    }
                    line
                };
                match self.done(shell) {
                    Done::Arm(done) if done != arm => out.push(line("done_otherwise", Some(self.name_of(done)))),
                    Done::Other(done) => out.push(line("done_otherwise", Some(&done))),
                    Done::NotKnown if self.trial.factor == Factor::Support && self.came(shell).is_some_and(|c| c.poured) => {
                        out.push(line("not_said", None));
                    }
                    _ => {}
                }
                // The coin is tossed when the pair is written down, whatever time is given for it. What was
                // logged later than that may have been done before.
                let kind = if self.trial.factor.in_the_shell() { "coat" } else { "pour" };
                if self.first(shell, kind).flatten().is_some_and(|at| at < pair.recorded) {
                    out.push(line("before_the_coin", None));
                }
            }
        }
        out
    }

    /// Rates by what was really done, of shells in pairs that are not void. Nothing where the book does
    /// not know what was done.
    fn as_treated(&self, followed: &[Followed<'_>]) -> Option<Value> {
        if self.trial.factor == Factor::Practice {
            return None;
        }
        let mut counts = [[0_u32; 2]; 3];
        for f in followed.iter().filter(|f| f.pair.void.is_none()) {
            for (shell, fate) in f.pair.shells.iter().zip(f.fates) {
                let Some((failed, _)) = fate.failed() else { continue };
                let of = match self.done(*shell) {
                    Done::Arm(Arm::A) => 0,
                    Done::Arm(Arm::B) => 1,
                    Done::Other(_) | Done::NotKnown => 2,
                };
                counts[of][0] += 1;
                counts[of][1] += u32::from(failed);
            }
        }
        let one = |[shells, failed]: [u32; 2]| {
            let mut out = json!({"shells": shells, "failed": failed});
            if shells > 0 {
                out["rate"] = json!(f64::from(failed) / f64::from(shells));
            }
            out
        };
        Some(json!({"a": one(counts[0]), "b": one(counts[1]), "neither": one(counts[2])}))
    }

    /// Shells that still bear another recipe than the coin gave them, and have no coat yet.
    fn to_set(&self) -> Vec<Value> {
        if self.trial.factor != Factor::Recipe {
            return Vec::new();
        }
        let mut out = Vec::new();
        for pair in self.pairs.iter().filter(|p| p.void.is_none()) {
            for (shell, arm) in pair.named() {
                let untouched = self.first(shell, "coat").is_none() && self.came(shell).is_none();
                if let (true, Some(row)) = (untouched && self.has(shell) != self.level_of(arm), self.row(shell)) {
                    let recipe = &self.trial.said[usize::from(arm == Arm::B)];
                    out.push(json!({"shell_id": row.id.to_string(), "tag": self.tag(shell), "etag": etag(row.id, row.version),
                        "recipe_id": recipe, "recipe": self.name_of(arm)}));
                }
            }
        }
        out
    }

    fn assignments(&self, followed: &[Followed<'_>]) -> Vec<Value> {
        let mut out = Vec::with_capacity(2 * followed.len());
        for f in followed {
            for (shell, arm) in f.pair.named() {
                let fate = f.fates[usize::from(arm == Arm::B)];
                out.push(json!({"pair": f.pair.n, "shell_id": self.id(shell), "tag": self.tag(shell), "arm": arm_name(arm),
                    "is": self.name_of(arm), "came_of_it": fate.name()}));
            }
        }
        out
    }

    fn pairs(&self, followed: &[Followed<'_>]) -> Vec<Value> {
        followed
            .iter()
            .map(|f| {
                let [a, b] = f.pair.shells;
                let mut out = json!({"id": f.pair.id.to_string(), "n": f.pair.n, "at": f.pair.at.to_string(), "a": self.tag(a),
                    "b": self.tag(b), "a_came": f.fates[0].name(), "b_came": f.fates[1].name(), "outcome": f.outcome()});
                if let Tells::Done(_, at) = f.tells() {
                    out["completed_at"] = at.to_string().into();
                }
                if let Some((at, why)) = &f.pair.void {
                    out["void"] = json!({"at": at.to_string(), "reason": why});
                }
                out
            })
            .collect()
    }

    /// What is added to the trial's record in an answer of its own.
    pub async fn card(&self, read: &mut ReadTx, now: Instant) -> Result<Map<String, Value>, Problem> {
        let followed = outcome::followed(&self.trial, &self.pairs, &self.came);
        let course = outcome::course(&self.trial, &followed);
        let pace = plan::pace(read, self.trial.outcome, &self.trial.strata, now).await?;
        let mut out = summary(&self.trial, &self.called, &followed, &course);
        out.insert("assignments".into(), self.assignments(&followed).into());
        out.insert("pairs".into(), self.pairs(&followed).into());
        out.insert("course".into(), points(&outcome::in_order(&followed, false)).into());
        out.insert("deviations".into(), self.deviations().into());
        if let Some(rates) = self.as_treated(&followed) {
            out.insert("as_treated".into(), rates);
        }
        out.insert("to_set".into(), self.to_set().into());
        let known = followed.iter().filter(|f| f.pair.void.is_some() && matches!(f.tells(), Tells::Done(..))).count();
        if known > 0 {
            let counts =
                crate::science::statistics::trial::follow(&outcome::in_order(&followed, true), &outcome::plan(&self.trial))
                    .counts;
            let mut with = counts_json(counts.a_only, counts.b_only, counts.same);
            with["void_and_known"] = known.into();
            with["e"] = json!(pair_e_value(counts).e);
            out.insert("with_void_pairs".into(), with);
        }
        if let Value::Object(from_here) = plan::from_here(&self.trial, course.counts, &pace) {
            out.extend(from_here);
        }
        Ok(out)
    }
}

fn counts_json(a_only: u32, b_only: u32, same: u32) -> Value {
    json!({"a_only": a_only, "b_only": b_only, "same": same})
}

/// The course: after each completed pair the e-value, the difference seen and what is possible of it.
fn points(pairs: &[crate::science::statistics::trial::Pair]) -> Vec<Value> {
    outcome::thinned(pairs, MOST_POINTS)
        .into_iter()
        .map(|counts| {
            let mut point = json!({"pairs": counts.pairs(), "e": pair_e_value(counts).e});
            if let Some(d) = difference(counts) {
                (point["value"], point["low"], point["high"]) = (json!(d.value), json!(d.low), json!(d.high));
            }
            point
        })
        .collect()
}

fn verdict_name(verdict: Verdict) -> (&'static str, Option<Arm>) {
    match verdict {
        Verdict::ToldApart { worse } => ("told_apart", Some(worse)),
        Verdict::Alike => ("alike", None),
        Verdict::Leaning { worse } => ("leaning", Some(worse)),
        Verdict::CannotTellYet => ("cannot_tell_yet", None),
        Verdict::PlannedEnd => ("planned_end", None),
    }
}

/// What failed, in words.
#[must_use]
pub const fn failing(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Leak => "leaked",
        Outcome::Short => "filled short",
        Outcome::Defect => "had a defect",
    }
}

/// The verdict in words, counts first.
fn sentence(trial: &TrialRow, called: &[String; 2], course: &Course) -> String {
    let c = course.counts;
    let [a, b] = called;
    let pairs = c.pairs();
    let counts = if pairs < 1.0 {
        "No pair is complete yet.".to_owned()
    } else {
        let what = failing(trial.outcome);
        format!(
            "Of {pairs} complete pair{} only {a} {what} in {}, only {b} in {}, both or neither in {}.",
            if (pairs - 1.0).abs() < 0.5 { "" } else { "s" },
            c.a_only,
            c.b_only,
            c.same
        )
    };
    let name = |arm: Arm| if arm == Arm::A { a } else { b };
    let points = trial.worth * 100.0;
    let word = match course.verdict {
        Verdict::ToldApart { worse } => format!("Told apart: {} fails more often.", name(worse)),
        Verdict::Alike => format!("Alike for practical purposes: they differ by less than {points:.0} shells in 100."),
        Verdict::Leaning { worse } => {
            format!("Leaning: {} seems to fail more often. Of trials of like ways one in seven leans at some time.", name(worse))
        }
        Verdict::CannotTellYet => "Cannot tell yet.".to_owned(),
        Verdict::PlannedEnd => "Cannot tell: the planned end is reached.".to_owned(),
    };
    let stop = course.stop.map_or_else(String::new, |stop| format!(" It was so after {} pairs, and stands.", stop.after));
    format!("{counts} {word}{stop}")
}

fn summary(trial: &TrialRow, called: &[String; 2], followed: &[Followed<'_>], course: &Course) -> Map<String, Value> {
    let mut out = Map::new();
    let mut set = |name: &str, value: Value| out.insert(name.to_owned(), value);
    set("a_is", called[0].as_str().into());
    set("b_is", called[1].as_str().into());
    set("seed", trial.seed.to_string().into());
    let c = course.counts;
    for (name, count) in [("a_only", c.a_only), ("b_only", c.b_only), ("same", c.same)] {
        set(name, count.into());
    }
    set("waiting", outcome::waiting(followed).into());
    set("void_pairs", followed.iter().filter(|f| f.pair.void.is_some()).count().into());
    let fell_out = followed.iter().filter(|f| f.pair.void.is_none() && f.tells() == Tells::FellOut).count();
    set("fell_out", fell_out.into());
    set(
        "lost",
        followed
            .iter()
            .filter(|f| f.pair.void.is_none())
            .flat_map(|f| f.fates)
            .filter(|f| matches!(f, Fate::Lost(_)))
            .count()
            .into(),
    );
    set("e", json!(pair_e_value(c).e));
    set("told_apart_at", json!(TOLD_APART));
    if let Some(d) = course.difference {
        set("difference", json!({"value": d.value, "low": d.low, "high": d.high}));
    }
    let (word, worse) = verdict_name(course.verdict);
    set("verdict", word.into());
    if let Some(worse) = worse {
        set("worse", arm_name(worse).into());
    }
    if let Some(stop) = course.stop {
        set("stopped_after", stop.after.into());
    }
    set("said", sentence(trial, called, course).into());
    if let Some((at, why)) = &trial.ended {
        set("ended", json!({"at": at.to_string(), "reason": why}));
    }
    out
}

/// What is added to trials in lists and where they are made: the counts and the word.
pub fn extras<'a>(read: &'a mut ReadTx, seqs: &'a [Seq]) -> Adding<'a> {
    Box::pin(async move {
        let trials = store::trials(read, seqs).await?;
        let called = called(read, &trials).await?;
        let pairs = store::pairs(read, seqs).await?;
        let shells: Vec<Seq> = pairs.iter().flat_map(|p| p.shells).collect();
        let came = facts::came_of(read, &shells).await?;
        let one = |(trial, called): (&TrialRow, &[String; 2])| {
            let mine: Vec<PairRow> = pairs.iter().filter(|p| p.trial == trial.seq).cloned().collect();
            let followed = outcome::followed(trial, &mine, &came);
            (trial.seq, summary(trial, called, &followed, &outcome::course(trial, &followed)))
        };
        Ok(trials.iter().zip(&called).map(one).collect())
    })
}

/// What is added to pairs: their number, what the coin gave, the trial's name and seed.
pub fn pair_extras<'a>(read: &'a mut ReadTx, seqs: &'a [Seq]) -> Adding<'a> {
    Box::pin(async move {
        let pairs = store::pairs_by(read, seqs).await?;
        let of: Vec<Seq> = pairs.iter().map(|p| p.trial).collect();
        let trials = store::trials(read, &of).await?;
        let called = called(read, &trials).await?;
        let shells: Vec<Seq> = pairs.iter().flat_map(|p| p.shells).collect();
        let (rows, tags) = (store::shells(read, &shells).await?, shell::names(read, &shells).await?);
        let mut out = std::collections::HashMap::new();
        for (pair, (trial, called)) in pairs.iter().zip(trials.iter().zip(&called)) {
            let assignment = |(seq, arm): (Seq, Arm)| {
                let id = rows.iter().find(|r| r.seq == seq).map_or_else(String::new, |r| r.id.to_string());
                let tag = tags.iter().find(|(of, ..)| *of == seq).map_or("", |(_, tag, _)| tag.as_str());
                json!({"shell_id": id, "tag": tag, "arm": arm_name(arm), "is": called[usize::from(arm == Arm::B)]})
            };
            let assigned: Vec<Value> = pair.named().into_iter().map(assignment).collect();
            let more = [
                ("n", json!(pair.n)),
                ("trial", trial.name.as_str().into()),
                ("factor", trial.factor.name().into()),
                ("running", trial.ended.is_none().into()),
                ("seed", trial.seed.to_string().into()),
                ("assignments", assigned.into()),
            ];
            out.insert(pair.seq, more.into_iter().map(|(name, value)| (name.to_owned(), value)).collect());
        }
        Ok(out)
    })
}
