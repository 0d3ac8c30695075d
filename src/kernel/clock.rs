//! The clock and the chance that `main` (or a test) hands in.

use super::instant::Instant;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha12Rng;
use std::sync::atomic::{AtomicI64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use uuid::Uuid;

/// Tells the time and mints ids and secrets. Cheap to clone.
#[derive(Clone, Debug)]
pub struct Clock(Arc<Inner>);

#[derive(Debug)]
struct Inner {
    fixed: Option<AtomicI64>,
    rng: Mutex<ChaCha12Rng>,
}

impl Clock {
    /// The machine's clock, and randomness seeded by the operating system.
    ///
    /// # Errors
    /// When the operating system gives no randomness.
    pub fn system() -> Result<Self, String> {
        let mut seed = [0_u8; 32];
        rand::rngs::SysRng.try_fill(&mut seed)?;
        Ok(Self(Arc::new(Inner { fixed: None, rng: Mutex::new(ChaCha12Rng::from_seed(seed)) })))
    }

    /// A clock that stands at `now` until set, with ids that follow from `seed`.
    #[must_use]
    pub fn fixed(now: Instant, seed: u64) -> Self {
        Self(Arc::new(Inner { fixed: Some(AtomicI64::new(now.ms())), rng: Mutex::new(ChaCha12Rng::seed_from_u64(seed)) }))
    }

    /// Now.
    #[must_use]
    #[expect(clippy::disallowed_methods, reason = "the one place that reads the machine's clock")]
    pub fn now(&self) -> Instant {
        match &self.0.fixed {
            Some(ms) => Instant::from_ms(ms.load(Ordering::Relaxed)),
            None => Instant::from_ms(jiff::Timestamp::now().as_millisecond()),
        }
    }

    /// Sets a fixed clock; a system clock is not moved.
    pub fn set(&self, now: Instant) {
        if let Some(ms) = &self.0.fixed {
            ms.store(now.ms(), Ordering::Relaxed);
        }
    }

    /// A new UUIDv7 of this instant.
    #[must_use]
    pub fn mint(&self) -> Uuid {
        let ms = u64::try_from(self.now().ms()).unwrap_or(0);
        uuid::Builder::from_unix_timestamp_millis(ms, &self.bytes()).into_uuid()
    }

    /// Random bytes, for secrets and salts.
    #[must_use]
    pub fn bytes<const N: usize>(&self) -> [u8; N] {
        let mut bytes = [0_u8; N];
        self.0.rng.lock().unwrap_or_else(PoisonError::into_inner).fill_bytes(&mut bytes);
        bytes
    }
}

/// Asks the operating system for randomness and says so when there is none.
trait TryFill {
    fn try_fill(&mut self, bytes: &mut [u8]) -> Result<(), String>;
}

impl TryFill for rand::rngs::SysRng {
    fn try_fill(&mut self, bytes: &mut [u8]) -> Result<(), String> {
        rand::TryRng::try_fill_bytes(self, bytes).map_err(|e| format!("the operating system gives no randomness: {e}"))
    }
}
