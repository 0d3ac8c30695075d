//! Named things of the shop: hands, kilns, furnaces, crucibles, suppliers. Made on
//! first use by whoever writes a name that is not known.

use super::common::{Common, Draft};
use super::resolve::{id_key, name_key};
use super::room::{Entry, Room};
use super::verbs;
use crate::db::{Cell, Read as _, WriteTx};
use crate::kernel::field::{Body, Day, Kg, Many, Positive, Text, Whole};
use crate::kernel::id::{Crucible, Furnace, Hand, Kiln, Kinded, Supplier};
use crate::kernel::{Celsius, Fault, Kind, Problem, ProblemType, Role, Seq};
use crate::{body, words};
use std::marker::PhantomData;
use uuid::Uuid;

words! {
    /// Which metals a crucible is kept for.
    pub enum Family {
        /// Copper-base.
        CopperBase = "copper_base",
        /// Aluminium.
        Aluminium = "aluminium",
        /// Zinc.
        Zinc = "zinc",
        /// Silver and gold.
        Precious = "precious",
        /// Iron and steel.
        Ferrous = "ferrous",
    }
}

words! {
    /// What a kiln or furnace burns or runs on.
    pub enum Fuel {
        /// Propane.
        Propane = "propane",
        /// Natural gas.
        NaturalGas = "natural_gas",
        /// Oil.
        Oil = "oil",
        /// Electricity, by resistance.
        Electric = "electric",
        /// Electricity, by induction.
        Induction = "induction",
        /// Coke, charcoal or wood.
        Solid = "solid",
    }
}

body! {
    /// A thing with a name. What is said of crucibles and of hands alone, only they may bear.
    pub struct ThingBody {
        /// Its name, as people say it.
        name: Text<64>,
        /// What else it is called: a slip that says one of these means it.
        also_called: Many<Text<64>, 40>,
        /// From when it is not used any more, or does not work here any more.
        retired_on: Option<Day>,
        /// Of a crucible: which metals it is kept for.
        family: Option<Family>,
        /// Of a crucible: what it holds.
        capacity_litre: Option<Positive<10_000>>,
        /// Of a crucible: what it holds of its metal.
        capacity_kg: Option<Kg<1>>,
        /// Of a crucible: heats it had before the book.
        heats_before: Option<Whole<0, 100_000>>,
        /// Of a crucible: heats after which it is taken out of use.
        life_heats: Option<Whole<1, 100_000>>,
        /// Of a kiln or furnace: what it burns or runs on.
        fuel: Option<Fuel>,
        /// Of a kiln or furnace: the most it is taken to, in °C.
        max_c: Option<Celsius>,
        /// Of a kiln: what fits in, in litres.
        chamber_litre: Option<Positive<1_000_000>>,
        /// Of a hand: what they are cleared for.
        cleared_for: Many<Text<60>, 20>,
        /// Notes.
        notes: Option<Text<2000>>,
    }
}

/// Members that only things of some kinds bear.
const BORNE: [(&str, &[Kind]); 9] = [
    ("family", &[Kind::Crucible]),
    ("capacity_litre", &[Kind::Crucible]),
    ("capacity_kg", &[Kind::Crucible]),
    ("heats_before", &[Kind::Crucible]),
    ("life_heats", &[Kind::Crucible]),
    ("fuel", &[Kind::Kiln, Kind::Furnace]),
    ("max_c", &[Kind::Kiln, Kind::Furnace]),
    ("chamber_litre", &[Kind::Kiln]),
    ("cleared_for", &[Kind::Hand]),
];

/// The members of a thing that a kind does not bear.
#[must_use]
pub fn not_of(kind: Kind) -> Vec<&'static str> {
    BORNE.iter().filter(|(_, kinds)| !kinds.contains(&kind)).map(|(name, _)| *name).collect()
}

/// What is said of a thing that its kind does not bear.
fn misfits(kind: Kind, body: &ThingBody) -> Vec<Fault> {
    let mut said = serde_json::Map::new();
    body.write_members(&mut said);
    let wrong = not_of(kind).into_iter().filter(|name| said.contains_key(*name));
    let message = |name: &str| format!("A {} has no {name}; leave it out.", kind.name());
    wrong.map(|name| Fault { pointer: format!("/{name}"), code: "not-of-this", message: message(name) }).collect()
}

/// Things of one kind.
pub struct Things<K>(PhantomData<fn() -> K>);

impl<K: Kinded> Room for Things<K> {
    const KIND: Kind = K::KIND;
    const TABLE: &'static str = "thing";
    const AT_REQUIRED: bool = false;
    type Body = ThingBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<ThingBody>) -> Result<(), Problem> {
        let faults = misfits(K::KIND, &entry.body);
        if !faults.is_empty() {
            return Err(Problem::invalid(faults));
        }
        if entry.correcting {
            renamed(tx, entry).await?;
        }
        entry.body.also_called.0 = further_names(&entry.body);
        if entry.correcting {
            tx.push("DELETE FROM handle WHERE record_seq = ? AND key < ?", vec![Cell::Int(entry.seq), ID_KEYS.into()]);
            bind_names(tx, K::KIND, entry).await?;
        }
        entry.set("kind", K::KIND.name());
        let name = entry.body.name.0.clone();
        entry.set("name", name);
        Ok(())
    }

    async fn along(tx: &mut WriteTx, entry: &mut Entry<ThingBody>) -> Result<(), Problem> {
        bind_names(tx, K::KIND, entry).await
    }
}

/// Where the keys begin by which ids of merged things are found; see [`id_key`].
const ID_KEYS: &str = "\u{10fffd}";

/// Has the ids of a thing that is merged away mean the one that stays, and frees its names for it.
pub fn hand_over_ids(tx: &mut WriteTx, from: &verbs::Standing, into: Seq) {
    tx.push(
        "UPDATE handle SET record_seq = ? WHERE record_seq = ? AND key >= ?",
        vec![into.into(), from.seq.into(), ID_KEYS.into()],
    );
    tx.push("DELETE FROM handle WHERE record_seq = ?", vec![Cell::Int(from.seq)]);
    tx.push(
        "INSERT INTO handle (space, key, record_seq) VALUES (?, ?, ?)",
        vec![from.kind.name().into(), id_key(from.id).as_str().into(), into.into()],
    );
}

/// A name that a thing had goes on meaning it; what else it is called is the owner's to say, since slips
/// that say it mean this thing from then on.
async fn renamed(tx: &mut WriteTx, entry: &mut Entry<ThingBody>) -> Result<(), Problem> {
    let sql =
        "SELECT j.body ->> 'name', j.body ->> 'also_called' FROM record r JOIN journal j ON j.n = r.journal_n WHERE r.seq = ?";
    let Some(row) = tx.fetch_one(sql, vec![Cell::Int(entry.seq)]).await? else { return Ok(()) };
    let also: Vec<String> =
        row.opt_text(1)?.map(|list| serde_json::from_str(&list)).transpose().map_err(Problem::internal)?.unwrap_or_default();
    let now: Vec<&str> = entry.body.also_called.0.iter().map(|name| name.0.as_str()).collect();
    if tx.actor.role != Role::Owner && now != also {
        return Err(Problem::new(ProblemType::NotAllowed, "What else a thing is called is the owner's to say."));
    }
    if let Some(was) = row.opt_text(0)?.filter(|was| name_key(was) != name_key(&entry.body.name.0)) {
        entry.body.also_called.0.push(Text(was));
    }
    Ok(())
}

/// What else a thing is called, each once and none its name.
fn further_names(body: &ThingBody) -> Vec<Text<64>> {
    let mut keys = vec![name_key(&body.name.0)];
    let mut fresh = |name: &Text<64>| {
        let key = name_key(&name.0);
        let new = !keys.contains(&key);
        keys.push(key);
        new
    };
    body.also_called.0.iter().filter(|name| fresh(name)).cloned().collect()
}

/// Binds all that a thing is called to it.
async fn bind_names(tx: &mut WriteTx, kind: Kind, entry: &Entry<ThingBody>) -> Result<(), Problem> {
    for (n, name) in std::iter::once(&entry.body.name).chain(&entry.body.also_called.0).enumerate() {
        let bound = tx
            .fetch_one(
                "INSERT INTO handle (space, key, record_seq) VALUES (?, ?, ?) ON CONFLICT DO NOTHING RETURNING record_seq",
                vec![kind.name().into(), name_key(&name.0).as_str().into(), Cell::Int(entry.seq)],
            )
            .await?;
        if bound.is_none() {
            let pointer = n.checked_sub(1).map_or_else(|| "/name".to_owned(), |n| format!("/also_called/{n}"));
            return Err(Problem::field(&pointer, "taken", format!("There is a {} called {}.", kind.name(), name.0)));
        }
    }
    Ok(())
}

async fn make(tx: &mut WriteTx, kind: Kind, name: &str) -> Result<(Seq, Uuid), Problem> {
    let body = ThingBody {
        name: Text(name.to_owned()),
        also_called: Many::default(),
        retired_on: None,
        family: None,
        capacity_litre: None,
        capacity_kg: None,
        heats_before: None,
        life_heats: None,
        fuel: None,
        max_c: None,
        chamber_litre: None,
        cleared_for: Many::default(),
        notes: None,
    };
    let draft = Draft { common: Common::at(tx.now()), body };
    match kind {
        Kind::Hand => verbs::create_as::<Things<Hand>>(tx, draft).await,
        Kind::Kiln => verbs::create_as::<Things<Kiln>>(tx, draft).await,
        Kind::Furnace => verbs::create_as::<Things<Furnace>>(tx, draft).await,
        Kind::Crucible => verbs::create_as::<Things<Crucible>>(tx, draft).await,
        Kind::Supplier => verbs::create_as::<Things<Supplier>>(tx, draft).await,
        _ => Err(Problem::internal(format!("{} has no names", kind.name()))),
    }
}

/// What was made in this turn: several records of one act may name the same new hand.
#[derive(Clone, Default)]
struct MadeHere(Vec<(Kind, String, (Seq, Uuid))>);

/// Makes every named thing of a draft that is not known yet; answers what was made.
///
/// # Errors
/// As the database says.
pub async fn make_missing<B: Body>(tx: &mut WriteTx, draft: &mut Draft<B>) -> Result<Vec<(Kind, String, Uuid)>, Problem> {
    let mut wanted: Vec<(Kind, String)> = Vec::new();
    draft.each_ref(&mut |slot, _| {
        if let (Some(kind), true, None) = (slot.kind, slot.named, slot.found)
            && !wanted.iter().any(|(k, n)| *k == kind && name_key(n) == name_key(&slot.asked))
        {
            wanted.push((kind, slot.asked.clone()));
        }
    });
    let mut made = Vec::new();
    for (kind, name) in wanted {
        let key = name_key(&name);
        let here = tx.recall::<MadeHere>().and_then(|m| m.0.iter().find(|(k, n, _)| *k == kind && *n == key).map(|m| m.2));
        let (seq, id) = if let Some(found) = here {
            found
        } else {
            let new = make(tx, kind, &name).await?;
            let mut all: MadeHere = tx.recall_or_default();
            all.0.push((kind, key, new));
            tx.remember(all);
            made.push((kind, name.clone(), new.1));
            new
        };
        draft.each_ref(&mut |slot, _| {
            if slot.named && slot.kind == Some(kind) && slot.found.is_none() && name_key(&slot.asked) == name_key(&name) {
                slot.found = Some((seq, id));
            }
        });
    }
    Ok(made)
}

/// The names of some things by id, of those that are things.
///
/// # Errors
/// As the database says.
pub async fn names<R: crate::db::Read>(read: &mut R, ids: &[Uuid]) -> Result<Vec<(Uuid, String)>, Problem> {
    let ids: Vec<String> = ids.iter().map(|id| id.simple().to_string()).collect();
    let sql = "SELECT r.id, t.name FROM json_each(?) k CROSS JOIN record r ON r.id = unhex(k.value) CROSS JOIN thing t ON t.seq = r.seq";
    let rows = read.fetch(sql, vec![serde_json::json!(ids).to_string().into()]).await?;
    rows.iter().map(|row| Ok((row.uuid(0)?, row.text(1)?))).collect()
}
