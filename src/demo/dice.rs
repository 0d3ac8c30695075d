//! Chance that follows from a seed.

use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;

/// Dice thrown the same way for the same seed.
pub struct Dice(ChaCha12Rng);

impl Dice {
    /// Dice of a seed.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        Self(ChaCha12Rng::seed_from_u64(seed ^ 0x706f_7572_6465_6d6f))
    }
    /// A whole number from `low` to `high`, both included. The tiny lean of the remainder
    /// towards low numbers does not matter here.
    pub fn between(&mut self, low: i64, high: i64) -> i64 {
        let span = high.saturating_sub(low).saturating_add(1).max(1).unsigned_abs();
        low.saturating_add(i64::try_from(self.0.next_u64() % span).unwrap_or(0))
    }
    /// Whether something happens that happens `permille` times in a thousand.
    pub fn chance(&mut self, permille: i64) -> bool {
        self.between(1, 1000) <= permille
    }
    /// One of some, at even odds; the first when there is only one.
    pub fn pick<'a, T>(&mut self, some: &'a [T]) -> Option<&'a T> {
        let last = i64::try_from(some.len()).ok()?.checked_sub(1)?;
        usize::try_from(self.between(0, last.max(0))).ok().and_then(|i| some.get(i))
    }
    /// One word of some.
    pub fn word(&mut self, some: &[&'static str]) -> &'static str {
        self.pick(some).copied().unwrap_or("")
    }
    /// A mass in mg between two, on a scale of some step.
    pub fn mass(&mut self, low: i64, high: i64, step: i64) -> i64 {
        self.between(low / step, high / step) * step
    }
}
