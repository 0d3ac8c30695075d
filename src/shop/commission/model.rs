//! What is said of a commission.

use crate::kernel::field::{Day, Many, Minor, Named, Nested, Parent, Ref, Text};
use crate::kernel::id::{Client, Commission, Quote, Supplier};
use crate::{body, words};

body! {
    /// A stage of the price: what is due, for what, by when.
    pub struct StageBody {
        /// What for: deposit, wax approved, pour, delivery.
        r#for: Text<120>,
        /// How much.
        amount_minor: Minor,
        /// By when.
        due_on: Option<Day>,
    }
}

body! {
    /// One agreed job.
    pub struct CommissionBody {
        /// What it is called.
        title: Text<200>,
        /// Who commissioned it; the shop's own work without.
        client_id: Option<Ref<Client>>,
        /// When it is due.
        due_on: Option<Day>,
        /// The price agreed.
        price_minor: Option<Minor>,
        /// How it is paid; together they are the price.
        stages: Many<Nested<StageBody>, 20>,
        /// The quote that was accepted for it.
        quote_id: Option<Ref<Quote>>,
        /// What it was quoted to cost: more than that as often as less.
        quoted_p50_minor: Option<Minor>,
        /// What it was quoted to stay below four times in five.
        quoted_p80_minor: Option<Minor>,
        /// Notes.
        notes: Option<Text<4000>>,
    }
}

words! {
    /// What a bought-in cost was for.
    pub enum CostKind {
        /// A mould.
        Mould = "mould",
        /// A pattern.
        Pattern = "pattern",
        /// A print.
        Print = "print",
        /// Outside work.
        Service = "service",
        /// A base.
        Base = "base",
        /// A crate.
        Crate = "crate",
        /// Freight.
        Freight = "freight",
        /// Travel.
        Travel = "travel",
        /// A royalty.
        Royalty = "royalty",
        /// Something else.
        Other = "other",
    }
}

body! {
    /// A cost bought in for a commission.
    pub struct CostBody {
        /// The commission.
        commission_id: Parent<Commission>,
        /// What for.
        kind: CostKind,
        /// How much.
        amount_minor: Minor,
        /// From whom.
        supplier: Option<Named<Supplier>>,
        /// Notes.
        note: Option<Text<500>>,
    }
}

body! {
    /// Money received for a commission.
    pub struct PaymentBody {
        /// The commission.
        commission_id: Parent<Commission>,
        /// How much.
        amount_minor: Minor,
        /// What for: deposit, stage, balance.
        r#for: Option<Text<120>>,
    }
}
