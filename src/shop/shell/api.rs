//! `/v1/recipes`, `/v1/slurry-batches`, `/v1/shells`, `/v1/coats`, `/v1/patches`.

use super::model::{CoatBody, PatchBody, RecipeBody, RecipeVersionBody, ShellBody, SlurryBatchBody, SlurryCheckBody};
use super::store;
use super::verbs::{Coats, Patches, RecipeVersions, Recipes, Shells, SlurryBatches, SlurryChecks};
use crate::book::api::{Acted, InPath, Kit, ListFilter, act, fill_draft, post, record_schema, request_schema, standard};
use crate::book::merging::{Corrector, corrector};
use crate::book::render::Adding;
use crate::book::resolve::Asks;
use crate::book::{Draft, verbs};
use crate::db::ReadTx;
use crate::kernel::actor::Right;
use crate::kernel::field::{Faults, Field as _, List, Parent, Ref};
use crate::kernel::id::Shell;
use crate::kernel::{Kind, Problem, Seq};
use crate::web::route::handler;
use crate::web::{Ctx, Reply, Route};
use serde_json::{Map, Value, json};

const UNDER_SHELL: InPath = InPath { kind: Kind::Shell, member: "shell_id" };

/// The routes.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let of_shell: &[ListFilter] = &[ListFilter::Refers { member: "shell_id", kind: Kind::Shell }];
    let mut out = vec![
        post::<Recipes>(kit, "/v1/recipes", "recipe_create", "Write down a recipe, version 1", Right::Log, None),
        post::<RecipeVersions>(
            kit,
            "/v1/recipes/{id}/versions",
            "recipe_version_create",
            "Write down the next version of a recipe",
            Right::Log,
            Some(InPath { kind: Kind::Recipe, member: "recipe_id" }),
        ),
        post::<SlurryBatches>(kit, "/v1/slurry-batches", "slurry_batch_create", "Mix a slurry batch", Right::Log, None),
        post::<SlurryChecks>(
            kit,
            "/v1/slurry-batches/{id}/checks",
            "slurry_check_create",
            "Check a slurry batch",
            Right::Log,
            Some(InPath { kind: Kind::SlurryBatch, member: "slurry_batch_id" }),
        ),
        without_version_id(post::<Shells>(kit, "/v1/shells", "shell_create", "Build a shell around castings", Right::Log, None)),
        post::<Coats>(kit, "/v1/shells/{id}/coats", "shell_coat_create", "Dip a shell", Right::Log, Some(UNDER_SHELL)),
        rack_route(kit),
        post::<Patches>(kit, "/v1/shells/{id}/patches", "patch_create", "Patch a shell", Right::Log, Some(UNDER_SHELL)),
    ];
    out.extend(super::class::routes(kit));
    out.extend(standard::<Recipes>(kit, &[], Right::Correct));
    out.extend(standard::<RecipeVersions>(
        kit,
        &[ListFilter::Refers { member: "recipe_id", kind: Kind::Recipe }],
        Right::Correct,
    ));
    out.extend(standard::<SlurryBatches>(kit, &[], Right::Correct));
    out.extend(standard::<SlurryChecks>(
        kit,
        &[ListFilter::Refers { member: "slurry_batch_id", kind: Kind::SlurryBatch }],
        Right::Correct,
    ));
    out.extend(standard::<Shells>(
        kit,
        &[
            ListFilter::Refers { member: "recipe_id", kind: Kind::Recipe },
            ListFilter::Refers { member: "casting_ids", kind: Kind::Casting },
        ],
        Right::Correct,
    ));
    out.extend(standard::<Coats>(
        kit,
        &[
            ListFilter::Refers { member: "shell_id", kind: Kind::Shell },
            ListFilter::Refers { member: "slurry_batch_id", kind: Kind::SlurryBatch },
        ],
        Right::Correct,
    ));
    out.extend(standard::<Patches>(kit, of_shell, Right::Correct));
    out
}

/// The version's id is found from the recipe, never given.
fn without_version_id(mut route: Route) -> Route {
    if let Some(body) = &mut route.body
        && let Some(properties) = body.schema["properties"].as_object_mut()
    {
        properties.shift_remove("recipe_version_id");
    }
    route
}

fn rack_route(kit: &Kit) -> Route {
    let mut route = post::<Coats>(kit, "/v1/coats", "coat_create", "Dip a rack of shells", Right::Log, None);
    let mut schema = request_schema::<CoatBody>(true, Some("shell_id"));
    schema["properties"]["shell_ids"] = List::<Ref<Shell>, 200>::schema();
    if let Some(required) = schema["required"].as_array_mut() {
        required.push("shell_ids".into());
    }
    if let Some(body) = &mut route.body {
        body.schema = schema;
    }
    route.answer.schema = json!({"type": "object", "required": ["coats"], "properties": {
        "coats": {"type": "array", "items": {"$ref": "#/components/schemas/Coat"}}}});
    route.answer.etag = false;
    let kit = kit.clone();
    route.handler = handler(move |ctx| {
        let kit = kit.clone();
        async move { dip_rack(&kit, ctx).await }
    });
    route
}

pub(super) async fn dip_rack(kit: &Kit, ctx: Ctx) -> Result<Reply, Problem> {
    let mut value = ctx.body.clone();
    let mut faults = Faults::default();
    let shells = value.as_object_mut().and_then(|object| {
        let ids = object.shift_remove("shell_ids");
        List::<Ref<Shell>, 200>::read(ids.as_ref(), "/shell_ids", &mut faults)
    });
    let draft = match Draft::<CoatBody>::read(&value, ctx.now, true) {
        Ok(draft) => Some(draft),
        Err(problem) => {
            faults.0.extend(problem.faults);
            None
        }
    };
    let (Some(shells), Some(draft)) = (shells, draft) else { return Err(Problem::invalid(faults.0)) };
    let mut drafts: Vec<Draft<CoatBody>> = shells
        .0
        .into_iter()
        .map(|shell| {
            let mut one = draft.clone();
            one.body.shell_id = Parent(shell);
            one
        })
        .collect();
    if drafts.len() > 1 && draft.common.id.is_some() {
        return Err(Problem::field("/id", "one-of", "One id cannot be the id of several coats; leave it out."));
    }
    let mut asks = Asks::default();
    for draft in &mut drafts {
        asks.add_draft(draft);
    }
    act(kit, &ctx, asks, |tx, answers| {
        let mut drafts = drafts.clone();
        Box::pin(async move {
            let mut faults = Vec::new();
            for (i, draft) in drafts.iter_mut().enumerate() {
                if let Err(problem) = fill_draft(answers, draft) {
                    if problem.faults.is_empty() {
                        return Err(problem);
                    }
                    faults.extend(problem.faults.into_iter().map(|mut f| {
                        if f.pointer == "/shell_id" {
                            f.pointer = format!("/shell_ids/{i}");
                        }
                        f
                    }));
                }
            }
            faults.dedup();
            if !faults.is_empty() {
                return Err(Problem::invalid(faults));
            }
            let mut seqs = Vec::new();
            for draft in drafts {
                seqs.push(verbs::create::<Coats>(tx, draft).await?.seq);
            }
            Ok(Acted::many("coats", seqs))
        })
    })
    .await
}

/// The tag, recipe and version of shells.
pub fn extras<'a>(read: &'a mut ReadTx, seqs: &'a [Seq]) -> Adding<'a> {
    Box::pin(async move {
        let shown = store::shown(read, seqs).await?;
        Ok(shown
            .into_iter()
            .map(|(seq, value)| {
                let mut out = Map::new();
                out.insert("tag".into(), value["tag"].clone());
                out.insert("recipe".into(), value["recipe"].clone());
                out.insert("recipe_version".into(), value["version"].clone());
                (seq, out)
            })
            .collect())
    })
}

/// The number of recipe versions.
pub fn version_extras<'a>(read: &'a mut ReadTx, seqs: &'a [Seq]) -> Adding<'a> {
    Box::pin(async move {
        let numbers = store::version_numbers(read, seqs).await?;
        Ok(numbers
            .into_iter()
            .map(|(seq, version)| (seq, Map::from_iter([("recipe_version".to_owned(), json!(version))])))
            .collect())
    })
}

/// How its records are corrected, for what corrects records of many kinds.
#[must_use]
pub fn correctors() -> Vec<(Kind, Corrector)> {
    vec![
        corrector::<Recipes>(),
        corrector::<RecipeVersions>(),
        corrector::<SlurryBatches>(),
        corrector::<SlurryChecks>(),
        corrector::<Shells>(),
        corrector::<Coats>(),
        corrector::<Patches>(),
    ]
}

/// The schemas of what is answered.
#[must_use]
pub fn schemas() -> Vec<(Kind, Value)> {
    let version = json!({"type": "integer", "minimum": 1});
    let shell = Map::from_iter([
        ("tag".to_owned(), json!({"type": "string"})),
        ("recipe".to_owned(), json!({"type": "string"})),
        ("recipe_version".to_owned(), version.clone()),
    ]);
    let none = Map::new();
    vec![
        (Kind::Recipe, record_schema::<RecipeBody>(Kind::Recipe, &none, &[("versions", Kind::RecipeVersion)])),
        (
            Kind::RecipeVersion,
            record_schema::<RecipeVersionBody>(
                Kind::RecipeVersion,
                &Map::from_iter([("recipe_version".to_owned(), version)]),
                &[],
            ),
        ),
        (Kind::SlurryBatch, record_schema::<SlurryBatchBody>(Kind::SlurryBatch, &none, &[("checks", Kind::SlurryCheck)])),
        (Kind::SlurryCheck, record_schema::<SlurryCheckBody>(Kind::SlurryCheck, &none, &[])),
        (Kind::Shell, record_schema::<ShellBody>(Kind::Shell, &shell, &[("coats", Kind::Coat), ("patches", Kind::Patch)])),
        (Kind::Coat, record_schema::<CoatBody>(Kind::Coat, &none, &[])),
        (Kind::Patch, record_schema::<PatchBody>(Kind::Patch, &none, &[])),
    ]
}
