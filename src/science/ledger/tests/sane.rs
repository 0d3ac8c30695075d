//! Random shops in which metal behaves: nothing of them may be impossible, and nothing
//! may fall below nothing where docs/ledger.md promises that it does not.

use proptest::prelude::*;

use super::random::{Dice, at_every_instant, check_identities, dice};
use super::*;

/// A pot on the floor: what is truly in it.
struct Pot {
    heat: i64,
    holds: i64,
}

/// A shell on the floor: what truly went into it.
struct Filled {
    shell: i64,
    castings: Vec<i64>,
    holds: i64,
}

struct Shop {
    story: Story,
    dice: Dice,
    lots: Vec<i64>,
    /// The heel that truly lies in the one crucible.
    heel: i64,
}

impl Shop {
    fn day(&mut self) {
        let crucible = Some(1).filter(|_| self.dice.one_in(2));
        let mut pots = vec![self.melt(crucible)];
        if self.dice.one_in(3) {
            pots.push(self.melt(None));
        }
        let mut filled = Vec::new();
        for _ in 0..=self.dice.below(3) {
            filled.push(self.cast(&mut pots));
        }
        let late_closing = self.dice.one_in(2);
        if !late_closing {
            self.close(&pots, crucible);
        }
        for shell in filled {
            self.break_out(&shell);
        }
        if late_closing {
            self.close(&pots, crucible);
        }
    }

    fn melt(&mut self, crucible: Option<i64>) -> Pot {
        let heat = self.story.heat_in(crucible);
        let mut holds = crucible.map_or(0, |_| std::mem::take(&mut self.heel));
        for _ in 0..=self.dice.below(2) {
            let which = usize::try_from(self.dice.below(3)).unwrap();
            let mass = 5000 + self.dice.below(9000);
            self.story.charge(heat, self.lots[which], mass);
            holds += mass;
        }
        Pot { heat, holds }
    }

    /// One shell, from one pot or from all.
    fn cast(&mut self, pots: &mut [Pot]) -> Filled {
        let true_mass = 500 + self.dice.below(600);
        let near = |dice: &mut Dice| true_mass * (80 + dice.below(40)) / 100;
        let estimates: Vec<i64> = (0..=self.dice.below(2)).map(|_| near(&mut self.dice)).collect();
        let (shell, castings) = self.story.shell(&estimates, 100);
        let mut holds = 0;
        let streams = if self.dice.one_in(3) { pots.len() } else { 1 };
        for pot in pots.iter_mut().take(streams) {
            let poured = match self.dice.below(3) {
                0 => estimated(near(&mut self.dice)),
                1 if streams == 1 => Poured::Blank,
                _ => weighed(true_mass),
            };
            let pour = self.story.pour(pot.heat, shell, poured);
            pot.holds -= true_mass;
            holds += true_mass;
            if self.dice.one_in(3) {
                let (lost, swept) = (self.dice.below(20), 1 + self.dice.below(20));
                let swept_up = Some(pooled(swept));
                self.story.log(Event::Leak { pour, lost: mg(lost), swept: swept_up });
                holds -= lost + swept;
            }
        }
        Filled { shell, castings, holds }
    }

    fn close(&mut self, pots: &[Pot], crucible: Option<i64>) {
        for (i, pot) in pots.iter().enumerate() {
            let (dross, unseen) = (self.dice.below(30), self.dice.below(5));
            let left = pot.holds - dross - unseen;
            let keeps = i == 0 && crucible.is_some() && self.dice.one_in(2);
            let heel = if keeps { left / 3 } else { 0 };
            self.heel += heel;
            self.story.close(pot.heat, left - heel, dross, heel);
        }
    }

    fn break_out(&mut self, filled: &Filled) {
        let dust = self.dice.below(3);
        let mut left = filled.holds - dust;
        if self.dice.one_in(2) {
            self.story.log(Event::Gross { shell: filled.shell, gross: mg(left) });
        }
        for &casting in &filled.castings {
            let net = left / 3;
            let returned = left / 4;
            let verdict = match self.dice.below(5) {
                0 => SCRAP,
                1 => Verdict::Scrap { lot: POOL, kept: true },
                2 => Verdict::NotJudged,
                _ => Verdict::Accepted,
            };
            self.story.breakout(casting, net, returned, verdict);
            left -= net + returned;
            if verdict == Verdict::Accepted {
                self.finish(casting, net);
            }
        }
    }

    fn finish(&mut self, casting: i64, net: i64) {
        let lot = self.dice.one_in(2).then_some(self.lots[0]);
        let rod = self.dice.one_in(2).then_some(Rod { mass: mg(10), lot });
        let mass_after = Some(mg(net - self.dice.below(20)));
        self.story.log(Event::Work { casting, rod, mass_after });
        if self.dice.one_in(2) {
            self.story.log(Event::Deliver { castings: vec![casting] });
        }
        if self.dice.one_in(9) {
            self.story.log(Event::Scrap { casting, returned: None, lot: POOL, kept: false });
        }
    }
}

fn shop(dice: Dice) -> Shop {
    let mut story = Story::default();
    let lots = vec![story.lot(60_000, 61_234), story.lot(70_000, 5000), POOL];
    let mut shop = Shop { story, dice, lots, heel: 0 };
    for _ in 0..3 {
        shop.day();
    }
    shop
}

/// Nothing below nothing, but for heats that are not closed yet and the rounding of
/// returns.
fn check_never_below(book: &Book) {
    at_every_instant(book, |order, held| {
        for (account, (mass, value)) in held {
            let closed = |heat| book.figures.heats[&heat].masses.closed;
            let never_below = match account {
                Shell(_) | Casting(_) | Lot(_) => true,
                Heat(heat) => closed(*heat).is_some_and(|closed| closed <= order),
                _ => false,
            };
            assert!(!never_below || *mass >= Mass::ZERO, "{account:?} {mass:?} {order:?}");
            let worth = matches!(account, Lot(_) | Heat(_) | Shell(_));
            assert!(!worth || value.minor() >= -20, "{account:?} {value:?} {order:?}");
        }
    });
}

/// What is done is empty: complete shells, closed heats but for a heel not taken.
fn check_done(book: &Book) {
    let taken = |heat: i64| book.movements.iter().any(|m| matches!((m.from, m.to), (Heat(h), Heat(_)) if h == heat));
    for (&seq, heat) in &book.figures.heats {
        let (mass, value) = held(book, Heat(seq));
        let heel = if taken(seq) { Mass::ZERO } else { heat.masses.heel };
        assert_eq!(mass, heel.mg(), "heat {seq}");
        assert!(value == 0 || mass > 0 || heat.masses.poured.is_zero(), "heat {seq}: {value}");
    }
    for (&seq, shell) in &book.figures.shells {
        if shell.complete.is_some() {
            assert_eq!(held(book, Shell(seq)), (0, 0), "shell {seq}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn metal_that_behaves_is_never_impossible(dice in dice(400)) {
        let book = shop(dice).story.derive();
        check_identities(&book);
        check_never_below(&book);
        check_done(&book);
        let cost = job_cost(book.figures.castings.values());
        prop_assert_eq!(cost.total, cost.accepted + cost.recast + cost.lost);
        let on_castings: Money = book.figures.castings.values().map(|c| c.resting).sum();
        let on_shells: Money = book.figures.shells.values().map(|s| s.standing).sum();
        prop_assert_eq!(cost.total, on_castings + on_shells);
    }
}
