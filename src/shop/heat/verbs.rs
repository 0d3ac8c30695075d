//! Recording heats, charges, events, pours, leaks and closings.

use super::model::{Basis, ChargeBody, ClosingBody, HeatBody, HeatEventBody, LeakBody, PourBody};
use super::store;
use crate::book::children::{amend, follow, take_array};
use crate::book::verbs::create_along;
use crate::book::{Despite, Entry, Room, series};
use crate::db::WriteTx;
use crate::kernel::field::{Parent, Ref};
use crate::kernel::{Celsius, Fault, Kind, Mass, Problem, ProblemType, Seq};
use crate::shop::house::fuel::Fuel;
use crate::shop::house::{settings, trade};
use crate::shop::metal::{self, LedgerLine, Of};
use serde_json::{Map, Value};

/// Heats.
pub enum Heats {}

impl Room for Heats {
    const KIND: Kind = Kind::Heat;
    const TABLE: &'static str = "heat";
    type Body = HeatBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<HeatBody>) -> Result<(), Problem> {
        let catalogue = trade::of(tx).await?;
        let mut faults = Vec::new();
        match catalogue.alloy(&entry.body.alloy.0) {
            Some(alloy) => entry.body.alloy.0.clone_from(&alloy.designation),
            None => faults.extend(trade::no_alloy("/alloy", &entry.body.alloy.0).faults),
        }
        if !entry.correcting && entry.body.charge.0.is_empty() {
            faults.push(Fault {
                pointer: "/charge".into(),
                code: "required",
                message: "Give what was charged: lots and masses.".into(),
            });
        }
        if !faults.is_empty() {
            return Err(Problem::invalid(faults));
        }
        let crucible = entry.body.crucible.as_ref().map(|c| c.0.seq());
        if let Some(crucible) = crucible
            && !entry.despite(Despite::CrucibleInUse)
            && let Some(other) = store::open_in_crucible(tx, crucible, entry.at(), entry.seq).await?
        {
            return Err(Problem::new(
                ProblemType::CrucibleInUse,
                format!("Heat {other} stands open in that crucible. Close it first; or say despite: [crucible_in_use]."),
            )
            .with("despite", vec!["crucible_in_use"])
            .with("may_follow", true));
        }
        let number = if entry.correcting {
            let known = store::numbers(tx, &[entry.seq]).await?.pop();
            let (_, number, alloy) = known.ok_or_else(|| Problem::internal("heat without number"))?;
            if alloy != entry.body.alloy.0 {
                let mut corrected: metal::AlloyCorrected = tx.recall_or_default();
                corrected.0.insert(entry.seq);
                tx.remember(corrected);
            }
            number
        } else {
            let year = settings::of(tx).await?.day(entry.at()).year();
            series::number(tx, Kind::Heat, year, entry.seq).await?
        };
        let body = &entry.body;
        entry.columns = vec![
            ("number", number.into()),
            ("alloy", body.alloy.0.as_str().into()),
            ("furnace_seq", body.furnace.0.seq().into()),
            ("crucible_seq", crucible.into()),
        ];
        metal::set_heat(tx, entry.seq, crucible, &entry.body.alloy.0);
        if entry.correcting {
            for shell in store::shells_of(tx, entry.seq).await? {
                tx.touch(Kind::Shell, shell);
            }
        }
        Ok(())
    }

    async fn along(tx: &mut WriteTx, entry: &mut Entry<HeatBody>) -> Result<(), Problem> {
        for mut charge in std::mem::take(&mut entry.body.charge).0 {
            charge.heat_id = Parent(Ref::known(entry.seq, entry.id));
            create_along::<Charges>(tx, &entry.common, charge).await?;
        }
        Ok(())
    }

    async fn corrected(tx: &mut WriteTx, entry: &mut Entry<HeatBody>) -> Result<(), Problem> {
        follow::<Charges, _>(tx, entry, "heat_id").await
    }

    async fn amend_children(
        tx: &mut WriteTx,
        entry: &mut Entry<HeatBody>,
        mut arrays: Map<String, Value>,
    ) -> Result<(), Problem> {
        let Some(array) = take_array(&mut arrays, "charge")? else { return Ok(()) };
        amend::<Charges>(tx, entry.seq, entry.id, "charge", "heat_id", array, &entry.common).await
    }
}

/// Charges.
pub enum Charges {}

impl Room for Charges {
    const KIND: Kind = Kind::Charge;
    const TABLE: &'static str = "charge";
    type Body = ChargeBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<ChargeBody>) -> Result<(), Problem> {
        let (heat, lot, mass) = (entry.body.heat_id.seq(), entry.body.lot_id.seq(), entry.body.mass_kg.0);
        entry.columns = vec![("heat_seq", heat.into()), ("lot_seq", lot.into()), ("mass_mg", mass.into())];
        entry.bear(heat);
        let line = LedgerLine {
            event: "charge",
            heat: Some(heat),
            lot: Some(lot),
            masses: [Some(mass), None, None, None],
            ..LedgerLine::default()
        };
        metal::enter(tx, entry, vec![line]);
        Ok(())
    }
}

/// Events of heats.
pub enum HeatEvents {}

impl Room for HeatEvents {
    const KIND: Kind = Kind::HeatEvent;
    const TABLE: &'static str = "heat_event";
    type Body = HeatEventBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<HeatEventBody>) -> Result<(), Problem> {
        let body = &entry.body;
        let heat = body.heat_id.seq();
        let lines = match (&body.lot_id, body.mass_kg) {
            (None, None) => Vec::new(),
            (Some(lot), Some(mass)) => vec![LedgerLine {
                event: "charge",
                heat: Some(heat),
                lot: Some(lot.seq()),
                masses: [Some(mass.0), None, None, None],
                ..LedgerLine::default()
            }],
            (Some(_), None) => return Err(Problem::field("/mass_kg", "required", "Say how much was added.")),
            (None, Some(_)) => return Err(Problem::field("/lot_id", "required", "Say from which lot it was added.")),
        };
        entry.columns = vec![
            ("heat_seq", heat.into()),
            ("kind", body.kind.name().into()),
            ("metal_c", body.metal_c.map(Celsius::get).into()),
        ];
        entry.bear(heat);
        tx.touch(Kind::Heat, heat);
        metal::enter(tx, entry, lines);
        Ok(())
    }
}

/// Pours.
pub enum Pours {}

impl Room for Pours {
    const KIND: Kind = Kind::Pour;
    const TABLE: &'static str = "pour";
    type Body = PourBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<PourBody>) -> Result<(), Problem> {
        let faults = pour_faults(entry);
        if !faults.is_empty() {
            return Err(Problem::invalid(faults));
        }
        let (heat, shell) = (entry.body.heat_id.seq(), entry.body.shell_id.seq());
        if let Some(first) = &entry.body.continues_pour_id
            && store::shell_of_pour(tx, first.seq()).await?.is_none_or(|(of, _)| of != shell)
        {
            return Err(Problem::field("/continues_pour_id", "other-shell", "That pour was into another shell."));
        }
        if entry.body.poured_kg.is_some() && entry.body.poured_basis.is_none() {
            entry.body.poured_basis = Some(Basis::Weighed);
        }
        let body = &entry.body;
        entry.columns = vec![
            ("heat_seq", heat.into()),
            ("shell_seq", shell.into()),
            ("continues_seq", body.continues_pour_id.as_ref().map(Ref::seq).into()),
            ("filled", body.filled.name().into()),
            ("support", body.support.name().into()),
            ("poured_mg", body.poured_kg.map(|m| m.0).into()),
            ("metal_c", body.metal_c.map(Celsius::get).into()),
        ];
        let line = LedgerLine {
            event: "pour",
            heat: Some(heat),
            shell: Some(shell),
            masses: [body.poured_kg.map(|m| m.0), None, None, None],
            word: Some(body.poured_basis.map_or("blank", Basis::name)),
            ..LedgerLine::default()
        };
        entry.bear(heat);
        entry.bear(shell);
        metal::enter(tx, entry, vec![line]);
        tx.remember(Poured { pour: entry.seq, shell, heat });
        Ok(())
    }

    async fn along(tx: &mut WriteTx, entry: &mut Entry<PourBody>) -> Result<(), Problem> {
        for mut leak in std::mem::take(&mut entry.body.leaks).0 {
            leak.pour_id = Parent(Ref::known(entry.seq, entry.id));
            create_along::<Leaks>(tx, &entry.common, leak).await?;
        }
        Ok(())
    }

    async fn corrected(tx: &mut WriteTx, entry: &mut Entry<PourBody>) -> Result<(), Problem> {
        follow::<Leaks, _>(tx, entry, "pour_id").await
    }

    async fn amend_children(
        tx: &mut WriteTx,
        entry: &mut Entry<PourBody>,
        mut arrays: Map<String, Value>,
    ) -> Result<(), Problem> {
        let Some(array) = take_array(&mut arrays, "leaks")? else { return Ok(()) };
        amend::<Leaks>(tx, entry.seq, entry.id, "leaks", "pour_id", array, &entry.common).await
    }
}

fn pour_faults(entry: &Entry<PourBody>) -> Vec<Fault> {
    let body = &entry.body;
    let mut faults = Vec::new();
    let mut add = |pointer: &str, code: &'static str, message: &str| {
        faults.push(Fault { pointer: pointer.into(), code, message: message.into() });
    };
    if body.poured_basis.is_some() && body.poured_kg.is_none() {
        add("/poured_kg", "required", "Give the mass that was weighed or estimated, or leave the basis out.");
    }
    if body.shell_out_at.is_some_and(|out| out > entry.common.at) {
        add("/shell_out_at", "after", "The shell left the kiln after the pour: check both times.");
    }
    let leaked: Mass = body.leaks.0.iter().flat_map(|l| [l.lost_kg, l.swept_kg]).flatten().map(|m| m.0).sum();
    if body.poured_basis != Some(Basis::Estimated) && body.poured_kg.is_some_and(|m| m.0 < leaked) {
        add("/leaks", "more-than-poured", "More leaked than was poured; the poured mass includes what leaked.");
    }
    faults
}

/// The pour of this turn: its leaks ask where it went.
struct Poured {
    pour: Seq,
    shell: Seq,
    heat: Seq,
}

/// Leaks.
pub enum Leaks {}

impl Room for Leaks {
    const KIND: Kind = Kind::Leak;
    const TABLE: &'static str = "leak";
    const AT_REQUIRED: bool = false;
    type Body = LeakBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<LeakBody>) -> Result<(), Problem> {
        let pour = entry.body.pour_id.seq();
        let (shell, heat) = match tx.recall::<Poured>() {
            Some(known) if known.pour == pour => (known.shell, known.heat),
            _ => store::shell_of_pour(tx, pour)
                .await?
                .ok_or_else(|| Problem::field("/pour_id", "required", "A leak is of a pour."))?,
        };
        let swept = entry.body.swept_kg.filter(|m| !m.0.is_zero());
        let lot = metal::in_pool(
            tx,
            &entry.common,
            Of::Heat(heat),
            &mut entry.body.swept_lot_id,
            (swept.is_some(), entry.correcting),
            "/swept_lot_id",
        )
        .await?;
        let body = &entry.body;
        entry.columns = vec![
            ("pour_seq", pour.into()),
            ("place", body.r#where.name().into()),
            ("lost_mg", body.lost_kg.map(|m| m.0).into()),
            ("swept_mg", body.swept_kg.map(|m| m.0).into()),
        ];
        let line = LedgerLine {
            event: "leak",
            heat: Some(heat),
            shell: Some(shell),
            pour: Some(pour),
            lot,
            masses: [body.lost_kg.map(|m| m.0), swept.map(|m| m.0), None, None],
            ..LedgerLine::default()
        };
        entry.bear(shell);
        metal::enter(tx, entry, vec![line]);
        Ok(())
    }
}

/// Closings.
pub enum Closings {}

impl Room for Closings {
    const KIND: Kind = Kind::Closing;
    const TABLE: &'static str = "closing";
    type Body = ClosingBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<ClosingBody>) -> Result<(), Problem> {
        let body = &entry.body;
        let told = body.fuel_minor.is_some() || body.fuel_kg.is_some() || body.fuel_kwh.is_some();
        let (before, after) = (body.bottles_before_kg.map(|m| m.0), body.bottles_after_kg.map(|m| m.0));
        Fuel { told, before, after }.check()?;
        let heat = entry.body.heat_id.seq();
        let fuels = [entry.body.fuel_minor.is_some(), entry.body.fuel_kg.is_some(), entry.body.fuel_kwh.is_some()];
        if fuels.into_iter().filter(|given| *given).count() > 1 {
            return Err(Problem::field("/fuel_minor", "one-of", "Give one of fuel_minor, fuel_kg, fuel_kwh."));
        }
        let pigged = entry.body.pigged_kg.filter(|m| !m.0.is_zero());
        let lot = metal::in_pool(
            tx,
            &entry.common,
            Of::Heat(heat),
            &mut entry.body.pigged_lot_id,
            (pigged.is_some(), entry.correcting),
            "/pigged_lot_id",
        )
        .await?;
        entry.columns = vec![("heat_seq", heat.into())];
        let body = &entry.body;
        let line = LedgerLine {
            event: "closing",
            heat: Some(heat),
            lot,
            masses: [pigged.map(|m| m.0), body.dross_kg.map(|m| m.0), body.spilled_kg.map(|m| m.0), body.heel_kg.map(|m| m.0)],
            ..LedgerLine::default()
        };
        entry.bear(heat);
        metal::enter(tx, entry, vec![line]);
        Ok(())
    }
}
