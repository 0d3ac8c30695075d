//! Recording settings and the shop's own trade entries.

use super::model::{ExpenseBody, IncidentBody, RateBody, SettingBody, TradeEntryBody, What};
use super::settings::SPECS;
use super::settle::ScrapPriced;
use super::{store, trade};
use crate::book::{Entry, Room};
use crate::db::WriteTx;
use crate::kernel::field::Ref;
use crate::kernel::problem::Fault;
use crate::kernel::{Kind, Problem};

/// Dated settings.
pub enum Settings {}

impl Room for Settings {
    const KIND: Kind = Kind::Setting;
    const TABLE: &'static str = "setting";
    const AT_REQUIRED: bool = false;
    type Body = SettingBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<SettingBody>) -> Result<(), Problem> {
        let body = &entry.body;
        let Some(spec) = SPECS.iter().find(|s| s.name == body.name.0) else {
            let names: Vec<_> = SPECS.iter().map(|s| s.name).collect();
            return Err(Problem::field("/name", "not-in-list", format!("Give one of: {}.", names.join(" "))));
        };
        if !(spec.check)(&body.value.0) {
            return Err(Problem::field("/value", "out-of-range", format!("Give {}.", spec.about)));
        }
        if spec.name == "currency" && store::money_exists(tx).await? {
            return Err(Problem::field("/name", "fixed", "The currency is fixed once money exists in the book."));
        }
        tx.forget_shared();
        entry.columns = vec![
            ("name", body.name.0.as_str().into()),
            ("from_on", body.from_on.0.to_string().into()),
            ("value", body.value.0.to_string().into()),
        ];
        Ok(())
    }
}

/// Dated rates and prices.
pub enum Rates {}

impl Room for Rates {
    const KIND: Kind = Kind::Rate;
    const TABLE: &'static str = "rate";
    const AT_REQUIRED: bool = false;
    type Body = RateBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<RateBody>) -> Result<(), Problem> {
        let catalogue = trade::of(tx).await?;
        let mut faults = misfits(&entry.body);
        if let Some(alloy) = &mut entry.body.alloy {
            match catalogue.alloy(&alloy.0) {
                Some(known) => alloy.0.clone_from(&known.designation),
                None => faults.extend(trade::no_alloy("/alloy", &alloy.0).faults),
            }
        }
        if !faults.is_empty() {
            return Err(Problem::invalid(faults));
        }
        let body = &entry.body;
        let subject = body.hand_id.as_ref().map(Ref::seq).or_else(|| body.recipe_id.as_ref().map(Ref::seq));
        let (alloy, from_on) = (body.alloy.as_ref().map(|a| a.0.as_str()), body.from_on.0.to_string());
        let (twice, was) = store::rate_beside(tx, entry.seq, body.what, alloy, subject, &from_on).await?;
        if twice {
            let same = "There is one of the same from that day on. Correct or void that one.";
            return Err(Problem::field("/from_on", "taken", same));
        }
        if was.as_deref() == Some(What::ScrapKg.name()) {
            tx.remember(ScrapPriced);
        }
        let columns = vec![
            ("what", body.what.name().into()),
            ("alloy", alloy.into()),
            ("subject_seq", subject.into()),
            ("from_on", from_on.as_str().into()),
            ("amount_minor", body.amount_minor.map(|a| a.0).into()),
        ];
        tx.forget_shared();
        entry.columns = columns;
        Ok(())
    }
}

/// What a rate says that its `what` does not take, and what it leaves out that it must say.
fn misfits(body: &RateBody) -> Vec<Fault> {
    let fault = |pointer: &str, code: &'static str, message: String| Fault { pointer: pointer.into(), code, message };
    let what = body.what.name();
    let of_alloy =
        matches!(body.what, What::MetalKg | What::ScrapKg | What::QuoteKgSmall | What::QuoteKgMedium | What::QuoteKgLarge);
    let given = [
        ("/hand_id", body.hand_id.is_some(), body.what == What::HandHour),
        ("/recipe_id", body.recipe_id.is_some(), body.what == What::ShellCoatDm2),
        ("/alloy", body.alloy.is_some(), of_alloy),
    ];
    let wrong = given.iter().filter(|(_, given, fits)| *given && !fits);
    let mut faults: Vec<Fault> =
        wrong.map(|(pointer, ..)| fault(pointer, "not-of-this", format!("A rate of {what} has none; leave it out."))).collect();
    if body.what == What::MetalKg && body.alloy.is_none() {
        faults.push(fault("/alloy", "required", "Say of which alloy.".into()));
    }
    match (body.amount_minor.is_some(), body.ended == Some(true)) {
        (true, true) => {
            let message = "A rate that is ended has no amount; leave one of them out.".into();
            faults.push(fault("/amount_minor", "ended", message));
        }
        (false, false) => {
            let message = "Say how much a unit; or ended: true when from that day on there is none.".into();
            faults.push(fault("/amount_minor", "required", message));
        }
        _ => {}
    }
    faults
}

/// Expenses of the shop as such.
pub enum Expenses {}

impl Room for Expenses {
    const KIND: Kind = Kind::Expense;
    const TABLE: &'static str = "expense";
    type Body = ExpenseBody;

    async fn enter(_: &mut WriteTx, entry: &mut Entry<ExpenseBody>) -> Result<(), Problem> {
        let (kind, amount) = (entry.body.kind.name(), entry.body.amount_minor.0);
        entry.set("kind", kind);
        entry.set("amount_minor", amount);
        Ok(())
    }
}

/// Incidents.
pub enum Incidents {}

impl Room for Incidents {
    const KIND: Kind = Kind::Incident;
    const TABLE: &'static str = "incident";
    type Body = IncidentBody;

    async fn enter(_: &mut WriteTx, entry: &mut Entry<IncidentBody>) -> Result<(), Problem> {
        let hurt = entry.body.hurt;
        entry.set("hurt", hurt);
        Ok(())
    }
}

/// The shop's own trade entries.
pub enum TradeEntries {}

impl Room for TradeEntries {
    const KIND: Kind = Kind::TradeEntry;
    const TABLE: &'static str = "trade_entry";
    const AT_REQUIRED: bool = false;
    type Body = TradeEntryBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<TradeEntryBody>) -> Result<(), Problem> {
        let body = &entry.body;
        trade::check(body)?;
        tx.forget_shared();
        let from_on = body.from_on.as_ref().map(|day| day.0.to_string());
        entry.columns =
            vec![("section", body.section.name().into()), ("code", body.code.0.as_str().into()), ("from_on", from_on.into())];
        Ok(())
    }
}
