//! Recording settings and the shop's own trade entries.

use super::model::{SettingBody, TradeEntryBody};
use super::settings::SPECS;
use super::{store, trade};
use crate::book::{Entry, Room};
use crate::db::WriteTx;
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
        entry.columns = vec![("section", body.section.name().into()), ("code", body.code.0.as_str().into())];
        Ok(())
    }
}
