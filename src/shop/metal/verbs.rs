//! Recording lots and receipts; the default pool.

use super::lines::{LedgerLine, enter};
use super::model::{LotBody, LotKind, ReceiptBody};
use super::store;
use crate::book::verbs::create_along;
use crate::book::{Common, Entry, Room};
use crate::db::WriteTx;
use crate::kernel::field::{Kg, Minor, Ref, Text};
use crate::kernel::id::MetalLot;
use crate::kernel::{Kind, Mass, Money, Problem, Seq};
use crate::shop::house::trade;

/// Metal lots.
pub enum Lots {}

impl Room for Lots {
    const KIND: Kind = Kind::MetalLot;
    const TABLE: &'static str = "metal_lot";
    type Body = LotBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<LotBody>) -> Result<(), Problem> {
        let catalogue = trade::of(tx).await?;
        match catalogue.alloy(&entry.body.alloy.0) {
            Some(alloy) => entry.body.alloy.0.clone_from(&alloy.designation),
            None => return Err(trade::no_alloy("/alloy", &entry.body.alloy.0)),
        }
        let body = &entry.body;
        if body.kind != LotKind::Returns && body.mass_kg.0.is_zero() {
            return Err(Problem::field("/mass_kg", "zero", "Give a mass above 0; only a pool of returns may begin empty."));
        }
        if body.mass_kg.0.is_zero() && !body.cost_minor.0.is_zero() {
            return Err(Problem::field("/cost_minor", "without-mass", "What weighs nothing costs nothing."));
        }
        if body.owner_client_id.is_some() && !body.cost_minor.0.is_zero() {
            return Err(Problem::field("/cost_minor", "client-metal", "A client's metal has no value in the shop's book; give 0."));
        }
        entry.columns = vec![
            ("alloy", body.alloy.0.as_str().into()),
            ("kind", body.kind.name().into()),
            ("owner_client_seq", body.owner_client_id.as_ref().map(Ref::seq).into()),
        ];
        let line = LedgerLine {
            event: "in",
            lot: Some(entry.seq),
            masses: [Some(body.mass_kg.0), None, None, None],
            value: Some(body.cost_minor.0),
            ..LedgerLine::default()
        };
        enter(tx, entry, vec![line]);
        tx.touch(Kind::MetalLot, entry.seq);
        Ok(())
    }
}

/// Metal bought into a pool.
pub enum Receipts {}

impl Room for Receipts {
    const KIND: Kind = Kind::Receipt;
    const TABLE: &'static str = "receipt";
    type Body = ReceiptBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<ReceiptBody>) -> Result<(), Problem> {
        let lot = entry.body.lot_id.seq();
        if store::lot(tx, lot).await?.is_some_and(|(kind, ..)| kind != "returns") {
            return Err(Problem::field("/lot_id", "one-receipt", "Ingot and additions have one receipt each: record a new lot."));
        }
        entry.columns = vec![("lot_seq", lot.into())];
        let line = LedgerLine {
            event: "in",
            lot: Some(lot),
            masses: [Some(entry.body.mass_kg.0), None, None, None],
            value: Some(entry.body.cost_minor.0),
            ..LedgerLine::default()
        };
        enter(tx, entry, vec![line]);
        entry.bear(lot);
        Ok(())
    }
}

/// The pool that metal of an alloy goes back into when none is named: the oldest returns lot
/// that is not a client's, made on first use.
///
/// # Errors
/// As the database says.
pub async fn pool(tx: &mut WriteTx, common: &Common, alloy: &str) -> Result<Ref<MetalLot>, Problem> {
    if let Some((seq, id)) = store::default_pool(tx, alloy).await? {
        return Ok(Ref::known(seq, id));
    }
    let body = LotBody {
        alloy: Text(alloy.to_owned()),
        kind: LotKind::Returns,
        mass_kg: Kg(Mass::ZERO),
        cost_minor: Minor(Money::ZERO),
        supplier: None,
        owner_client_id: None,
        opening: None,
        composition: None,
        notes: None,
    };
    let (seq, id) = Box::pin(create_along::<Lots>(tx, common, body)).await?;
    Ok(Ref::known(seq, id))
}

/// Whose metal goes back.
#[derive(Clone, Copy, Debug)]
pub enum Of {
    /// A heat's.
    Heat(Seq),
    /// A casting's, or of the gating of its shell.
    Casting(Seq),
}

/// The pool that a record names, or, when there is metal to put back, the default one of
/// the alloy poured. Metal goes back only into pools.
///
/// # Errors
/// `invalid` when the lot named is no pool.
pub async fn in_pool(
    tx: &mut WriteTx,
    common: &Common,
    of: Of,
    named: &mut Option<Ref<MetalLot>>,
    wanted: bool,
    pointer: &str,
) -> Result<Option<Seq>, Problem> {
    if let Some(lot) = named {
        if store::lot(tx, lot.seq()).await?.is_some_and(|(kind, ..)| kind != "returns") {
            return Err(Problem::field(pointer, "no-pool", "Metal goes back only into pools: lots of kind returns."));
        }
        return Ok(Some(lot.seq()));
    }
    if !wanted {
        return Ok(None);
    }
    let pool = match of {
        Of::Heat(heat) => {
            let alloy = store::heat_alloy(tx, heat).await?.ok_or_else(|| Problem::internal(format!("heat {heat}")))?;
            pool(tx, common, &alloy).await?
        }
        Of::Casting(casting) => match store::pool_of_casting(tx, casting).await? {
            Some((_, Some((seq, id)))) => Ref::known(seq, id),
            Some((alloy, None)) => pool(tx, common, &alloy).await?,
            // Never poured: there is no metal to put back.
            None => return Ok(None),
        },
    };
    let seq = pool.seq();
    *named = Some(pool);
    Ok(Some(seq))
}
