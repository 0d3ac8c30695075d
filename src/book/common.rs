//! What every record bears, as given in a request.

use crate::kernel::field::{Body, Faults, Field, Many, Named, Slot, unknown};
use crate::kernel::id::Hand;
use crate::kernel::{Fault, Instant, Precision, Problem, ProblemType};
use crate::words;
use serde_json::{Map, Value, json};
use uuid::Uuid;

words! {
    /// What is refused once as a likely slip, and taken when said again.
    pub enum Despite {
        /// A stage that must have happened was never logged.
        NotOnRecord = "not_on_record",
        /// Poured from a heat of another alloy.
        AlloyDiffers = "alloy_differs",
        /// The bin held more than the book.
        LotShort = "lot_short",
        /// A unique pattern cast again.
        PatternIsUnique = "pattern_is_unique",
        /// A client's metal in another's work.
        ClientMetal = "client_metal",
        /// The crucible is in another open heat.
        CrucibleInUse = "crucible_in_use",
    }
}

words! {
    /// What a page proposes and nobody said: it stands on the record, and is in no factor.
    pub enum Assumed {
        /// Who did it.
        Hands = "hands",
        /// How a shell stood at its pour.
        Support = "support",
        /// The metal.
        MetalC = "metal_c",
        /// The shell as the metal went in.
        ShellC = "shell_c",
        /// A slurry's viscosity.
        ViscosityS = "viscosity_s",
        /// The dip room.
        RoomC = "room_c",
        /// The dip room's air.
        HumidityPercent = "humidity_percent",
    }
}

impl Despite {
    /// The refusal that it overrules.
    #[must_use]
    pub const fn problem(self) -> ProblemType {
        match self {
            Self::NotOnRecord => ProblemType::NotYet,
            Self::AlloyDiffers => ProblemType::AlloyDiffers,
            Self::LotShort => ProblemType::LotShort,
            Self::PatternIsUnique => ProblemType::PatternIsUnique,
            Self::ClientMetal => ProblemType::ClientMetal,
            Self::CrucibleInUse => ProblemType::CrucibleInUse,
        }
    }
}

/// The common members of a record.
#[derive(Clone, Debug, PartialEq)]
pub struct Common {
    /// An id made by the caller.
    pub id: Option<Uuid>,
    /// When it happened.
    pub at: Instant,
    /// How precisely that is known.
    pub precision: Precision,
    /// Who did it.
    pub hands: Many<Named<Hand>, 20>,
    /// What is meant in spite of a refusal.
    pub despite: Many<Despite, 6>,
    /// Members that were proposed and confirmed by nobody.
    pub assumed: Many<Assumed, 8>,
}

/// A request to record something: the common members and the body.
#[derive(Clone, Debug, PartialEq)]
pub struct Draft<B> {
    /// What every record bears.
    pub common: Common,
    /// What this kind of record says.
    pub body: B,
}

/// Names of the common members.
pub const MEMBERS: &[&str] = &["id", "at", "at_precision", "hands", "despite", "assumed"];
/// How far ahead of the server's clock a record may be: a tablet's clock runs a little fast.
const AHEAD_MS: i64 = 5 * 60 * 1000;

impl Common {
    /// The common members of a record that goes along with another.
    #[must_use]
    pub fn along(&self) -> Self {
        Self { id: None, ..self.clone() }
    }
    /// A record of this instant with nothing further said.
    #[must_use]
    pub fn at(at: Instant) -> Self {
        Self {
            id: None,
            at,
            precision: Precision::Minute,
            hands: Many::default(),
            despite: Many::default(),
            assumed: Many::default(),
        }
    }

    /// Reads an object that holds the common members alone.
    ///
    /// # Errors
    /// `invalid`, naming every wrong field at once.
    pub fn read_alone(object: &Map<String, Value>, now: Instant) -> Result<Self, Problem> {
        let mut faults = Faults::default();
        let common = Self::read(object, now, false, &mut faults);
        unknown(object, &[MEMBERS], "", &mut faults);
        match common {
            Some(common) if faults.0.is_empty() => Ok(common),
            _ => Err(Problem::invalid(faults.0)),
        }
    }

    fn read(object: &Map<String, Value>, now: Instant, at_required: bool, faults: &mut Faults) -> Option<Self> {
        let id = match object.get("id") {
            None | Some(Value::Null) => Some(None),
            Some(value) => match value.as_str().map(Uuid::parse_str) {
                Some(Ok(id)) if id.get_version_num() == 7 => Some(Some(id)),
                _ => faults.none("/id", "not-a-uuid", "Give a UUID version 7, or leave it out."),
            },
        };
        let at = match object.get("at") {
            None | Some(Value::Null) if !at_required => Some(now),
            value => Instant::read(value, "/at", faults),
        };
        if at.is_some_and(|at| at.since(now) > AHEAD_MS) {
            faults.add("/at", "in-the-future", "That is in the future. Check the date and the clock.");
        }
        let precision = match object.get("at_precision") {
            None | Some(Value::Null) => Some(Precision::Minute),
            Some(value) => value
                .as_str()
                .and_then(Precision::parse)
                .or_else(|| faults.none("/at_precision", "not-in-list", "Give one of: minute hour day.")),
        };
        let hands = Many::read(object.get("hands"), "/hands", faults);
        let despite = Many::read(object.get("despite"), "/despite", faults);
        let assumed = Many::read(object.get("assumed"), "/assumed", faults);
        Some(Self { id: id?, at: at?, precision: precision?, hands: hands?, despite: despite?, assumed: assumed? })
    }

    /// Writes the common members in canonical form.
    pub fn write_into(&self, into: &mut Map<String, Value>) {
        into.insert("at".into(), self.at.to_string().into());
        if self.precision != Precision::Minute {
            into.insert("at_precision".into(), self.precision.name().into());
        }
        for (name, value) in [("hands", self.hands.write()), ("despite", self.despite.write()), ("assumed", self.assumed.write())]
        {
            if let Some(value) = value {
                into.insert(name.into(), value);
            }
        }
    }

    /// JSON Schemas of the common members.
    #[must_use]
    pub fn schemas() -> Map<String, Value> {
        let mut out = Map::new();
        out.insert(
            "id".into(),
            json!({"type": ["string", "null"], "format": "uuid", "description": "made by the caller: UUID version 7"}),
        );
        out.insert(
            "at".into(),
            json!({"type": ["string", "null"], "format": "date-time", "description": "when it happened, with an offset"}),
        );
        out.insert("at_precision".into(), json!({"type": ["string", "null"], "enum": ["minute", "hour", "day", null]}));
        out.insert("hands".into(), Many::<Named<Hand>, 20>::schema());
        out.insert("despite".into(), Many::<Despite, 6>::schema());
        let mut assumed = Many::<Assumed, 8>::schema();
        assumed["description"] = "members that were proposed and that nobody confirmed: they are in no factor".into();
        out.insert("assumed".into(), assumed);
        out
    }
}

impl<B: Body> Draft<B> {
    /// Reads a request.
    ///
    /// # Errors
    /// `invalid`, naming every wrong field at once.
    pub fn read(value: &Value, now: Instant, at_required: bool) -> Result<Self, Problem> {
        let Value::Object(object) = value else {
            return Err(Problem::field("", "wrong-type", "Give a JSON object."));
        };
        let mut faults = Faults::default();
        let common = Common::read(object, now, at_required, &mut faults);
        let body = B::read_members(object, "", &mut faults);
        unknown(object, &[MEMBERS, B::members()], "", &mut faults);
        match (common, body) {
            (Some(common), Some(body)) if faults.0.is_empty() => Ok(Self { common, body }),
            _ => Err(Problem::invalid(faults.0)),
        }
    }

    /// Its canonical form, as the journal keeps it.
    #[must_use]
    pub fn write(&self) -> Map<String, Value> {
        let mut out = Map::new();
        self.common.write_into(&mut out);
        self.body.write_members(&mut out);
        out
    }

    /// Shows every reference it holds.
    pub fn each_ref(&mut self, see: &mut dyn FnMut(&mut Slot, &str)) {
        self.common.hands.refs("/hands", see);
        self.body.each_ref("", see);
    }
}

/// A fault at a pointer.
#[must_use]
pub fn fault(pointer: &str, code: &'static str, message: &str) -> Fault {
    Fault { pointer: pointer.to_owned(), code, message: message.to_owned() }
}
