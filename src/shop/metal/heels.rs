//! Who gives a heel to whom: what a write reaches beyond the heats that it touches.

use super::load::Loaded;
use crate::kernel::Seq;
use crate::science::ledger::history::Heel;
use crate::science::ledger::{Account, Entry, Event, History, heels};
use std::collections::BTreeSet;

/// Heels given and taken among these heats and those of their crucibles.
pub fn about(history: &History, neighbours: &History) -> Vec<Heel> {
    let mut heats = history.heats.clone();
    heats.extend(neighbours.heats.iter().copied());
    heats.sort_by_key(|h| h.order);
    heats.dedup_by_key(|h| h.order);
    let mut closings: Vec<Entry> = history.entries.iter().filter(|e| matches!(e.event, Event::Closing(_))).cloned().collect();
    closings.extend(neighbours.entries.iter().filter(|n| !history.entries.iter().any(|e| e.order == n.order)).cloned());
    closings.sort_by_key(|e| e.order);
    closings.dedup_by_key(|e| e.order);
    heels(&heats, &closings)
}

/// Heats beyond those loaded that took, or now take, a heel of theirs: what they were
/// charged with hangs on it.
pub fn takers(loaded: &Loaded) -> BTreeSet<Seq> {
    let here: BTreeSet<Seq> = loaded.history.heats.iter().map(|h| h.order.seq).collect();
    let now = about(&loaded.history, &loaded.neighbours);
    let now = now.into_iter().filter(|h| here.contains(&h.from)).map(|h| h.to);
    loaded.takers.iter().copied().chain(now).filter(|to| !here.contains(to)).collect()
}

/// Heats beyond those loaded whose heel goes to another heat now than is stored: one came
/// between them and the heat that took it, or is there no longer.
pub fn givers(loaded: &Loaded) -> BTreeSet<Seq> {
    let here: BTreeSet<Seq> = loaded.history.heats.iter().map(|h| h.order.seq).collect();
    let stored = loaded.movements.iter().filter_map(|m| match (m.from, m.to) {
        (Account::Heat(from), Account::Heat(to)) => Some((from, to)),
        _ => None,
    });
    let stored: BTreeSet<(Seq, Seq)> = stored.collect();
    let now = about(&loaded.history, &loaded.neighbours);
    let now: BTreeSet<(Seq, Seq)> = now.into_iter().filter(|h| here.contains(&h.to)).map(|h| (h.from, h.to)).collect();
    stored.symmetric_difference(&now).map(|(from, _)| *from).filter(|from| !here.contains(from)).collect()
}
