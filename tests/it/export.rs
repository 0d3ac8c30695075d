//! The export: every table, every row, and a word on every column.

use crate::kit::{TestShop, at, id};
use pourbook::app::export;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

fn files(folder: &Path) -> BTreeMap<String, String> {
    let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap());
    entries.map(|e| (e.file_name().into_string().unwrap(), fs::read_to_string(e.path()).unwrap())).collect()
}

fn lines(text: &str) -> Vec<Value> {
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

#[tokio::test]
async fn every_column_is_explained_and_no_other() {
    let shop = TestShop::open(1).await;
    assert_eq!(export::unexplained(&shop.db).await.unwrap(), Vec::<String>::new());
}

#[tokio::test]
async fn what_is_exported_is_what_is_in_the_book() {
    let shop = TestShop::open(1).await;
    let (casting, shell, heat, _) = shop.poured().await;
    shop.breakout(&casting, &json!({})).await;
    shop.post("/v1/settings", &json!({"name": "shell_dry_c", "from_on": "2026-03-01", "value": 210})).await.made();
    let other = shop.shell(&[&shop.casting().await]).await;
    let patch = shop.post(&format!("/v1/shells/{}/patches", id(&other)), &json!({"at": at(3, "13:00")})).await.made();
    let patch = id(&patch);
    shop.void(&format!("/v1/patches/{patch}")).await.is(200);
    let dir = tempfile::tempdir().unwrap();
    let (whole, by_three) = (dir.path().join("whole"), dir.path().join("by three"));
    let rows = export::write(&shop.db, &whole, export::AT_ONCE).await.unwrap();
    assert_eq!(export::write(&shop.db, &by_three, 3).await.unwrap(), rows);
    let written = files(&whole);
    assert_eq!(written, files(&by_three), "however many rows are held at once");
    let refused = export::write(&shop.db, &whole, 3).await.unwrap_err();
    assert!(refused.contains("not empty"), "{refused}");

    let table = |name: &str| lines(&written[&format!("{name}.jsonl")]);
    let dictionary: Value = serde_json::from_str(&written["dictionary.json"]).unwrap();
    let described = dictionary["tables"].as_array().unwrap();
    assert_eq!(described.len() + 1, written.len());
    for one in described {
        let name = one["table"].as_str().unwrap();
        let rows = table(name);
        assert_eq!(json!(rows.len()), one["rows"], "{name}");
        assert_eq!(json!(rows.len()), json!(shop.number(&format!("SELECT count(*) FROM {name}")).await), "{name}");
        let columns: Vec<&str> = one["columns"].as_array().unwrap().iter().map(|c| c["name"].as_str().unwrap()).collect();
        for row in rows {
            assert_eq!(row.as_object().unwrap().keys().map(String::as_str).collect::<Vec<_>>(), columns, "{name}");
        }
    }
    // The heat is the record of that id; the ledger closes in what was written.
    let records = table("record");
    let heat = records.iter().find(|r| r["id"] == heat.as_str()).unwrap();
    assert_eq!(heat["kind"], "heat");
    assert!(records.iter().any(|r| r["id"] == id(&shell).as_str()));
    assert!(records.iter().any(|r| r["id"] == patch.as_str() && r["void_ms"].is_i64()));
    let mut moved: BTreeMap<(i64, i64), i64> = BTreeMap::new();
    let mut held = BTreeMap::new();
    let int = |row: &Value, name: &str| row[name].as_i64().unwrap();
    for m in table("movement") {
        *moved.entry((int(&m, "from_kind"), int(&m, "from_seq"))).or_default() -= int(&m, "mass_mg");
        *moved.entry((int(&m, "to_kind"), int(&m, "to_seq"))).or_default() += int(&m, "mass_mg");
    }
    for a in table("account") {
        held.insert((int(&a, "kind"), int(&a, "seq")), int(&a, "mass_mg"));
    }
    moved.retain(|_, mass| *mass != 0);
    held.retain(|_, mass| *mass != 0);
    assert!(held.len() > 3 && held == moved, "{held:?} {moved:?}");
    assert!(table("journal").iter().any(|line| line["body"]["alloy"] == "C87300"), "bodies are JSON, not text of JSON");
    assert!(table("setting").iter().any(|s| s["value"] == 210));
    // Nothing that lets anyone in.
    assert!(!written.contains_key("token.jsonl"));
    assert_eq!(shop.number("SELECT count(*) FROM token").await.min(1), 1);
}
