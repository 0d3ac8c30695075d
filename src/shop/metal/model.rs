//! What is said of lots and receipts.

use crate::kernel::field::{Faults, Field};
use crate::kernel::field::{Kg, Minor, Named, Parent, Ref, Text, UpTo};
use crate::kernel::id::{Client, MetalLot, Supplier};
use crate::{body, words};
use serde_json::{Map, Value, json};

words! {
    /// What a lot is.
    pub enum LotKind {
        /// Bought as ingot: one receipt.
        Ingot = "ingot",
        /// Pigged metal, cups, sprues, gates, scrap: a pool at moving average.
        Returns = "returns",
        /// Deoxidiser, make-up: one receipt.
        Addition = "addition",
    }
}

/// Shares of elements in percent by mass.
#[derive(Clone, Debug, PartialEq)]
pub struct Composition(pub Map<String, Value>);

impl Field for Composition {
    fn read(value: Option<&Value>, at: &str, faults: &mut Faults) -> Option<Self> {
        let Some(Value::Object(members)) = value else {
            return faults.none(at, "wrong-type", "Give an object of elements and percent, as {\"Cu\": 94.8}.");
        };
        let before = faults.0.len();
        let mut sum = 0.0;
        for (element, share) in members {
            let named = (1..=2).contains(&element.len()) && element.chars().all(|c| c.is_ascii_alphabetic());
            let pointer = crate::kernel::field::member(at, element);
            if !named {
                faults.add(&pointer, "no-element", "Name elements by their symbols.");
            }
            if let Some(UpTo(share)) = UpTo::<100>::read(Some(share), &pointer, faults) {
                sum += share;
            }
        }
        if sum > 100.5 {
            faults.add(at, "over-100", format!("The shares add up to {sum:.2} %."));
        }
        (faults.0.len() == before).then(|| Self(members.clone()))
    }
    fn write(&self) -> Option<Value> {
        Some(Value::Object(self.0.clone()))
    }
    fn schema() -> Value {
        json!({"type": "object", "additionalProperties": {"type": "number", "minimum": 0, "maximum": 100},
               "propertyNames": {"pattern": "^[A-Za-z]{1,2}$"}, "description": "percent by mass of each element"})
    }
}

body! {
    /// Metal in stock.
    pub struct LotBody {
        /// What it is, from `/v1/trade/alloys`, or `unknown`: scrap that nobody knows.
        alloy: Text<40>,
        /// Ingot, returns, addition.
        kind: LotKind,
        /// How much came in.
        mass_kg: Kg<0>,
        /// What it cost.
        cost_minor: Minor,
        /// From whom.
        supplier: Option<Named<Supplier>>,
        /// The client it belongs to.
        owner_client_id: Option<Ref<Client>>,
        /// Whether it was there when the book was opened.
        opening: Option<bool>,
        /// Its analysis.
        composition: Option<Composition>,
        /// Notes.
        notes: Option<Text<1000>>,
    }
}

body! {
    /// Metal bought into a pool.
    pub struct ReceiptBody {
        /// The pool.
        lot_id: Parent<MetalLot>,
        /// How much.
        mass_kg: Kg<1>,
        /// What it cost.
        cost_minor: Minor,
        /// From whom.
        supplier: Option<Named<Supplier>>,
        /// Notes.
        notes: Option<Text<1000>>,
    }
}

words! {
    /// Where metal out of stock went.
    pub enum GoneTo {
        /// Sold, with its value.
        Sold = "sold",
        /// Written off, with its value.
        WrittenOff = "written_off",
    }
}

body! {
    /// A lot weighed: the difference to the book is unexplained.
    pub struct CountBody {
        /// The lot.
        lot_id: Parent<MetalLot>,
        /// What it holds.
        mass_kg: Kg<0>,
        /// Why it was weighed.
        reason: Text<200>,
        /// Notes.
        notes: Option<Text<1000>>,
    }
}

body! {
    /// Metal sold or written off.
    pub struct OutBody {
        /// The lot.
        lot_id: Parent<MetalLot>,
        /// How much.
        mass_kg: Kg<1>,
        /// Where to.
        to: GoneTo,
        /// What was paid for it.
        income_minor: Option<Minor>,
        /// Notes.
        notes: Option<Text<1000>>,
    }
}

body! {
    /// Metal moved from a lot into a pool.
    pub struct TransferBody {
        /// The giving lot.
        lot_id: Parent<MetalLot>,
        /// How much.
        mass_kg: Kg<1>,
        /// The pool that takes it.
        to_lot_id: Ref<MetalLot>,
        /// Notes.
        notes: Option<Text<1000>>,
    }
}
