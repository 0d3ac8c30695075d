//! What is said of pieces, castings, waxes and recasts.

use crate::kernel::Instant;
use crate::kernel::Millimetres;
use crate::kernel::field::{Body as _, Faults, Field, Inline, Kg, Many, Nested, Parent, Positive, Ref, Slot, Text, Whole};
use crate::kernel::id::{Casting, Commission, Mould, Pattern, Piece, Recast};
use crate::shop::pattern::PatternBody;
use crate::{body, words};
use serde_json::{Value, json};

body! {
    /// A part of a piece that is cast apart.
    pub struct PartBody {
        /// What it is called.
        name: Text<60>,
        /// Its own pattern, if it has one.
        pattern_id: Option<Ref<Pattern>>,
        /// Its own mass of pattern.
        mass_kg: Option<Kg<1>>,
        /// Its own thinnest section.
        section_mm: Option<Millimetres>,
    }
}

/// A part: its name alone, or what is known of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Part(pub PartBody);

impl Field for Part {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        match value {
            Some(Value::String(_)) => Text::read(value, at, faults)
                .map(|name| Self(PartBody { name, pattern_id: None, mass_kg: None, section_mm: None })),
            other => Nested::<PartBody>::read(other, at, faults).map(|n| Self(n.0)),
        }
    }
    fn write(&self) -> Option<Value> {
        Nested(self.0.clone()).write()
    }
    fn schema() -> Value {
        json!({"anyOf": [Text::<60>::schema(), Nested::<PartBody>::schema()]})
    }
    fn refs(&mut self, at: &str, see: &mut dyn FnMut(&mut Slot, &str)) {
        self.0.each_ref(at, see);
    }
}

body! {
    /// One finished work owed.
    pub struct PieceBody {
        /// The commission.
        commission_id: Parent<Commission>,
        /// Its pattern.
        pattern_id: Option<Ref<Pattern>>,
        /// Its pattern, put on file along with it.
        pattern: Inline<PatternBody>,
        /// What it is cast in, from `/v1/trade/alloys`.
        alloy: Text<40>,
        /// `3/8` or `AP 1/2`.
        edition_mark: Option<Text<20>>,
        /// Who made it, in a class pour.
        maker: Option<Text<120>>,
        /// Its parts, if it is cast in several.
        parts: Many<Part, 50>,
    }
}

body! {
    /// One attempt to cast one part of one piece. Made with the piece, or by a recast.
    pub struct CastingBody {
        /// The piece.
        piece_id: Parent<Piece>,
        /// The part.
        part: Text<60>,
        /// Which part of the piece, from 1.
        part_n: Whole<1, 50>,
        /// Which attempt, from 1.
        attempt: Whole<1, 1000>,
        /// The recast that asked for it.
        recast_id: Option<Ref<Recast>>,
    }
}

words! {
    /// How a wax was made.
    pub enum Made {
        /// Modelled directly.
        Direct = "direct",
        /// Slushed in a mould.
        Slush = "slush",
        /// Poured solid.
        Poured = "poured",
        /// Built by dipping.
        Dipped = "dipped",
        /// Printed.
        Printed = "printed",
    }
}

body! {
    /// The consumable copy that becomes a casting.
    pub struct WaxBody {
        /// The casting.
        casting_id: Parent<Casting>,
        /// How it was made.
        made: Option<Made>,
        /// What it weighed, without gating.
        wax_kg: Option<Kg<1>>,
        /// Its wall.
        wall_mm: Option<Millimetres>,
        /// The mould it came from.
        mould_id: Option<Ref<Mould>>,
        /// When it was approved.
        approved_at: Option<Instant>,
        /// Its volume, where it was not weighed.
        volume_cm3: Option<Positive<100_000_000>>,
        /// How many pins hold its core; the holes they leave are welded by plan, and are no repair.
        core_pins: Option<Whole<0, 1000>>,
        /// What the pins are of.
        core_pin_material: Option<Text<60>>,
    }
}

words! {
    /// Why a part is cast again.
    pub enum RecastReason {
        /// Its casting was scrapped.
        Scrapped = "scrapped",
        /// A spare.
        Spare = "spare",
        /// Lost after the pour.
        Lost = "lost",
        /// Damaged.
        Damaged = "damaged",
        /// Refused by the client.
        Refused = "refused",
    }
}

words! {
    /// How the form of a unique pattern was had again.
    pub enum RecastHow {
        /// Modelled anew.
        Remodelled = "remodelled",
        /// A mould was taken off the failed casting.
        MouldedOffFailed = "moulded_off_failed",
        /// A new original.
        NewOriginal = "new_original",
    }
}

body! {
    /// The next attempt of a part.
    pub struct RecastBody {
        /// The casting that it follows.
        casting_id: Parent<Casting>,
        /// Why; scrapped if not said.
        reason: Option<RecastReason>,
        /// How the form was had again, for a unique pattern.
        how: Option<RecastHow>,
    }
}
