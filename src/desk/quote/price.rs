//! The price of a quote: the largest of the shop's rules, rounded up, taxed, in stages; what copies and
//! the next cast alone come to; how likely the shop loses money at it.

use super::answer::rounded;
use super::asked::{Asked, Line};
use crate::kernel::{Problem, ProblemType};
use crate::science::quoting::{LineSimulated, Rule, Simulated, chance_of_loss, edition_price, largest, rounded_up, stages, tax};
use crate::science::statistics::quoting::Calibration;
use crate::shop::house::What;
use crate::shop::house::rates::Subject;
use serde_json::{Value, json};

/// A price.
#[derive(Clone, Debug)]
pub struct Priced {
    /// Before tax, in minor units.
    pub net: i64,
    /// Of it, what each line comes to.
    pub shares: Vec<i64>,
    /// All of it, as it is answered.
    pub value: Value,
}

/// The rules of the shop, each with what it comes to, in minor units.
fn rules(asked: &Asked, simulated: &Simulated, p80: f64) -> Vec<Rule> {
    let (settings, day) = (&asked.settings, asked.settings.day(asked.at));
    let markup = settings.number("quote_markup_percent", asked.at) / 100.0;
    let rate = |what: What, subject: &Subject| asked.rates.in_force(what, subject, day).map(|money| money.minor() as f64);
    let mut out = vec![Rule { name: "cost_and_markup", amount: p80 * (1.0 + markup) }];
    let edges = settings.edges("quote_size_kg", asked.at);
    let size = |line: &Line| {
        let past = |n: usize| edges.get(n).is_some_and(|edge| line.asked.mass_kg > *edge);
        if past(1) {
            What::QuoteKgLarge
        } else if past(0) {
            What::QuoteKgMedium
        } else {
            What::QuoteKgSmall
        }
    };
    let mut add = |name: &'static str, amounts: Vec<Option<f64>>| {
        if amounts.iter().any(Option::is_some) {
            out.push(Rule { name, amount: amounts.into_iter().flatten().sum() });
        }
    };
    let lines = || asked.lines.iter();
    let copies = |line: &Line| f64::from(line.copies);
    add("by_kg", lines().map(|l| rate(size(l), &Subject::alloy(&l.alloy)).map(|r| r * l.copy_kg * copies(l))).collect());
    add("by_wax", lines().map(|l| rate(What::QuoteWax, &Subject::Any).map(|r| r * f64::from(l.asked.copies))).collect());
    let hours: f64 = simulated.lines.iter().map(|line| line.minutes / 60.0).sum();
    add("by_hour", vec![rate(What::QuoteHour, &Subject::Any).map(|r| r * hours)]);
    add("least_of_pieces", lines().map(|l| rate(What::QuotePiece, &Subject::Any).map(|r| r * copies(l))).collect());
    add("least_of_a_pour", vec![rate(What::QuotePour, &Subject::Any)]);
    out
}

/// The price of a quote, its cost's centre and the cost that it stays below four times in five being known.
///
/// # Errors
/// `invalid` when it comes to more than the book can hold.
pub fn of(
    asked: &Asked,
    simulated: &Simulated,
    calibration: &Calibration,
    p50: f64,
    p80: f64,
    said: Option<i64>,
    tax_percent: f64,
) -> Result<Priced, Problem> {
    let rules = rules(asked, simulated, p80);
    let step = asked.settings.value("quote_round_minor", asked.at).as_i64().unwrap_or(1);
    let by_rule = largest(&rules).ok_or_else(|| Problem::internal("no rule of price"))?;
    let net = said.unwrap_or_else(|| rounded_up(rounded(by_rule.amount), step));
    let taxed = tax(net, tax_percent / 100.0);
    let total = net.saturating_add(taxed);
    if total > crate::kernel::Money::MAX.minor() {
        return Err(Problem::new(ProblemType::Invalid, "That comes to more than the book can hold. Quote it in parts."));
    }
    let shares: Vec<(String, f64)> = asked
        .settings
        .value("quote_stages", asked.at)
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(|stage| Some((stage["for"].as_str()?.to_owned(), stage["percent"].as_f64()? / 100.0)))
        .collect();
    let stages: Vec<Value> =
        stages(total, &shares).into_iter().map(|(what, amount)| json!({"for": what, "amount_minor": amount})).collect();
    let copies: u32 = asked.lines.iter().map(|line| line.copies).sum();
    let once: f64 = asked.lines.iter().map(|line| line.once).sum::<f64>() + mould(simulated);
    // What is paid once is marked up like all else.
    let marked = if p50 > 0.0 { net as f64 / p50 } else { 1.0 };
    let once = (once * marked).min(net as f64);
    let edition = edition_price(once, (net as f64 - once) / f64::from(copies.max(1)), copies.max(1));
    let value = json!({
        "rules": rules.iter().map(|rule| json!({"rule": rule.name, "amount_minor": rounded(rule.amount)})).collect::<Vec<_>>(),
        "rule": if said.is_some() { "set" } else { by_rule.name },
        "rounded_to_minor": step,
        "net_minor": net,
        "tax_percent": tax_percent,
        "tax_minor": taxed,
        "total_minor": total,
        "stages": stages,
        "chance_of_loss": chance_of_loss(net as f64, simulated, calibration).map(|chance| (chance * 1000.0).round() / 1000.0),
        "each_minor": edition.map(|e| rounded(e.spread_over)),
        "next_alone_minor": edition.map(|e| rounded(e.next_alone)),
        "once_minor": rounded(once),
    });
    Ok(Priced { net, shares: shares_of_lines(asked, simulated, net), value })
}

/// What of a price falls on each line, by what its castings and what is paid once for it come to.
fn shares_of_lines(asked: &Asked, simulated: &Simulated, net: i64) -> Vec<i64> {
    let weigh = |(line, of): (&Line, &LineSimulated)| {
        let each = line.asked.per_piece * f64::from(line.asked.copies);
        (line.what.clone(), (of.one_more * of.castings_mean + line.once + each).max(1.0))
    };
    let weights: Vec<(String, f64)> = asked.lines.iter().zip(&simulated.lines).map(weigh).collect();
    stages(net, &weights).into_iter().map(|(_, amount)| amount).collect()
}

/// What a new mould is reckoned to cost, where nobody said.
fn mould(simulated: &Simulated) -> f64 {
    let of_mould = |name: &str| name == "mould" || name == "minutes_make_mould";
    simulated.movers.iter().filter(|mover| of_mould(&mover.name)).map(|mover| mover.mean).sum()
}
