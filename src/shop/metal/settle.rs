//! The settler of the metal ledger: what a turn touched is derived anew, from the earliest
//! instant at which stock moves otherwise than stored, over the clusters it reaches.

use super::flags::{CODES, flags_of};
use super::heels;
use super::load::{HeatMetal, Loaded, estimate, load};
use super::pours;
use super::replay::Replayed;
use super::store;
use crate::book::flags::{self, Flag};
use crate::book::void::stands_in_the_way;
use crate::db::{Acting, Ahead, ReadTx, WriteTx};
use crate::kernel::{Instant, Kind, Mass, Problem, ProblemType, Seq};
use crate::science::ledger::{
    self, Cluster, Entry, Impossible, Masses, Movement, Prices, Scale, Step, Values, clusters, derive_cluster, lot_movements,
    plan,
};
use crate::shop::house::rates::{self, Rates};
use crate::shop::house::settings::Settings;
use crate::shop::house::trade::Trade;
use crate::shop::house::{settings, trade};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::pin::Pin;
use std::sync::Arc;

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

/// Clusters at hand, with what is stored of them.
#[derive(Debug)]
pub(super) struct Settling {
    /// Clusters that are derived anew, with their masses.
    pub(super) clusters: Vec<(Cluster, Masses)>,
    /// All steps of those clusters.
    pub(super) steps: Vec<Step>,
    /// Entries of lots alone that this turn writes.
    pub(super) of_lots: Vec<Entry>,
    /// Stored movements of all records at hand.
    pub(super) stored: Vec<Movement>,
    pub(super) sources: BTreeSet<Seq>,
    pub(super) short_said: BTreeSet<Seq>,
    /// The records of the turn.
    pub(super) acting: Vec<Acting>,
    /// On a snapshot: heats and shells as the turn has them, which the snapshot does not show.
    pub(super) by_the_turn: BTreeSet<(Kind, Seq)>,
    /// The metal of each heat.
    metal: BTreeMap<Seq, HeatMetal>,
    /// Pours of another alloy than ordered, or into another's work, that do not say so themselves.
    differs: Vec<(Seq, Vec<Flag>)>,
    /// What is in force, as the turn has it: a snapshot does not show what the turn writes.
    rates: Arc<Rates>,
    settings: Arc<Settings>,
    trade: Arc<Trade>,
}

/// What a turn begins a replay with: one worked out ahead holds for no other.
#[derive(Clone, PartialEq, Debug)]
struct Begun {
    steps: Vec<Step>,
    of_lots: Vec<Entry>,
    stored: Vec<Movement>,
    scale: Scale,
}

/// What is to be written.
#[derive(Debug, Default)]
struct Derivation {
    /// Sources whose movements differ from those stored.
    changed: Vec<Seq>,
    /// The movements of those.
    movements: Vec<Movement>,
    figures: ledger::Figures,
    estimates: Vec<(Seq, Mass)>,
    flags: Vec<(Seq, Vec<Flag>)>,
    impossible: Vec<Impossible>,
    /// The refusal for want of metal, and the records that draw it.
    short: Option<(Problem, Vec<Seq>)>,
}

/// What came of a replay on a snapshot, for the next turn.
enum Worked {
    /// It is whole.
    Out {
        begun: Box<Begun>,
        /// The last line of the journal that it knows of.
        journal: i64,
        derivation: Box<Derivation>,
    },
    /// It came back to what the turn itself changes, which no snapshot shows.
    OnlyInTurn,
}

impl Settling {
    async fn run(tx: &mut WriteTx, heats: &[Seq], shells: &[Seq], castings: &[Seq], records: &[Seq]) -> Result<(), Problem> {
        // The scale as it was when what is written happened.
        let dated = tx.acting_at().unwrap_or_else(|| tx.now());
        let (settings, rates, trade) = (settings::of(tx).await?, rates::of(tx).await?, trade::of(tx).await?);
        let scale =
            Scale { step: settings.scale_step(dated), per_million: settings.per_million("scale_tolerance_percent", dated) };
        let mut loaded = load(tx, heats, shells, castings, records).await?;
        // Who takes a heel otherwise than stored is derived along.
        let mut heats: Vec<Seq> = heats.to_vec();
        loop {
            let before = heats.len();
            heats.extend(heels::takers(&loaded).into_iter().filter(|h| !heats.contains(h)).collect::<Vec<_>>());
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
            acting: tx.acting().to_vec(),
            by_the_turn: BTreeSet::new(),
            metal: BTreeMap::new(),
            differs: Vec::new(),
            rates,
            settings,
            trade,
        };
        this.take(loaded);
        let begun = this.begun(scale);
        let mut most = tx.most_in_turn();
        match tx.recall_or_default::<Option<Worked>>() {
            Some(Worked::Out { begun: then, journal, derivation })
                if *then == begun && !store::moved_since(tx, journal, METAL).await? =>
            {
                return write(tx, *derivation).await;
            }
            Some(Worked::OnlyInTurn) => most = None,
            _ => {}
        }
        match this.replay(tx, scale, most).await? {
            Replayed::Told(values) => {
                let derivation = this.derive(&values, scale);
                write(tx, derivation).await
            }
            Replayed::Refused { problem, by } => Err(short(tx, problem, by)),
            Replayed::TooLong | Replayed::Tangled => {
                let journal = tx.act() - 1;
                Err(tx.put_off(Box::new(move |read| Box::pin(this.work_out(read, begun, journal)))))
            }
        }
    }

    fn begun(&self, scale: Scale) -> Begun {
        Begun { steps: self.steps.clone(), of_lots: self.of_lots.clone(), stored: self.stored.clone(), scale }
    }

    /// The whole replay on a snapshot, while others write.
    async fn work_out(mut self, read: &mut ReadTx, begun: Begun, journal: i64) -> Result<Ahead, Problem> {
        let scale = begun.scale;
        self.by_the_turn = self.clusters.iter().flat_map(|(c, _)| places(c)).collect();
        let derivation = match self.replay(read, scale, None).await? {
            Replayed::Told(values) => self.derive(&values, scale),
            Replayed::Refused { problem, by } => Derivation { short: Some((problem, by)), ..Derivation::default() },
            Replayed::TooLong | Replayed::Tangled => return Ok(Ahead::new(Some(Worked::OnlyInTurn))),
        };
        Ok(Ahead::new(Some(Worked::Out { begun: Box::new(begun), journal, derivation: Box::new(derivation) })))
    }

    /// Takes loaded clusters in, planned.
    pub(super) fn take(&mut self, loaded: Loaded) {
        self.differs.extend(pours::not_as_said(&loaded));
        let Loaded { mut history, neighbours, movements, sources, despite, heat_metal, .. } = loaded;
        self.metal.extend(heat_metal);
        let (lots, rest): (Vec<Entry>, Vec<Entry>) = history.entries.into_iter().partition(|e| e.event.is_of_lots_alone());
        history.entries = rest;
        self.of_lots.extend(lots);
        let taken = heels::about(&history, &neighbours);
        for mut cluster in clusters(&history) {
            cluster.heels = taken.iter().copied().filter(|h| cluster.heats.iter().any(|c| c.order.seq == h.to)).collect();
            cluster.prices = self.prices_of(&cluster);
            let (masses, steps) = plan(&cluster);
            self.steps.extend(steps);
            self.clusters.push((cluster, masses));
        }
        self.stored.extend(movements);
        self.sources.extend(sources);
        self.short_said.extend(despite.iter().filter(|(_, codes)| codes.contains("lot_short")).map(|(seq, _)| *seq));
    }

    /// The scrap prices in force whenever something happened to the heats of a cluster.
    fn prices_of(&self, cluster: &Cluster) -> Prices {
        let mut prices = Prices::default();
        if !self.rates.any_scrap() {
            return prices;
        }
        let instants: BTreeSet<Instant> = cluster.entries.iter().map(|e| e.order.at).collect();
        for heat in cluster.heats.iter().map(|h| h.order.seq) {
            let Some(metal) = self.metal.get(&heat) else { continue };
            for at in &instants {
                if let Some(a_kg) = self.rates.scrap(&self.settings, &metal.alloy, *at) {
                    prices.put(heat, *at, a_kg);
                }
            }
        }
        prices
    }

    /// What follows of the clusters, and how it differs from what is stored.
    fn derive(&mut self, values: &Values, scale: Scale) -> Derivation {
        let mut out = Derivation::default();
        let mut movements = lot_movements(&self.of_lots, values);
        for (cluster, masses) in &self.clusters {
            let derived = derive_cluster(cluster, masses, values, scale);
            movements.extend(derived.movements);
            out.impossible.extend(derived.impossible);
            out.figures.extend(derived.figures);
        }
        let (stored, derived) = (by_source(&self.stored), by_source(&movements));
        let sources: BTreeSet<Seq> = stored.keys().chain(derived.keys()).copied().collect();
        out.changed = sources.into_iter().filter(|seq| stored.get(seq) != derived.get(seq)).collect();
        movements.retain(|m| out.changed.binary_search(&m.source).is_ok());
        out.movements = movements;
        let shells = self.clusters.iter().flat_map(|(c, _)| &c.shells);
        out.estimates = shells.map(|s| (s.seq, s.estimate())).collect();
        let of_clusters = self.clusters.iter().flat_map(|(c, m)| flags_of(c, m, &self.metal, &self.trade, &self.settings));
        out.flags = of_clusters.chain(std::mem::take(&mut self.differs)).collect();
        out
    }
}

/// Heats and shells of a cluster.
fn places(cluster: &Cluster) -> Vec<(Kind, Seq)> {
    let heats = cluster.heats.iter().map(|h| (Kind::Heat, h.order.seq));
    heats.chain(cluster.shells.iter().map(|s| (Kind::Shell, s.seq))).collect()
}

/// Movements by the records that cause them, each record's in order.
fn by_source(movements: &[Movement]) -> BTreeMap<Seq, Vec<Movement>> {
    let mut out: BTreeMap<Seq, Vec<Movement>> = BTreeMap::new();
    for m in movements {
        out.entry(m.source).or_default().push(*m);
    }
    for rows in out.values_mut() {
        rows.sort_by_key(Movement::rank);
    }
    out
}

/// Writes what follows, or refuses it.
async fn write(tx: &mut WriteTx, derivation: Derivation) -> Result<(), Problem> {
    let Derivation { changed, movements, figures, estimates, flags, impossible, short: missing } = derivation;
    if let Some((problem, by)) = missing {
        return Err(short(tx, problem, by));
    }
    // What came after a closing says more than that its heat does not balance.
    let late = |i: &&Impossible| {
        matches!(
            i,
            Impossible::ChargedAfterClosing { .. } | Impossible::PouredAfterClosing { .. } | Impossible::ClosedTwice { .. }
        )
    };
    if let Some(first) = impossible.iter().find(late).or(impossible.first()) {
        stands_in_the_way(tx, impossible.iter().map(Impossible::rests), []);
        if tx.acting().iter().any(|a| a.voids) {
            return Err(cannot_stand(tx, first, &impossible).await?);
        }
        return Err(refusal(first));
    }
    if !changed.is_empty() {
        store::write_movements(tx, &changed, &movements);
    }
    store::write_figures(tx, &figures, &estimates);
    flags::write_codes(tx, CODES, &flags);
    Ok(())
}

/// The refusal for want of metal; the records that draw it stand in the way of a void.
fn short(tx: &mut WriteTx, problem: Problem, by: Vec<Seq>) -> Problem {
    stands_in_the_way(tx, [], by);
    problem
}

fn refusal(what: &Impossible) -> Problem {
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
    Problem::new(kind, detail).with("may_follow", matches!(what, Impossible::Residual { .. } | Impossible::ShellOverdrawn { .. }))
}

/// The refusal of a void that leaves what could not have happened: the first three records that
/// cannot stand without what is voided, with the kilograms. None of that waits for what follows.
async fn cannot_stand(tx: &mut WriteTx, first: &Impossible, all: &[Impossible]) -> Result<Problem, Problem> {
    let mut rest: Vec<(Seq, Mass)> = Vec::new();
    for what in std::iter::once(first).chain(all) {
        if !rest.iter().any(|(seq, _)| *seq == what.rests()) {
            rest.push((what.rests(), what.mass()));
        }
    }
    rest.truncate(3);
    let named = store::named(tx, &rest.iter().map(|(seq, _)| *seq).collect::<Vec<_>>()).await?;
    let line = |(seq, mass): &(Seq, Mass)| {
        let (_, kind, id, at) = named.iter().find(|(known, ..)| known == seq)?;
        Some(json!({"kind": kind, "id": id.to_string(), "at": at.to_string(), "short_kg": mass.kg()}))
    };
    let lines: Vec<Value> = rest.iter().filter_map(line).collect();
    // What moves records on the way to a void is no void that could take them along.
    if tx.acting().iter().any(|act| !act.voids && act.kind == Kind::Crucible) {
        return Ok(refusal(first).with("short", lines).with("may_follow", false));
    }
    let detail = format!("{} The owner may void what cannot stand without it too, with cascade: true.", refusal(first).detail);
    Ok(Problem::new(ProblemType::MetalShort, detail).with("short", lines).with("may_follow", false))
}
