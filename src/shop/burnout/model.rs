//! What is said of a burnout.

use crate::kernel::Celsius;
use crate::kernel::Instant;
use crate::kernel::field::{Kg, List, Named, Nested, Ref, Text, UpTo};
use crate::kernel::id::{Kiln, Shell};
use crate::{body, words};

words! {
    /// What a kiln load is for.
    pub enum Purpose {
        /// Melts out.
        Dewax = "dewax",
        /// Fires.
        Fire = "fire",
        /// Both.
        DewaxAndFire = "dewax_and_fire",
    }
}

words! {
    /// What came of a shell.
    pub enum Result {
        /// It is sound.
        Sound = "sound",
        /// It has cracks.
        Cracked = "cracked",
        /// It is lost, and its castings with it.
        Lost = "lost",
    }
}

body! {
    /// A shell in a kiln load.
    pub struct Fired {
        /// Which.
        shell_id: Ref<Shell>,
        /// What came of it; may follow.
        result: Option<Result>,
        /// Notes.
        note: Option<Text<500>>,
    }
}

body! {
    /// One kiln load that melts out and fires.
    pub struct BurnoutBody {
        /// The kiln.
        kiln: Named<Kiln>,
        /// The shells in it.
        shells: List<Nested<Fired>, 200>,
        /// What it is for; both if not said.
        purpose: Option<Purpose>,
        /// The hottest it was.
        peak_c: Option<Celsius>,
        /// Minutes held there.
        hold_minutes: Option<UpTo<100_000>>,
        /// When the shells came out.
        out_at: Option<Instant>,
        /// Gas burnt.
        fuel_kg: Option<Kg<0>>,
        /// What the gas bottles weighed before, where that is how fuel is known.
        bottles_before_kg: Option<Kg<0>>,
        /// And after.
        bottles_after_kg: Option<Kg<0>>,
        /// Current used.
        fuel_kwh: Option<UpTo<1_000_000>>,
        /// Notes.
        note: Option<Text<500>>,
    }
}
