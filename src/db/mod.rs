//! One SQLite file, opened one way: the writer's queue with its batches, the readers
//! with one snapshot a request, migrations, backup.

mod backup;
mod cell;
mod open;
mod queue;
mod read;
mod shared;
mod write;

pub use backup::{backup_to, integrity, restore_from, schema_dump};
pub use cell::{Cell, Row, Script};
pub use open::{Db, Options, Settler};
pub use shared::Kept;
pub use queue::Acknowledge;
pub use read::{Read, ReadTx};
pub use write::{Acting, Touch, WriteTx};
