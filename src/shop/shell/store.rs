//! SQL of recipes and shells.

use crate::db::{Ask, Cell, Read, WriteTx};
use crate::kernel::{Instant, Problem, Seq};
use serde_json::{Value, json};
use uuid::Uuid;

/// A version of a recipe.
#[derive(Clone, Debug)]
pub struct VersionRow {
    /// Its number in the book.
    pub seq: Seq,
    /// Its id.
    pub id: Uuid,
    /// Its number among the versions.
    pub version: i64,
    /// From when.
    pub at: Instant,
}

/// The live versions of a recipe, oldest first.
pub async fn versions<R: Read>(read: &mut R, recipe: Seq) -> Result<Vec<VersionRow>, Problem> {
    let rows = read
        .fetch(
            "SELECT v.seq, r.id, v.version, r.at_ms FROM recipe_version v JOIN record r ON r.seq = v.seq \
             WHERE v.recipe_seq = ? AND r.void_ms IS NULL ORDER BY r.at_ms, v.seq",
            vec![Cell::Int(recipe)],
        )
        .await?;
    rows.iter()
        .map(|row| Ok(VersionRow { seq: row.int(0)?, id: row.uuid(1)?, version: row.int(2)?, at: Instant::from_ms(row.int(3)?) }))
        .collect()
}

/// The highest version number a recipe ever had, void ones too.
pub async fn last_version<R: Read>(read: &mut R, recipe: Seq) -> Result<i64, Problem> {
    let row = read
        .fetch_one("SELECT coalesce(max(version), 0) FROM recipe_version WHERE recipe_seq = ?", vec![Cell::Int(recipe)])
        .await?;
    row.map_or(Ok(0), |row| row.int(0))
}

/// The recipe and the version number that a record has already.
pub async fn version_of<R: Read>(read: &mut R, seq: Seq) -> Result<Option<(Seq, i64)>, Problem> {
    let row = read.fetch_one("SELECT recipe_seq, version FROM recipe_version WHERE seq = ?", vec![Cell::Int(seq)]).await?;
    row.map(|row| Ok((row.int(0)?, row.int(1)?))).transpose()
}

/// The tag a shell has already.
pub async fn tag_of<R: Read>(read: &mut R, seq: Seq) -> Result<Option<String>, Problem> {
    let row = read.fetch_one("SELECT tag FROM shell WHERE seq = ?", vec![Cell::Int(seq)]).await?;
    row.map(|row| row.text(0)).transpose()
}

/// Says which castings a shell holds.
pub fn set_castings(tx: &mut WriteTx, shell: Seq, castings: &[Seq]) {
    tx.push("DELETE FROM shell_casting WHERE shell_seq = ?", vec![Cell::Int(shell)]);
    tx.push(
        "INSERT INTO shell_casting (shell_seq, casting_seq) SELECT ?, value FROM json_each(?)",
        vec![shell.into(), json!(castings).to_string().into()],
    );
}

/// Checks of some slurry batches and of those that some coats are from, and with them the
/// coats of those batches and these coats: batch, instant, and the coat's number (0 for a
/// check).
pub async fn batch_lines<R: Read>(read: &mut R, batches: &[Seq], coats: &[Seq]) -> Result<Vec<(Seq, Instant, Seq)>, Problem> {
    let (batches, coats) = (json!(batches).to_string(), json!(coats).to_string());
    let rows = read
        .fetch(
            "WITH b(seq) AS MATERIALIZED (SELECT value FROM json_each(?) UNION SELECT c.slurry_batch_seq FROM json_each(?) k \
               CROSS JOIN coat c ON c.seq = k.value AND c.slurry_batch_seq IS NOT NULL), \
             dipped(seq) AS MATERIALIZED (SELECT value FROM json_each(?) UNION SELECT l.record_seq FROM json_each(?) t \
               CROSS JOIN link l ON l.target_seq = t.value AND l.member = 'slurry_batch_id') \
             SELECT k.batch_seq, r.at_ms, 0 FROM b CROSS JOIN slurry_check k ON k.batch_seq = b.seq \
               CROSS JOIN record r ON r.seq = k.seq AND r.void_ms IS NULL \
             UNION ALL SELECT c.slurry_batch_seq, r.at_ms, c.seq FROM dipped d \
               CROSS JOIN coat c ON c.seq = d.seq AND c.slurry_batch_seq IS NOT NULL \
               CROSS JOIN record r ON r.seq = c.seq AND r.void_ms IS NULL ORDER BY 1, 2, 3",
            vec![batches.as_str().into(), coats.as_str().into(), coats.as_str().into(), batches.as_str().into()],
        )
        .await?;
    rows.iter().map(|row| Ok((row.int(0)?, Instant::from_ms(row.int(1)?), row.int(2)?))).collect()
}

/// What is shown of shells beside their bodies.
pub async fn shown<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<(Seq, Value)>, Problem> {
    let rows = read
        .fetch(
            "SELECT s.seq, json_object('tag', s.tag, 'version', (SELECT version FROM recipe_version v WHERE v.seq = s.recipe_version_seq), \
             'recipe', (SELECT name FROM recipe q WHERE q.seq = s.recipe_seq)) \
             FROM json_each(?) k JOIN shell s ON s.seq = k.value",
            vec![json!(seqs).to_string().into()],
        )
        .await?;
    rows.iter().map(|row| Ok((row.int(0)?, serde_json::from_str(&row.text(1)?).map_err(Problem::internal)?))).collect()
}

/// Version numbers.
pub async fn version_numbers<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<(Seq, i64)>, Problem> {
    let rows = read
        .fetch(
            "SELECT v.seq, v.version FROM json_each(?) k JOIN recipe_version v ON v.seq = k.value",
            vec![json!(seqs).to_string().into()],
        )
        .await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.int(1)?))).collect()
}

/// The shells that used a version.
pub async fn shells_of_version<R: Read>(read: &mut R, version: Seq) -> Result<Vec<Seq>, Problem> {
    let rows = read.fetch("SELECT seq FROM shell WHERE recipe_version_seq = ?", vec![Cell::Int(version)]).await?;
    rows.iter().map(|row| row.int(0)).collect()
}

/// The tag and the recipe's name of some shells.
///
/// # Errors
/// As the database says.
pub async fn names<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<(Seq, String, String)>, Problem> {
    let sql = "SELECT s.seq, s.tag, q.name FROM json_each(?) k CROSS JOIN shell s ON s.seq = k.value \
               CROSS JOIN recipe q ON q.seq = s.recipe_seq";
    let rows = read.fetch(sql, vec![json!(seqs).to_string().into()]).await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.text(1)?, row.text(2)?))).collect()
}

/// The live recipes of a name, as it is written.
///
/// # Errors
/// As the database says.
pub async fn recipes_called<R: Read>(read: &mut R, name: &str) -> Result<Vec<(Seq, Uuid)>, Problem> {
    let sql =
        "SELECT q.seq, r.id FROM recipe q CROSS JOIN record r ON r.seq = q.seq AND r.void_ms IS NULL WHERE q.name = ? LIMIT 2";
    read.fetch(sql, vec![name.into()]).await?.iter().map(|row| Ok((row.int(0)?, row.uuid(1)?))).collect()
}

/// What some recipes and versions are called: `Grey shell`, `Grey shell, version 2`.
///
/// # Errors
/// As the database says.
pub async fn recipe_names<R: Read>(read: &mut R, seqs: &[Seq]) -> Result<Vec<(Seq, String)>, Problem> {
    let sql = "SELECT q.seq, q.name FROM json_each(?) k CROSS JOIN recipe q ON q.seq = k.value \
               UNION ALL SELECT v.seq, q.name || ', version ' || v.version FROM json_each(?) k \
               CROSS JOIN recipe_version v ON v.seq = k.value CROSS JOIN recipe q ON q.seq = v.recipe_seq";
    let list = json!(seqs).to_string();
    let rows = read.fetch(sql, vec![list.as_str().into(), list.as_str().into()]).await?;
    rows.iter().map(|row| Ok((row.int(0)?, row.text(1)?))).collect()
}

/// What a coat of any shell last said since an instant: slurry, viscosity, room. Null where
/// none did.
///
/// # Errors
/// As the database says.
pub async fn last_reading<R: Read>(read: &mut R, since: Instant) -> Result<Value, Problem> {
    let sql = "SELECT j.body FROM record r CROSS JOIN journal j ON j.n = r.journal_n \
               WHERE r.kind = 'coat' AND r.at_ms >= ? AND r.void_ms IS NULL ORDER BY r.at_ms DESC, r.seq DESC LIMIT 1";
    let row = read.fetch_one(sql, vec![since.into()]).await?;
    row.map_or(Ok(Value::Null), |row| serde_json::from_str(&row.text(0)?).map_err(Problem::internal))
}

/// The tags of shells by their ids, as an answer writes them.
///
/// # Errors
/// As the database says.
pub async fn tags_of<R: Read>(read: &mut R, ids: &[String]) -> Result<Vec<(String, String)>, Problem> {
    let sql = "SELECT k.value, s.tag FROM json_each(?) k CROSS JOIN record r ON r.id = unhex(replace(k.value, '-', '')) \
               CROSS JOIN shell s ON s.seq = r.seq";
    let rows = read.fetch(sql, vec![json!(ids).to_string().into()]).await?;
    rows.iter().map(|row| Ok((row.text(0)?, row.text(1)?))).collect()
}

/// The tanks in use that were last checked, or mixed and never checked, before an instant: id, name,
/// when that was in milliseconds, nothing. Longest ago first.
#[must_use]
pub fn unchecked(before: Instant) -> Ask {
    Ask {
        sql: "SELECT r.id, b.name, max(r.at_ms, coalesce((SELECT max(q.at_ms) FROM slurry_check k CROSS JOIN record q ON q.seq = k.seq \
                AND q.void_ms IS NULL WHERE k.batch_seq = b.seq), 0)) AS last, NULL \
              FROM slurry_batch b INDEXED BY slurry_batch_in_use CROSS JOIN record r ON r.seq = b.seq AND r.void_ms IS NULL \
              WHERE b.retired_on IS NULL AND last < ? ORDER BY last LIMIT 50",
        args: vec![before.into()],
    }
}
