//! The ends of the range, worked by hand. Masses in mg, values in minor units.

use super::*;
use crate::science::ledger::history::Gone;
use Account::{Delivered, Leak, Sold, Swarf, Unexplained};

/// A lot, a heat charged with all of it, a shell poured from it.
fn poured(mass: i64, value: i64, estimates: &[i64], stream: i64) -> (Story, i64, i64, Vec<i64>, i64) {
    let mut s = Story::default();
    let lot = s.lot(mass, value);
    let heat = s.heat(lot, mass);
    let (shell, castings) = s.shell(estimates, 0);
    let pour = s.pour(heat, shell, weighed(stream));
    (s, heat, shell, castings, pour)
}

#[test]
fn one_milligram_goes_all_the_way() {
    let (mut s, heat, shell, castings, pour) = poured(1, 1, &[1], 1);
    let close = s.close(heat, 0, 0, 0);
    let out = s.breakout(castings[0], 1, 0, Verdict::Accepted);
    let gone = s.log(Event::Deliver { castings: castings.clone() });
    let book = s.derive();
    assert_eq!(caused(&book, pour), [(Heat(heat), Shell(shell), 1, 0)]);
    assert_eq!(caused(&book, close), [(Heat(heat), Shell(shell), 0, 1)]);
    assert_eq!(caused(&book, out), [(Shell(shell), Casting(castings[0]), 1, 0), (Shell(shell), Casting(castings[0]), 0, 1)]);
    assert_eq!(caused(&book, gone), [(Casting(castings[0]), Delivered, 1, 1)]);
    assert_eq!(book.figures.castings[&castings[0]].resting.minor(), 1);
}

/// The most a record may say is 10⁶ kg and 10¹² minor units.
const MOST: i64 = 1_000_000_000_000;

#[test]
fn the_caps_do_not_overflow() {
    let (mut s, heat, shell, castings, _) = poured(MOST, MOST, &[MOST, MOST], 600_000_000_000);
    let close = s.close(heat, 399_999_999_999, 1, 0);
    let one = s.breakout(castings[0], 250_000_000_000, 99_999_999_999, Verdict::Accepted);
    let two = s.breakout(castings[1], 250_000_000_000, 0, Verdict::Accepted);
    let book = s.derive();
    // Unit value 1. 10¹² − 399,999,999,999 stays for the shell.
    assert_eq!(caused(&book, close)[0], (Heat(heat), Lot(POOL), 399_999_999_999, 399_999_999_999));
    assert_eq!(caused(&book, close)[2], (Heat(heat), Shell(shell), 0, 600_000_000_001));
    assert_eq!(caused(&book, one)[0], (Shell(shell), Lot(POOL), 99_999_999_999, 99_999_999_999));
    // 600·10⁹ − 2 × 250·10⁹ − 99,999,999,999 = 1 is left; 500,000,000,002 of value, by halves.
    let want = [
        (Shell(shell), Casting(castings[1]), 250_000_000_000, 0),
        (Shell(shell), Unexplained, 1, 0),
        (Shell(shell), Casting(castings[0]), 0, 250_000_000_001),
        (Shell(shell), Casting(castings[1]), 0, 250_000_000_001),
    ];
    assert_eq!(caused(&book, two), want);
}

#[test]
fn the_caps_round_exactly() {
    let mut s = Story::default();
    let lot = s.lot(MOST, MOST - 1);
    let third = s.charge(50, lot, 333_333_333_333);
    let book = s.derive();
    // 333,333,333,333 × (1 − 10⁻¹²) = …332.67 → …333.
    assert_eq!(caused(&book, third), [(Lot(lot), Heat(50), 333_333_333_333, 333_333_333_333)]);
    // A thousand lots at the cap in one pool: 10¹⁵ of each, and half of it out again.
    let mut s = Story::default();
    for _ in 0..1000 {
        s.receipt(POOL, MOST, MOST);
    }
    let out = s.log(Event::LotOut { lot: POOL, mass: mg(500 * MOST), to: Gone::Sold });
    let book = s.derive();
    assert_eq!(caused(&book, out), [(Lot(POOL), Sold, 500 * MOST, 500 * MOST)]);
}

#[test]
fn a_net_of_nothing() {
    let (mut s, heat, shell, castings, _) = poured(1000, 100, &[500], 1000);
    s.close(heat, 0, 0, 0);
    let out = s.breakout(castings[0], 0, 990, SCRAP);
    let book = s.derive();
    // 990 at 0.1 → 99; 10 mg unexplained, the last minor unit on a casting of no mass, and
    // no scrap to go back.
    let want =
        [(Shell(shell), Lot(POOL), 990, 99), (Shell(shell), Unexplained, 10, 0), (Shell(shell), Casting(castings[0]), 0, 1)];
    assert_eq!(caused(&book, out), want);
    let casting = book.figures.castings[&castings[0]];
    assert_eq!((casting.net, casting.mass, casting.resting.minor()), (Some(mg(0)), mg(0), 1));
    assert_eq!(casting.state, State::Failed);
}

#[test]
fn all_of_it_leaked() {
    let (mut s, heat, shell, castings, pour) = poured(1000, 100, &[500, 250], 1000);
    let leak = s.log(Event::Leak { pour, lost: mg(700), swept: Some(pooled(300)) });
    let close = s.close(heat, 0, 0, 0);
    let book = s.derive();
    // Swept while the heat is open: its value out of the heat, 300 at 0.1 → 30.
    let want = [(Shell(shell), Lot(POOL), 300, 0), (Heat(heat), Lot(POOL), 0, 30), (Shell(shell), Leak, 700, 0)];
    assert_eq!(caused(&book, leak), want);
    assert_eq!(caused(&book, close), [(Heat(heat), Shell(shell), 0, 70)]);
    assert_eq!(held(&book, Shell(shell)), (0, 70));
    // 70 by 500 : 250 = 46.67, 23.33.
    let shares = castings.iter().map(|c| book.figures.castings[c].share.minor()).collect::<Vec<_>>();
    assert_eq!(shares, [47, 23]);
    assert!(book.figures.castings[&castings[0]].provisional);
    // Said to be nothing, they are done and bear the loss.
    for casting in &castings {
        s.breakout(*casting, 0, 0, SCRAP);
    }
    let book = s.derive();
    assert_eq!((held(&book, Casting(castings[0])), held(&book, Casting(castings[1]))), ((0, 47), (0, 23)));
    let cost = job_cost(book.figures.castings.values());
    assert_eq!((cost.total.minor(), cost.recast.minor(), cost.lost.minor(), cost.provisional), (70, 70, 0, false));
}

#[test]
fn twelve_castings_in_one_shell() {
    let (mut s, heat, shell, castings, _) = poured(13_000, 1250, &[100; 12], 12_500);
    // By their tags the last comes first.
    for (rank, casting) in s.history.shells[0].castings.iter_mut().rev().enumerate() {
        casting.tag_rank = i64::try_from(rank).unwrap();
    }
    s.close(heat, 500, 0, 0);
    s.log(Event::Gross { shell, gross: mg(12_450) });
    for casting in &castings {
        s.breakout(*casting, 1000, 25, Verdict::Accepted);
    }
    let book = s.derive();
    // Unit value 1250/13,000. Pigged 500 → 48.08 → 48; 1202 for the shell; 25 → 2.40 → 2,
    // twelve times: 1202 − 24 = 1178 by twelve = 98 and 2 over, for the first two tags.
    let resting: Vec<i64> = castings.iter().map(|c| book.figures.castings[c].resting.minor()).collect();
    assert_eq!(resting, [98, 98, 98, 98, 98, 98, 98, 98, 98, 98, 99, 99]);
    // 12,500 poured: 12,450 of it weighed as gross, 12 × 1025 = 12,300 of that found.
    let last = caused(&book, *book.movements.iter().map(|m| m.source).collect::<Vec<_>>().iter().max().unwrap());
    assert_eq!(last[2..4], [(Shell(shell), Swarf, 150, 0), (Shell(shell), Unexplained, 50, 0)]);
    assert_eq!(held(&book, Shell(shell)), (0, 0));
}

#[test]
fn ten_thousand_receipts_in_a_pool() {
    let mut s = Story::default();
    for n in 1..=10_000 {
        s.receipt(POOL, 1000, 3);
        if n % 10 == 0 {
            s.charge(50, POOL, 1000);
        }
    }
    let book = s.derive();
    // At 0.003 throughout, each thousandth charge of 1000 takes 3 exactly.
    assert_eq!(held(&book, Lot(POOL)), (9_000_000, 27_000));
    assert_eq!(book.stock.heats[&50], (mg(1_000_000), Money::from_minor(3000)));
    assert_eq!(book.movements.len(), 11_000);
}

#[test]
fn a_heat_without_any_charge() {
    // Its charge was voided: what was poured from it is worth nothing, and the heat is short
    // of it until something is charged. Closing it is refused.
    let mut s = Story::default();
    let heat = s.heat_in(None);
    let (shell, castings) = s.shell(&[500], 0);
    let pour = s.pour(heat, shell, weighed(1000));
    s.log(Event::Leak { pour, lost: mg(0), swept: Some(pooled(100)) });
    let book = s.derive();
    assert_eq!(caused(&book, pour), [(Heat(heat), Shell(shell), 1000, 0)]);
    assert_eq!((held(&book, Heat(heat)), held(&book, Lot(POOL))), ((-1000, 0), (100, 0)));
    s.breakout(castings[0], 800, 0, Verdict::Accepted);
    let close = s.close(heat, 0, 0, 0);
    let found = derive(&s.history, scale(1)).impossible;
    assert_eq!(found, [Impossible::Residual { source: close, heat, residual: mg(1000) }]);
    // A blank pour of it holds what came out and leaked, no more.
    let mut s = Story::default();
    let heat = s.heat_in(None);
    let (shell, castings) = s.shell(&[500], 0);
    let pour = s.pour(heat, shell, Poured::Blank);
    s.breakout(castings[0], 800, 60, Verdict::Accepted);
    assert_eq!(s.derive().figures.streams[&pour].mass, mg(860));
    // And nothing at all: a heat with neither charge nor pour closes at nothing.
    let mut s = Story::default();
    let heat = s.heat_in(None);
    let close = s.close(heat, 0, 0, 0);
    let book = s.derive();
    assert_eq!((caused(&book, close), held(&book, Heat(heat))), (vec![], (0, 0)));
}
