//! `/v1/pieces`, `/v1/castings`, `/v1/waxes`, `/v1/recasts`.

use super::model::{CastingBody, PieceBody, RecastBody, WaxBody};
use super::store;
use super::verbs::{Castings, Pieces, Recasts, Waxes, read_rows};
use crate::book::api::{
    Acted, InPath, Kit, ListFilter, act, check_match, fill_draft, in_path, post, read_draft, reading, record_schema,
    request_schema, standard,
};
use crate::book::merging::{Corrector, corrector};
use crate::book::render::Adding;
use crate::book::resolve::Asks;
use crate::book::{Common, Draft, verbs};
use crate::db::ReadTx;
use crate::kernel::actor::Right;
use crate::kernel::{Instant, Kind, Problem, Seq};
use crate::web::route::handler;
use crate::web::{Ctx, Reply, Route};
use serde_json::{Map, Value, json};
use std::collections::HashMap;

const UNDER_CASTING: InPath = InPath { kind: Kind::Casting, member: "casting_id" };

/// The routes, but for reading one casting, which the route card answers.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let of_casting: &[ListFilter] = &[ListFilter::Refers { member: "casting_id", kind: Kind::Casting }];
    let mut pieces = post::<Pieces>(
        kit,
        "/v1/commissions/{id}/pieces",
        "piece_create",
        "Take a piece, or rows of pieces, into a commission; makes their castings with their tags",
        Right::Log,
        Some(InPath { kind: Kind::Commission, member: "commission_id" }),
    );
    if let Some(body) = &mut pieces.body {
        let one = body.schema.clone();
        let mut row = request_schema::<PieceBody>(false, Some("commission_id"));
        for name in crate::book::common::MEMBERS {
            row["properties"].as_object_mut().map(|p| p.shift_remove(*name));
        }
        let mut many = json!({"type": "object", "additionalProperties": false, "required": ["rows"],
            "properties": {"rows": {"type": "array", "minItems": 1, "maxItems": 200, "items": row}}});
        for (name, schema) in Common::schemas() {
            many["properties"][name] = schema;
        }
        body.schema = json!({"anyOf": [one, many]});
    }
    pieces.answer.schema = json!({"anyOf": [
        {"$ref": "#/components/schemas/Piece"},
        {"type": "object", "required": ["pieces"], "properties": {
            "pieces": {"type": "array", "items": {"$ref": "#/components/schemas/Piece"}}}}
    ]});
    let piece_kit = kit.clone();
    pieces.handler = handler(move |ctx| {
        let kit = piece_kit.clone();
        async move { take_pieces(&kit, ctx).await }
    });
    let mut recast = post::<Recasts>(
        kit,
        "/v1/castings/{id}/recast",
        "recast_create",
        "Cast a part again: answers the next attempt",
        Right::Log,
        Some(UNDER_CASTING),
    );
    recast.answer.schema = json!({"$ref": "#/components/schemas/Casting"});
    let recast_kit = kit.clone();
    recast.handler = handler(move |ctx| {
        let kit = recast_kit.clone();
        async move { recast_one(&kit, ctx).await }
    });
    let mut out = vec![
        pieces,
        recast,
        post::<Waxes>(kit, "/v1/castings/{id}/waxes", "wax_create", "Record a wax", Right::Log, Some(UNDER_CASTING)),
    ];
    out.extend(standard::<Pieces>(
        kit,
        &[
            ListFilter::Refers { member: "commission_id", kind: Kind::Commission },
            ListFilter::Refers { member: "pattern_id", kind: Kind::Pattern },
        ],
        Right::Correct,
    ));
    out.extend(standard::<Waxes>(kit, of_casting, Right::Correct));
    out.extend(standard::<Recasts>(kit, of_casting, Right::Correct));
    out.extend(reading(kit, Kind::Casting, store::FILTERS).into_iter().filter(|r| !r.path.ends_with("{id}")));
    out
}

async fn take_pieces(kit: &Kit, ctx: Ctx) -> Result<Reply, Problem> {
    let text = ctx.part("id").to_owned();
    let rows = match &ctx.body {
        Value::Object(object) if object.contains_key("rows") => {
            let mut rest = object.clone();
            rest.shift_remove("rows");
            let bodies = read_rows(object, &text);
            // The common members are read beside the rows, so that all faults are named at once.
            let common = Common::read_alone(&rest, ctx.now);
            match (bodies, common) {
                (Ok(bodies), Ok(common)) => Some((common, bodies)),
                (Err(mut one), Err(two)) => {
                    one.faults.extend(two.faults);
                    return Err(Problem::invalid(one.faults));
                }
                (Err(problem), _) | (_, Err(problem)) => return Err(problem),
            }
        }
        _ => None,
    };
    let one = rows.is_none();
    let mut drafts: Vec<Draft<PieceBody>> = match rows {
        Some((common, bodies)) => bodies.into_iter().map(|body| Draft { common: common.along(), body }).collect(),
        None => vec![read_draft(&ctx, false, Some(("commission_id", &text)))?],
    };
    let mut asks = Asks::default();
    for draft in &mut drafts {
        asks.add_draft(draft);
    }
    asks.add(Kind::Commission, &text);
    let if_match = ctx.if_match.clone();
    act(kit, &ctx, asks, |tx, answers| {
        let (mut drafts, text, if_match) = (drafts.clone(), text.clone(), if_match.clone());
        Box::pin(async move {
            let found = in_path(answers, Kind::Commission, &text)?;
            check_match(tx, Kind::Commission, found.seq, if_match.as_deref()).await?;
            let mut faults = Vec::new();
            for (i, draft) in drafts.iter_mut().enumerate() {
                if let Err(problem) = fill_draft(answers, draft) {
                    if problem.faults.is_empty() {
                        return Err(problem);
                    }
                    let at = if one { String::new() } else { format!("/rows/{i}") };
                    faults.extend(
                        problem.faults.into_iter().map(|f| crate::kernel::Fault { pointer: format!("{at}{}", f.pointer), ..f }),
                    );
                }
            }
            if !faults.is_empty() {
                return Err(Problem::invalid(faults));
            }
            let mut seqs = Vec::new();
            for draft in drafts {
                seqs.push(verbs::create::<Pieces>(tx, draft).await?.seq);
            }
            Ok(Acted { many: (!one).then_some("pieces"), ..Acted::many("pieces", seqs) })
        })
    })
    .await
}

async fn recast_one(kit: &Kit, ctx: Ctx) -> Result<Reply, Problem> {
    let text = ctx.part("id").to_owned();
    let mut draft: Draft<RecastBody> = read_draft(&ctx, true, Some(("casting_id", &text)))?;
    let mut asks = Asks::default();
    asks.add_draft(&mut draft);
    asks.add(Kind::Casting, &text);
    let if_match = ctx.if_match.clone();
    act(kit, &ctx, asks, |tx, answers| {
        let (mut draft, text, if_match) = (draft.clone(), text.clone(), if_match.clone());
        Box::pin(async move {
            let found = in_path(answers, Kind::Casting, &text)?;
            check_match(tx, Kind::Casting, found.seq, if_match.as_deref()).await?;
            fill_draft(answers, &mut draft)?;
            let made = verbs::create::<Recasts>(tx, draft).await?;
            // The casting was dealt the number after the recast's own.
            let mut acted = Acted::many("", vec![made.seq + 1]);
            acted.many = None;
            acted.more.insert("recast_id".into(), made.id.to_string().into());
            Ok(acted)
        })
    })
    .await
}

/// What is shown of castings beside their bodies.
pub fn extras<'a>(read: &'a mut ReadTx, seqs: &'a [Seq]) -> Adding<'a> {
    Box::pin(async move {
        let shown = store::shown(read, seqs).await?;
        Ok(shown.into_iter().map(|(seq, value)| (seq, casting_members(&value))).collect())
    })
}

fn casting_members(value: &Value) -> Map<String, Value> {
    let mut out = Map::new();
    for name in ["tag", "stage", "verdict", "alloy", "section_mm", "shell_tag"] {
        out.insert(name.to_owned(), value[name].clone());
    }
    if let Some(ms) = value["stage_ms"].as_i64() {
        out.insert("stage_since".into(), Instant::from_ms(ms).to_string().into());
    }
    if let Some(mg) = value["wax_mg"].as_i64() {
        out.insert("wax_kg".into(), json!(crate::kernel::Mass::from_mg(mg).kg()));
    }
    out.insert("pattern_material".into(), value["material"].clone());
    out.insert("unique".into(), (value["unique"] == json!(1)).into());
    for (name, member) in [("shell", "shell_id"), ("commission", "commission_id"), ("pattern", "pattern_id")] {
        if let Some(id) = value[name].as_str().and_then(|hex| uuid::Uuid::parse_str(hex).ok()) {
            out.insert(member.to_owned(), id.to_string().into());
        }
    }
    out
}

/// Nothing beside the body: the castings stand embedded.
pub fn piece_extras<'a>(_: &'a mut ReadTx, _: &'a [Seq]) -> Adding<'a> {
    Box::pin(async { Ok(HashMap::new()) })
}

/// How its records are corrected, for what corrects records of many kinds.
#[must_use]
pub fn correctors() -> Vec<(Kind, Corrector)> {
    vec![corrector::<Pieces>(), corrector::<Castings>(), corrector::<Waxes>(), corrector::<Recasts>()]
}

/// The schemas of what is answered.
#[must_use]
pub fn schemas() -> Vec<(Kind, Value)> {
    let text = json!({"type": "string"});
    let id = json!({"type": "string", "format": "uuid"});
    let mut more = Map::new();
    for (name, schema) in [
        ("tag", text.clone()),
        ("stage", text.clone()),
        ("verdict", text.clone()),
        ("alloy", text.clone()),
        ("section_mm", json!({"type": "number"})),
        ("shell_tag", text.clone()),
        ("pattern_material", text),
        ("stage_since", json!({"type": "string", "format": "date-time"})),
        ("wax_kg", json!({"type": "number"})),
        ("unique", json!({"type": "boolean"})),
        ("shell_id", id.clone()),
        ("commission_id", id.clone()),
        ("pattern_id", id.clone()),
        ("recast_id", id),
    ] {
        more.insert(name.into(), schema);
    }
    vec![
        (Kind::Piece, record_schema::<PieceBody>(Kind::Piece, &Map::new(), &[("castings", Kind::Casting)])),
        (Kind::Casting, record_schema::<CastingBody>(Kind::Casting, &more, &[])),
        (Kind::Wax, record_schema::<WaxBody>(Kind::Wax, &Map::new(), &[])),
        (Kind::Recast, record_schema::<RecastBody>(Kind::Recast, &Map::new(), &[])),
    ]
}
