//! The settler of facts: makes anew the rows of the shells and heats that a turn reaches.

use super::store;
use crate::book::story::{self, Line};
use crate::db::WriteTx;
use crate::kernel::{Kind, Problem, Seq};
use std::pin::Pin;

/// The settler of facts. Nothing is read but after a setting: what must be made anew goes along
/// with the turn's last statements. Nothing is done while nothing was poured, lost or given up.
pub fn settle<'t>(tx: &'t mut WriteTx) -> Pin<Box<dyn Future<Output = Result<(), Problem>> + Send + 't>> {
    Box::pin(async move {
        if tx.acting().iter().any(|a| a.kind == Kind::Setting) {
            store::months::keep(tx).await?;
        }
        let acts = |kinds: &[Kind]| tx.acting().iter().any(|a| kinds.contains(&a.kind));
        let heats = if acts(&[Kind::Heat, Kind::Pour]) { tx.touched(Kind::Heat) } else { Vec::new() };
        let versions: Vec<Seq> = tx.acting().iter().filter(|a| a.kind == Kind::RecipeVersion).map(|a| a.seq).collect();
        let undone = tx.acting().iter().any(|a| a.voids) || acts(&[Kind::Pour, Kind::Burnout, Kind::Scrap]);
        let ended = story::touched(tx).await?.lines.iter().any(ends);
        let (shells, castings) =
            if undone || ended { (tx.touched(Kind::Shell), tx.touched(Kind::Casting)) } else { (Vec::new(), Vec::new()) };
        if [&heats, &versions, &shells, &castings].iter().all(|list| list.is_empty()) {
            return Ok(());
        }
        store::make_anew(tx, &shells, &castings, &heats, &versions);
        Ok(())
    })
}

/// Whether a record makes its shell one that is counted.
fn ends(line: &Line) -> bool {
    match line.kind {
        Kind::Pour | Kind::Scrap => true,
        Kind::Burnout => line.body["shells"].as_array().is_some_and(|s| s.iter().any(|one| one["result"] == "lost")),
        _ => false,
    }
}
