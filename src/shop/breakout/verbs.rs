//! Recording breakouts, whole trees, cut-offs and findings.

use super::model::{BreakoutBody, CutOffBody, FindingBody, JudgedBody, ShellBreakoutBody, Verdict};
use super::store::{self, Inside};
use crate::book::children::{amend, follow, take_array};
use crate::book::verbs::create_along;
use crate::book::{Common, Entry, Room};
use crate::db::{Read as _, WriteTx};
use crate::kernel::field::{Children, Parent, Ref};
use crate::kernel::id::{Breakout, Scrap};
use crate::kernel::{Fault, Kind, Mass, Problem, ProblemType, Seq};
use crate::shop::house::trade;
use crate::shop::metal::{self, LedgerLine, Of};
use serde_json::{Map, Value};

/// Findings.
pub enum Findings {}

impl Room for Findings {
    const KIND: Kind = Kind::Finding;
    const TABLE: &'static str = "finding";
    const AT_REQUIRED: bool = false;
    type Body = FindingBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<FindingBody>) -> Result<(), Problem> {
        let catalogue = trade::of(tx).await?;
        match catalogue.defect(&entry.body.code.0) {
            Some(defect) => entry.body.code.0.clone_from(&defect.code),
            None => {
                return Err(Problem::field(
                    "/code",
                    "not-in-catalogue",
                    format!("{} is not in /v1/trade/defects. Take one of those, or let the owner add it.", entry.body.code.0),
                ));
            }
        }
        let of = entry.body.breakout_id.seq().max(entry.body.scrap_id.seq());
        let casting = match tx.recall::<FoundOn>() {
            Some(known) if known.record == of => known.casting,
            _ => store::casting_of(tx, of)
                .await?
                .ok_or_else(|| Problem::field("/breakout_id", "required", "A finding is made at a breakout or a scrapping."))?,
        };
        let body = &entry.body;
        entry.columns = vec![
            ("casting_seq", casting.into()),
            ("code", body.code.0.as_str().into()),
            ("severity", body.severity.map(super::model::Severity::name).into()),
        ];
        entry.bear(casting);
        tx.touch(Kind::Casting, casting);
        Ok(())
    }
}

/// The breakout or scrapping of this turn: its findings ask which casting it is of.
#[derive(Clone, Copy, Debug)]
pub struct FoundOn {
    /// The breakout or scrapping.
    pub record: Seq,
    /// The casting.
    pub casting: Seq,
}

/// A whole tree of this turn: its castings, and whether the net of each is on record.
#[derive(Clone)]
struct Tree {
    shell: Seq,
    inside: Vec<Inside>,
}

/// Records the findings sent along with a breakout or a scrapping.
///
/// # Errors
/// `invalid` with pointers into the list.
pub async fn add_findings(
    tx: &mut WriteTx,
    common: &Common,
    breakout: Option<Ref<Breakout>>,
    scrap: Option<Ref<Scrap>>,
    findings: Vec<FindingBody>,
) -> Result<(), Problem> {
    for (i, mut finding) in findings.into_iter().enumerate() {
        if let Some(breakout) = &breakout {
            finding.breakout_id = Parent(breakout.clone());
        }
        if let Some(scrap) = &scrap {
            finding.scrap_id = Parent(scrap.clone());
        }
        create_along::<Findings>(tx, common, finding).await.map_err(|mut problem| {
            for fault in &mut problem.faults {
                fault.pointer = format!("/findings/{i}{}", fault.pointer);
            }
            problem
        })?;
    }
    Ok(())
}

/// Breakouts.
pub enum Breakouts {}

impl Room for Breakouts {
    const KIND: Kind = Kind::Breakout;
    const TABLE: &'static str = "breakout";
    type Body = BreakoutBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<BreakoutBody>) -> Result<(), Problem> {
        let casting = entry.body.casting_id.seq();
        let verdict = entry.body.verdict.unwrap_or(Verdict::NotJudged);
        entry.body.verdict = Some(verdict);
        let back = entry.body.returned_kg.is_some_and(|m| !m.0.is_zero()) || verdict == Verdict::Scrap;
        let (shell, inside, netted) = place(tx, entry, casting, back && entry.body.returned_lot_id.is_none()).await?;
        let mut faults = Vec::new();
        faults.extend(of_another_tree(tx, entry, shell).await?);
        let body = &entry.body;
        if body.gross_kg.is_some() && inside > 1 {
            faults.push(Fault {
                pointer: "/gross_kg".into(),
                code: "a-tree",
                message: format!(
                    "There are {inside} castings in the shell: weigh the whole tree with /v1/shells/{{id}}/breakout."
                ),
            });
        }
        if body.net_kg.is_some() && netted {
            faults.push(Fault {
                pointer: "/net_kg".into(),
                code: "known",
                message: "Its net is on record already; correct that one.".into(),
            });
        }
        if body.kept == Some(true) && verdict != Verdict::Scrap {
            faults.push(Fault {
                pointer: "/kept".into(),
                code: "not-scrapped",
                message: "Only a scrapped casting is kept for scrap.".into(),
            });
        }
        let out: Mass = [body.net_kg, body.returned_kg].into_iter().flatten().map(|m| m.0).sum();
        if !faults.is_empty() {
            return Err(Problem::invalid(faults));
        }
        if let Some(gross) = body.gross_kg
            && out > gross.0
            && out - gross.0 > Mass::from_mg((gross.0.mg() / 500).max(10_000))
        {
            return Err(Problem::new(
                ProblemType::MetalBeyond,
                format!("Net and returned are {out}, the gross is {}. Check the three masses.", gross.0),
            ));
        }
        let goes_back = body.returned_kg.is_some_and(|m| !m.0.is_zero()) || verdict == Verdict::Scrap;
        let lot = metal::in_pool(
            tx,
            &entry.common,
            Of::Casting(casting),
            &mut entry.body.returned_lot_id,
            (goes_back, entry.correcting),
            "/returned_lot_id",
        )
        .await?;
        let lines = breakout_lines(&entry.body, verdict, casting, shell, lot);
        let body = &entry.body;
        entry.columns = vec![
            ("casting_seq", casting.into()),
            ("verdict", verdict.name().into()),
            ("gross_mg", body.gross_kg.map(|m| m.0).into()),
            ("net_mg", body.net_kg.map(|m| m.0).into()),
        ];
        entry.bear(casting);
        metal::enter(tx, entry, lines);
        tx.touch(Kind::Casting, casting);
        tx.remember(FoundOn { record: entry.seq, casting });
        Ok(())
    }

    async fn along(tx: &mut WriteTx, entry: &mut Entry<BreakoutBody>) -> Result<(), Problem> {
        let findings = std::mem::take(&mut entry.body.findings).0;
        add_findings(tx, &entry.common, Some(Ref::known(entry.seq, entry.id)), None, findings).await
    }

    async fn corrected(tx: &mut WriteTx, entry: &mut Entry<BreakoutBody>) -> Result<(), Problem> {
        follow::<Findings, _>(tx, entry, "breakout_id").await
    }

    async fn amend_children(
        tx: &mut WriteTx,
        entry: &mut Entry<BreakoutBody>,
        mut arrays: Map<String, Value>,
    ) -> Result<(), Problem> {
        let Some(array) = take_array(&mut arrays, "findings")? else { return Ok(()) };
        amend::<Findings>(tx, entry.seq, entry.id, "findings", "breakout_id", array, &entry.common).await
    }
}

/// What is wrong with a breakout that is said to be part of a whole tree's: that one is of
/// another shell. One that is sent along with its tree is of it.
async fn of_another_tree(tx: &mut WriteTx, entry: &Entry<BreakoutBody>, shell: Option<Seq>) -> Result<Option<Fault>, Problem> {
    let tree = entry.body.shell_breakout_id.seq();
    let along = !entry.correcting && tx.recall::<Tree>().is_some();
    if tree <= 0 || along || store::of_tree(tx, tree).await?.0 == shell {
        return Ok(None);
    }
    Ok(Some(Fault {
        pointer: "/shell_breakout_id".into(),
        code: "other-shell",
        message: "That is the breakout of another shell.".into(),
    }))
}

/// Where a casting is, as [`store::place`] says; with `pool`, where its metal goes back is
/// asked along.
async fn place<B>(tx: &mut WriteTx, entry: &Entry<B>, casting: Seq, pool: bool) -> Result<(Option<Seq>, usize, bool), Problem> {
    if let (Some(tree), false) = (tx.recall::<Tree>(), entry.correcting)
        && let Some(found) = tree.inside.iter().find(|c| c.seq == casting)
    {
        return Ok((Some(tree.shell), tree.inside.len(), found.netted));
    }
    let ask = store::place(casting, entry.seq);
    let rows = if pool { metal::pools_ahead(tx, ask, &[casting]).await? } else { tx.fetch(ask.sql, ask.args).await? };
    store::read_place(&rows)
}

fn breakout_lines(body: &BreakoutBody, verdict: Verdict, casting: Seq, shell: Option<Seq>, lot: Option<Seq>) -> Vec<LedgerLine> {
    let returned = body.returned_kg.filter(|m| !m.0.is_zero());
    let mut lines = Vec::new();
    if let (Some(gross), Some(shell)) = (body.gross_kg, shell) {
        lines.push(LedgerLine {
            event: "gross",
            shell: Some(shell),
            masses: [Some(gross.0), None, None, None],
            ..LedgerLine::default()
        });
    }
    if body.net_kg.is_some() || returned.is_some() {
        lines.push(LedgerLine {
            event: "net",
            casting: Some(casting),
            lot,
            masses: [body.net_kg.map(|m| m.0), returned.map(|m| m.0), None, None],
            ..LedgerLine::default()
        });
    }
    let word = match verdict {
        Verdict::Accepted => "accepted",
        Verdict::Repair => "repair",
        Verdict::Scrap if body.kept == Some(true) => "scrap_kept",
        Verdict::Scrap => "scrap",
        Verdict::NotJudged => "not_judged",
    };
    lines.push(LedgerLine { event: "judged", casting: Some(casting), lot, word: Some(word), ..LedgerLine::default() });
    lines
}

/// Whole trees.
pub enum ShellBreakouts {}

impl Room for ShellBreakouts {
    const KIND: Kind = Kind::ShellBreakout;
    const TABLE: &'static str = "shell_breakout";
    type Body = ShellBreakoutBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<ShellBreakoutBody>) -> Result<(), Problem> {
        let shell = entry.body.shell_id.seq();
        let scrapped = |j: &&JudgedBody| j.verdict == Some(Verdict::Scrap);
        let scrapped: Vec<Seq> = entry.body.castings.0.iter().filter(scrapped).map(|j| j.casting_id.seq()).collect();
        let inside = store::read_inside(&metal::pools_ahead(tx, store::in_shell(shell), &scrapped).await?)?;
        let mut faults = Vec::new();
        let named: Vec<Seq> = entry.body.castings.0.iter().map(|c| c.casting_id.seq()).collect();
        for (i, casting) in named.iter().enumerate() {
            if !inside.iter().any(|c| c.seq == *casting) {
                faults.push(Fault {
                    pointer: format!("/castings/{i}/casting_id"),
                    code: "not-inside",
                    message: "That casting is not in this shell.".into(),
                });
            }
            if named[..i].contains(casting) {
                faults.push(Fault {
                    pointer: format!("/castings/{i}/casting_id"),
                    code: "twice",
                    message: "A casting is named twice.".into(),
                });
            }
        }
        if entry.correcting
            && store::of_tree(tx, entry.seq).await?.1.iter().any(|judged| !inside.iter().any(|c| c.seq == *judged))
        {
            faults.push(Fault {
                pointer: "/shell_id".into(),
                code: "fixed",
                message: "Castings of another shell were judged with it. Void it and record it anew.".into(),
            });
        }
        if !faults.is_empty() {
            return Err(Problem::invalid(faults));
        }
        let gross = entry.body.gross_kg.map(|m| m.0);
        entry.columns = vec![("shell_seq", shell.into()), ("gross_mg", gross.into())];
        let lines = gross
            .map(|gross| LedgerLine {
                event: "gross",
                shell: Some(shell),
                masses: [Some(gross), None, None, None],
                ..LedgerLine::default()
            })
            .into_iter()
            .collect();
        entry.bear(shell);
        metal::enter(tx, entry, lines);
        tx.touch(Kind::Shell, shell);
        tx.remember(Tree { shell, inside });
        Ok(())
    }

    async fn along(tx: &mut WriteTx, entry: &mut Entry<ShellBreakoutBody>) -> Result<(), Problem> {
        let mut judged = std::mem::take(&mut entry.body.castings).0;
        let inside = tx.recall::<Tree>().map(|tree| tree.inside.clone()).unwrap_or_default();
        for Inside { seq, id, .. } in inside {
            let said = judged.iter().position(|j| j.casting_id.seq() == seq).map(|i| judged.swap_remove(i));
            let said = said.unwrap_or(JudgedBody {
                casting_id: Ref::known(seq, id),
                verdict: None,
                kept: None,
                findings: crate::kernel::field::Many::default(),
            });
            let body = BreakoutBody {
                casting_id: said.casting_id,
                verdict: said.verdict,
                gross_kg: None,
                net_kg: None,
                returned_kg: None,
                returned_lot_id: None,
                kept: said.kept,
                findings: Children(said.findings.0.into_iter().map(|n| n.0).collect()),
                shell_breakout_id: Parent(Ref::known(entry.seq, entry.id)),
                note: None,
            };
            create_along::<Breakouts>(tx, &entry.common, body).await?;
        }
        Ok(())
    }

    async fn corrected(tx: &mut WriteTx, entry: &mut Entry<ShellBreakoutBody>) -> Result<(), Problem> {
        follow::<Breakouts, _>(tx, entry, "shell_breakout_id").await
    }
}

/// Cut-offs.
pub enum CutOffs {}

impl Room for CutOffs {
    const KIND: Kind = Kind::CutOff;
    const TABLE: &'static str = "cut_off";
    type Body = CutOffBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<CutOffBody>) -> Result<(), Problem> {
        let casting = entry.body.casting_id.seq();
        let returned = entry.body.returned_kg.filter(|m| !m.0.is_zero());
        let pool = returned.is_some() && entry.body.returned_lot_id.is_none();
        let (_, _, netted) = place(tx, entry, casting, pool).await?;
        if netted {
            return Err(Problem::field("/net_kg", "known", "Its net is on record already; correct that one."));
        }
        let lot = metal::in_pool(
            tx,
            &entry.common,
            Of::Casting(casting),
            &mut entry.body.returned_lot_id,
            (returned.is_some(), entry.correcting),
            "/returned_lot_id",
        )
        .await?;
        entry.columns = vec![("casting_seq", casting.into()), ("net_mg", entry.body.net_kg.0.into())];
        let line = LedgerLine {
            event: "net",
            casting: Some(casting),
            lot,
            masses: [Some(entry.body.net_kg.0), returned.map(|m| m.0), None, None],
            ..LedgerLine::default()
        };
        entry.bear(casting);
        metal::enter(tx, entry, vec![line]);
        tx.touch(Kind::Casting, casting);
        Ok(())
    }
}
