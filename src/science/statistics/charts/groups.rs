//! The chart of groups of more than one: its method, its limits, and what each group says.

use super::control::{Baseline, ControlChart, Group, LimitKind, Limits, Method, Point, Why, bare, rate, small};
use super::p_chart::{CountLimits, at_least, at_most, count_limits, normal_serves, pooled_rate, sigma_z, three_sigma_limits};
use super::signal::Signal;
use super::{BASELINE_GROUPS, TAIL};

/// So many groups together are looked at besides each alone, where groups are small.
pub const RECENT_GROUPS: usize = 6;
/// So many in a row on one side of the centre are a signal (Nelson 1984, rule 2).
const RUN: usize = 9;
/// So many of a baseline's groups beyond two sigma are no accident: the groups differ truly. At
/// one rate 1 of 20 is expected there, and 5 are in 2 of 1,000 baselines. A few bad months, which
/// are signals and no reason to widen limits, do not reach it.
const DIFFER: usize = 5;

/// The chart of groups; those without any keep their place and say nothing.
pub(super) fn chart_of_groups(groups: &[Group]) -> ControlChart {
    let observed: Vec<Group> = groups.iter().copied().filter(|g| g.n > 0).collect();
    let first = observed.get(..BASELINE_GROUPS).unwrap_or(&observed);
    let (method, why) = choose(&observed, first);
    let Some(p) = pooled_rate(first).filter(|_| method != Method::RatesOnly) else {
        return bare(groups, method, why);
    };
    let made = Made { method, why, p, sum: sum(first) };
    let mut points: Vec<Point> = groups.iter().map(|g| made.point(*g)).collect();
    add_runs(&mut points);
    made.add_recent(&mut points);
    let baseline = Baseline { groups: small(first.len()), frozen: first.len() == BASELINE_GROUPS };
    ControlChart { baseline: Some(baseline), points, ..bare(&[], method, why) }
}

fn sum(groups: &[Group]) -> Group {
    groups
        .iter()
        .fold(Group::default(), |all, g| Group { n: all.n.saturating_add(g.n), count: all.count.saturating_add(g.count) })
}

fn choose(observed: &[Group], first: &[Group]) -> (Method, Why) {
    let all = sum(first);
    let Some(p) = pooled_rate(first) else {
        return (Method::RatesOnly, Why::NothingObserved);
    };
    if observed.len() == 1 {
        return (Method::RatesOnly, Why::OneGroup);
    }
    if all.count == 0 {
        return (Method::AgainstClean, Why::NoneInBaseline { of: all.n });
    }
    if all.count == all.n {
        return (Method::AgainstClean, Why::AllInBaseline { of: all.n });
    }
    let large = first.iter().filter(|g| normal_serves(p, g.n)).count();
    if large * 2 <= first.len() {
        return (Method::ExactTails, Why::SmallGroups { large: small(large), of: small(first.len()) });
    }
    let beyond = |g: &&Group| {
        let plain = three_sigma_limits(p, g.n, 2.0, 1.0).zip(rate(**g));
        plain.is_some_and(|(limits, rate)| rate < limits.lower || rate > limits.upper)
    };
    let beyond = first.iter().filter(beyond).count();
    let differ = first.len() == BASELINE_GROUPS && large == first.len() && beyond >= DIFFER;
    match sigma_z(first, p).filter(|_| differ) {
        Some(sigma_z) => {
            let why = Why::GroupsDiffer { sigma_z: sigma_z.max(1.0), beyond: small(beyond), of: small(first.len()) };
            (Method::LaneyP, why)
        }
        None => (Method::PChart, Why::LargeGroups),
    }
}

/// What all points of a chart share.
struct Made {
    method: Method,
    why: Why,
    p: f64,
    /// The baseline in one.
    sum: Group,
}

impl Made {
    fn point(&self, group: Group) -> Point {
        let found = self.limits(group.n);
        let expected = f64::from(group.n) * self.p;
        let mut signals = Vec::new();
        if let Some((counts, _, _)) = found {
            if group.count > counts.upper {
                signals.push(Signal::AboveUpper { count: group.count, of: group.n, expected, most: counts.upper });
            }
            if group.count < counts.lower {
                signals.push(Signal::BelowLower { count: group.count, of: group.n, expected, fewest: counts.lower });
            }
        }
        let (limits, kind) = found.map(|(_, limits, kind)| (limits, kind)).unzip();
        Point { group, rate: rate(group), centre: Some(self.p), limits, kind, signals }
    }

    /// The counts that are no signal, the limits of the rate, and how they were found.
    fn limits(&self, n: u32) -> Option<(CountLimits, Limits, LimitKind)> {
        let sigma_z = match (self.method, self.why) {
            (Method::LaneyP, Why::GroupsDiffer { sigma_z, .. }) => Some(sigma_z),
            (Method::PChart, _) if normal_serves(self.p, n) => Some(1.0),
            _ => None,
        };
        if let Some(sigma_z) = sigma_z {
            let limits = three_sigma_limits(self.p, n, 3.0, sigma_z)?;
            return Some((within(limits, n), limits, LimitKind::ThreeSigma));
        }
        let counts = match self.method {
            Method::AgainstClean => against_clean(self.sum, n)?,
            _ => count_limits(self.p, n, TAIL)?,
        };
        let share = |count: u32| f64::from(count) / f64::from(n);
        Some((counts, Limits { lower: share(counts.lower), upper: share(counts.upper) }, LimitKind::Exact))
    }

    /// The last groups together, where each alone is too small to say much.
    fn add_recent(&self, points: &mut [Point]) {
        if !matches!(self.method, Method::ExactTails | Method::AgainstClean) {
            return;
        }
        let mut recent: Vec<Group> = Vec::new();
        for (at, point) in points.iter_mut().filter(|p| p.group.n > 0).enumerate() {
            // A clean baseline is held against what came after it, not against itself.
            if self.method == Method::AgainstClean && at < BASELINE_GROUPS {
                continue;
            }
            recent.push(point.group);
            let from = recent.len().saturating_sub(RECENT_GROUPS);
            let Group { n: of, count } = sum(&recent[from..]);
            let expected = f64::from(of) * self.p;
            // A group without any adds none to those before it, nor one of nothing else.
            let (some, other) = (point.group.count > 0, point.group.count < point.group.n);
            match self.chances(of, count) {
                _ if recent.len() < 2 => {}
                (chance, _) if chance < TAIL && some => {
                    point.signals.push(Signal::RecentMore { count, of, expected, chance });
                }
                (_, chance) if chance < TAIL && other => {
                    point.signals.push(Signal::RecentFewer { count, of, expected, chance });
                }
                _ => {}
            }
        }
    }

    /// The chances of so many or more, and of so many or fewer, in `n` of one or more groups.
    fn chances(&self, n: u32, count: u32) -> (f64, f64) {
        match (self.method, self.sum.count) {
            (Method::AgainstClean, 0) => (all_among(self.sum.n, n, count), 1.0),
            (Method::AgainstClean, _) => (1.0, all_among(self.sum.n, n, n - count)),
            _ => (at_least(count, n, self.p).unwrap_or(1.0), at_most(count, n, self.p).unwrap_or(1.0)),
        }
    }
}

/// The counts whose rates lie within limits, the limits included.
fn within(limits: Limits, n: u32) -> CountLimits {
    let rate = |count: u32| f64::from(count) / f64::from(n);
    // The product may be one off by rounding; the comparison of rates decides.
    let near = |limit: f64| whole(limit * f64::from(n)).saturating_sub(1);
    let lower = (near(limits.lower)..=n).find(|count| rate(*count) >= limits.lower).unwrap_or(n);
    let upper = (near(limits.upper)..=n).take_while(|count| rate(*count) <= limits.upper).last().unwrap_or(0);
    CountLimits { lower, upper }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a share of a count, not below 0")]
const fn whole(number: f64) -> u32 {
    number as u32
}

/// The chance that of `odd` ones among `m` and `n` together all lie among the n, if they are dealt
/// without regard: n(n − 1)… ∕ (n + m)(n + m − 1)…, `odd` factors each.
fn all_among(m: u32, n: u32, odd: u32) -> f64 {
    let (all, own) = (f64::from(m) + f64::from(n), f64::from(n));
    let mut chance = 1.0;
    for odd in 0..odd.min(n) {
        // Far beyond any tail that is asked for, the rest does not matter.
        if chance < TAIL * f64::EPSILON {
            break;
        }
        chance *= (own - f64::from(odd)) / (all - f64::from(odd));
    }
    chance
}

/// The counts that are no signal in a group of `n` beside a baseline without the outcome, or
/// beside one where all had it.
fn against_clean(baseline: Group, n: u32) -> Option<CountLimits> {
    let most = (1..=n).find(|odd| all_among(baseline.n, n, *odd) < TAIL).map_or(n, |odd| odd - 1);
    (n > 0).then_some(if baseline.count == 0 {
        CountLimits { lower: 0, upper: most }
    } else {
        CountLimits { lower: n - most, upper: n }
    })
}

/// Nelson's second rule, only where counts are nearly even about the centre: at three-sigma
/// limits. A group without any is passed over, one with exact limits breaks the run.
fn add_runs(points: &mut [Point]) {
    let (mut above, mut below) = (0_usize, 0_usize);
    for point in points.iter_mut() {
        let Some((rate, centre)) = point.rate.zip(point.centre) else { continue };
        let even = point.kind == Some(LimitKind::ThreeSigma);
        above = if even && rate > centre { above + 1 } else { 0 };
        below = if even && rate < centre { below + 1 } else { 0 };
        if above >= RUN {
            point.signals.push(Signal::RunAbove { groups: small(above) });
        }
        if below >= RUN {
            point.signals.push(Signal::RunBelow { groups: small(below) });
        }
    }
}
