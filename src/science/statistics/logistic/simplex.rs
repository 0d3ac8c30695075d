//! A small dense linear program.
//!
//! Maximise c·x subject to A x ≤ b and x ≥ 0, for b ≥ 0, so that x = 0 is a start. The simplex
//! method in dictionary form with Bland's rule (*Mathematics of Operations Research* 2, 1977,
//! 103–107): always the variable of the lowest index, which cannot cycle, so it ends although
//! the programs here are as degenerate as can be (almost all of b is 0).

/// A coefficient nearer to 0 than this is taken for 0. Rows come scaled to 1.
const ZERO: f64 = 1e-10;
/// Most pivots.
const MOST_PIVOTS: u32 = 100_000;

/// The optimum.
pub(super) struct Optimum {
    /// x.
    pub(super) solution: Vec<f64>,
    /// The price of each row: y ≥ 0 with Aᵀy ≥ c and b·y = c·x.
    pub(super) prices: Vec<f64>,
}

/// `None` where it is unbounded, b has a negative part, or the limit of pivots is reached.
pub(super) fn maximise(c: &[f64], rows: &[Vec<f64>], b: &[f64]) -> Option<Optimum> {
    if b.iter().any(|bound| *bound < 0.0) || rows.len() != b.len() || rows.iter().any(|row| row.len() != c.len()) {
        return None;
    }
    let mut table = Dictionary::new(c, rows, b);
    for _ in 0..MOST_PIVOTS {
        let Some(enters) = table.entering() else { return Some(table.optimum(c.len(), rows.len())) };
        let leaves = table.leaving(enters)?;
        table.pivot(leaves, enters);
    }
    None
}

/// basic = constant − Σ coefficient · nonbasic, and c·x grows by gain · nonbasic. Variables
/// are numbered x first, then the slack of each row.
struct Dictionary {
    basic: Vec<usize>,
    nonbasic: Vec<usize>,
    constant: Vec<f64>,
    coefficients: Vec<Vec<f64>>,
    gain: Vec<f64>,
}

impl Dictionary {
    fn new(c: &[f64], rows: &[Vec<f64>], b: &[f64]) -> Self {
        Self {
            basic: (c.len()..c.len() + rows.len()).collect(),
            nonbasic: (0..c.len()).collect(),
            constant: b.to_vec(),
            coefficients: rows.to_vec(),
            gain: c.to_vec(),
        }
    }

    /// The variable of the lowest number that gains.
    fn entering(&self) -> Option<usize> {
        (0..self.nonbasic.len()).filter(|j| self.gain[*j] > ZERO).min_by_key(|j| self.nonbasic[*j])
    }

    /// The row that stops it first; of equals that of the lowest number.
    fn leaving(&self, enters: usize) -> Option<usize> {
        let stops =
            |row: usize| (self.coefficients[row][enters] > ZERO).then(|| self.constant[row] / self.coefficients[row][enters]);
        let first = (0..self.basic.len()).filter_map(stops).reduce(f64::min)?;
        (0..self.basic.len())
            .filter(|row| stops(*row).is_some_and(|stop| stop <= first + ZERO))
            .min_by_key(|row| self.basic[*row])
    }

    fn pivot(&mut self, leaves: usize, enters: usize) {
        let by = self.coefficients[leaves][enters];
        let mut pivot: Vec<f64> = self.coefficients[leaves].iter().map(|value| value / by).collect();
        pivot[enters] = 1.0 / by;
        let level = (self.constant[leaves] / by).max(0.0);
        for row in 0..self.basic.len() {
            let times = self.coefficients[row][enters];
            if row == leaves || times == 0.0 {
                continue;
            }
            self.coefficients[row][enters] = 0.0;
            self.coefficients[row].iter_mut().zip(&pivot).for_each(|(value, pivot)| *value -= times * pivot);
            // Rounding must not carry a start out of what is allowed.
            self.constant[row] = (self.constant[row] - times * level).max(0.0);
        }
        let times = self.gain[enters];
        self.gain[enters] = 0.0;
        self.gain.iter_mut().zip(&pivot).for_each(|(value, pivot)| *value -= times * pivot);
        self.coefficients[leaves] = pivot;
        self.constant[leaves] = level;
        std::mem::swap(&mut self.basic[leaves], &mut self.nonbasic[enters]);
    }

    fn optimum(&self, variables: usize, rows: usize) -> Optimum {
        let mut solution = vec![0.0; variables];
        for (variable, value) in self.basic.iter().zip(&self.constant).filter(|(variable, _)| **variable < variables) {
            solution[*variable] = *value;
        }
        let mut prices = vec![0.0; rows];
        for (variable, gain) in self.nonbasic.iter().zip(&self.gain).filter(|(variable, _)| **variable >= variables) {
            prices[*variable - variables] = (-gain).max(0.0);
        }
        Optimum { solution, prices }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_small_program_has_its_corner() {
        // Dantzig's example of 1963: 3x + 5y, x ≤ 4, 2y ≤ 12, 3x + 2y ≤ 18: 36 at (2, 6).
        let rows = [vec![1.0, 0.0], vec![0.0, 2.0], vec![3.0, 2.0]];
        let got = maximise(&[3.0, 5.0], &rows, &[4.0, 12.0, 18.0]).unwrap();
        assert!((got.solution[0] - 2.0).abs() < 1e-12 && (got.solution[1] - 6.0).abs() < 1e-12);
        // The prices are those of the dual: 0, 1½, 1.
        for (price, want) in got.prices.iter().zip([0.0, 1.5, 1.0]) {
            assert!((price - want).abs() < 1e-12);
        }
    }

    #[test]
    fn cycling_is_broken_and_the_endless_refused() {
        // Beale's example (1955), on which the rule of the greatest gain cycles: 1 ∕ 20.
        let rows = [vec![0.25, -60.0, -0.04, 9.0], vec![0.5, -90.0, -0.02, 3.0], vec![0.0, 0.0, 1.0, 0.0]];
        let got = maximise(&[0.75, -150.0, 0.02, -6.0], &rows, &[0.0, 0.0, 1.0]).unwrap();
        let value: f64 = got.solution.iter().zip([0.75, -150.0, 0.02, -6.0]).map(|(x, c)| x * c).sum();
        assert!((value - 0.05).abs() < 1e-12, "{value}");
        assert!(maximise(&[1.0], &[vec![-1.0]], &[1.0]).is_none());
        assert!(maximise(&[1.0], &[vec![1.0]], &[-1.0]).is_none());
    }
}
