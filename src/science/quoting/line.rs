//! One line of a quote, drawn many times and added to the job's totals.

use rand::{Rng, RngExt};

use super::chance::{Loss, Outcome, level, outcome};
use super::effects::{METAL, METAL_LOST, POURED, Part, RECAST};
use super::fit::Fit;
use super::ladder::Rung;
use super::model::{AskedLine, OverheadRates, Per, Unit};
use super::simulate::METAL_DRIVERS;

/// From this share on a mover is always done.
const ALWAYS: f64 = 0.999;

/// Normal deviates common to all lines, `width` to a draw: those of metal, then the movers'.
pub(super) struct Luck<'l> {
    pub common: &'l [f64],
    pub width: usize,
}

/// What a line took in each draw.
pub(super) struct Took {
    pub castings: Vec<f64>,
    pub one_more: Vec<f64>,
    pub poured_kg: Vec<f64>,
    pub minutes: Vec<f64>,
}

/// What a job costs in each draw.
pub(super) struct Draws {
    totals: Vec<f64>,
    metal: Vec<f64>,
    lost: Vec<f64>,
    poured: Vec<f64>,
    recast: Vec<f64>,
    /// By mover; empty where no line asks for it.
    movers: Vec<Vec<f64>>,
}

/// A mover as a line asks for it.
struct Term<'f> {
    mover: usize,
    per: Per,
    rung: &'f Rung,
    done: f64,
    /// Money of one unit with overhead.
    money: f64,
    /// Minutes of one unit.
    minutes: f64,
}

/// Sums of the movers of one draw, of each attempt, good copy and line.
#[derive(Default)]
struct Sums {
    casting: f64,
    piece: f64,
    line: f64,
}

impl Sums {
    fn add(&mut self, per: Per, value: f64) {
        match per {
            Per::Casting => self.casting += value,
            Per::Piece => self.piece += value,
            Per::Line => self.line += value,
        }
    }
}

/// Metal of one casting in one draw.
struct Metal {
    net_money: f64,
    lost_money: f64,
    failed_money: f64,
    poured_kg: f64,
}

impl Metal {
    fn draw(line: &AskedLine, fit: &Fit, z: &[f64]) -> Self {
        let deviate = |i: usize| z.get(i).copied().unwrap_or(0.0);
        let net = line.mass_kg * level(&fit.net_over_estimate.driver, deviate(0));
        let poured_kg = net * level(&fit.poured_over_net.driver, deviate(1));
        Self {
            net_money: line.metal_per_kg * net,
            lost_money: line.metal_per_kg * level(&fit.lost_share.driver, deviate(2)).min(1.0) * poured_kg,
            failed_money: line.metal_per_kg * level(&fit.failed_share.driver, deviate(3)).min(1.0) * poured_kg,
            poured_kg,
        }
    }
}

fn terms<'f>(line: &AskedLine, fit: &'f Fit, overhead: &OverheadRates) -> Vec<Term<'f>> {
    let mut made = Vec::new();
    for (mover, one) in fit.movers.iter().enumerate() {
        let price = line.price(mover);
        if let Some((one, rung)) = one.as_ref().and_then(|one| one.rung.as_ref().map(|rung| (one, rung)))
            && price > 0.0
        {
            let (money, minutes) = match one.unit {
                Unit::Quantity => (price, 0.0),
                Unit::Minutes => (price * (1.0 + overhead.of_work) + overhead.per_minute, 1.0),
            };
            made.push(Term { mover, per: one.per, rung, done: one.done, money, minutes });
        }
    }
    made
}

fn counted(per: Per, castings: f64, good: f64) -> f64 {
    match per {
        Per::Casting => castings,
        Per::Piece => good,
        Per::Line => 1.0,
    }
}

impl Draws {
    pub(super) fn new(draws: usize, width: usize) -> Self {
        let none = || vec![0.0; draws];
        let movers = vec![Vec::new(); width.saturating_sub(METAL_DRIVERS)];
        Self { totals: none(), metal: none(), lost: none(), poured: none(), recast: none(), movers }
    }

    /// Adds a line; `None` where its chance of failure has no shape.
    pub(super) fn add(
        &mut self,
        line: &AskedLine,
        fit: &Fit,
        overhead: &OverheadRates,
        luck: &Luck<'_>,
        random: &mut impl Rng,
    ) -> Option<Took> {
        let loss = Loss::new(fit.loss)?;
        let terms = terms(line, fit, overhead);
        let draws = self.totals.len();
        for term in &terms {
            if let Some(adds) = self.movers.get_mut(term.mover) {
                adds.resize(draws, 0.0);
            }
        }
        let room = || Vec::with_capacity(draws);
        let mut took = Took { castings: room(), one_more: room(), poured_kg: room(), minutes: room() };
        let copies = f64::from(line.copies);
        for (draw, z) in luck.common.chunks_exact(luck.width).enumerate() {
            let p = loss.draw(random);
            let fell = outcome(line.copies, line.most_attempts, p, random);
            let (attempts, good) = (fell.castings as f64, f64::from(fell.good));
            let (mut money, mut minutes) = (Sums::default(), 0.0);
            for term in &terms {
                if term.done < ALWAYS && random.random::<f64>() >= term.done {
                    continue;
                }
                let value = level(&term.rung.driver, z.get(METAL_DRIVERS + term.mover).copied().unwrap_or(0.0));
                money.add(term.per, term.money * value);
                minutes += term.minutes * value * counted(term.per, attempts, good);
                if let Some(adds) = self.movers.get_mut(term.mover).and_then(|adds| adds.get_mut(draw)) {
                    *adds += term.money * value * counted(term.per, copies, copies);
                }
            }
            let metal = Metal::draw(line, fit, z);
            let poured_money = overhead.per_poured_kg * metal.poured_kg;
            took.castings.push(attempts);
            took.one_more.push(money.casting + metal.net_money + metal.lost_money + poured_money);
            took.poured_kg.push(attempts * metal.poured_kg);
            took.minutes.push(minutes);
            self.book(draw, line, &fell, &money, &metal, poured_money);
        }
        Some(took)
    }

    /// Adds one draw of a line to the job's.
    fn book(&mut self, draw: usize, line: &AskedLine, fell: &Outcome, money: &Sums, metal: &Metal, poured_money: f64) {
        let (copies, good) = (f64::from(line.copies), f64::from(fell.good));
        // Attempts that are in the total, and how many of them were good.
        let (castings, sound) =
            if line.client_bears_recast { (copies, copies - f64::from(fell.failed_first)) } else { (fell.castings as f64, good) };
        let at_once = line.fixed
            + money.line
            + copies * (line.per_piece + money.piece + money.casting + poured_money)
            + copies * (metal.net_money + metal.lost_money);
        let recast = (good - copies) * (line.per_piece + money.piece)
            + (castings - copies) * (money.casting + poured_money)
            + (sound - copies) * (metal.net_money + metal.lost_money)
            + (castings - sound) * metal.failed_money;
        let add = |to: &mut Vec<f64>, value: f64| {
            if let Some(sum) = to.get_mut(draw) {
                *sum += value;
            }
        };
        add(&mut self.totals, at_once + recast);
        add(&mut self.metal, copies * metal.net_money);
        add(&mut self.lost, copies * metal.lost_money);
        add(&mut self.poured, copies * poured_money);
        add(&mut self.recast, recast);
    }

    /// The totals, and what each thing adds to them; what adds nothing is left out.
    pub(super) fn parts(self, lines: &[(AskedLine, Fit)]) -> (Vec<f64>, Vec<Part>) {
        let fewest = |of: &dyn Fn(&AskedLine, &Fit) -> Option<f64>| {
            let least = lines.iter().filter_map(|(line, fit)| of(line, fit)).fold(f64::INFINITY, f64::min);
            if least.is_finite() { least } else { 0.0 }
        };
        let mut parts = vec![
            Part { name: METAL.into(), own: fewest(&|_, fit| Some(fit.net_over_estimate.effective)), adds: self.metal },
            Part { name: METAL_LOST.into(), own: fewest(&|_, fit| Some(fit.lost_share.effective)), adds: self.lost },
            Part { name: POURED.into(), own: fewest(&|_, fit| Some(fit.poured_over_net.effective)), adds: self.poured },
            Part { name: RECAST.into(), own: fewest(&|_, fit| Some(fit.effective)), adds: self.recast },
        ];
        for (i, adds) in self.movers.into_iter().enumerate() {
            let named = lines.iter().filter_map(|(_, fit)| fit.movers.get(i)).flatten().next().map(|one| one.name.clone());
            let own = fewest(&|line, fit| {
                let one = fit.movers.get(i).and_then(Option::as_ref).filter(|_| line.price(i) > 0.0)?;
                Some(one.rung.as_ref().map_or(0.0, |rung| rung.effective))
            });
            parts.extend(named.map(|name| Part { name, own, adds }));
        }
        parts.retain(|part| part.adds.iter().any(|adds| *adds != 0.0));
        (self.totals, parts)
    }
}
