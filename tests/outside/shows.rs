//! What the demonstration shop shows: the bad spell on its chart, explained; and of corrections,
//! that an old charge put right moves what came after it, and a heat is voided with all that rests
//! on it, as the outside account says.

use super::{Held, look, said};
use pourbook::db::{Db, Read as _};
use pourbook::demo::{Caller, Who};
use pourbook::kernel::Clock;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::Path;

/// Charges out of a pool, oldest first, into heats that were charged from elsewhere too.
const OLD_CHARGE: &str = "SELECT c.id, e.m1_mg, c.at_ms FROM ledger_line e \
    JOIN record c ON c.seq = e.record_seq AND c.void_ms IS NULL JOIN metal_lot l ON l.seq = e.lot_seq AND l.kind = 'returns' \
    WHERE e.event = 'charge' AND e.m1_mg > 10000000 AND (SELECT count(*) FROM ledger_line o JOIN record r ON r.seq = o.record_seq \
      AND r.void_ms IS NULL WHERE o.heat_seq = e.heat_seq AND o.event = 'charge') > 1 ORDER BY c.at_ms, c.seq LIMIT 1 OFFSET 2";

/// Two years before the shop's book ends.
const TWO_YEARS_OLD: i64 = 1_730_566_800_000;

/// Heats that were pigged into a pool which was drawn on later, oldest first.
const PIGGED: &str = "SELECT DISTINCT h.id FROM movement m JOIN record h ON h.seq = m.from_seq AND h.void_ms IS NULL \
    WHERE m.from_kind = 2 AND m.to_kind = 1 AND m.mass_mg > 0 AND m.unit_heat IS NOT NULL AND EXISTS \
      (SELECT 1 FROM movement d WHERE d.from_kind = 1 AND d.from_seq = m.to_seq AND d.to_kind = 2 AND d.at_ms > m.at_ms) \
    ORDER BY m.at_ms LIMIT 1 OFFSET 36";

/// What rests on each casting.
async fn resting(db: &Db) -> BTreeMap<i64, i64> {
    let mut read = db.read().await.unwrap();
    let rows = read.fetch("SELECT casting_seq, resting_minor FROM ledger_casting", vec![]).await.unwrap();
    rows.iter().map(|row| (row.int(0).unwrap(), row.int(1).unwrap())).collect()
}

async fn ask(caller: &mut Caller, method: &str, path: &str, body: Option<&Value>) -> (u16, Value) {
    caller.ask(Who::Owner, method, path, body).await.unwrap()
}

async fn closes(caller: &mut Caller) -> Value {
    let (status, balance) = ask(caller, "GET", "/v1/metal/balance", None).await;
    assert_eq!(status, 200, "{balance}");
    assert_eq!(balance["closing_difference"], json!({"mass_mg": 0, "value_minor": 0}), "{balance:#}");
    balance
}

/// Corrects a charge of two years ago.
async fn an_old_charge(db: &Db, caller: &mut Caller, document: &Path) {
    let mut read = db.read().await.unwrap();
    let row = read.fetch_one(OLD_CHARGE, vec![]).await.unwrap().unwrap();
    drop(read);
    let (charge, mg) = (row.uuid(0).unwrap(), row.int(1).unwrap());
    assert!(row.int(2).unwrap() < TWO_YEARS_OLD);
    let before = resting(db).await;
    #[expect(clippy::cast_precision_loss, reason = "a few kilograms in mg")]
    let kg = |mg: i64| mg as f64 / 1e6;
    let path = format!("/v1/charges/{charge}");
    for to in [mg - 300_000, mg] {
        let body = json!({"mass_kg": kg(to), "reason": "read off the wrong line of the scale"});
        let (status, answer) = ask(caller, "PATCH", &path, Some(&body)).await;
        assert_eq!(status, 200, "{answer}");
        let (found, _, _) = look(db, document).await;
        assert!(found.is_empty(), "a charge of {to} mg: {}", said(&found));
        closes(caller).await;
        let after = resting(db).await;
        let moved = before.iter().filter(|(seq, value)| after.get(seq) != Some(value)).count();
        println!("with {to} mg for {mg}, what rests on {moved} of {} castings is another", before.len());
        assert_eq!(moved > 50, to != mg, "{moved}");
    }
}

/// Voids a heat whose pigged metal was charged elsewhere.
async fn a_heat(db: &Db, caller: &mut Caller, document: &Path) {
    let mut read = db.read().await.unwrap();
    let row = read.fetch_one(PIGGED, vec![]).await.unwrap().unwrap();
    drop(read);
    let path = format!("/v1/heats/{}/void", row.uuid(0).unwrap());
    let before: Held = look(db, document).await.2;
    let reason = "logged twice";
    let (status, refused) = ask(caller, "POST", &path, Some(&json!({"reason": reason}))).await;
    assert_eq!((status, &refused["type"]), (409, &json!("/problems/in-use")), "{refused:#}");
    assert!(!refused["dependents"].as_array().unwrap().is_empty(), "{refused:#}");
    let (status, shown) = ask(caller, "POST", &path, Some(&json!({"reason": reason, "cascade": true, "dry_run": true}))).await;
    assert_eq!(status, 200, "{shown:#}");
    assert_eq!(look(db, document).await.2, before, "a dry run changed something");
    let (status, done) = ask(caller, "POST", &path, Some(&json!({"reason": reason, "cascade": true}))).await;
    assert_eq!(status, 200, "{done:#}");
    assert_eq!(done["voided"], shown["voided"]);
    let voided = done["voided"].as_array().unwrap();
    let heats = voided.iter().filter(|v| v["kind"] == "heat").count();
    println!("{} records voided, {heats} heats among them", voided.len());
    assert!(heats > 1, "no other heat was charged with its metal: {done:#}");
    let (found, _, held) = look(db, document).await;
    assert!(found.is_empty(), "{}", said(&found));
    assert_ne!(held, before);
    closes(caller).await;
}

/// The chart of leaks has one signal, in the month of the bad tank; its words and notes explain it.
pub async fn the_bad_spell(db: &Db) {
    let mut caller = Caller::new(db, &Clock::system().unwrap()).await.unwrap();
    let (status, chart) = ask(&mut caller, "GET", "/v1/reports/chart?outcome=leak", None).await;
    assert_eq!(status, 200, "{chart}");
    let signals: Vec<(&Value, &Value)> = chart["points"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|point| point["signals"].as_array().unwrap().iter().map(move |signal| (&point["label"], signal)))
        .collect();
    let [(month, signal)] = signals[..] else { panic!("{signals:#?}") };
    assert_eq!((month, &signal["signal"]), (&json!("2026-05"), &json!("above_upper")), "{signal}");
    let words = signal["words"].as_str().unwrap();
    assert!(words.starts_with("May 2026: ") && words.ends_with("would be no surprise."), "{words}");
    let (_, tanks) = ask(&mut caller, "GET", "/v1/slurry-batches?limit=200", None).await;
    let noted = |tank: &&Value| tank["notes"].as_str().is_some_and(|notes| notes.contains("Gelled"));
    assert_eq!(tanks["items"].as_array().unwrap().iter().filter(noted).count(), 1);
}

/// All of it.
pub async fn corrections(db: &Db, document: &Path) {
    let mut caller = Caller::new(db, &Clock::system().unwrap()).await.unwrap();
    an_old_charge(db, &mut caller, document).await;
    a_heat(db, &mut caller, document).await;
}
