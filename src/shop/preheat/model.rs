//! What is said of a preheat.

use crate::body;
use crate::kernel::field::{Kg, List, Named, Ref, Text, UpTo};
use crate::kernel::id::{Kiln, Shell};
use crate::kernel::{Celsius, Instant};

body! {
    /// Shells brought back to heat before a pour.
    pub struct PreheatBody {
        /// The kiln.
        kiln: Named<Kiln>,
        /// The shells in it.
        shell_ids: List<Ref<Shell>, 200>,
        /// What the kiln was set to.
        target_c: Option<Celsius>,
        /// Minutes held there.
        soak_minutes: Option<UpTo<100_000>>,
        /// When the first shell came out.
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
