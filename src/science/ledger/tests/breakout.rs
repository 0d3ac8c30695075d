//! Shells, castings, bench, delivery and jobs worked by hand: rules 6, 7 and 8.

use super::*;
use Account::{Delivered, Outside, Swarf, Unexplained};

/// A tree of two castings, 9000 poured of 10,000 worth 1000 and 600 pigged: 940 stands
/// on the shell, the unit value is 0.1.
struct Tree {
    story: Story,
    shell: i64,
    a: i64,
    b: i64,
}

fn tree() -> Tree {
    let mut story = Story::default();
    let lot = story.lot(10_000, 1000);
    let heat = story.heat(lot, 10_000);
    let (shell, castings) = story.shell(&[5000, 3000], 1000);
    story.pour(heat, shell, weighed(9000));
    story.close(heat, 600, 300, 0);
    Tree { story, shell, a: castings[0], b: castings[1] }
}

fn gross(tree: &mut Tree, mass: i64) -> i64 {
    let shell = tree.shell;
    tree.story.log(Event::Gross { shell, gross: mg(mass) })
}

#[test]
fn a_tree_with_a_scrapped_casting_and_the_job() {
    let mut t = tree();
    gross(&mut t, 8900);
    let first = t.story.breakout(t.a, 5000, 800, Verdict::Accepted);
    let second = t.story.breakout(t.b, 3000, 0, SCRAP);
    let book = t.story.derive();
    let want = [(Shell(t.shell), Lot(POOL), 800, 80), (Shell(t.shell), Casting(t.a), 5000, 0)];
    assert_eq!(caused(&book, first), want);
    // Complete with the second breakout: swarf = 8900 − 8000 − 800 = 100, and of 9000
    // another 100 is unexplained. 940 − 80 = 860 by 5000:3000 = 537.5, 322.5 → 538, 322.
    // The scrap takes 3000 · 0.1 = 300 out of b.
    let want = [
        (Casting(t.b), Lot(POOL), 3000, 300),
        (Shell(t.shell), Casting(t.b), 3000, 0),
        (Shell(t.shell), Swarf, 100, 0),
        (Shell(t.shell), Unexplained, 100, 0),
        (Shell(t.shell), Casting(t.a), 0, 538),
        (Shell(t.shell), Casting(t.b), 0, 322),
    ];
    assert_eq!(caused(&book, second), want);
    assert_eq!(held(&book, Shell(t.shell)), (0, 0));
    // accepted 5000 · 0.1 = 500, recast 22, lost 560 − 522 = 38.
    let cost = job_cost([t.a, t.b].iter().map(|c| &book.figures.castings[c]));
    let got = [cost.total, cost.accepted, cost.recast, cost.lost].map(Money::minor);
    assert_eq!(got, [560, 500, 22, 38]);
    // 9000 by 5:3 = 5625 + 3375.
    assert_eq!((cost.net, cost.poured, cost.provisional), (mg(5000), mg(9000), false));
    assert_eq!(book.figures.castings[&t.b].poured, mg(3375));
}

#[test]
fn an_incomplete_shell_is_shared_provisionally() {
    let mut t = tree();
    t.story.breakout(t.a, 5000, 800, Verdict::Accepted);
    let book = t.story.derive();
    let shell = book.figures.shells[&t.shell];
    assert_eq!((shell.standing.minor(), shell.mass, shell.complete), (860, mg(3200), None));
    let cost = job_cost([&book.figures.castings[&t.a]]);
    // 860 · 5/8 = 537.5 → 538; accepted 500; lost 38.
    let got = [cost.total, cost.accepted, cost.recast, cost.lost].map(Money::minor);
    assert_eq!(got, [538, 500, 0, 38]);
    assert!(cost.provisional);
    // not_judged is no verdict; finish is one.
    t.story.breakout(t.b, 3000, 0, Verdict::NotJudged);
    assert_eq!(t.story.derive().figures.shells[&t.shell].complete, None);
    let finish = t.story.log(Event::Finish { casting: t.b });
    let book = t.story.derive();
    let complete = book.figures.shells[&t.shell].complete;
    assert_eq!(complete.map(|o| o.seq), Some(finish));
    assert_eq!(book.figures.castings[&t.b].state, State::Good);
}

#[test]
fn gross_corrects_an_estimate_and_splits_over_streams() {
    let mut s = Story::default();
    let lot = s.lot(20_000, 2000);
    let heat = s.heat(lot, 20_000);
    let (shell, _) = s.shell(&[6000], 0);
    let a = s.pour(heat, shell, weighed(3000));
    let b = s.pour(heat, shell, estimated(2000));
    let c = s.pour(heat, shell, Poured::Blank);
    s.log(Event::Leak { pour: c, lost: mg(200), swept: None });
    s.log(Event::Gross { shell, gross: mg(10_800) });
    s.close(heat, 9000, 0, 0);
    // 10,800 + 200 − 3000 = 8000 by 2000:6000 = 2000, 6000. R = 20,000 − 9000 − 11,000.
    let book = s.derive();
    let mass = |pour: i64| (book.figures.streams[&pour].mass, book.figures.streams[&pour].basis);
    assert_eq!(mass(a), (mg(3000), Basis::Weighed));
    assert_eq!(mass(b), (mg(2000), Basis::Gross));
    assert_eq!(mass(c), (mg(6000), Basis::Gross));
    let masses = book.figures.heats[&heat].masses;
    assert_eq!((masses.unexplained, masses.closed_by_difference), (mg(0), false));
}

#[test]
fn kept_scrap_waits_for_its_return() {
    let mut t = tree();
    t.story.breakout(t.a, 5000, 900, Verdict::Scrap { lot: POOL, kept: true });
    let book = t.story.derive();
    assert_eq!(held(&book, Casting(t.a)), (5000, 0));
    let scrap = Event::Scrap { casting: t.a, returned: Some(mg(4900)), lot: POOL, kept: false };
    let scrap = t.story.log(scrap);
    // 4900 · 0.1 = 490 at its own expense: below 0 until the shell completes.
    let book = t.story.derive();
    let want = [(Casting(t.a), Lot(POOL), 4900, 490), (Casting(t.a), Unexplained, 100, 0)];
    assert_eq!(caused(&book, scrap), want);
    assert_eq!(held(&book, Casting(t.a)), (0, -490));
    let other = Event::Scrap { casting: t.a, returned: Some(mg(5020)), lot: POOL, kept: false };
    let source = t.story.log(other);
    let over = Impossible::CastingOverdrawn { source, casting: t.a, over: mg(20) };
    assert_eq!(derive(&t.story.history, scale(1)).impossible, [over]);
}

#[test]
fn scrap_before_the_closing_is_at_the_castings_expense() {
    let mut s = Story::default();
    let lot = s.lot(10_000, 1000);
    let heat = s.heat(lot, 10_000);
    let (shell, castings) = s.shell(&[8000], 0);
    s.pour(heat, shell, weighed(9000));
    let out = s.breakout(castings[0], 9000, 0, SCRAP);
    let close = s.close(heat, 1000, 0, 0);
    let book = s.derive();
    assert!(caused(&book, out).contains(&(Casting(castings[0]), Lot(POOL), 9000, 900)));
    // The closing completes the shell.
    assert!(caused(&book, close).contains(&(Shell(shell), Casting(castings[0]), 0, 900)));
    assert_eq!(held(&book, Casting(castings[0])), (0, 0));
}

#[test]
fn bench_work_takes_metal_off_and_puts_rod_on() {
    let mut t = tree();
    let wire = t.story.lot(100, 51);
    t.story.breakout(t.a, 5000, 900, Verdict::Repair);
    t.story.breakout(t.b, 3000, 0, Verdict::Accepted);
    let rod = Some(Rod { mass: mg(50), lot: Some(wire) });
    let weld = Event::Work { casting: t.a, rod, mass_after: Some(mg(4990)) };
    let weld = t.story.log(weld);
    let rod = Some(Rod { mass: mg(5), lot: None });
    let pins = t.story.log(Event::Work { casting: t.a, rod, mass_after: Some(mg(5000)) });
    let book = t.story.derive();
    // 50 of 100 worth 51 = 25.5 → 26, the even one. 5050 − 4990 = 60 filed off.
    let want = [(Lot(wire), Casting(t.a), 50, 26), (Casting(t.a), Swarf, 60, 0)];
    assert_eq!(caused(&book, weld), want);
    // 4990 + 5 = 4995, but 5000 on the scale.
    let want = [(Outside, Casting(t.a), 5, 0), (Unexplained, Casting(t.a), 5, 0)];
    assert_eq!(caused(&book, pins), want);
    // (940 − 90) · 5/8 = 531.25 → 531, and 26 of rod.
    assert_eq!(held(&book, Casting(t.a)), (5000, 557));
}

#[test]
fn value_that_comes_after_delivery_goes_on() {
    let mut s = Story::default();
    let lot = s.lot(10_000, 1000);
    let heat = s.heat(lot, 10_000);
    let (shell, castings) = s.shell(&[5000, 3000], 0);
    s.pour(heat, shell, weighed(9000));
    s.breakout(castings[0], 5000, 0, Verdict::Accepted);
    s.breakout(castings[1], 4000, 0, Verdict::Accepted);
    let gone = s.log(Event::Deliver { castings: castings.clone() });
    let close = s.close(heat, 1000, 0, 0);
    let book = s.derive();
    let want = [(Casting(castings[0]), Delivered, 5000, 0), (Casting(castings[1]), Delivered, 4000, 0)];
    assert_eq!(caused(&book, gone), want);
    // 900 to the shell, at once by 5:3 = 562.5, 337.5 → 563, 337 to the castings and on.
    let rows = caused(&book, close);
    assert!(rows.contains(&(Casting(castings[0]), Delivered, 0, 563)));
    assert!(rows.contains(&(Casting(castings[1]), Delivered, 0, 337)));
    assert_eq!(held(&book, Delivered), (9000, 900));
    assert_eq!(book.figures.castings[&castings[0]].resting.minor(), 563);
    assert_eq!(held(&book, Casting(castings[0])), (0, 0));
}

#[test]
fn a_later_net_moves_the_difference() {
    let mut t = tree();
    t.story.breakout(t.a, 5200, 0, Verdict::Accepted);
    let cut = t.story.log(net_of(t.a, 5000, 200));
    let book = t.story.derive();
    let want = [(Shell(t.shell), Lot(POOL), 200, 20), (Casting(t.a), Shell(t.shell), 200, 0)];
    assert_eq!(caused(&book, cut), want);
    assert_eq!(book.figures.shells[&t.shell].net, mg(5000));
}

#[test]
fn a_casting_without_a_pour_on_record_still_closes() {
    let mut s = Story::default();
    let (shell, castings) = s.shell(&[5000], 0);
    let out = s.breakout(castings[0], 5000, 100, Verdict::Accepted);
    let book = s.derive();
    let want =
        [(Shell(shell), Lot(POOL), 100, 0), (Shell(shell), Casting(castings[0]), 5000, 0), (Unexplained, Shell(shell), 5100, 0)];
    assert_eq!(caused(&book, out), want);
}

#[test]
fn scrap_waits_for_the_net() {
    let mut t = tree();
    let scrap = t.story.log(Event::Scrap { casting: t.a, returned: None, lot: POOL, kept: false });
    let net = t.story.log(net_of(t.a, 5000, 0));
    let book = t.story.derive();
    assert_eq!(caused(&book, scrap), []);
    // At the later of the two, 5000 · 0.1 = 500.
    assert!(caused(&book, net).contains(&(Casting(t.a), Lot(POOL), 5000, 500)));
}

#[test]
fn the_last_word_on_a_casting_decides() {
    let mut t = tree();
    let scrapped = t.story.breakout(t.a, 5000, 0, SCRAP);
    let book = t.story.derive();
    assert!(caused(&book, scrapped).contains(&(Casting(t.a), Lot(POOL), 5000, 500)));
    // Taken back: the scrapping never was, and the shell still completes with b.
    let verdict = Verdict::Repair;
    t.story.log(Event::Judged { casting: t.a, verdict });
    let b = t.story.breakout(t.b, 3000, 0, Verdict::Accepted);
    t.story.log(Event::Finish { casting: t.a });
    let book = t.story.derive();
    assert_eq!(caused(&book, scrapped).len(), 1);
    let complete = book.figures.shells[&t.shell].complete;
    assert_eq!(complete.map(|o| o.seq), Some(b));
}

#[test]
fn a_late_gross_completes_the_shell() {
    let mut t = tree();
    t.story.breakout(t.a, 5000, 800, Verdict::Accepted);
    t.story.breakout(t.b, 3000, 0, Verdict::Accepted);
    let first = gross(&mut t, 8000);
    let last = gross(&mut t, 8900);
    let book = t.story.derive();
    // The last gross counts: 8900 − 8800 = 100 of swarf, 100 unexplained.
    assert_eq!(caused(&book, first), []);
    let rows = caused(&book, last);
    assert_eq!(rows[0], (Shell(t.shell), Swarf, 100, 0));
    assert_eq!(rows[1], (Shell(t.shell), Unexplained, 100, 0));
}
