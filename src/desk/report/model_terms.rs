//! What goes into the model: shells that are alike, made into columns.

use super::factor::{Factor, MIXED, Shown};
use super::store::model::Alike;
use crate::science::statistics::logistic::Column;

/// One column for so many outcomes of the rarer kind, at most.
pub const OUTCOMES_PER_COLUMN: u32 = 5;

/// From so many outcomes of the rarer kind the intervals of rates are by the delta method: by
/// then it and the profile agree.
pub const DELTA_FROM: u32 = 100;

/// A factor that is a number: the step its odds ratio is said for, its unit, and what it is taken
/// to the nearest of where too many shells differ.
#[must_use]
pub const fn number(factor: Factor) -> Option<(f64, &'static str, f64)> {
    match factor {
        Factor::ShellTemperature => Some((50.0, "°C", 5.0)),
        Factor::Superheat => Some((25.0, "°C", 5.0)),
        Factor::MinutesOut => Some((1.0, "min", 0.5)),
        Factor::Section => Some((1.0, "mm", 0.5)),
        Factor::DryingShortfall => Some((1.0, "h", 0.5)),
        _ => None,
    }
}

/// A level of a factor among the shells in the model.
#[derive(Clone, Debug)]
pub struct Level {
    /// As the store tells it.
    pub told: String,
    /// How it is shown.
    pub label: String,
    /// How it stands in a sentence.
    pub words: String,
    /// How many shells.
    pub n: u32,
    /// How many of them had it.
    pub count: u32,
}

impl Level {
    /// Whether none of its shells had it, or all.
    #[must_use]
    pub const fn alike(&self) -> bool {
        self.count == 0 || self.count == self.n
    }
}

/// How a factor enters.
#[derive(Clone, Debug)]
pub enum Enters {
    /// By its levels, the most used first: the reference.
    Levels(Vec<Level>),
    /// As a number: from, to, mean.
    Number(f64, f64, f64),
}

/// A factor in the model.
#[derive(Clone, Debug)]
pub struct Taken {
    /// Which.
    pub factor: Factor,
    /// How.
    pub enters: Enters,
    /// Shells whose level is not on record.
    pub unknown: u32,
    /// Shells whose castings do not agree.
    pub mixed: u32,
}

impl Taken {
    /// How many columns it takes.
    #[must_use]
    pub fn columns(&self) -> usize {
        match &self.enters {
            Enters::Levels(levels) => levels.len().saturating_sub(1),
            Enters::Number(low, high, _) => usize::from(low < high),
        }
    }
}

/// The shells in the model, and what of them goes into it.
#[derive(Clone, Debug, Default)]
pub struct Terms {
    /// The factors, as asked for.
    pub factors: Vec<Taken>,
    /// Shells whose every factor is known.
    pub rows: Vec<Alike>,
    /// How many they are.
    pub n: u32,
    /// How many of them had it.
    pub count: u32,
    /// How many are left out.
    pub left_out: u32,
}

/// Names of levels, factor by factor: number, name, id.
pub type Names = Vec<Vec<(i64, String, String)>>;

impl Terms {
    /// Of some shells, by some factors with the edges of their bands.
    #[must_use]
    pub fn of(factors: &[(Factor, Vec<f64>)], all: Vec<Alike>, names: &Names) -> Self {
        let known = |told: &Option<String>| told.as_deref().is_some_and(|told| told != MIXED);
        let (rows, out): (Vec<Alike>, Vec<Alike>) = all.into_iter().partition(|row| row.told.iter().all(known));
        let sum = |rows: &[Alike], of: &dyn Fn(&Alike) -> u32| rows.iter().fold(0_u32, |all, row| all.saturating_add(of(row)));
        let taken = factors.iter().enumerate().map(|(at, (factor, edges))| {
            let missing = |mixed: bool| {
                sum(&out, &|row| match row.told.get(at).and_then(Option::as_deref) {
                    Some(MIXED) if mixed => row.n,
                    None if !mixed => row.n,
                    _ => 0,
                })
            };
            let enters = if number(*factor).is_some() {
                numbers(&rows, at)
            } else {
                levels(&rows, at, *factor, edges, names.get(at).map_or(&[], Vec::as_slice))
            };
            Taken { factor: *factor, enters, unknown: missing(false), mixed: missing(true) }
        });
        Self {
            factors: taken.collect(),
            n: sum(&rows, &|row| row.n),
            count: sum(&rows, &|row| row.count),
            left_out: sum(&out, &|row| row.n),
            rows,
        }
    }

    /// Outcomes of the rarer kind.
    #[must_use]
    pub fn rarer(&self) -> u32 {
        self.count.min(self.n - self.count)
    }

    /// How many columns there would be.
    #[must_use]
    pub fn width(&self) -> usize {
        self.factors.iter().map(Taken::columns).sum()
    }

    /// How much work a fit is: each of its profiles goes over the rows with the square of the
    /// columns; rates take as many again while they are profiled too.
    #[must_use]
    pub fn work(&self) -> u64 {
        let count = |n: usize| u64::try_from(n).unwrap_or(u64::MAX);
        let (rows, width) = (count(self.rows.len()), count(self.width() + 1));
        let times = if self.rarer() < DELTA_FROM { 2 } else { 1 };
        rows.saturating_mul(width.saturating_pow(3)).saturating_mul(times)
    }

    /// The factors that have to be left out so that the others, in the order asked for, have
    /// outcomes enough.
    #[must_use]
    pub fn too_many(&self) -> Vec<Factor> {
        let allowed = usize::try_from(self.rarer() / OUTCOMES_PER_COLUMN).unwrap_or(0);
        let mut used = 0;
        let over = self.factors.iter().filter(|taken| {
            let fits = used + taken.columns() <= allowed;
            used += if fits { taken.columns() } else { 0 };
            !fits
        });
        over.map(|taken| taken.factor).collect()
    }

    /// The columns of the fit, each with the place of its factor and of its level.
    #[must_use]
    pub fn columns(&self) -> Vec<(usize, Option<usize>, Column)> {
        let mut out = Vec::new();
        for (at, taken) in self.factors.iter().enumerate() {
            let told = |row: &Alike| row.told.get(at).cloned().flatten().unwrap_or_default();
            match &taken.enters {
                Enters::Number(..) => {
                    let values = self.rows.iter().map(|row| told(row).parse().unwrap_or(0.0)).collect();
                    out.push((at, None, Column { name: taken.factor.name().to_owned(), values }));
                }
                Enters::Levels(levels) => {
                    for (n, level) in levels.iter().enumerate().skip(1) {
                        let values = self.rows.iter().map(|row| f64::from(u8::from(told(row) == level.told))).collect();
                        out.push((at, Some(n), Column { name: format!("{}={}", taken.factor.name(), level.told), values }));
                    }
                }
            }
        }
        out
    }
}

fn numbers(rows: &[Alike], at: usize) -> Enters {
    let (mut low, mut high, mut sum, mut n) = (f64::INFINITY, f64::NEG_INFINITY, 0.0, 0.0);
    for row in rows {
        let value: f64 = row.told.get(at).and_then(|t| t.as_deref()?.parse().ok()).unwrap_or(0.0);
        (low, high) = (low.min(value), high.max(value));
        sum += value * f64::from(row.n);
        n += f64::from(row.n);
    }
    if n > 0.0 { Enters::Number(low, high, sum / n) } else { Enters::Number(0.0, 0.0, 0.0) }
}

fn levels(rows: &[Alike], at: usize, factor: Factor, edges: &[f64], names: &[(i64, String, String)]) -> Enters {
    let mut found: std::collections::BTreeMap<&str, (u32, u32)> = std::collections::BTreeMap::new();
    for row in rows {
        if let Some(told) = row.told.get(at).and_then(Option::as_deref) {
            let counts = found.entry(told).or_default();
            *counts = (counts.0.saturating_add(row.n), counts.1.saturating_add(row.count));
        }
    }
    let mut shown: Vec<(Shown, Level)> = found
        .into_iter()
        .map(|(told, (n, count))| {
            let shown = Shown::new(factor, Some(told), edges, names);
            let label = shown.row()["label"].as_str().unwrap_or(told).to_owned();
            let words = factor.spoken(&label);
            (shown, Level { told: told.to_owned(), label, words, n, count })
        })
        .collect();
    shown.sort_by(|(a, _), (b, _)| a.key().cmp(&b.key()));
    // The first of the most used goes before the others, which keep their order.
    let most = shown.iter().map(|(_, level)| level.n).max();
    let reference = shown.iter().position(|(_, level)| Some(level.n) == most).unwrap_or(0);
    let mut levels: Vec<Level> = shown.into_iter().map(|(_, level)| level).collect();
    levels.get_mut(..=reference).into_iter().for_each(|head| head.rotate_right(1));
    Enters::Levels(levels)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(told: &[Option<&str>], n: u32, count: u32) -> Alike {
        Alike { told: told.iter().map(|t| t.map(str::to_owned)).collect(), n, count }
    }

    fn terms() -> Terms {
        let factors = [(Factor::Support, Vec::new()), (Factor::ShellTemperature, Vec::new())];
        let rows = vec![
            row(&[Some("buried"), Some("600.0")], 10, 4),
            row(&[Some("open_rack"), Some("700.0")], 30, 10),
            row(&[Some("standing"), Some("700.0")], 5, 0),
            row(&[Some("open_rack"), None], 7, 1),
            row(&[None, None], 2, 1),
            row(&[Some("mixed"), Some("700.0")], 3, 1),
        ];
        Terms::of(&factors, rows, &vec![Vec::new(), Vec::new()])
    }

    #[test]
    fn the_most_used_level_is_the_reference_and_what_is_not_known_is_counted() {
        let terms = terms();
        assert_eq!((terms.n, terms.count, terms.left_out, terms.rarer(), terms.width()), (45, 14, 12, 14, 3));
        assert_eq!((terms.factors[0].unknown, terms.factors[0].mixed, terms.factors[1].unknown), (2, 3, 9));
        let Enters::Levels(levels) = &terms.factors[0].enters else { panic!() };
        let told: Vec<&str> = levels.iter().map(|l| l.told.as_str()).collect();
        assert_eq!(told, ["open_rack", "buried", "standing"]);
        assert!(levels[2].alike() && !levels[0].alike());
        let Enters::Number(low, high, mean) = terms.factors[1].enters else { panic!() };
        assert!((low - 600.0).abs() < 1e-12 && (high - 700.0).abs() < 1e-12 && (mean - 30_500.0 / 45.0).abs() < 1e-9, "{mean}");
        let columns = terms.columns();
        assert_eq!(
            columns.iter().map(|(.., c)| c.name.as_str()).collect::<Vec<_>>(),
            ["support=buried", "support=standing", "shell_temperature_band"]
        );
        assert_eq!(columns[0].2.values, [1.0, 0.0, 0.0]);
    }

    #[test]
    fn what_has_to_be_left_out_is_what_no_longer_fits() {
        // 14 outcomes bear 2 columns: the three levels take both.
        assert_eq!(terms().too_many(), [Factor::ShellTemperature]);
        let none = Terms::of(&[(Factor::Support, Vec::new())], Vec::new(), &vec![Vec::new()]);
        assert_eq!((none.n, none.width(), none.too_many().len()), (0, 0, 0));
    }
}
