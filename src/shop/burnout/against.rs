//! What is on record against pouring a shell.

use crate::book::story::Story;
use crate::kernel::{Instant, Kind, Seq};
use crate::shop::house::settings::Settings;
use crate::shop::house::shown::flag_words;

/// What is on record against pouring a shell that was fired; nothing else is said of it.
#[must_use]
pub fn against(story: &Story, settings: &Settings, shell: Seq, flags: &[(Seq, String)], now: Instant) -> Vec<String> {
    let mut out: Vec<String> = flags.iter().filter(|(of, _)| *of == shell).map(|(_, code)| flag_words(code).to_owned()).collect();
    let lines = story.on_shell(shell);
    let id = story.shell(shell).map(|l| l.id.to_string()).unwrap_or_default();
    let fire = settings.number("moisture_fire_c", now);
    let fired = lines.iter().rfind(|l| l.kind == Kind::Burnout && l.body["purpose"] != "dewax");
    let result = lines.iter().rfind(|l| l.kind == Kind::Burnout).and_then(|l| {
        let rows = l.body["shells"].as_array()?;
        rows.iter().find(|row| row["shell_id"] == id.as_str())?["result"].as_str()
    });
    let wetted = lines.iter().filter(|l| matches!(l.kind, Kind::Coat | Kind::Patch)).map(|l| l.at).max();
    let patched = lines.iter().filter(|l| l.kind == Kind::Patch).map(|l| l.at).max();
    match fired {
        None => out.push("no firing on record".to_owned()),
        Some(last) => {
            if wetted.is_some_and(|at| at > last.at) {
                out.push("coated or patched since it was fired".to_owned());
            } else if last.body["peak_c"].as_f64().is_some_and(|peak| peak < fire) {
                out.push("not fired hot enough to drive moisture off".to_owned());
            }
            if result == Some("cracked") && patched.is_none_or(|at| at < last.at) {
                out.push("came out cracked, no patch on record".to_owned());
            }
        }
    }
    if result.is_none() && fired.is_some() {
        out.push("not yet said whether it came out sound".to_owned());
    }
    out
}
