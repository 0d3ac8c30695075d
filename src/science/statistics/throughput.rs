//! Rolled throughput yield: the chance to come through every stage untouched.

use serde::Serialize;
use utoipa::ToSchema;

/// One stage of the route, counted in castings.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Stage {
    /// Castings that entered it.
    pub entered: u32,
    /// Castings that left it without loss or rework.
    pub right_first_time: u32,
}

/// The yields of a route.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct RolledYield {
    /// First-pass yield of each stage, in order, between 0 and 1.
    pub stages: Vec<f64>,
    /// Their product.
    pub rolled: f64,
    /// The stage yield that, the same at every stage, would give the same product.
    pub normalised: f64,
    /// Defects per casting that would give the same product if they fell by chance:
    /// `−ln(rolled)`. Absent when nothing came through.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub defects_per_unit: Option<f64>,
}

/// The rolled throughput yield of a route: the product over its stages of
/// `right_first_time / entered` (Harry & Schroeder 2000, Six Sigma; normalised
/// yield is its m-th root).
///
/// `None` without stages, where nothing entered one of them (there is no rate at
/// n = 0), or where more left than entered.
#[must_use]
pub fn rolled_throughput(stages: &[Stage]) -> Option<RolledYield> {
    let yields = stages
        .iter()
        .map(|stage| {
            (stage.entered > 0 && stage.right_first_time <= stage.entered)
                .then(|| f64::from(stage.right_first_time) / f64::from(stage.entered))
        })
        .collect::<Option<Vec<f64>>>()?;
    let root = f64::from(u32::try_from(yields.len()).ok().filter(|count| *count > 0)?);
    let rolled = yields.iter().product::<f64>();
    Some(RolledYield {
        stages: yields,
        rolled,
        normalised: rolled.powf(1.0 / root),
        // Added to 0 so that a perfect route reads 0 and not −0.
        defects_per_unit: (rolled > 0.0).then(|| 0.0 - rolled.ln()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stage_that_nothing_entered_leaves_no_yield() {
        let stage = |entered, right_first_time| Stage { entered, right_first_time };
        assert_eq!(rolled_throughput(&[]), None);
        assert_eq!(rolled_throughput(&[stage(4, 4), stage(0, 0)]), None);
        assert_eq!(rolled_throughput(&[stage(4, 5)]), None);
        let lost = rolled_throughput(&[stage(4, 4), stage(4, 0)]).unwrap();
        assert_eq!(lost.defects_per_unit, None);
    }
}
