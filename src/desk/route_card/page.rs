//! `/castings/{tag}`: the route card to read.

use super::card_of;
use crate::book::api::Kit;
use crate::book::thing;
use crate::kernel::actor::Right;
use crate::kernel::{Instant, Mass, Precision, Problem};
use crate::science::trade::Catalogue;
use crate::shop::casting;
use crate::shop::house::settings;
use crate::shop::house::shown::{Shown as Reads, flag_words};
use crate::web::{Frame, Page, Shown, Visit};
use askama::Template;
use serde_json::{Map, Value};
use uuid::Uuid;

struct Mark {
    id: String,
    what: String,
    more: String,
    when: String,
    hands: String,
    by: String,
    flags: Vec<String>,
}

struct Caution {
    line: String,
    title: String,
    card: String,
}

#[derive(Template)]
#[template(path = "route_card.html")]
struct CardPage {
    frame: Frame,
    tag: String,
    piece: String,
    mark: String,
    number: String,
    stage: String,
    unique: bool,
    trials: Vec<String>,
    shell: String,
    alloy: String,
    route: Vec<Mark>,
    next: Option<(&'static str, String)>,
    also: Vec<(&'static str, String)>,
    masses: Vec<(&'static str, String)>,
    cost: Vec<(&'static str, String)>,
    provisional: bool,
    findings: Vec<String>,
    cautions: Vec<Caution>,
}

/// The card as a page.
#[must_use]
pub fn pages(kit: &Kit) -> Vec<Page> {
    let kit = kit.clone();
    vec![Page::get("/castings/{tag}", Right::Read, move |visit| {
        let kit = kit.clone();
        async move { show(&kit, &visit).await }
    })]
}

async fn show(kit: &Kit, visit: &Visit) -> Result<Shown, Problem> {
    let mut read = kit.db.read().await?;
    let (card, row) = card_of(kit, &mut read, visit.part("tag")).await?;
    let listed = casting::seen_by(casting::listed_of(&mut read, &[row.seq], 1).await?, visit.actor()?.role).pop();
    let reads = Reads::new(settings::of(&mut read).await?, visit.now);
    let lines: &[Value] = card["route"].as_array().map_or(&[], Vec::as_slice);
    let ids: Vec<Uuid> = lines.iter().flat_map(|l| things(&l["record"])).collect();
    let names = thing::names(&mut read, &ids).await?;
    // Whether its shell has all its coats; asked only while it is being dipped.
    let dipped = match row.shell_seq.filter(|_| row.stage == "shell") {
        Some(shell) => {
            let story = crate::book::story::load(&mut read, &[], &[shell]).await?;
            crate::shop::shell::next_dip(&story, shell).is_some_and(|dip| !dip.is_due())
        }
        None => false,
    };
    drop(read);
    let sees_money = visit.actor()?.sees_money;
    let name_of = |id: &str| {
        Uuid::parse_str(id)
            .ok()
            .and_then(|id| names.iter().find(|(of, _)| *of == id))
            .map_or_else(String::new, |(_, n)| n.clone())
    };
    let mut coats = 0;
    let mut route: Vec<Mark> = Vec::with_capacity(lines.len());
    for line in lines {
        let kind = line["kind"].as_str().unwrap_or("");
        coats += usize::from(kind == "coat");
        route.push(mark(kind, &line["record"], coats, &reads, &name_of));
    }
    let mut frame = visit.frame(format!("{} {}", row.tag, listed.as_ref().map_or("", |l| l.pattern.as_str())));
    frame.here = String::new();
    Shown::page(&CardPage {
        frame,
        piece: listed.as_ref().map_or_else(String::new, |l| {
            let part = if l.part == "whole" { String::new() } else { format!(", {}", l.part) };
            let attempt = if l.attempt > 1 { format!(", attempt {}", l.attempt) } else { String::new() };
            format!("{}{part}{attempt}", l.pattern)
        }),
        mark: listed.as_ref().and_then(|l| l.mark.clone().or_else(|| l.maker.clone())).unwrap_or_default(),
        number: listed.as_ref().map_or_else(String::new, |l| l.number.clone()),
        shell: listed.as_ref().and_then(|l| l.shell.as_ref()).map_or_else(String::new, |(_, tag)| tag.clone()),
        stage: where_it_is(&row.stage).to_owned(),
        unique: row.pattern_kind == "unique",
        trials: trials(lines, &card["shell"]["id"]),
        alloy: row.alloy.clone(),
        route,
        next: next(&row.tag, &row.stage, listed.as_ref().and_then(|l| l.shell.as_ref()).map(|(_, tag)| tag.as_str()), dipped),
        also: also(&row.tag, &row.stage),
        masses: masses(&card, &reads),
        cost: if sees_money { cost(&card["cost"]["metal"], &reads) } else { Vec::new() },
        provisional: card["metal"]["provisional"] == true,
        findings: card["findings"].as_array().into_iter().flatten().map(finding).collect(),
        cautions: cautions(&card["cautions"])?,
        tag: row.tag,
    })
}

/// What the coin of each running trial gave its shell.
fn trials(lines: &[Value], shell: &Value) -> Vec<String> {
    let running = lines.iter().map(|l| &l["record"]).filter(|r| r["running"] == true);
    running
        .filter_map(|pair| {
            let mine = pair["assignments"].as_array()?.iter().find(|a| a["shell_id"] == *shell)?;
            let text = |of: &Value, name: &str| of[name].as_str().unwrap_or("").to_owned();
            Some(format!("Trial {}: {}, {}", text(pair, "trial"), text(mine, "arm").to_uppercase(), text(mine, "is")))
        })
        .collect()
}

/// The ids in a record that may be of things: hands, kilns.
fn things(record: &Value) -> Vec<Uuid> {
    let hands = record["hands"].as_array().into_iter().flatten().filter_map(Value::as_str);
    let kiln = record["kiln"].as_str().into_iter().chain(record["kiln_id"].as_str());
    hands.chain(kiln).filter_map(|text| Uuid::parse_str(text).ok()).collect()
}

fn kg(record: &Value, name: &str, reads: &Reads) -> Option<String> {
    let mg = record[name].as_number().and_then(|n| crate::kernel::json::scaled(n, 6)).and_then(|n| i64::try_from(n).ok())?;
    Some(reads.mass(Mass::from_mg(mg)))
}

fn plain(word: &str) -> String {
    word.replace('_', " ")
}

fn mark(kind: &str, record: &Value, coats: usize, reads: &Reads, name_of: &impl Fn(&str) -> String) -> Mark {
    let text = |name: &str| record[name].as_str().unwrap_or("");
    let mass = |name: &str| kg(record, name, reads);
    let degrees = |name: &str| record[name].as_f64().map(|c| reads.temperature(c));
    let said = |name: &str| if text(name).is_empty() { None } else { Some(plain(text(name))) };
    let kiln = [text("kiln"), text("kiln_id")].into_iter().map(name_of).find(|n| !n.is_empty());
    let number = |name: &str, unit: &str| record[name].as_f64().map(|n| format!("{n} {unit}"));
    let (what, more): (String, Vec<Option<String>>) = match kind {
        "wax" => ("Wax".into(), vec![said("made"), mass("wax_kg")]),
        "shell" => ("Into the shell".into(), vec![Some(text("tag").to_owned()), said("recipe")]),
        "coat" => (
            format!("Coat {coats}, {}", text("kind")),
            vec![
                said("slurry").filter(|s| s != text("kind")),
                said("stucco"),
                number("viscosity_s", "s"),
                degrees("room_c"),
                number("humidity_percent", "%"),
            ],
        ),
        "patch" => ("Patched".into(), vec![said("where"), said("material")]),
        "burnout" => ("Burnout".into(), vec![kiln, degrees("peak_c")]),
        "preheat" => ("Preheat".into(), vec![kiln, degrees("target_c")]),
        "pour" => ("Poured".into(), vec![said("filled"), mass("poured_kg"), degrees("metal_c").map(|t| format!("metal {t}"))]),
        "leak" => ("Leak".into(), vec![said("where"), said("response"), mass("lost_kg").map(|m| format!("{m} lost"))]),
        "shell_breakout" => ("Shell opened".into(), vec![mass("gross_kg").map(|m| format!("{m} the whole tree"))]),
        "breakout" => ("Broken out".into(), vec![said("verdict"), mass("net_kg").map(|m| format!("{m} net"))]),
        "trial_pair" => ("Trial".into(), vec![Some(text("trial").to_owned())]),
        "cut_off" => ("Cut off".into(), vec![mass("net_kg").map(|m| format!("{m} net"))]),
        "work" => ("Worked on".into(), vec![said("operation"), number("minutes", "min")]),
        "assembly" => ("Parts joined".into(), vec![said("joint")]),
        "finish" => ("Finished".into(), vec![]),
        "scrap" => ("Given up".into(), vec![said("category"), said("note")]),
        "delivery" => ("Handed over".into(), vec![]),
        "recast" => ("To be cast again".into(), vec![said("reason"), said("how")]),
        other => {
            let mut name = plain(other);
            if let Some(first) = name.get_mut(0..1) {
                first.make_ascii_uppercase();
            }
            (name, vec![])
        }
    };
    let flags = record["practice_flags"].as_array().into_iter().flatten().map(|flag| {
        let was = flag["was"].as_str().map_or_else(String::new, |was| format!(": {was}"));
        let limit = flag["limit"].as_str().map_or_else(String::new, |limit| format!(" (the shop's limit {limit})"));
        format!("{}{was}{limit}", flag_words(flag["code"].as_str().unwrap_or("")))
    });
    let precision = Precision::parse(text("at_precision")).unwrap_or_default();
    let hands: Vec<String> = record["hands"]
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(Value::as_str)
        .map(name_of)
        .filter(|n| !n.is_empty())
        .collect();
    Mark {
        id: text("id").to_owned(),
        what,
        more: more.into_iter().flatten().filter(|m| !m.is_empty()).collect::<Vec<_>>().join(", "),
        when: Instant::parse(text("at")).map_or_else(String::new, |at| reads.when(at, precision)),
        hands: hands.join(", "),
        by: text("by").to_owned(),
        flags: flags.collect(),
    }
}

/// A defect by its name, its code behind it.
fn finding(record: &Value) -> String {
    let code = record["code"].as_str().unwrap_or("");
    let named = Catalogue::builtin()
        .ok()
        .and_then(|c| c.defect(code))
        .map_or_else(|| code.to_owned(), |d| format!("{} ({code})", d.name));
    let rest = ["where", "severity", "note"].map(|name| record[name].as_str().unwrap_or("").to_owned());
    std::iter::once(named).chain(rest).filter(|p| !p.is_empty()).collect::<Vec<_>>().join(", ")
}

fn where_it_is(stage: &str) -> &'static str {
    match stage {
        "wax" => "a wax, not yet in a shell",
        "shell" => "in its shell, being dipped",
        "burnout" => "its shell has been in the kiln",
        "preheat" => "its shell was brought back to heat",
        "pour" => "poured, not broken out",
        "breakout" => "broken out",
        "bench" => "on the bench",
        "done" => "finished, not handed over",
        "delivered" => "handed over",
        _ => "given up",
    }
}

/// What would be logged next, and where.
fn next(casting: &str, stage: &str, shell: Option<&str>, dipped: bool) -> Option<(&'static str, String)> {
    let shell = shell.unwrap_or_default();
    Some(match stage {
        "wax" => ("Into a shell", format!("/shells/new?casting={casting}")),
        "shell" if dipped => ("Into the kiln", format!("/kiln?shell={shell}")),
        "shell" => ("Next coat", format!("/dip?shell={shell}")),
        "burnout" | "preheat" => ("Pour", "/pour-day".to_owned()),
        "pour" => ("Break out", format!("/shells/{shell}/breakout")),
        "breakout" => ("Cut off", format!("/castings/{casting}/cut-off")),
        "bench" => ("Work, or finish", format!("/castings/{casting}/bench")),
        "done" => ("Hand over", format!("/castings/{casting}/bench")),
        "scrapped" | "lost" => ("Cast it again", format!("/castings/{casting}/bench")),
        _ => return None,
    })
}

/// What else may be logged where it stands.
fn also(casting: &str, stage: &str) -> Vec<(&'static str, String)> {
    let bench = format!("/castings/{casting}/bench");
    match stage {
        "wax" => vec![("Weigh its wax", format!("/castings/{casting}/wax")), ("Work, or scrap", bench)],
        "bench" | "done" | "scrapped" | "lost" => Vec::new(),
        "delivered" => vec![("Cast it again", bench)],
        _ => vec![("Work, judge, or scrap", bench)],
    }
}

fn masses(card: &Value, reads: &Reads) -> Vec<(&'static str, String)> {
    let metal = &card["metal"];
    let rows = [
        ("Wax", kg(card, "wax_kg", reads)),
        ("Metal by estimate", kg(metal, "estimate_kg", reads)),
        ("Poured for it", kg(metal, "poured_kg", reads)),
        ("Net", kg(metal, "net_kg", reads)),
        ("Mass now", kg(metal, "mass_kg", reads)),
    ];
    rows.into_iter().filter_map(|(name, mass)| mass.filter(|m| !m.starts_with("0.00 ")).map(|mass| (name, mass))).collect()
}

fn cost(metal: &Value, reads: &Reads) -> Vec<(&'static str, String)> {
    let rows = [
        ("Metal in it", "accepted_minor"),
        ("Metal lost on the way", "lost_minor"),
        ("Rests on it as failed", "recast_minor"),
        ("In all", "total_minor"),
    ];
    let none = Map::new();
    let metal = metal.as_object().unwrap_or(&none);
    rows.into_iter()
        .filter_map(|(name, member)| metal.get(member)?.as_i64().map(|minor| (name, minor)))
        .filter(|(name, minor)| *minor != 0 || *name == "In all")
        .map(|(name, minor)| (name, reads.money(minor)))
        .collect()
}

fn cautions(of: &Value) -> Result<Vec<Caution>, Problem> {
    let built_in = Catalogue::builtin().map_err(Problem::internal)?;
    let codes: Vec<&str> = of.as_array().into_iter().flatten().filter_map(|c| c["code"].as_str()).collect();
    let cards = built_in.cautions.iter().filter(|c| codes.contains(&c.code.as_str()));
    Ok(cards.map(|c| Caution { line: c.line.clone(), title: c.title.clone(), card: c.card.clone() }).collect())
}
