//! `pourbook export`: every table as JSON Lines, and what the columns mean.

use crate::app;
use crate::db::table::{self, Form, Table};
use crate::db::{Db, Options, ReadTx};
use crate::kernel::{Clock, Problem};
use serde::Deserialize;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::io::{BufWriter, Write as _};
use std::path::Path;

/// Tables that stay: who may sign in, and secrets' hashes; answers kept for repeated requests, work of one turn.
const STAY: [&str; 10] = [
    "token",
    "login",
    "session",
    "device",
    "first_run",
    "progress_link",
    "idempotency",
    "fact_due",
    "_sqlx_migrations",
    "backup_done",
];
/// Columns that are written otherwise than as they are stored.
const FORMS: [(&str, &str, Form); 3] =
    [("record", "id", Form::Uuid), ("journal", "body", Form::Json), ("setting", "value", Form::Json)];
/// How many rows are held at once.
pub const AT_ONCE: i64 = 2000;

/// The words of `data/dictionary.toml`.
#[derive(Deserialize)]
struct Words {
    tables: BTreeMap<String, String>,
    columns: BTreeMap<String, String>,
}

impl Words {
    fn column(&self, table: &str, column: &str) -> Option<(String, &String)> {
        [format!("{table}.{column}"), column.to_owned()].into_iter().find_map(|name| {
            let about = self.columns.get(&name)?;
            Some((name, about))
        })
    }
}

/// The tables of a book that an export has.
async fn tables(read: &mut ReadTx) -> Result<Vec<Table>, Problem> {
    let mut out = table::all(read).await?;
    out.retain(|table| !STAY.contains(&table.name.as_str()));
    Ok(out)
}

/// The dictionary of some tables, and what is in it or in them and not in the other.
fn describe(tables: &[Table], rows: &[usize]) -> Result<(Value, Vec<String>), String> {
    let words: Words = toml::from_str(include_str!("../../data/dictionary.toml")).map_err(|e| e.to_string())?;
    let mut loose: Vec<String> = words.columns.keys().chain(words.tables.keys()).cloned().collect();
    let mut missing = Vec::new();
    let mut described = Vec::new();
    for (table, rows) in tables.iter().zip(rows) {
        let mut columns = Vec::new();
        for column in &table.columns {
            match words.column(&table.name, &column.name) {
                Some((name, about)) => {
                    loose.retain(|l| *l != name);
                    columns.push(json!({"name": column.name, "type": column.kind, "about": about}));
                }
                None => missing.push(format!("{}.{}", table.name, column.name)),
            }
        }
        match words.tables.get(&table.name) {
            Some(about) => {
                loose.retain(|l| *l != table.name);
                let file = format!("{}.jsonl", table.name);
                described.push(json!({"table": table.name, "file": file, "about": about, "rows": rows, "columns": columns}));
            }
            None => missing.push(table.name.clone()),
        }
    }
    missing.extend(loose.into_iter().map(|name| format!("{name} (in no table)")));
    Ok((json!({"tables": described, "left_out": STAY}), missing))
}

/// What of the schema the dictionary does not explain, and what it explains that is not there.
///
/// # Errors
/// As the database says.
pub async fn unexplained(db: &Db) -> Result<Vec<String>, String> {
    let mut read = db.read().await.map_err(|p| p.to_string())?;
    let tables = tables(&mut read).await.map_err(|p| p.to_string())?;
    describe(&tables, &vec![0; tables.len()]).map(|(_, missing)| missing)
}

/// Writes every table of an open book, as of one instant, into a folder: a file of JSON Lines
/// each, ordered by its key, and `dictionary.json`. Holds so many rows `at_once`. Answers how
/// many there are.
///
/// # Errors
/// Where the folder cannot be written to, or is not empty.
pub async fn write(db: &Db, folder: &Path, at_once: i64) -> Result<usize, String> {
    let say = |e: std::io::Error| format!("{}: {e}", folder.display());
    std::fs::create_dir_all(folder).map_err(say)?;
    if std::fs::read_dir(folder).map_err(say)?.next().is_some() {
        return Err(format!("{} is not empty. Give a new folder.", folder.display()));
    }
    let mut read = db.read().await.map_err(|p| p.to_string())?;
    let tables = tables(&mut read).await.map_err(|p| p.to_string())?;
    let mut counts = Vec::with_capacity(tables.len());
    for table in &tables {
        let file = std::fs::File::create(folder.join(format!("{}.jsonl", table.name))).map_err(say)?;
        let mut out = BufWriter::new(file);
        let (mut place, mut count): (Option<Vec<Value>>, usize) = (None, 0);
        loop {
            let (lines, next) = table.page(&mut read, &FORMS, place.as_deref(), at_once).await.map_err(|p| p.to_string())?;
            for line in &lines {
                writeln!(out, "{line}").map_err(say)?;
            }
            count += lines.len();
            let Some(next) = next else { break };
            place = Some(next);
        }
        out.into_inner().map_err(|e| e.to_string())?.sync_all().map_err(say)?;
        counts.push(count);
    }
    let (dictionary, _) = describe(&tables, &counts)?;
    let text = serde_json::to_string_pretty(&dictionary).map_err(|e| e.to_string())?;
    std::fs::write(folder.join("dictionary.json"), text + "\n").map_err(say)?;
    Ok(counts.iter().sum())
}

/// Exports a book; safe while it is served.
///
/// # Errors
/// What is wrong, in words.
pub async fn run(data: &Path, folder: &Path) -> Result<(), String> {
    if !data.join("pourbook.db").is_file() {
        return Err(format!("There is no book in {}.", data.display()));
    }
    let options = Options { exclusive: false, ..Options::default() };
    let db = Db::open(data, options, Clock::system()?, app::SETTLERS).await?;
    let rows = write(&db, folder, AT_ONCE).await;
    db.close().await;
    app::say(format_args!("{} rows are in {}; dictionary.json says what their columns mean.", rows?, folder.display()))
}
