//! Watching a rate or a measured thing over time.
//!
//! | chart | for | source |
//! | --- | --- | --- |
//! | [`g_chart`] | rare events, poured one by one: sound pours between leaks | Kaminsky 1992; Benneyan 2001 |
//! | [`t_chart`] | rare events of which only dates are known | Nelson 1994 |
//! | [`p_chart`] | a rate by month; exact tails where months are small | NIST 6.3.3.2 |
//! | [`p_chart::sigma_z`] | large months that truly differ | Laney 2002 |
//! | [`ewma`] | measured things that drift | Roberts 1959; NIST 6.3.2.4 |
//! | [`rules`] | patterns of points on any of the symmetric charts | Nelson 1984; Western Electric 1956 |
//!
//! [`control_chart`] chooses among the charts of a rate and says why. Limits come from a
//! baseline that is frozen once it holds [`BASELINE_GROUPS`] groups, so that bad months do not
//! widen their own limits.

pub mod control;
pub mod ewma;
pub mod g_chart;
pub mod groups;
pub mod p_chart;
pub mod pours;
pub mod rules;
pub mod signal;
pub mod t_chart;

pub use control::{Baseline, ControlChart, Gap, Group, LimitKind, Limits, Method, Point, Unfit, Why, control_chart};
pub use ewma::{Ewma, EwmaPoint, ewma_chart};
pub use g_chart::{GLimits, g_limits, g_limits_at, g_three_sigma};
pub use p_chart::{CountLimits, count_limits, pooled_rate, sigma_z, three_sigma_limits};
pub use rules::{Rule, run_rules};
pub use signal::Signal;
pub use t_chart::{TChart, t_chart};

/// So many groups make a baseline; fewer make a provisional one (common practice: 20 to 25).
pub const BASELINE_GROUPS: usize = 20;
/// The chance of a false signal on either side of a three-sigma chart of normal values,
/// `1 − Φ(3)` rounded as it is in the trade: the tail that exact limits keep to.
pub const TAIL: f64 = 0.00135;

#[cfg(test)]
mod tests;
