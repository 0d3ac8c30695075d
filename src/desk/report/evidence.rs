//! Levels compared: which can be told apart, and what that comes to. The unit is the shell; the words come
//! from the one algorithm of [`verdict`], over facts.

use super::ask::{Ask, malformed};
use super::factor::{Factor, MIXED, Shown};
use super::store::{
    self, Rests,
    cells::{self, Counted, Together},
};
use super::words;
use crate::db::ReadTx;
use crate::kernel::{Instant, Problem, ProblemType};
use crate::science::statistics::Arm;
use crate::science::statistics::shrinkage::{self, Level as Drawn};
use crate::science::statistics::verdict::{self, Cell, Comparison, Family, NAMED_BEFOREHAND, Options, STANDING};
use crate::science::statistics::{binomial::CONFIDENCE, freeman_halton};
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

/// The seed of what is drawn in a report: the same record gives the same answer.
const SEED: u64 = 20_261_125;
/// The least difference of rates that is taken as worth knowing, where nobody says another.
pub const WORTH_KNOWING: f64 = 0.10;
/// So many comparisons are shown one by one, whatever they come to; of more only those that are told apart or lean.
const SHOWN: usize = 66;
/// More levels than that are not compared: each would have a few pours at best.
const MOST_LEVELS: usize = 10_000;

/// What is asked of a comparison.
#[derive(Clone, Debug)]
pub struct Question {
    /// `leaks`, `shorts` or `defects`.
    pub outcome: &'static str,
    /// What is adjusted for.
    pub adjust: Vec<Factor>,
    /// Whether it was named before the pours were seen, and is read once.
    pub beforehand: bool,
    /// The least difference worth knowing.
    pub worth_knowing: f64,
}

impl Question {
    /// The question of a standing report: adjusted for the alloy, where that is not what is asked for.
    #[must_use]
    pub fn standing(outcome: &'static str, factor: Factor) -> Self {
        let adjust = if factor == Factor::Alloy { Vec::new() } else { vec![Factor::Alloy] };
        Self { outcome, adjust, beforehand: false, worth_knowing: WORTH_KNOWING }
    }
    fn threshold(&self) -> f64 {
        if self.beforehand { NAMED_BEFOREHAND } else { STANDING }
    }
    fn options(&self, factor: Factor) -> Options {
        let within_heats = together(factor) != Together::Apart;
        Options { threshold: self.threshold(), within_heats, worth_knowing: self.worth_knowing, seed: SEED }
    }
    /// What it was adjusted for, in words.
    #[must_use]
    pub fn strata(&self) -> String {
        let names: Vec<String> = self.adjust.iter().map(|f| f.name().replace('_', " ")).collect();
        if names.is_empty() { "pour".to_owned() } else { names.join(" and ") }
    }
}

/// What shells share that stand at one level of a factor together.
const fn together(factor: Factor) -> Together {
    match factor {
        Factor::Alloy | Factor::Furnace | Factor::Crucible | Factor::Month | Factor::Superheat | Factor::Hand => Together::Heat,
        Factor::Kiln => Together::Load,
        _ => Together::Apart,
    }
}

/// The levels of a factor as they were counted for a comparison.
#[derive(Clone, Debug)]
pub struct Levels {
    /// Of which factor.
    factor: Factor,
    /// How each is shown, with its shells and events.
    pub shown: Vec<(Shown, Option<String>, Arm)>,
    cells: Vec<Cell>,
    /// All shells by stratum and heat, where one has several levels.
    totals: Option<Vec<Cell>>,
    /// Shells whose level is not on record, or whose castings do not agree.
    pub left_out: u32,
}

/// What each factor rests on.
async fn rests_of(read: &mut ReadTx, ask: &Ask, factor: Factor, now: Instant) -> Result<Rests, Problem> {
    super::rates::rests(read, &Ask { factor, ..ask.clone() }, now).await
}

/// Counts the levels of a factor for a comparison.
///
/// # Errors
/// `malformed` for what cannot be adjusted for.
pub async fn levels(read: &mut ReadTx, ask: &Ask, question: &Question, now: Instant) -> Result<Levels, Problem> {
    let mut adjust = Vec::new();
    for factor in &question.adjust {
        if factor.several() {
            let name = factor.name();
            return Err(malformed(format!("A shell may have several of {name}, so nothing is adjusted for it.")));
        }
        if *factor == ask.factor {
            return Err(malformed("The parameter adjust names the factor itself; leave it out.".into()));
        }
        adjust.push((*factor, rests_of(read, ask, *factor, now).await?));
    }
    let rests = rests_of(read, ask, ask.factor, now).await?;
    let by = together(ask.factor);
    let count = |factor| cells::cells(ask, question.outcome, factor, &rests, &adjust, by);
    let found = cells::count(read, count(Some(ask.factor))).await?;
    let all = if ask.factor.several() { Some(cells::count(read, count(None)).await?) } else { None };
    let told = |c: &Counted| c.level.clone().filter(|level| level != MIXED);
    let mut sums: BTreeMap<String, Arm> = BTreeMap::new();
    let mut left_out = 0;
    for counted in &found {
        match told(counted) {
            Some(level) => {
                let sum = sums.entry(level).or_default();
                *sum = sum.with(arm(counted)?);
            }
            // A shell without a flag is at no level of flags, and stands among the rest.
            None if all.is_some() => {}
            None => left_out += counted.of,
        }
    }
    let seqs: Vec<i64> = sums.keys().filter_map(|level| level.parse().ok()).collect();
    let names = store::names(read, ask.factor, &seqs).await?;
    let mut shown: Vec<(Shown, Option<String>, Arm)> = sums
        .into_iter()
        .map(|(level, arm)| (Shown::new(ask.factor, Some(&level), &rests.edges, &names), Some(level), arm))
        .collect();
    shown.sort_by(|(a, ..), (b, ..)| a.key().cmp(&b.key()));
    let place: BTreeMap<&str, usize> =
        shown.iter().enumerate().filter_map(|(n, (_, level, _))| Some((level.as_deref()?, n))).collect();
    let mut numbers = Numbers::default();
    let mut cells = Vec::new();
    for counted in &found {
        if let Some(level) = told(counted).and_then(|level| place.get(level.as_str()).copied()) {
            cells.push(numbers.cell(level, counted)?);
        }
    }
    let totals = all.map(|all| all.iter().map(|counted| numbers.cell(0, counted)).collect::<Result<_, _>>()).transpose()?;
    drop(place);
    Ok(Levels { factor: ask.factor, shown, cells, totals, left_out })
}

fn arm(counted: &Counted) -> Result<Arm, Problem> {
    Arm::new(counted.events, counted.of).ok_or_else(|| Problem::internal("more events than shells"))
}

/// Numbers of strata and heats, dealt as they come.
#[derive(Default)]
struct Numbers {
    strata: BTreeMap<Vec<Option<String>>, usize>,
}

impl Numbers {
    fn cell(&mut self, level: usize, counted: &Counted) -> Result<Cell, Problem> {
        let next = self.strata.len();
        let stratum = *self.strata.entry(counted.stratum.clone()).or_insert(next);
        let heat = counted.together.and_then(|seq| usize::try_from(seq).ok());
        Ok(Cell { level, stratum, heat, arm: arm(counted)? })
    }
}

impl Levels {
    /// Judges all of them; away from the threads that answer, since it may take a while.
    ///
    /// # Errors
    /// That the work did not come to its end.
    pub async fn judge(&self, question: &Question, factor: Factor) -> Result<Family, Problem> {
        let (cells, totals, options) = (self.cells.clone(), self.totals.clone(), question.options(factor));
        if self.shown.len() > MOST_LEVELS {
            return Err(too_many(self.shown.len()));
        }
        worked_out(move || match totals {
            Some(totals) => verdict::judge_among(&cells, &totals, &options),
            None => verdict::judge(&cells, &options),
        })
        .await
    }
    /// The p that the levels do not differ at all, and how it was found.
    fn homogeneity(&self) -> Option<Value> {
        if self.totals.is_some() {
            return None;
        }
        let rows: Vec<Vec<u32>> =
            self.shown.iter().map(|(.., arm)| vec![arm.events(), arm.of().saturating_sub(arm.events())]).collect();
        let found = freeman_halton::overall(&rows, SEED)?;
        Some(json!({"method": found.method.name(), "p": found.p}))
    }
    /// Each level drawn towards the others, in their order.
    fn drawn(&self) -> Option<Vec<shrinkage::Shrunken>> {
        let levels: Vec<Drawn> = self.shown.iter().map(|(.., arm)| Drawn { count: arm.events(), of: arm.of() }).collect();
        shrinkage::shrink(&levels, CONFIDENCE)
    }
    /// What a level is called.
    #[must_use]
    pub fn called(&self, n: usize) -> String {
        self.shown.get(n).map_or_else(String::new, |(shown, ..)| shown.row()["label"].as_str().unwrap_or_default().to_owned())
    }
    fn find(&self, name: &str, text: &str) -> Result<usize, Problem> {
        let is = |row: &Value| {
            ["level", "label", "level_id"].iter().any(|m| row[*m].as_str().is_some_and(|l| l.eq_ignore_ascii_case(text)))
        };
        self.shown.iter().position(|(shown, ..)| is(&shown.row())).ok_or_else(|| {
            let all: Vec<String> = (0..self.shown.len()).take(20).map(|n| self.called(n)).collect();
            let there = if all.is_empty() { "nothing was poured".to_owned() } else { format!("there are: {}", all.join("; ")) };
            Problem::new(ProblemType::NotFound, format!("The parameter {name} names no level with pours; {there}."))
        })
    }
}

fn too_many(levels: usize) -> Problem {
    malformed(format!("There are {levels} levels, more than {MOST_LEVELS}: ask for fewer by a filter."))
}

async fn worked_out<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Result<T, Problem> {
    tokio::task::spawn_blocking(work).await.map_err(Problem::internal)
}

/// A number, where there is one: what is infinite has no end, and is left out.
fn put(out: &mut Map<String, Value>, name: &str, value: f64) {
    if value.is_finite() {
        out.insert(name.into(), value.into());
    }
}

/// A comparison as answered.
#[must_use]
pub fn answer(found: &Comparison, levels: &Levels, question: &Question) -> Value {
    let a = levels.called(found.a);
    let b = found.b.map(|b| levels.called(b));
    let mut adjusted = Map::new();
    adjusted.insert("method".into(), found.adjusted.estimate.name().into());
    adjusted.insert("test".into(), found.adjusted.test.name().into());
    adjusted.insert("for".into(), question.adjust.iter().map(|f| f.name()).collect());
    if let Some(odds) = found.adjusted.odds_ratio {
        put(&mut adjusted, "odds_ratio", odds.value);
        put(&mut adjusted, "low", odds.low);
        put(&mut adjusted, "high", odds.high);
    }
    adjusted.insert("p".into(), found.adjusted.p.into());
    if let Some(p) = found.adjusted.homogeneity_p {
        adjusted.insert("homogeneity_p".into(), p.into());
    }
    let more = |needed: &Option<crate::science::statistics::power::MorePours>| {
        needed.as_ref().map_or(Value::Null, |more| json!({"each": more.each, "a": more.first, "b": more.second}))
    };
    let rate = |rate: &crate::science::statistics::Rate| json!({"count": rate.count, "of": rate.of, "rate": rate.rate, "low": rate.low, "high": rate.high});
    let spoken = |label: &str| levels.factor.spoken(label);
    let other = b.as_deref().map_or_else(|| "all the rest".to_owned(), spoken);
    let words = words::comparison(found, question.outcome, &spoken(&a), &other, &question.strata());
    let mut out = json!({
        "a": a,
        "rate_a": rate(&found.rate_a),
        "rate_b": rate(&found.rate_b),
        "difference": {"value": found.difference.value, "low": found.difference.low, "high": found.difference.high},
        "fisher_p": found.fisher_p,
        "adjusted": adjusted,
        "raw_p": found.raw_p,
        "family": found.family,
        "verdict": found.verdict.name(),
        "opposite": found.opposite,
        "used": {"strata": found.used.strata, "of_strata": found.used.of_strata, "a": found.used.of_a, "b": found.used.of_b},
        "more_pours_needed": {
            "for_seen_gap": more(&found.more_pours.for_seen_gap),
            "for_gap_worth_knowing": more(&found.more_pours.for_gap_worth_knowing),
        },
        "words": words,
    });
    if let Some(b) = b {
        out["b"] = b.into();
    }
    if let Some(p) = found.holm_p {
        out["holm_p"] = p.into();
    }
    out
}

/// What a rate report says of its levels together: each drawn towards the others, whether they differ at
/// all, which can be told apart, and the places that each may stand at.
///
/// # Errors
/// As the database says.
pub async fn of_report(read: &mut ReadTx, ask: &Ask, outcome: &'static str, now: Instant) -> Result<OfLevels, Problem> {
    let question = Question::standing(outcome, ask.factor);
    let levels = levels(read, ask, &question, now).await?;
    if levels.shown.len() > MOST_LEVELS {
        return Ok(OfLevels::default());
    }
    let family = levels.judge(&question, ask.factor).await?;
    let drawn = levels.drawn();
    let mut by_level = BTreeMap::new();
    for (n, (_, level, _)) in levels.shown.iter().enumerate() {
        let mut row = Map::new();
        if let Some(drawn) = drawn.as_ref().and_then(|all| all.get(n)) {
            row.insert("shrunken".into(), drawn.mean.into());
            row.insert("shrunken_low".into(), drawn.low.into());
            row.insert("shrunken_high".into(), drawn.high.into());
        }
        if let Some(places) = family.places.iter().find(|p| p.level == n) {
            row.insert("place".into(), json!({"from": places.from, "to": places.to}));
        }
        by_level.insert(level.clone(), row);
    }
    let mut more = Map::new();
    if let Some(homogeneity) = levels.homogeneity() {
        more.insert("homogeneity".into(), homogeneity);
    }
    let all = family.comparisons.len();
    let shown = family.comparisons.iter().filter(|c| all <= SHOWN || c.verdict != verdict::Verdict::CannotTellYet);
    more.insert("comparisons".into(), shown.map(|c| answer(c, &levels, &question)).collect());
    more.insert(
        "compared".into(),
        json!({
            "count": all,
            "how": if family.kind == verdict::Kind::Pairs { "pairs" } else { "each_with_the_rest" },
            "threshold": question.threshold(),
            "adjusted_for": question.adjust.iter().map(|f| f.name()).collect::<Vec<_>>(),
            "left_out": levels.left_out,
            "words": words::family(family.kind, &family.comparisons, levels.shown.len()),
        }),
    );
    Ok(OfLevels { by_level, more })
}

/// What is said of the levels of a report together.
#[derive(Debug, Default)]
pub struct OfLevels {
    /// Members of each row, by its level as text.
    pub by_level: BTreeMap<Option<String>, Map<String, Value>>,
    /// Members of the report.
    pub more: Map<String, Value>,
}

/// `/v1/reports/compare`: two levels of a factor.
///
/// # Errors
/// `malformed`, `not-found` for levels without pours.
pub async fn compare(
    read: &mut ReadTx,
    ask: &Ask,
    question: &Question,
    a: &str,
    b: &str,
    now: Instant,
    money: bool,
) -> Result<Value, Problem> {
    let levels = levels(read, ask, question, now).await?;
    let (a, b) = (levels.find("a", a)?, levels.find("b", b)?);
    if a == b {
        return Err(malformed("The parameters a and b name the same level; give two.".into()));
    }
    if levels.shown.len() > MOST_LEVELS {
        return Err(too_many(levels.shown.len()));
    }
    let (cells, totals, options) = (levels.cells.clone(), levels.totals.clone(), question.options(ask.factor));
    if totals.is_some() {
        return Err(malformed(format!(
            "A shell may have several of {}, so two of them are not apart; the report by it compares each with all the rest.",
            ask.factor.name()
        )));
    }
    let found = worked_out(move || verdict::compare(&cells, a, b, &options)).await?;
    let found = found.ok_or_else(|| Problem::new(ProblemType::NotFound, "One of the levels has no pours in that range."))?;
    let mut out = answer(&found, &levels, question);
    out["outcome"] = question.outcome.trim_end_matches('s').into();
    out["factor"] = ask.factor.name().into();
    out["filters"] = ask.said();
    out["unit"] = "shell".into();
    out["threshold"] = question.threshold().into();
    out["worth_knowing"] = question.worth_knowing.into();
    out["left_out"] = levels.left_out.into();
    out["a_year"] = a_year(read, ask, question, &found, money).await?;
    Ok(out)
}

/// What the difference comes to in a year at the pace of those pours: pours of a hundred, pours that leak or
/// fail, kilograms and, to those who see money, the metal's value.
async fn a_year(read: &mut ReadTx, ask: &Ask, question: &Question, found: &Comparison, money: bool) -> Result<Value, Problem> {
    let all = cells::count(read, cells::cells(ask, question.outcome, None, &Rests::default(), &[], Together::Apart)).await?;
    let (mut of, mut events, mut lost) = (0_u32, 0_u32, 0_i64);
    for counted in &all {
        (of, events, lost) = (of + counted.of, events + counted.events, lost + counted.lost_mg);
    }
    let Some(reach) = store::reach(read).await? else { return Ok(Value::Null) };
    let from = ask.from.unwrap_or(reach.0).max(reach.0);
    let to = ask.to.unwrap_or(reach.1).min(reach.1);
    let years = (to.hours_since(from) / (24.0 * 365.25)).max(1.0 / 12.0);
    let pours = f64::from(found.rate_a.of + found.rate_b.of) / years;
    let gap = found.difference.value.abs();
    let mut out = Map::new();
    out.insert("in_a_hundred".into(), (gap * 100.0).into());
    out.insert("pours".into(), pours.into());
    out.insert("events".into(), (gap * pours).into());
    if question.outcome == "leaks" && events > 0 {
        #[expect(clippy::cast_precision_loss, reason = "masses lie far within 2^53 mg")]
        let each = lost as f64 / f64::from(events) / 1e6;
        out.insert("kg".into(), (each * gap * pours).into());
        if money && let Some((value, mass)) = cells::charged(read, ask.alloy.as_deref()).await? {
            #[expect(clippy::cast_precision_loss, clippy::cast_possible_truncation, reason = "sums of money lie far within 2^53")]
            let minor = (value as f64 / (mass as f64 / 1e6) * each * gap * pours).round() as i64;
            out.insert("metal_minor".into(), minor.into());
        }
    }
    Ok(Value::Object(out))
}

/// `/v1/reports/changed`: over all factors, which show any difference.
///
/// # Errors
/// As the database says.
pub async fn changed(read: &mut ReadTx, ask: &Ask, outcome: &'static str, now: Instant) -> Result<Value, Problem> {
    let mut all = Vec::new();
    for factor in Factor::ALL.iter().copied().filter(|f| !f.several()) {
        let ask = Ask { factor, ..ask.clone() };
        let question = Question::standing(outcome, factor);
        let levels = levels(read, &ask, &question, now).await?;
        let enough = levels.shown.iter().filter(|(.., arm)| arm.of() >= verdict::LEAST_SHELLS).count();
        if enough >= 2 && levels.shown.len() <= MOST_LEVELS {
            all.push((factor, levels, question));
        }
    }
    let given: Vec<(Vec<Cell>, Options)> =
        all.iter().map(|(factor, levels, question)| (levels.cells.clone(), question.options(*factor))).collect();
    let found = worked_out(move || {
        let given: Vec<(&[Cell], Options)> = given.iter().map(|(cells, options)| (cells.as_slice(), *options)).collect();
        verdict::changed(&given, STANDING)
    })
    .await?;
    let mut rows = Vec::new();
    for ((factor, levels, question), family) in all.iter().zip(found) {
        let told: Vec<Value> = family
            .iter()
            .flat_map(|f| &f.comparisons)
            .filter(|c| c.verdict == verdict::Verdict::ToldApart)
            .map(|c| answer(c, levels, question))
            .collect();
        rows.push(json!({
            "factor": factor.name(),
            "levels": levels.shown.len(),
            "differs": family.is_some(),
            "comparisons": told,
        }));
    }
    let differ = rows.iter().filter(|row| row["differs"] == true).count();
    let words = match (rows.len(), differ) {
        (0, _) => "Nothing has pours enough at two levels to be looked at.".to_owned(),
        (n, 0) => {
            format!("{n} things looked at: none makes a difference that can be told yet. That is not proof that none does.")
        }
        (n, d) => format!("{n} things looked at: {d} make a difference."),
    };
    let outside: Vec<&str> = Factor::ALL.iter().filter(|f| f.several()).map(|f| f.name()).collect();
    Ok(json!({"outcome": outcome.trim_end_matches('s'), "filters": ask.said(), "unit": "shell", "threshold": STANDING,
        "rows": rows, "words": words, "not_looked_at": outside}))
}

/// Factors with commas between.
///
/// # Errors
/// `malformed` for a name that is none.
pub fn factors(text: &str) -> Result<Vec<Factor>, Problem> {
    text.split(',')
        .map(str::trim)
        .filter(|name| !name.is_empty())
        .map(|name| Factor::parse(name).ok_or_else(|| malformed(format!("The parameter adjust names no factor {name}."))))
        .collect()
}
