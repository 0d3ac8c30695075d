//! Whether any of several levels differs: tables of r × c.
//!
//! The exact test of Freeman & Halton (1951, *Biometrika* 38:141–149): the chance of tables
//! with the same margins that are no more probable than the seen one.

mod network;
mod sampled;

use super::special::{chi2_sf, ln_gamma};

/// Logarithms of probabilities nearer than this count as equal.
const TIE: f64 = 1e-7;
/// From this expected count in every cell on, χ² may stand for the exact test (Cochran 1954).
const EXPECTED_FOR_CHI2: f64 = 5.0;

/// How a p was arrived at.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Method {
    /// All tables gone through.
    Exact,
    /// So many tables drawn at random: `(1 + hits) ∕ (draws + 1)`.
    MonteCarlo(u32),
    /// Pearson's χ².
    ChiSquare,
}

impl Method {
    /// As answered.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Exact => "exact",
            Self::MonteCarlo(_) => "monte_carlo",
            Self::ChiSquare => "chi_square",
        }
    }
}

/// A p of equal rates at all levels, and how it was arrived at.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Overall {
    /// How.
    pub method: Method,
    /// The p.
    pub p: f64,
}

/// Pearson's test of equal shares in all columns.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Pearson {
    /// The statistic, without a correction.
    pub chi2: f64,
    /// Degrees of freedom.
    pub freedom: f64,
    /// The chance of a statistic as large.
    pub p: f64,
    /// The least expected count of any cell.
    pub least_expected: f64,
}

/// Pearson's χ² over a table of counts. Rows and columns without counts are left out.
/// `None` where rows differ in length, or fewer than two rows or columns remain.
#[must_use]
pub fn pearson(rows: &[Vec<u32>]) -> Option<Pearson> {
    let table = Table::new(rows)?;
    if table.row_totals.len() < 2 || table.column_totals.len() < 2 {
        return None;
    }
    let total = f64::from(table.total);
    let (mut chi2, mut least) = (0.0, f64::INFINITY);
    for (column, of_column) in table.columns.iter().zip(&table.column_totals) {
        for (cell, of_row) in column.iter().zip(&table.row_totals) {
            let expected = f64::from(*of_row) * (f64::from(*of_column) / total);
            chi2 += (f64::from(*cell) - expected).powi(2) / expected;
            least = least.min(expected);
        }
    }
    #[expect(clippy::cast_precision_loss, reason = "counts of rows and columns lie far below 2^53")]
    let freedom = (table.row_totals.len() as f64 - 1.0) * (table.column_totals.len() as f64 - 1.0);
    Some(Pearson { chi2, freedom, p: chi2_sf(chi2, freedom)?, least_expected: least })
}

/// The test of Freeman and Halton: by going through all tables where these are few enough,
/// else by drawing tables with the seed handed in. Where fewer than two rows or columns
/// have counts, p is 1. `None` where rows differ in length or the counts exceed a `u32`.
#[must_use]
pub fn freeman_halton(rows: &[Vec<u32>], seed: u64) -> Option<Overall> {
    let table = Table::new(rows)?;
    Some(match network::exact(&table) {
        Some(p) => Overall { method: Method::Exact, p },
        None => sampled::drawn(&table, seed),
    })
}

/// What answers whether any level differs: exact where the tables can be gone through, χ²
/// where every expected count is 5 or more, else drawn. `None` as for [`freeman_halton`].
#[must_use]
pub fn overall(rows: &[Vec<u32>], seed: u64) -> Option<Overall> {
    let table = Table::new(rows)?;
    if let Some(p) = network::exact(&table) {
        return Some(Overall { method: Method::Exact, p });
    }
    let large = pearson(rows).filter(|test| test.least_expected >= EXPECTED_FOR_CHI2);
    Some(large.map_or_else(|| sampled::drawn(&table, seed), |test| Overall { method: Method::ChiSquare, p: test.p }))
}

/// A table without empty margins, the longer side as columns, these from the smallest.
struct Table {
    columns: Vec<Vec<u32>>,
    column_totals: Vec<u32>,
    row_totals: Vec<u32>,
    total: u32,
}

impl Table {
    fn new(rows: &[Vec<u32>]) -> Option<Self> {
        let width = rows.first().map_or(0, Vec::len);
        if rows.iter().any(|row| row.len() != width) {
            return None;
        }
        let sum = |list: &[u32]| list.iter().try_fold(0_u32, |sum, cell| sum.checked_add(*cell));
        let rows: Vec<&Vec<u32>> = rows.iter().filter(|row| row.iter().any(|cell| *cell > 0)).collect();
        let turned = |at: usize| rows.iter().filter_map(|row| row.get(at)).copied().collect::<Vec<u32>>();
        let mut columns: Vec<Vec<u32>> = (0..width).map(turned).filter(|column| column.iter().any(|cell| *cell > 0)).collect();
        if rows.len() > columns.len() {
            let back = |at: usize| columns.iter().filter_map(|column| column.get(at)).copied().collect::<Vec<u32>>();
            columns = (0..rows.len()).map(back).collect();
        }
        let mut column_totals = columns.iter().map(|column| sum(column)).collect::<Option<Vec<u32>>>()?;
        let order =
            |columns: &mut Vec<Vec<u32>>| columns.sort_by_key(|column| column.iter().map(|cell| u64::from(*cell)).sum::<u64>());
        order(&mut columns);
        column_totals.sort_unstable();
        let height = columns.first().map_or(0, Vec::len);
        let of_row = |at: usize| sum(&columns.iter().filter_map(|column| column.get(at)).copied().collect::<Vec<u32>>());
        let row_totals = (0..height).map(of_row).collect::<Option<Vec<u32>>>()?;
        let total = sum(&row_totals)?;
        Some(Self { columns, column_totals, row_totals, total })
    }

    /// −Σ ln x! over all cells: ln of the probability, but for what the margins fix.
    fn length(&self) -> f64 {
        -self.columns.iter().flatten().map(|cell| ln_factorial(*cell)).sum::<f64>()
    }
}

fn ln_factorial(n: u32) -> f64 {
    ln_gamma(f64::from(n) + 1.0).unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_differ_has_p_one() {
        for rows in [vec![], vec![vec![]], vec![vec![0, 0], vec![3, 4]], vec![vec![2, 0], vec![3, 0]]] {
            let got = freeman_halton(&rows, 1).unwrap();
            assert_eq!((got.method, got.p.to_bits()), (Method::Exact, 1.0_f64.to_bits()), "{rows:?}");
            assert_eq!(pearson(&rows), None);
        }
        assert_eq!(freeman_halton(&[vec![1, 2], vec![1]], 1), None);
        assert_eq!(freeman_halton(&[vec![u32::MAX, 2], vec![1, 1]], 1), None);
    }

    #[test]
    fn two_by_two_is_fishers() {
        for (a, b, c, d) in [(3, 37, 9, 26), (2, 15, 10, 3), (5, 5, 2, 8), (0, 14, 4, 8)] {
            let arm = |x, y| super::super::Arm::new(x, x + y).unwrap();
            let want = super::super::tables::fisher_p(arm(a, b), arm(c, d));
            let got = freeman_halton(&[vec![a, b], vec![c, d]], 1).unwrap();
            assert!(got.method == Method::Exact && (got.p / want - 1.0).abs() < 1e-11, "{got:?} {want}");
        }
    }

    #[test]
    fn turning_the_table_changes_nothing() {
        let rows = [vec![1, 4, 0, 3], vec![19, 26, 15, 12], vec![2, 0, 3, 3]];
        let turned: Vec<Vec<u32>> = (0..4).map(|at| rows.iter().map(|row| row[at]).collect()).collect();
        let (one, other) = (freeman_halton(&rows, 1).unwrap(), freeman_halton(&turned, 1).unwrap());
        assert!((one.p - other.p).abs() < 1e-12);
    }

    #[test]
    fn large_counts_everywhere_take_chi_square() {
        let rows = [vec![500; 300], (0..300).map(|i| 9_000 + i).collect()];
        assert_eq!(overall(&rows, 1).unwrap().method, Method::ChiSquare);
        let small = [vec![1, 4, 0, 3], vec![19, 26, 15, 12]];
        assert_eq!(overall(&small, 1).unwrap().method, Method::Exact);
    }
}
