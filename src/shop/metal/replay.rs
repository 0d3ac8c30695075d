//! Replay: from the earliest instant at which stock moves otherwise than stored, over the
//! clusters it reaches. It reads, and writes nothing: it may run in a turn or on a snapshot.

use super::load::{Loaded, load};
use super::settle::Settling;
use super::store::{self, LATER};
use crate::db::Read;
use crate::kernel::{Kind, Mass, Money, Order, Problem, ProblemType, Seq};
use crate::science::ledger::{self, Account, Key, Movement, Scale, Step, Stock, Told, Values, lot_steps, recall, tolerance};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};

/// What came of a replay.
pub(super) enum Replayed {
    /// The values of all steps at hand.
    Told(Values),
    /// It would go over more movements than it may.
    TooLong,
    /// On a snapshot: it came back to what the turn itself changes.
    Tangled,
    /// Metal would be drawn that is not there.
    Refused {
        /// The refusal.
        problem: Problem,
        /// The records that draw it.
        by: Vec<Seq>,
    },
}

/// What was told of known steps.
fn values_of(known: &BTreeMap<Key, (Step, Told)>) -> Values {
    known.iter().map(|(key, (_, told))| (*key, *told)).collect()
}

impl Settling {
    /// The values of all steps at hand: as stored before the first that changed, told by a
    /// walk from there on. Clusters whose steps are told otherwise than stored are loaded
    /// and taken in too, until none is left.
    pub(super) async fn replay<R: Read>(&mut self, read: &mut R, scale: Scale, most: Option<usize>) -> Result<Replayed, Problem> {
        loop {
            let known: BTreeMap<Key, (Step, Told)> = self.recalled();
            let mut now: Vec<Step> = self.steps.clone();
            now.extend(lot_steps(&self.of_lots));
            let changed = first_change(&known, &now);
            let mut values = values_of(&known);
            let Some(from) = changed else { return Ok(Replayed::Told(values)) };
            let Some((later, mut stock)) = later(read, from, &now, most).await? else { return Ok(Replayed::TooLong) };
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
            if let Some(refused) = self.short_of_metal(read, &walk, &told, &before, scale).await? {
                return Ok(refused);
            }
            if moved.is_empty() {
                return Ok(Replayed::Told(values));
            }
            let loaded = load(read, &[], &[], &[], &moved).await?;
            let heats: Vec<Seq> = loaded.history.heats.iter().map(|h| h.order.seq).collect();
            let touched = heats_of(&loaded, &moved);
            let heats: Vec<Seq> = heats.into_iter().chain(touched).collect();
            let (shells, castings) = places_of(&loaded);
            let more = load(read, &heats, &shells, &castings, &moved).await?;
            let heats = more.history.heats.iter().map(|h| (Kind::Heat, h.order.seq));
            let mut places = heats.chain(more.history.shells.iter().map(|s| (Kind::Shell, s.seq)));
            if places.any(|place| self.by_the_turn.contains(&place)) {
                return Ok(Replayed::Tangled);
            }
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

    /// Refuses what draws more from a lot than is in it, unless that was said.
    async fn short_of_metal<R: Read>(
        &self,
        read: &mut R,
        walk: &[Step],
        told: &Values,
        before: &Values,
        scale: Scale,
    ) -> Result<Option<Replayed>, Problem> {
        let mut short: Vec<(Order, Seq, Mass)> = walk
            .iter()
            .filter_map(|step| {
                let (ledger::Act::Draw { mass, .. } | ledger::Act::Transfer { mass, .. }) = step.act else { return None };
                let found = told.get(&step.key)?.found;
                let before = before.get(&step.key).map_or(Mass::ZERO, |t| t.found);
                let said = self.short_said.contains(&step.key.source);
                (found > tolerance(scale, mass) && found > before && !said).then_some((step.order, step.key.source, found))
            })
            .collect();
        if !short.is_empty() {
            // Of records that are not at hand what was said is looked up.
            let sources: Vec<Seq> = short.iter().map(|(_, seq, _)| *seq).collect();
            let said = store::said(read, &sources, "lot_short").await?;
            short.retain(|(_, seq, _)| !said.contains(seq));
        }
        short.sort_unstable();
        let Some((_, first, grams)) = short.first().copied() else { return Ok(None) };
        let by = short.iter().map(|(_, seq, _)| *seq).collect();
        let own = self.acting.iter().any(|a| a.seq == first && !a.voids);
        if own && short.len() == 1 {
            let problem = Problem::new(
                ProblemType::LotShort,
                format!(
                    "By the book the lot holds {grams} less than that. If the bin really held more, say despite: [lot_short]."
                ),
            )
            .with("short_kg", grams.kg())
            .with("despite", vec!["lot_short"])
            .with("may_follow", true);
            return Ok(Some(Replayed::Refused { problem, by }));
        }
        let first: Vec<Seq> = short.iter().take(3).map(|(_, seq, _)| *seq).collect();
        let named = store::named(read, &first).await?;
        let lines: Vec<Value> = short
            .iter()
            .take(3)
            .filter_map(|(order, seq, m)| {
                let (_, kind, id, _) = named.iter().find(|(known, ..)| known == seq)?;
                Some(json!({"kind": kind, "id": id.to_string(), "at": order.at.to_string(), "short_kg": m.kg()}))
            })
            .collect();
        // What they drew may still be on its way, unless metal is being taken out of the book.
        let voids = self.acting.iter().any(|a| a.voids);
        let what_to_do = if voids {
            "The owner may void those too with cascade: true, or keep them with despite: [lot_short] if the lots really held it."
        } else {
            "If the lots really held it, correct those first with despite: [lot_short]."
        };
        let problem = Problem::new(
            ProblemType::MetalShort,
            match short.len() {
                1 => format!("A later record would draw metal that is not there. {what_to_do}"),
                n => format!("{n} later records would draw metal that is not there. {what_to_do}"),
            },
        )
        .with("short", lines)
        .with("may_follow", !voids);
        Ok(Some(Replayed::Refused { problem, by }))
    }
}

/// Stored steps from an instant on, and the stock just before it; none when they are of more
/// than that many movements.
async fn later<R: Read>(
    read: &mut R,
    from: Order,
    now: &[Step],
    most: Option<usize>,
) -> Result<Option<(Vec<(Step, Told)>, Stock)>, Problem> {
    let (mut lots, mut heats) = (BTreeSet::new(), BTreeSet::new());
    for step in now {
        let (l, h) = touches(step);
        lots.extend(l);
        heats.extend(h);
    }
    let (at, seq) = (from.at.ms(), from.seq);
    let most = most.and_then(|most| i64::try_from(most).ok());
    let rows = read
        .fetch(
            LATER,
            vec![
                at.into(),
                seq.into(),
                // One more than may be, to tell whether there is more; -1 is no limit.
                most.map_or(-1, |most| most.saturating_add(1)).into(),
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
    if most.is_some_and(|most| i64::try_from(movements.len()).is_ok_and(|found| found > most)) {
        return Ok(None);
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
    Ok(Some((steps, stock)))
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
