//! Practice flags of pours: moisture not driven off, shell cool or hot for its section,
//! metal outside the alloy's window.

use crate::book::flags::{self, Flag};
use crate::book::story::{self, Line, Story};
use crate::db::WriteTx;
use crate::kernel::{Instant, Kind, Precision, Problem, Seq};
use crate::science::trade::Alloy;
use crate::shop::casting;
use crate::shop::house::settings::{self, Settings};
use crate::shop::house::trade::{self, Trade};
use std::pin::Pin;

/// The settler of the flags of pours.
pub fn settle<'t>(tx: &'t mut WriteTx) -> Pin<Box<dyn Future<Output = Result<(), Problem>> + Send + 't>> {
    Box::pin(async move {
        let story = story::touched(tx).await?;
        let pours: Vec<(Seq, &Line)> = story
            .shells()
            .into_iter()
            .flat_map(|shell| story.on_shell(shell).into_iter().filter(|l| l.kind == Kind::Pour).map(move |l| (shell, l)))
            .collect();
        if pours.is_empty() {
            return Ok(());
        }
        let (settings, trade) = (settings::of(tx).await?, trade::of(tx).await?);
        let known = pours.iter().any(|(_, l)| l.body["shell_c"].is_number());
        // Of all castings in the shell, whichever of them was touched.
        let sections = if known { casting::thinnest_in(tx, &story.shells()).await? } else { Vec::new() };
        let settled: Vec<(Seq, Vec<Flag>)> = pours
            .iter()
            .map(|(shell, line)| {
                let thinnest = sections.iter().find(|(seq, _)| seq == shell).map(|(_, mm)| *mm);
                (line.seq, of_pour(&story, &settings, &trade, *shell, line, thinnest))
            })
            .collect();
        flags::write(tx, &settled);
        Ok(())
    })
}

/// The flags of one pour; `thinnest` is the thinnest section in the shell, in mm.
#[must_use]
pub fn of_pour(story: &Story, settings: &Settings, trade: &Trade, shell: Seq, pour: &Line, thinnest: Option<f64>) -> Vec<Flag> {
    let mut out = Vec::new();
    out.extend(moisture(story, settings, shell, pour));
    let alloy = pour.body["heat_id"]
        .as_str()
        .and_then(|id| story.context(id))
        .and_then(|heat| heat.body["alloy"].as_str())
        .and_then(|code| trade.alloy_on(code, settings.day(pour.at)));
    if let Some(alloy) = alloy {
        if let Some(was) = pour.body["metal_c"].as_f64() {
            out.extend(metal_window(alloy, was));
        }
        if let Some(was) = pour.body["shell_c"].as_f64() {
            out.extend(shell_window(settings, alloy, thinnest, was, pour.at));
        }
    }
    out
}

/// Moisture: no firing hot enough since the last coat or patch; or stood cold too long after
/// firing without preheat; or too cool at the pour (common practice, no source).
fn moisture(story: &Story, settings: &Settings, shell: Seq, pour: &Line) -> Option<Flag> {
    let at = pour.at;
    let fire = settings.number("moisture_fire_c", at);
    let least = settings.number("shell_dry_c", at);
    let before: Vec<&Line> = story.on_shell(shell).into_iter().filter(|l| l.at <= at && l.seq != pour.seq).collect();
    if let Some(was) = pour.body["shell_c"].as_f64()
        && was < least
    {
        return Some(Flag::new("moisture", format!("shell at {least} °C or more"), format!("{was} °C")));
    }
    let wetted = before.iter().filter(|l| matches!(l.kind, Kind::Coat | Kind::Patch)).map(|l| l.at).max();
    let fired = before.iter().rfind(|l| l.kind == Kind::Burnout && l.body["peak_c"].as_f64().is_some_and(|c| c >= fire));
    let any_fire = before.iter().any(|l| l.kind == Kind::Burnout);
    let unknown = before.iter().any(|l| l.kind == Kind::Burnout && !l.body["peak_c"].is_number());
    match fired {
        // What was not written down is said by "not on record", never flagged as wet.
        None if !any_fire || unknown => None,
        None => Some(Flag::new("moisture", format!("fired at {fire} °C or more"), "not fired so hot")),
        Some(last) if wetted.is_some_and(|w| w > last.at) => Some(Flag::new(
            "moisture",
            format!("fired at {fire} °C or more since the last coat or patch"),
            "coated or patched since",
        )),
        Some(last) => stood_cold(settings, &before, last, pour),
    }
}

fn stood_cold(settings: &Settings, before: &[&Line], fired: &Line, pour: &Line) -> Option<Flag> {
    let hours = settings.number("moisture_stand_hours", pour.at);
    let out_at = |l: &Line| l.body["out_at"].as_str().and_then(Instant::parse).unwrap_or(l.at);
    let preheated = before.iter().any(|l| l.kind == Kind::Preheat && l.at >= fired.at);
    let known = [fired.precision, pour.precision].iter().all(|p| *p != Precision::Day);
    let straight_out = pour.body["shell_out_at"].as_str().and_then(Instant::parse).is_some_and(|out| out >= fired.at);
    if preheated || !known || straight_out {
        return None;
    }
    let stood = pour.at.hours_since(out_at(fired));
    (stood > hours).then(|| Flag::new("moisture", format!("at most {hours} h cold without preheat"), format!("{stood:.1} h")))
}

fn metal_window(alloy: &Alloy, was: f64) -> Option<Flag> {
    let (low, high) = (alloy.pour_min_c?, alloy.pour_max_c?);
    if (low..=high).contains(&was) {
        return None;
    }
    let code = if was < low { "metal_cool" } else { "metal_hot" };
    Some(Flag::new(code, format!("{low} to {high} °C"), format!("{was} °C")))
}

/// Windows of the shell: wide defaults, settings of the shop.
fn shell_window(settings: &Settings, alloy: &Alloy, section_mm: Option<f64>, was: f64, at: Instant) -> Option<Flag> {
    let number = |name| settings.number(name, at);
    if alloy.family.is_aluminium() {
        let (low, high) = (number("aluminium_shell_low_c"), number("aluminium_shell_high_c"));
        if (low..=high).contains(&was) {
            return None;
        }
        let code = if was < low { "shell_cool" } else { "shell_hot" };
        return Some(Flag::new(code, format!("{low} to {high} °C"), format!("{was} °C")));
    }
    let section = section_mm?;
    let (cool, thin) = (number("shell_cool_c"), number("thin_section_mm"));
    let (hot, heavy) = (number("shell_hot_c"), number("heavy_section_mm"));
    if section < thin && was < cool {
        return Some(Flag::new("shell_cool", format!("{cool} °C or more under {thin} mm"), format!("{was} °C at {section} mm")));
    }
    (section >= heavy && was > hot)
        .then(|| Flag::new("shell_hot", format!("at most {hot} °C from {heavy} mm"), format!("{was} °C at {section} mm")))
}
