//! Lots worked by hand: rule 1.

use super::*;
use crate::science::ledger::history::Gone;
use Account::{Outside, Sold, Unexplained, WrittenOff};

#[test]
fn a_pool_is_at_moving_average() {
    let mut s = Story::default();
    let pool = s.lot(1000, 100);
    let one = s.charge(50, pool, 300);
    s.receipt(pool, 300, 60);
    let two = s.charge(50, pool, 400);
    s.receipt(pool, 400, 7);
    let three = s.charge(50, pool, 333);
    let last = s.charge(50, pool, 667);
    let book = s.derive();
    // 300 of 1000 worth 100 → 30; 700 worth 70.
    assert_eq!(caused(&book, one), [(Lot(pool), Heat(50), 300, 30)]);
    // 1000 worth 130: 400 → 52; 600 worth 78.
    assert_eq!(caused(&book, two), [(Lot(pool), Heat(50), 400, 52)]);
    // 1000 worth 85: 333 → 28.305 → 28; the last takes all of the 57.
    assert_eq!(caused(&book, three), [(Lot(pool), Heat(50), 333, 28)]);
    assert_eq!(caused(&book, last), [(Lot(pool), Heat(50), 667, 57)]);
    assert_eq!(held(&book, Lot(pool)), (0, 0));
    assert_eq!(book.stock.heats[&50], (mg(1700), Money::from_minor(167)));
}

#[test]
fn the_excess_of_an_overdraw_is_unexplained() {
    let mut s = Story::default();
    let lot = s.lot(1000, 100);
    let over = s.charge(50, lot, 1200);
    let empty = s.charge(50, lot, 10);
    let book = s.derive();
    let want = [(Unexplained, Lot(lot), 200, 0), (Lot(lot), Heat(50), 1200, 100)];
    assert_eq!(caused(&book, over), want);
    let want = [(Unexplained, Lot(lot), 10, 0), (Lot(lot), Heat(50), 10, 0)];
    assert_eq!(caused(&book, empty), want);
    let told = book.values[&Key { source: over, nth: 0 }];
    assert_eq!(told.found, mg(200));
}

#[test]
fn counts_outs_and_transfers() {
    let mut s = Story::default();
    let lot = s.lot(1000, 100);
    let count = s.log(Event::LotCount { lot, level: mg(800) });
    let sold = s.log(Event::LotOut { lot, mass: mg(200), to: Gone::Sold });
    let other = 77;
    let moved = s.log(Event::LotTransfer { from: lot, to: other, mass: mg(300) });
    let more = s.log(Event::LotCount { lot, level: mg(400) });
    let gone = s.log(Event::LotOut { lot, mass: mg(400), to: Gone::WrittenOff });
    let book = s.derive();
    assert_eq!(caused(&book, lot), [(Outside, Lot(lot), 1000, 100)]);
    assert_eq!(caused(&book, count), [(Lot(lot), Unexplained, 200, 0)]);
    // 800 worth 100: 200 → 25; 600 worth 75: 300 → 37.5 → 38, the even one.
    assert_eq!(caused(&book, sold), [(Lot(lot), Sold, 200, 25)]);
    assert_eq!(caused(&book, moved), [(Lot(lot), Lot(other), 300, 38)]);
    assert_eq!(caused(&book, more), [(Unexplained, Lot(lot), 100, 0)]);
    assert_eq!(caused(&book, gone), [(Lot(lot), WrittenOff, 400, 37)]);
}
