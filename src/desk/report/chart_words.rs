//! What a chart says, in a caster's words with the figures inside.

use super::outcome::{Outcome, about, many, percent};
use crate::science::statistics::charts::{BASELINE_GROUPS, Baseline, ControlChart, Method, Signal, Why};

/// What stands at one place of a chart.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Per {
    /// The shells of a month.
    Month,
    /// One shell.
    Pour,
}

impl Per {
    /// As callers name it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Month => "month",
            Self::Pour => "pour",
        }
    }
}

/// How many the centre makes expect.
fn expected(count: f64) -> String {
    if count <= 0.0 {
        "none was".to_owned()
    } else if count < 0.95 {
        "fewer than one was".to_owned()
    } else if count < 1.5 {
        "about 1 was".to_owned()
    } else {
        format!("about {count:.0} were")
    }
}

/// A signal explained; `when` is the month in words, or the day of the pour.
pub fn signal(signal: Signal, outcome: Outcome, when: &str, centre: f64) -> String {
    let did = outcome.did();
    match signal {
        Signal::AboveUpper { count, of, expected: want, most } => format!(
            "{when}: {count} of {of} shells {did}, where {} to be expected; up to {most} would be no surprise.",
            expected(want)
        ),
        Signal::BelowLower { count, of, expected: want, fewest } => format!(
            "{when}: only {count} of {of} shells {did}, where {} to be expected; {fewest} or more would be no surprise.",
            expected(want)
        ),
        Signal::RunAbove { groups } => {
            format!("{when} is the last of {groups} months in a row above the usual {}.", percent(centre, f64::INFINITY))
        }
        Signal::RunBelow { groups } => {
            format!("{when} is the last of {groups} months in a row below the usual {}.", percent(centre, f64::INFINITY))
        }
        Signal::RecentMore { count, of, expected: want, .. } => format!(
            "Of the last {of} shells up to {when} {count} {did}, where {} to be expected; luck alone rarely gives so many.",
            expected(want)
        ),
        Signal::RecentFewer { count, of, expected: want, .. } => format!(
            "Of the last {of} shells up to {when} {} {did}, where {} to be expected; luck alone rarely gives so few.",
            if count == 0 { "none".to_owned() } else { format!("only {count}") },
            expected(want)
        ),
        Signal::LongGap { gap, most } => format!(
            "{gap} shells in a row up to {when} without {}; while nothing changes, up to {most} would be no surprise.",
            outcome.one()
        ),
        Signal::LeaksInARow { leaks, .. } => {
            format!("{leaks} shells one directly after another up to {when} {did}; luck alone rarely does that.")
        }
    }
}

/// A signal in so few words that they stand below a drawing.
pub fn brief(signal: Signal) -> String {
    match signal {
        Signal::AboveUpper { .. } => "above its limit".to_owned(),
        Signal::BelowLower { .. } => "below its limit".to_owned(),
        Signal::RunAbove { groups } => format!("{groups} in a row above the centre"),
        Signal::RunBelow { groups } => format!("{groups} in a row below the centre"),
        Signal::RecentMore { count, of, .. } => format!("{count} of the last {of}"),
        Signal::RecentFewer { count, of, .. } => format!("only {count} of the last {of}"),
        Signal::LongGap { gap, .. } => format!("{gap} in a row without"),
        Signal::LeaksInARow { leaks, .. } => format!("{leaks} one after another"),
    }
}

/// How the chart is made, and why so.
pub fn method(chart: &ControlChart, outcome: Outcome) -> String {
    let did = outcome.did();
    match (chart.method, chart.why) {
        (_, Why::NothingObserved) => format!("There are no {} in this time, so there is no rate.", outcome.of()),
        (_, Why::OneGroup) => "There is one month, or one shell, and nothing yet to hold it against.".to_owned(),
        (_, Why::TooFewLeaks { leaks }) => {
            let so_far = if leaks == 0 { "None".to_owned() } else { leaks.to_string() };
            format!("{so_far} {did} so far: limits of what lies between them need three.")
        }
        (Method::GChart, _) | (_, Why::SinglePours) => {
            let limits = chart.gap_limits.map_or_else(String::new, |limits| {
                format!(
                    " On average {} do; while nothing changes, up to {} would be no surprise.",
                    about(limits.mean_gap),
                    limits.upper
                )
            });
            format!("Shells are watched one by one: how many sound ones lie between two that {did}.{limits}")
        }
        (_, Why::LargeGroups) => {
            "Months are large enough for limits of three standard deviations about the rate of the baseline.".to_owned()
        }
        (_, Why::SmallGroups { large, of }) => format!(
            "Months are small: in {} of {} as many as 5 were to be expected. So the limits are counted out exactly; luck alone passes each about once in 740 months.",
            if large == 0 { "none".to_owned() } else { large.to_string() },
            many(of.into(), "month")
        ),
        (_, Why::GroupsDiffer { sigma_z, beyond, of }) => format!(
            "Months differ more than luck makes them ({beyond} of {of} lie beyond two standard deviations), so limits are {} times as wide.",
            about(sigma_z)
        ),
        (_, Why::NoneInBaseline { of }) => {
            format!("None of the {of} shells of the baseline {did}, so months are held against that by exact counts.")
        }
        (_, Why::AllInBaseline { of }) => {
            format!("All {of} shells of the baseline {did}, so months are held against that by exact counts.")
        }
    }
}

/// What the limits come from.
pub fn baseline(baseline: Baseline, gaps: bool) -> String {
    let of = if gaps { "gap" } else { "month" };
    let count = many(baseline.groups.into(), of);
    if baseline.frozen {
        format!("The limits come from the first {count} and stay. After a lasting change, ask from its day on.")
    } else {
        format!("The limits are provisional: they come from the {count} there are, and stay once there are {BASELINE_GROUPS}.")
    }
}

/// What is still running.
pub fn running(sound: u32, outcome: Outcome, any: bool) -> String {
    let count = many(sound.into(), "sound shell");
    if any {
        format!("{count} since the last one that {}: that run goes on and is in no average.", outcome.did())
    } else {
        format!("{count} so far, none that {}.", outcome.did())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_signal_is_a_sentence_with_its_figures() {
        let said = |s: Signal| signal(s, Outcome::Leak, "March 2026", 0.08);
        let (expected, chance) = (4.2, 0.001);
        assert_eq!(
            said(Signal::AboveUpper { count: 6, of: 40, expected: 2.1, most: 5 }),
            "March 2026: 6 of 40 shells leaked, where about 2 were to be expected; up to 5 would be no surprise."
        );
        assert_eq!(
            said(Signal::AboveUpper { count: 3, of: 4, expected: 0.0, most: 1 }),
            "March 2026: 3 of 4 shells leaked, where none was to be expected; up to 1 would be no surprise."
        );
        assert_eq!(said(Signal::RunBelow { groups: 9 }), "March 2026 is the last of 9 months in a row below the usual 8.0 %.");
        assert_eq!(
            said(Signal::RecentFewer { count: 0, of: 58, expected, chance }),
            "Of the last 58 shells up to March 2026 none leaked, where about 4 were to be expected; luck alone rarely gives so few."
        );
        assert_eq!(
            said(Signal::LongGap { gap: 41, most: 40 }),
            "41 shells in a row up to March 2026 without a leak; while nothing changes, up to 40 would be no surprise."
        );
        let all = [
            Signal::BelowLower { count: 0, of: 90, expected, fewest: 1 },
            Signal::RunAbove { groups: 9 },
            Signal::RecentMore { count: 9, of: 20, expected, chance },
            Signal::LeaksInARow { leaks: 4, chance },
        ];
        for signal in all {
            let (long, short) = (said(signal), brief(signal));
            assert!(long.ends_with('.') && long.contains("March 2026"), "{long}");
            assert!(short.len() <= 34, "{short}");
        }
    }
}
