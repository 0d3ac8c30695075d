//! Work too long for a turn: put off, done on a reader's snapshot while others write, and
//! handed to the next turn, which takes it up if it still holds.

use super::read::ReadTx;
use crate::kernel::Problem;
use std::any::{Any, TypeId};
use std::future::Future;
use std::pin::Pin;

/// What was worked out ahead of a turn; one of each type.
pub struct Ahead {
    pub(super) of: TypeId,
    pub(super) value: Box<dyn Any + Send + Sync>,
}

impl Ahead {
    /// Something for the next turn to keep, where `recall` finds it.
    pub fn new<T: Send + Sync + 'static>(value: T) -> Self {
        Self { of: TypeId::of::<T>(), value: Box::new(value) }
    }
}

/// Work put off: done on a snapshot, outside any turn.
pub type Work =
    Box<dyn for<'r> FnOnce(&'r mut ReadTx) -> Pin<Box<dyn Future<Output = Result<Ahead, Problem>> + Send + 'r>> + Send + Sync>;
