//! How far two rates are apart.

use serde::Serialize;
use utoipa::ToSchema;

use super::arm::Arm;
use super::binomial::wilson;

/// A difference of two rates with its interval, between −1 and 1.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, ToSchema)]
pub struct Difference {
    /// The rate of the first less that of the second.
    pub value: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// Rate of `a` less rate of `b` with Newcombe's interval (Newcombe 1998, *Statistics in
/// Medicine* 17:873–890, method 10): with (l, u) the Wilson intervals,
/// `d − √((p₁ − l₁)² + (u₂ − p₂)²)` and `d + √((u₁ − p₁)² + (p₂ − l₂)²)`.
///
/// `None` where either has nothing observed or confidence is not within (0, 1).
#[must_use]
pub fn newcombe(a: Arm, b: Arm, confidence: f64) -> Option<Difference> {
    let (first, second) = (a.share()?, b.share()?);
    let around_first = wilson(a.events(), a.of(), confidence)?;
    let around_second = wilson(b.events(), b.of(), confidence)?;
    let value = first - second;
    let below = (first - around_first.low).hypot(around_second.high - second);
    let above = (around_first.high - first).hypot(second - around_second.low);
    Some(Difference { value, low: (value - below).max(-1.0), high: (value + above).min(1.0) })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn nothing_observed_is_no_difference() {
        let some = Arm::new(1, 5).unwrap();
        assert_eq!(newcombe(some, Arm::default(), 0.95), None);
        assert_eq!(newcombe(Arm::default(), some, 0.95), None);
        assert_eq!(newcombe(some, some, 1.0), None);
    }

    proptest! {
        #[test]
        fn swapping_the_two_swaps_the_signs(x in 0_u32..40, m in 0_u32..40, y in 0_u32..40, n in 0_u32..40) {
            let (a, b) = (Arm::new(x, x + m).unwrap(), Arm::new(y, y + n).unwrap());
            prop_assume!(a.of() > 0 && b.of() > 0);
            let (one, other) = (newcombe(a, b, 0.95).unwrap(), newcombe(b, a, 0.95).unwrap());
            prop_assert!((one.value + other.value).abs() < 1e-15 && (one.low + other.high).abs() < 1e-15);
            prop_assert!(one.low <= one.value && one.value <= one.high);
        }
    }
}
