//! The record that quotes are worked out from: finished jobs, casting by casting, as comparables, and
//! all jobs as they would have been asked for.

use super::movers::{self, From};
use super::prices::{Prices, attempts, family, overhead, rated, without_mould};
use super::store;
use crate::book::reach;
use crate::db::{Read as _, ReadTx};
use crate::desk::cost::{self, Borne, CastingCost, JobCost};
use crate::kernel::{Instant, Kind, Mass, Problem, Seq};
use crate::science::costing::Part;
use crate::science::quoting::{AskedLine, Comparable, Finished, Job};
use crate::shop::house::What;
use crate::shop::house::rates::{self, Subject};
use crate::shop::house::settings;
use crate::shop::house::trade::{self, Trade};
use crate::shop::metal;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// The most jobs that are looked at, the latest: shops change.
pub const MOST_JOBS: i64 = 1_000;
/// The least share of metal lost that is reckoned with: metal may be found, the spread is one of ln.
const LEAST_SHARE: f64 = 0.005;

/// What is told of a comparable: the castings of one pattern in one job.
#[derive(Clone, Debug)]
pub struct Told {
    /// The job's number.
    pub number: String,
    /// What it was called.
    pub title: String,
    /// Its castings' tags.
    pub tags: Vec<String>,
    /// The alloy.
    pub alloy: String,
}

/// A job as the back-test knows it.
#[derive(Clone, Debug)]
pub struct JobTold {
    /// The commission.
    pub commission: Seq,
    /// Its number.
    pub number: String,
    /// What it is called.
    pub title: String,
    /// When it was taken in.
    pub at: Instant,
    /// What kind of work it is: unique, one copy or an edition, and of which alloy.
    pub kind: String,
    /// The parts of its cost, by group of movers, so far.
    pub groups: BTreeMap<&'static str, f64>,
}

/// The record as one look at the book found it.
#[derive(Debug)]
pub struct Record {
    /// All there is to compare with.
    pub comparables: Vec<Comparable>,
    /// What is told of each.
    pub told: Vec<Told>,
    /// All jobs with castings, in the order in which they were taken in.
    pub jobs: Vec<Job>,
    /// What is told of each.
    pub jobs_told: Vec<JobTold>,
    /// The last entry of the journal that it rests on.
    pub journal: i64,
}

/// Groups that a cost is compared by, quoted against real.
pub const GROUPS: [&str; 5] = ["metal", "wax_and_shell", "firing_and_pour", "work", "bought"];

/// The group of a part.
#[must_use]
pub const fn group(part: Part) -> &'static str {
    match part {
        Part::Wax | Part::Shell => "wax_and_shell",
        Part::Fuel | Part::Crucible | Part::PourDay => "firing_and_pour",
        // Overhead goes with the work that most of it is charged on.
        Part::Work | Part::Overhead => "work",
        Part::Mould | Part::Material | Part::Services | Part::Royalty | Part::Delivery => "bought",
    }
}

/// Castings of one pattern in a job.
struct Line<'j> {
    castings: Vec<&'j CastingCost>,
    pieces: BTreeSet<Seq>,
}

fn lines(job: &JobCost) -> Vec<Line<'_>> {
    let mut by_pattern: BTreeMap<Seq, Line<'_>> = BTreeMap::new();
    for casting in &job.castings {
        let line =
            by_pattern.entry(casting.row.pattern_seq).or_insert_with(|| Line { castings: Vec::new(), pieces: BTreeSet::new() });
        line.castings.push(casting);
        line.pieces.insert(casting.row.piece_seq);
    }
    by_pattern.into_values().collect()
}

/// How a job stands.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Ended {
    /// Something of it is still to come.
    No,
    /// Every part of every piece is finished or handed over by its last attempt. What other castings of a
    /// heat come to may still move a little of its metal.
    Finished,
    /// Nothing more can come: a work whose pattern is gone was lost.
    WithoutWork,
}

/// How a job stands, by the last attempt of each part of each piece.
#[must_use]
pub fn ended(job: &JobCost) -> Ended {
    let mut last: BTreeMap<(Seq, i64), &CastingCost> = BTreeMap::new();
    for casting in &job.castings {
        last.insert((casting.row.piece_seq, casting.row.part_n), casting);
    }
    let good = |one: &&CastingCost| matches!(one.row.stage.as_str(), "done" | "delivered");
    let lost = |one: &&CastingCost| one.row.stage == "scrapped" && one.row.pattern_kind == "unique";
    match last.values().filter(|one| good(one)).count() {
        n if n == last.len() && n > 0 => Ended::Finished,
        _ if !last.is_empty() && last.values().all(|one| good(one) || lost(one)) => Ended::WithoutWork,
        _ => Ended::No,
    }
}

/// The sum of a part's units on some.
fn units<'b>(of: impl Iterator<Item = &'b Borne>, part: Part) -> f64 {
    of.filter_map(|borne| borne.units.get(&part)).sum()
}

impl Line<'_> {
    /// Metal of a casting in kg, as it is known before a wax is weighed: what fills its pattern, else what
    /// was estimated since; none where nothing says.
    fn mass_kg(&self, trade: &Trade) -> Option<f64> {
        let first = &self.castings.first()?.row;
        if first.mass_mg.is_some() || first.volume_cm3.is_some() {
            let of_pattern = metal::metal_of(trade, &first.alloy, &first.material, first.mass_mg, first.volume_cm3).kg();
            return (of_pattern > 0.0).then_some(of_pattern);
        }
        let known: Vec<f64> =
            self.castings.iter().filter_map(|c| c.figures.as_ref()).map(|f| f.estimate.kg()).filter(|kg| *kg > 0.0).collect();
        (!known.is_empty()).then(|| known.iter().sum::<f64>() / known.len() as f64)
    }

    /// The book's value of a kg of metal in its good castings, in minor units.
    fn unit_value(&self) -> Option<f64> {
        let good = self.castings.iter().filter_map(|c| c.figures.as_ref()).filter(|f| f.state == "good");
        let (mut value, mut kg) = (0.0, 0.0);
        for figures in good {
            value += figures.at_unit.minor() as f64;
            kg += figures.net.map_or(0.0, Mass::kg);
        }
        (kg > 0.0 && value > 0.0).then(|| value / kg)
    }

    /// The value of each mover for a casting, a piece, the line.
    fn values(&self, job: &JobCost, prices: &Prices<'_>) -> Vec<Option<f64>> {
        let (castings, pieces) = (self.castings.len() as f64, self.pieces.len() as f64);
        let of_job = self.pieces.len() as f64 / job.pieces.len().max(1) as f64;
        let on_castings = || self.castings.iter().map(|c| &c.borne);
        let on_pieces = || self.pieces.iter().filter_map(|piece| job.pieces.get(piece));
        let per = |mover: &movers::Mover| match mover.spec.per {
            crate::science::quoting::Per::Casting => castings,
            crate::science::quoting::Per::Piece => pieces,
            crate::science::quoting::Per::Line => 1.0,
        };
        let value = |mover: &movers::Mover| {
            let whole = |part: Part| job.whole.units.get(&part).copied().unwrap_or(0.0) * of_job;
            let sum = match mover.from {
                From::Bought(part) => whole(part),
                // Bases are bought for the job as a whole; they are a mover by themselves.
                From::Part(Part::Material) => units(on_castings().chain(on_pieces()), Part::Material),
                From::Part(Part::Mould) => {
                    let minutes = |borne: &Borne| borne.minutes.get(movers::MAKE_MOULD).copied().unwrap_or(0.0);
                    let made = on_castings().chain(on_pieces()).map(minutes).sum::<f64>() + minutes(&job.whole) * of_job;
                    units(on_castings().chain(on_pieces()), Part::Mould)
                        + whole(Part::Mould)
                        + made * prices.minute_with_overhead()
                }
                // Without a rate nothing was booked, and nothing is known of it.
                From::Part(part) if rated(part) && prices.unit(part).is_none() => return None,
                From::Part(part) => units(on_castings().chain(on_pieces()), part) + whole(part),
                From::Minutes(n) => {
                    let code = movers::operation(n);
                    let minutes = |borne: &Borne| borne.minutes.get(code).copied().unwrap_or(0.0);
                    on_castings().chain(on_pieces()).map(minutes).sum::<f64>() + minutes(&job.whole) * of_job
                }
            };
            Some(sum / per(mover))
        };
        movers::all().iter().map(value).collect()
    }

    fn comparable(
        &self,
        job: &JobCost,
        known_from: i64,
        trade: &Trade,
        finish: Option<i64>,
        prices: &Prices<'_>,
    ) -> Option<Comparable> {
        let first = self.castings.first()?;
        let unit = self.unit_value();
        let share = |state: &str| {
            let of: Vec<_> = self.castings.iter().filter_map(|c| c.figures.as_ref()).filter(|f| f.state == state).collect();
            let poured: f64 = of.iter().map(|f| f.poured.kg()).sum();
            let lost: f64 = of
                .iter()
                .map(|f| (f.resting + f.share).minor() as f64 - if state == "good" { f.at_unit.minor() as f64 } else { 0.0 })
                .sum();
            let unit = unit?;
            (poured > 0.0).then(|| (lost / (unit * poured)).max(LEAST_SHARE))
        };
        let good: Vec<_> = self.castings.iter().filter_map(|c| c.figures.as_ref()).filter(|f| f.state == "good").collect();
        let net: f64 = good.iter().filter_map(|f| f.net).map(Mass::kg).sum();
        let weighed = good.iter().filter(|f| f.net.is_some()).count();
        let estimate = self.mass_kg(trade)? * weighed as f64;
        let poured: f64 = good.iter().filter(|f| f.net.is_some()).map(|f| f.poured.kg()).sum();
        let failed = self.castings.iter().filter(|c| c.row.stage == "scrapped").count();
        let whole = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        Some(Comparable {
            mass_kg: self.mass_kg(trade)?,
            family: family(trade, &first.row.alloy)?,
            section_mm: first.row.section_mm,
            recipe: self.castings.iter().find_map(|c| c.recipe),
            finish,
            pieces: whole(self.pieces.len()),
            castings: whole(self.castings.len()),
            failed: whole(failed),
            net_over_estimate: (net > 0.0 && estimate > 0.0).then(|| net / estimate),
            poured_over_net: (net > 0.0 && poured > 0.0).then(|| poured / net),
            lost_share: share("good"),
            failed_share: share("failed"),
            values: self.values(job, prices),
            known_from,
        })
    }

    /// What would have been asked for.
    fn asked(&self, job: &JobCost, prices: &Prices<'_>, trade: &Trade, finish: Option<i64>) -> Option<AskedLine> {
        let first = self.castings.first()?;
        let recipe = self.castings.iter().find_map(|c| c.recipe);
        let mut of_movers = prices.of_movers(recipe);
        // Whether a mould was to be made was known.
        let made = self.pieces.iter().filter_map(|p| job.pieces.get(p)).chain([&job.whole]).any(|borne| {
            borne.money.get(&Part::Mould).is_some_and(|money| !money.is_zero()) || borne.minutes.contains_key(movers::MAKE_MOULD)
        });
        if !made {
            without_mould(&mut of_movers);
        }
        // Bases are said when one asks; what they really cost is known by itself.
        for (mover, price) in movers::all().iter().zip(&mut of_movers) {
            if matches!(mover.from, From::Bought(_)) {
                *price = 0.0;
            }
        }
        let day = prices.settings.day(prices.at);
        let market = prices.rates.in_force(What::MetalKg, &Subject::alloy(&first.row.alloy), day);
        let copies = u32::try_from(self.pieces.len()).ok()?;
        Some(AskedLine {
            mass_kg: self.mass_kg(trade)?,
            family: family(trade, &first.row.alloy)?,
            section_mm: first.row.section_mm,
            recipe,
            finish,
            copies,
            most_attempts: if first.row.pattern_kind == "unique" { 1 } else { attempts(prices.settings, prices.at) },
            client_bears_recast: false,
            metal_per_kg: self.unit_value().or_else(|| market.map(|m| m.minor() as f64)).unwrap_or(0.0),
            prices: of_movers,
            fixed: 0.0,
            per_piece: 0.0,
        })
    }
}

/// The record of the latest jobs; kept until something is written.
///
/// # Errors
/// As the database says.
pub async fn of(read: &mut ReadTx) -> Result<Arc<Record>, Problem> {
    let journal = store::journal(read).await?;
    if let Some(kept) = read.shared().get::<Record>()
        && kept.journal == journal
    {
        return Ok(kept);
    }
    let record = Arc::new(load(read, journal).await?);
    read.shared().put(record.clone());
    Ok(record)
}

async fn load(read: &mut ReadTx, journal: i64) -> Result<Record, Problem> {
    let (settings, rates, trade) = (settings::of(read).await?, rates::of(read).await?, trade::of(read).await?);
    let rows = store::jobs(read, MOST_JOBS).await?;
    let seqs: Vec<Seq> = rows.iter().map(|row| row.commission).collect();
    let mut costs: BTreeMap<Seq, JobCost> = cost::jobs(read, &seqs).await?.into_iter().map(|job| (job.commission, job)).collect();
    let finishes = finishes(read, &costs).await?;
    let quoted = store::quoted(read, &seqs).await?;
    let of_jobs = costs.values().flat_map(|job| job.castings.iter().map(|c| c.row.seq).chain(job.pieces.keys().copied()));
    let of_jobs: Vec<Seq> = of_jobs.chain(seqs.iter().copied()).collect();
    let last = store::last_recorded(read, &of_jobs).await?;
    let mut out = Record { comparables: Vec::new(), told: Vec::new(), jobs: Vec::new(), jobs_told: Vec::new(), journal };
    for row in rows {
        let Some(job) = costs.remove(&row.commission) else { continue };
        if job.castings.is_empty() {
            continue;
        }
        let quoted = quoted.get(&row.commission);
        let of_job = job.castings.iter().map(|c| c.row.seq).chain(job.pieces.keys().copied()).chain([row.commission]);
        let last_ms = of_job.filter_map(|seq| last.get(&seq)).copied().max().unwrap_or(row.recorded_ms);
        let taken_in = quoted.map_or(row.recorded_ms, |q| q.recorded_ms);
        let prices = Prices { rates: &rates, settings: &settings, at: Instant::from_ms(taken_in) };
        let prices_then = Prices { at: Instant::from_ms(last_ms), ..prices };
        let ended = ended(&job);
        let lines = lines(&job);
        let (mut asked, mut comparables) = (Vec::new(), Vec::new());
        for line in &lines {
            let finish = line.castings.iter().find_map(|c| finishes.get(&c.row.seq)).copied();
            asked.extend(line.asked(&job, &prices, &trade, finish));
            let Some(comparable) =
                (ended != Ended::No).then(|| line.comparable(&job, last_ms, &trade, finish, &prices_then)).flatten()
            else {
                continue;
            };
            comparables.push(comparable);
            out.told.push(Told {
                number: row.number.clone(),
                title: row.title.clone(),
                tags: line.castings.iter().map(|c| c.row.tag.clone()).collect(),
                alloy: line.castings.first().map(|c| c.row.alloy.clone()).unwrap_or_default(),
            });
        }
        // A job that cannot be asked for whole cannot be tested; nor one that ended without its work, nor one
        // whose failed castings the client bore: what they cost is not what was quoted.
        let borne = quoted.is_some_and(|quoted| quoted.client_bears);
        let whole = asked.len() == lines.len() && ended != Ended::WithoutWork && !borne;
        out.comparables.extend(comparables.iter().cloned());
        let total = job.total.minor() as f64;
        // Said when one asks.
        let said = [Part::Royalty, Part::Material].iter().filter_map(|part| job.whole.money.get(part));
        let said: f64 = said.map(|money| money.minor() as f64).sum();
        if let Some(first) = asked.first_mut() {
            first.fixed += said;
        }
        out.jobs.push(Job {
            lines: if whole { asked } else { Vec::new() },
            overhead: overhead(settings.overhead(prices.at)).0,
            quoted_at: taken_in,
            finished: (ended == Ended::Finished && total > 0.0).then_some(Finished { known_from: last_ms, actual: total }),
            so_far: total,
            quoted: quoted.filter(|_| whole).map(|q| (q.median, q.spread)),
            comparables,
        });
        out.jobs_told.push(JobTold {
            commission: row.commission,
            number: row.number,
            title: row.title,
            at: Instant::from_ms(row.at_ms),
            kind: kind(&job),
            groups: groups(&job),
        });
    }
    Ok(out)
}

/// What kind of work a job is, by its first casting and how many pieces it has.
fn kind(job: &JobCost) -> String {
    let Some(first) = job.castings.first().map(|casting| &casting.row) else { return String::new() };
    kind_words(first.pattern_kind == "unique", job.pieces.len() as u64, &first.alloy)
}

/// A kind of work in words.
#[must_use]
pub fn kind_words(unique: bool, copies: u64, alloy: &str) -> String {
    let how = match (unique, copies) {
        (true, _) => "unique",
        (false, 0..=1) => "one copy",
        (false, _) => "several copies",
    };
    format!("{how}, {alloy}")
}

/// What a job cost by group.
#[must_use]
pub fn groups(job: &JobCost) -> BTreeMap<&'static str, f64> {
    let mut out: BTreeMap<&'static str, f64> = BTreeMap::new();
    *out.entry("metal").or_default() += job.metal.minor() as f64;
    let all = job.castings.iter().map(|c| &c.borne).chain(job.pieces.values()).chain([&job.whole]);
    for (part, money) in all.flat_map(|borne| &borne.money) {
        *out.entry(group(*part)).or_default() += money.minor() as f64;
    }
    out
}

/// The patina that each casting was finished with, by casting.
async fn finishes(read: &mut ReadTx, costs: &BTreeMap<Seq, JobCost>) -> Result<BTreeMap<Seq, i64>, Problem> {
    let castings: Vec<Seq> = costs.values().flat_map(|job| job.castings.iter().map(|c| c.row.seq)).collect();
    let pieces: BTreeMap<Seq, Vec<Seq>> = costs.values().flat_map(|job| &job.castings).fold(BTreeMap::new(), |mut out, c| {
        out.entry(c.row.piece_seq).or_insert_with(Vec::new).push(c.row.seq);
        out
    });
    let mut on = castings;
    on.extend(pieces.keys());
    let work = reach::referring(read, &on, &[Kind::Work]).await?;
    let records: Vec<Seq> = work.iter().map(|r| r.record).collect();
    let patinas: BTreeMap<Seq, Seq> = reach::referred(read, &records)
        .await?
        .into_iter()
        .filter(|r| r.member == "patina_id")
        .map(|r| (r.record, r.target))
        .collect();
    let mut out = BTreeMap::new();
    for reference in work {
        let Some(patina) = patinas.get(&reference.record) else { continue };
        let on = pieces.get(&reference.target).cloned().unwrap_or_else(|| vec![reference.target]);
        out.extend(on.into_iter().map(|casting| (casting, *patina)));
    }
    Ok(out)
}
