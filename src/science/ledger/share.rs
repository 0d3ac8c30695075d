//! Sharing whole units by weights, exactly (docs/ledger.md, *Sharing*).

use std::cmp::Reverse;

/// One taker of a share.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Taker {
    /// What it is shared by. Below 0 counts as 0.
    pub weight: i64,
    /// The least it may get; only [`share_with_floors`] looks at it.
    pub floor: i64,
    /// Breaks ties between equal remainders: the lowest first.
    pub rank: i64,
}

impl Taker {
    /// A taker without a floor.
    #[must_use]
    pub const fn new(weight: i64, rank: i64) -> Self {
        Self { weight, floor: 0, rank }
    }
}

/// Shares `total` by weight: the floor of |total|·w/Σw each, then one unit more to the
/// largest remainders, ties to the lowest rank, then the sign of `total`.
///
/// The answer has one share for each taker, in their order, and sums to `total` exactly
/// (to nothing when there are no takers). Weights that are all 0 count as all 1.
#[must_use]
pub fn share(total: i64, takers: &[Taker]) -> Vec<i64> {
    let all_zero = takers.iter().all(|t| t.weight <= 0);
    let weights: Vec<i128> = takers.iter().map(|t| if all_zero { 1 } else { i128::from(t.weight.max(0)) }).collect();
    let sum: i128 = weights.iter().sum();
    if sum == 0 {
        return Vec::new();
    }
    let size = i128::from(total).abs();
    let mut shares: Vec<i128> = weights.iter().map(|w| size * w / sum).collect();
    let mut queue: Vec<usize> = (0..takers.len()).collect();
    queue.sort_by_key(|&i| (Reverse(size * weights[i] % sum), takers[i].rank, i));
    let mut left = size - shares.iter().sum::<i128>();
    for i in queue {
        if left == 0 {
            break;
        }
        shares[i] += 1;
        left -= 1;
    }
    let sign = i128::from(total).signum();
    shares.into_iter().map(|s| narrow(sign * s)).collect()
}

/// Shares `total` by weight so that nobody gets less than their floor (rule 3).
///
/// Every taker below its floor is fixed at its floor and the rest is shared again over
/// the others, until none is below. The second answer is what is left over: 0, or the
/// negative number by which `total` falls short of the floors, each then having its floor;
/// without takers, all of it.
#[must_use]
pub fn share_with_floors(total: i64, takers: &[Taker]) -> (Vec<i64>, i64) {
    let mut shares: Vec<i64> = takers.iter().map(|t| t.floor).collect();
    let floors: i128 = shares.iter().copied().map(i128::from).sum();
    if takers.is_empty() || floors > i128::from(total) {
        return (shares, narrow(i128::from(total) - floors));
    }
    let mut open: Vec<usize> = (0..takers.len()).collect();
    let mut rest = total;
    while !open.is_empty() {
        let still: Vec<Taker> = open.iter().map(|&i| takers[i]).collect();
        let tried = share(rest, &still);
        let (below, fine): (Vec<_>, Vec<_>) = open.iter().copied().zip(tried).partition(|&(i, s)| s < takers[i].floor);
        if below.is_empty() {
            for (i, s) in fine {
                shares[i] = s;
            }
            break;
        }
        rest -= below.iter().map(|&(i, _)| takers[i].floor).sum::<i64>();
        open = fine.into_iter().map(|(i, _)| i).collect();
    }
    (shares, 0)
}

/// Into 64 bits; what does not fit is held at the end of the range.
fn narrow(wide: i128) -> i64 {
    i64::try_from(wide).unwrap_or(if wide < 0 { i64::MIN } else { i64::MAX })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn by(weights: &[i64]) -> Vec<Taker> {
        (0..).zip(weights).map(|(rank, &weight)| Taker::new(weight, rank)).collect()
    }

    #[test]
    fn the_largest_remainders_get_the_units_left() {
        // 100 by 1:1:1 = 33 each, one left; remainders equal, so the lowest rank.
        assert_eq!(share(100, &by(&[1, 1, 1])), [34, 33, 33]);
        // 10 by 6:3:1 over 7 units: 4.2, 2.1, 0.7 → 4, 2, 0 and one to 0.7.
        assert_eq!(share(7, &by(&[6, 3, 1])), [4, 2, 1]);
        // The sign comes last: the same magnitudes as +100.
        assert_eq!(share(-100, &by(&[1, 1, 1])), [-34, -33, -33]);
        assert_eq!(share(5, &by(&[0, 0])), [3, 2]);
        assert_eq!(share(5, &by(&[0, 7])), [0, 5]);
        assert!(share(5, &[]).is_empty());
        // Rank, not place, breaks the tie.
        assert_eq!(share(1, &[Taker::new(1, 9), Taker::new(1, 2)]), [0, 1]);
    }

    #[test]
    fn floors_are_kept_and_the_rest_is_shared_again() {
        let taker = |weight, floor, rank| Taker { weight, floor, rank };
        // 100 by 1:1:2 = 25, 25, 50; the first needs 40, so 60 by 1:2 = 20, 40.
        let takers = [taker(1, 40, 0), taker(1, 0, 1), taker(2, 0, 2)];
        assert_eq!(share_with_floors(100, &takers), (vec![40, 20, 40], 0));
        // Fixing one may push another below: 60 by 1:2 = 20, 40 but the second needs 30.
        let takers = [taker(1, 40, 0), taker(1, 22, 1), taker(2, 0, 2)];
        assert_eq!(share_with_floors(100, &takers), (vec![40, 22, 38], 0));
        // Floors of 62 out of 50: 12 short.
        assert_eq!(share_with_floors(50, &takers), (vec![40, 22, 0], -12));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(200))]

        #[test]
        fn shares_sum_exactly(
            total in -1_000_000_000_000_i64..1_000_000_000_000,
            weights in prop::collection::vec(0_i64..1_000_000_000_000, 1..9),
        ) {
            let shares = share(total, &by(&weights));
            prop_assert_eq!(shares.iter().sum::<i64>(), total);
            prop_assert!(shares.iter().all(|s| *s == 0 || s.signum() == total.signum()));
        }

        #[test]
        fn floored_shares_sum_exactly(
            total in -50_i64..5000,
            takers in prop::collection::vec((0_i64..40, 0_i64..900), 1..7),
        ) {
            let takers: Vec<Taker> = (0..).zip(takers)
                .map(|(rank, (weight, floor))| Taker { weight, floor, rank }).collect();
            let (shares, rest) = share_with_floors(total, &takers);
            prop_assert_eq!(shares.iter().sum::<i64>() + rest, total);
            prop_assert!(rest <= 0);
            prop_assert!(shares.iter().zip(&takers).all(|(s, t)| *s >= t.floor));
        }
    }
}
