//! What the start page reminds of; each kind may be switched off by the setting `reminders_off`.

use crate::db::{Read as _, ReadTx, Row};
use crate::kernel::{Instant, Problem, Seq};
use crate::shop::house::settings::{REMINDERS, Settings};
use crate::shop::house::shown::Shown as Reads;
use crate::shop::{bench, commission, metal, pattern, shell};
use crate::web::page::escape_part;

/// How many days before its day a mould is spoken of.
const KEEP_DAYS: i32 = 30;

/// How many heats before its last a crucible is spoken of.
const NEAR_HEATS: i64 = 3;

/// One line.
pub(super) struct Reminder {
    /// What it says.
    pub(super) words: String,
    /// Where it leads.
    pub(super) to: String,
}

/// Everything there is to be reminded of, in one call. `open`: jobs with castings in the shop; `money`:
/// whether whoever looks sees money.
pub(super) async fn all(
    read: &mut ReadTx,
    settings: &Settings,
    reads: &Reads,
    now: Instant,
    open: &[Seq],
    money: bool,
) -> Result<Vec<Reminder>, Problem> {
    let off = settings.value("reminders_off", now);
    let today = settings.day(now);
    #[expect(clippy::cast_possible_truncation, reason = "a setting of at most ten thousand hours")]
    let unchecked = (settings.number("slurry_check_hours", now) * 3_600_000.0) as i64;
    let until = today.saturating_add(jiff::Span::new().days(KEEP_DAYS)).to_string();
    let today = today.to_string();
    let on: Vec<&str> = REMINDERS
        .into_iter()
        .filter(|code| !off.as_array().is_some_and(|off| off.iter().any(|o| o == code)))
        .filter(|code| money || *code != "payment")
        .collect();
    let asks = on
        .iter()
        .map(|code| match *code {
            "slurry" => shell::unchecked(now.plus_ms(-unchecked)),
            "away" => bench::overdue(&today),
            "keep_until" => pattern::kept_until(&until),
            "payment" => commission::owing(open, &today),
            _ => metal::worn(NEAR_HEATS),
        })
        .collect();
    let mut out = Vec::new();
    for row in read.fetch_all(asks).await? {
        let code = usize::try_from(row.int(0)?).ok().and_then(|n| on.get(n)).copied().unwrap_or_default();
        out.push(said(code, &row, reads)?);
    }
    Ok(out)
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
