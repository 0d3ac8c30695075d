//! The demonstration shop: three years of a foundry that does not exist, recorded through
//! the public service like any other shop's, so that every rule holds in it.
//!
//! The same seed makes the same shop, to the byte. The generator keeps its own sum of the
//! metal that it lets go unexplained: the book must come to the same sum by itself.

mod caller;
mod dice;
mod finishing;
mod making;
mod opening;
mod pouring;
mod quoting;
mod shop;
mod trial;
mod words;

pub use caller::{Caller, Token, Who};
pub use dice::Dice;

use crate::app;
use crate::db::{Db, Options};
use crate::kernel::{Clock, Instant};
use std::path::Path;

/// The seed of the shop that is shown when no other is asked for.
pub const SEED: u64 = 2611;

/// When the shop's book begins, in milliseconds: 2023-11-03T07:00Z.
pub(crate) const BEGINS: i64 = 1_698_994_800_000;
/// When it ends: 2026-11-02T17:00Z.
pub(crate) const ENDS: i64 = 1_793_638_800_000;

/// What was put into the shop.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// Net mass in mg that the generator let go unexplained; the book must find the same.
    pub unexplained_mg: i64,
    /// Castings, recasts among them.
    pub castings: usize,
    /// Shells.
    pub shells: usize,
    /// Heats.
    pub heats: usize,
    /// Requests made.
    pub requests: usize,
    /// The tokens, to be shown once.
    pub tokens: Vec<Token>,
}

/// Fills an empty book. `db` must have been opened with [`clock`] of the same seed; the
/// secrets of the tokens come from `secrets`, so that they do not follow from the seed.
///
/// # Errors
/// What the book refuses, with what was asked of it.
pub async fn fill(db: &Db, seed: u64, secrets: &Clock) -> Result<Told, String> {
    let caller = Caller::new(db, secrets).await?;
    let mut shop = shop::Shop::new(caller, seed);
    opening::open(&mut shop).await?;
    shop.run().await?;
    shop.quotes_open(ENDS).await?;
    Ok(Told {
        unexplained_mg: shop.put_in,
        castings: shop.castings.len(),
        shells: shop.shells.len(),
        heats: shop.heats,
        requests: shop.caller.calls,
        tokens: shop.caller.tokens,
    })
}

/// The clock that the shop of a seed is filled by.
#[must_use]
pub fn clock(seed: u64) -> Clock {
    Clock::fixed(Instant::from_ms(BEGINS), seed)
}

/// Makes the shop in a folder, unless there is a book there already: then `None`.
///
/// # Errors
/// In words for whoever asked for it.
pub async fn make(data: &Path, seed: u64) -> Result<Option<Told>, String> {
    if data.join("pourbook.db").exists() {
        return Ok(None);
    }
    // Filled beside, and put in place whole: half a shop is never taken for one.
    let mut name = data.file_name().ok_or_else(|| format!("{} is no folder.", data.display()))?.to_owned();
    name.push(".filling");
    let beside = data.with_file_name(name);
    let say = |e: std::io::Error| format!("{}: {e}", beside.display());
    if beside.exists() {
        std::fs::remove_dir_all(&beside).map_err(say)?;
    }
    let db = Db::open(&beside, Options::default(), clock(seed), app::SETTLERS).await?;
    let told = fill(&db, seed, &Clock::system()?).await;
    db.close().await;
    let told = told?;
    std::fs::create_dir_all(data).map_err(say)?;
    for file in std::fs::read_dir(&beside).map_err(say)? {
        let file = file.map_err(say)?;
        std::fs::rename(file.path(), data.join(file.file_name())).map_err(say)?;
    }
    std::fs::remove_dir(&beside).map_err(say)?;
    Ok(Some(told))
}
