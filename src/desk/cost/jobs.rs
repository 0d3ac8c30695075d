//! What many jobs cost, casting by casting, in money and in the units that it is priced by: what
//! quotes learn from.

use super::gather::{self, Gathered};
use super::metal::MetalCost;
use super::price::{Priced, price, worked_on};
use super::store;
use crate::db::ReadTx;
use crate::kernel::{Instant, Kind, Money, Problem, Seq};
use crate::science::costing::{Bearer, Line, On, Part, fall};
use crate::shop::casting::CastingRow;
use crate::shop::house::What;
use crate::shop::house::rates::{Rates, Subject};
use crate::shop::house::settings::Settings;
use crate::shop::metal::CastingFigures;
use std::collections::BTreeMap;

/// What falls on one bearer.
#[derive(Clone, Debug, Default)]
pub struct Borne {
    /// Money by part, metal apart.
    pub money: BTreeMap<Part, Money>,
    /// The same in what the part is priced by, at the rates of the day: kg of wax, dm² of coat, kg of
    /// fuel, heats of a crucible, pour days; in minor units where the part has no rate.
    pub units: BTreeMap<Part, f64>,
    /// Minutes by operation.
    pub minutes: BTreeMap<String, f64>,
}

impl Borne {
    fn sum(&self) -> Money {
        self.money.values().copied().sum()
    }
}

/// A casting and what fell on it.
#[derive(Clone, Debug)]
pub struct CastingCost {
    /// The casting.
    pub row: CastingRow,
    /// What the ledger has of it; none before it was in a shell.
    pub figures: Option<CastingFigures>,
    /// Its shell's recipe.
    pub recipe: Option<Seq>,
    /// What fell on it.
    pub borne: Borne,
}

/// What a job cost.
#[derive(Clone, Debug)]
pub struct JobCost {
    /// The job.
    pub commission: Seq,
    /// Its castings, by piece, part and attempt.
    pub castings: Vec<CastingCost>,
    /// What fell on its pieces, by piece.
    pub pieces: BTreeMap<Seq, Borne>,
    /// What fell on the job as a whole.
    pub whole: Borne,
    /// The metal.
    pub metal: Money,
    /// Everything.
    pub total: Money,
    /// Whether some of it may still change.
    pub provisional: bool,
}

/// What some jobs cost.
///
/// # Errors
/// As the database says.
pub async fn jobs(read: &mut ReadTx, commissions: &[Seq]) -> Result<Vec<JobCost>, Problem> {
    let gathered = gather::of_jobs(read, commissions).await?;
    let pieces = store::pieces_of(read, commissions).await?;
    let borne = fallen(&gathered);
    let of = |bearer: Bearer| borne.get(&bearer).cloned().unwrap_or_default();
    let mut out: BTreeMap<Seq, JobCost> = BTreeMap::new();
    for commission in commissions {
        let whole = of(Bearer::Commission(*commission));
        let total = whole.sum();
        let job = JobCost {
            commission: *commission,
            castings: Vec::new(),
            pieces: BTreeMap::new(),
            whole,
            metal: Money::ZERO,
            total,
            provisional: false,
        };
        out.insert(*commission, job);
    }
    for (piece, commission) in pieces {
        if let Some(job) = out.get_mut(&commission) {
            let borne = of(Bearer::Piece(piece));
            job.total += borne.sum();
            job.pieces.insert(piece, borne);
        }
    }
    let mut rows: Vec<&CastingRow> = gathered.castings.values().filter(|c| !c.void).collect();
    rows.sort_by_key(|c| (c.piece_seq, c.part_n, c.attempt));
    for row in rows {
        let Some(job) = out.get_mut(&row.commission_seq) else { continue };
        let figures = gathered.figures.get(&row.seq).cloned();
        let metal = figures.as_ref().map(MetalCost::of).unwrap_or_default();
        let borne = of(Bearer::Casting(row.seq));
        job.metal += metal.total;
        job.total += metal.total + borne.sum();
        job.provisional |= metal.provisional;
        let recipe = row.shell_seq.and_then(|shell| gathered.shells.get(&shell)).and_then(|shell| shell.recipe);
        job.castings.push(CastingCost { row: row.clone(), figures, recipe, borne });
    }
    Ok(out.into_values().collect())
}

/// What fell on every bearer.
fn fallen(gathered: &Gathered) -> BTreeMap<Bearer, Borne> {
    let prices = price(gathered);
    let mut out: BTreeMap<Bearer, Borne> = BTreeMap::new();
    for priced in &prices.lines {
        let rate = rate_of(gathered, priced);
        for (bearer, money) in fall(&priced.line, &gathered.bearers) {
            let borne = out.entry(bearer).or_default();
            *borne.money.entry(priced.line.part).or_default() += money;
            *borne.units.entry(priced.line.part).or_default() += minor(money) / rate;
        }
    }
    for record in gathered.records.iter().filter(|r| r.kind == Kind::Work) {
        let Some(on) = worked_on(gathered, record.seq) else { continue };
        let hundredths = record.body["minutes"].as_f64().unwrap_or(0.0) * 100.0;
        #[expect(clippy::cast_possible_truncation, reason = "minutes of a record are at most 100,000")]
        let amount = Money::from_minor(hundredths.round() as i64);
        let operation = record.body["operation"].as_str().unwrap_or("other").to_owned();
        let line = Line { record: record.seq, part: Part::Work, on, amount };
        for (bearer, share) in fall(&line, &gathered.bearers) {
            *out.entry(bearer).or_default().minutes.entry(operation.clone()).or_default() += minor(share) / 100.0;
        }
    }
    out
}

fn minor(money: Money) -> f64 {
    money.minor() as f64
}

/// The price of a unit of a part's on the day of a line; 1 where it has none, so that units are money.
fn rate_of(gathered: &Gathered, priced: &Priced) -> f64 {
    let recipe = match priced.line.on {
        On::Shell(shell) => gathered.shells.get(&shell).and_then(|facts| facts.recipe),
        _ => None,
    };
    unit_price(&gathered.rates, &gathered.settings, priced.line.part, recipe, priced.at).unwrap_or(1.0)
}

/// The price of a unit of a part's at an instant; none where it has no rate by itself.
#[must_use]
pub fn unit_price(rates: &Rates, settings: &Settings, part: Part, recipe: Option<Seq>, at: Instant) -> Option<f64> {
    let (what, subject) = match part {
        Part::Wax => (What::WaxKg, Subject::Any),
        Part::Shell => (What::ShellCoatDm2, recipe.map_or(Subject::Any, Subject::Record)),
        Part::Fuel => (What::FuelKg, Subject::Any),
        Part::Crucible => (What::CrucibleHeat, Subject::Any),
        Part::PourDay => (What::PourDay, Subject::Any),
        _ => return None,
    };
    let rate = rates.in_force(what, &subject, settings.day(at)).or_else(|| {
        // Fuel may be priced by the kWh alone.
        let kwh = (what == What::FuelKg).then(|| rates.in_force(What::FuelKwh, &subject, settings.day(at))).flatten()?;
        let per_kg = settings.number("fuel_mj_kg", at) / 3.6;
        Some(crate::science::costing::by_amount(kwh, per_kg))
    });
    rate.map(minor).filter(|rate| *rate > 0.0)
}
