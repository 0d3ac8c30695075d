//! Practice flags of heats that follow from their crucible: kept for, or last used for, another family of
//! metal; past the heats that it is given. A heat in between changes what is said of the next, so all
//! heats of a crucible are gone over whenever one of them, or the crucible, is recorded, corrected or voided.

use super::store::{self, InCrucible};
use crate::book::flags::{self, Flag};
use crate::db::WriteTx;
use crate::kernel::{Kind, Problem, Seq};
use crate::science::trade::AlloyFamily;
use crate::shop::house::trade;
use serde_json::Value;
use std::pin::Pin;

/// The codes written here.
const CODES: [&str; 2] = ["crucible_family", "crucible_worn"];

/// What crucibles are kept for, by the family of an alloy.
const fn kept_for(family: AlloyFamily) -> &'static str {
    match family {
        AlloyFamily::Aluminium => "aluminium",
        AlloyFamily::Zinc => "zinc",
        AlloyFamily::Silver => "precious",
        AlloyFamily::GreyIron | AlloyFamily::StainlessSteel => "ferrous",
        _ => "copper_base",
    }
}

/// The settler of what follows from the crucible of a heat.
pub fn settle<'t>(tx: &'t mut WriteTx) -> Pin<Box<dyn Future<Output = Result<(), Problem>> + Send + 't>> {
    Box::pin(async move {
        let acting = |kind: Kind| -> Vec<Seq> { tx.acting().iter().filter(|act| act.kind == kind).map(|act| act.seq).collect() };
        let (crucibles, heats) = (acting(Kind::Crucible), acting(Kind::Heat));
        if crucibles.is_empty() && heats.is_empty() {
            return Ok(());
        }
        let trade = trade::of(tx).await?;
        let found = store::in_crucibles(tx, &crucibles, &heats).await?;
        let family = |code: &str| trade.alloy(code).map(|alloy| kept_for(alloy.family));
        flags::write_codes(tx, &CODES, &of_heats(&found, family));
        Ok(())
    })
}

/// The flags of heats, given by crucible and time.
fn of_heats(heats: &[InCrucible], family: impl Fn(&str) -> Option<&'static str>) -> Vec<(Seq, Vec<Flag>)> {
    let (mut crucible, mut before, mut had, mut said) = (None, None, 0, &Value::Null);
    let mut out = Vec::new();
    for heat in heats {
        if heat.crucible.is_none() {
            out.push((heat.heat, Vec::new()));
            continue;
        }
        if heat.crucible != crucible {
            (crucible, before) = (heat.crucible, None);
            said = &heat.said;
            had = said["heats_before"].as_i64().unwrap_or(0);
        }
        had += 1;
        let is = family(&heat.alloy);
        let kept = said["family"].as_str();
        let mut flags = Vec::new();
        if let (Some(is), Some(should)) = (is, kept.or(before))
            && is != should
        {
            let limit = if kept.is_some() { "kept for" } else { "last used for" };
            flags.push(Flag::new(CODES[0], format!("{limit} {should}"), is));
        }
        if let Some(life) = said["life_heats"].as_i64().filter(|life| had > *life) {
            flags.push(Flag::new(CODES[1], format!("{life} heats"), format!("heat {had}")));
        }
        before = is.or(before);
        out.push((heat.heat, flags));
    }
    out
}
