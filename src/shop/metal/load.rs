//! Clusters as `science::ledger` takes them, read from the book in one call.

use super::store::{self, CLUSTER};
use crate::db::{Read, Row, WriteTx};
use crate::kernel::{Mass, Money, Order, Problem, Seq};
use crate::science::ledger::history::{Casting, Closing, Event, Gone, Heat, Pooled, Poured, Rod, Shell, Verdict};
use crate::science::ledger::{Entry, History, Movement};
use crate::shop::house::trade::{self, Trade};
use crate::shop::{casting, commission};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};

/// The metal of a heat.
#[derive(Clone, Debug, Default)]
pub struct HeatMetal {
    /// What it is poured as.
    pub alloy: String,
    /// The clients whose metal is in it.
    pub owners: Vec<Seq>,
    /// Whether nothing but returns was charged, or scrap that nobody knows.
    pub scrap_charge: bool,
}

/// Clusters with what is stored of them.
#[derive(Clone, Debug, Default)]
pub struct Loaded {
    /// Heats, shells and entries of the clusters, and lots' entries asked for.
    pub history: History,
    /// Heats of the same crucibles that may give or take a heel: (order, crucible), and
    /// their closings with a heel.
    pub neighbours: History,
    /// The stored movements of the clusters' records.
    pub movements: Vec<Movement>,
    /// Every record that the clusters' movements may belong to.
    pub sources: BTreeSet<Seq>,
    /// What records were said in spite of: their codes with commas.
    pub despite: BTreeMap<Seq, String>,
    /// What is known of each heat's metal.
    pub heat_metal: BTreeMap<Seq, HeatMetal>,
    /// The alloy each casting was ordered in, and its client.
    pub casting_metal: BTreeMap<Seq, (String, Option<Seq>)>,
    /// Heats that took a heel of these heats, by what is stored.
    pub takers: BTreeSet<Seq>,
    /// Which heat took the heel of each neighbour, as stored.
    pub given: BTreeMap<Seq, Seq>,
    /// How precisely the time of each record is known.
    pub precise: BTreeMap<Seq, bool>,
    /// The pool that each transfer goes into.
    takings: BTreeMap<Seq, Seq>,
    /// Shells whose gating, and castings whose pattern, must be looked up for an estimate.
    gatings: BTreeMap<Seq, (Option<i64>, Option<f64>, String)>,
}

/// Loads the clusters that touch some heats, shells and castings; `records` are looked at
/// too, whatever they are on. A delivery may take castings of several clusters with it: all
/// of them are loaded, since a record's movements are written together.
///
/// # Errors
/// As the database says.
pub async fn load<R: Read>(
    read: &mut R,
    heats: &[Seq],
    shells: &[Seq],
    castings: &[Seq],
    records: &[Seq],
) -> Result<Loaded, Problem> {
    let mut castings = castings.to_vec();
    loop {
        let loaded = load_once(read, heats, shells, &castings, records).await?;
        let inside: BTreeSet<Seq> = loaded.history.shells.iter().flat_map(|s| &s.castings).map(|c| c.seq).collect();
        let delivered = loaded
            .history
            .entries
            .iter()
            .filter_map(|e| if let Event::Deliver { castings } = &e.event { Some(castings) } else { None });
        let beyond: BTreeSet<Seq> =
            delivered.flatten().copied().filter(|c| !inside.contains(c) && !castings.contains(c)).collect();
        if beyond.is_empty() {
            return Ok(loaded);
        }
        castings.extend(beyond);
    }
}

async fn load_once<R: Read>(
    read: &mut R,
    heats: &[Seq],
    shells: &[Seq],
    castings: &[Seq],
    records: &[Seq],
) -> Result<Loaded, Problem> {
    let list = |seqs: &[Seq]| json!(seqs).to_string().into();
    let rows = read.fetch(CLUSTER, vec![list(heats), list(shells), list(castings), list(castings), list(records)]).await?;
    let mut loaded = Loaded::default();
    let mut inside: BTreeMap<Seq, Vec<(String, Casting)>> = BTreeMap::new();
    let mut gating: BTreeMap<Seq, Mass> = BTreeMap::new();
    let mut deliveries: BTreeMap<Order, Vec<Seq>> = BTreeMap::new();
    for row in &rows {
        match row.int(0)? {
            1 => {
                let (owners, codes, scrap_charge): (Vec<Seq>, Option<String>, i64) =
                    serde_json::from_str(&row.text(15)?).map_err(Problem::internal)?;
                if let Some(codes) = codes {
                    loaded.despite.insert(row.int(1)?, codes);
                }
                let metal = HeatMetal { alloy: row.text(14)?, owners, scrap_charge: scrap_charge != 0 };
                loaded.heat_metal.insert(row.int(1)?, metal);
                loaded.history.heats.push(Heat { order: Order::new(row.int(2)?, row.int(1)?), crucible: row.opt_int(3)? });
            }
            2 => {
                gating.insert(row.int(1)?, Mass::from_mg(row.int(3)?));
                loaded.gatings.insert(row.int(1)?, (row.opt_int(2)?, row.opt_real(13)?, row.text(14)?));
            }
            3 => {
                let casting = Casting { seq: row.int(1)?, tag_rank: 0, estimate: Mass::from_mg(row.int(3)?) };
                loaded.casting_metal.insert(casting.seq, (row.text(14)?, row.opt_int(4)?));
                inside.entry(row.int(2)?).or_default().push((row.text(15)?, casting));
            }
            4 => {
                loaded.sources.insert(row.int(1)?);
                entry(row, &mut loaded, &mut deliveries)?;
            }
            5 => {
                let (movement, _) = store::movement(row)?;
                loaded.sources.insert(movement.source);
                loaded.movements.push(movement);
            }
            6 => heel_giver(row, &mut loaded)?,
            7 => loaded.neighbours.heats.push(Heat { order: Order::new(row.int(2)?, row.int(1)?), crucible: row.opt_int(3)? }),
            8 => {
                loaded.takers.insert(row.int(1)?);
            }
            other => return Err(Problem::internal(format!("row {other} of a cluster"))),
        }
    }
    for entry in &mut loaded.history.entries {
        if let (Event::LotTransfer { to, .. }, Some(lot)) = (&mut entry.event, loaded.takings.get(&entry.order.seq)) {
            *to = *lot;
        }
    }
    for (order, castings) in deliveries {
        loaded.history.entries.push(Entry { order, part: 0, event: Event::Deliver { castings } });
    }
    for (shell, gating) in gating {
        let mut castings = inside.remove(&shell).unwrap_or_default();
        castings.sort_by(|a, b| a.0.cmp(&b.0));
        let castings = (0_i64..).zip(castings).map(|(tag_rank, (_, c))| Casting { tag_rank, ..c }).collect();
        loaded.history.shells.push(Shell { seq: shell, castings, gating });
    }
    loaded.sources.extend(loaded.history.heats.iter().map(|h| h.order.seq));
    Ok(loaded)
}

fn heel_giver(row: &Row, loaded: &mut Loaded) -> Result<(), Problem> {
    let closing =
        Closing { heat: row.int(1)?, pigged: None, dross: None, spilled: None, heel: row.opt_int(4)?.map(Mass::from_mg) };
    let order = Order::new(row.int(2)?, row.int(3)?);
    loaded.neighbours.entries.push(Entry { order, part: 0, event: Event::Closing(closing) });
    if let Some(taker) = row.opt_int(6)? {
        loaded.given.insert(row.int(1)?, taker);
    }
    Ok(())
}

fn entry(row: &Row, loaded: &mut Loaded, deliveries: &mut BTreeMap<Order, Vec<Seq>>) -> Result<(), Problem> {
    let mass = |i: usize| -> Result<Option<Mass>, Problem> { Ok(row.opt_int(i)?.map(Mass::from_mg)) };
    let seq = |i: usize| -> Result<Seq, Problem> { Ok(row.opt_int(i)?.unwrap_or(-1)) };
    let record = row.int(1)?;
    let more: Vec<Value> = serde_json::from_str(&row.text(15)?).map_err(Problem::internal)?;
    let word = more.first().and_then(Value::as_str).unwrap_or("");
    if let Some(codes) = more.get(3).and_then(Value::as_str) {
        loaded.despite.insert(record, codes.to_owned());
    }
    loaded.precise.insert(record, more.get(4).and_then(Value::as_str) == Some("minute"));
    let order = Order::new(row.int(2)?, record);
    let (heat, shell, casting, lot, pour) = (seq(4)?, seq(5)?, seq(6)?, seq(7)?, seq(8)?);
    let [m1, m2, m3, m4] = [mass(9)?, mass(10)?, mass(11)?, mass(12)?];
    let pooled = |m: Option<Mass>| m.filter(|m| !m.is_zero()).map(|mass| Pooled { mass, lot });
    let event = match row.text(14)?.as_str() {
        "in" => Event::LotIn {
            lot,
            mass: m1.unwrap_or_default(),
            value: Money::from_minor(more.get(1).and_then(Value::as_i64).unwrap_or(0)),
        },
        "out" => {
            Event::LotOut { lot, mass: m1.unwrap_or_default(), to: if word == "sold" { Gone::Sold } else { Gone::WrittenOff } }
        }
        "count" => Event::LotCount { lot, level: m1.unwrap_or_default() },
        // The taker follows as the next part.
        "transfer" => Event::LotTransfer { from: lot, to: -1, mass: m1.unwrap_or_default() },
        "taker" => {
            loaded.takings.insert(record, lot);
            return Ok(());
        }
        "charge" => Event::Charge { heat, lot, mass: m1.unwrap_or_default() },
        "pour" => Event::Pour {
            heat,
            shell,
            poured: match (m1, word) {
                (Some(mass), "estimated") => Poured::Estimated(mass),
                (Some(mass), _) => Poured::Weighed(mass),
                (None, _) => Poured::Blank,
            },
        },
        // Happens at the order of its pour, but is named by its own record.
        "leak" => Event::Leak { pour, lost: m1.unwrap_or_default(), swept: pooled(m2) },
        "closing" => Event::Closing(Closing { heat, pigged: pooled(m1), dross: m2, spilled: m3, heel: m4 }),
        "net" => Event::Net { casting, net: m1, returned: pooled(m2) },
        "judged" => Event::Judged { casting, verdict: verdict(word, lot) },
        "gross" => Event::Gross { shell, gross: m1.unwrap_or_default() },
        "scrap" => Event::Scrap { casting, returned: m1, lot, kept: word == "kept" },
        "finish" => Event::Finish { casting },
        "work" => Event::Work { casting, rod: m1.map(|mass| Rod { mass, lot: (lot >= 0).then_some(lot) }), mass_after: m2 },
        "deliver" => {
            deliveries.entry(order).or_default().push(casting);
            return Ok(());
        }
        other => return Err(Problem::internal(format!("ledger line {other}"))),
    };
    let part = u32::try_from(row.int(3)?).map_err(Problem::internal)?;
    loaded.history.entries.push(Entry { order, part, event });
    Ok(())
}

fn verdict(word: &str, lot: Seq) -> Verdict {
    match word {
        "accepted" => Verdict::Accepted,
        "repair" => Verdict::Repair,
        "scrap" => Verdict::Scrap { lot, kept: false },
        "scrap_kept" => Verdict::Scrap { lot, kept: true },
        _ => Verdict::NotJudged,
    }
}

/// Estimates anew the metal of every shell and casting loaded, and writes it. Done when a
/// shell, a wax or a piece was written; else what is stored holds.
///
/// # Errors
/// As the database says.
pub async fn estimate(tx: &mut WriteTx, loaded: &mut Loaded) -> Result<(), Problem> {
    if loaded.history.shells.is_empty() {
        return Ok(());
    }
    let trade = trade::of(tx).await?;
    let seqs: Vec<Seq> = loaded.history.shells.iter().flat_map(|s| s.castings.iter().map(|c| c.seq)).collect();
    let rows = casting::by_seqs(tx, &seqs).await?;
    let clients = commission::clients(tx, &rows.iter().map(|r| r.commission_seq).collect::<Vec<_>>()).await?;
    let (mut castings, mut gatings) = (Vec::new(), Vec::new());
    for shell in &mut loaded.history.shells {
        let mut inside: Vec<&casting::CastingRow> =
            rows.iter().filter(|r| shell.castings.iter().any(|c| c.seq == r.seq)).collect();
        inside.sort_by(|a, b| a.tag.cmp(&b.tag));
        let alloy = inside.first().map_or("", |c| c.alloy.as_str());
        if let Some((wax, cm3, material)) = loaded.gatings.get(&shell.seq) {
            shell.gating = metal_of(&trade, alloy, material, *wax, *cm3);
        }
        gatings.push(json!([shell.seq, shell.gating.mg()]));
        shell.castings = (0_i64..)
            .zip(&inside)
            .map(|(tag_rank, c)| Casting { seq: c.seq, tag_rank, estimate: of_casting(&trade, c) })
            .collect();
        for c in &inside {
            let client = clients.iter().find(|(seq, _)| *seq == c.commission_seq).and_then(|(_, client)| *client);
            castings.push(json!([c.seq, c.tag, c.alloy, client, of_casting(&trade, c).mg()]));
            loaded.casting_metal.insert(c.seq, (c.alloy.clone(), client));
        }
    }
    store::write_estimates(tx, &castings, &gatings);
    Ok(())
}

fn of_casting(trade: &Trade, c: &casting::CastingRow) -> Mass {
    match c.wax_mg {
        Some(wax) => metal_of(trade, &c.alloy, wax_material(&c.material), Some(wax), None),
        None => metal_of(trade, &c.alloy, &c.material, c.mass_mg, c.volume_cm3),
    }
}

/// A weighed wax of a pattern that is itself of wax is of that wax; of any other pattern,
/// of casting wax.
fn wax_material(pattern: &str) -> &str {
    if pattern.starts_with("wax") { pattern } else { "wax_casting" }
}

/// Metal that fills a pattern: mass × ρ(alloy) ÷ ρ(pattern), or volume × ρ(alloy).
/// A density that is not on file counts as 8.36 g/cm³ (silicon bronze) for the alloy and
/// 0.95 g/cm³ (casting wax) for the pattern: only the shares among castings hang on it.
#[must_use]
pub fn metal_of(trade: &Trade, alloy: &str, material: &str, mass_mg: Option<i64>, volume_cm3: Option<f64>) -> Mass {
    let metal = trade.alloy(alloy).and_then(|a| a.density_g_cm3).unwrap_or(8.36);
    let pattern = trade.pattern_material(material).and_then(|m| m.density_g_cm3).unwrap_or(0.95);
    #[expect(clippy::cast_precision_loss, clippy::cast_possible_truncation, reason = "an estimate, bounded by Mass::MAX")]
    let mg = match (mass_mg, volume_cm3) {
        (Some(mass), _) => (mass as f64 * metal / pattern).round() as i64,
        (None, Some(volume)) => (volume * metal * 1000.0).round() as i64,
        (None, None) => 0,
    };
    Mass::from_mg(mg.clamp(0, Mass::MAX.mg()))
}
