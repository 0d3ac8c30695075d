//! What is said of a client.

use crate::body;
use crate::kernel::field::Text;

body! {
    /// Who commissions work.
    pub struct ClientBody {
        /// Their name.
        name: Text<120>,
        /// How to write to them.
        email: Option<Text<254>>,
        /// How to call them.
        phone: Option<Text<40>>,
        /// Notes.
        notes: Option<Text<2000>>,
    }
}
