//! The coin of a trial, so that everyone can toss it again from what is recorded.
//!
//! The seed of the trial, a number of 64 bits, is expanded to the key of ChaCha8 as
//! `SeedableRng::seed_from_u64` does (eight outputs of PCG32); the number of the pair, from 1, is
//! the stream. The lowest bit of the first word decides. Pairs do not depend on one another, so
//! that one toss can be checked without the others.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::Arm;

/// The arm of the shell named first in a pair; the other shell has the other.
///
/// Both shells are named before the coin is tossed: who sees the coin and then chooses the second
/// shell makes false verdicts in half of all trials.
#[must_use]
pub fn arm_of_first(seed: u64, pair: u32) -> Arm {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(u64::from(pair));
    if rng.random::<u32>() & 1 == 0 { Arm::A } else { Arm::B }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The coin once more, written out: PCG32 (O'Neill 2014) for the key, and the block function
    /// of RFC 8439 with eight rounds, a counter of 64 bits at 0 and the stream as nonce.
    fn by_hand(seed: u64, stream: u32) -> Arm {
        let mut state = seed;
        let mut block: Vec<u32> = vec![0x6170_7865, 0x3320_646e, 0x7962_2d32, 0x6b20_6574];
        for _ in 0..8 {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(11_634_580_027_462_260_723);
            let [.., a, b, c, d] = (((state >> 18) ^ state) >> 27).to_be_bytes();
            block.push(u32::from_be_bytes([a, b, c, d]).rotate_right(u32::try_from(state >> 59).unwrap()));
        }
        block.extend([0, 0, stream, 0]);
        let start = block[0];
        for round in 0..8 {
            let shift = round % 2;
            for column in 0..4 {
                let [a, b, c, d] = [0, 1, 2, 3].map(|row| 4 * row + (column + shift * row) % 4);
                for (to, with, mixed, turn) in [(a, b, d, 16), (c, d, b, 12), (a, b, d, 8), (c, d, b, 7)] {
                    block[to] = block[to].wrapping_add(block[with]);
                    block[mixed] = (block[mixed] ^ block[to]).rotate_left(turn);
                }
            }
        }
        if block[0].wrapping_add(start) & 1 == 0 { Arm::A } else { Arm::B }
    }

    #[test]
    fn the_coin_can_be_tossed_again_by_hand() {
        for seed in [0, 1, 20_261_125, u64::MAX] {
            for pair in [1, 2, 3, 77, u32::MAX] {
                assert_eq!(arm_of_first(seed, pair), by_hand(seed, pair), "{seed} {pair}");
            }
        }
    }

    #[test]
    fn it_is_fair_and_forgets() {
        let heads = |of: &dyn Fn(u32) -> bool| (1..=4_000).filter(|pair| of(*pair)).count();
        let first = |pair| arm_of_first(7, pair) == Arm::A;
        // Four standard deviations of 4,000 tosses are 126.
        assert!(heads(&first).abs_diff(2_000) < 127);
        assert!(heads(&|pair| first(pair) == first(pair + 1)).abs_diff(2_000) < 127);
        assert!(heads(&|pair| first(pair) == (arm_of_first(8, pair) == Arm::A)).abs_diff(2_000) < 127);
    }
}
