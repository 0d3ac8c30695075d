//! Single edges of the rules, each a case that tells the rule from the next one to it.

use super::*;
use crate::science::ledger::share::{Taker, share};

#[test]
fn a_heel_of_nothing_is_none() {
    let mut s = Story::default();
    let heat = s.heat_in(Some(1));
    s.log(Event::Closing(Closing { heat, pigged: None, dross: None, spilled: None, heel: Some(mg(0)) }));
    s.heat_in(Some(1));
    assert_eq!(heels(&s.history.heats, &s.history.entries), []);
    let mut s = Story::default();
    let heat = s.heat_in(Some(1));
    s.log(Event::Closing(Closing { heat, pigged: None, dross: None, spilled: None, heel: Some(mg(1)) }));
    let next = s.heat_in(Some(1));
    let want = [history::Heel { to: next, from: heat, mass: mg(1) }];
    assert_eq!(heels(&s.history.heats, &s.history.entries), want);
}

#[test]
fn another_heat_may_go_on_after_a_closing() {
    // One shell from two heats; the first is closed before the second pours.
    let mut s = Story::default();
    let lot = s.lot(10_000, 1000);
    let (one, two) = (s.heat(lot, 3000), s.heat(lot, 3000));
    let (shell, _) = s.shell(&[4000], 0);
    s.pour(one, shell, weighed(2000));
    s.close(one, 1000, 0, 0);
    s.charge(two, lot, 1000);
    s.pour(two, shell, weighed(2000));
    s.close(two, 2000, 0, 0);
    let book = s.derive();
    // Each heat at 0.1: 300 − 100 and 400 − 200 for the shell.
    assert_eq!(held(&book, Shell(shell)), (4000, 400));
}

#[test]
fn a_heel_is_late_only_for_the_heat_that_takes_it() {
    // The heel goes into the second heat; a third is lit after that one's closing.
    let mut s = Story::default();
    let lot = s.lot(10_000, 1000);
    let (shell, _) = s.shell(&[3000], 0);
    let one = s.heat_in(Some(1));
    s.charge(one, lot, 2000);
    s.pour(one, shell, weighed(1500));
    s.close(one, 0, 0, 500);
    let two = s.heat_in(Some(1));
    s.charge(two, lot, 1000);
    s.pour(two, shell, weighed(1500));
    s.close(two, 0, 0, 0);
    let three = s.heat_in(Some(1));
    s.charge(three, lot, 1000);
    s.pour(three, shell, weighed(1000));
    assert_eq!(s.derive().figures.heats[&two].masses.charged, mg(1500));
}

#[test]
fn what_does_not_fit_is_held_at_the_end_of_the_range() {
    let takers = [Taker::new(1, 0)];
    assert_eq!(share(i64::MIN, &takers), [i64::MIN]);
    assert_eq!(share(i64::MAX, &takers), [i64::MAX]);
    let floors = [Taker { weight: 1, floor: i64::MAX, rank: 0 }, Taker { weight: 1, floor: i64::MAX, rank: 1 }];
    assert_eq!(share::share_with_floors(0, &floors).1, i64::MIN);
    let floors = [Taker { weight: 1, floor: i64::MAX, rank: 0 }];
    assert_eq!(share::share_with_floors(i64::MAX, &floors), (vec![i64::MAX], 0));
}

#[test]
fn what_the_scale_may_be_off_is_no_fault() {
    // 0.2 % of what is moved, or the scale's step if that is more.
    assert_eq!(tolerance(scale(10), mg(1000)), mg(10));
    assert_eq!(tolerance(scale(1), mg(10_000)), mg(20));
    assert_eq!(tolerance(scale(1), mg(-10_000)), mg(20));
    for (returned, fault) in [(1020, false), (1021, true)] {
        let mut s = Story::default();
        let lot = s.lot(20_000, 1000);
        let heat = s.heat(lot, 10_000);
        let (shell, castings) = s.shell(&[9000], 0);
        s.pour(heat, shell, weighed(10_000));
        s.close(heat, 0, 0, 0);
        // 9000 + returned out of 10,000 weighed, within 20.
        s.breakout(castings[0], 9000, returned, Verdict::Accepted);
        assert_eq!(!derive(&s.history, scale(1)).impossible.is_empty(), fault, "{returned}");
    }
}

#[test]
fn a_tenth_of_the_charge_may_be_unexplained() {
    for (pigged, fault) in [(1000, false), (999, true), (3000, false), (3001, true)] {
        let mut s = Story::default();
        let lot = s.lot(20_000, 1000);
        let heat = s.heat(lot, 10_000);
        let (shell, _) = s.shell(&[9000], 0);
        s.pour(heat, shell, weighed(8000));
        let close = s.close(heat, pigged, 0, 0);
        let found = derive(&s.history, scale(1)).impossible;
        let want = Impossible::Residual { source: close, heat, residual: mg(1001) };
        assert_eq!(found, if fault { vec![want] } else { vec![] }, "{pigged}");
    }
}

#[test]
fn masses_below_nothing_are_named_wherever_they_stand() {
    let less = Some(mg(-3));
    let pool = |mass: i64| Some(Pooled { mass: mg(mass), lot: POOL });
    let closing = Closing { heat: 1, pigged: None, dross: None, spilled: None, heel: None };
    let events = [
        Event::LotIn { lot: 1, mass: mg(-3), value: Money::ZERO },
        Event::LotOut { lot: 1, mass: mg(-3), to: history::Gone::Sold },
        Event::LotCount { lot: 1, level: mg(-3) },
        Event::LotTransfer { from: 1, to: 2, mass: mg(-3) },
        Event::Charge { heat: 1, lot: 1, mass: mg(-3) },
        Event::Gross { shell: 1, gross: mg(-3) },
        Event::Pour { heat: 1, shell: 1, poured: weighed(-3) },
        Event::Pour { heat: 1, shell: 1, poured: estimated(-3) },
        Event::Leak { pour: 1, lost: mg(-3), swept: pool(1) },
        Event::Leak { pour: 1, lost: mg(1), swept: pool(-3) },
        Event::Closing(Closing { dross: less, ..closing }),
        Event::Closing(Closing { spilled: less, ..closing }),
        Event::Closing(Closing { heel: less, ..closing }),
        Event::Closing(Closing { pigged: pool(-3), ..closing }),
        Event::Net { casting: 1, net: less, returned: pool(1) },
        Event::Net { casting: 1, net: Some(mg(1)), returned: pool(-3) },
        Event::Scrap { casting: 1, returned: less, lot: POOL, kept: false },
        Event::Work { casting: 1, rod: Some(Rod { mass: mg(-3), lot: None }), mass_after: Some(mg(1)) },
        Event::Work { casting: 1, rod: None, mass_after: less },
    ];
    for event in events {
        let entry = Entry { order: Order::new(0, 9), part: 0, event };
        assert_eq!(negative_mass(&entry), Some(Impossible::NegativeMass { source: 9, under: mg(3) }), "{entry:?}");
    }
    let fine = Entry { order: Order::new(0, 9), part: 0, event: Event::LotCount { lot: 1, level: mg(0) } };
    assert_eq!(negative_mass(&fine), None);
    let history =
        History { entries: vec![Entry { event: Event::LotCount { lot: 1, level: mg(-3) }, ..fine }], ..History::default() };
    assert_eq!(derive(&history, scale(1)).impossible, [Impossible::NegativeMass { source: 9, under: mg(3) }]);
}

#[test]
fn a_casting_in_no_shell_is_delivered_with_its_rod() {
    let mut s = Story::default();
    s.log(Event::Work { casting: 77, rod: Some(Rod { mass: mg(5), lot: None }), mass_after: None });
    let gone = s.log(Event::Deliver { castings: vec![77] });
    assert_eq!(caused(&s.derive(), gone), [(Casting(77), Account::Delivered, 5, 0)]);
}

#[test]
fn five_accounts_are_sinks() {
    let sinks = (0..40).filter_map(|code| Account::from_code(code, None)).filter(|a| a.is_sink());
    let names: Vec<&str> = sinks.map(Account::name).collect();
    assert_eq!(names, ["dross", "spill", "leak", "swarf", "unexplained"]);
    assert!(!Lot(1).is_sink() && !Account::Outside.is_sink());
}

#[test]
fn gross_and_leaked_together_are_held_against_what_was_weighed_in() {
    for (gross, over) in [(9520, None), (9521, Some(21))] {
        let mut s = Story::default();
        let lot = s.lot(20_000, 1000);
        let heat = s.heat(lot, 10_000);
        let (shell, _) = s.shell(&[9000], 0);
        let pour = s.pour(heat, shell, weighed(10_000));
        s.log(Event::Leak { pour, lost: mg(500), swept: None });
        s.close(heat, 0, 0, 0);
        // 9520 and 500 out of 10,000 weighed, within 20.
        let source = s.log(Event::Gross { shell, gross: mg(gross) });
        let want = over.map(|over| Impossible::ShellOverdrawn { source, shell, over: mg(over) });
        assert_eq!(derive(&s.history, scale(1)).impossible, want.into_iter().collect::<Vec<_>>(), "{gross}");
    }
}

#[test]
fn net_and_returned_together_are_held_against_the_gross() {
    for (returned, over) in [(4020, None), (4021, Some(21))] {
        let mut s = Story::default();
        let lot = s.lot(20_000, 1000);
        let heat = s.heat(lot, 11_000);
        let (shell, castings) = s.shell(&[9000], 0);
        s.pour(heat, shell, weighed(10_500));
        s.close(heat, 0, 0, 0);
        s.log(Event::Gross { shell, gross: mg(10_000) });
        // 6000 and the returned out of a gross of 10,000, within 20.
        let source = s.breakout(castings[0], 6000, returned, Verdict::Accepted);
        let want = over.map(|over| Impossible::ShellOverdrawn { source, shell, over: mg(over) });
        assert_eq!(derive(&s.history, scale(1)).impossible, want.into_iter().collect::<Vec<_>>(), "{returned}");
    }
}

#[test]
fn a_casting_given_up_in_its_shell_is_returned_as_gating() {
    for (returned, over) in [(6012, None), (6013, Some(13))] {
        let mut s = Story::default();
        let lot = s.lot(20_000, 1000);
        let heat = s.heat(lot, 6000);
        let (shell, castings) = s.shell(&[5000], 0);
        s.pour(heat, shell, weighed(6000));
        s.close(heat, 0, 0, 0);
        let scrap = Event::Scrap { casting: castings[0], returned: Some(mg(returned)), lot: POOL, kept: false };
        let source = s.log(scrap);
        let book = derive(&s.history, scale(1));
        let back = book.movements.iter().find(|m| m.source == source && !m.mass.is_zero()).unwrap();
        assert_eq!((back.from, back.to, back.mass), (Shell(shell), Lot(POOL), mg(returned)));
        let want = over.map(|over| Impossible::ShellOverdrawn { source, shell, over: mg(over) });
        assert_eq!(book.impossible, want.into_iter().collect::<Vec<_>>(), "{returned}");
    }
}

#[test]
fn a_heel_taken_after_the_closing_is_charged_too_late() {
    let mut s = Story::default();
    let lot = s.lot(20_000, 1000);
    let one = s.heat_in(Some(1));
    s.charge(one, lot, 2000);
    s.close(one, 1500, 0, 500);
    let before = s.tick();
    let two = s.heat_in(Some(1));
    let blank = Closing { heat: two, pigged: None, dross: None, spilled: None, heel: None };
    s.history.entries.push(Entry { order: before, part: 0, event: Event::Closing(blank) });
    let late = Impossible::ChargedAfterClosing { source: two, heat: two, mass: mg(500) };
    assert!(derive(&s.history, scale(1)).impossible.contains(&late));
}

#[test]
fn what_rests_on_an_impossibility_is_the_heat_or_the_record_to_blame() {
    let (mass, over) = (mg(1), mg(1));
    assert_eq!(Impossible::Residual { source: 7, heat: 8, residual: mass }.rests(), 8);
    for blamed in [
        Impossible::ShellOverdrawn { source: 7, shell: 8, over },
        Impossible::CastingOverdrawn { source: 7, casting: 8, over },
        Impossible::ChargedAfterClosing { source: 7, heat: 8, mass },
        Impossible::PouredAfterClosing { source: 7, heat: 8, mass },
        Impossible::ClosedTwice { source: 7, heat: 8 },
        Impossible::NegativeMass { source: 7, under: mass },
    ] {
        assert_eq!(blamed.rests(), 7, "{blamed:?}");
        assert_eq!(blamed.mass(), if matches!(blamed, Impossible::ClosedTwice { .. }) { mg(0) } else { mass });
    }
}

#[test]
fn a_scrap_price_holds_for_its_heat_at_its_instant() {
    // Two heats of 100 kg worth 900.00 each, 20 kg of each pigged; for the first a price of
    // 5.00 a kg was in force: 100.00, where the other carries 180.00.
    let mut s = Story::default();
    let lot = s.lot(200_000_000, 180_000);
    let (one, two) = (s.heat(lot, 100_000_000), s.heat(lot, 100_000_000));
    let mut closings = Vec::new();
    for heat in [one, two] {
        let (shell, _) = s.shell(&[70_000_000], 0);
        s.pour(heat, shell, weighed(78_000_000));
        closings.push(s.close(heat, 20_000_000, 2_000_000, 0));
    }
    let at = |seq: i64| s.history.entries.iter().find(|e| e.order.seq == seq).unwrap().order.at;
    let (first, second) = (at(closings[0]), at(closings[1]));
    s.history.prices.put(one, first, Money::from_minor(500));
    assert_eq!(s.history.prices.of(one, first), Some(Money::from_minor(500)));
    assert_eq!((s.history.prices.of(one, second), s.history.prices.of(two, first)), (None, None));
    let book = s.derive();
    let back = |source: i64| *book.movements.iter().find(|m| m.source == source && m.to == Lot(POOL)).unwrap();
    assert_eq!((back(closings[0]).value, back(closings[0]).scrap), (Money::from_minor(10_000), Some(Money::from_minor(500))));
    assert_eq!((back(closings[1]).value, back(closings[1]).scrap), (Money::from_minor(18_000), None));
}

#[test]
fn small_things_that_hold_by_themselves() {
    let castings = vec![history::Casting { seq: 2, tag_rank: 0, estimate: mg(400) }];
    assert_eq!(history::Shell { seq: 1, castings, gating: mg(100) }.estimate(), mg(500));
    assert!(Event::LotCount { lot: 1, level: mg(1) }.is_of_lots_alone());
    assert!(!Event::Charge { heat: 1, lot: 1, mass: mg(1) }.is_of_lots_alone());
    // A record's own movements stand before those of its leaks, whatever their numbers.
    let order = Order::new(1000, 5);
    let row = |source: i64| Movement {
        order,
        source,
        line: 1,
        from: Heat(1),
        to: Shell(2),
        mass: mg(1),
        value: Money::ZERO,
        unit_heat: None,
        scrap: None,
    };
    assert!(row(5).rank() < row(3).rank());
}
