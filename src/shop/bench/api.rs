//! `/v1/work`, `/v1/finishes`, `/v1/scraps`, and what they are booked on.

use super::model::{FinishBody, OutsideWorkBody, ScrapBody, WorkBody};
use super::patina::{PatinaVersions, Patinas};
use super::verbs::{Finishes, OutsideWorkDone, Scraps, WorkDone};
use crate::book::api::{InPath, Kit, ListFilter, post, record_schema, request_schema, standard};
use crate::book::merging::{Corrector, corrector};
use crate::kernel::Kind;
use crate::kernel::actor::Right;
use crate::web::Route;
use serde_json::{Map, Value};

const CASTING: InPath = InPath { kind: Kind::Casting, member: "casting_id" };
/// What work may be booked on.
const TARGETS: [(Kind, &str); 6] = [
    (Kind::Casting, "casting_id"),
    (Kind::Piece, "piece_id"),
    (Kind::Shell, "shell_id"),
    (Kind::Heat, "heat_id"),
    (Kind::Mould, "mould_id"),
    (Kind::Commission, "commission_id"),
];

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let of_casting: &[ListFilter] = &[ListFilter::Refers { member: "casting_id", kind: Kind::Casting }];
    let mut out = vec![
        post::<Finishes>(kit, "/v1/castings/{id}/finish", "finish_create", "Finish a casting", Right::Log, Some(CASTING)),
        post::<Scraps>(kit, "/v1/castings/{id}/scrap", "scrap_create", "Give a casting up", Right::Log, Some(CASTING)),
    ];
    for (kind, member) in TARGETS {
        let path = format!("/v1/{}/{{id}}/work", kind.collection());
        let mut route = post::<WorkDone>(
            kit,
            &path,
            &format!("{}_work", kind.name()),
            "Book minutes",
            Right::Log,
            Some(InPath { kind, member }),
        );
        if let Some(body) = &mut route.body {
            body.schema = request_schema::<WorkBody>(true, Some(member));
            if let Some(properties) = body.schema["properties"].as_object_mut() {
                for (_, other) in TARGETS {
                    properties.shift_remove(other);
                }
            }
        }
        out.push(route);
    }
    out.extend(standard::<WorkDone>(
        kit,
        &[
            ListFilter::Refers { member: "casting_id", kind: Kind::Casting },
            ListFilter::Refers { member: "piece_id", kind: Kind::Piece },
            ListFilter::Refers { member: "shell_id", kind: Kind::Shell },
            ListFilter::Refers { member: "heat_id", kind: Kind::Heat },
            ListFilter::Refers { member: "commission_id", kind: Kind::Commission },
            ListFilter::Refers { member: "hand", kind: Kind::Hand },
        ],
        Right::Correct,
    ));
    let about = "Send something out to be worked on";
    out.push(post::<OutsideWorkDone>(kit, "/v1/outside-work", "outside_work_create", about, Right::Log, None));
    out.extend(super::patina::routes(kit));
    out.extend(super::assembly::routes(kit));
    out.extend(standard::<OutsideWorkDone>(
        kit,
        &[
            ListFilter::Refers { member: "casting_id", kind: Kind::Casting },
            ListFilter::Refers { member: "piece_id", kind: Kind::Piece },
            ListFilter::Refers { member: "mould_id", kind: Kind::Mould },
            ListFilter::Refers { member: "pattern_id", kind: Kind::Pattern },
        ],
        Right::Correct,
    ));
    out.extend(standard::<Finishes>(kit, of_casting, Right::Correct));
    out.extend(standard::<Scraps>(kit, of_casting, Right::Correct));
    out
}

/// How its records are corrected, for what corrects records of many kinds.
#[must_use]
pub fn correctors() -> Vec<(Kind, Corrector)> {
    vec![
        corrector::<super::assembly::Assemblies>(),
        corrector::<Patinas>(),
        corrector::<PatinaVersions>(),
        corrector::<WorkDone>(),
        corrector::<OutsideWorkDone>(),
        corrector::<Finishes>(),
        corrector::<Scraps>(),
    ]
}

/// The schemas of what is answered.
#[must_use]
pub fn schemas() -> Vec<(Kind, Value)> {
    let none = Map::new();
    let mut out = super::patina::schemas();
    out.push(super::assembly::schema());
    out.extend(vec![
        (Kind::Work, record_schema::<WorkBody>(Kind::Work, &none, &[])),
        (Kind::OutsideWork, record_schema::<OutsideWorkBody>(Kind::OutsideWork, &none, &[])),
        (Kind::Finish, record_schema::<FinishBody>(Kind::Finish, &none, &[])),
        (Kind::Scrap, record_schema::<ScrapBody>(Kind::Scrap, &none, &[("findings", Kind::Finding)])),
    ]);
    out
}
