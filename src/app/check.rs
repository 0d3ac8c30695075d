//! `pourbook check`: looks the book over.

use crate::app;
use crate::book::journal;
use crate::db::{self, Db, Options};
use crate::kernel::Clock;
use std::path::Path;

/// Looks over the file and the journal; with `rebuild`, derives everything anew.
///
/// # Errors
/// What is wrong, in words.
pub async fn run(data: &Path, rebuild: bool) -> Result<(), String> {
    let file = data.join("pourbook.db");
    if !file.is_file() {
        return Err(format!("There is no book in {}.", data.display()));
    }
    let faults = db::integrity(&file).await?;
    if !faults.is_empty() {
        return Err(format!("The file is damaged: {}. Restore a backup.", faults.join("; ")));
    }
    app::say(format_args!("The file is sound."))?;
    let book = Db::open(data, Options::default(), Clock::system()?, app::SETTLERS).await?;
    let mut read = book.read().await.map_err(|p| p.to_string())?;
    if let Some(broken) = journal::verify(&mut read).await.map_err(|p| p.to_string())? {
        return Err(format!("The journal does not hold: {broken}. Somebody changed the file outside this program."));
    }
    app::say(format_args!("The journal's chain holds."))?;
    drop(read);
    if rebuild {
        let differs = super::rebuild::run(&book).await.map_err(|p| p.to_string())?;
        if differs.is_empty() {
            app::say(format_args!("Everything derived is as stored."))?;
        } else {
            book.close().await;
            return Err(format!("{} derived rows differed and were put right: {}", differs.len(), differs.join("; ")));
        }
    }
    book.close().await;
    Ok(())
}
