//! Patinas: recipes of a finish in versions, with the sample that was approved, so that the fifth of an
//! edition looks as the first does.

use super::store;
use crate::book::api::{InPath, Kit, ListFilter, post, record_schema, standard};
use crate::book::render::Adding;
use crate::book::verbs::create_along;
use crate::book::{Entry, Room};
use crate::db::{ReadTx, WriteTx};
use crate::kernel::actor::Right;
use crate::kernel::field::{Day, List, Nested, Parent, Ref, Text, UpTo, Whole};
use crate::kernel::id::Patina;
use crate::kernel::{Celsius, Fault, Kind, Problem, Seq};
use crate::web::Route;
use crate::{body, words};
use serde_json::{Map, Value, json};

words! {
    /// What is done in a step.
    pub enum StepKind {
        /// Cleaned, blasted, degreased.
        Clean = "clean",
        /// Heated.
        Heat = "heat",
        /// Something is put on.
        Apply = "apply",
        /// Rinsed.
        Rinse = "rinse",
        /// Left alone.
        Wait = "wait",
        /// Cooled.
        Cool = "cool",
        /// Rubbed back.
        RubBack = "rub_back",
        /// Waxed.
        Wax = "wax",
        /// Something else.
        Other = "other",
    }
}

words! {
    /// With what something is put on.
    pub enum Tool {
        /// A brush.
        Brush = "brush",
        /// A sprayer.
        Spray = "spray",
        /// A rag or sponge.
        Dab = "dab",
        /// A bath.
        Bath = "bath",
    }
}

body! {
    /// One step of a patina.
    pub struct StepBody {
        /// What is done.
        kind: StepKind,
        /// What is put on; needed where something is.
        chemical: Option<Text<120>>,
        /// How strong: `5 % in water`.
        strength: Option<Text<60>>,
        /// With what.
        tool: Option<Tool>,
        /// How hot the metal is.
        metal_c: Option<Celsius>,
        /// How often.
        passes: Option<Whole<1, 100>>,
        /// How long.
        minutes: Option<UpTo<10_000>>,
        /// Notes.
        note: Option<Text<500>>,
    }
}

body! {
    /// A patina: its name, and the steps of its first version.
    pub struct PatinaBody {
        /// Its name.
        name: Text<80>,
        /// Steps in order.
        steps: List<Nested<StepBody>, 40>,
        /// The sample: which, and where it is kept.
        sample: Option<Text<200>>,
        /// When the sample was approved.
        approved_on: Option<Day>,
        /// By whom.
        approved_by: Option<Text<120>>,
        /// Notes.
        notes: Option<Text<2000>>,
    }
}

body! {
    /// One version of a patina.
    pub struct PatinaVersionBody {
        /// The patina.
        patina_id: Parent<Patina>,
        /// Steps in order.
        steps: List<Nested<StepBody>, 40>,
        /// The sample: which, and where it is kept.
        sample: Option<Text<200>>,
        /// When the sample was approved.
        approved_on: Option<Day>,
        /// By whom.
        approved_by: Option<Text<120>>,
        /// What changed.
        notes: Option<Text<2000>>,
    }
}

/// Steps that put something on and do not say what.
fn without_chemical(steps: &[Nested<StepBody>]) -> Result<(), Problem> {
    let bare = steps.iter().enumerate().filter(|(_, step)| step.0.kind == StepKind::Apply && step.0.chemical.is_none());
    let faults: Vec<Fault> = bare
        .map(|(n, _)| Fault { pointer: format!("/steps/{n}/chemical"), code: "required", message: "Say what is put on.".into() })
        .collect();
    if faults.is_empty() { Ok(()) } else { Err(Problem::invalid(faults)) }
}

/// Patinas.
pub enum Patinas {}

impl Room for Patinas {
    const KIND: Kind = Kind::Patina;
    const TABLE: &'static str = "patina";
    const AT_REQUIRED: bool = false;
    type Body = PatinaBody;

    async fn enter(_: &mut WriteTx, entry: &mut Entry<PatinaBody>) -> Result<(), Problem> {
        without_chemical(&entry.body.steps.0)?;
        let name = entry.body.name.0.clone();
        entry.set("name", name);
        Ok(())
    }

    async fn along(tx: &mut WriteTx, entry: &mut Entry<PatinaBody>) -> Result<(), Problem> {
        let body = PatinaVersionBody {
            patina_id: Parent(Ref::known(entry.seq, entry.id)),
            steps: entry.body.steps.clone(),
            sample: entry.body.sample.clone(),
            approved_on: entry.body.approved_on,
            approved_by: entry.body.approved_by.clone(),
            notes: None,
        };
        create_along::<PatinaVersions>(tx, &entry.common, body).await.map(drop)
    }
}

/// Versions of patinas.
pub enum PatinaVersions {}

impl Room for PatinaVersions {
    const KIND: Kind = Kind::PatinaVersion;
    const TABLE: &'static str = "patina_version";
    const AT_REQUIRED: bool = false;
    type Body = PatinaVersionBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<PatinaVersionBody>) -> Result<(), Problem> {
        without_chemical(&entry.body.steps.0)?;
        let patina = entry.body.patina_id.seq();
        let version = match store::patina_of(tx, entry.seq).await? {
            Some((of, _)) if of != patina => {
                let fixed = "A version stays with its patina. Void it and record it there.";
                return Err(Problem::field("/patina_id", "fixed", fixed));
            }
            Some((_, version)) => version,
            None => store::last_patina_version(tx, patina).await? + 1,
        };
        entry.columns = vec![("patina_seq", patina.into()), ("version", version.into())];
        Ok(())
    }
}

/// The number of the version that work used: as said, else the newest at its time.
///
/// # Errors
/// `invalid`, where there is no such version.
pub async fn version(tx: &mut WriteTx, patina: Seq, said: Option<i64>, at: crate::kernel::Instant) -> Result<i64, Problem> {
    let versions = store::patina_versions(tx, patina).await?;
    let found = match said {
        Some(said) => versions.iter().find(|(number, _)| *number == said),
        None => versions.iter().rfind(|(_, from)| *from <= at).or(versions.first()),
    };
    let none = || Problem::field("/patina_version", "not-found", "The patina has no such version.");
    found.map(|(number, _)| *number).ok_or_else(none)
}

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let under = InPath { kind: Kind::Patina, member: "patina_id" };
    let mut out = vec![
        post::<Patinas>(kit, "/v1/patinas", "patina_create", "Write down a patina, version 1", Right::Log, None),
        post::<PatinaVersions>(
            kit,
            "/v1/patinas/{id}/versions",
            "patina_version_create",
            "Write down the next version of a patina",
            Right::Log,
            Some(under),
        ),
    ];
    out.extend(standard::<Patinas>(kit, &[], Right::Correct));
    out.extend(standard::<PatinaVersions>(
        kit,
        &[ListFilter::Refers { member: "patina_id", kind: Kind::Patina }],
        Right::Correct,
    ));
    out
}

/// The number of each version.
pub fn version_extras<'a>(read: &'a mut ReadTx, seqs: &'a [Seq]) -> Adding<'a> {
    Box::pin(async move {
        let numbers = store::patina_numbers(read, seqs).await?;
        let one = |(seq, version): (Seq, i64)| (seq, Map::from_iter([("patina_version".to_owned(), json!(version))]));
        Ok(numbers.into_iter().map(one).collect())
    })
}

/// The schemas of what is answered.
#[must_use]
pub fn schemas() -> Vec<(Kind, Value)> {
    let number = Map::from_iter([("patina_version".to_owned(), json!({"type": "integer", "minimum": 1}))]);
    vec![
        (Kind::Patina, record_schema::<PatinaBody>(Kind::Patina, &Map::new(), &[("versions", Kind::PatinaVersion)])),
        (Kind::PatinaVersion, record_schema::<PatinaVersionBody>(Kind::PatinaVersion, &number, &[])),
    ]
}
