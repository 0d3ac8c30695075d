//! Recording lots and receipts; the default pool.

use super::lines::{LedgerLine, enter};
use super::model::{LotBody, LotKind, ReceiptBody};
use super::store;
use super::store::pools::{self, Pool};
use crate::book::verbs::create_along;
use crate::book::{Common, Despite, Entry, Room};
use crate::db::{Ask, Read as _, Row, WriteTx};
use crate::kernel::field::{Kg, Minor, Ref, Text};
use crate::kernel::id::MetalLot;
use crate::kernel::{Kind, Mass, Money, Problem, ProblemType, Seq};
use crate::shop::casting;
use crate::shop::house::trade;
use std::collections::BTreeMap;
use uuid::Uuid;

/// The alloy of scrap that nobody knows: it may lie in stock and be charged, never be poured as.
pub const UNKNOWN: &str = "unknown";

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
            None if entry.body.alloy.0.trim().eq_ignore_ascii_case(UNKNOWN) => UNKNOWN.clone_into(&mut entry.body.alloy.0),
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
            return Err(Problem::field(
                "/cost_minor",
                "client-metal",
                "A client's metal has no value in the shop's book; give 0.",
            ));
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
        if entry.correcting {
            // Whose metal was poured may be another's now.
            for heat in pools::heats_from(tx, entry.seq).await? {
                tx.touch(Kind::Heat, heat);
            }
        }
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

/// Whose metal goes back.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Of {
    /// A heat's.
    Heat(Seq),
    /// A casting's, or of the gating of its shell.
    Casting(Seq),
}

/// What is known in this turn of where metal goes back.
#[derive(Default)]
struct Pools {
    /// As read; `None` where nothing was poured.
    of: BTreeMap<Of, Option<Pool>>,
    /// Made in this turn, by alloy and owner.
    made: BTreeMap<(String, Option<Seq>), (Seq, Uuid)>,
}

/// Asks together with another question where metal out of castings goes back, so that
/// [`in_pool`] knows it later in the turn; gives the other answer.
///
/// # Errors
/// As the database says.
pub async fn pools_ahead(tx: &mut WriteTx, first: Ask, castings: &[Seq]) -> Result<Vec<Row>, Problem> {
    let (answer, rows) = tx.fetch_two(first, pools::pools_of_castings(castings)).await?;
    let mut found = pools::read_pools(&rows)?;
    let mut known: Pools = tx.recall_or_default();
    known.of.extend(castings.iter().map(|&c| (Of::Casting(c), found.remove(&c))));
    tx.remember(known);
    Ok(answer)
}

/// Where metal of a casting would go back by the alloy it was ordered in: the pour may come
/// on record later than the scrapping, or the shell be poured with a scrapped wax in it.
async fn pool_as_ordered(tx: &mut WriteTx, casting: Seq) -> Result<Option<Pool>, Problem> {
    let Some(row) = casting::by_seqs(tx, &[casting]).await?.into_iter().next() else { return Ok(None) };
    let ask = pools::pool_of_alloy(casting, &row.alloy);
    let rows = tx.fetch(ask.sql, ask.args).await?;
    Ok(pools::read_pools(&rows)?.remove(&casting))
}

/// What is known of where metal goes back; of a casting that is not poured on record, by the alloy it was ordered in.
async fn known(tx: &mut WriteTx, of: Of) -> Result<Option<Pool>, Problem> {
    let mut known: Pools = tx.recall_or_default();
    if let std::collections::btree_map::Entry::Vacant(slot) = known.of.entry(of) {
        let (ask, seq) = match of {
            Of::Heat(heat) => (pools::pool_of_heat(heat), heat),
            Of::Casting(casting) => (pools::pools_of_castings(&[casting]), casting),
        };
        let rows = tx.fetch(ask.sql, ask.args).await?;
        slot.insert(pools::read_pools(&rows)?.remove(&seq));
    }
    if let (Of::Casting(casting), Some(None)) = (of, known.of.get(&of)) {
        known.of.insert(of, pool_as_ordered(tx, casting).await?);
    }
    let found = known.of.get(&of).cloned().flatten();
    tx.remember(known);
    Ok(found)
}

/// The pool that metal goes back into when none is named: the alloy's oldest returns lot of
/// the client whose metal alone was charged, else of the shop; made on first use. `None`
/// where nothing was poured.
async fn default_pool(tx: &mut WriteTx, common: &Common, of: Of) -> Result<Option<Ref<MetalLot>>, Problem> {
    let Some(Pool { alloy, owner, lot }) = known(tx, of).await? else { return Ok(None) };
    if let Some((seq, id)) = lot {
        return Ok(Some(Ref::known(seq, id)));
    }
    let key = (alloy.clone(), owner.map(|(seq, _)| seq));
    let made = tx.recall_or_default::<Pools>().made.get(&key).copied();
    let pool = match made {
        Some(pool) => pool,
        None => Box::pin(create_along::<Lots>(tx, common, empty_pool(&alloy, owner))).await?,
    };
    let mut known: Pools = tx.recall_or_default();
    known.made.insert(key, pool);
    tx.remember(known);
    Ok(Some(Ref::known(pool.0, pool.1)))
}

fn empty_pool(alloy: &str, owner: Option<(Seq, Uuid)>) -> LotBody {
    LotBody {
        alloy: Text(alloy.to_owned()),
        kind: LotKind::Returns,
        mass_kg: Kg(Mass::ZERO),
        cost_minor: Minor(Money::ZERO),
        supplier: None,
        owner_client_id: owner.map(|(seq, id)| Ref::known(seq, id)),
        opening: None,
        composition: None,
        notes: None,
    }
}

/// The pool that a record names, or, when there is metal to put back, the default one of
/// the alloy poured. Metal goes back only into pools; that of a heat charged with one
/// client's metal alone only into that client's, unless it was said that it went elsewhere.
///
/// # Errors
/// `invalid` when the lot named is no pool; `client-metal`.
pub async fn in_pool(
    tx: &mut WriteTx,
    common: &Common,
    of: Of,
    named: &mut Option<Ref<MetalLot>>,
    (wanted, correcting): (bool, bool),
    pointer: &str,
) -> Result<Option<Seq>, Problem> {
    if let Some(lot) = named {
        let lot = lot.seq();
        let (kind, _, owner) = store::lot(tx, lot).await?.ok_or_else(|| Problem::internal("a lot that is not on file"))?;
        if kind != "returns" {
            return Err(Problem::field(pointer, "no-pool", "Metal goes back only into pools: lots of kind returns."));
        }
        if wanted
            && !correcting
            && !common.despite.0.contains(&Despite::ClientMetal)
            && let Some(Pool { owner: Some((client, _)), .. }) = known(tx, of).await?
            && owner != Some(client)
        {
            return Err(Problem::new(
                ProblemType::ClientMetal,
                "All that was charged is one client's metal, and that pool is not theirs. Leave it out for their pool; \
                 if it really went there, say despite: [client_metal].",
            )
            .with("despite", vec!["client_metal"]));
        }
        return Ok(Some(lot));
    }
    if !wanted {
        return Ok(None);
    }
    *named = default_pool(tx, common, of).await?;
    Ok(named.as_ref().map(Ref::seq))
}
