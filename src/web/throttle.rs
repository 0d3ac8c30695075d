//! Guessing made slow: tries are counted by account and address, and after a few each must
//! wait, longer every time. Nobody is locked out for good.

use crate::kernel::{Instant, Problem, ProblemType};
use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};

/// How many tries are free, and the longest wait.
#[derive(Clone, Copy, Debug)]
struct Rule {
    free: u32,
    longest_ms: i64,
}

/// One account from one address; one address, whatever the account; one account from anywhere,
/// which is only slowed, so that nobody can keep another out.
const RULES: [Rule; 3] = [
    Rule { free: 5, longest_ms: 15 * 60_000 },
    Rule { free: 20, longest_ms: 15 * 60_000 },
    Rule { free: 50, longest_ms: 30_000 },
];
/// After so long without a try all is forgotten.
const FORGOTTEN_MS: i64 = 24 * 3_600_000;
/// The most that is kept in mind.
const MOST: usize = 20_000;

#[derive(Clone, Copy, Debug)]
struct Tries {
    count: u32,
    last: Instant,
    until: Instant,
}

/// What was tried of late.
#[derive(Debug, Default)]
pub struct Throttle(Mutex<HashMap<String, Tries>>);

/// A try under way.
#[derive(Clone, Debug)]
pub struct Try([String; 3]);

impl Throttle {
    /// Begins a try at an account from an address. It counts as failed until it has come
    /// through, so that many at once are counted too.
    ///
    /// # Errors
    /// `too-many-tries`, with the seconds to wait.
    pub fn begin(&self, account: &str, address: &str, now: Instant) -> Result<Try, Problem> {
        let account: String = account.chars().take(100).collect();
        let keys = [format!("p {address} {account}"), format!("a {address}"), format!("n {account}")];
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let wait = keys.iter().filter_map(|k| kept.get(k)).map(|t| t.until.since(now)).max().unwrap_or(0);
        if wait > 0 {
            let seconds = wait / 1000 + 1;
            let words = if seconds < 90 { format!("{seconds} seconds") } else { format!("{} minutes", (seconds + 59) / 60) };
            return Err(Problem::new(ProblemType::TooManyTries, format!("Too many tries. Try again in {words}."))
                .with("retry_after_s", seconds));
        }
        if kept.len() > MOST {
            kept.retain(|_, t| now.since(t.last) < FORGOTTEN_MS && t.until > now);
        }
        for (key, rule) in keys.iter().zip(RULES) {
            let tries = kept.entry(key.clone()).or_insert(Tries { count: 0, last: now, until: now });
            if now.since(tries.last) > FORGOTTEN_MS {
                tries.count = 0;
            }
            tries.count += 1;
            tries.last = now;
            if let Some(over) = (tries.count + 1).checked_sub(rule.free).filter(|over| *over > 0) {
                tries.until = now.plus_ms((1000_i64 << over.min(20)).min(rule.longest_ms));
            }
        }
        Ok(Try(keys))
    }

    /// A try came through: what was counted of that account is forgotten; of the address, that
    /// try alone, so that a guesser's own account does not free the address.
    pub fn came_through(&self, done: &Try) {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let [pair, address, account] = &done.0;
        kept.remove(pair);
        kept.remove(account);
        if let Some(tries) = kept.get_mut(address) {
            tries.count = tries.count.saturating_sub(1);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wait(throttle: &Throttle, account: &str, address: &str, now: Instant) -> Option<i64> {
        throttle.begin(account, address, now).err().and_then(|p| p.more["retry_after_s"].as_i64())
    }

    #[test]
    fn the_wait_grows_and_ends() {
        let throttle = Throttle::default();
        let mut now = Instant::from_ms(0);
        for n in 0..5 {
            assert_eq!(wait(&throttle, "ada", "here", now), None, "{n}");
        }
        let mut waits = Vec::new();
        while waits.len() < 14 {
            let seconds = wait(&throttle, "ada", "here", now).unwrap();
            waits.push(seconds);
            now = now.plus_ms(seconds * 1000);
            assert_eq!(wait(&throttle, "ada", "here", now), None);
        }
        assert!(waits.windows(2).all(|w| w[0] <= w[1]), "{waits:?}");
        assert!(waits[0] <= 3 && waits[13] <= 901 && waits[13] > 800, "{waits:?}");
        let other = now.plus_ms(-1);
        assert_eq!(wait(&throttle, "ada", "elsewhere", other), None, "another address is not held up");
    }

    #[test]
    fn coming_through_forgets_what_was_counted() {
        let throttle = Throttle::default();
        let now = Instant::from_ms(0);
        for _ in 0..4 {
            assert_eq!(wait(&throttle, "ada", "here", now), None);
        }
        let last = throttle.begin("ada", "here", now).unwrap();
        throttle.came_through(&last);
        for _ in 0..5 {
            assert_eq!(wait(&throttle, "ada", "here", now), None);
        }
        assert!(wait(&throttle, "ada", "here", now).is_some());
    }

    #[test]
    fn an_address_that_tries_many_names_is_slowed() {
        let throttle = Throttle::default();
        let now = Instant::from_ms(0);
        let held = (0..40).filter(|n| wait(&throttle, &format!("name {n}"), "here", now).is_some()).count();
        assert_eq!(held, 20);
    }
}
