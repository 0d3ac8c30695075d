//! `/v1/breakouts`, `/v1/shell-breakouts`, `/v1/cut-offs`, `/v1/findings`.

use super::model::{BreakoutBody, CutOffBody, FindingBody, ShellBreakoutBody};
use super::store;
use super::verbs::{Breakouts, CutOffs, Findings, ShellBreakouts};
use crate::book::api::{InPath, Kit, ListFilter, post, record_schema, standard};
use crate::book::merging::{Corrector, corrector};
use crate::kernel::Kind;
use crate::kernel::actor::Right;
use crate::web::Route;
use serde_json::{Map, Value};

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let of_casting: &[ListFilter] = &[ListFilter::Refers { member: "casting_id", kind: Kind::Casting }];
    let mut out = vec![
        post::<Breakouts>(kit, "/v1/breakouts", "breakout_create", "Open a shell: weigh and judge a casting", Right::Log, None),
        post::<ShellBreakouts>(
            kit,
            "/v1/shells/{id}/breakout",
            "shell_breakout_create",
            "Knock a whole tree out of its shell",
            Right::Log,
            Some(InPath { kind: Kind::Shell, member: "shell_id" }),
        ),
        post::<CutOffs>(
            kit,
            "/v1/castings/{id}/cut-off",
            "cut_off_create",
            "Cut a casting off its tree and weigh it",
            Right::Log,
            Some(InPath { kind: Kind::Casting, member: "casting_id" }),
        ),
        post::<Findings>(
            kit,
            "/v1/breakouts/{id}/findings",
            "finding_create",
            "Record a defect",
            Right::Log,
            Some(InPath { kind: Kind::Breakout, member: "breakout_id" }),
        ),
    ];
    out.extend(standard::<Breakouts>(kit, of_casting, Right::Correct));
    out.extend(standard::<ShellBreakouts>(kit, &[ListFilter::Refers { member: "shell_id", kind: Kind::Shell }], Right::Correct));
    out.extend(standard::<CutOffs>(kit, of_casting, Right::Correct));
    out.extend(standard::<Findings>(kit, store::FINDING_FILTERS, Right::Correct));
    out
}

/// How its records are corrected, for what corrects records of many kinds.
#[must_use]
pub fn correctors() -> Vec<(Kind, Corrector)> {
    vec![corrector::<Findings>(), corrector::<Breakouts>(), corrector::<ShellBreakouts>(), corrector::<CutOffs>()]
}

/// The schemas of what is answered.
#[must_use]
pub fn schemas() -> Vec<(Kind, Value)> {
    let none = Map::new();
    vec![
        (Kind::Breakout, record_schema::<BreakoutBody>(Kind::Breakout, &none, &[("findings", Kind::Finding)])),
        (Kind::ShellBreakout, record_schema::<ShellBreakoutBody>(Kind::ShellBreakout, &none, &[("castings", Kind::Breakout)])),
        (Kind::CutOff, record_schema::<CutOffBody>(Kind::CutOff, &none, &[])),
        (Kind::Finding, record_schema::<FindingBody>(Kind::Finding, &none, &[])),
    ]
}
