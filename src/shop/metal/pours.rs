//! What is asked of pours before they stand: poured as ordered, a client's metal into that
//! client's work, not before the heat was lit.

use super::load::Loaded;
use crate::book::flags::Flag;
use crate::db::WriteTx;
use crate::kernel::{Problem, ProblemType, Seq};
use crate::science::ledger::Event;
use std::collections::BTreeSet;

/// Kept by a turn that derives everything anew: what was decided when it was recorded is not
/// decided again.
pub struct Decided;

/// Kept by a turn that corrects the alloys of heats: their pours are asked anew.
#[derive(Default)]
pub struct AlloyCorrected(pub BTreeSet<Seq>);

/// Checks the pours that this turn reaches.
///
/// # Errors
/// `times-contradict`, `alloy-differs`, `client-metal`.
pub(super) fn check(tx: &WriteTx, loaded: &Loaded) -> Result<(), Problem> {
    if tx.recall::<Decided>().is_some() {
        return Ok(());
    }
    let acts = |seq: Seq| tx.acting().iter().any(|a| !a.voids && a.seq == seq);
    for entry in &loaded.history.entries {
        if let Event::Charge { heat, .. } = entry.event
            && acts(entry.order.seq)
            && of_several_clients(loaded, heat)
        {
            return Err(Problem::new(
                ProblemType::ClientMetal,
                "That puts the metal of two clients into one heat. If it really was charged so, say despite: [client_metal].",
            )
            .with("despite", vec!["client_metal"]));
        }
        let Event::Pour { heat, shell, .. } = entry.event else { continue };
        let record = entry.order.seq;
        if !acts(record) && !acts(heat) {
            continue;
        }
        let lit = loaded.history.heats.iter().find(|h| h.order.seq == heat);
        if lit.is_some_and(|h| h.order.at > entry.order.at) && loaded.precise.get(&record) == Some(&true) {
            return Err(Problem::new(ProblemType::TimesContradict, "The heat was lit after that pour."));
        }
        let alloy_is_new = tx.recall::<AlloyCorrected>().is_some_and(|heats| heats.0.contains(&heat));
        if (acts(record) || alloy_is_new)
            && let Some((ordered, alloy)) = differs(loaded, heat, shell)
            && !said(loaded, record, "alloy_differs")
            && !said(loaded, heat, "alloy_differs")
        {
            return Err(Problem::new(
                ProblemType::AlloyDiffers,
                format!("The heat is {alloy}, the piece was ordered in {ordered}. If it really was poured so, say despite: [alloy_differs]."),
            )
            .with("despite", vec!["alloy_differs"]));
        }
        // What a heat holds, once corrected, is what was poured: that is recorded, never refused.
        if acts(record) && holds_anothers(loaded, heat, shell) && !said(loaded, record, "client_metal") {
            return Err(Problem::new(
                ProblemType::ClientMetal,
                "There is a client's metal in the heat, and the shell holds another's work. If it really was poured so, say despite: [client_metal].",
            )
            .with("despite", vec!["client_metal"]));
        }
    }
    Ok(())
}

/// Whether a record was said in spite of that refusal.
fn said(loaded: &Loaded, record: Seq, code: &str) -> bool {
    loaded.despite.get(&record).is_some_and(|codes| codes.split(',').any(|c| c == code))
}

/// Whether there is metal of more than one client in the heat, and neither the heat nor one of
/// its charges was said in spite of that.
fn of_several_clients(loaded: &Loaded, heat: Seq) -> bool {
    let owners = loaded.heat_metal.get(&heat).map_or(0, |metal| metal.owners.len());
    let charges = loaded.history.entries.iter().filter_map(|entry| match entry.event {
        Event::Charge { heat: of, .. } if of == heat => Some(entry.order.seq),
        _ => None,
    });
    owners > 1 && !charges.chain([heat]).any(|record| said(loaded, record, "client_metal"))
}

/// The castings in a shell: what they were ordered in, and whose they are.
fn inside(loaded: &Loaded, shell: Seq) -> impl Iterator<Item = &(String, Option<Seq>)> {
    let castings = loaded.history.shells.iter().filter(move |s| s.seq == shell).flat_map(|s| &s.castings);
    castings.filter_map(|casting| loaded.casting_metal.get(&casting.seq))
}

/// The alloy that a casting in the shell was ordered in, and the heat's, where they differ.
fn differs(loaded: &Loaded, heat: Seq, shell: Seq) -> Option<(&str, &str)> {
    let alloy = &loaded.heat_metal.get(&heat)?.alloy;
    inside(loaded, shell).find(|(ordered, _)| ordered != alloy).map(|(ordered, _)| (ordered.as_str(), alloy.as_str()))
}

/// Whether there is a client's metal in the heat and another's work in the shell.
fn holds_anothers(loaded: &Loaded, heat: Seq, shell: Seq) -> bool {
    let owners = loaded.heat_metal.get(&heat).map_or(&[][..], |metal| &metal.owners);
    inside(loaded, shell).any(|(_, client)| owners.iter().any(|owner| Some(*owner) != *client))
}

/// The flags of pours from a heat that by now is of another alloy than was ordered, or holds
/// a client's metal and went into another's work, where the pour does not say so itself.
pub(super) fn not_as_said(loaded: &Loaded) -> Vec<(Seq, Vec<Flag>)> {
    let pours = loaded.history.entries.iter().filter_map(|entry| match entry.event {
        Event::Pour { heat, shell, .. } => Some((entry.order.seq, heat, shell)),
        _ => None,
    });
    pours
        .map(|(pour, heat, shell)| {
            let alloy = differs(loaded, heat, shell)
                .filter(|_| !said(loaded, pour, "alloy_differs"))
                .map(|(ordered, alloy)| Flag::new("alloy_differs", ordered, alloy));
            let anothers = holds_anothers(loaded, heat, shell) && !said(loaded, pour, "client_metal");
            let client = anothers.then(|| Flag::new("client_metal", "that client's work", "another's work"));
            (pour, alloy.into_iter().chain(client).collect())
        })
        .collect()
}
