//! What is said of a delivery.

use crate::body;
use crate::kernel::Millimetres;
use crate::kernel::field::{Kg, Nested, Parent, Text};
use crate::kernel::id::Piece;

body! {
    /// Outer dimensions of a crate.
    pub struct CrateSize {
        /// Length in mm.
        x: Millimetres,
        /// Width in mm.
        y: Millimetres,
        /// Height in mm.
        z: Millimetres,
    }
}

body! {
    /// A piece handed over.
    pub struct DeliveryBody {
        /// The piece.
        piece_id: Parent<Piece>,
        /// To whom or where.
        to: Option<Text<200>>,
        /// The crate it went in.
        crate_mm: Option<Nested<CrateSize>>,
        /// What it weighed with its crate.
        gross_kg: Option<Kg<1>>,
        /// Who took it, and how that was signed for.
        receipt: Option<Text<200>>,
        /// By whom carried.
        carrier: Option<Text<120>>,
        /// Notes.
        note: Option<Text<1000>>,
    }
}
