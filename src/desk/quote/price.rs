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
    pub shares: Vec<LineShare>,
    /// All of it, as it is answered.
    pub value: Value,
}

/// What of a price falls on a line, in minor units before tax.
#[derive(Clone, Copy, Debug)]
pub struct LineShare {
    /// Its share.
    pub net: i64,
    /// What one casting more is offered at.
    pub recast: i64,
    /// What making the work again is offered at, where it was said what its pattern would cost.
    pub remake: Option<i64>,
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
    let said: f64 = asked.lines.iter().map(|line| line.said_minutes).sum();
    let hours = (simulated.lines.iter().map(|line| line.minutes).sum::<f64>() + said) / 60.0;
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
    // What is paid once is marked up like all else; below cost nothing is taken off it.
    let marked = if p50 > 0.0 { (net as f64 / p50).max(1.0) } else { 1.0 };
    let once: f64 = asked.lines.iter().map(|line| line.once).sum::<f64>() + mould(simulated);
    let once = (once * marked).min(net as f64);
    let edition = edition_price(once, (net as f64 - once) / f64::from(copies.max(1)), copies.max(1));
    // One copy more by itself: a copy without what is paid once, and no less than the least that is asked.
    let alone = edition.filter(|_| asked.lines.len() == 1 && asked.lines.iter().all(|line| !line.unique)).map(|edition| {
        let least = rules.iter().map(|rule| match rule.name {
            "least_of_pieces" => rule.amount / f64::from(copies.max(1)),
            "least_of_a_pour" => rule.amount,
            _ => 0.0,
        });
        rounded_up(rounded(least.fold(edition.next_alone, f64::max)), step)
    });
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
        "next_alone_minor": alone,
        "once_minor": rounded(once),
    });
    Ok(Priced { net, shares: shares_of_lines(asked, simulated, net, marked, step), value })
}

/// What of a price falls on each line, by what its castings and what is paid once for it come to; and what one
/// casting more of it is offered at, with the same markup, rounded up, before tax. Making a unique work again
/// is what was said for its pattern and what a copy is offered at.
fn shares_of_lines(asked: &Asked, simulated: &Simulated, net: i64, marked: f64, step: i64) -> Vec<LineShare> {
    let weigh = |(line, of): (&Line, &LineSimulated)| {
        let each = line.asked.per_piece * f64::from(line.asked.copies);
        (line.what.clone(), (of.one_more * of.castings_mean + line.once + each).max(1.0))
    };
    let weights: Vec<(String, f64)> = asked.lines.iter().zip(&simulated.lines).map(weigh).collect();
    let up = |amount: f64| rounded_up(rounded(amount), step);
    let share = |((line, of), (_, net)): ((&Line, &LineSimulated), (String, i64))| LineShare {
        net,
        recast: up(of.one_more * marked),
        remake: line.remake.map(|remake| up(remake + net as f64 / f64::from(line.copies.max(1)))),
    };
    asked.lines.iter().zip(&simulated.lines).zip(stages(net, &weights)).map(share).collect()
}

/// What a new mould is reckoned to cost, where nobody said.
fn mould(simulated: &Simulated) -> f64 {
    simulated.movers.iter().filter(|mover| mover.name == "mould").map(|mover| mover.mean).sum()
}
