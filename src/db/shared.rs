//! What is kept between requests, and what the writer counts.

use super::cell::{Cell, Script};
use std::any::{Any, TypeId};
use std::collections::HashMap;
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

#[derive(Default)]
struct Kept {
    generation: u64,
    values: HashMap<TypeId, Arc<dyn Any + Send + Sync>>,
}

/// Things read once and kept until something they rest on is written: settings, the
/// trade catalogue. One of each type. What was read before such a writing is not kept
/// after it: a view knows of which generation it is.
#[derive(Default)]
pub struct Shared {
    kept: Arc<Mutex<Kept>>,
    generation: u64,
}

impl Shared {
    fn kept(&self) -> MutexGuard<'_, Kept> {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }
    /// A view of the same things as they stand now; taken before the reading begins.
    #[must_use]
    pub(super) fn view(&self) -> Self {
        let generation = self.kept().generation;
        Self { kept: self.kept.clone(), generation }
    }
    /// What is kept of a type.
    #[must_use]
    pub fn get<T: Send + Sync + 'static>(&self) -> Option<Arc<T>> {
        let kept = self.kept().values.get(&TypeId::of::<T>()).cloned();
        kept.and_then(|any| any.downcast().ok())
    }
    /// Keeps one, unless all were forgotten since this view was taken.
    pub fn put<T: Send + Sync + 'static>(&self, value: Arc<T>) {
        let mut kept = self.kept();
        if kept.generation == self.generation {
            kept.values.insert(TypeId::of::<T>(), value);
        }
    }
    /// Forgets all of them.
    pub(super) fn clear(&self) {
        let mut kept = self.kept();
        kept.generation += 1;
        kept.values.clear();
    }
}

/// What the driver is asked: counted and, for the benches, written down.
#[derive(Debug, Default)]
pub struct Tally {
    commits: AtomicU64,
    calls: AtomicU32,
    listening: AtomicBool,
    heard: Mutex<Vec<Heard>>,
}

/// A script as it went to the driver: its text and its values.
pub type Heard = (String, Vec<Cell>);

impl Tally {
    /// Durable commits since the book was opened.
    #[must_use]
    pub fn commits(&self) -> u64 {
        self.commits.load(Ordering::Relaxed)
    }
    /// Driver calls of the turn that ended last; the batch's commit is not among them.
    #[must_use]
    pub fn last_calls(&self) -> u32 {
        self.calls.load(Ordering::Relaxed)
    }
    /// Writes down from here on all that the driver is asked, until it is taken with
    /// [`Self::heard`].
    pub fn listen(&self) {
        self.listening.store(true, Ordering::Relaxed);
    }
    /// What was written down since [`Self::listen`]; stops listening.
    #[must_use]
    pub fn heard(&self) -> Vec<Heard> {
        self.listening.store(false, Ordering::Relaxed);
        std::mem::take(&mut self.heard.lock().unwrap_or_else(PoisonError::into_inner))
    }
    pub(super) fn hears(&self, script: &Script) {
        if self.listening.load(Ordering::Relaxed) {
            self.heard.lock().unwrap_or_else(PoisonError::into_inner).push((script.sql.clone(), script.args.clone()));
        }
    }
    pub(super) fn committed(&self) {
        self.commits.fetch_add(1, Ordering::Relaxed);
    }
    pub(super) fn ended(&self, calls: u32) {
        self.calls.store(calls, Ordering::Relaxed);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_read_before_a_writing_is_not_kept_after_it() {
        let shared = Shared::default();
        let early = shared.view();
        shared.clear();
        early.put(Arc::new(1_u8));
        assert_eq!(shared.get::<u8>(), None);
        let late = shared.view();
        late.put(Arc::new(2_u8));
        assert_eq!(early.get::<u8>().as_deref(), Some(&2));
    }
}
