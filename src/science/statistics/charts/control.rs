//! One chart of a rate, from groups in their order: the method is chosen by the data, and said.
//!
//! How often it gives a signal while nothing has changed, with a frozen baseline (simulated): 1
//! small month in 160, 1 large month in 75, 1 single pour in 2,400. The error of the baseline
//! itself is the larger part of that.

use serde::Serialize;
use utoipa::ToSchema;

use super::g_chart::GLimits;
use super::groups::chart_of_groups;
use super::pours::chart_of_pours;
use super::signal::Signal;

/// What was observed in one group: a month, or a single pour.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, ToSchema)]
pub struct Group {
    /// How many were observed.
    pub n: u32,
    /// How many of them had the outcome.
    pub count: u32,
}

/// Two limits of a rate, between 0 and 1.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, ToSchema)]
pub struct Limits {
    /// The lower.
    pub lower: f64,
    /// The upper.
    pub upper: f64,
}

/// How the chart is made.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// Rates only; there is nothing to hold them against.
    RatesOnly,
    /// Gaps between leaks, pour by pour (Kaminsky 1992; Benneyan 2001).
    GChart,
    /// Three sigma about the pooled rate (NIST 6.3.3.2); exact tails at the small groups.
    PChart,
    /// Exact binomial tails of 0.135 % at every group.
    ExactTails,
    /// The p-chart with limits widened by how much the groups truly differ (Laney 2002).
    LaneyP,
    /// Exact tails of a group against a baseline that is all good, or all bad (Fisher 1935): the
    /// chance that the odd ones among both fall into this group.
    AgainstClean,
}

/// Why it is made so.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, ToSchema)]
#[serde(tag = "why", rename_all = "snake_case")]
pub enum Why {
    /// Nothing was observed.
    NothingObserved,
    /// One group alone.
    OneGroup,
    /// Pours come singly, so that gaps can be counted.
    SinglePours,
    /// Pours come singly, but fewer than two gaps lie between leaks.
    TooFewLeaks {
        /// How many leaks.
        leaks: u32,
    },
    /// In most groups of the baseline at least 5 are expected.
    LargeGroups,
    /// In most groups of the baseline fewer than 5 are expected.
    SmallGroups {
        /// How many of the baseline's groups are large enough.
        large: u32,
        /// Of how many.
        of: u32,
    },
    /// All groups of the baseline are large, and so many of them lie beyond two sigma that they
    /// differ truly.
    GroupsDiffer {
        /// How many times as wide the limits are, at least 1.
        sigma_z: f64,
        /// How many of the baseline's groups lie beyond two sigma.
        beyond: u32,
        /// Of how many.
        of: u32,
    },
    /// Nothing in the baseline had the outcome.
    NoneInBaseline {
        /// How many were observed in it.
        of: u32,
    },
    /// Everything in the baseline had the outcome.
    AllInBaseline {
        /// How many were observed in it.
        of: u32,
    },
}

/// What the limits come from.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct Baseline {
    /// How many groups (gaps, of single pours) it holds, from the first on.
    pub groups: u32,
    /// Whether it is frozen: it holds enough, and later groups do not enter it. If not, the
    /// limits are provisional and move with every group.
    pub frozen: bool,
}

/// How the limits of one point were found.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum LimitKind {
    /// Three standard deviations from the centre.
    ThreeSigma,
    /// From the exact chances of counts.
    Exact,
}

/// One group on the chart.
#[derive(Clone, PartialEq, Debug)]
pub struct Point {
    /// What was observed.
    pub group: Group,
    /// The rate; `None` at n = 0.
    pub rate: Option<f64>,
    /// The rate of the baseline; `None` where there is none.
    pub centre: Option<f64>,
    /// The limits of the rate; a rate on a limit is no signal. `None` where there are none: at
    /// n = 0, and of single pours, whose limits are those of gaps.
    pub limits: Option<Limits>,
    /// How they were found.
    pub kind: Option<LimitKind>,
    /// What the point says.
    pub signals: Vec<Signal>,
}

/// A gap between two leaks, of single pours.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct Gap {
    /// The place (from 0) of the leak that ended it.
    pub ended: usize,
    /// Sound pours in it.
    pub sound: u32,
}

/// A chart of a rate over time.
#[derive(Clone, PartialEq, Debug)]
pub struct ControlChart {
    /// How it is made.
    pub method: Method,
    /// Why so.
    pub why: Why,
    /// What the limits come from; `None` where there are none.
    pub baseline: Option<Baseline>,
    /// The groups, in the order handed in.
    pub points: Vec<Point>,
    /// Of single pours: the finished gaps.
    pub gaps: Vec<Gap>,
    /// Of single pours: the sound ones since the last leak, or since the start. It is still
    /// running, and in no mean.
    pub running: Option<u32>,
    /// Of single pours: the limits of gaps.
    pub gap_limits: Option<GLimits>,
}

/// A group that cannot be.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Unfit {
    /// More counted than observed in the group at this place (from 0).
    CountAboveN {
        /// Which group.
        at: usize,
    },
}

/// The chart of a rate, groups in their order.
///
/// Where every group is a single pour, it is a chart of gaps. Else the limits come from the
/// first [`BASELINE_GROUPS`](super::BASELINE_GROUPS) groups with anything in them (from all while there are fewer):
/// three sigma where at least 5 leaks and 5 sound ones are expected in most of them, widened
/// after Laney where they differ truly, else exact tails. A baseline of all sound ones has no p
/// to compute tails with; groups are then held against it by counts alone. Whoever wants another
/// baseline, after a lasting change, hands in the groups from there on.
pub fn control_chart(groups: &[Group]) -> Result<ControlChart, Unfit> {
    if let Some(at) = groups.iter().position(|g| g.count > g.n) {
        return Err(Unfit::CountAboveN { at });
    }
    let observed = || groups.iter().filter(|g| g.n > 0);
    let singly = observed().count() > 1 && observed().all(|g| g.n == 1);
    Ok(if singly { chart_of_pours(groups) } else { chart_of_groups(groups) })
}

/// A chart with nothing but rates.
pub(super) fn bare(groups: &[Group], method: Method, why: Why) -> ControlChart {
    let point = |g: &Group| Point { group: *g, rate: rate(*g), centre: None, limits: None, kind: None, signals: Vec::new() };
    ControlChart {
        method,
        why,
        baseline: None,
        points: groups.iter().map(point).collect(),
        gaps: Vec::new(),
        running: None,
        gap_limits: None,
    }
}

pub(super) fn rate(group: Group) -> Option<f64> {
    (group.n > 0).then(|| f64::from(group.count) / f64::from(group.n))
}

/// A length as a count.
pub(super) fn small(length: usize) -> u32 {
    u32::try_from(length).unwrap_or(u32::MAX)
}
