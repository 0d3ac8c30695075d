//! Shops whose truth is known, drawn from a seed: what jobs take, when it is known, what they cost.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Beta, Distribution, StandardNormal};

use super::*;

/// How a shop differs from what its handbook says.
#[derive(Clone, Copy)]
pub struct Truth {
    /// Jobs in its life.
    pub jobs: usize,
    /// True spread of ln between jobs over the handbook's.
    pub wrong: f64,
    /// How many jobs later a job's end is recorded.
    pub late: usize,
    /// By what everything grows half way.
    pub step: f64,
    /// Only the mould is paid for: the score of a new shop's quote has the spread it is given.
    pub plain: bool,
}

/// What the shops of these tests count.
pub fn movers() -> Vec<MoverSpec> {
    vec![
        spec("mould", Per::Line, Unit::Minutes, 0.4, 200.0, 0.4),
        spec("shell", Per::Casting, Unit::Minutes, 0.65, 90.0, 0.3),
        spec("chasing", Per::Piece, Unit::Minutes, 0.65, 80.0, 0.4),
        spec("gas", Per::Casting, Unit::Quantity, 0.8, 6.0, 0.3),
    ]
}

const OVERHEAD: OverheadRates = OverheadRates { of_work: 0.25, per_minute: 0.0, per_poured_kg: 40.0 };

struct Shop {
    random: ChaCha8Rng,
    truth: Truth,
    /// By ratio of metal and mover: this shop's median over the handbook's, in ln, and slope.
    levels: Vec<(f64, f64)>,
    loss: f64,
}

impl Shop {
    fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.random)
    }

    /// The level of one thing in one job.
    fn level(&mut self, i: usize, handbook: Handbook, mass: f64) -> f64 {
        let (level, slope) = self.levels[i];
        let noise = self.normal() * handbook.scale * self.truth.wrong;
        handbook.at_one_kg * mass.powf(slope) * (level + noise).exp()
    }

    fn job(&mut self, j: usize) -> Job {
        let mass = (5_f64.ln() + 0.9 * self.normal()).exp();
        let asked = AskedLine {
            family: u8::from(self.random.random::<f64>() < 0.15),
            section_mm: 4.0 + 4.0 * self.random.random::<f64>(),
            recipe: Some(i64::from(self.random.random::<f64>() < 0.3)),
            metal_per_kg: if self.truth.plain { 0.0 } else { 1_400.0 },
            prices: if self.truth.plain { vec![70.0] } else { vec![70.0, 70.0, 75.0, 180.0] },
            ..line(mass, self.random.random_range(1..=8))
        };
        let overhead = if self.truth.plain { OverheadRates::default() } else { OVERHEAD };
        let grown = if j >= self.truth.jobs / 2 { self.truth.step } else { 1.0 };
        let metal = [NET_OVER_ESTIMATE, POURED_OVER_NET, LOST_SHARE, FAILED_SHARE];
        let mut ratios: Vec<f64> = metal.iter().enumerate().map(|(i, known)| self.level(i, *known, 1.0)).collect();
        ratios[0] *= grown;
        let specs = movers();
        let values: Vec<f64> =
            specs.iter().enumerate().map(|(i, s)| grown * self.level(4 + i, s.handbook.unwrap(), mass)).collect();
        let p = Beta::new(20.0 * self.loss, 20.0 * (1.0 - self.loss)).unwrap().sample(&mut self.random);
        let (mut castings, mut good, mut failed) = (0, 0, 0);
        for _ in 0..asked.copies {
            for _ in 0..asked.most_attempts {
                castings += 1;
                if self.random.random::<f64>() < p {
                    failed += 1;
                } else {
                    good += 1;
                    break;
                }
            }
        }
        let (net, poured) = (mass * ratios[0], mass * ratios[0] * ratios[1]);
        let metal = asked.metal_per_kg
            * (f64::from(good) * (net + ratios[2].min(1.0) * poured) + f64::from(failed) * ratios[3].min(1.0) * poured);
        let mut actual = metal + f64::from(castings) * poured * overhead.per_poured_kg;
        for ((spec, price), value) in specs.iter().zip(&asked.prices).zip(&values) {
            let times = match spec.per {
                Per::Casting => f64::from(castings),
                Per::Piece => f64::from(good),
                Per::Line => 1.0,
            };
            actual += times * value * price * if spec.unit == Unit::Minutes { 1.0 + overhead.of_work } else { 1.0 };
        }
        let known_from = i64::try_from((j + self.truth.late) * 1_000 + 500).unwrap();
        let comparable = Comparable {
            mass_kg: mass,
            family: asked.family,
            section_mm: asked.section_mm,
            recipe: asked.recipe,
            pieces: asked.copies,
            castings,
            failed,
            net_over_estimate: (good > 0).then_some(ratios[0]),
            poured_over_net: (good > 0).then_some(ratios[1]),
            lost_share: (good > 0).then_some(ratios[2]),
            failed_share: (failed > 0).then_some(ratios[3]),
            values: values.into_iter().map(Some).collect(),
            known_from,
            ..past(mass)
        };
        Job {
            lines: vec![asked],
            overhead,
            quoted_at: i64::try_from(j * 1_000).unwrap(),
            finished: Some(Finished { known_from, actual }),
            so_far: actual,
            quoted: None,
            comparables: vec![comparable],
        }
    }
}

/// A shop's jobs. Its own medians lie around the handbook's as the prior has it, with a spread
/// of half that between jobs (four jobs' worth); slopes within 0.1; a casting in ten is lost.
pub fn shop(truth: Truth, seed: u64) -> Vec<Job> {
    let mut made = Shop { random: ChaCha8Rng::seed_from_u64(seed), truth, levels: Vec::new(), loss: 0.1 };
    made.loss = Beta::new(3.0, 27.0).unwrap().sample(&mut made.random);
    for known in [NET_OVER_ESTIMATE, POURED_OVER_NET, LOST_SHARE, FAILED_SHARE] {
        let level = made.normal() * known.scale / 2.0;
        made.levels.push((level, 0.0));
    }
    for spec in movers() {
        let level = made.normal() * spec.handbook.unwrap().scale / 2.0;
        let slope = spec.slope + 0.1 * made.normal();
        made.levels.push((level, slope));
    }
    (0..truth.jobs).map(|j| made.job(j)).collect()
}
