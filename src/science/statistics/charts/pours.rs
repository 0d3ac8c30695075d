//! The chart of single pours: gaps between leaks, leaks directly one after another, and the leaks
//! among the last pours.

use super::control::{Baseline, ControlChart, Gap, Group, Method, Why, bare, small};
use super::g_chart::{GLimits, g_limits};
use super::p_chart::at_least;
use super::signal::Signal;
use super::{BASELINE_GROUPS, TAIL};

/// So many pours, the leak at hand the last of them, are looked at together.
pub const RECENT_POURS: usize = 20;

/// The chart of pours that come singly; places without any are passed over.
///
/// The limits come from the first [`BASELINE_GROUPS`] gaps between leaks, from all while there
/// are fewer. Pours before the first leak and after the last are no gap between leaks and in no
/// mean; a run of sound pours still says so once it is longer than the upper limit.
pub(super) fn chart_of_pours(groups: &[Group]) -> ControlChart {
    let gaps = gaps(groups);
    let sound: Vec<u32> = gaps.iter().map(|gap| gap.sound).collect();
    let first = sound.get(..BASELINE_GROUPS).unwrap_or(&sound);
    let leaks = small(groups.iter().filter(|g| g.count > 0).count());
    let limits = g_limits(first, 2.0 * TAIL).filter(|_| first.len() > 1);
    let why = if limits.is_some() { Why::SinglePours } else { Why::TooFewLeaks { leaks } };
    let mut chart = bare(groups, if limits.is_some() { Method::GChart } else { Method::RatesOnly }, why);
    chart.running = Some(small(groups.iter().rev().take_while(|g| g.count == 0).filter(|g| g.n > 0).count()));
    if let Some(limits) = limits {
        chart.baseline = Some(Baseline { groups: small(first.len()), frozen: first.len() == BASELINE_GROUPS });
        judge(&mut chart, &limits);
    }
    chart.gaps = gaps;
    chart.gap_limits = limits;
    chart
}

/// The finished gaps between leaks.
fn gaps(groups: &[Group]) -> Vec<Gap> {
    let mut out = Vec::new();
    let mut running = None;
    for (at, group) in groups.iter().enumerate().filter(|(_, g)| g.n > 0) {
        if group.count > 0 {
            out.extend(running.map(|sound| Gap { ended: at, sound }));
            running = Some(0_u32);
        } else {
            running = running.map(|sound| sound.saturating_add(1));
        }
    }
    out
}

/// Every signal of pours, on the pour that completes it.
fn judge(chart: &mut ControlChart, limits: &GLimits) {
    let p = limits.p;
    let (mut sound, mut in_a_row) = (0_u32, 0_u32);
    let mut recent: Vec<bool> = Vec::new();
    for point in &mut chart.points {
        point.centre = Some(p);
        if point.group.n == 0 {
            continue;
        }
        let leaked = point.group.count > 0;
        recent.push(leaked);
        if !leaked {
            (sound, in_a_row) = (sound.saturating_add(1), 0);
            // Said once in a gap, by the pour that makes it too long.
            if u64::from(sound) == limits.upper.saturating_add(1) {
                point.signals.push(Signal::LongGap { gap: sound, most: limits.upper });
            }
            continue;
        }
        (sound, in_a_row) = (0, in_a_row.saturating_add(1));
        let zeros = in_a_row - 1;
        if limits.zeros_to_signal.is_some_and(|needed| u64::from(zeros) >= needed) {
            point.signals.push(Signal::LeaksInARow { leaks: in_a_row, chance: p.powf(f64::from(zeros)) });
        }
        point.signals.extend(recent_more(&recent, p));
    }
}

/// Whether the last pours have more leaks than luck gives.
fn recent_more(pours: &[bool], p: f64) -> Option<Signal> {
    let window = pours.len().checked_sub(RECENT_POURS).and_then(|from| pours.get(from..)).unwrap_or(pours);
    let (of, count) = (small(window.len()), small(window.iter().filter(|leaked| **leaked).count()));
    let chance = at_least(count, of, p).filter(|chance| *chance < TAIL)?;
    Some(Signal::RecentMore { count, of, expected: f64::from(of) * p, chance })
}
