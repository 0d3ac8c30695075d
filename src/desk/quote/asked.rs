//! What is asked for, read against the book: patterns, alloys, prices, all that is missing named at once.

use super::model::{Bears, Chasing, LineBody, MouldIs, QuoteBody};
use super::movers::{self, From};
use super::prices::{Prices, attempts, family, without_mould};
use super::store;
use crate::book::api::find;
use crate::book::reach;
use crate::db::ReadTx;
use crate::kernel::{Fault, Instant, Kind, Millimetres, Problem, Seq};
use crate::science::costing::Part;
use crate::science::quoting::AskedLine;
use crate::shop::house::What;
use crate::shop::house::rates::{self, Rates, Subject};
use crate::shop::house::settings::{self, Settings};
use crate::shop::house::trade::{self, Trade};
use crate::shop::metal;
use serde_json::{Value, json};
use std::sync::Arc;

/// The most pieces of one quote.
const MOST_PIECES: i64 = 200;
/// And of their castings, parts each by itself.
const MOST_CASTINGS: i64 = 400;
/// The lightest copy that is quoted, in kg of metal.
const LIGHTEST_KG: f64 = 0.001;
/// The heaviest copy that is quoted, in kg of metal.
const HEAVIEST_KG: f64 = 20_000.0;

/// A line as it is reckoned with.
#[derive(Clone, Debug)]
pub struct Line {
    /// What it is called.
    pub what: String,
    /// The alloy, as the catalogue has it.
    pub alloy: String,
    /// Its family, in words: silicon bronze.
    pub family: String,
    /// Metal of a copy in kg.
    pub copy_kg: f64,
    /// Copies and proofs.
    pub copies: u32,
    /// Parts of a copy.
    pub sections: u32,
    /// Whether its pattern is gone with its casting.
    pub unique: bool,
    /// What it costs once, by itself: mould, freight, what is bought in.
    pub once: f64,
    /// Minutes that the caster said, for all copies.
    pub said_minutes: f64,
    /// What making the pattern again would cost.
    pub remake: Option<f64>,
    /// Where the price of metal comes from.
    pub metal_from: &'static str,
    /// As the model has it; its castings are parts.
    pub asked: AskedLine,
}

/// Everything a quote is worked out from beside the record.
pub struct Asked {
    /// Its lines.
    pub lines: Vec<Line>,
    /// What is lacking: rates that are not on file, in words.
    pub lacking: Vec<Value>,
    /// Settings.
    pub settings: Arc<Settings>,
    /// Rates.
    pub rates: Arc<Rates>,
    /// When.
    pub at: Instant,
}

struct Reading<'r> {
    read: &'r mut ReadTx,
    settings: Arc<Settings>,
    rates: Arc<Rates>,
    trade: Arc<Trade>,
    book: Vec<(String, f64)>,
    at: Instant,
    faults: Vec<Fault>,
}

/// Reads what is asked for.
///
/// # Errors
/// `invalid`, naming everything that is not known or missing.
pub async fn of(read: &mut ReadTx, body: &QuoteBody, at: Instant) -> Result<Asked, Problem> {
    let (settings, rates, trade) = (settings::of(read).await?, rates::of(read).await?, trade::of(read).await?);
    let book = metal::book_prices(read).await?;
    let mut reading = Reading { read, settings, rates, trade, book, at, faults: Vec::new() };
    let mut lines = Vec::new();
    for (n, line) in body.lines.0.iter().enumerate() {
        lines.extend(reading.line(&line.0, &format!("/lines/{n}")).await?);
    }
    let of_line = |line: &LineBody| line.copies.0 + line.proofs.map_or(0, |proofs| proofs.0);
    let pieces: i64 = body.lines.0.iter().map(|l| of_line(&l.0)).sum();
    let castings: i64 = body.lines.0.iter().map(|l| of_line(&l.0) * l.0.sections.map_or(1, |parts| parts.0)).sum();
    if castings > MOST_CASTINGS {
        reading.fault("/lines", "too-many", format!("That is {castings} castings; quote at most {MOST_CASTINGS} at once."));
    }
    if pieces > MOST_PIECES {
        reading.fault("/lines", "too-many", format!("That is {pieces} pieces; quote at most {MOST_PIECES} at once."));
    }
    if !reading.faults.is_empty() {
        return Err(Problem::invalid(reading.faults));
    }
    let lacking = reading.lacking(&lines);
    let Reading { settings, rates, .. } = reading;
    Ok(Asked { lines, lacking, settings, rates, at })
}

impl Reading<'_> {
    fn fault(&mut self, pointer: impl Into<String>, code: &'static str, message: impl Into<String>) {
        self.faults.push(Fault { pointer: pointer.into(), code, message: message.into() });
    }

    /// The live record that a reference names; a fault where there is none.
    async fn known(&mut self, kind: Kind, asked: &str, pointer: String) -> Result<Option<(Seq, Value)>, Problem> {
        let seq = match find(&mut *self.read, kind, asked).await {
            Ok(seq) => Some(seq),
            Err(problem) if problem.kind == crate::kernel::ProblemType::NotFound => None,
            Err(problem) => return Err(problem),
        };
        let found = match seq {
            Some(seq) => reach::by_seqs(&mut *self.read, &[seq]).await?.pop().map(|found| (seq, found.body)),
            None => None,
        };
        if found.is_none() {
            let said: String = asked.chars().take(64).collect();
            self.fault(pointer, "unknown", format!("There is no {} {said}.", kind.name().replace('_', " ")));
        }
        Ok(found)
    }

    async fn line(&mut self, body: &LineBody, at: &str) -> Result<Option<Line>, Problem> {
        let before = self.faults.len();
        let pattern = match &body.pattern_id {
            Some(pattern) => self.known(Kind::Pattern, &pattern.0.asked, format!("{at}/pattern_id")).await?,
            None => None,
        };
        let recipe = match &body.recipe_id {
            Some(recipe) => self.known(Kind::Recipe, &recipe.0.asked, format!("{at}/recipe_id")).await?.map(|(seq, _)| seq),
            None => None,
        };
        let finish = match &body.finish {
            Some(finish) => store::patina(&mut *self.read, &finish.0).await?,
            None => None,
        };
        let alloy = self.trade.alloy(&body.alloy.0).map(|alloy| (alloy.designation.clone(), alloy.density_g_cm3));
        if alloy.is_none() {
            self.faults.extend(trade::no_alloy(&format!("{at}/alloy"), &body.alloy.0).faults);
        }
        let designation = alloy.as_ref().map_or_else(String::new, |(name, _)| name.clone());
        let copy_kg = self.mass(body, at, pattern.as_ref().map(|(_, body)| body), &designation, alloy.and_then(|(_, d)| d));
        let section =
            body.section_mm.map(Millimetres::get).or_else(|| pattern.as_ref().and_then(|(_, p)| p["section_mm"].as_f64()));
        if section.is_none() && (body.pattern_id.is_none() || pattern.is_some()) {
            self.fault(
                format!("{at}/section_mm"),
                "required",
                "Give its thinnest section in mm; a pattern on file says it by itself.",
            );
        }
        let metal = self.metal(body, &designation);
        if metal.is_none() && !designation.is_empty() {
            let message = format!(
                "No {designation} is in the book and no market price of it on file: give a price by the kg, or record a rate metal_kg."
            );
            self.fault(format!("{at}/metal_minor_per_kg"), "required", message);
        }
        let (Some(copy_kg), Some(section), Some((metal, metal_from))) = (copy_kg, section, metal) else { return Ok(None) };
        let Some(family) = family(&self.trade, &designation).filter(|_| self.faults.len() == before) else { return Ok(None) };
        let called = pattern.as_ref().and_then(|(_, p)| p["name"].as_str()).map(str::to_owned);
        let unique = body.unique.unwrap_or_else(|| pattern.as_ref().is_some_and(|(_, p)| p["kind"] == "unique"));
        let sections = body.sections.map_or(1, |n| whole(n.0));
        let copies = whole(body.copies.0).saturating_add(body.proofs.map_or(0, |n| whole(n.0)));
        let mut line = Line {
            what: body
                .what
                .as_ref()
                .map(|what| what.0.clone())
                .or(called)
                .unwrap_or_else(|| format!("{copy_kg:.1} kg of {designation}")),
            family: self.family_words(&designation),
            alloy: designation,
            copy_kg,
            copies,
            sections,
            unique,
            once: 0.0,
            said_minutes: 0.0,
            remake: body.remake_minor.map(minor),
            metal_from,
            asked: AskedLine {
                mass_kg: copy_kg / f64::from(sections),
                family,
                section_mm: section,
                recipe,
                finish,
                copies: copies.saturating_mul(sections),
                most_attempts: if unique { 1 } else { attempts(&self.settings, self.at) },
                client_bears_recast: body.recast_borne_by == Some(Bears::Client),
                metal_per_kg: metal,
                prices: Vec::new(),
                fixed: 0.0,
                per_piece: 0.0,
            },
        };
        self.priced(body, &mut line);
        Ok(Some(line))
    }

    fn family_words(&self, alloy: &str) -> String {
        let family = self.trade.alloy(alloy).and_then(|alloy| serde_json::to_value(alloy.family).ok());
        family.and_then(|family| family.as_str().map(|code| code.replace('_', " "))).unwrap_or_default()
    }

    /// Metal of a copy in kg: as said, of its volume, or what fills its pattern.
    fn mass(&mut self, body: &LineBody, at: &str, pattern: Option<&Value>, alloy: &str, density: Option<f64>) -> Option<f64> {
        if body.mass_kg.is_some() && body.volume_cm3.is_some() {
            self.fault(format!("{at}/volume_cm3"), "twice", "Give the mass or the volume, not both.");
            return None;
        }
        let of_volume = body.volume_cm3.map(|cm3| cm3.0 * density.unwrap_or(8.36) / 1000.0);
        let kg = match (body.mass_kg.map(|kg| kg.0.kg()).or(of_volume), pattern) {
            (Some(kg), _) => kg,
            (None, Some(pattern)) => {
                let mg = pattern["mass_kg"].as_number().and_then(|kg| crate::kernel::json::scaled(kg, 6));
                let material = pattern["material"].as_str().unwrap_or("wax_casting");
                let volume = pattern["volume_cm3"].as_f64();
                metal::metal_of(&self.trade, alloy, material, mg.and_then(|mg| i64::try_from(mg).ok()), volume).kg()
            }
            (None, None) => 0.0,
        };
        if kg > HEAVIEST_KG {
            self.fault(
                format!("{at}/mass_kg"),
                "too-large",
                format!("That is {kg:.0} kg a copy; quote at most {HEAVIEST_KG:.0}."),
            );
            return None;
        }
        if kg > 0.0 && kg < LIGHTEST_KG {
            self.fault(format!("{at}/mass_kg"), "too-small", "That is less than a gram of metal a copy.");
            return None;
        }
        if kg > 0.0 {
            return Some(kg);
        }
        if body.pattern_id.is_none() || pattern.is_some() {
            let message = if pattern.is_some() {
                "Its pattern was neither weighed nor measured: give the mass or volume of a copy's metal."
            } else {
                "Give a pattern on file, or the mass or volume of a copy's metal."
            };
            self.fault(format!("{at}/mass_kg"), "required", message);
        }
        None
    }

    /// The price of a kg of metal in minor units, and where it is from.
    fn metal(&self, body: &LineBody, alloy: &str) -> Option<(f64, &'static str)> {
        if let Some(said) = body.metal_minor_per_kg {
            return Some((minor(said), "said"));
        }
        if let Some((_, price)) = self.book.iter().find(|(of, price)| of.eq_ignore_ascii_case(alloy) && *price > 0.0) {
            return Some((*price, "book"));
        }
        let market = self.rates.in_force(What::MetalKg, &Subject::alloy(alloy), self.settings.day(self.at));
        market.map(|market| (market.minor() as f64, "market"))
    }

    /// The prices of the movers, and what is known by itself.
    fn priced(&self, body: &LineBody, line: &mut Line) {
        let prices = Prices { rates: &self.rates, settings: &self.settings, at: self.at };
        let mut of_movers = prices.of_movers(line.asked.recipe);
        let parts = f64::from(line.sections);
        let mut each = 0.0;
        match body.mould {
            Some(MouldIs::New) => {
                if let Some(mould) = body.mould_minor {
                    line.once += minor(mould);
                    without_mould(&mut of_movers);
                }
            }
            _ => without_mould(&mut of_movers),
        }
        each += body.base_minor.map_or(0.0, minor) + body.royalty_minor.map_or(0.0, minor) + body.crate_minor.map_or(0.0, minor);
        line.once += body.freight_minor.map_or(0.0, minor) + body.bought_minor.map_or(0.0, minor);
        let delivered = body.crate_minor.is_some() || body.freight_minor.is_some();
        for (mover, price) in movers::all().iter().zip(&mut of_movers) {
            match mover.from {
                From::Bought(_) => *price = 0.0,
                From::Part(Part::Delivery) if delivered => *price = 0.0,
                From::Minutes(n) if movers::operation(n) == "chase" => {
                    if let Some(minutes) = body.chase_minutes {
                        each += minutes.0 * prices.minute_with_overhead();
                        line.said_minutes += minutes.0 * f64::from(line.copies);
                        *price = 0.0;
                    } else {
                        *price *= chasing(body.chasing);
                    }
                }
                _ => {}
            }
        }
        line.asked.prices = of_movers;
        line.asked.fixed = line.once;
        line.asked.per_piece = each / parts;
    }

    /// Rates that the movers need and that are not on file.
    fn lacking(&self, lines: &[Line]) -> Vec<Value> {
        let day = self.settings.day(self.at);
        let any = |what: What| self.rates.in_force(what, &Subject::Any, day).is_some();
        let coat = lines.iter().all(|line| {
            let subject = line.asked.recipe.map_or(Subject::Any, Subject::Record);
            self.rates.in_force(What::ShellCoatDm2, &subject, day).is_some()
        });
        let fuel = any(What::FuelKg) || any(What::FuelKwh);
        [
            (any(What::HandHour), "hand_hour", "No rate of an hour is on file: no work is in this cost."),
            (coat, "shell_coat_dm2", "No rate of a dm² of coat is on file: no shell is in this cost."),
            (any(What::WaxKg), "wax_kg", "No rate of a kg of wax is on file: no wax is in this cost."),
            (fuel, "fuel_kg", "No rate of fuel is on file: no fuel is in this cost."),
        ]
        .into_iter()
        .filter(|(there, ..)| !there)
        .map(|(_, what, said)| json!({"rate": what, "said": said}))
        .collect()
    }
}

/// How much of the usual chasing; common practice, no source.
const fn chasing(grade: Option<Chasing>) -> f64 {
    match grade {
        Some(Chasing::Plain) => 0.5,
        Some(Chasing::Fine) => 1.6,
        Some(Chasing::Usual) | None => 1.0,
    }
}

fn minor(money: crate::kernel::field::Minor) -> f64 {
    money.0.minor() as f64
}

fn whole(n: i64) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}
