//! A class pour taken in at once: a row for each maker becomes a pattern, a piece, a casting with its
//! tag and its weighed wax, and the shells around them.

use super::model::ShellBody;
use super::verbs::Shells;
use crate::body;
use crate::book::api::{Acted, Kit, act, check_match, fill_draft, in_path, read_draft, request_schema};
use crate::book::resolve::Asks;
use crate::book::verbs::create_along;
use crate::book::{Common, Draft};
use crate::db::WriteTx;
use crate::kernel::actor::Right;
use crate::kernel::field::{Inline, Kg, List, Many, Nested, Parent, Ref, Text};
use crate::kernel::id::{Casting, Commission, Recipe};
use crate::kernel::{Kind, Mass, Millimetres, Problem};
use crate::shop::casting::{self, PieceBody, Pieces, WaxBody, Waxes};
use crate::shop::pattern::{PatternBody, PatternKind, Patterns};
use crate::web::route::handler;
use crate::web::{Answer, Ctx, Method, Reply, RequestBody, Route};
use serde_json::json;
use std::collections::BTreeMap;

body! {
    /// What one maker brought.
    pub struct MakerRow {
        /// Who made it.
        maker: Text<120>,
        /// What it is called.
        title: Text<120>,
        /// What its wax weighs.
        wax_kg: Kg<1>,
        /// Which rows share a shell: those with the same word here. Without one it has a shell of its own.
        shell: Option<Text<20>>,
        /// Its own thinnest section.
        section_mm: Option<Millimetres>,
    }
}

body! {
    /// The rows of a class, and what is alike in all of them.
    pub struct ClassBody {
        /// The commission.
        commission_id: Parent<Commission>,
        /// What they are cast in.
        alloy: Text<40>,
        /// The recipe of their shells.
        recipe_id: Ref<Recipe>,
        /// Wax of the gating of one shell.
        gating_kg: Kg<0>,
        /// What the patterns are of; microcrystalline wax if not said.
        material: Option<Text<40>>,
        /// The thinnest section where a row does not say its own; 6 mm if not said.
        section_mm: Option<Millimetres>,
        /// The makers.
        rows: List<Nested<MakerRow>, 100>,
    }
}

/// The section of a class's work where nobody says one, in mm: common practice, no source.
const SECTION_MM: f64 = 6.0;

/// The route that takes a class in.
#[must_use]
pub fn routes(kit: &Kit) -> Vec<Route> {
    let kit = kit.clone();
    vec![Route {
        method: Method::Post,
        path: "/v1/commissions/{id}/class".into(),
        operation: "class_create".into(),
        right: Right::Log,
        about: "Take a class in: a pattern, piece, casting and wax for each maker, and their shells".into(),
        heading: "Patterns, pieces and castings",
        params: Vec::new(),
        body: Some(RequestBody {
            name: "ClassNew".into(),
            schema: request_schema::<ClassBody>(false, Some("commission_id")),
            merge_patch: false,
        }),
        answer: Answer {
            status: 201,
            about: "The pieces, with their castings and tags",
            media: "application/json",
            schema: json!({"type": "object", "required": ["pieces"], "properties": {
                "pieces": {"type": "array", "items": {"$ref": "#/components/schemas/Piece"}}}}),
            etag: false,
        },
        handler: handler(move |ctx| {
            let kit = kit.clone();
            async move { take_in(&kit, ctx).await }
        }),
    }]
}

async fn take_in(kit: &Kit, ctx: Ctx) -> Result<Reply, Problem> {
    let text = ctx.part("id").to_owned();
    let mut draft: Draft<ClassBody> = read_draft(&ctx, false, Some(("commission_id", &text)))?;
    let mut asks = Asks::default();
    asks.add_draft(&mut draft);
    asks.add(Kind::Commission, &text);
    let if_match = ctx.if_match.clone();
    act(kit, &ctx, asks, |tx, answers| {
        let (mut draft, text, if_match) = (draft.clone(), text.clone(), if_match.clone());
        Box::pin(async move {
            let found = in_path(answers, Kind::Commission, &text)?;
            check_match(tx, Kind::Commission, found.seq, if_match.as_deref()).await?;
            fill_draft(answers, &mut draft)?;
            let Draft { common, body } = draft;
            let mut shells: BTreeMap<(bool, String), Vec<Ref<Casting>>> = BTreeMap::new();
            let mut seqs = Vec::new();
            for (n, row) in body.rows.0.iter().enumerate() {
                let (piece, castings) = one(tx, &common, &body, &row.0).await?;
                seqs.push(piece);
                let label =
                    row.0.shell.as_ref().map_or_else(|| (false, format!("{n:03}")), |label| (true, label.0.to_lowercase()));
                shells.entry(label).or_default().extend(castings);
            }
            for castings in shells.into_values() {
                let shell = ShellBody {
                    recipe_id: body.recipe_id.clone(),
                    recipe_version: None,
                    recipe_version_id: None,
                    casting_ids: List(castings),
                    gating_kg: Some(body.gating_kg),
                    gating_cm3: None,
                    gating_material: None,
                    cups: Many::default(),
                    vents: None,
                    fed: None,
                    core: None,
                    tree_kg: None,
                    notes: None,
                };
                create_along::<Shells>(tx, &common, shell).await?;
            }
            Ok(Acted::many("pieces", seqs))
        })
    })
    .await
}

/// One maker's work: its pattern on file, its piece, its castings' waxes.
async fn one(tx: &mut WriteTx, common: &Common, class: &ClassBody, row: &MakerRow) -> Result<(i64, Vec<Ref<Casting>>), Problem> {
    let section = row.section_mm.or(class.section_mm).or(Millimetres::new(SECTION_MM));
    let section_mm = section.ok_or_else(|| Problem::internal("a section of 6 mm"))?;
    let pattern = PatternBody {
        name: row.title.clone(),
        material: class.material.clone().unwrap_or_else(|| Text("wax_micro".into())),
        mass_kg: Some(row.wax_kg),
        volume_cm3: None,
        section_mm,
        kind: Some(PatternKind::Unique),
        mould_id: None,
        dimensions_mm: None,
        area_cm2: None,
        owner_client_id: None,
        shelf: None,
        notes: None,
    };
    let (seq, id) = create_along::<Patterns>(tx, common, pattern).await?;
    let piece = PieceBody {
        commission_id: class.commission_id.clone(),
        pattern_id: Some(Ref::known(seq, id)),
        pattern: Inline(None),
        alloy: class.alloy.clone(),
        edition_mark: None,
        maker: Some(row.maker.clone()),
        parts: Many::default(),
    };
    let (piece, _) = create_along::<Pieces>(tx, common, piece).await?;
    let castings = casting::by_pieces(tx, &[piece]).await?;
    let mut out = Vec::new();
    for made in castings {
        let wax = WaxBody {
            casting_id: Parent(Ref::known(made.seq, made.id)),
            made: None,
            wax_kg: Some(Kg(Mass::from_mg(row.wax_kg.0.mg()))),
            wall_mm: None,
            mould_id: None,
            approved_at: None,
            volume_cm3: None,
            core_pins: None,
            core_pin_material: None,
        };
        create_along::<Waxes>(tx, common, wax).await?;
        out.push(Ref::known(made.seq, made.id));
    }
    Ok((piece, out))
}
