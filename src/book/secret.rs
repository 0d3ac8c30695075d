//! Passwords and PINs: argon2id, worked out off the threads that serve, a few at a time.

use crate::kernel::{Clock, Problem};
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher as _, PasswordVerifier as _};
use argon2::{Algorithm, Argon2, Params, Version};
use std::sync::OnceLock;
use tokio::sync::Semaphore;

/// 19 MiB, two passes, one lane: the least that the OWASP Password Storage Cheat Sheet advises
/// of argon2id.
const MEMORY_KIB: u32 = 19_456;
const PASSES: u32 = 2;
const LANES: u32 = 1;

/// How many are worked out at once: each takes its memory and a whole core.
static AT_ONCE: Semaphore = Semaphore::const_new(2);

/// The longest password and the shortest; there is no rule of which characters.
pub const PASSWORD: std::ops::RangeInclusive<usize> = 10..=256;
/// A PIN has so many digits.
pub const PIN: std::ops::RangeInclusive<usize> = 4..=8;

fn argon() -> Result<Argon2<'static>, Problem> {
    let params = Params::new(MEMORY_KIB, PASSES, LANES, None).map_err(Problem::internal)?;
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

fn hash_now(text: &str, salt: &[u8]) -> Result<String, Problem> {
    let hash: PasswordHash = argon()?.hash_password_with_salt(text.as_bytes(), salt).map_err(Problem::internal)?;
    Ok(hash.to_string())
}

async fn apart<T: Send + 'static>(work: impl FnOnce() -> Result<T, Problem> + Send + 'static) -> Result<T, Problem> {
    let _one = AT_ONCE.acquire().await.map_err(Problem::internal)?;
    tokio::task::spawn_blocking(work).await.map_err(Problem::internal)?
}

/// The hash of a password or PIN, in PHC form.
///
/// # Errors
/// Internal alone.
pub async fn hash(clock: &Clock, text: &str) -> Result<String, Problem> {
    let (text, salt) = (text.to_owned(), clock.bytes::<16>());
    apart(move || hash_now(&text, &salt)).await
}

/// Whether a text is that of a hash. Where there is no hash it takes as long, and is not.
///
/// # Errors
/// Internal alone.
pub async fn matches(hash: Option<String>, text: &str) -> Result<bool, Problem> {
    let text = text.to_owned();
    apart(move || {
        against(hash.as_deref(), |hash| {
            let parsed = PasswordHash::new(hash).map_err(Problem::internal)?;
            Ok(argon()?.verify_password(text.as_bytes(), &parsed).is_ok())
        })
    })
    .await
}

/// Verifies against a hash, once, whether or not there is one: against nobody's where there is none.
fn against(hash: Option<&str>, verify: impl FnOnce(&str) -> Result<bool, Problem>) -> Result<bool, Problem> {
    static NOBODY: OnceLock<String> = OnceLock::new();
    if let Some(hash) = hash {
        return verify(hash);
    }
    let nobody = NOBODY.get_or_init(|| hash_now("nobody", b"of no account  .").unwrap_or_default());
    verify(nobody).map(|_| false)
}

/// What is wrong with a new password, if anything.
#[must_use]
pub fn weakness(password: &str, name: &str) -> Option<&'static str> {
    let length = password.chars().count();
    if length < *PASSWORD.start() {
        return Some("Give at least 10 characters: a few words are easiest to remember.");
    }
    if length > *PASSWORD.end() {
        return Some("Give at most 256 characters.");
    }
    let folded: String = password.to_lowercase().chars().filter(|c| c.is_alphanumeric()).collect();
    let mut rest = folded.clone();
    for word in
        [&name.to_lowercase().replace(' ', ""), "pourbook", "password", "foundry", "bronze", "letmein", "qwertyuiop", "welcome"]
    {
        if !word.is_empty() {
            rest = rest.replace(word, "");
        }
    }
    let distinct: std::collections::BTreeSet<char> = folded.chars().collect();
    let runs = "01234567890123456789".contains(&folded) || "abcdefghijklmnopqrstuvwxyz".contains(&folded);
    (rest.chars().count() < 4 || distinct.len() < 4 || runs).then_some("That is among the first that are guessed. Give another.")
}

/// Whether a text may be a PIN.
#[must_use]
pub fn is_pin(text: &str) -> bool {
    let easy = text.bytes().all(|b| Some(b) == text.bytes().next()) || "0123456789".contains(text) || "9876543210".contains(text);
    PIN.contains(&text.len()) && text.bytes().all(|b| b.is_ascii_digit()) && !easy
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_guessed_first_is_refused() {
        for bad in ["short", "password12", "pourbook123", "1234567890", "aaaaaaaaaaaa", "Ada Lovelace1"] {
            assert!(weakness(bad, "Ada Lovelace").is_some(), "{bad}");
        }
        for good in ["six green otters", "correct horse battery", "пароль из слов"] {
            assert_eq!(weakness(good, "Ada Lovelace"), None, "{good}");
        }
        for bad in ["123", "0000", "1234", "4321", "12a4", "123456789"] {
            assert!(!is_pin(bad), "{bad}");
        }
        assert!(is_pin("4711") && is_pin("90210735"));
    }

    #[test]
    fn an_unknown_name_costs_as_many_hashes_as_a_known_one() {
        let mine = hash_now("six green otters", b"sixteen bytes of").unwrap();
        for (hash, right) in [(Some(mine.as_str()), true), (None, false)] {
            let mut worked_out = Vec::new();
            // Even what would verify is not right where there is no account.
            let said = against(hash, |hash| {
                worked_out.push(hash.to_owned());
                Ok(true)
            });
            assert_eq!((said.unwrap(), worked_out.len()), (right, 1));
            // Each by the same work: variant, memory, passes, lanes.
            let by = |hash: &str| hash.split('$').take(4).collect::<Vec<_>>().join("$");
            assert_eq!(by(&worked_out[0]), by(&mine));
        }
    }

    #[tokio::test]
    async fn a_hash_says_how_it_was_made() {
        let clock = Clock::fixed(crate::kernel::Instant::from_ms(0), 1);
        let made = hash(&clock, "six green otters").await.unwrap();
        assert!(made.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{made}");
        assert!(matches(Some(made.clone()), "six green otters").await.unwrap());
        assert!(!matches(Some(made.clone()), "six green otter").await.unwrap());
        assert!(!matches(None, "nobody").await.unwrap());
        assert_ne!(hash(&clock, "six green otters").await.unwrap(), made);
    }
}
