//! Recording clients.

use super::model::ClientBody;
use crate::book::{Entry, Room};
use crate::db::WriteTx;
use crate::kernel::{Kind, Problem};

/// Clients.
pub enum Clients {}

impl Room for Clients {
    const KIND: Kind = Kind::Client;
    const TABLE: &'static str = "client";
    const AT_REQUIRED: bool = false;
    type Body = ClientBody;

    async fn enter(_: &mut WriteTx, entry: &mut Entry<ClientBody>) -> Result<(), Problem> {
        let name = entry.body.name.0.clone();
        entry.set("name", name);
        Ok(())
    }
}
