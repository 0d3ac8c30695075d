//! The settler of the metal ledger: what a turn touched is derived anew, from the earliest
//! instant at which stock moves otherwise than stored, over the clusters it reaches.

use super::flags::{CODES, flags_of};
use super::heels::{about as heels_about, givers, takers};
use super::load::{Loaded, estimate, load};
use super::pours;
use super::store::{self, LATER};
use crate::book::flags::{self, Flag};
use crate::db::{Acting, Read as _, WriteTx};
use crate::kernel::{Kind, Mass, Money, Order, Problem, ProblemType, Seq};
use crate::science::ledger::{
    self, Account, Cluster, Entry, Impossible, Key, Masses, Movement, Step, Stock, Told, Values, clusters, derive_cluster,
    lot_movements, lot_steps, plan, recall, tolerance,
};
use crate::shop::house::settings::Settings;
use crate::shop::house::trade::Trade;
use crate::shop::house::{settings, trade};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::pin::Pin;

/// Kinds of records that the ledger listens to.
const METAL: &[Kind] = &[
    Kind::Piece,
    Kind::Casting,
    Kind::Wax,
    Kind::Shell,
    Kind::MetalLot,
    Kind::Receipt,
    Kind::Count,
    Kind::Out,
    Kind::Transfer,
    Kind::Heat,
    Kind::Charge,
    Kind::HeatEvent,
    Kind::Pour,
    Kind::Leak,
    Kind::Closing,
    Kind::Breakout,
    Kind::ShellBreakout,
    Kind::CutOff,
    Kind::Finish,
    Kind::Scrap,
    Kind::Work,
    Kind::Delivery,
];

/// The settler.
pub fn settle<'t>(tx: &'t mut WriteTx) -> Pin<Box<dyn Future<Output = Result<(), Problem>> + Send + 't>> {
    Box::pin(async move {
        let acting: Vec<Acting> = tx.acting().iter().copied().filter(|a| METAL.contains(&a.kind)).collect();
        if acting.is_empty() {
            return Ok(());
        }
        let records: Vec<Seq> = acting.iter().map(|a| a.seq).collect();
        let (heats, shells, castings) = (tx.touched(Kind::Heat), tx.touched(Kind::Shell), tx.touched(Kind::Casting));
        let lots = tx.touched(Kind::MetalLot);
        if heats.is_empty() && shells.is_empty() && castings.is_empty() && lots.is_empty() {
            return Ok(());
        }
        Settling::run(tx, &heats, &shells, &castings, &records).await
    })
}

struct Settling {
    /// Clusters that are derived anew, with their masses.
    clusters: Vec<(Cluster, Masses)>,
    /// All steps of those clusters.
    steps: Vec<Step>,
    /// Entries of lots alone that this turn writes.
    of_lots: Vec<Entry>,
    /// Stored movements of all records at hand.
    stored: Vec<Movement>,
    sources: BTreeSet<Seq>,
    short_said: BTreeSet<Seq>,
    /// What each heat is poured as.
    alloys: BTreeMap<Seq, String>,
    /// Pours of another alloy than ordered that do not say so themselves.
    differs: Vec<(Seq, Vec<Flag>)>,
}

/// What was told of known steps.
fn values_of(known: &BTreeMap<Key, (Step, Told)>) -> Values {
    known.iter().map(|(key, (_, told))| (*key, *told)).collect()
}

impl Settling {
    async fn run(tx: &mut WriteTx, heats: &[Seq], shells: &[Seq], castings: &[Seq], records: &[Seq]) -> Result<(), Problem> {
        // The step of the scale in force when what is written happened.
        let dated = tx.acting_at().unwrap_or_else(|| tx.now());
        let scale_step = settings::of(tx).await?.scale_step(dated);
        let mut loaded = load(tx, heats, shells, castings, records).await?;
        // Who gives or takes a heel otherwise than stored is derived along.
        let mut heats: Vec<Seq> = heats.to_vec();
        loop {
            let before = heats.len();
            let about = takers(&loaded).into_iter().chain(givers(&loaded));
            heats.extend(about.filter(|h| !heats.contains(h)).collect::<BTreeSet<_>>());
            if heats.len() == before {
                break;
            }
            loaded = load(tx, &heats, shells, castings, records).await?;
        }
        let fits = |a: &Acting| matches!(a.kind, Kind::Shell | Kind::Wax | Kind::Piece | Kind::Casting);
        if tx.acting().iter().any(fits) {
            estimate(tx, &mut loaded).await?;
        }
        pours::check(tx, &loaded)?;
        let mut this = Self {
            clusters: Vec::new(),
            steps: Vec::new(),
            of_lots: Vec::new(),
            stored: Vec::new(),
            sources: records.iter().copied().collect(),
            short_said: BTreeSet::new(),
            alloys: BTreeMap::new(),
            differs: Vec::new(),
        };
        this.take(loaded);
        let values = this.values(tx, scale_step).await?;
        let trade = trade::of(tx).await?;
        let settings = settings::of(tx).await?;
        this.write(tx, &values, scale_step, &trade, &settings)
    }

    /// Takes loaded clusters in, planned.
    fn take(&mut self, loaded: Loaded) {
        self.differs.extend(pours::of_another_alloy(&loaded));
        let Loaded { mut history, neighbours, movements, sources, despite, heat_metal, .. } = loaded;
        self.alloys.extend(heat_metal.into_iter().map(|(heat, (alloy, _))| (heat, alloy)));
        let (lots, rest): (Vec<Entry>, Vec<Entry>) = history.entries.into_iter().partition(|e| e.event.is_of_lots_alone());
        history.entries = rest;
        self.of_lots.extend(lots);
        let taken = heels_about(&history, &neighbours);
        for mut cluster in clusters(&history) {
            cluster.heels = taken.iter().copied().filter(|h| cluster.heats.iter().any(|c| c.order.seq == h.to)).collect();
            let (masses, steps) = plan(&cluster);
            self.steps.extend(steps);
            self.clusters.push((cluster, masses));
        }
        self.stored.extend(movements);
        self.sources.extend(sources);
        self.short_said.extend(despite.iter().filter(|(_, codes)| codes.contains("lot_short")).map(|(seq, _)| *seq));
    }

    /// The values of all steps at hand: as stored before the first that changed, told by a
    /// walk from there on. Clusters whose steps are told otherwise than stored are loaded
    /// and taken in too, until none is left.
    async fn values(&mut self, tx: &mut WriteTx, scale_step: Mass) -> Result<Values, Problem> {
        loop {
            let known: BTreeMap<Key, (Step, Told)> = self.recalled();
            let mut now: Vec<Step> = self.steps.clone();
            now.extend(lot_steps(&self.of_lots));
            let changed = first_change(&known, &now);
            let mut values = values_of(&known);
            let Some(from) = changed else { return Ok(values) };
            let (later, mut stock) = self.later(tx, from, &now).await?;
            let ours: BTreeSet<Seq> = self.sources.clone();
            let others: Vec<(Step, Told)> = later.into_iter().filter(|(s, _)| !ours.contains(&s.key.source)).collect();
            let mut walk: Vec<Step> = others.iter().map(|(s, _)| *s).collect();
            walk.extend(now.iter().filter(|s| s.order >= from));
            let told = stock.walk(&walk);
            let moved: Vec<Seq> =
                others.iter().filter(|(s, old)| told.get(&s.key) != Some(old)).map(|(s, _)| s.key.source).collect();
            values.extend(told.iter().map(|(k, t)| (*k, *t)));
            let mut before: Values = values_of(&known);
            before.extend(others.iter().map(|(s, old)| (s.key, *old)));
            self.short_of_metal(tx, &walk, &told, &before, scale_step).await?;
            if moved.is_empty() {
                return Ok(values);
            }
            let loaded = load(tx, &[], &[], &[], &moved).await?;
            let heats: Vec<Seq> = loaded.history.heats.iter().map(|h| h.order.seq).collect();
            let touched = heats_of(&loaded, &moved);
            let heats: Vec<Seq> = heats.into_iter().chain(touched).collect();
            let (shells, castings) = places_of(&loaded);
            let more = load(tx, &heats, &shells, &castings, &moved).await?;
            self.forget_known(&more);
            self.take(more);
        }
    }

    /// Clusters that are loaded again replace what was known of them.
    fn forget_known(&mut self, more: &Loaded) {
        let heats: BTreeSet<Seq> = more.history.heats.iter().map(|h| h.order.seq).collect();
        let shells: BTreeSet<Seq> = more.history.shells.iter().map(|s| s.seq).collect();
        let again: BTreeSet<Seq> = more.sources.clone();
        self.clusters.retain(|(c, _)| {
            !c.heats.iter().any(|h| heats.contains(&h.order.seq)) && !c.shells.iter().any(|s| shells.contains(&s.seq))
        });
        self.steps.retain(|s| !again.contains(&s.key.source));
        self.stored.retain(|m| !again.contains(&m.source));
        self.of_lots.retain(|e| !again.contains(&e.order.seq));
    }

    /// Steps of clusters and of lots as stored, with what was told of them.
    fn recalled(&self) -> BTreeMap<Key, (Step, Told)> {
        let mut known: BTreeMap<Key, (Step, Told)> = recall(&self.stored).into_iter().map(|(s, t)| (s.key, (s, t))).collect();
        for (step, told) in recall_lots(&self.stored) {
            known.insert(step.key, (step, told));
        }
        known
    }

    /// Stored steps from an instant on, and the stock just before it.
    async fn later(&self, tx: &mut WriteTx, from: Order, now: &[Step]) -> Result<(Vec<(Step, Told)>, Stock), Problem> {
        let (mut lots, mut heats) = (BTreeSet::new(), BTreeSet::new());
        for step in now {
            let (l, h) = touches(step);
            lots.extend(l);
            heats.extend(h);
        }
        let (at, seq) = (from.at.ms(), from.seq);
        let rows = tx
            .fetch(
                LATER,
                vec![
                    at.into(),
                    seq.into(),
                    at.into(),
                    seq.into(),
                    json!(lots).to_string().into(),
                    json!(heats).to_string().into(),
                    at.into(),
                    seq.into(),
                ],
            )
            .await?;
        let mut movements = Vec::new();
        let mut stock = Stock::default();
        let mut counts = Vec::new();
        for row in &rows {
            match row.int(0)? {
                5 => movements.push(store::movement(row)?.0),
                10 => counts.push((Order::new(row.int(2)?, row.int(1)?), row.int(3)?, Mass::from_mg(row.int(4)?))),
                8 => {
                    stock.lots.insert(row.int(1)?, (Mass::from_mg(row.int(2)?), Money::from_minor(row.int(3)?)));
                }
                _ => {
                    stock.heats.insert(row.int(1)?, (Mass::from_mg(row.int(2)?), Money::from_minor(row.int(3)?)));
                }
            }
        }
        // What the lots hold now, less all that moved since, is what they held then.
        for m in &movements {
            if let Account::Lot(lot) = m.from
                && let Some(held) = stock.lots.get_mut(&lot)
            {
                *held = (held.0 + m.mass, held.1 + m.value);
            }
            if let Account::Lot(lot) = m.to
                && let Some(held) = stock.lots.get_mut(&lot)
            {
                *held = (held.0 - m.mass, held.1 - m.value);
            }
        }
        let mut steps = recall(&movements);
        // Of counts the level is what was said, and a count that differed by nothing has no movement.
        steps.extend(recall_lots(&movements).into_iter().filter(|(s, _)| !matches!(s.act, ledger::Act::Count { .. })));
        steps.extend(counts.into_iter().map(|(order, lot, level)| {
            let key = Key { source: order.seq, nth: 0 };
            let found: Mass = movements
                .iter()
                .filter(|m| m.source == order.seq)
                .fold(Mass::ZERO, |sum, m| if m.to == Account::Lot(lot) { sum + m.mass } else { sum - m.mass });
            (Step { order, key, act: ledger::Act::Count { lot, level } }, Told { value: Money::ZERO, found })
        }));
        Ok((steps, stock))
    }

    /// Refuses what draws more from a lot than is in it, unless that was said.
    async fn short_of_metal(
        &self,
        tx: &mut WriteTx,
        walk: &[Step],
        told: &Values,
        before: &Values,
        scale_step: Mass,
    ) -> Result<(), Problem> {
        let mut short: Vec<(Order, Seq, Mass)> = walk
            .iter()
            .filter_map(|step| {
                let (ledger::Act::Draw { mass, .. } | ledger::Act::Transfer { mass, .. }) = step.act else { return None };
                let found = told.get(&step.key)?.found;
                let before = before.get(&step.key).map_or(Mass::ZERO, |t| t.found);
                let said = self.short_said.contains(&step.key.source);
                (found > tolerance(scale_step, mass) && found > before && !said).then_some((step.order, step.key.source, found))
            })
            .collect();
        if !short.is_empty() {
            // Of records that are not at hand what was said is looked up.
            let sources: Vec<Seq> = short.iter().map(|(_, seq, _)| *seq).collect();
            let said = store::said(tx, &sources, "lot_short").await?;
            short.retain(|(_, seq, _)| !said.contains(seq));
        }
        short.sort_unstable();
        let Some((_, first, grams)) = short.first().copied() else { return Ok(()) };
        let own = tx.acting().iter().any(|a| a.seq == first && !a.voids);
        if own && short.len() == 1 {
            return Err(Problem::new(
                ProblemType::LotShort,
                format!(
                    "By the book the lot holds {grams} less than that. If the bin really held more, say despite: [lot_short]."
                ),
            )
            .with("short_kg", grams.kg())
            .with("despite", vec!["lot_short"])
            .with("may_follow", true));
        }
        let first: Vec<Seq> = short.iter().take(3).map(|(_, seq, _)| *seq).collect();
        let named = store::named(tx, &first).await?;
        let lines: Vec<Value> = short
            .iter()
            .take(3)
            .filter_map(|(order, seq, m)| {
                let (_, kind, id) = named.iter().find(|(known, ..)| known == seq)?;
                Some(json!({"kind": kind, "id": id.to_string(), "at": order.at.to_string(), "short_kg": m.kg()}))
            })
            .collect();
        // What they drew may still be on its way, unless metal is being taken out of the book.
        Err(Problem::new(ProblemType::MetalShort, format!("{} later records would draw metal that is not there.", short.len()))
            .with("short", lines)
            .with("may_follow", !tx.acting().iter().any(|a| a.voids)))
    }

    /// Derives the clusters and writes what follows.
    fn write(
        &mut self,
        tx: &mut WriteTx,
        values: &Values,
        scale_step: Mass,
        trade: &Trade,
        settings: &Settings,
    ) -> Result<(), Problem> {
        let mut movements = lot_movements(&self.of_lots, values);
        let mut figures = ledger::Figures::default();
        let mut impossible = Vec::new();
        for (cluster, masses) in &self.clusters {
            let derived = derive_cluster(cluster, masses, values, scale_step);
            movements.extend(derived.movements);
            impossible.extend(derived.impossible);
            figures.extend(derived.figures);
        }
        if let Some(first) = impossible.first() {
            return Err(refusal(tx, first));
        }
        let sources: Vec<Seq> =
            self.sources.iter().copied().chain(movements.iter().map(|m| m.source)).collect::<BTreeSet<_>>().into_iter().collect();
        let shells: Vec<&ledger::history::Shell> = self.clusters.iter().flat_map(|(c, _)| &c.shells).collect();
        let shell_estimates: Vec<(Seq, Mass)> = shells.iter().map(|s| (s.seq, s.estimate())).collect();
        if sorted(&movements) != sorted(&self.stored) {
            store::write_movements(tx, &sources, &movements);
        }
        store::write_figures(tx, &figures, &shell_estimates);
        let of_clusters = self.clusters.iter().flat_map(|(c, m)| flags_of(c, m, &self.alloys, trade, settings));
        let settled: Vec<(Seq, Vec<Flag>)> = of_clusters.chain(std::mem::take(&mut self.differs)).collect();
        flags::write_codes(tx, CODES, &settled);
        Ok(())
    }
}

fn sorted(movements: &[Movement]) -> Vec<Movement> {
    let mut out = movements.to_vec();
    out.sort_by_key(Movement::rank);
    out
}

/// Lots and heats that a step touches.
fn touches(step: &Step) -> (Vec<Seq>, Vec<Seq>) {
    match step.act {
        ledger::Act::In { lot, .. } | ledger::Act::Count { lot, .. } => (vec![lot], vec![]),
        ledger::Act::Draw { lot, heat, .. } | ledger::Act::Back { lot, heat, .. } => (vec![lot], heat.into_iter().collect()),
        ledger::Act::Transfer { from, to, .. } => (vec![from, to], vec![]),
        ledger::Act::Heel { from, to, .. } => (vec![], vec![from, to]),
    }
}

/// Steps of lots alone as stored. A count has no level here, so that it differs from any
/// that is said: it is walked anew whenever it is at hand.
fn recall_lots(movements: &[Movement]) -> Vec<(Step, Told)> {
    let own = movements.iter().filter(|m| m.line % 3 == 1);
    own.filter_map(|m| {
        let act = match (m.from, m.to) {
            (Account::Outside, Account::Lot(lot)) => ledger::Act::In { lot, mass: m.mass, value: m.value },
            (Account::Lot(lot), Account::Sold | Account::WrittenOff) => ledger::Act::Draw { lot, heat: None, mass: m.mass },
            (Account::Lot(from), Account::Lot(to)) => ledger::Act::Transfer { from, to, mass: m.mass },
            (Account::Unexplained, Account::Lot(lot)) | (Account::Lot(lot), Account::Unexplained) => {
                ledger::Act::Count { lot, level: Mass::from_mg(-1) }
            }
            _ => return None,
        };
        let found = match act {
            ledger::Act::Count { .. } if m.from == Account::Unexplained => m.mass,
            ledger::Act::Count { .. } => Mass::ZERO - m.mass,
            ledger::Act::In { .. } => Mass::ZERO,
            _ => movements.iter().find(|a| a.source == m.source && a.line + 1 == m.line).map_or(Mass::ZERO, |a| a.mass),
        };
        let key = Key { source: m.source, nth: m.line / 3 };
        Some((Step { order: m.order, key, act }, Told { value: m.value, found }))
    })
    .collect()
}

/// The earliest order at which steps differ from those stored.
fn first_change(known: &BTreeMap<Key, (Step, Told)>, now: &[Step]) -> Option<Order> {
    let new: BTreeMap<Key, &Step> = now.iter().map(|s| (s.key, s)).collect();
    let gone = known.iter().filter(|(k, (s, _))| new.get(*k).is_none_or(|n| *n != s)).map(|(_, (s, _))| s.order);
    let come = new.iter().filter(|(k, n)| known.get(*k).is_none_or(|(s, _)| s != **n) && !is_empty(n)).map(|(_, n)| n.order);
    gone.chain(come).min()
}

/// A step that moves nothing leaves no movement to recall it by.
fn is_empty(step: &Step) -> bool {
    match step.act {
        ledger::Act::In { mass, value, .. } => mass.is_zero() && value.is_zero(),
        ledger::Act::Draw { mass, .. }
        | ledger::Act::Transfer { mass, .. }
        | ledger::Act::Heel { mass, .. }
        | ledger::Act::Back { mass, .. } => mass.is_zero(),
        ledger::Act::Count { .. } => false,
    }
}

/// Heats, shells and castings of some entries, for records loaded by themselves.
fn heats_of(loaded: &Loaded, records: &[Seq]) -> Vec<Seq> {
    let mut out: Vec<Seq> = loaded
        .movements
        .iter()
        .filter(|m| records.contains(&m.source))
        .flat_map(|m| {
            [m.from, m.to].into_iter().filter_map(|a| if let Account::Heat(h) = a { Some(h) } else { None }).chain(m.unit_heat)
        })
        .collect();
    out.sort_unstable();
    out.dedup();
    out
}

fn places_of(loaded: &Loaded) -> (Vec<Seq>, Vec<Seq>) {
    let (mut shells, mut castings) = (Vec::new(), Vec::new());
    for account in loaded.movements.iter().flat_map(|m| [m.from, m.to]) {
        match account {
            Account::Shell(s) => shells.push(s),
            Account::Casting(c) => castings.push(c),
            _ => {}
        }
    }
    (shells, castings)
}

fn refusal(tx: &WriteTx, what: &Impossible) -> Problem {
    let (kind, detail) = match *what {
        Impossible::ShellOverdrawn { over, .. } => {
            (ProblemType::MetalBeyond, format!("{over} more comes out of the shell than went in."))
        }
        Impossible::CastingOverdrawn { over, .. } => {
            (ProblemType::MetalBeyond, format!("{over} more is taken from the casting than is on it."))
        }
        Impossible::Residual { residual, .. } => (
            ProblemType::ResidualTooLarge,
            format!("The closing leaves {residual} unexplained, more than a tenth of the charge."),
        ),
        Impossible::ChargedAfterClosing { mass, .. } => {
            (ProblemType::HeatClosed, format!("{mass} would be charged after the closing."))
        }
        Impossible::PouredAfterClosing { mass, .. } => {
            (ProblemType::HeatClosed, format!("{mass} would be poured after the closing."))
        }
        Impossible::ClosedTwice { .. } => {
            (ProblemType::HeatClosed, "The heat has a closing already; correct that one.".to_owned())
        }
        Impossible::NegativeMass { under, .. } => (ProblemType::MetalBeyond, format!("A mass would be {under} below nothing.")),
    };
    let voiding = tx.acting().iter().any(|a| a.voids);
    let kind = if voiding { ProblemType::MetalShort } else { kind };
    Problem::new(kind, detail).with("may_follow", matches!(what, Impossible::Residual { .. } | Impossible::ShellOverdrawn { .. }))
}
