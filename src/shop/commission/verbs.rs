//! Recording commissions, costs and payments.

use super::model::{CommissionBody, CostBody, PaymentBody};
use super::store;
use crate::book::{Entry, Room, series};
use crate::db::WriteTx;
use crate::kernel::field::Ref;
use crate::kernel::{Kind, Money, Problem, Seq};
use crate::shop::house::settings;
use std::collections::BTreeSet;

/// Kept by a turn that corrects whose some commissions are: their castings take it over.
#[derive(Default)]
pub struct ClientCorrected(pub BTreeSet<Seq>);

/// Commissions.
pub enum Commissions {}

impl Room for Commissions {
    const KIND: Kind = Kind::Commission;
    const TABLE: &'static str = "commission";
    const AT_REQUIRED: bool = false;
    type Body = CommissionBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<CommissionBody>) -> Result<(), Problem> {
        add_up(&entry.body)?;
        let number = if entry.correcting {
            let known = store::numbers(tx, &[entry.seq]).await?.pop();
            known.ok_or_else(|| Problem::internal("commission without number"))?.1
        } else {
            let year = settings::of(tx).await?.day(entry.at()).year();
            series::number(tx, Kind::Commission, year, entry.seq).await?
        };
        let body = &entry.body;
        if entry.correcting {
            let was = store::clients(tx, &[entry.seq]).await?.pop().and_then(|(_, client)| client);
            if was != body.client_id.as_ref().map(Ref::seq) {
                let mut corrected: ClientCorrected = tx.recall_or_default();
                corrected.0.insert(entry.seq);
                tx.remember(corrected);
            }
        }
        entry.columns = vec![
            ("number", number.into()),
            ("title", body.title.0.as_str().into()),
            ("client_seq", body.client_id.as_ref().map(Ref::seq).into()),
            ("due_on", body.due_on.map(|d| d.0.to_string()).into()),
        ];
        Ok(())
    }
}

/// Whether the stages of the price add up to it.
fn add_up(body: &CommissionBody) -> Result<(), Problem> {
    let sum: Money = body.stages.0.iter().map(|stage| stage.0.amount_minor.0).sum();
    match body.price_minor {
        _ if body.stages.0.is_empty() => Ok(()),
        None => Err(Problem::field("/price_minor", "required", "Give the price that the stages are of.")),
        Some(price) if price.0 == sum => Ok(()),
        Some(price) => Err(Problem::field(
            "/stages",
            "sum",
            format!("The stages add up to {} minor units, the price is {}.", sum.minor(), price.0.minor()),
        )),
    }
}

/// Costs bought in.
pub enum Costs {}

impl Room for Costs {
    const KIND: Kind = Kind::Cost;
    const TABLE: &'static str = "cost";
    type Body = CostBody;

    async fn enter(_: &mut WriteTx, entry: &mut Entry<CostBody>) -> Result<(), Problem> {
        let body = &entry.body;
        entry.columns = vec![
            ("commission_seq", body.commission_id.seq().into()),
            ("kind", body.kind.name().into()),
            ("amount_minor", body.amount_minor.0.into()),
        ];
        Ok(())
    }
}

/// Payments.
pub enum Payments {}

impl Room for Payments {
    const KIND: Kind = Kind::Payment;
    const TABLE: &'static str = "payment";
    type Body = PaymentBody;

    async fn enter(_: &mut WriteTx, entry: &mut Entry<PaymentBody>) -> Result<(), Problem> {
        let body = &entry.body;
        entry.columns = vec![("commission_seq", body.commission_id.seq().into()), ("amount_minor", body.amount_minor.0.into())];
        Ok(())
    }
}
