//! What is said of patterns and moulds.

use crate::kernel::Millimetres;
use crate::kernel::field::{Day, Kg, Minor, Nested, Positive, Ref, Text};
use crate::kernel::id::{Client, Mould};
use crate::{body, words};

words! {
    /// Whether a pattern can be had again.
    pub enum PatternKind {
        /// Pulled from a mould.
        Mould = "mould",
        /// Printed again at will.
        File = "file",
        /// A direct wax or burnt-out object: gone when its casting fails.
        Unique = "unique",
    }
}

body! {
    /// Outer dimensions.
    pub struct Dimensions {
        /// mm.
        x: Millimetres,
        /// mm.
        y: Millimetres,
        /// mm.
        z: Millimetres,
    }
}

body! {
    /// A form on file.
    pub struct PatternBody {
        /// Its name.
        name: Text<120>,
        /// What it is of, from `/v1/trade/pattern-materials`.
        material: Text<40>,
        /// Mass of the pattern.
        mass_kg: Option<Kg<1>>,
        /// Volume of the pattern, where it was not weighed.
        volume_cm3: Option<Positive<100_000_000>>,
        /// Thinnest section.
        section_mm: Millimetres,
        /// Whether it can be had again; a file if not said.
        kind: Option<PatternKind>,
        /// The mould it is pulled from.
        mould_id: Option<Ref<Mould>>,
        /// Outer dimensions.
        dimensions_mm: Option<Nested<Dimensions>>,
        /// Surface.
        area_cm2: Option<Positive<100_000_000>>,
        /// Whose it is.
        owner_client_id: Option<Ref<Client>>,
        /// Where it stands.
        shelf: Option<Text<60>>,
        /// Notes.
        notes: Option<Text<2000>>,
    }
}

body! {
    /// Rubber, plaster or tooling taken from an original.
    pub struct MouldBody {
        /// Its name.
        name: Text<120>,
        /// Whose it is.
        owner_client_id: Option<Ref<Client>>,
        /// When it was made.
        made_on: Option<Day>,
        /// Where it stands.
        shelf: Option<Text<60>>,
        /// What it cost.
        cost_minor: Option<Minor>,
        /// Kept until.
        keep_until: Option<Day>,
        /// When it was cancelled: nothing more is to be pulled from it.
        cancelled_on: Option<Day>,
        /// Notes.
        notes: Option<Text<2000>>,
    }
}
