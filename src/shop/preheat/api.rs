//! `/v1/preheats`.

use super::model::PreheatBody;
use super::store;
use super::verbs::Preheats;
use crate::book::api::{Kit, post, record_schema, standard};
use crate::book::merging::{Corrector, corrector};
use crate::book::render::Adding;
use crate::db::ReadTx;
use crate::kernel::actor::Right;
use crate::kernel::{Kind, Seq};
use crate::science::trade::TradeStep;
use crate::shop::house::trade;
use crate::web::Route;
use serde_json::{Map, Value};

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let mut out = vec![post::<Preheats>(kit, "/v1/preheats", "preheat_create", "Bring shells back to heat", Right::Log, None)];
    out.extend(standard::<Preheats>(kit, store::FILTERS, Right::Correct));
    out
}

/// The cautions of the step.
pub fn extras<'a>(_: &'a mut ReadTx, seqs: &'a [Seq]) -> Adding<'a> {
    Box::pin(async move {
        let cautions = trade::cautions(&[TradeStep::Preheat], None)?;
        Ok(seqs.iter().map(|seq| (*seq, Map::from_iter([("cautions".to_owned(), cautions.clone())]))).collect())
    })
}

/// How its records are corrected, for what corrects records of many kinds.
#[must_use]
pub fn correctors() -> Vec<(Kind, Corrector)> {
    vec![corrector::<Preheats>()]
}

/// The schemas of what is answered.
#[must_use]
pub fn schemas() -> Vec<(Kind, Value)> {
    let more = Map::from_iter([("cautions".to_owned(), trade::cautions_schema())]);
    vec![(Kind::Preheat, record_schema::<PreheatBody>(Kind::Preheat, &more, &[]))]
}
