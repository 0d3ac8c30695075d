//! Dated rates and prices: read once, kept until one is written.

use super::model::What;
use super::settings::Settings;
use super::store;
use crate::db::Read;
use crate::kernel::{Instant, Money, Problem, Seq};
use jiff::civil::Date;
use std::collections::BTreeMap;
use std::sync::Arc;
use uuid::Uuid;

/// What a rate is the rate of, within its kind.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Subject {
    /// All of them.
    Any,
    /// An alloy, by its designation in lower case.
    Alloy(String),
    /// A hand or a recipe.
    Record(Seq),
}

impl Subject {
    /// An alloy, whatever its case.
    #[must_use]
    pub fn alloy(designation: &str) -> Self {
        Self::Alloy(designation.to_lowercase())
    }
}

/// One live rate.
#[derive(Clone, Debug)]
pub struct Row {
    /// What it is the rate of.
    pub what: What,
    /// The alloy, as written.
    pub alloy: Option<String>,
    /// The hand or recipe.
    pub record: Option<(Seq, Uuid)>,
    /// First day in force.
    pub from_on: Date,
    /// How much a unit; nothing: no longer in force.
    pub amount: Option<Money>,
}

impl Row {
    fn subject(&self) -> Subject {
        match (&self.alloy, self.record) {
            (Some(alloy), _) => Subject::alloy(alloy),
            (None, Some((seq, _))) => Subject::Record(seq),
            (None, None) => Subject::Any,
        }
    }
}

/// All rates of the shop, with their dates.
#[derive(Debug)]
pub struct Rates {
    rows: BTreeMap<(What, Subject), Vec<Row>>,
}

/// The rates, read once and kept.
///
/// # Errors
/// As the database says.
pub async fn of<R: Read>(read: &mut R) -> Result<Arc<Rates>, Problem> {
    if let Some(kept) = read.shared().get::<Rates>() {
        return Ok(kept);
    }
    let mut rows: BTreeMap<(What, Subject), Vec<Row>> = BTreeMap::new();
    for row in store::rates(read).await? {
        rows.entry((row.what, row.subject())).or_default().push(row);
    }
    let rates = Arc::new(Rates { rows });
    read.shared().put(rates.clone());
    Ok(rates)
}

impl Rates {
    /// What is in force on a day: the rate of the subject itself, else that of all. One that was
    /// ended is none, so that from then on that of all holds for its subject.
    #[must_use]
    pub fn in_force(&self, what: What, subject: &Subject, on: Date) -> Option<Money> {
        let own = self.last(what, subject, on).and_then(|row| row.amount);
        own.or_else(|| self.last(what, &Subject::Any, on).and_then(|row| row.amount))
    }
    /// The scrap price, a kg, in force for an alloy at an instant.
    #[must_use]
    pub fn scrap(&self, settings: &Settings, alloy: &str, at: Instant) -> Option<Money> {
        self.in_force(What::ScrapKg, &Subject::alloy(alloy), settings.day(at))
    }
    /// Whether there was ever a scrap price.
    #[must_use]
    pub fn any_scrap(&self) -> bool {
        self.rows.keys().any(|(what, _)| *what == What::ScrapKg)
    }
    /// The rate of each subject that is in force on a day.
    pub fn all_in_force(&self, on: Date) -> impl Iterator<Item = &Row> {
        let rows = self.rows.keys().filter_map(move |(what, subject)| self.last(*what, subject, on));
        rows.filter(|row| row.amount.is_some())
    }
    fn last(&self, what: What, subject: &Subject, on: Date) -> Option<&Row> {
        let rows = self.rows.get(&(what, subject.clone()))?;
        rows.iter().rev().find(|row| row.from_on <= on)
    }
}
