//! `/trials`: what is tried, and starting one; `/trials/{id}`: its course, the next pair, the coin's answer.

use crate::kernel::Problem;
use crate::kernel::actor::Right;
use crate::shop::house::floor::{Floor, Look, choice, items, text};
use crate::web::draw::trial::{TrialLines, TrialPoint, trial_course};
use crate::web::page::escape_part;
use crate::web::sheet::{Cell, Part, Sheet, Table};
use crate::web::slip::{Choice, Field, How, Slip};
use crate::web::{Page, Shown, Visit};
use serde_json::Value;
use std::sync::Arc;

/// The pages.
#[must_use]
pub fn pages(floor: &Floor) -> Vec<Page> {
    vec![floor.page("/trials", Right::Read, list), floor.page("/trials/{id}", Right::Read, one)]
}

/// What counts as failed: as the API has it, and in words.
const OUTCOMES: [(&str, &str); 3] =
    [("leak", "leaks"), ("short", "short or stopped pours"), ("defect", "defects found at the breakout")];
/// The most pairs, and strata with ready shells, that a page shows.
const MOST: usize = 200;
const MOST_STRATA: usize = 8;

fn outcome_words(of: &Value) -> &'static str {
    OUTCOMES.iter().find(|(name, _)| of["outcome"] == **name).map_or("", |(_, words)| words)
}

/// What a trial says, in a few words.
fn verdict_words(trial: &Value) -> String {
    let worse = if trial["worse"] == "b" { text(trial, "b_is") } else { text(trial, "a_is") };
    match trial["verdict"].as_str().unwrap_or_default() {
        "told_apart" => format!("told apart: {worse} fails more often"),
        "alike" => "alike for practical purposes".to_owned(),
        "leaning" => format!("leaning: {worse} seems to fail more often"),
        "planned_end" => "cannot tell: planned end".to_owned(),
        _ => "cannot tell yet".to_owned(),
    }
}

fn count(of: &Value, name: &str) -> u64 {
    of[name].as_u64().unwrap_or(0)
}

fn complete(trial: &Value) -> u64 {
    count(trial, "a_only") + count(trial, "b_only") + count(trial, "same")
}

/// An e-value, or how many times as likely, to be read.
fn evidence(e: Option<f64>) -> String {
    match e {
        Some(e) if e >= 1e6 => "over 1,000,000".to_owned(),
        Some(e) if e >= 100.0 => format!("{e:.0}"),
        Some(e) if e >= 0.01 => format!("{e:.2}"),
        Some(_) => "under 0.01".to_owned(),
        None => String::new(),
    }
}

/// A rate as so many in a hundred.
fn in_100(rate: &Value) -> String {
    rate.as_f64().map_or_else(String::new, |r| format!("{:.0} in 100", r * 100.0))
}

fn years_words(years: &Value) -> String {
    years.as_f64().map_or_else(
        || "no time that can be said".to_owned(),
        |y| if y < 1.0 { format!("{:.0} months", (y * 12.0).max(1.0)) } else { format!("{y:.1} years") },
    )
}

/// So many pairs, and what that means in years.
fn long(pairs: &Value, years: &Value) -> String {
    pairs.as_u64().map_or_else(|| "more than 10,000 pairs".to_owned(), |n| format!("{n} pairs, {}", years_words(years)))
}

async fn list(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let (found, next) = look.list("/v1/trials", 50).await?;
    let mut sheet = Sheet::new(&visit, "Trials");
    sheet.part(Part::Words(
        "Two ways of working, compared fairly: two shells that are alike are named, and only then a coin says which is A and \
         which is B. It may be looked at after every pour."
            .to_owned(),
    ));
    let heads = ["Trial", "A", "B", "What counts", "Complete pairs#", "Evidence#", "What it says"];
    let mut table = Table::new("On record", "No trial was started yet.", &heads);
    for trial in &found {
        let over = if trial["ended"].is_null() { "" } else { " (ended)" };
        table.row([
            Cell::text(text(trial, "name")).to(format!("/trials/{}", text(trial, "id"))),
            text(trial, "a_is").into(),
            text(trial, "b_is").into(),
            outcome_words(trial).into(),
            complete(trial).to_string().into(),
            evidence(trial["e"].as_f64()).into(),
            format!("{}{over}", verdict_words(trial)).into(),
        ]);
    }
    table.next = next;
    sheet.table(table);
    let (outcome, worth) = asked(&visit);
    let plan = look.get(&format!("/v1/reports/trial-plan?outcome={outcome}&worth_knowing={worth}")).await?;
    let fields = vec![
        Field::list("outcome", "What counts as failed", &OUTCOMES).with(outcome),
        Field::number("worth_knowing", "Smallest difference worth knowing")
            .with(worth.to_string())
            .hint("0.1 is 10 shells in 100."),
    ];
    sheet.part(Part::Words("How long would one take here?".to_owned()));
    sheet.part(Part::asking("/trials", fields));
    for line in plan_words(&plan) {
        sheet.part(Part::Note(line));
    }
    if visit.actor()?.role.may(Right::Own) {
        let recipes = look.get("/v1/recipes?limit=100").await?;
        let names: Vec<String> = items(&recipes["items"]).iter().map(|r| text(r, "name")).collect();
        sheet.slip("Start a trial", start(&look, &names, outcome, worth));
    }
    sheet.show()
}

/// What the plan is asked for, as far as it can be read.
fn asked(visit: &Visit) -> (&'static str, f64) {
    let outcome = OUTCOMES.iter().map(|(name, _)| *name).find(|name| *name == visit.query.get("outcome")).unwrap_or("leak");
    let worth = visit.query.get("worth_knowing").replace(',', ".").parse::<f64>().ok().filter(|w| (0.01..=0.5).contains(w));
    (outcome, worth.unwrap_or(0.1))
}

/// The years a trial takes at this shop's pace.
fn plan_words(plan: &Value) -> Vec<String> {
    let pace = &plan["pace"];
    let (shells, pairs) = (count(pace, "shells"), count(pace, "pairs_a_year"));
    let what = outcome_words(plan);
    let (a, b) = (in_100(&plan["rate_a"]), in_100(&plan["rate_b"]));
    let stop = &plan["pairs_to_stop"];
    let years = &plan["years"];
    let alike = &plan["if_alike"];
    let chance = alike["chance"].as_f64().unwrap_or(0.0) * 100.0;
    vec![
        format!("In the last 365 days {shells} shells were poured, of which {pairs} pairs of like ones could have been made."),
        format!(
            "If there are {what} in {a} shells the one way and in {b} the other, half of such trials tell it within {}; four in five within {}.",
            long(&stop["p50"], &years["p50"]),
            long(&stop["p80"], &years["p80"])
        ),
        format!(
            "If both are alike at {}, {chance:.0} of 100 trials have found them alike after {}.",
            in_100(&alike["rate"]),
            long(&alike["pairs"], &alike["years"])
        ),
    ]
}

fn start(look: &Look<'_>, recipes: &[String], outcome: &str, worth: f64) -> Slip {
    let factors = [
        ("recipe", "two shell recipes, assigned before the first coat"),
        ("support", "how shells stand at the pour, assigned after the burnout"),
        ("practice", "another way of working, in words"),
    ];
    let ways: Vec<&str> = recipes.iter().map(String::as_str).chain(["open_rack", "buried", "half_buried", "standing"]).collect();
    let part = |value: &str, words: &str, chosen: bool| Choice { chosen, ..choice(value, words, "") };
    look.slip("trials", "Start it")
        .field(Field::text("name", "What it is called").need())
        .field(Field::one("factor", "What is tried", &factors))
        .field(
            Field::text("a", "A")
                .proposing(&ways)
                .need()
                .hint("A recipe's name; open_rack, buried, half_buried or standing; or words."),
        )
        .field(Field::text("b", "B").proposing(&ways).need())
        .field(Field::list("outcome", "What counts as failed", &OUTCOMES).with(outcome))
        .field(
            Field::number("worth_knowing", "Smallest difference worth knowing")
                .with(worth.to_string())
                .need()
                .hint("0.1 is 10 shells in 100. A smaller one takes longer: see above."),
        )
        .field(Field::number("max_pairs", "At most so many pairs").hint("Then it ends, whatever it says."))
        .field(
            Field::new("strata", "The shells of a pair are alike in", How::Ticks)
                .of([
                    part("alloy", "alloy", true),
                    part("section_band", "thinnest section", true),
                    part("pattern", "pattern", false),
                    part("recipe", "recipe", false),
                ])
                .more(),
        )
        .field(Field::new("notes", "Notes", How::Long).more())
        .then("/trials/{made}")
        .main()
}

async fn one(floor: Arc<Floor>, visit: Arc<Visit>) -> Result<Shown, Problem> {
    let look = floor.look(&visit).await?;
    let id = escape_part(visit.part("id"));
    let trial = look.get(&format!("/v1/trials/{id}")).await?;
    let running = trial["ended"].is_null() && trial["void"].is_null();
    let mut sheet = Sheet::new(&visit, text(&trial, "name"));
    sheet.lead = format!("A is {}. B is {}. What counts: {}.", text(&trial, "a_is"), text(&trial, "b_is"), outcome_words(&trial));
    if let Some(why) = trial["ended"]["reason"].as_str() {
        sheet.part(Part::Note(format!("Ended {}: {why}", look.reads.at(&trial["ended"]["at"]))));
    }
    coin(&mut sheet, &trial, visit.query.get("pair"));
    sheet.part(Part::Note(text(&trial, "said")));
    let may_log = visit.actor()?.role.may(Right::Log);
    if running && may_log {
        set_recipes(&look, &mut sheet, &trial, &id);
        let ready = look.get(&format!("/v1/trials/{id}/ready")).await?;
        next_pair(&look, &mut sheet, &ready, &id);
    }
    course(&mut sheet, &trial);
    figures(&mut sheet, &trial);
    pairs(&look, &mut sheet, &trial);
    deviations(&mut sheet, &trial);
    if running && visit.actor()?.role.may(Right::Own) {
        let end = look
            .slip(format!("trials/{id}/end"), "End it")
            .field(Field::text("reason", "Why it ends").need())
            .field(Field::at())
            .then(format!("/trials/{id}"));
        sheet.folded("End the trial", end);
    }
    sheet.links(&[("All trials", "/trials".to_owned()), ("Its record", format!("/records/{}", text(&trial, "id")))]);
    sheet.show()
}

/// The coin's answer for a pair just assigned, in large letters.
fn coin(sheet: &mut Sheet, trial: &Value, pair: &str) {
    let Some(n) = items(&trial["pairs"]).iter().find(|p| p["id"] == pair && p["void"].is_null()).map(|p| p["n"].clone()) else {
        return;
    };
    let lines = items(&trial["assignments"]).iter().filter(|a| a["pair"] == n);
    let line = |a: &Value| (text(a, "tag"), text(a, "arm").to_uppercase(), text(a, "is"));
    sheet.part(Part::Large(lines.map(line).collect()));
}

/// Shells that still bear another recipe than the coin gave them.
fn set_recipes(look: &Look<'_>, sheet: &mut Sheet, trial: &Value, id: &str) {
    for shell in items(&trial["to_set"]).iter().take(MOST_STRATA) {
        let (tag, recipe) = (text(shell, "tag"), text(shell, "recipe"));
        let slip = look
            .slip(format!("shells/{tag}"), &format!("{tag} is {recipe}"))
            .correcting(&text(shell, "etag"))
            .field(Field::hidden("recipe_id", &text(shell, "recipe_id")))
            .field(Field::hidden("reason", "as the coin of a trial has it"))
            .then(format!("/trials/{id}"));
        sheet.slip(&format!("{tag} goes by {recipe}: say so before its first coat"), slip.main());
    }
}

/// The shells that may be paired next, stratum by stratum.
fn next_pair(look: &Look<'_>, sheet: &mut Sheet, ready: &Value, id: &str) {
    let strata: Vec<&Value> = items(&ready["strata"]).iter().filter(|s| items(&s["shells"]).len() > 1).collect();
    if strata.is_empty() {
        sheet.part(Part::Words("No two ready shells are alike just now: the next pair waits for them.".to_owned()));
    }
    for (n, stratum) in strata.iter().take(MOST_STRATA).enumerate() {
        let shells = items(&stratum["shells"]).iter().map(|s| choice(text(s, "tag"), text(s, "tag"), text(s, "holds")));
        let slip = look
            .slip(format!("trials/{id}/pairs"), "Toss the coin")
            .named(look.visit, &format!("s{n}"))
            .field(Field::new("shell_ids", "Two shells", How::Ticks).of(shells))
            .then(format!("/trials/{id}?pair={{made}}"));
        sheet.slip(&format!("Next pair: {}", text(stratum, "stratum")), slip.main());
    }
}

/// How the evidence grew, and what it leaves possible.
fn course(sheet: &mut Sheet, trial: &Value) {
    let points: Vec<TrialPoint> = items(&trial["course"])
        .iter()
        .map(|p| TrialPoint {
            pairs: p["pairs"].as_f64().map_or(0, whole),
            e: p["e"].as_f64().unwrap_or(1.0),
            seen: p["value"].as_f64(),
            possible: p["low"].as_f64().zip(p["high"].as_f64()),
        })
        .collect();
    if points.len() < 2 {
        return;
    }
    let lines = TrialLines {
        told_apart: trial["told_apart_at"].as_f64().unwrap_or(20.0),
        worth_knowing: trial["worth_knowing"].as_f64().unwrap_or(0.1),
        a: text(trial, "a_is"),
        b: text(trial, "b_is"),
    };
    let about = "Above, how strongly the pairs speak for a difference; below, the difference seen and what is possible of it.";
    sheet.part(Part::Drawing("Its course".to_owned(), trial_course("The course of the trial", about, &points, &lines).inline()));
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count of pairs, held to its range")]
fn whole(pairs: f64) -> u32 {
    pairs.clamp(0.0, f64::from(u32::MAX)) as u32
}

/// The numbers beside the drawing.
fn figures(sheet: &mut Sheet, trial: &Value) {
    let (a, b) = (text(trial, "a_is"), text(trial, "b_is"));
    let mut table = Table::new("The figures", "", &["Pairs", "How many#"]);
    for (what, name) in [
        (format!("Only A failed ({a})"), "a_only"),
        (format!("Only B failed ({b})"), "b_only"),
        ("Both, or neither".to_owned(), "same"),
        ("Wait to be known".to_owned(), "waiting"),
        ("Tell nothing: a shell lost before its pour".to_owned(), "fell_out"),
        ("Void".to_owned(), "void_pairs"),
    ] {
        if !matches!(name, "fell_out" | "void_pairs") || count(trial, name) > 0 {
            table.row([what.into(), count(trial, name).to_string().into()]);
        }
    }
    sheet.table(table);
    let d = &trial["difference"];
    let points = |name: &str| d[name].as_f64().map_or_else(String::new, |v| format!("{:+.0}", v * 100.0).replace('-', "−"));
    let difference = if d.is_null() {
        String::new()
    } else {
        format!("{} in 100; from {} to {} is possible", points("value"), points("low"), points("high"))
    };
    let (to_go, years) = (&trial["pairs_to_stop"], &trial["years"]);
    let stopped = count(trial, "stopped_after") > 0;
    let left = |name: &str| if stopped { String::new() } else { long(&to_go[name], &years[name]) };
    let supposed = format!("{} against {}", in_100(&trial["supposed"]["rate_a"]), in_100(&trial["supposed"]["rate_b"]));
    sheet.facts(
        "",
        [
            (
                "Evidence that they differ",
                Cell::text(format!("{}; from 20 on they are told apart", evidence(trial["e"].as_f64()))),
            ),
            ("A fails more often than B by", Cell::text(difference)),
            ("Half of such trials need from here", Cell::text(left("p50"))),
            ("Four in five need at most", Cell::text(left("p80"))),
            ("That supposes", Cell::text(if stopped { String::new() } else { supposed })),
            ("Worth knowing from", Cell::text(in_100(&trial["worth_knowing"]))),
            ("Planned end", Cell::text(trial["max_pairs"].as_u64().map_or_else(String::new, |n| format!("{n} pairs")))),
            ("The coin's seed", Cell::text(text(trial, "seed"))),
        ],
    );
    let with = &trial["with_void_pairs"];
    if !with.is_null() {
        sheet.part(Part::Words(format!(
            "Void pairs that were complete: {}. Were they counted: only A {}, only B {}, evidence {}.",
            count(with, "void_and_known"),
            count(with, "a_only"),
            count(with, "b_only"),
            evidence(with["e"].as_f64())
        )));
    }
}

fn fate_words(fate: &str) -> &str {
    match fate {
        "waiting" => "not known yet",
        "lost" => "lost: counts as failed",
        "lost_before_the_pour" => "lost before its pour",
        other => other,
    }
}

fn pairs(look: &Look<'_>, sheet: &mut Sheet, trial: &Value) {
    let heads = ["Pair#", "A", "What came of it", "B", "What came of it", "It tells", "Complete"];
    let mut table = Table::new("Its pairs", "No pair was assigned yet.", &heads);
    let all = items(&trial["pairs"]);
    for pair in all.iter().rev().take(MOST) {
        let tells = match (pair["void"]["reason"].as_str(), pair["outcome"].as_str().unwrap_or_default()) {
            (Some(why), _) => format!("void: {why}"),
            (None, "a_only") => "only A failed".to_owned(),
            (None, "b_only") => "only B failed".to_owned(),
            (None, "same") => "both or neither".to_owned(),
            (None, "fell_out") => "nothing".to_owned(),
            _ => "not known yet".to_owned(),
        };
        let shell = |name: &str| Cell::tag(text(pair, name)).to(format!("/shells/{}", text(pair, name)));
        table.row([
            Cell::number(text(pair, "n")).to(format!("/records/{}", text(pair, "id"))),
            shell("a"),
            fate_words(&text(pair, "a_came")).into(),
            shell("b"),
            fate_words(&text(pair, "b_came")).into(),
            tells.into(),
            look.reads.at(&pair["completed_at"]).into(),
        ]);
    }
    if all.len() > MOST {
        table.foot = format!("The newest {MOST} of {}.", all.len());
    }
    sheet.table(table);
}

/// What was done otherwise than the coin said; and the rates by what was done.
fn deviations(sheet: &mut Sheet, trial: &Value) {
    let found = items(&trial["deviations"]);
    if !found.is_empty() {
        let mut table = Table::new("Done otherwise", "", &["Pair#", "Shell", "Assigned", "What was done"]);
        for one in found.iter().rev().take(MOST) {
            let what = match text(one, "what").as_str() {
                "not_said" => "nobody said".to_owned(),
                "before_the_coin" => "begun before the coin was tossed".to_owned(),
                _ => text(one, "done"),
            };
            table.row([
                text(one, "pair").into(),
                Cell::tag(text(one, "tag")).to(format!("/shells/{}", text(one, "tag"))),
                text(one, "assigned").into(),
                what.into(),
            ]);
        }
        "They count as they were assigned.".clone_into(&mut table.foot);
        sheet.table(table);
    }
    let done = &trial["as_treated"];
    if done.is_null() || (found.is_empty() && complete(trial) == 0) {
        return;
    }
    let mut table = Table::new("By what was really done", "", &["Done", "Shells#", "Failed#", "Rate#"]);
    for (name, words) in [("a", text(trial, "a_is")), ("b", text(trial, "b_is")), ("neither", "neither, or not said".to_owned())]
    {
        let of = &done[name];
        if name != "neither" || count(of, "shells") > 0 {
            let rate = if of["rate"].is_null() { String::new() } else { in_100(&of["rate"]) };
            table.row([words.into(), text(of, "shells").into(), text(of, "failed").into(), rate.into()]);
        }
    }
    "Rates to look at, no more: what was done otherwise was not left to the coin.".clone_into(&mut table.foot);
    sheet.table(table);
}
