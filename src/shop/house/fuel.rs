//! How fuel is told: by its price, its mass, what its bottles weighed, or current; by one of them.

use crate::kernel::{Fault, Mass, Problem};

/// What a record says of its fuel.
#[derive(Clone, Copy, Debug, Default)]
pub struct Fuel {
    /// Whether its price, mass or current is told.
    pub told: bool,
    /// The bottles before.
    pub before: Option<Mass>,
    /// The bottles after.
    pub after: Option<Mass>,
}

impl Fuel {
    /// Whether it can be so.
    ///
    /// # Errors
    /// `invalid`, where bottles are weighed once only, grew heavier, or say it a second time.
    pub fn check(self) -> Result<(), Problem> {
        let fault = |pointer: &str, code, message: &str| Fault { pointer: pointer.into(), code, message: message.into() };
        let mut faults = Vec::new();
        match (self.before, self.after) {
            (Some(before), Some(after)) if after > before => faults.push(fault(
                "/bottles_after_kg",
                "heavier",
                "The bottles weigh more after than before. Was one changed? Then give what was burnt as fuel_kg.",
            )),
            (Some(_), None) => faults.push(fault("/bottles_after_kg", "required", "Give what the bottles weigh after, too.")),
            (None, Some(_)) => faults.push(fault("/bottles_before_kg", "required", "Give what the bottles weighed before, too.")),
            _ => {}
        }
        if self.told && (self.before.is_some() || self.after.is_some()) {
            faults.push(fault("/bottles_before_kg", "one-of", "Fuel is told in another way already; leave one of them out."));
        }
        if faults.is_empty() { Ok(()) } else { Err(Problem::invalid(faults)) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bottles_are_weighed_twice_and_grow_lighter() {
        let mg = |mg| Some(Mass::from_mg(mg));
        let codes = |told, before, after| {
            let problem = Fuel { told, before, after }.check().err();
            problem.map_or_else(Vec::new, |p| p.faults.iter().map(|f| (f.pointer.clone(), f.code)).collect::<Vec<_>>())
        };
        assert!(codes(false, None, None).is_empty() && codes(true, None, None).is_empty());
        assert!(codes(false, mg(24), mg(24)).is_empty());
        assert_eq!(codes(false, mg(24), mg(25)), [("/bottles_after_kg".to_owned(), "heavier")]);
        assert_eq!(codes(false, mg(24), None), [("/bottles_after_kg".to_owned(), "required")]);
        assert_eq!(
            codes(true, None, mg(3)),
            [("/bottles_before_kg".to_owned(), "required"), ("/bottles_before_kg".to_owned(), "one-of")]
        );
    }
}
