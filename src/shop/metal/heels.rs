//! Who gives a heel to whom: what a write reaches beyond the heats that it touches.

use super::load::Loaded;
use crate::kernel::Seq;
use crate::science::ledger::history::Heel;
use crate::science::ledger::{Entry, Event, History, heels};
use std::collections::{BTreeMap, BTreeSet};

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

/// Heats beyond those loaded that took, or now take, a heel of theirs, or one of a neighbour
/// that goes elsewhere now: what they were charged with hangs on it.
pub fn takers(loaded: &Loaded) -> BTreeSet<Seq> {
    let here: BTreeSet<Seq> = loaded.history.heats.iter().map(|h| h.order.seq).collect();
    let now: BTreeMap<Seq, Seq> = about(&loaded.history, &loaded.neighbours).into_iter().map(|h| (h.from, h.to)).collect();
    let ours = now.iter().filter(|(from, _)| here.contains(from)).map(|(_, to)| *to);
    let givers: BTreeSet<Seq> = now.keys().chain(loaded.given.keys()).copied().collect();
    let elsewhere = givers.into_iter().filter(|giver| !here.contains(giver) && now.get(giver) != loaded.given.get(giver));
    let elsewhere = elsewhere.flat_map(|giver| now.get(&giver).into_iter().chain(loaded.given.get(&giver)).copied());
    loaded.takers.iter().copied().chain(ours).chain(elsewhere).filter(|to| !here.contains(to)).collect()
}
