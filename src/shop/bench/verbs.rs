//! Recording work, finishing and scrapping.

use super::model::{FinishBody, OutsideWorkBody, ScrapBody, WorkBody};
use crate::book::children::{amend, follow, take_array};
use crate::book::{Entry, Room};
use crate::db::WriteTx;
use crate::kernel::field::{Ref, Whole};
use crate::kernel::{Fault, Kind, Problem};
use crate::shop::breakout::{Findings, FoundOn, add_findings};
use crate::shop::metal::{self, LedgerLine, Of};
use serde_json::{Map, Value};

/// Work.
pub enum WorkDone {}

impl Room for WorkDone {
    const KIND: Kind = Kind::Work;
    const TABLE: &'static str = "work";
    type Body = WorkBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<WorkBody>) -> Result<(), Problem> {
        // The version that was found goes with its patina.
        if entry.correcting && entry.body.patina_id.is_none() {
            entry.body.patina_version = None;
        }
        let body = &entry.body;
        let casting = body.casting_id.seq();
        let on = [
            casting,
            body.piece_id.seq(),
            body.shell_id.seq(),
            body.heat_id.seq(),
            body.mould_id.seq(),
            body.commission_id.seq(),
        ]
        .into_iter()
        .find(|seq| *seq >= 0)
        .ok_or_else(|| Problem::field("/casting_id", "required", "Say what the work was on."))?;
        let mut faults = Vec::new();
        if casting < 0 {
            for (pointer, given) in [
                ("/mass_after_kg", body.mass_after_kg.is_some()),
                ("/rod_kg", body.rod_kg.is_some()),
                ("/rod_lot_id", body.rod_lot_id.is_some()),
            ] {
                if given {
                    faults.push(Fault {
                        pointer: pointer.into(),
                        code: "not-a-casting",
                        message: "Metal is put on and taken off castings: book it on one.".into(),
                    });
                }
            }
        }
        if body.rod_lot_id.is_some() && body.rod_kg.is_none() {
            faults.push(Fault { pointer: "/rod_kg".into(), code: "required", message: "Say how much rod was used.".into() });
        }
        if body.patina_id.is_none() && body.patina_version.is_some() {
            faults.push(Fault { pointer: "/patina_id".into(), code: "required", message: "Say of which patina.".into() });
        }
        if !faults.is_empty() {
            return Err(Problem::invalid(faults));
        }
        if let Some(patina) = &body.patina_id {
            let said = body.patina_version.map(|version| version.0);
            let used = super::patina::version(tx, patina.seq(), said, entry.common.at).await?;
            entry.body.patina_version = Some(Whole(used));
        }
        let body = &entry.body;
        entry.columns = vec![
            ("on_seq", on.into()),
            ("operation", body.operation.name().into()),
            ("minutes", body.minutes.0.into()),
            ("hand_seq", body.hand.as_ref().map(|h| h.0.seq()).into()),
        ];
        let lines = if casting >= 0 && (body.mass_after_kg.is_some() || body.rod_kg.is_some()) {
            vec![LedgerLine {
                event: "work",
                casting: Some(casting),
                lot: body.rod_lot_id.as_ref().map(Ref::seq),
                masses: [body.rod_kg.map(|m| m.0), body.mass_after_kg.map(|m| m.0), None, None],
                ..LedgerLine::default()
            }]
        } else {
            Vec::new()
        };
        entry.bear(on);
        if casting >= 0 {
            tx.touch(Kind::Casting, casting);
        }
        metal::enter(tx, entry, lines);
        Ok(())
    }
}

/// Work done outside.
pub enum OutsideWorkDone {}

impl Room for OutsideWorkDone {
    const KIND: Kind = Kind::OutsideWork;
    const TABLE: &'static str = "outside_work";
    type Body = OutsideWorkBody;

    async fn enter(_: &mut WriteTx, entry: &mut Entry<OutsideWorkBody>) -> Result<(), Problem> {
        let body = &entry.body;
        let casting = body.casting_id.as_ref().map(Ref::seq);
        let others =
            [body.piece_id.as_ref().map(Ref::seq), body.mould_id.as_ref().map(Ref::seq), body.pattern_id.as_ref().map(Ref::seq)];
        let named = std::iter::once(casting).chain(others).flatten().count();
        let mut faults = Vec::new();
        if named != 1 {
            let message = "Say what is away: one casting, piece, mould or pattern.".into();
            faults.push(Fault { pointer: "/casting_id".into(), code: "one-of", message });
        }
        if body.back_at.is_some_and(|back| back < entry.common.at) {
            let message = "It came back before it went away. Check both times.".into();
            faults.push(Fault { pointer: "/back_at".into(), code: "before", message });
        }
        if !faults.is_empty() {
            return Err(Problem::invalid(faults));
        }
        entry.columns = vec![("due_back_on", body.due_back_on.map(|d| d.0.to_string()).into()), ("back_ms", body.back_at.into())];
        if let Some(casting) = casting {
            entry.bear(casting);
        }
        Ok(())
    }
}

/// Finishing.
pub enum Finishes {}

impl Room for Finishes {
    const KIND: Kind = Kind::Finish;
    const TABLE: &'static str = "finish";
    type Body = FinishBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<FinishBody>) -> Result<(), Problem> {
        let casting = entry.body.casting_id.seq();
        entry.columns = vec![("casting_seq", casting.into())];
        entry.bear(casting);
        metal::enter(tx, entry, vec![LedgerLine { event: "finish", casting: Some(casting), ..LedgerLine::default() }]);
        Ok(())
    }
}

/// Scrapping.
pub enum Scraps {}

impl Room for Scraps {
    const KIND: Kind = Kind::Scrap;
    const TABLE: &'static str = "scrap";
    type Body = ScrapBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<ScrapBody>) -> Result<(), Problem> {
        let casting = entry.body.casting_id.seq();
        if entry.body.kept == Some(true) && entry.body.returned_kg.is_some() {
            return Err(Problem::field("/kept", "one-of", "It is kept or returned, not both."));
        }
        let lot = metal::in_pool(
            tx,
            &entry.common,
            Of::Casting(casting),
            &mut entry.body.returned_lot_id,
            (true, entry.correcting),
            "/returned_lot_id",
        )
        .await?;
        let body = &entry.body;
        entry.columns = vec![("casting_seq", casting.into()), ("category", body.cause.0.category.name().into())];
        let kept = body.kept == Some(true);
        let line = LedgerLine {
            event: "scrap",
            casting: Some(casting),
            lot,
            masses: [body.returned_kg.map(|m| m.0), None, None, None],
            word: kept.then_some("kept"),
            ..LedgerLine::default()
        };
        entry.bear(casting);
        metal::enter(tx, entry, vec![line]);
        tx.remember(FoundOn { record: entry.seq, casting });
        Ok(())
    }

    async fn along(tx: &mut WriteTx, entry: &mut Entry<ScrapBody>) -> Result<(), Problem> {
        let findings = std::mem::take(&mut entry.body.findings).0;
        add_findings(tx, &entry.common, None, Some(Ref::known(entry.seq, entry.id)), findings).await
    }

    async fn corrected(tx: &mut WriteTx, entry: &mut Entry<ScrapBody>) -> Result<(), Problem> {
        follow::<Findings, _>(tx, entry, "scrap_id").await
    }

    async fn amend_children(
        tx: &mut WriteTx,
        entry: &mut Entry<ScrapBody>,
        mut arrays: Map<String, Value>,
    ) -> Result<(), Problem> {
        let Some(array) = take_array(&mut arrays, "findings")? else { return Ok(()) };
        amend::<Findings>(tx, entry.seq, entry.id, "findings", "scrap_id", array, &entry.common).await
    }
}
