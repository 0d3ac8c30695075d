//! Instants in UTC milliseconds, how precisely they are known, and the one order.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// An instant in milliseconds since 1970-01-01T00:00Z.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub struct Instant(i64);

impl Instant {
    /// The first that can be read: the year 1900 begins.
    pub const FIRST: Self = Self(-2_208_988_800_000);
    /// The last that can be read: the year 2200 is about to begin.
    pub const LAST: Self = Self(7_258_118_399_999);

    /// From milliseconds since the epoch.
    #[must_use]
    pub const fn from_ms(ms: i64) -> Self {
        Self(ms)
    }
    /// In milliseconds since the epoch.
    #[must_use]
    pub const fn ms(self) -> i64 {
        self.0
    }
    /// Reads RFC 3339 with an offset (`Z`, `+02:00`). `None` without one, with leap
    /// seconds that do not exist, or outside the years 1900 to 2200.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let bytes = text.as_bytes();
        let shaped = bytes.len() >= 20
            && bytes[..4].iter().all(u8::is_ascii_digit)
            && bytes[4] == b'-'
            && matches!(bytes[10], b'T' | b't' | b' ')
            && (text.ends_with(['Z', 'z']) || is_offset(&bytes[bytes.len() - 6..]));
        if !shaped || text.contains('[') {
            return None;
        }
        let at = Self(text.parse::<Timestamp>().ok()?.as_millisecond());
        (Self::FIRST..=Self::LAST).contains(&at).then_some(at)
    }
    /// Milliseconds from `earlier` to this one.
    #[must_use]
    pub const fn since(self, earlier: Self) -> i64 {
        self.0 - earlier.0
    }
    /// Hours from `earlier` to this one.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "instants lie within 1900 to 2200")]
    pub fn hours_since(self, earlier: Self) -> f64 {
        self.since(earlier) as f64 / 3_600_000.0
    }
    /// This instant moved by some milliseconds.
    #[must_use]
    pub const fn plus_ms(self, ms: i64) -> Self {
        Self(self.0 + ms)
    }
}

/// `+02:00`, of at most 23:59 (RFC 3339 section 5.6: time-hour ":" time-minute).
fn is_offset(bytes: &[u8]) -> bool {
    let [sign, h, hh, colon, m, mm] = bytes else { return false };
    let shaped = matches!(sign, b'+' | b'-') && *colon == b':' && [h, hh, m, mm].iter().all(|b| b.is_ascii_digit());
    shaped && (*h < b'2' || *h == b'2' && *hh < b'4') && *m < b'6'
}

impl std::fmt::Display for Instant {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match Timestamp::from_millisecond(self.0) {
            Ok(t) => write!(f, "{t}"),
            Err(_) => write!(f, "{} ms", self.0),
        }
    }
}

/// How precisely the time of an observation is known.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Precision {
    /// To the minute.
    #[default]
    Minute,
    /// To the hour.
    Hour,
    /// Only the day is known: held only against the day.
    Day,
}

impl Precision {
    /// As written in the API and the database.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Minute => "minute",
            Self::Hour => "hour",
            Self::Day => "day",
        }
    }
    /// The inverse of [`Precision::name`].
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        [Self::Minute, Self::Hour, Self::Day].into_iter().find(|p| p.name() == text)
    }
}

/// The one order of everything: when it happened, then the number dealt at recording.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub struct Order {
    /// When it happened.
    pub at: Instant,
    /// The number dealt at first recording.
    pub seq: i64,
}

impl Order {
    /// From milliseconds and a sequence number.
    #[must_use]
    pub const fn new(at_ms: i64, seq: i64) -> Self {
        Self { at: Instant::from_ms(at_ms), seq }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn instants_need_an_offset() {
        // RFC 3339 section 5.6: time-offset is not optional.
        assert_eq!(Instant::parse("1970-01-01T00:00:01Z"), Some(Instant::from_ms(1000)));
        assert_eq!(Instant::parse("1970-01-01T02:00:01+02:00"), Some(Instant::from_ms(1000)));
        assert_eq!(Instant::parse("2026-03-01T10:00:00"), None);
        assert_eq!(Instant::parse("2026-03-01T10:00:00+24:00"), None);
        assert_eq!(Instant::parse("2026-03-01T10:00:00+23:60"), None);
        assert_eq!(Instant::parse("2026-03-01"), None);
        assert_eq!(Instant::parse("2026-02-30T10:00:00Z"), None);
        assert_eq!(Instant::parse("9999-03-01T10:00:00Z"), None);
        assert_eq!(Instant::parse("é026-03-01T10:00:00Z"), None);
    }
}
