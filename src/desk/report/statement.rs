//! A client's own metal: what came, where it went, what is left, to the milligram. The rule
//! that shares a heat of several owners stands in docs/ledger.md, *A client's metal*.

use super::ask;
use super::heat_balances::said;
use super::store::owned;
use crate::book::api::find;
use crate::db::ReadTx;
use crate::kernel::{Instant, Kind, Mass, Problem, Seq};
use crate::science::ledger::{Account, Movement, Owner, owners};
use crate::web::Ctx;
use serde_json::{Map, Value, json};
use std::collections::{BTreeMap, BTreeSet};

/// Where a client's metal lies or went.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
enum Place {
    /// On the client's own lots.
    OnHand,
    /// In heats and shells.
    InProcess,
    /// In castings of the client's work, delivered ones among them.
    Cast,
    /// In castings of another's work.
    CastForOthers,
    /// In a sink.
    Lost(&'static str),
    /// Out of stock: sold or written off for the client.
    HandedBack,
    /// In lots of another owner.
    PassedOn,
    /// Not the client's yet, or brought in.
    Elsewhere,
}

struct Sight<'a> {
    client: Owner,
    lots: &'a BTreeMap<Seq, Owner>,
    work: &'a BTreeMap<Seq, Owner>,
}

impl Sight<'_> {
    /// What an account is to the client; a delivered casting stays with its work.
    fn place(&self, account: Account, from: Account) -> Place {
        let mine = |casting: Seq| self.work.get(&casting) == Some(&self.client);
        match (account, from) {
            (Account::Lot(lot), _) if self.lots.get(&lot) == Some(&self.client) => Place::OnHand,
            (Account::Lot(_), _) => Place::PassedOn,
            (Account::Heat(_) | Account::Shell(_), _) => Place::InProcess,
            (Account::Casting(casting), _) | (Account::Delivered, Account::Casting(casting)) => {
                if mine(casting) {
                    Place::Cast
                } else {
                    Place::CastForOthers
                }
            }
            (Account::Sold | Account::WrittenOff, _) => Place::HandedBack,
            (Account::Outside | Account::Delivered, _) => Place::Elsewhere,
            (sink, _) => Place::Lost(sink.name()),
        }
    }
}

/// One thing that happened to the client's metal.
struct Line {
    at: Instant,
    order: (i64, Seq, Seq),
    source: Seq,
    what: String,
    mass: Mass,
    /// The change of what is on hand.
    on_hand: Mass,
    /// The heat or casting that it went into or came from.
    about: Option<Seq>,
}

/// The changes of a movement: the client's own part from where to where, and what came from
/// others into the client's lots.
struct Moved<'a> {
    movement: &'a Movement,
    part: Mass,
    from: Place,
    to: Place,
    gained: Mass,
}

impl Moved<'_> {
    /// The line it makes, if it is one that a statement shows: its name, its mass, and the
    /// change of what is on hand.
    fn line(&self) -> Option<(String, Mass, Mass)> {
        use Place::{Cast, CastForOthers, Elsewhere, HandedBack, InProcess, Lost, OnHand, PassedOn};
        let part = self.part;
        let plain = |what: &str, on_hand: Mass| Some((what.to_owned(), part, on_hand));
        match (self.from, self.to) {
            (Elsewhere, OnHand) => plain("received", part),
            (Lost(_), OnHand) => plain("counted", part),
            (OnHand, Lost(_)) => Some(("counted".to_owned(), -part, -part)),
            (OnHand, InProcess) => plain("charged", -part),
            (OnHand, Cast | CastForOthers) => plain("rod", -part),
            (OnHand, HandedBack) => plain("handed_back", -part),
            (InProcess | Cast | CastForOthers, OnHand) => plain("returned", part),
            (InProcess, Cast) => plain("cast", Mass::ZERO),
            (InProcess, CastForOthers) => plain("cast_for_others", Mass::ZERO),
            (_, PassedOn) => plain("passed_on", if self.from == OnHand { -part } else { Mass::ZERO }),
            (InProcess | Cast | CastForOthers, Lost(sink)) => plain(sink, Mass::ZERO),
            (Lost(sink), InProcess | Cast | CastForOthers) => Some((sink.to_owned(), -part, Mass::ZERO)),
            _ => None,
        }
    }
}

/// What stands at each place, and what came in on the way.
#[derive(Clone, Default)]
struct Sums {
    places: BTreeMap<Place, Mass>,
    gained: Mass,
    counted: Mass,
}

impl Sums {
    fn add(&mut self, moved: &Moved<'_>) {
        *self.places.entry(moved.from).or_default() -= moved.part;
        *self.places.entry(moved.to).or_default() += moved.part;
        *self.places.entry(Place::OnHand).or_default() += moved.gained;
        self.gained += moved.gained;
        match (moved.from, moved.to) {
            (Place::Lost(_), Place::OnHand) => self.counted += moved.part,
            (Place::OnHand, Place::Lost(_)) => self.counted -= moved.part,
            _ => {}
        }
    }
    fn at(&self, place: Place) -> Mass {
        self.places.get(&place).copied().unwrap_or_default()
    }
    /// What was lost in work, by sink. What a count found or missed is no part of it.
    fn lost(&self) -> BTreeMap<&'static str, Mass> {
        let mut out: BTreeMap<&'static str, Mass> = BTreeMap::new();
        for (place, mass) in &self.places {
            if let Place::Lost(sink) = place {
                out.insert(sink, *mass);
            }
        }
        if !self.counted.is_zero() {
            *out.entry(Account::Unexplained.name()).or_default() += self.counted;
        }
        out
    }
}

/// The statement.
///
/// # Errors
/// `malformed`, `not-found`; as the database says.
pub async fn report(read: &mut ReadTx, ctx: &Ctx) -> Result<Value, Problem> {
    let client = find(read, Kind::Client, ctx.part("id")).await?;
    let (from, to) = (ask::instant(ctx, "from")?, ask::instant(ctx, "to")?);
    let movements = owned::movements(read, client).await?;
    let numbers = |pick: fn(Account) -> Option<Seq>| -> Vec<Seq> {
        movements.iter().flat_map(|m| [m.from, m.to]).filter_map(pick).collect::<BTreeSet<_>>().into_iter().collect()
    };
    let lots = numbers(|a| if let Account::Lot(seq) = a { Some(seq) } else { None });
    let castings = numbers(|a| if let Account::Casting(seq) = a { Some(seq) } else { None });
    let (lots, work) = (owned::owners(read, &lots).await?, owned::workers(read, &castings).await?);
    let sight = Sight { client, lots: &lots, work: &work };
    let (mut opening, mut closing) = (Sums::default(), Sums::default());
    let mut lines: Vec<Line> = Vec::new();
    for (movement, parts) in movements.iter().zip(owners(&movements, &lots)) {
        let at = movement.order.at;
        let Some(moved) = moved(&sight, movement, &parts) else { continue };
        if to.is_some_and(|to| at >= to) {
            continue;
        }
        closing.add(&moved);
        if from.is_some_and(|from| at < from) {
            opening.add(&moved);
            continue;
        }
        enter(&mut lines, &moved);
    }
    let shown = show(read, &lines, opening.at(Place::OnHand)).await?;
    let mut out = balance(&opening, &closing);
    out["filters"] = said(ctx, &["from", "to"]);
    out["href"] = format!("/v1/metal-lots?owner_client_id={}", ctx.part("id")).into();
    out["lines"] = shown;
    Ok(out)
}

fn moved<'m>(sight: &Sight<'_>, movement: &'m Movement, parts: &[(Owner, Mass)]) -> Option<Moved<'m>> {
    let part: Mass = parts.iter().filter(|(owner, _)| *owner == sight.client).map(|(_, mass)| *mass).sum();
    let (from, to) = (sight.place(movement.from, movement.from), sight.place(movement.to, movement.from));
    // Metal of others in what goes back into the client's lots is the client's from then on.
    let gained = if to == Place::OnHand && from != Place::OnHand { movement.mass - part } else { Mass::ZERO };
    (!part.is_zero() || !gained.is_zero()).then_some(Moved { movement, part, from, to, gained })
}

/// Enters a movement into the lines: what one record does of one kind is one line.
fn enter(lines: &mut Vec<Line>, moved: &Moved<'_>) {
    let m = moved.movement;
    let about = [m.to, m.from].into_iter().find_map(|account| match account {
        Account::Heat(seq) | Account::Shell(seq) | Account::Casting(seq) => Some(seq),
        _ => None,
    });
    let gained = (!moved.gained.is_zero()).then(|| ("gained".to_owned(), moved.gained, moved.gained));
    for (what, mass, on_hand) in moved.line().filter(|_| !moved.part.is_zero()).into_iter().chain(gained) {
        match lines.iter_mut().rev().take(8).find(|l| l.source == m.source && l.what == what && l.about == about) {
            Some(line) => {
                line.mass += mass;
                line.on_hand += on_hand;
            }
            None => lines.push(Line {
                at: m.order.at,
                order: (m.order.at.ms(), m.order.seq, m.source),
                source: m.source,
                what,
                mass,
                on_hand,
                about,
            }),
        }
    }
}

async fn show(read: &mut ReadTx, lines: &[Line], opening: Mass) -> Result<Value, Problem> {
    let seqs: BTreeSet<Seq> = lines.iter().flat_map(|l| [Some(l.source), l.about]).flatten().collect();
    let records = owned::records(read, &seqs.into_iter().collect::<Vec<_>>()).await?;
    let mut on_hand = opening;
    let mut ordered: Vec<&Line> = lines.iter().collect();
    ordered.sort_by_key(|l| l.order);
    let shown: Vec<Value> = ordered
        .iter()
        .map(|line| {
            on_hand += line.on_hand;
            let mut out =
                json!({"at": line.at.to_string(), "what": line.what, "mass_kg": line.mass.kg(), "on_hand_kg": on_hand.kg()});
            if let Some((kind, id, _)) = records.get(&line.source) {
                let collection = Kind::parse(kind).map_or("", Kind::collection);
                out["record"] = json!({"kind": kind, "id": id.to_string()});
                out["href"] = format!("/v1/{collection}/{id}").into();
            }
            if let Some((kind, id, Some(name))) = line.about.and_then(|seq| records.get(&seq)) {
                out[kind.as_str()] = json!({"id": id.to_string(), "name": name});
            }
            out
        })
        .collect();
    Ok(shown.into())
}

/// The account of the time asked for: what stood at its beginning, what came, where it went,
/// what stands at its end.
fn balance(opening: &Sums, closing: &Sums) -> Value {
    let change = |place: Place| closing.at(place) - opening.at(place);
    let received = -change(Place::Elsewhere);
    let (gained, counted) = (closing.gained - opening.gained, closing.counted - opening.counted);
    let (before, mut lost) = (opening.lost(), closing.lost());
    for (sink, mass) in before {
        *lost.entry(sink).or_default() -= mass;
    }
    lost.retain(|_, mass| !mass.is_zero());
    let all_lost: Mass = lost.values().copied().sum();
    let stands = |sums: &Sums| sums.at(Place::OnHand) + sums.at(Place::InProcess);
    let went = change(Place::Cast)
        + change(Place::CastForOthers)
        + all_lost
        + change(Place::HandedBack)
        + change(Place::PassedOn)
        + stands(closing);
    let came = stands(opening) + received + gained + counted;
    let sinks: Map<String, Value> = lost.iter().map(|(sink, mass)| (format!("{sink}_kg"), mass.kg().into())).collect();
    let standing =
        |sums: &Sums| json!({"on_hand_kg": sums.at(Place::OnHand).kg(), "in_process_kg": sums.at(Place::InProcess).kg()});
    json!({
        "opening": standing(opening), "closing": standing(closing), "received_kg": received.kg(), "counted_kg": counted.kg(),
        "gained_kg": gained.kg(), "cast_kg": change(Place::Cast).kg(), "cast_for_others_kg": change(Place::CastForOthers).kg(),
        "lost_kg": all_lost.kg(), "lost": sinks, "handed_back_kg": change(Place::HandedBack).kg(),
        "passed_on_kg": change(Place::PassedOn).kg(), "closing_difference_mg": (came - went).mg(),
    })
}
