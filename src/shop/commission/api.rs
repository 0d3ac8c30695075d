//! `/v1/commissions`, `/v1/costs`, `/v1/payments`.

use super::model::{CommissionBody, CostBody, PaymentBody};
use super::store;
use super::verbs::{Commissions, Costs, Payments};
use crate::book::api::{InPath, Kit, ListFilter, post, record_schema, standard};
use crate::book::merging::{Corrector, corrector};
use crate::book::render::Adding;
use crate::db::ReadTx;
use crate::kernel::actor::Right;
use crate::kernel::{Kind, Seq};
use crate::web::Route;
use serde_json::{Map, Value, json};

const UNDER: InPath = InPath { kind: Kind::Commission, member: "commission_id" };

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let by_commission: &[ListFilter] = &[ListFilter::Refers { member: "commission_id", kind: Kind::Commission }];
    let mut out = vec![
        post::<Commissions>(kit, "/v1/commissions", "commission_create", "Agree on a job", Right::Log, None),
        post::<Costs>(kit, "/v1/commissions/{id}/costs", "cost_create", "Record a bought-in cost", Right::Own, Some(UNDER)),
        post::<Payments>(kit, "/v1/commissions/{id}/payments", "payment_create", "Record a payment", Right::Own, Some(UNDER)),
    ];
    out.extend(standard::<Commissions>(kit, &[ListFilter::Refers { member: "client_id", kind: Kind::Client }], Right::Correct));
    out.extend(standard::<Costs>(kit, by_commission, Right::Own));
    out.extend(standard::<Payments>(kit, by_commission, Right::Own));
    out
}

/// The number of each commission.
pub fn extras<'a>(read: &'a mut ReadTx, seqs: &'a [Seq]) -> Adding<'a> {
    Box::pin(async move {
        let numbers = store::numbers(read, seqs).await?;
        Ok(numbers
            .into_iter()
            .map(|(seq, number)| {
                let mut more = Map::new();
                more.insert("number".into(), number.into());
                (seq, more)
            })
            .collect())
    })
}

/// How its records are corrected, for what corrects records of many kinds.
#[must_use]
pub fn correctors() -> Vec<(Kind, Corrector)> {
    vec![corrector::<Commissions>(), corrector::<Costs>(), corrector::<Payments>()]
}

/// The schemas of what is answered.
#[must_use]
pub fn schemas() -> Vec<(Kind, Value)> {
    let mut more = Map::new();
    more.insert("number".into(), json!({"type": "string"}));
    vec![
        (Kind::Commission, record_schema::<CommissionBody>(Kind::Commission, &more, &[("pieces", Kind::Piece)])),
        (Kind::Cost, record_schema::<CostBody>(Kind::Cost, &Map::new(), &[])),
        (Kind::Payment, record_schema::<PaymentBody>(Kind::Payment, &Map::new(), &[])),
    ]
}
