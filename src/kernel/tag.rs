//! Tags: five characters of Crockford base 32, scratched in wax and cut in shells.

/// A tag such as `7K2MQ`. Reads forgiving: case, spaces and hyphens do not matter,
/// O is 0, I and L are 1 (Crockford, "Base 32", crockford.com/base32.html).
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct Tag([u8; 5]);

const LETTERS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
/// How many tags there are: 32⁵.
pub const TAGS: u32 = 33_554_432;

impl Tag {
    /// Reads a tag as someone would type it.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let mut out = [0_u8; 5];
        let mut n = 0;
        for c in text.bytes() {
            let c = match c.to_ascii_uppercase() {
                b' ' | b'-' => continue,
                b'O' => b'0',
                b'I' | b'L' => b'1',
                c => c,
            };
            if n == 5 || !LETTERS.contains(&c) {
                return None;
            }
            out[n] = c;
            n += 1;
        }
        (n == 5).then_some(Self(out))
    }

    /// The `n`-th tag of the series, scattered so that neighbours in time do not look
    /// alike: n·A + B modulo 32⁵ with A odd, which visits every tag once.
    #[must_use]
    pub fn nth(n: u32) -> Self {
        let mut value = n.wrapping_mul(20_637_109).wrapping_add(11_259_375) % TAGS;
        let mut out = [b'0'; 5];
        for slot in out.iter_mut().rev() {
            *slot = LETTERS[(value % 32) as usize];
            value /= 32;
        }
        Self(out)
    }
}

impl std::fmt::Display for Tag {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.iter().try_for_each(|&c| write!(f, "{}", char::from(c)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn forgiving_as_crockford_says() {
        assert_eq!(Tag::parse("oIl-9z").map(|t| t.to_string()), Some("0119Z".into()));
        assert_eq!(Tag::parse("U1234"), None);
        assert_eq!(Tag::parse("123456"), None);
        assert_eq!(Tag::parse(""), None);
    }

    #[test]
    fn the_series_does_not_repeat() {
        let seen: std::collections::HashSet<_> = (0..200_000).map(Tag::nth).collect();
        assert_eq!(seen.len(), 200_000);
        assert!((0..1000).all(|n| Tag::parse(&Tag::nth(n).to_string()) == Some(Tag::nth(n))));
    }
}
