//! How often a piece is cast until it is good.

/// The prior shapes of the chance that a casting is lost: one in ten, worth six castings.
pub const PRIOR_LOSS: (f64, f64) = (0.6, 5.4);
/// Most attempts reckoned with.
const MOST_ATTEMPTS: u32 = 10_000;

/// Castings for the copies of one pattern.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Attempts {
    /// The mean chance that a casting is lost, a ∕ (a + b).
    pub mean_loss: f64,
    /// Castings to a piece, on average.
    pub per_piece: f64,
    /// The chance that a piece is not good within the attempts. With one attempt it is the
    /// chance that the work is lost.
    pub never_good: f64,
    /// Castings in all: mean.
    pub castings: f64,
    /// Their standard deviation.
    pub castings_sd: f64,
}

/// Each copy is cast until it is good, at most `most` times; a casting is lost with chance p,
/// and p ~ Beta(a, b) is the pattern's, the same for its copies: their bad luck comes
/// together. Moments E p^r = Π (a + i) ∕ (a + b + i); attempts of one copy have mean
/// Σ E pⁱ and mean square Σ (2i + 1) E pⁱ over i < `most`.
///
/// `None` unless a, b > 0 and 1 ≤ `most` ≤ 10,000.
#[must_use]
pub fn attempts(a: f64, b: f64, most: u32, copies: u32) -> Option<Attempts> {
    let shaped = a > 0.0 && b > 0.0 && a.is_finite() && b.is_finite();
    if !shaped || most == 0 || most > MOST_ATTEMPTS {
        return None;
    }
    let (mut moment, mut mean, mut square, mut together) = (1.0, 0.0, 0.0, 0.0);
    let mut never_good = 0.0;
    // E (Σ pⁱ)² gathers p^r as often as r is a sum of two exponents below `most`.
    for r in 0..2 * most - 1 {
        if r < most {
            mean += moment;
            square += f64::from(2 * r + 1) * moment;
        }
        together += f64::from((r + 1).min(2 * most - 1 - r)) * moment;
        moment *= (a + f64::from(r)) / (a + b + f64::from(r));
        if r + 1 == most {
            never_good = moment;
        }
    }
    let n = f64::from(copies);
    // Variance within copies at a known p, and of their common mean.
    let variance = n * (square - together) + n * n * (together - mean * mean);
    Some(Attempts {
        mean_loss: a / (a + b),
        per_piece: mean,
        never_good,
        castings: n * mean,
        castings_sd: variance.max(0.0).sqrt(),
    })
}
