//! `/pour-day`: a watcher taps, or a pedal presses the one big button; or all is logged after.

use super::after;
use crate::kernel::actor::Right;
use crate::kernel::{Mass, Problem, Seq};
use crate::science::trade::TradeStep;
use crate::shop::casting::route::Stage;
use crate::shop::casting::{self, Listed};
use crate::shop::heat::{self, PouredShell};
use crate::shop::house::floor::{Floor, items, plain, text};
use crate::shop::house::shown::Shown as Reads;
use crate::shop::house::{settings, trade};
use crate::shop::{burnout, metal, shell};
use crate::web::sheet::{Caution, Part};
use crate::web::{Frame, Page, Shown, Visit};
use askama::Template;
use serde_json::Value;
use std::sync::Arc;

/// A shell that may be poured.
pub(super) struct Row {
    /// Its tag.
    pub(super) tag: String,
    /// What is in it.
    pub(super) what: String,
    /// What it takes, as read.
    pub(super) takes: String,
    /// What it takes, in milligrams.
    pub(super) mg: i64,
    /// What is on record against it.
    pub(super) against: String,
    /// Whether a casting in it cannot be cast again.
    pub(super) unique: bool,
    /// Whether it is proposed: of this metal, with nothing on record against it.
    pub(super) proposed: bool,
    /// Its place in the order, as typed.
    pub(super) place: String,
    /// Whether it filled, as typed.
    pub(super) filled: String,
}

struct Poured {
    tag: String,
    when: String,
    how: String,
    id: String,
    assumed: bool,
}

/// A way on for a shell that was refused: what is sent with it said, and the words of the button.
#[derive(Clone)]
pub(super) struct Despite {
    /// The name of what is said, the shell's tag in it.
    pub(super) name: String,
    /// As the API has it.
    pub(super) codes: String,
    /// What it means.
    pub(super) words: String,
}

struct Pot {
    number: String,
    words: String,
    chosen: bool,
}

#[derive(Template)]
#[template(path = "pour_day.html")]
struct PourDay {
    frame: Frame,
    pots: Vec<Pot>,
    today: String,
    number: String,
    alloy: String,
    left_mg: i64,
    shells: Vec<Row>,
    others: Vec<Row>,
    poured: Vec<Poured>,
    support: String,
    supports: Vec<(String, String)>,
    hands: String,
    degrees: &'static str,
    kg_each_mg: i64,
    mass_unit: &'static str,
    cautions: Vec<Caution>,
    started: String,
    minutes: String,
    key: String,
    faults: Vec<String>,
    despite: Vec<Despite>,
    said: String,
}

/// The pages.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    let (log, confirm) = (Arc::new(floor.clone()), Arc::new(floor.clone()));
    let mut out = super::day::pages(floor);
    out.extend([
        floor.page("/pour-day", Right::Log, |floor, visit| async move { page(&floor, &visit, Vec::new(), &[]).await }),
        Page::post("/pour-day/after", Right::Log, move |visit| {
            let floor = log.clone();
            async move { after::log(&floor, visit).await }
        }),
        Page::post("/pour-day/planned", Right::Log, move |visit| {
            let floor = confirm.clone();
            async move { after::confirm(&floor, visit).await }
        }),
    ]);
    out
}

fn what(castings: &[&Listed]) -> String {
    let mut names: Vec<String> = Vec::new();
    for casting in castings {
        let mark = casting.mark.as_deref().or(casting.maker.as_deref()).map_or_else(String::new, |m| format!(" {m}"));
        names.push(format!("{}{mark}", casting.pattern));
    }
    names.join(", ")
}

/// What is in a shell, and what the coin of a running trial gave it for its pour.
fn what_and_trial(castings: &[&Listed], pairs: &Value, tag: &str) -> String {
    let at_the_pour = |p: &&Value| p["running"] == true && matches!(p["factor"].as_str(), Some("support" | "practice"));
    let given = items(&pairs["items"]).iter().filter(at_the_pour).flat_map(|p| items(&p["assignments"]));
    let mine = given.filter(|a| a["tag"] == tag);
    let said = mine.map(|a| format!("TRIAL {}: {}", text(a, "arm").to_uppercase(), text(a, "is")));
    std::iter::once(what(castings)).chain(said).collect::<Vec<_>>().join(" ")
}

/// The page, with what was wrong with what was typed on it.
pub(super) async fn page(floor: &Floor, visit: &Visit, faults: Vec<String>, despite: &[Despite]) -> Result<Shown, Problem> {
    let look = floor.look(visit).await?;
    let mut read = floor.kit.db.read().await?;
    let settings = settings::of(&mut read).await?;
    let open = metal::open_heats(&mut read).await?;
    let seqs: Vec<Seq> = open.iter().map(|h| h.heat).collect();
    let numbers = heat::numbers(&mut read, &seqs).await?;
    let number_of = |seq: Seq| numbers.iter().find(|(s, ..)| *s == seq).map_or("", |(_, number, _)| number.as_str());
    let fired = casting::shells_at(&mut read, &[Stage::Burnout, Stage::Preheat]).await?;
    let listed = casting::listed_of(&mut read, &fired, 400).await?;
    let names = shell::names(&mut read, &fired).await?;
    let story = crate::book::story::load(&mut read, &[], &fired).await?;
    let flags = burnout::flags(&mut read, &fired).await?;
    let expected = metal::expected(&mut read, &fired).await?;
    let trade = trade::of(&mut read).await?;
    let asked = if visit.form.get("heat").is_empty() { visit.query.get("heat") } else { visit.form.get("heat") };
    let chosen = open.iter().find(|h| number_of(h.heat) == asked).or(open.first());
    let streams = match chosen {
        Some(heat) => heat::pours_of(&mut read, heat.heat).await?,
        None => Vec::new(),
    };
    let poured_into: Vec<Seq> = streams.iter().map(|s| s.shell).collect();
    let took = metal::expected(&mut read, &poured_into).await?;
    let tags = shell::names(&mut read, &poured_into).await?;
    drop(read);

    let reads = &look.reads;
    let (number, alloy) = chosen.map_or(("", ""), |h| (number_of(h.heat), h.alloy.as_str()));
    let poured = if number.is_empty() { Value::Null } else { look.get(&format!("/v1/heats/{number}")).await? };
    let last = look.get("/v1/pours?limit=1").await?;
    let pours = items(&poured["pours"]);
    let ids: Vec<&Value> = items(&last["items"]).iter().chain(pours).flat_map(|p| items(&p["hands"])).collect();
    let (hands, pairs) = (floor.names(&ids).await?, look.get("/v1/trial-pairs?limit=100").await?);
    let mut shells: Vec<Row> = fired
        .iter()
        .map(|&shell| {
            let castings: Vec<&Listed> = listed.iter().filter(|c| c.shell.as_ref().is_some_and(|(s, _)| *s == shell)).collect();
            let against = burnout::against(&story, &settings, shell, &flags, visit.now);
            let (of, mass) =
                expected.iter().find(|(s, ..)| *s == shell).map_or(("", Mass::ZERO), |(_, alloy, mass)| (alloy.as_str(), *mass));
            let tag = names.iter().find(|(s, ..)| *s == shell).map_or_else(String::new, |(_, tag, _)| tag.clone());
            Row {
                what: what_and_trial(&castings, &pairs, &tag),
                takes: reads.mass(mass),
                mg: mass.mg(),
                proposed: against.is_empty() && of == alloy,
                against: against.join("; "),
                unique: castings.iter().any(|c| c.unique),
                place: visit.form.get(&format!("place.{tag}")).to_owned(),
                filled: visit.form.get(&format!("filled.{tag}")).to_owned(),
                tag,
            }
        })
        .collect();
    shells.sort_by(|a, b| b.mg.cmp(&a.mg).then_with(|| a.tag.cmp(&b.tag)));
    let (shells, others) = shells.into_iter().partition(|row| row.proposed);
    let left = chosen.map_or(Mass::ZERO, |h| h.charged - out_of_the_pot(&streams, &took));
    let last = items(&last["items"]).first().cloned().unwrap_or(Value::Null);
    let me = visit.actor.as_ref().map_or_else(String::new, |a| a.name.clone());
    let last_hands = hands.all(&last["hands"]);
    let cautions = match look.cautions(TradeStep::Pour, trade.alloy(alloy), None)? {
        Part::Cautions(cautions) => cautions,
        _ => Vec::new(),
    };
    let typed = |name: &str, or: String| if visit.form.get(name).is_empty() { or } else { visit.form.get(name).to_owned() };
    let mut frame = visit.frame("Pour day");
    frame.faulty = !faults.is_empty();
    let status = if faults.is_empty() { 200 } else { 422 };
    Shown::page(&PourDay {
        frame,
        pots: open
            .iter()
            .map(|h| Pot {
                number: number_of(h.heat).to_owned(),
                words: format!("{}, {} charged", h.alloy, reads.mass(h.charged)),
                chosen: number_of(h.heat) == number,
            })
            .collect(),
        today: reads.today().to_string(),
        number: number.to_owned(),
        alloy: trade.alloy(alloy).map_or_else(|| alloy.to_owned(), |a| format!("{} {alloy}", a.common_name)),
        left_mg: left.mg(),
        shells,
        others,
        poured: pours.iter().map(|pour| poured_row(pour, &streams, &tags, reads)).collect(),
        support: support(&last),
        supports: ["open_rack", "buried", "half_buried", "standing"].map(|s| (s.to_owned(), plain(s))).to_vec(),
        hands: if last_hands.is_empty() { me } else { last_hands },
        degrees: reads.units().temperature_symbol(),
        kg_each_mg: if reads.units().mass_unit().symbol() == "lb" { 453_592 } else { 1_000_000 },
        mass_unit: reads.units().mass_unit().symbol(),
        cautions,
        started: typed("started", reads.time_field(visit.now)),
        minutes: typed("minutes", "2".to_owned()),
        key: look.clock.mint().to_string(),
        said: said(visit),
        faults,
        despite: despite.to_vec(),
    })
    .map(|shown| shown.status(status))
}

/// How shells are proposed to stand: as the last one did.
fn support(last: &Value) -> String {
    let last = text(last, "support");
    if last.is_empty() { "open_rack".to_owned() } else { last }
}

fn said(visit: &Visit) -> String {
    match visit.query.get("done").parse::<u16>() {
        Ok(1) => "One pour recorded.".to_owned(),
        Ok(n) if n > 0 => format!("{n} pours recorded."),
        _ => String::new(),
    }
}

/// What is out of the pot: as weighed, else by the estimate of castings and gating.
fn out_of_the_pot(streams: &[PouredShell], took: &[(Seq, String, Mass)]) -> Mass {
    let by_estimate = |shell: Seq| took.iter().find(|(s, ..)| *s == shell).map_or(Mass::ZERO, |(.., mass)| *mass);
    let of = |s: &PouredShell| s.mass.unwrap_or_else(|| if s.first { by_estimate(s.shell) } else { Mass::ZERO });
    streams.iter().fold(Mass::ZERO, |sum, stream| sum + of(stream))
}

fn poured_row(pour: &Value, streams: &[PouredShell], tags: &[(Seq, String, String)], reads: &Reads) -> Poured {
    let id = text(pour, "id");
    let shell = streams.iter().find(|s| s.pour.to_string() == id).map(|s| s.shell);
    let tag = tags.iter().find(|(seq, ..)| Some(*seq) == shell).map_or_else(String::new, |(_, tag, _)| tag.clone());
    let leaks = items(&pour["leaks"]);
    let leaked = leaks.iter().map(|l| format!("leaked at the {}", text(l, "where"))).collect::<Vec<_>>().join(", ");
    let mut how = plain(&text(pour, "filled"));
    if !leaked.is_empty() {
        how = format!("{how}, {leaked}");
    }
    Poured { tag, when: reads.at_of(pour), how, id, assumed: !items(&pour["assumed"]).is_empty() }
}
