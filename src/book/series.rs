//! Tags, numbers and names: dealt in order, never used twice.

use crate::db::{Cell, Read as _, WriteTx};
use crate::kernel::{Kind, Problem, Seq, Tag};

/// Gives the record being entered a short name.
pub fn bind(tx: &mut WriteTx, space: &str, key: &str, record: Seq) {
    tx.push_late("INSERT INTO handle (space, key, record_seq) VALUES (?, ?, ?)", vec![space.into(), key.into(), record.into()]);
}

/// Takes the next `count` numbers of a series, from 1.
///
/// # Errors
/// As the database says.
pub async fn take(tx: &mut WriteTx, name: &str, count: i64) -> Result<i64, Problem> {
    let row = tx
        .fetch_one(
            "INSERT INTO series (name, next) VALUES (?, 1 + ?) \
             ON CONFLICT (name) DO UPDATE SET next = next + ? RETURNING next",
            vec![name.into(), Cell::Int(count), Cell::Int(count)],
        )
        .await?
        .ok_or_else(|| Problem::internal("a series gave nothing"))?;
    Ok(row.int(0)? - count)
}

/// The next tag, bound to a casting or shell.
///
/// # Errors
/// As the database says.
pub async fn tag(tx: &mut WriteTx, record: Seq) -> Result<Tag, Problem> {
    let n = take(tx, "tag", 1).await?;
    let tag = Tag::nth(u32::try_from(n).map_err(Problem::internal)?);
    bind(tx, "tag", &tag.to_string(), record);
    Ok(tag)
}

/// The next number of the year, as `26-014`, bound to a commission or heat.
///
/// # Errors
/// As the database says.
pub async fn number(tx: &mut WriteTx, kind: Kind, year: i16, record: Seq) -> Result<String, Problem> {
    let short = year.rem_euclid(100);
    let n = take(tx, &format!("{}-{short:02}", kind.name()), 1).await?;
    let prefix = if kind == Kind::Heat { "H" } else { "" };
    let number = format!("{prefix}{short:02}-{n:03}");
    bind(tx, kind.name(), &number, record);
    Ok(number)
}
