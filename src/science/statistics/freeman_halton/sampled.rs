//! Tables drawn at random with given margins (Agresti, Wackerly & Boyett 1979,
//! *Psychometrika* 44:75–83).

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::{Method, Overall, TIE, Table, ln_factorial};

/// Most draws, and what is drawn where a draw is cheap.
const MOST_DRAWS: f64 = 9_999.0;
/// Fewest draws: p can still fall to 0.002.
const FEWEST_DRAWS: f64 = 499.0;
/// Steps to be spent on all draws, of some nanoseconds each.
const WORK: f64 = 2e7;
/// What the start of a hypergeometric draw costs, in steps.
const START: f64 = 12.0;

/// The p of Freeman and Halton from drawn tables, `(1 + hits) ∕ (draws + 1)`.
pub(super) fn drawn(table: &Table, seed: u64) -> Overall {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let logs: Vec<f64> = (0..=table.total).map(ln_factorial).collect();
    let limit = table.length() + TIE;
    let picked = Picked::new(table);
    let dealt = Dealt { table, logs: &logs };
    let by_picking = picked.as_ref().is_some_and(|picked| picked.cost() < dealt.cost());
    let cost = if by_picking { picked.as_ref().map_or(1.0, Picked::cost) } else { dealt.cost() };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between the fewest and the most draws")]
    let draws = (WORK / cost).clamp(FEWEST_DRAWS, MOST_DRAWS) as u32;
    let mut hits = 0_u32;
    match picked.filter(|_| by_picking) {
        Some(mut picked) => (0..draws).for_each(|_| hits += u32::from(picked.draw(&mut rng, &logs) <= limit)),
        None => (0..draws).for_each(|_| hits += u32::from(dealt.draw(&mut rng) <= limit)),
    }
    let p = (1.0 + f64::from(hits)) / (1.0 + f64::from(draws));
    Overall { method: Method::MonteCarlo(draws), p }
}

/// Two rows: the events (or the spared, if these are fewer) picked one by one from all.
struct Picked {
    /// The column of each of all, in any order.
    labels: Vec<u32>,
    column_totals: Vec<u32>,
    counts: Vec<u32>,
    fewer: usize,
}

impl Picked {
    fn new(table: &Table) -> Option<Self> {
        let &[one, other] = table.row_totals.as_slice() else { return None };
        let mut labels = Vec::new();
        for (label, total) in (0_u32..).zip(&table.column_totals) {
            labels.extend(std::iter::repeat_n(label, usize::try_from(*total).ok()?));
        }
        let counts = vec![0; table.column_totals.len()];
        Some(Self { labels, column_totals: table.column_totals.clone(), counts, fewer: usize::try_from(one.min(other)).ok()? })
    }

    #[expect(clippy::cast_precision_loss, reason = "counts lie far below 2^53")]
    fn cost(&self) -> f64 {
        self.fewer as f64 + self.counts.len() as f64
    }

    /// −Σ ln x! of a table drawn: a shuffle of the first few, from whatever order there is.
    fn draw(&mut self, rng: &mut ChaCha8Rng, logs: &[f64]) -> f64 {
        self.counts.fill(0);
        for at in 0..self.fewer {
            let from = rng.random_range(at..self.labels.len());
            self.labels.swap(at, from);
            let label = self.labels.get(at).and_then(|label| usize::try_from(*label).ok());
            if let Some(count) = label.and_then(|label| self.counts.get_mut(label)) {
                *count += 1;
            }
        }
        -self.counts.iter().zip(&self.column_totals).map(|(x, n)| log(logs, *x) + log(logs, n - x)).sum::<f64>()
    }
}

/// Any number of rows: each column dealt to the rows by hypergeometric draws.
struct Dealt<'a> {
    table: &'a Table,
    logs: &'a [f64],
}

impl Dealt<'_> {
    /// A draw costs its start and about its spread in steps.
    fn cost(&self) -> f64 {
        let (total, rows) = (f64::from(self.table.total.max(1)), &self.table.row_totals);
        let spread = |row: u32, column: u32| (f64::from(row) / total * f64::from(column)).sqrt();
        let of = |column: &u32| rows.iter().skip(1).map(|row| START + spread(*row, *column)).sum::<f64>();
        self.table.column_totals.iter().map(of).sum()
    }

    /// −Σ ln x! of a table drawn.
    fn draw(&self, rng: &mut ChaCha8Rng) -> f64 {
        let mut rows = self.table.row_totals.clone();
        let mut length = 0.0;
        for &column in &self.table.column_totals {
            let (mut left, mut rest) = (column, rows.iter().sum::<u32>());
            for row in &mut rows {
                rest -= *row;
                let cell = self.hypergeometric(rng, *row, rest, left);
                *row -= cell;
                left -= cell;
                length -= log(self.logs, cell);
            }
        }
        length
    }

    /// How many of `taken` fall among `these`, the others among `those`: by inversion outward
    /// from the mode.
    fn hypergeometric(&self, rng: &mut ChaCha8Rng, these: u32, those: u32, taken: u32) -> u32 {
        let (low, high) = (taken.saturating_sub(those), taken.min(these));
        if low == high {
            return low;
        }
        let [m, n, t] = [these, those, taken].map(f64::from);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count between the bounds")]
        let mode = (((t + 1.0) * (m + 1.0) / (m + n + 2.0)) as u32).clamp(low, high);
        let ways = |of: u32, k: u32| log(self.logs, of) - log(self.logs, k) - log(self.logs, of - k);
        let at_mode = (ways(these, mode) + ways(those, taken - mode) - ways(these + those, taken)).exp();
        let up = |k: f64| (m - k) * (t - k) / ((k + 1.0) * (n - t + k + 1.0));
        let mut left = rng.random::<f64>() - at_mode;
        let (mut above, mut below, mut over, mut under) = (mode, mode, at_mode, at_mode);
        while left > 0.0 && (above < high || below > low) {
            if above < high {
                over *= up(f64::from(above));
                above += 1;
                left -= over;
                if left <= 0.0 {
                    return above;
                }
            }
            if below > low {
                below -= 1;
                under /= up(f64::from(below));
                left -= under;
                if left <= 0.0 {
                    return below;
                }
            }
            // What rounding leaves over belongs to no outcome.
            if over + under < 1e-18 {
                break;
            }
        }
        mode
    }
}

fn log(logs: &[f64], n: u32) -> f64 {
    usize::try_from(n).ok().and_then(|n| logs.get(n)).copied().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::super::network;
    use super::*;

    fn standard_error(p: f64, draws: f64) -> f64 {
        (p * (1.0 - p) / draws).sqrt()
    }

    #[test]
    fn drawn_tables_agree_with_all_tables() {
        for (seed, rows) in [
            (1, vec![vec![1, 4, 0, 3], vec![19, 26, 15, 12]]),
            (2, vec![vec![1, 3, 10, 6], vec![2, 3, 10, 7], vec![1, 6, 14, 12]]),
            (3, vec![vec![9, 14, 2], vec![11, 6, 18]]),
        ] {
            let table = Table::new(&rows).unwrap();
            let exact = network::exact(&table).unwrap();
            let logs: Vec<f64> = (0..=table.total).map(ln_factorial).collect();
            let limit = table.length() + TIE;
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let dealt = Dealt { table: &table, logs: &logs };
            let draws = 10_000_u32;
            let hits = (0..draws).filter(|_| dealt.draw(&mut rng) <= limit).count();
            let near = |hits: usize| (f64::from(u32::try_from(hits).unwrap()) / f64::from(draws) - exact).abs();
            let allowed = 4.0 * standard_error(exact, f64::from(draws)) + 1e-4;
            assert!(near(hits) < allowed, "dealt {hits}, exact {exact}");
            if let Some(mut picked) = Picked::new(&table) {
                let hits = (0..draws).filter(|_| picked.draw(&mut rng, &logs) <= limit).count();
                assert!(near(hits) < allowed, "picked {hits}, exact {exact}");
            }
        }
    }

    #[test]
    fn a_hypergeometric_draw_has_its_mean_and_spread() {
        let table = Table::new(&[vec![1_000, 2_000], vec![3_000, 4_000]]).unwrap();
        let logs: Vec<f64> = (0..=table.total).map(ln_factorial).collect();
        let dealt = Dealt { table: &table, logs: &logs };
        let mut rng = ChaCha8Rng::seed_from_u64(4);
        for (these, those, taken) in [(3, 4, 2), (40, 5_000, 700), (3_000, 4_000, 2_000), (4_000, 30, 3_990)] {
            let draws = 4_000_u32;
            let list: Vec<f64> = (0..draws).map(|_| f64::from(dealt.hypergeometric(&mut rng, these, those, taken))).collect();
            let [m, n, t] = [these, those, taken].map(f64::from);
            let (mean, variance) = (t * m / (m + n), t * m / (m + n) * n / (m + n) * (m + n - t) / (m + n - 1.0));
            let seen = list.iter().sum::<f64>() / f64::from(draws);
            let spread = list.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / f64::from(draws);
            assert!((seen - mean).abs() < 4.0 * (variance / f64::from(draws)).sqrt(), "{these} {those} {taken}: {seen} {mean}");
            assert!((spread / variance - 1.0).abs() < 0.15, "{these} {those} {taken}: {spread} {variance}");
        }
    }

    #[test]
    fn ten_thousand_levels_and_a_million_pours_are_quick_and_right() {
        // Equal chances 0.02 at each level, of 100 pours each: p is anywhere but at its end.
        let mut rng = ChaCha8Rng::seed_from_u64(5);
        let events: Vec<u32> = (0..10_000).map(|_| (0..100).map(|_| u32::from(rng.random::<f64>() < 0.02)).sum()).collect();
        let rows = |events: &[u32]| vec![events.to_vec(), events.iter().map(|x| 100 - x).collect()];
        let even = super::super::overall(&rows(&events), 6).unwrap();
        assert!(matches!(even.method, Method::MonteCarlo(draws) if draws >= 499) && even.p > 0.01, "{even:?}");
        // And one level in ten of twice the chance: seen at once.
        let uneven: Vec<u32> = events.iter().enumerate().map(|(i, x)| if i % 10 == 0 { 2 * x } else { *x }).collect();
        let uneven = super::super::overall(&rows(&uneven), 6).unwrap();
        assert!(uneven.p < 0.01, "{uneven:?}");
    }

    #[test]
    fn the_same_seed_gives_the_same_p() {
        let rows = [(1..60).collect::<Vec<u32>>(), (1..60).rev().collect()];
        let table = Table::new(&rows).unwrap();
        assert_eq!(drawn(&table, 9), drawn(&table, 9));
    }
}
