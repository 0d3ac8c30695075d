//! Copies that can be trusted, and looking over the file.

use super::open::{Db, tool};
use sqlx::{Connection as _, Executor as _, Row as _};
use std::path::Path;

/// Writes a whole copy of the book to `target`, which must not exist, and looks it over.
/// Safe while the server runs.
///
/// # Errors
/// In words for whoever asked.
pub async fn backup_to(book: &Path, target: &Path) -> Result<(), String> {
    if target.exists() {
        return Err(format!("{} exists already; a backup does not overwrite.", target.display()));
    }
    let text = target.to_str().ok_or("The name of the backup must be plain text.")?.to_owned();
    let mut conn = tool(book).await?;
    sqlx::query("VACUUM INTO ?").bind(text).execute(&mut conn).await.map_err(|e| format!("{}: {e}", target.display()))?;
    let faults = integrity(target).await?;
    if !faults.is_empty() {
        return Err(format!("The copy is damaged: {}", faults.join("; ")));
    }
    // The copy is whole whether or not it can be noted: a note that fails is said, and fails nothing.
    for noted in [note(&mut conn).await, noted_in(target).await] {
        if let Err(why) = noted {
            tracing::warn!("that a copy was made could not be noted: {why}");
        }
    }
    conn.close().await.map_err(|e| e.to_string())
}

/// Notes that a copy was made now.
async fn note(conn: &mut sqlx::SqliteConnection) -> Result<(), String> {
    let noted = sqlx::query("INSERT INTO backup_done (done_ms) VALUES (CAST(unixepoch('now', 'subsec') * 1000 AS INTEGER))");
    noted.execute(conn).await.map(|_| ()).map_err(|e| e.to_string())
}

/// Notes it in the copy too: a book that is restored knows of it.
async fn noted_in(copy: &Path) -> Result<(), String> {
    let mut conn = tool(copy).await?;
    note(&mut conn).await?;
    conn.close().await.map_err(|e| e.to_string())
}

/// When the book was begun and when the last copy of it was made, in milliseconds; nothing where that is
/// not on record.
#[must_use]
pub fn last_copy() -> super::Ask {
    super::Ask {
        sql: "SELECT (SELECT max(done_ms) FROM backup_done), (SELECT at_ms FROM journal WHERE n = 1), NULL, NULL",
        args: Vec::new(),
    }
}

/// What SQLite finds wrong with the file: nothing, when it is sound.
///
/// # Errors
/// When the file cannot be read at all.
pub async fn integrity(path: &Path) -> Result<Vec<String>, String> {
    let mut conn = tool(path).await?;
    let say = |e: sqlx::Error| format!("{}: {e}", path.display());
    let mut faults = Vec::new();
    for row in conn.fetch_all("PRAGMA integrity_check").await.map_err(say)? {
        let line: String = row.try_get(0).map_err(say)?;
        if line != "ok" {
            faults.push(line);
        }
    }
    for row in conn.fetch_all("PRAGMA foreign_key_check").await.map_err(say)? {
        let table: String = row.try_get(0).map_err(say)?;
        faults.push(format!("a row of {table} refers to nothing"));
    }
    conn.close().await.map_err(say)?;
    Ok(faults)
}

/// The schema as SQL, one statement a paragraph, in the order of their names.
///
/// # Errors
/// As the database says.
pub async fn schema_dump(db: &Db) -> Result<String, String> {
    let mut conn = tool(db.path()).await?;
    let rows = conn
        .fetch_all("SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL AND name NOT LIKE '\\_sqlx%' ESCAPE '\\' AND name NOT LIKE 'sqlite%' ORDER BY name")
        .await
        .map_err(|e| e.to_string())?;
    let mut out = String::new();
    for row in rows {
        let sql: String = row.try_get(0).map_err(|e| e.to_string())?;
        out.push_str(&sql);
        out.push_str(";\n\n");
    }
    Ok(out)
}

/// Puts a copy in place of the book in `data`, after looking it over; the book that was
/// there is kept beside it, under the name answered. No server may have it open.
///
/// # Errors
/// In words for whoever asked; then nothing was changed.
pub async fn restore_from(copy: &Path, data: &Path) -> Result<Option<std::path::PathBuf>, String> {
    if !copy.is_file() {
        return Err(format!("{} is not a file.", copy.display()));
    }
    std::fs::create_dir_all(data).map_err(|e| format!("{}: {e}", data.display()))?;
    let _lock = super::open::lock(data)?;
    let say = |e: std::io::Error| format!("{}: {e}", data.display());
    let staged = data.join("pourbook.db.restoring");
    std::fs::copy(copy, &staged).map_err(say)?;
    let sound = looked_over(&staged).await;
    for tail in ["-wal", "-shm"] {
        let beside = data.join(format!("pourbook.db.restoring{tail}"));
        if beside.exists() {
            std::fs::remove_file(&beside).map_err(say)?;
        }
    }
    if let Err(said) = sound {
        std::fs::remove_file(&staged).map_err(say)?;
        return Err(format!("{} is not a sound copy of a book: {said}", copy.display()));
    }
    std::fs::File::open(&staged).and_then(|f| f.sync_all()).map_err(say)?;
    let book = data.join("pourbook.db");
    let mut kept = None;
    if book.exists() {
        let n = (1..10_000).find(|n| !data.join(format!("pourbook.db.before-restore-{n}")).exists()).unwrap_or(10_000);
        let aside = data.join(format!("pourbook.db.before-restore-{n}"));
        // What stands in the log belongs to the book that is set aside.
        for tail in ["-wal", "-shm"] {
            let beside = data.join(format!("pourbook.db{tail}"));
            if beside.exists() {
                std::fs::rename(&beside, data.join(format!("pourbook.db.before-restore-{n}{tail}"))).map_err(say)?;
            }
        }
        std::fs::rename(&book, &aside).map_err(say)?;
        kept = Some(aside);
    }
    std::fs::rename(&staged, &book).map_err(say)?;
    std::fs::File::open(data).and_then(|f| f.sync_all()).map_err(say)?;
    Ok(kept)
}

async fn looked_over(path: &Path) -> Result<(), String> {
    let mut conn = tool(path).await?;
    let ours: i64 = sqlx::query_scalar("PRAGMA application_id").fetch_one(&mut conn).await.map_err(|e| e.to_string())?;
    conn.close().await.map_err(|e| e.to_string())?;
    if ours != super::open::APPLICATION_ID {
        return Err("it is not a book".into());
    }
    let faults = integrity(path).await?;
    if faults.is_empty() { Ok(()) } else { Err(faults.join("; ")) }
}
