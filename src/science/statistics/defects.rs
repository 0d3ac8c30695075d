//! Defects counted over castings that can have several.

/// Defects per unit and per opportunity.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct DefectsPer {
    /// Defects per unit.
    pub unit: f64,
    /// Defects per opportunity.
    pub opportunity: f64,
    /// Defects per million opportunities.
    pub million: f64,
    /// The share of units without any, if defects fell at random: `exp(−DPU)`.
    pub throughput_yield: f64,
}

/// Defects per unit, per opportunity and per million of them (`D ∕ U`, `D ∕ (U O)`;
/// Montgomery, *Introduction to Statistical Quality Control*). `None` without units or
/// opportunities.
#[must_use]
pub fn defects_per(defects: u32, units: u32, opportunities_per_unit: u32) -> Option<DefectsPer> {
    if units == 0 || opportunities_per_unit == 0 {
        return None;
    }
    let unit = f64::from(defects) / f64::from(units);
    let opportunity = unit / f64::from(opportunities_per_unit);
    Some(DefectsPer { unit, opportunity, million: opportunity * 1e6, throughput_yield: (-unit).exp() })
}

/// Yields that follow from defects per unit, if these fell at random.
#[derive(Clone, PartialEq, Debug)]
pub struct PoissonYield {
    /// The yield of each step, in order.
    pub steps: Vec<f64>,
    /// Their product.
    pub rolled: f64,
    /// Defects per unit over all steps.
    pub total_defects_per_unit: f64,
}

/// The zero-defect yield of steps by Poisson's law, `exp(−DPU)` each, and their product
/// (Harry 2004). Foundry defects cluster, so a counted first-pass yield is to be preferred
/// where there is one. `None` without steps, or where a figure is below 0 or no number.
#[must_use]
pub fn poisson_yield(defects_per_unit: &[f64]) -> Option<PoissonYield> {
    if defects_per_unit.is_empty() || !defects_per_unit.iter().all(|d| *d >= 0.0 && d.is_finite()) {
        return None;
    }
    let total: f64 = defects_per_unit.iter().sum();
    Some(PoissonYield {
        steps: defects_per_unit.iter().map(|d| (-d).exp()).collect(),
        rolled: (-total).exp(),
        total_defects_per_unit: total,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_units_or_with_less_than_none_there_is_nothing() {
        assert_eq!((defects_per(1, 0, 1), defects_per(1, 1, 0)), (None, None));
        assert_eq!((poisson_yield(&[]), poisson_yield(&[0.1, -0.1]), poisson_yield(&[f64::NAN])), (None, None, None));
    }
}
