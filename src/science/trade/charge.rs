//! Making up a charge: how much of what brings one element where it should be.
//!
//! Balances of one element's mass, without loss unless a recovery is named.

use super::measure::{Fraction, mass_from_mg, mg, scaled};
use crate::kernel::quantity::Mass;

/// How much of another metal, holding `other` of an element, brings a charge that
/// holds `now` of it to `target`: `m · (target − now) / (other − target)`.
///
/// `None` when no amount can: the target is not between the two, or is the other's.
#[must_use]
pub fn addition_to_reach(charge: Mass, now: Fraction, other: Fraction, target: Fraction) -> Option<Mass> {
    let ratio = (target.get() - now.get()) / (other.get() - target.get());
    (ratio.is_finite() && ratio >= 0.0).then(|| scaled(charge, ratio))?
}

/// An addition of which only a part reaches the bath; the rest leaves it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Addition {
    /// What is charged.
    pub charged: Mass,
    /// What of it reaches the bath.
    pub recovered: Mass,
}

/// As [`addition_to_reach`], where `recovery` of the addition reaches the bath and
/// the rest leaves it: what must reach the bath, over the recovery.
///
/// `None` as there, and when nothing is recovered.
#[must_use]
pub fn addition_with_recovery(
    charge: Mass,
    now: Fraction,
    other: Fraction,
    target: Fraction,
    recovery: Fraction,
) -> Option<Addition> {
    let recovered = addition_to_reach(charge, now, other, target)?;
    let charged = scaled(recovered, recovery.get().recip())?;
    Some(Addition { charged, recovered })
}

/// A total made of two metals.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Parts {
    /// Of the metal that holds more of the element.
    pub rich: Mass,
    /// Of the metal that holds less of it.
    pub lean: Mass,
}

/// How much of a rich and a lean metal make a total at a target: `total · (target −
/// lean) / (rich − lean)` of the rich, the rest of the lean.
///
/// `None` when the target is not between the two.
#[must_use]
pub fn parts_for(total: Mass, target: Fraction, rich: Fraction, lean: Fraction) -> Option<Parts> {
    let share = Fraction::new((target.get() - lean.get()) / (rich.get() - lean.get()))?;
    let rich = scaled(total, share.get())?;
    Some(Parts { rich, lean: total - rich })
}

/// An alloy of two elements in which the first outweighs the second by `difference`,
/// and in which `added` of the first raises its fraction by `rise`: the mass of the
/// second, smaller root first.
///
/// With x of the second, `a x / ((2x + d + a)(2x + d)) = r`, which is `4r x² +
/// (2r(2d + a) − a) x + r d (d + a) = 0`. Both roots satisfy the words when both are
/// above 0; nothing but a further fact decides between them. `None` when none does.
#[must_use]
pub fn second_element_from_rise(difference: Mass, added: Mass, rise: Fraction) -> Option<(Mass, Mass)> {
    let (d, a, r) = (mg(difference), mg(added), rise.get());
    let (square, linear) = (4.0 * r, 2.0 * r * (2.0 * d + a) - a);
    let constant = r * d * (d + a);
    let under = linear * linear - 4.0 * square * constant;
    if under < 0.0 || square <= 0.0 || linear >= 0.0 {
        return None;
    }
    // The larger root without cancellation; the smaller from the product of both.
    let larger = (under.sqrt() - linear) / (2.0 * square);
    let smaller = constant / (square * larger);
    Some((mass_from_mg(smaller)?, mass_from_mg(larger)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(value: f64) -> Fraction {
        Fraction::new(value).unwrap()
    }

    #[test]
    fn what_cannot_be_reached_has_no_answer() {
        let charge = Mass::from_mg(1_000_000);
        assert_eq!(addition_to_reach(charge, part(0.1), part(0.2), part(0.3)), None);
        assert_eq!(addition_to_reach(charge, part(0.1), part(0.2), part(0.2)), None);
        assert_eq!(addition_to_reach(charge, part(0.2), part(0.2), part(0.2)), None);
        let none = addition_with_recovery(charge, part(0.1), part(1.0), part(0.2), Fraction::NONE);
        assert_eq!(none, None);
        assert_eq!(parts_for(charge, part(0.5), part(0.4), part(0.0)), None);
        assert_eq!(parts_for(charge, part(0.5), part(0.5), part(0.5)), None);
        assert_eq!(second_element_from_rise(charge, charge, part(1.0)), None);
    }

    #[test]
    fn what_is_there_already_needs_nothing() {
        let charge = Mass::from_mg(1_000_000);
        let got = addition_to_reach(charge, part(0.2), part(1.0), part(0.2));
        assert_eq!(got, Some(Mass::ZERO));
    }
}
