//! A count of events out of a number observed, held to make sense.

use super::binomial::Rate;

/// `events` out of `of` observed; never more events than observed.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Arm {
    events: u32,
    of: u32,
}

impl Arm {
    /// `None` where there are more events than were observed.
    #[must_use]
    pub const fn new(events: u32, of: u32) -> Option<Self> {
        if events <= of { Some(Self { events, of }) } else { None }
    }

    /// How many had it.
    #[must_use]
    pub const fn events(self) -> u32 {
        self.events
    }

    /// Out of how many observed.
    #[must_use]
    pub const fn of(self) -> u32 {
        self.of
    }

    /// How many did not have it.
    #[must_use]
    pub const fn spared(self) -> u32 {
        self.of - self.events
    }

    /// Both together; a sum that no `u32` holds stands at the largest.
    #[must_use]
    pub const fn with(self, other: Self) -> Self {
        let of = self.of.saturating_add(other.of);
        let events = self.events.saturating_add(other.events);
        Self { events: if events < of { events } else { of }, of }
    }

    /// The plain share of events. `None` where nothing was observed.
    #[must_use]
    pub fn share(self) -> Option<f64> {
        (self.of > 0).then(|| f64::from(self.events) / f64::from(self.of))
    }

    /// The share with its Wilson interval. `None` where nothing was observed.
    #[must_use]
    pub fn rate(self) -> Option<Rate> {
        Rate::new(self.events, self.of)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn more_events_than_observed_is_no_count() {
        assert_eq!(Arm::new(3, 2), None);
        let arm = Arm::new(2, 5).unwrap();
        assert_eq!((arm.events(), arm.spared(), arm.share()), (2, 3, Some(0.4)));
        assert_eq!((Arm::default().share(), Arm::default().rate()), (None, None));
        let most = Arm::new(u32::MAX, u32::MAX).unwrap();
        assert_eq!(most.with(arm), most);
        assert_eq!(arm.with(arm), Arm::new(4, 10).unwrap());
    }
}
