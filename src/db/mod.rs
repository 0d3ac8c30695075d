//! One SQLite file, opened one way: the writer's queue with its batches, the readers
//! with one snapshot a request, migrations, backup.

mod ahead;
mod backup;
mod cell;
mod open;
mod queue;
mod read;
mod shared;
pub mod table;
mod write;

pub use ahead::{Ahead, Work};
pub use backup::{backup_to, integrity, last_copy, restore_from, schema_dump};
pub use cell::{Ask, Cell, Row, Script};
pub use open::{Db, Options, Settler};
pub use queue::Acknowledge;
pub use read::{Read, ReadTx};
pub use shared::{Heard, Shared, Tally};
pub use write::{Acting, Touch, WriteTx};
