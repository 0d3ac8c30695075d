//! Edition marks: `3/8`, `AP 1/2`; and how many copies they speak of.

use std::collections::BTreeMap;

/// A mark as read: the kind of proof (empty for the edition itself), which, of how many.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Mark {
    /// `AP`, `EA`, `HC`, `PP`, …; empty for the edition.
    pub kind: String,
    /// Which, from 1.
    pub n: u32,
    /// Of how many.
    pub of: u32,
}

impl Mark {
    /// Reads a mark: letters of a proof or none, a number, `/`, a number not below it. `None`
    /// where it is not written so; nothing is guessed.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        let digits = text.find(|c: char| c.is_ascii_digit())?;
        let (kind, rest) = text.split_at(digits);
        let (n, of) = rest.split_once('/')?;
        let kind: String = kind.split_whitespace().collect::<Vec<_>>().join(" ").replace('.', "").to_uppercase();
        let whole = |part: &str| part.trim().parse::<u32>().ok().filter(|n| (1..=10_000).contains(n));
        let (n, of) = (whole(n)?, whole(of)?);
        (n <= of && kind.chars().all(|c| c.is_alphabetic() || c == ' ')).then_some(Self { kind, n, of })
    }
    /// As it is written: `3/8`, `AP 1/2`.
    #[must_use]
    pub fn text(&self) -> String {
        if self.kind.is_empty() { format!("{}/{}", self.n, self.of) } else { format!("{} {}/{}", self.kind, self.n, self.of) }
    }
}

/// How many copies the marks of an edition speak of: of the edition and of each kind of proof
/// the most that any mark says. 0 where there is none.
pub fn copies<'m>(marks: impl IntoIterator<Item = &'m Mark>) -> usize {
    let mut most: BTreeMap<&str, u32> = BTreeMap::new();
    for mark in marks {
        let of = most.entry(mark.kind.as_str()).or_default();
        *of = mark.of.max(*of);
    }
    most.values().map(|of| usize::try_from(*of).unwrap_or(0)).sum()
}
