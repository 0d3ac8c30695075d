//! All tables with given margins, gone through column by column.
//!
//! After some columns only the multiset of what remains of the row totals matters for the
//! rest, and paths to it of one length are of one probability: both are merged (the network
//! of Mehta & Patel 1983, *JASA* 78:427–434, without its bounds). The last two columns are
//! counted once for each remainder and looked up by length.

use std::collections::BTreeMap;

use super::{TIE, Table, ln_factorial};

/// Steps after which the tables are too many.
const MOST_WORK: usize = 8_000_000;
/// How many times the most work may seem to be ahead: towards the end nodes become few.
const HOPEFUL: usize = 1;
/// What a merge of two paths costs, in steps.
const MERGE: usize = 10;
/// Lengths nearer than this are merged.
const SAME: f64 = 1e-10;

/// Paths of one length: the length and how many there are.
type Paths = BTreeMap<i64, (f64, f64)>;

/// The p of Freeman and Halton. `None` where there are too many tables.
pub(super) fn exact(table: &Table) -> Option<f64> {
    let Some((&last, before)) = table.column_totals.split_last() else { return Some(1.0) };
    let Some((&last_but_one, before)) = before.split_last() else { return Some(1.0) };
    if table.row_totals.len() < 2 {
        return Some(1.0);
    }
    let mut work = 0;
    let mut rows = table.row_totals.clone();
    rows.sort_unstable();
    let mut nodes: BTreeMap<Vec<u32>, Paths> = BTreeMap::from([(rows, Paths::from([(0, (0.0, 1.0))]))]);
    for (passed, &total) in (1..).zip(before) {
        let done = work;
        nodes = step(&nodes, total, &mut work)?;
        // Later columns are larger and their nodes more: what will not do is left early.
        let left = before.len() - passed;
        if (work - done).saturating_mul(left) > HOPEFUL * MOST_WORK {
            return None;
        }
    }
    let seen = table.length();
    let fixed = |totals: &[u32]| totals.iter().map(|n| ln_factorial(*n)).sum::<f64>();
    let scale = fixed(&table.row_totals) + fixed(&table.column_totals) - ln_factorial(table.total);
    let (mut hits, mut all) = (0.0, 0.0);
    for (rows, paths) in &nodes {
        let ends = Ends::new(rows, last_but_one, last, &mut work)?;
        for (length, count) in paths.values() {
            let weight = count * (length + ends.longest + scale).exp();
            hits += weight * ends.up_to(seen + TIE - length);
            all += weight * ends.all();
        }
    }
    (all > 0.0).then(|| (hits / all).min(1.0))
}

/// All nodes after one more column.
fn step(nodes: &BTreeMap<Vec<u32>, Paths>, total: u32, work: &mut usize) -> Option<BTreeMap<Vec<u32>, Paths>> {
    let mut next: BTreeMap<Vec<u32>, Paths> = BTreeMap::new();
    for (rows, paths) in nodes {
        let mut within = true;
        splits(rows, total, &mut |column, length| {
            *work += 10 + MERGE * paths.len();
            within = *work <= MOST_WORK;
            if within {
                let mut rest: Vec<u32> = rows.iter().zip(column).map(|(row, cell)| row - cell).collect();
                rest.sort_unstable();
                let into = next.entry(rest).or_default();
                for (before, count) in paths.values() {
                    let sum = before + length;
                    into.entry(key(sum)).or_insert((sum, 0.0)).1 += count;
                }
            }
            within
        });
        within.then_some(())?;
    }
    Some(next)
}

#[expect(clippy::cast_possible_truncation, reason = "a cast saturates; lengths within reach of the work are small")]
fn key(length: f64) -> i64 {
    (length / SAME).round() as i64
}

/// The ways to end from one remainder with two columns: lengths in order and the sums of
/// their probabilities, on the scale of the longest.
struct Ends {
    lengths: Vec<f64>,
    sums: Vec<f64>,
    longest: f64,
}

impl Ends {
    fn new(rows: &[u32], first: u32, second: u32, work: &mut usize) -> Option<Self> {
        debug_assert_eq!(rows.iter().sum::<u32>(), first + second);
        let mut lengths = Vec::new();
        let mut within = true;
        splits(rows, first, &mut |column, length| {
            *work += 3;
            within = *work <= MOST_WORK;
            let other: f64 = rows.iter().zip(column).map(|(row, cell)| ln_factorial(row - cell)).sum();
            lengths.push(length - other);
            within
        });
        within.then_some(())?;
        lengths.sort_unstable_by(f64::total_cmp);
        let longest = lengths.last().copied()?;
        let mut sum = 0.0;
        let add = |length: &f64| {
            sum += (length - longest).exp();
            sum
        };
        let sums = lengths.iter().map(add).collect();
        Some(Self { lengths, sums, longest })
    }

    fn up_to(&self, length: f64) -> f64 {
        let counted = self.lengths.partition_point(|one| *one <= length);
        counted.checked_sub(1).and_then(|last| self.sums.get(last)).copied().unwrap_or(0.0)
    }

    fn all(&self) -> f64 {
        self.sums.last().copied().unwrap_or(0.0)
    }
}

/// Calls with each way to take `total` from the rows, and −Σ ln x! of it, until it is told
/// to stop by `false`.
fn splits(rows: &[u32], total: u32, each: &mut impl FnMut(&[u32], f64) -> bool) {
    let mut column = vec![0; rows.len()];
    let rest: u64 = rows.iter().map(|row| u64::from(*row)).sum();
    within(rows, 0, total, rest, 0.0, &mut column, each);
}

fn within(
    rows: &[u32],
    at: usize,
    total: u32,
    rest: u64,
    length: f64,
    column: &mut [u32],
    each: &mut impl FnMut(&[u32], f64) -> bool,
) -> bool {
    let Some(&row) = rows.get(at) else { return each(column, length) };
    let rest = rest - u64::from(row);
    let least = u32::try_from(u64::from(total).saturating_sub(rest)).unwrap_or(u32::MAX);
    for cell in least..=row.min(total) {
        if let Some(place) = column.get_mut(at) {
            *place = cell;
        }
        if !within(rows, at + 1, total - cell, rest, length - ln_factorial(cell), column, each) {
            return false;
        }
    }
    true
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn factorial(n: u32) -> u64 {
        (1..=u64::from(n)).product()
    }

    /// Every arrangement of cells with the margins of a table, cell by cell, with whole weights
    /// N! ∕ Π x!; returns those no heavier than the seen one, and all.
    fn counted(rows: &[Vec<u32>]) -> (u64, u64) {
        fn go(left_rows: &mut [u32], left_columns: &mut [u32], at: usize, weight: u64, seen: u64) -> (u64, u64) {
            let width = left_columns.len();
            let (row, column) = (at / width, at % width);
            if row == left_rows.len() {
                let closed = left_rows.iter().chain(left_columns.iter()).all(|left| *left == 0);
                return if closed { (if weight <= seen { weight } else { 0 }, weight) } else { (0, 0) };
            }
            let mut sums = (0, 0);
            for cell in 0..=left_rows[row].min(left_columns[column]) {
                left_rows[row] -= cell;
                left_columns[column] -= cell;
                let (hits, all) = go(left_rows, left_columns, at + 1, weight / factorial(cell), seen);
                sums = (sums.0 + hits, sums.1 + all);
                left_rows[row] += cell;
                left_columns[column] += cell;
            }
            sums
        }
        let mut of_rows: Vec<u32> = rows.iter().map(|row| row.iter().sum()).collect();
        let mut of_columns: Vec<u32> = (0..rows[0].len()).map(|at| rows.iter().map(|row| row[at]).sum()).collect();
        let whole = factorial(of_rows.iter().sum());
        let seen = rows.iter().flatten().fold(whole, |weight, cell| weight / factorial(*cell));
        go(&mut of_rows, &mut of_columns, 0, whole, seen)
    }

    proptest! {
        #[test]
        fn any_small_table_is_as_counted(cells in prop::collection::vec(0_u32..4, 12), height in 2_usize..4, width in 2_usize..5) {
            let rows: Vec<Vec<u32>> = cells.chunks(width).take(height).filter(|row| row.len() == width).map(<[u32]>::to_vec).collect();
            prop_assume!(rows.iter().flatten().sum::<u32>() <= 16);
            let (hits, all) = counted(&rows);
            #[expect(clippy::cast_precision_loss, reason = "a ratio to 15 digits")]
            let want = hits as f64 / all as f64;
            let got = exact(&Table::new(&rows).unwrap()).unwrap();
            prop_assert!((got - want).abs() < 1e-11, "{rows:?}: {got} {want}");
        }
    }
}
