//! Lines of cost from records, at the rates in force on their days; and what is lacking.

use super::gather::{Gathered, ShellFacts};
use crate::book::reach::Found;
use crate::kernel::json::scaled;
use crate::kernel::{Instant, Kind, Money};
use crate::science::costing::{Line, On, Part, by_amount, by_area, by_hour};
use crate::shop::house::What;
use crate::shop::house::rates::Subject;
use std::collections::BTreeMap;
use uuid::Uuid;

/// A line with what is told of it.
#[derive(Clone, Debug)]
pub struct Priced {
    /// The line.
    pub line: Line,
    /// The record's kind.
    pub kind: Kind,
    /// The record's id.
    pub id: Uuid,
    /// When.
    pub at: Instant,
    /// What it was, in words of the record.
    pub what: String,
}

/// Why a part of a cost is not final, or too small.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Why {
    /// No rate is on file for it on that day.
    NoRate(What),
    /// The surface of a shell is not known.
    NoArea,
    /// What was burnt is not on record.
    NoFuel,
    /// The heat is not closed.
    HeatOpen,
    /// No coat is on record, although the shell was fired.
    NoCoats,
}

impl Why {
    /// As the API has it.
    #[must_use]
    pub fn code(self) -> String {
        match self {
            Self::NoRate(what) => format!("no-rate-{}", what.name().replace('_', "-")),
            Self::NoArea => "no-area".into(),
            Self::NoFuel => "no-fuel".into(),
            Self::HeatOpen => "heat-open".into(),
            Self::NoCoats => "no-coats".into(),
        }
    }
}

/// Something lacking: of which part, why, on how many records, and the first of them.
#[derive(Clone, Debug)]
pub struct Lack {
    /// How many records.
    pub count: usize,
    /// The first of them.
    pub kind: Kind,
    /// Its id.
    pub id: Uuid,
}

/// Lines and what is lacking.
#[derive(Default)]
pub struct Prices {
    /// The lines.
    pub lines: Vec<Priced>,
    /// What is lacking, by part and reason.
    pub lacking: BTreeMap<(Part, Why), Lack>,
}

/// Prices everything that was gathered.
#[must_use]
pub fn price(gathered: &Gathered) -> Prices {
    let mut out = Pricing { g: gathered, out: Prices::default() };
    for record in &gathered.records {
        out.record(record);
    }
    out.pour_days();
    out.out
}

struct Pricing<'g> {
    g: &'g Gathered,
    out: Prices,
}

impl Pricing<'_> {
    fn line(&mut self, record: &Found, part: Part, on: On, amount: Money, what: impl Into<String>) {
        if !amount.is_zero() {
            let line = Line { record: record.seq, part, on, amount };
            self.out.lines.push(Priced { line, kind: record.kind, id: record.id, at: record.at, what: what.into() });
        }
    }
    fn lack(&mut self, record: &Found, part: Part, why: Why) {
        let first = Lack { count: 0, kind: record.kind, id: record.id };
        self.out.lacking.entry((part, why)).or_insert(first).count += 1;
    }
    fn rate(&self, what: What, subject: &Subject, at: Instant) -> Option<Money> {
        self.g.rates.in_force(what, subject, self.g.settings.day(at))
    }
    /// The rate of a part; where there is none, that is lacking.
    fn rate_or_lack(&mut self, record: &Found, part: Part, what: What, subject: &Subject) -> Option<Money> {
        let rate = self.rate(what, subject, record.at);
        if rate.is_none() {
            self.lack(record, part, Why::NoRate(what));
        }
        rate
    }

    fn record(&mut self, record: &Found) {
        match record.kind {
            Kind::Work => self.work(record),
            Kind::Cost => self.bought(record),
            Kind::Mould => {
                if let Some(minor) = record.body["cost_minor"].as_i64() {
                    self.line(record, Part::Mould, On::Mould(record.seq), Money::from_minor(minor), "mould");
                }
            }
            Kind::OutsideWork => self.outside(record),
            Kind::Wax => self.wax(record),
            Kind::Shell => self.shell(record),
            Kind::Coat => self.coat(record),
            Kind::Burnout | Kind::Preheat => self.load(record),
            Kind::Heat => self.heat(record),
            Kind::Closing => self.closing(record),
            _ => {}
        }
    }

    fn work(&mut self, record: &Found) {
        let target = |member: &str| self.g.target(record.seq, member);
        let on = worked_on(self.g, record.seq);
        let Some(on) = on else { return };
        let what = record.body["operation"].as_str().unwrap_or("work").to_owned();
        let minutes = record.body["minutes"].as_f64().unwrap_or(0.0);
        let subject = target("hand").map_or(Subject::Any, Subject::Record);
        if let Some(rate) = self.rate_or_lack(record, Part::Work, What::HandHour, &subject) {
            let cost = by_hour(rate, minutes);
            self.line(record, Part::Work, on, cost, what.clone());
        }
        let cost = self.rate(What::HandHour, &subject, record.at).map_or(Money::ZERO, |rate| by_hour(rate, minutes));
        let overhead = self.g.settings.overhead(record.at).of_work(cost, minutes);
        self.line(record, Part::Overhead, on, overhead, what.clone());
        if let Some(minor) = record.body["material_minor"].as_i64() {
            self.line(record, Part::Material, on, Money::from_minor(minor), what);
        }
    }

    fn bought(&mut self, record: &Found) {
        let Some(commission) = self.g.target(record.seq, "commission_id") else { return };
        let kind = record.body["kind"].as_str().unwrap_or("other");
        let part = match kind {
            "mould" | "pattern" => Part::Mould,
            "print" => Part::Wax,
            "base" => Part::Material,
            "crate" | "freight" => Part::Delivery,
            "royalty" => Part::Royalty,
            _ => Part::Services,
        };
        let amount = Money::from_minor(record.body["amount_minor"].as_i64().unwrap_or(0));
        self.line(record, part, On::Commission(commission), amount, kind);
    }

    /// What is done outside: on a casting, piece or mould; on a pattern, which many jobs may share, the shop
    /// bears it.
    fn outside(&mut self, record: &Found) {
        let target = |member: &str| self.g.target(record.seq, member);
        let on = target("casting_id")
            .map(On::Casting)
            .or_else(|| target("piece_id").map(On::Piece))
            .or_else(|| target("mould_id").map(On::Mould));
        let Some(minor) = record.body["cost_minor"].as_i64() else { return };
        let what = record.body["what"].as_str().unwrap_or("outside work").to_owned();
        self.line(record, Part::Services, on.unwrap_or(On::Shop), Money::from_minor(minor), what);
    }

    /// The last wax of a casting that was weighed.
    fn wax(&mut self, record: &Found) {
        let Some(casting) = self.g.target(record.seq, "casting_id") else { return };
        if self.g.last_wax.get(&casting) != Some(&record.seq) {
            return;
        }
        self.wax_kg(record, On::Casting(casting), "wax_kg", "wax");
    }

    fn wax_kg(&mut self, record: &Found, on: On, member: &str, what: &str) {
        let Some(kg) = record.body[member].as_f64().filter(|kg| *kg > 0.0) else { return };
        if let Some(rate) = self.rate_or_lack(record, Part::Wax, What::WaxKg, &Subject::Any) {
            self.line(record, Part::Wax, on, by_amount(rate, kg), what);
        }
    }

    /// Gating wax; its coats are records of their own, and lacking where it was fired without any.
    fn shell(&mut self, record: &Found) {
        self.wax_kg(record, On::Shell(record.seq), "gating_kg", "gating");
        let Some(facts) = self.g.shells.get(&record.seq) else { return };
        let fired = self.g.bearers.loads.values().flatten().any(|(shell, _)| *shell == record.seq);
        if fired && facts.coats == 0 {
            self.lack(record, Part::Shell, Why::NoCoats);
        }
    }

    fn coat(&mut self, record: &Found) {
        let Some(shell) = self.g.target(record.seq, "shell_id") else { return };
        let Some(ShellFacts { recipe, area_mm2, .. }) = self.g.shells.get(&shell) else { return };
        let (subject, area) = (recipe.map_or(Subject::Any, Subject::Record), *area_mm2);
        let Some(area) = area else {
            self.lack(record, Part::Shell, Why::NoArea);
            return;
        };
        if let Some(rate) = self.rate_or_lack(record, Part::Shell, What::ShellCoatDm2, &subject) {
            let what = record.body["kind"].as_str().unwrap_or("coat").to_owned();
            self.line(record, Part::Shell, On::Shell(shell), by_area(rate, area), what);
        }
    }

    /// What was burnt, by its price, mass or current; `None` where nothing is on record of it, a
    /// lack where no rate is.
    fn fuel(&mut self, record: &Found) -> Option<Money> {
        let body = &record.body;
        if let Some(minor) = body["fuel_minor"].as_i64() {
            return Some(Money::from_minor(minor));
        }
        let per_kg = self.g.settings.number("fuel_mj_kg", record.at) / 3.6;
        let kg = body["fuel_kg"].as_f64().or_else(|| bottles(body));
        let priced = |what: What, amount: f64, other: What, as_other: f64| {
            let own = self.rate(what, &Subject::Any, record.at).map(|rate| by_amount(rate, amount));
            own.or_else(|| self.rate(other, &Subject::Any, record.at).map(|rate| by_amount(rate, as_other)))
        };
        let (what, cost) = match (kg, body["fuel_kwh"].as_f64()) {
            (Some(kg), _) => (What::FuelKg, priced(What::FuelKg, kg, What::FuelKwh, kg * per_kg)),
            (None, Some(kwh)) => (What::FuelKwh, priced(What::FuelKwh, kwh, What::FuelKg, kwh / per_kg)),
            (None, None) => return None,
        };
        if cost.is_none() {
            self.lack(record, Part::Fuel, Why::NoRate(what));
        }
        Some(cost.unwrap_or(Money::ZERO))
    }

    /// A kiln load: its fuel; where that is not on record, its fired shell by the kg.
    #[expect(clippy::cast_precision_loss, reason = "an estimate")]
    fn load(&mut self, record: &Found) {
        let on = On::Load(record.seq);
        let what = record.kind.name();
        if let Some(fuel) = self.fuel(record) {
            self.line(record, Part::Fuel, on, fuel, what);
            return;
        }
        let fired: i64 = self.g.bearers.loads.get(&record.seq).into_iter().flatten().map(|(_, mg)| *mg).sum();
        match self.rate(What::KilnKg, &Subject::Any, record.at) {
            Some(rate) if fired > 0 => self.line(record, Part::Fuel, on, by_amount(rate, fired as f64 / 1e6), what),
            _ => self.lack(record, Part::Fuel, Why::NoFuel),
        }
    }

    fn heat(&mut self, record: &Found) {
        if record.body["crucible"].is_string()
            && let Some(rate) = self.rate(What::CrucibleHeat, &Subject::Any, record.at)
        {
            self.line(record, Part::Crucible, On::Heat(record.seq), rate, "crucible");
        }
        let closed =
            self.g.records.iter().any(|r| r.kind == Kind::Closing && self.g.target(r.seq, "heat_id") == Some(record.seq));
        if !closed {
            self.lack(record, Part::Fuel, Why::HeatOpen);
        }
    }

    fn closing(&mut self, record: &Found) {
        let Some(heat) = self.g.target(record.seq, "heat_id") else { return };
        match self.fuel(record) {
            Some(fuel) => self.line(record, Part::Fuel, On::Heat(heat), fuel, "heat"),
            None => self.lack(record, Part::Fuel, Why::NoFuel),
        }
    }

    /// What a pour day costs as such, and what it brings in by the rule of overhead: on the day's
    /// first pour.
    fn pour_days(&mut self) {
        for (day, taken) in &self.g.days {
            let Some(first) = taken.first() else { continue };
            let record = Found { seq: first.pour, id: first.id, kind: Kind::Pour, at: first.at, body: serde_json::Value::Null };
            if let Some(rate) = self.rate(What::PourDay, &Subject::Any, first.at) {
                self.line(&record, Part::PourDay, On::Day(*day), rate, "pour day");
            }
            let poured: i64 = taken.iter().map(|t| t.mass.mg()).sum();
            let overhead = self.g.settings.overhead(first.at).of_day(poured);
            self.line(&record, Part::Overhead, On::Day(*day), overhead, "pour day");
        }
    }
}

/// What a record of work was on.
#[must_use]
pub fn worked_on(gathered: &Gathered, work: crate::kernel::Seq) -> Option<On> {
    let target = |member: &str| gathered.target(work, member);
    target("casting_id")
        .map(On::Casting)
        .or_else(|| target("piece_id").map(On::Piece))
        .or_else(|| target("shell_id").map(On::Shell))
        .or_else(|| target("heat_id").map(On::Heat))
        .or_else(|| target("mould_id").map(On::Mould))
        .or_else(|| target("commission_id").map(On::Commission))
}

/// Gas burnt in kg, from what its bottles weighed before and after.
fn bottles(body: &serde_json::Value) -> Option<f64> {
    let mg = |member: &str| scaled(body[member].as_number()?, 6).and_then(|mg| i64::try_from(mg).ok());
    Some(crate::kernel::Mass::from_mg(mg("bottles_before_kg")? - mg("bottles_after_kg")?).kg())
}

/// Sums by bearer and part.
pub type Sums = BTreeMap<crate::science::costing::Bearer, BTreeMap<Part, Money>>;

impl Prices {
    /// What each bears, by part.
    #[must_use]
    pub fn borne(&self, gathered: &Gathered) -> Sums {
        let mut out = Sums::new();
        for priced in &self.lines {
            for (bearer, share) in crate::science::costing::fall(&priced.line, &gathered.bearers) {
                *out.entry(bearer).or_default().entry(priced.line.part).or_default() += share;
            }
        }
        out
    }
}

/// The parts of several, added up.
#[must_use]
pub fn total<'s>(sums: impl IntoIterator<Item = &'s BTreeMap<Part, Money>>) -> BTreeMap<Part, Money> {
    let mut out = BTreeMap::new();
    for (part, money) in sums.into_iter().flatten() {
        *out.entry(*part).or_insert(Money::ZERO) += *money;
    }
    out
}
