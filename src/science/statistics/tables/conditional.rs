//! The exact conditional comparison, given the margins of every stratum.
//!
//! In a stratum the events of a are hypergeometric, with odds ratio ψ noncentral
//! hypergeometric (Fisher 1935; Cornfield 1956); their sum over strata is distributed as
//! the convolution (Gart 1970, *Biometrika* 57:471–475). One stratum is Fisher's test.

use super::{OddsRatio, Stratum};
use crate::science::statistics::arm::Arm;
use crate::science::statistics::discrete::{Discrete, KEEP, KEEP_ALL};

/// Most halvings of a root search: beyond them the bracket is a float's spacing.
const MOST_STEPS: u32 = 200;
/// The odds ratios that are told apart from 0 and infinity, as logarithms.
const WIDEST: f64 = 690.0;

/// The exact conditional test that a and b have equal odds in every stratum.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct ConditionalTest {
    /// Two-sided: the chance of sums no more probable than the seen one, equals included
    /// up to a relative 1e-7. Below 1e-250 it may stand at 0.
    pub p: f64,
    /// The chance of as few events of a, or fewer.
    pub less: f64,
    /// The chance of as many events of a, or more.
    pub greater: f64,
    /// The events of a.
    pub observed: u64,
    /// The events of a to be expected, were the odds equal.
    pub expected: f64,
}

/// Tests equal odds in all strata, given their margins. Strata that inform of nothing move
/// observed and expected alike; without any that informs, p is 1.
#[must_use]
pub fn exact_conditional(strata: &[Stratum]) -> ConditionalTest {
    let observed = strata.iter().map(|stratum| u64::from(stratum.a.events())).sum();
    let (_, span) = support(strata);
    let near = sum_over(strata, 0.0, KEEP);
    // An observation far out is looked for in a window that reaches as far as floats do.
    let sum = if span == 0 || near.weight(observed) > KEEP.sqrt() { near } else { sum_over(strata, 0.0, KEEP_ALL) };
    let (less, greater) = sum.one_sided(observed);
    ConditionalTest { p: sum.two_sided(observed), less, greater, observed, expected: sum.moments().0 }
}

/// Fisher's exact test of one two-by-two table, two-sided by probability. It is
/// conservative; a large p is no proof of equality.
#[must_use]
pub fn fisher_p(a: Arm, b: Arm) -> f64 {
    exact_conditional(&[Stratum { a, b }]).p
}

/// The common odds ratio by conditional maximum likelihood with its exact limits, each
/// tail `(1 − confidence) ∕ 2` (Cornfield 1956; Gart 1970). At the edge of what the margins
/// allow the estimate is 0 or infinite and one limit stays finite.
///
/// `None` where no stratum informs, and unless confidence is within (0, 1).
#[must_use]
pub fn conditional_odds_ratio(strata: &[Stratum], confidence: f64) -> Option<OddsRatio> {
    if !(confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let strata: Vec<Stratum> = strata.iter().copied().filter(Stratum::informs).collect();
    let observed: u64 = strata.iter().map(|stratum| u64::from(stratum.a.events())).sum();
    let (least, span) = support(&strata);
    if span == 0 {
        return None;
    }
    let (lowest, highest) = (observed == least, observed == least + span);
    #[expect(clippy::cast_precision_loss, reason = "counts lie far below 2^53")]
    let aim = observed as f64 + if lowest { 0.5 } else { 0.0 } - if highest { 0.5 } else { 0.0 };
    let centre = where_mean_is(&strata, aim);
    let about = Tilted::new(&sum_over(&strata, centre, KEEP), observed);
    let tail = ((1.0 - confidence) / 2.0).ln();
    let value = match (lowest, highest) {
        (true, _) => 0.0,
        (_, true) => f64::INFINITY,
        _ => centre.exp(),
    };
    let low = if lowest { 0.0 } else { (centre - about.reach(tail, -1.0)).exp() };
    let high = if highest { f64::INFINITY } else { (centre + about.reach(tail, 1.0)).exp() };
    Some(OddsRatio { value, low, high })
}

/// The least sum of events of a that the margins allow, and how many more are possible.
fn support(strata: &[Stratum]) -> (u64, u64) {
    strata.iter().map(range).fold((0, 0), |(least, span), (low, high)| (least + low, span + (high - low)))
}

fn range(stratum: &Stratum) -> (u64, u64) {
    let events = u64::from(stratum.a.events()) + u64::from(stratum.b.events());
    (events.saturating_sub(u64::from(stratum.b.of())), events.min(u64::from(stratum.a.of())))
}

/// The events of a in one stratum where ln ψ is `ln_odds`.
fn hypergeometric(stratum: &Stratum, ln_odds: f64, keep: f64) -> Discrete {
    let (low, high) = range(stratum);
    let (of_a, of_b) = (u64::from(stratum.a.of()), u64::from(stratum.b.of()));
    let events = u64::from(stratum.a.events()) + u64::from(stratum.b.events());
    let odds = ln_odds.exp();
    #[expect(clippy::cast_precision_loss, reason = "counts below 2^33")]
    let ratio =
        move |k: u64| ((of_a - k) as f64 * (events - k) as f64) / ((k + 1) as f64 * (of_b + k + 1 - events) as f64) * odds;
    Discrete::by_ratio(low, high, keep, ratio)
}

/// The sum over all strata, the narrowest first so that the long ones are gone over least.
fn sum_over(strata: &[Stratum], ln_odds: f64, keep: f64) -> Discrete {
    let mut parts: Vec<Discrete> = strata.iter().map(|stratum| hypergeometric(stratum, ln_odds, keep)).collect();
    parts.sort_by_key(Discrete::width);
    parts.iter().fold(Discrete::certain(0), |sum, part| sum.plus(part, keep))
}

/// ln ψ at which the events of a have the mean `aim`, which lies inside their range: Newton
/// steps (the slope is the variance) inside a bracket that only shrinks.
fn where_mean_is(strata: &[Stratum], aim: f64) -> f64 {
    let moments = |ln_odds: f64| {
        strata
            .iter()
            .map(|stratum| hypergeometric(stratum, ln_odds, KEEP).moments())
            .fold((0.0, 0.0), |sum, one| (sum.0 + one.0, sum.1 + one.1))
    };
    let (mut low, mut high) = (-WIDEST, WIDEST);
    let mut at = 0.0;
    for _ in 0..MOST_STEPS {
        let (mean, slope) = moments(at);
        if mean > aim {
            high = at;
        } else {
            low = at;
        }
        let newton = at - (mean - aim) / slope;
        let next = if newton > low && newton < high && (newton - at).abs() < 10.0 { newton } else { f64::midpoint(low, high) };
        let moved = (next - at).abs();
        at = next;
        if moved <= 1e-14 * at.abs().max(1.0) {
            break;
        }
    }
    at
}

/// A distribution as offsets from the observed sum and logarithms of weights, to be
/// tilted to other odds ratios.
struct Tilted(Vec<(f64, f64)>);

impl Tilted {
    #[expect(clippy::cast_precision_loss, reason = "counts lie far below 2^53")]
    fn new(sum: &Discrete, observed: u64) -> Self {
        Self(sum.iter().map(|(k, weight)| (k as f64 - observed as f64, weight.ln())).collect())
    }

    /// ln of the chance of a sum at least as far to `side` as the observed one, after the
    /// tilt by `shift` in ln ψ.
    fn ln_tail(&self, shift: f64, side: f64) -> f64 {
        let most = self.0.iter().map(|(offset, ln)| ln + shift * offset).fold(f64::NEG_INFINITY, f64::max);
        let (mut tail, mut all) = (0.0, 0.0);
        for (offset, ln) in &self.0 {
            let weight = (ln + shift * offset - most).exp();
            all += weight;
            if offset * side >= 0.0 {
                tail += weight;
            }
        }
        (tail / all).ln()
    }

    /// How far ln ψ moves to `side` before the tail on the other side is down to `ln_tail`.
    fn reach(&self, ln_tail: f64, side: f64) -> f64 {
        let beyond = |reach: f64| self.ln_tail(side * reach, -side) < ln_tail;
        let (mut near, mut far) = (0.0, 0.5);
        // At an edge the centre stands half an event inside, so the limit may lie behind it.
        while beyond(near) && near > -WIDEST {
            far = near;
            near = near * 2.0 - 0.5;
        }
        while !beyond(far) && far < WIDEST {
            near = far;
            far *= 2.0;
        }
        for _ in 0..MOST_STEPS {
            let middle = f64::midpoint(near, far);
            if beyond(middle) {
                far = middle;
            } else {
                near = middle;
            }
            if far - near <= 1e-13 * far.abs().max(1e-3) {
                break;
            }
        }
        f64::midpoint(near, far)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn stratum(xa: u32, na: u32, xb: u32, nb: u32) -> Stratum {
        Stratum { a: Arm::new(xa, na).unwrap(), b: Arm::new(xb, nb).unwrap() }
    }

    /// Exact whole-number counts of all tables with the margins of some strata.
    fn enumerated(strata: &[Stratum]) -> (f64, u64) {
        fn choose(n: u64, k: u64) -> u128 {
            if k > n { 0 } else { (0..k).fold(1, |ways, i| ways * u128::from(n - i) / u128::from(i + 1)) }
        }
        let mut ways = vec![1_u128];
        for s in strata {
            let events = u64::from(s.a.events() + s.b.events());
            let mut next = vec![0; ways.len() + usize::try_from(events).unwrap()];
            for (sum, before) in ways.iter().enumerate() {
                for k in 0..=events {
                    next[sum + usize::try_from(k).unwrap()] +=
                        before * choose(u64::from(s.a.of()), k) * choose(u64::from(s.b.of()), events - k);
                }
            }
            ways = next;
        }
        let seen: usize = strata.iter().map(|s| s.a.events() as usize).sum();
        let (limit, all) = (ways[seen], ways.iter().sum::<u128>());
        let hits: u128 = ways.iter().filter(|w| **w <= limit).sum();
        #[expect(clippy::cast_precision_loss, reason = "a ratio to 16 digits")]
        let p = hits as f64 / all as f64;
        (p, seen as u64)
    }

    #[test]
    fn small_tables_are_as_counted() {
        let mut tables = 0;
        for na in 1..7 {
            for nb in 1..7 {
                for (xa, xb) in (0..=na).flat_map(|xa| (0..=nb).map(move |xb| (xa, xb))) {
                    for other in [vec![], vec![stratum(1, 3, 0, 4)], vec![stratum(2, 2, 1, 3), stratum(0, 5, 2, 4)]] {
                        let strata: Vec<Stratum> = std::iter::once(stratum(xa, na, xb, nb)).chain(other).collect();
                        let (want, seen) = enumerated(&strata);
                        let got = exact_conditional(&strata);
                        assert!((got.p - want).abs() < 1e-13 && got.observed == seen, "{strata:?}: {got:?}, {want}");
                        tables += 1;
                    }
                }
            }
        }
        assert_eq!(tables, 3 * 27 * 27);
    }

    #[test]
    fn the_limits_are_where_the_tails_say() {
        // The defining equations, at odds handed back, in strata of which one is at its edge.
        let strata = [stratum(1, 9, 4, 12), stratum(0, 4, 2, 5), stratum(3, 20, 5, 18)];
        let got = conditional_odds_ratio(&strata, 0.95).unwrap();
        let at = |psi: f64| sum_over(&strata, psi.ln(), KEEP).one_sided(4);
        assert!((at(got.low).1 - 0.025).abs() < 1e-12 && (at(got.high).0 - 0.025).abs() < 1e-12);
        let mean = sum_over(&strata, got.value.ln(), KEEP).moments().0;
        assert!((mean - 4.0).abs() < 1e-10, "{mean}");
    }

    #[test]
    fn swapping_a_and_b_inverts_the_odds() {
        for one in [stratum(0, 14, 4, 12), stratum(2, 14, 4, 12), stratum(14, 14, 3, 12), stratum(1, 2, 0, 1_000)] {
            let other = Stratum { a: one.b, b: one.a };
            let (one, other) = (conditional_odds_ratio(&[one], 0.9), conditional_odds_ratio(&[other], 0.9));
            let (one, other) = (one.unwrap(), other.unwrap());
            for (left, right) in [(one.value, other.value), (one.low, other.high), (one.high, other.low)] {
                assert!(
                    (left - 1.0 / right).abs() <= 1e-9 * left.abs() || left.to_bits() == (1.0 / right).to_bits(),
                    "{one:?} {other:?}"
                );
            }
            assert!(one.low <= one.value && one.value <= one.high);
        }
    }

    #[test]
    fn nothing_to_compare_is_no_odds_ratio() {
        assert_eq!(conditional_odds_ratio(&[stratum(0, 9, 0, 21)], 0.95), None);
        assert_eq!(conditional_odds_ratio(&[], 0.95), None);
        assert_eq!(conditional_odds_ratio(&[stratum(1, 9, 0, 21)], 1.0), None);
        assert_eq!(exact_conditional(&[]).p.to_bits(), 1.0_f64.to_bits());
        assert_eq!(exact_conditional(&[stratum(3, 3, 0, 0)]).p.to_bits(), 1.0_f64.to_bits());
    }

    #[test]
    fn counts_of_thousands_are_as_counted() {
        // Fractions of whole numbers, worked out in another language.
        for (strata, want) in [
            (
                vec![stratum(60, 5_000, 90, 5_000), stratum(200, 3_000, 260, 3_200), stratum(5, 2_000, 2, 900)],
                0.002_084_563_249_983_631_2,
            ),
            (vec![stratum(900, 10_000, 1_300, 10_000)], 1.579_298_295_424_250_4e-19),
        ] {
            let got = exact_conditional(&strata).p;
            assert!((got / want - 1.0).abs() < 1e-10, "{got} {want}");
        }
    }

    #[test]
    fn large_counts_are_quick_and_agree_with_the_normal_law() {
        // 40 strata, 800,000 pours: near the normal approximation with a correction.
        let strata: Vec<Stratum> = (0..40).map(|i| stratum(480 + i, 10_000, 500, 10_000)).collect();
        let got = exact_conditional(&strata);
        let normal = super::super::mantel_haenszel(&strata, 0.95).unwrap();
        let p = normal.corrected.unwrap().p;
        assert!((got.p - p).abs() < 2e-3 * p, "{got:?} {p}");
        let (exact, approximate) = (conditional_odds_ratio(&strata, 0.95).unwrap(), normal.odds_ratio);
        assert!((exact.value / approximate.value - 1.0).abs() < 1e-4, "{exact:?} {approximate:?}");
        assert!((exact.low / approximate.low - 1.0).abs() < 1e-3 && (exact.high / approximate.high - 1.0).abs() < 1e-3);
        // And far out, where p is next to nothing.
        let far = exact_conditional(&[stratum(100_000, 500_000, 300_000, 500_000)]);
        assert!(far.p < 1e-200 && far.less < 1e-200 && (far.greater - 1.0).abs() < 1e-12, "{far:?}");
        let odds = conditional_odds_ratio(&[stratum(100_000, 500_000, 300_000, 500_000)], 0.95).unwrap();
        assert!((odds.value * 6.0 - 1.0).abs() < 1e-4 && odds.low < odds.value && odds.value < odds.high, "{odds:?}");
    }

    fn any_stratum() -> impl Strategy<Value = Stratum> {
        (0_u32..9, 0_u32..30, 0_u32..9, 0_u32..30).prop_map(|(x, m, y, n)| stratum(x, x + m, y, y + n))
    }

    proptest! {
        #[test]
        fn any_strata_are_as_counted(strata in prop::collection::vec(any_stratum(), 1..3)) {
            let (want, _) = enumerated(&strata);
            prop_assert!((exact_conditional(&strata).p - want).abs() < 1e-12);
        }

        #[test]
        fn any_limits_are_where_the_tails_say(strata in prop::collection::vec(any_stratum(), 1..5), confidence in 0.5_f64..0.999) {
            if let Some(odds) = conditional_odds_ratio(&strata, confidence) {
                let observed = strata.iter().map(|stratum| u64::from(stratum.a.events())).sum();
                let tail = (1.0 - confidence) / 2.0;
                let at = |odds: f64| sum_over(&strata, odds.ln(), KEEP).one_sided(observed);
                if odds.low > 0.0 {
                    prop_assert!((at(odds.low).1 / tail - 1.0).abs() < 1e-9, "{:?} {odds:?}", at(odds.low));
                }
                if odds.high.is_finite() {
                    prop_assert!((at(odds.high).0 / tail - 1.0).abs() < 1e-9, "{:?} {odds:?}", at(odds.high));
                }
                prop_assert!(odds.low <= odds.value && odds.value <= odds.high);
            }
        }
    }
}
