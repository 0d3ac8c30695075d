//! SQL of the model: shells put together where all that is asked of them is equal.

use super::super::ask::Ask;
use super::super::factor::{Factor, MIXED};
use super::super::outcome::Outcome;
use super::chart::hits;
use super::{Base, Parts, Rests, band, expression, parts};
use crate::db::{Cell, Read};
use crate::kernel::Problem;
use serde_json::Value;

/// A factor as a column: by its levels, or as a number.
#[derive(Clone, Debug)]
pub struct Column {
    /// Of which factor.
    pub factor: Factor,
    /// The edges of its bands.
    pub edges: Vec<f64>,
    /// Whether the number itself is asked for, and to the nearest of which step; 0 as it is.
    pub number: Option<f64>,
}

impl Column {
    fn expression(&self) -> String {
        let Some(step) = self.number else { return expression(self.factor, Base::Shells, &self.edges) };
        let near = |value: &str| if step > 0.0 { format!("round({value} / {step:?}) * {step:?}") } else { value.to_owned() };
        match self.factor {
            // The thinnest section of the shell, where all its castings are of one band.
            Factor::Section => format!(
                "CASE WHEN f.section_low IS NULL THEN NULL WHEN ({}) = ({}) THEN {} ELSE '{MIXED}' END",
                band("f.section_low", &self.edges),
                band("f.section_high", &self.edges),
                near("f.section_low")
            ),
            Factor::ShellTemperature => near("f.shell_c"),
            Factor::Superheat => near("(f.metal_c - q.value)"),
            Factor::MinutesOut => near("f.minutes_out"),
            Factor::DryingShortfall => near("f.drying_short_h"),
            _ => expression(self.factor, Base::Shells, &self.edges),
        }
    }
}

/// Shells that are alike.
#[derive(Clone, Debug)]
pub struct Alike {
    /// What each column says of them; nothing where it is not on record.
    pub told: Vec<Option<String>>,
    /// How many.
    pub n: u32,
    /// How many of them had it.
    pub count: u32,
}

/// Shells by some columns, at most so many kinds and one more.
///
/// # Errors
/// As the database says.
pub async fn alike<R: Read>(
    read: &mut R,
    ask: &Ask,
    outcome: Outcome,
    columns: &[Column],
    liquidus: &Value,
    most: usize,
) -> Result<Vec<Alike>, Problem> {
    let (hit, mut join, mut join_args) = hits(outcome, ask);
    if columns.iter().any(|c| c.factor == Factor::Superheat) {
        join.push_str(" LEFT JOIN json_each(?) q ON q.key = f.alloy");
        join_args.push(liquidus.to_string().into());
    }
    let Parts { from, condition, mut args, .. } = parts(ask, Base::Shells, None, &Rests::default(), &join, &join_args);
    let told: Vec<String> = columns.iter().map(|c| format!("CAST({} AS TEXT)", c.expression())).collect();
    let places: Vec<String> = (1..=columns.len()).map(|n| n.to_string()).collect();
    args.push(Cell::Int(i64::try_from(most + 1).unwrap_or(i64::MAX)));
    let sql = format!(
        "SELECT {}, count(*), sum({hit}) FROM {from}{condition} GROUP BY {places} ORDER BY {places} LIMIT ?",
        told.join(", "),
        places = places.join(", ")
    );
    let width = columns.len();
    let count = |number: i64| u32::try_from(number).unwrap_or(u32::MAX);
    let read_one = |row: &crate::db::Row| {
        let told = (0..width).map(|i| row.opt_text(i)).collect::<Result<_, _>>()?;
        Ok(Alike { told, n: count(row.int(width)?), count: count(row.int(width + 1)?) })
    };
    read.fetch(&sql, args).await?.iter().map(read_one).collect()
}
