//! What is said of a delivery.

use crate::body;
use crate::kernel::field::{Parent, Text};
use crate::kernel::id::Piece;

body! {
    /// A piece handed over.
    pub struct DeliveryBody {
        /// The piece.
        piece_id: Parent<Piece>,
        /// To whom or where.
        to: Option<Text<200>>,
        /// By whom carried.
        carrier: Option<Text<120>>,
        /// Notes.
        note: Option<Text<1000>>,
    }
}
