//! What belongs to a client and is in the shop: originals, moulds, armatures, things to be cast in. In when
//! it is recorded, out when it goes back; where it stands and in what state it came.

use crate::book::api::{Kit, ListFilter, post, record_schema, standard};
use crate::book::{Entry, Room};
use crate::db::WriteTx;
use crate::kernel::actor::Right;
use crate::kernel::field::{Minor, Ref, Text, Whole};
use crate::kernel::id::{Client, Commission};
use crate::kernel::{Instant, Kind, Precision, Problem};
use crate::web::Route;
use crate::{body, words};
use serde_json::{Map, Value, json};

words! {
    /// What kind of thing it is.
    pub enum Belonging {
        /// The original work.
        Original = "original",
        /// A mould.
        Mould = "mould",
        /// A wax.
        Wax = "wax",
        /// A pattern, a print.
        Pattern = "pattern",
        /// A casting brought for repair or finishing.
        Casting = "casting",
        /// Something to be built in or mounted: a base, a stone, a fitting.
        Fitting = "fitting",
        /// A crate.
        Crate = "crate",
        /// Something else.
        Other = "other",
    }
}

body! {
    /// Something of a client's that is in the shop.
    pub struct PropertyBody {
        /// Whose it is.
        client_id: Ref<Client>,
        /// What it is.
        what: Text<200>,
        /// Which kind of thing.
        kind: Option<Belonging>,
        /// How many; one if not said.
        count: Option<Whole<1, 10_000>>,
        /// In what state it came.
        condition: Option<Text<500>>,
        /// Where it stands.
        shelf: Option<Text<60>>,
        /// What the client says it is worth.
        value_minor: Option<Minor>,
        /// The job it came for.
        commission_id: Option<Ref<Commission>>,
        /// When it went out of the shop; it is here until then.
        out_at: Option<Instant>,
        /// Who took it back, and how that was signed for.
        out_to: Option<Text<200>>,
        /// Notes.
        notes: Option<Text<2000>>,
    }
}

/// How far the clock of whoever says when it went may be ahead.
const AHEAD_MS: i64 = 5 * 60_000;

/// Clients' property.
pub enum Properties {}

impl Room for Properties {
    const KIND: Kind = Kind::Property;
    const TABLE: &'static str = "property";
    type Body = PropertyBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<PropertyBody>) -> Result<(), Problem> {
        let body = &entry.body;
        if body.out_at.is_some_and(|out| out > tx.now().plus_ms(AHEAD_MS)) {
            return Err(Problem::field("/out_at", "in-the-future", "That is in the future. Check the date and the clock."));
        }
        // What is known only to the hour or day is held only against the hour or day.
        let slack = match entry.common.precision {
            Precision::Minute => 0,
            Precision::Hour => 3_600_000,
            Precision::Day => 24 * 3_600_000,
        };
        if body.out_at.is_some_and(|out| out.plus_ms(slack) < entry.common.at) {
            return Err(Problem::field("/out_at", "out-of-range", "It went out before it came in: correct one of the two."));
        }
        if body.out_to.is_some() && body.out_at.is_none() {
            return Err(Problem::field("/out_at", "required", "Say when it went out."));
        }
        let (client, out) = (body.client_id.seq(), body.out_at);
        entry.set("client_seq", client);
        entry.set("out_ms", out);
        Ok(())
    }
}

/// The routes.
pub(super) fn routes(kit: &Kit) -> Vec<Route> {
    let about = "Take something of a client's in";
    let mut out = vec![post::<Properties>(kit, "/v1/properties", "property_create", about, Right::Log, None)];
    out.extend(standard::<Properties>(
        kit,
        &[
            ListFilter::Refers { member: "client_id", kind: Kind::Client },
            ListFilter::Refers { member: "commission_id", kind: Kind::Commission },
            ListFilter::Text { name: "here", sql: super::store::HERE },
        ],
        Right::Correct,
    ));
    out
}

/// The schema of what is answered.
pub(super) fn schema() -> (Kind, Value) {
    let mut more = Map::new();
    more.insert("client".into(), json!({"type": "string", "description": "whose it is, by name"}));
    (Kind::Property, record_schema::<PropertyBody>(Kind::Property, &more, &[]))
}
