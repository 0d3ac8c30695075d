//! What the start page reminds of; each kind may be switched off by the setting `reminders_off`.

use crate::db::{Ask, Read as _, ReadTx, Row, last_copy};
use crate::kernel::{Instant, Mass, Problem, Seq};
use crate::shop::house::settings::{REMINDERS, Settings};
use crate::shop::house::shown::Shown as Reads;
use crate::shop::{bench, casting, commission, metal, pattern, shell};
use crate::web::page::escape_part;

/// How many days before its day a mould is spoken of.
const KEEP_DAYS: i32 = 30;

/// How many heats before its last a crucible is spoken of.
const NEAR_HEATS: i64 = 3;

/// What the start page has found of the shop already, by which some reminders are said.
pub(super) struct Found<'a> {
    /// Jobs with castings in the shop.
    pub(super) open: &'a [Seq],
    /// Whether whoever looks sees money.
    pub(super) money: bool,
    /// How many shells are dry for their next coat.
    pub(super) dry: usize,
    /// Fired shells that were not poured: tag, and when they were fired last.
    pub(super) standing: Vec<(String, Instant)>,
    /// Alloys of which the shells that nothing stands against need more than is on hand: alloy, need, on hand.
    pub(super) short: Vec<(String, Mass, Mass)>,
}

/// One line.
pub(super) struct Reminder {
    /// What it says.
    pub(super) words: String,
    /// Where it leads.
    pub(super) to: String,
}

/// Everything there is to be reminded of, in one call.
pub(super) async fn all(
    read: &mut ReadTx,
    settings: &Settings,
    reads: &Reads,
    now: Instant,
    found: &Found<'_>,
) -> Result<Vec<Reminder>, Problem> {
    let off = settings.value("reminders_off", now);
    let today = settings.day(now);
    let until = today.saturating_add(jiff::Span::new().days(KEEP_DAYS)).to_string();
    let today = today.to_string();
    let on: Vec<&str> = REMINDERS
        .into_iter()
        .filter(|code| !off.as_array().is_some_and(|off| off.iter().any(|o| o == code)))
        .filter(|code| found.money || *code != "payment")
        .collect();
    let unchecked = now.plus_ms(-span(settings, "slurry_check_hours", 3_600_000.0, now));
    let asked: Vec<(&str, Ask)> = on
        .iter()
        .filter_map(|code| {
            let ask = match *code {
                "slurry" => shell::unchecked(unchecked),
                "away" => bench::overdue(&today),
                "keep_until" => pattern::kept_until(&until),
                "payment" => commission::owing(found.open, &today),
                "approval" => casting::unapproved(found.open),
                "crucible" => metal::worn(NEAR_HEATS),
                "backup" => last_copy(),
                _ => return None,
            };
            Some((*code, ask))
        })
        .chain(on.contains(&"approval").then(|| ("jobs", commission::of_clients(found.open))))
        .collect();
    let (codes, asks): (Vec<&str>, Vec<Ask>) = asked.into_iter().unzip();
    let mut lines: Vec<(&str, Reminder)> = Vec::new();
    // Waxes that wait, by job; a job's number and title come after them.
    let mut waiting: Vec<(Seq, i64)> = Vec::new();
    for row in read.fetch_all(asks).await? {
        let code = usize::try_from(row.int(0)?).ok().and_then(|n| codes.get(n)).copied().unwrap_or_default();
        if code == "approval" {
            waiting.push((row.int(1)?, row.int(2)?));
        } else if code == "jobs" {
            let of = waiting.iter().find(|(job, _)| row.int(1).is_ok_and(|seq| seq == *job));
            if let Some((_, waxes)) = of {
                lines.push(("approval", for_approval(&row.text(2)?, &row.text(3)?, *waxes)));
            }
        } else if code == "backup" {
            let long = now.plus_ms(-span(settings, "backup_days", 86_400_000.0, now));
            lines.extend(copy_due(row.opt_int(1)?, row.opt_int(2)?, long, reads).map(|line| (code, line)));
        } else {
            lines.push((code, said(code, &row, reads)?));
        }
    }
    let stood = now.plus_ms(-span(settings, "fired_standing_days", 86_400_000.0, now));
    lines.extend(found.lines(stood, reads));
    Ok(on.iter().flat_map(|code| take(&mut lines, code)).collect())
}

/// How many lines of a kind are said; the rest are counted.
const OF_A_KIND: usize = 4;

/// The lines of a kind, in their order, those beyond the first few as one.
fn take(lines: &mut Vec<(&str, Reminder)>, code: &str) -> Vec<Reminder> {
    let mut all: Vec<Reminder> = lines.extract_if(.., |(of, _)| *of == code).map(|(_, line)| line).collect();
    if all.len() > OF_A_KIND {
        let more = all.len() - (OF_A_KIND - 1);
        let (what, to) = match code {
            "slurry" => ("tanks not checked", "/slurry"),
            "fired" => ("fired shells not poured", "/shells"),
            "approval" => ("jobs with waxes to approve", "/jobs"),
            "away" => ("things due back", "/away"),
            "keep_until" => ("moulds past their day, or near it", "/moulds"),
            "crucible" => ("crucibles near their last heat", "/things"),
            "payment" => ("jobs with money due", "/jobs"),
            _ => ("more of these", "/pages"),
        };
        all.truncate(OF_A_KIND - 1);
        all.push(Reminder { words: format!("and {more} further {what}"), to: to.to_owned() });
    }
    all
}

/// A setting as a span in milliseconds.
#[expect(clippy::cast_possible_truncation, reason = "a setting of at most ten thousand hours or a thousand days")]
fn span(settings: &Settings, name: &str, unit_ms: f64, now: Instant) -> i64 {
    (settings.number(name, now) * unit_ms) as i64
}

/// That waxes of a job wait.
fn for_approval(number: &str, title: &str, waxes: i64) -> Reminder {
    let wait = if waxes == 1 { "1 wax waits".to_owned() } else { format!("{waxes} waxes wait") };
    Reminder { words: format!("{number} {title}: {wait} for approval"), to: format!("/jobs/{}", escape_part(number)) }
}

/// That a copy of the book is due: none was made since `long`.
fn copy_due(done: Option<i64>, begun: Option<i64>, long: Instant, reads: &Reads) -> Option<Reminder> {
    let since = Instant::from_ms(done.or(begun)?);
    let words = match done {
        Some(_) => format!("Last copy of the book made {}; make one with pourbook backup", reads.ago(since)),
        None => "No copy of the book was made yet; make one with pourbook backup".to_owned(),
    };
    (since < long).then(|| Reminder { words, to: String::new() })
}

impl Found<'_> {
    /// What is said of what the page has found already. `stood`: a shell fired before that stands long.
    fn lines(&self, stood: Instant, reads: &Reads) -> Vec<(&'static str, Reminder)> {
        let mut out = Vec::new();
        if self.dry > 0 {
            let words = match self.dry {
                1 => "1 shell is dry for its next coat".to_owned(),
                n => format!("{n} shells are dry for their next coat"),
            };
            out.push(("coat", Reminder { words, to: "/dip".to_owned() }));
        }
        for (tag, fired) in self.standing.iter().filter(|(_, fired)| *fired < stood) {
            let words = format!("Shell {tag}: fired {}, not poured", reads.ago(*fired));
            out.push(("fired", Reminder { words, to: format!("/shells/{}", escape_part(tag)) }));
        }
        for (alloy, need, held) in &self.short {
            let words = format!("{alloy}: fired shells need {}, {} on hand", reads.mass(*need), reads.mass(*held));
            out.push(("alloy", Reminder { words, to: "/metal".to_owned() }));
        }
        out
    }
}

/// One line in words.
fn said(code: &str, row: &Row, reads: &Reads) -> Result<Reminder, Problem> {
    let day = |text: String| text.parse().map_or_else(|_| text.clone(), |day| reads.date(day));
    Ok(match code {
        "slurry" => {
            let last = Instant::from_ms(row.int(3)?);
            let words = format!("{}: not checked for {}", row.text(2)?, reads.ago(last));
            Reminder { words, to: format!("/slurry/{}", row.uuid(1)?) }
        }
        "away" => {
            let words = format!("{}, {}: was due back {}", row.text(2)?, row.text(3)?, day(row.text(4)?));
            Reminder { words, to: "/away".to_owned() }
        }
        "keep_until" => {
            let words = format!("Mould {}: kept until {}", row.text(2)?, day(row.text(3)?));
            Reminder { words, to: format!("/moulds/{}", row.uuid(1)?) }
        }
        "payment" => {
            let number = row.text(1)?;
            let (due, paid) = (reads.money(row.int(3)?), reads.money(row.int(4)?));
            let words = format!("{number} {}: {due} due, {paid} received", row.text(2)?);
            Reminder { words, to: format!("/jobs/{}", escape_part(&number)) }
        }
        _ => {
            let words = format!("Crucible {}: {} heats of {}", row.text(1)?, row.int(2)?, row.int(3)?);
            Reminder { words, to: "/things".to_owned() }
        }
    })
}
