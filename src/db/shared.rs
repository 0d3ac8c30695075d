//! What is read once and kept between requests: settings, the trade catalogue. One of each
//! type, each true of one state of the book and of no other.

use std::any::{Any, TypeId};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

type Things = HashMap<TypeId, Arc<dyn Any + Send + Sync>>;

/// Things kept, and the number of the state of the book that they are true of.
#[derive(Default)]
pub struct Shared(Mutex<(u64, Things)>);

impl Shared {
    /// The number of the state that is current. Taken before a snapshot is begun: what such
    /// a snapshot reads is then of this state or a later one.
    pub(super) fn state(&self) -> u64 {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).0
    }
    /// Once what they rest on is durable: all is forgotten, and what readers of an earlier
    /// state still bring is not kept.
    pub(super) fn forget(&self) {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        kept.0 += 1;
        kept.1.clear();
    }
}

/// The view that one transaction has of what is kept.
#[derive(Clone, Copy)]
pub struct Kept<'a> {
    pub(super) shared: &'a Shared,
    pub(super) state: u64,
}

impl Kept<'_> {
    /// What is kept of a type.
    #[must_use]
    pub fn get<T: Send + Sync + 'static>(&self) -> Option<Arc<T>> {
        let kept = self.shared.0.lock().unwrap_or_else(PoisonError::into_inner);
        let here = (kept.0 == self.state).then(|| kept.1.get(&TypeId::of::<T>())).flatten();
        here.cloned().and_then(|any| any.downcast().ok())
    }
    /// Keeps one, unless the book has moved on meanwhile.
    pub fn put<T: Send + Sync + 'static>(&self, value: Arc<T>) {
        let mut kept = self.shared.0.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.0 == self.state {
            kept.1.insert(TypeId::of::<T>(), value);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_an_earlier_state_brings_is_not_kept() {
        let shared = Shared::default();
        let before = Kept { shared: &shared, state: shared.state() };
        before.put(Arc::new(1_i32));
        assert_eq!(before.get::<i32>().as_deref(), Some(&1));
        shared.forget();
        assert_eq!(before.get::<i32>(), None);
        before.put(Arc::new(1_i32));
        let after = Kept { shared: &shared, state: shared.state() };
        assert_eq!(after.get::<i32>(), None);
        after.put(Arc::new(2_i32));
        assert_eq!((after.get::<i32>().as_deref(), before.get::<i32>()), (Some(&2), None));
    }
}
