//! Practice flags of burnouts: into the kiln before the final drying was over.

use crate::book::flags::{self, Flag};
use crate::book::story::{self, Story};
use crate::db::WriteTx;
use crate::kernel::{Kind, Precision, Problem, Seq};
use crate::shop::shell::final_dry_hours;
use std::collections::BTreeMap;
use std::pin::Pin;

/// The settler of the flags of burnouts.
pub fn settle<'t>(tx: &'t mut WriteTx) -> Pin<Box<dyn Future<Output = Result<(), Problem>> + Send + 't>> {
    Box::pin(async move {
        let story = story::touched(tx).await?;
        // A kiln load bears on many shells: only its flags for the shells at hand are known
        // here, so the others' are kept by adding, never by replacing.
        let flags = of_story(&story);
        flags::write_for_shells(tx, &flags);
        Ok(())
    })
}

/// The flags of burnouts by shell: (burnout, shell) to flags.
#[must_use]
pub fn of_story(story: &Story) -> BTreeMap<(Seq, Seq), Vec<Flag>> {
    let mut out = BTreeMap::new();
    for shell in story.shells() {
        let lines = story.on_shell(shell);
        let dry = final_dry_hours(story, shell);
        for burnout in lines.iter().filter(|l| l.kind == Kind::Burnout) {
            let coat = lines.iter().rfind(|l| l.kind == Kind::Coat && l.at <= burnout.at);
            let mut flags = Vec::new();
            if let (Some(dry), Some(coat)) = (dry, coat)
                && burnout.precision != Precision::Day
                && coat.precision != Precision::Day
            {
                let had = burnout.at.hours_since(coat.at);
                if had < dry {
                    flags.push(Flag::new("kiln_before_final_dry", format!("{dry} h"), format!("{had:.1} h")));
                }
            }
            out.insert((burnout.seq, shell), flags);
        }
    }
    out
}
