//! The columns of a regression, made fit for use: centred, scaled, and without those that
//! say nothing of their own.

use std::collections::BTreeMap;

use super::likelihood::MOST_COLUMNS;

/// A column whose part not explained by the columns before it is below this share is dropped:
/// its coefficient would be the difference of two numbers a million times as large.
const COLLINEAR: f64 = 1e-6;

/// A column as given: one value to each row. A level is a column of 0 and 1.
#[derive(Clone, PartialEq, Debug)]
pub struct Column {
    /// What it is called in the result.
    pub name: String,
    /// Its values.
    pub values: Vec<f64>,
}

/// Why a column is not in the fit.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum DropReason {
    /// All rows with something observed have the same value.
    Constant,
    /// It is another column over again (or that one scaled and shifted).
    Duplicate {
        /// That column.
        of: String,
    },
    /// The columns before it determine it.
    Collinear,
}

/// A column left out.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Dropped {
    /// Its name.
    pub name: String,
    /// Why.
    pub reason: DropReason,
}

/// What is wrong with the data.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum DesignError {
    /// A column, or the counts, have another number of rows.
    Lengths,
    /// A value of this column is infinite or not a number.
    NotFinite {
        /// The column.
        column: String,
    },
    /// More had it than were observed, in this row (from 0).
    Counts {
        /// The row.
        row: usize,
    },
    /// No row has anything observed.
    NothingObserved,
    /// More columns than a fit takes, 63 besides the intercept.
    TooManyColumns,
}

/// Grouped counts with the columns that explain them; an intercept goes before the columns.
#[derive(Clone, Debug)]
pub struct Design {
    names: Vec<String>,
    dropped: Vec<Dropped>,
    centre: Vec<f64>,
    scale: Vec<f64>,
    /// Different rows, each of `names.len()` values as given.
    rows: Vec<Vec<f64>>,
    successes: Vec<f64>,
    trials: Vec<f64>,
    /// The highest log-likelihood that any model could have, one rate to each row as given.
    saturated: f64,
}

impl Design {
    /// `successes` of `trials` in every row, explained by the columns. Rows of no trials are
    /// left out; equal rows are put together. Columns are centred at their mean and scaled by
    /// their standard deviation over the trials inside the fit; results are on the scale given.
    pub fn new(columns: &[Column], successes: &[u32], trials: &[u32]) -> Result<Self, DesignError> {
        check(columns, successes, trials)?;
        let seen: Vec<usize> = trials.iter().enumerate().filter(|(_, n)| **n > 0).map(|(row, _)| row).collect();
        let weights: Vec<f64> = seen.iter().map(|row| f64::from(trials[*row])).collect();
        let mut chosen = Chosen::default();
        for column in columns {
            let values: Vec<f64> = seen.iter().map(|row| column.values[*row]).collect();
            chosen.take(column, &values, &weights);
        }
        let mut groups: BTreeMap<Vec<u64>, (Vec<f64>, f64, f64)> = BTreeMap::new();
        let mut saturated = 0.0;
        for row in seen {
            // + 0.0 makes −0 of 0.
            let values: Vec<f64> = chosen.kept.iter().map(|column| column.values[row] + 0.0).collect();
            let key = values.iter().map(|value| value.to_bits()).collect();
            let group = groups.entry(key).or_insert((values, 0.0, 0.0));
            let (s, n) = (f64::from(successes[row]), f64::from(trials[row]));
            group.1 += s;
            group.2 += n;
            let part = |count: f64| if count > 0.0 { count * (count / n).ln() } else { 0.0 };
            saturated += part(s) + part(n - s);
        }
        let mut design = Self {
            names: chosen.kept.iter().map(|column| column.name.clone()).collect(),
            dropped: chosen.dropped,
            centre: chosen.centre,
            scale: chosen.scale,
            rows: Vec::new(),
            successes: Vec::new(),
            trials: Vec::new(),
            saturated,
        };
        for (values, s, n) in groups.into_values() {
            design.rows.push(values);
            design.successes.push(s);
            design.trials.push(n);
        }
        Ok(design)
    }

    /// The columns in the fit, without the intercept.
    #[must_use]
    pub fn names(&self) -> &[String] {
        &self.names
    }

    /// The columns left out, and why.
    #[must_use]
    pub fn dropped(&self) -> &[Dropped] {
        &self.dropped
    }

    /// How many had the outcome.
    #[must_use]
    pub fn events(&self) -> f64 {
        self.successes.iter().sum()
    }

    /// Out of how many.
    #[must_use]
    pub fn observed(&self) -> f64 {
        self.trials.iter().sum()
    }

    pub(super) fn successes(&self) -> &[f64] {
        &self.successes
    }

    pub(super) fn trials(&self) -> &[f64] {
        &self.trials
    }

    pub(super) fn rows(&self) -> &[Vec<f64>] {
        &self.rows
    }

    pub(super) fn centre(&self) -> &[f64] {
        &self.centre
    }

    pub(super) fn scale(&self) -> &[f64] {
        &self.scale
    }

    pub(super) const fn saturated(&self) -> f64 {
        self.saturated
    }

    /// A row of the columns as given, centred and scaled, with a 1 before it.
    pub(super) fn standard(&self, row: &[f64]) -> Vec<f64> {
        let columns = row.iter().zip(&self.centre).zip(&self.scale).map(|((value, centre), scale)| (value - centre) / scale);
        std::iter::once(1.0).chain(columns).collect()
    }

    /// All rows so.
    pub(super) fn standardised(&self) -> Vec<Vec<f64>> {
        self.rows.iter().map(|row| self.standard(row)).collect()
    }
}

fn check(columns: &[Column], successes: &[u32], trials: &[u32]) -> Result<(), DesignError> {
    let rows = trials.len();
    if columns.len() >= MOST_COLUMNS {
        return Err(DesignError::TooManyColumns);
    }
    if successes.len() != rows || columns.iter().any(|column| column.values.len() != rows) {
        return Err(DesignError::Lengths);
    }
    if let Some(column) = columns.iter().find(|column| column.values.iter().any(|value| !value.is_finite())) {
        return Err(DesignError::NotFinite { column: column.name.clone() });
    }
    if let Some(row) = successes.iter().zip(trials).position(|(s, n)| s > n) {
        return Err(DesignError::Counts { row });
    }
    if trials.iter().all(|n| *n == 0) { Err(DesignError::NothingObserved) } else { Ok(()) }
}

/// Columns taken one after the other, with an orthonormal basis of what they span
/// (Gram–Schmidt, each made orthogonal twice).
#[derive(Default)]
struct Chosen<'a> {
    kept: Vec<&'a Column>,
    centre: Vec<f64>,
    scale: Vec<f64>,
    dropped: Vec<Dropped>,
    standard: Vec<Vec<f64>>,
    basis: Vec<Vec<f64>>,
}

impl<'a> Chosen<'a> {
    fn take(&mut self, column: &'a Column, values: &[f64], weights: &[f64]) {
        let total: f64 = weights.iter().sum();
        let mean = values.iter().zip(weights).map(|(value, weight)| value * weight).sum::<f64>() / total;
        let largest = values.iter().fold(0.0_f64, |most, value| most.max(value.abs()));
        let variance = values.iter().zip(weights).map(|(value, weight)| weight * (value - mean).powi(2)).sum::<f64>() / total;
        let scale = variance.sqrt();
        // Values too large to be squared count as constant too: there is no scale for them.
        if !(scale > 1e-12 * largest && scale.is_finite()) {
            self.drop(column, DropReason::Constant);
            return;
        }
        let unit: Vec<f64> =
            values.iter().zip(weights).map(|(value, weight)| (value - mean) / scale * (weight / total).sqrt()).collect();
        let twin = self.standard.iter().position(|other| 1.0 - dot(other, &unit).abs() < COLLINEAR * COLLINEAR);
        if let Some(name) = twin.and_then(|twin| self.kept.get(twin)).map(|kept| kept.name.clone()) {
            self.drop(column, DropReason::Duplicate { of: name });
            return;
        }
        let mut own = unit.clone();
        for axis in self.basis.iter().chain(&self.basis) {
            let along = dot(axis, &own);
            own.iter_mut().zip(axis).for_each(|(own, axis)| *own -= along * axis);
        }
        let left = dot(&own, &own).sqrt();
        if left < COLLINEAR {
            self.drop(column, DropReason::Collinear);
            return;
        }
        for own in &mut own {
            *own /= left;
        }
        self.basis.push(own);
        self.standard.push(unit);
        self.kept.push(column);
        self.centre.push(mean);
        self.scale.push(scale);
    }

    fn drop(&mut self, column: &Column, reason: DropReason) {
        self.dropped.push(Dropped { name: column.name.clone(), reason });
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}
