//! Recording pieces with their castings, waxes and recasts.

use super::model::{CastingBody, PartBody, PieceBody, RecastBody, RecastReason, WaxBody};
use super::store::{self, PatternRow};
use crate::book::verbs::{create_along, create_as};
use crate::book::{Common, Despite, Draft, Entry, Room, series};
use crate::db::WriteTx;
use crate::kernel::field::{Inline, Parent, Ref, Text, Whole};
use crate::kernel::{Fault, Kind, Problem, ProblemType};
use crate::shop::house::trade;
use crate::shop::pattern::Patterns;
use serde_json::Value;

/// Pieces.
pub enum Pieces {}

impl Room for Pieces {
    const KIND: Kind = Kind::Piece;
    const TABLE: &'static str = "piece";
    const AT_REQUIRED: bool = false;
    type Body = PieceBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<PieceBody>) -> Result<(), Problem> {
        put_inline_pattern_on_file(tx, &entry.common, &mut entry.body).await?;
        let catalogue = trade::of(tx).await?;
        match catalogue.alloy(&entry.body.alloy.0) {
            Some(alloy) => entry.body.alloy.0.clone_from(&alloy.designation),
            None => return Err(trade::no_alloy("/alloy", &entry.body.alloy.0)),
        }
        let Some(pattern) = &entry.body.pattern_id else {
            return Err(Problem::field("/pattern_id", "required", "Give pattern_id, or the pattern itself as pattern."));
        };
        let mut names: Vec<&str> = entry.body.parts.0.iter().map(|p| p.0.name.0.as_str()).collect();
        names.sort_unstable();
        if names.windows(2).any(|w| w[0] == w[1]) {
            return Err(Problem::field("/parts", "twice", "Two parts have one name."));
        }
        let columns: Vec<(&'static str, crate::db::Cell)> = vec![
            ("commission_seq", entry.body.commission_id.seq().into()),
            ("pattern_seq", pattern.seq().into()),
            ("alloy", entry.body.alloy.0.as_str().into()),
            ("edition_mark", entry.body.edition_mark.as_ref().map(|m| m.0.clone()).into()),
            ("maker", entry.body.maker.as_ref().map(|m| m.0.clone()).into()),
        ];
        entry.columns = columns;
        if entry.correcting {
            refit_castings(tx, entry).await?;
        }
        Ok(())
    }

    async fn along(tx: &mut WriteTx, entry: &mut Entry<PieceBody>) -> Result<(), Problem> {
        let parts: Vec<String> = if entry.body.parts.0.is_empty() {
            vec!["whole".into()]
        } else {
            entry.body.parts.0.iter().map(|p| p.0.name.0.clone()).collect()
        };
        for (n, part) in (1_i64..).zip(parts) {
            let body = CastingBody {
                piece_id: Parent(Ref::known(entry.seq, entry.id)),
                part: Text(part),
                part_n: Whole(n),
                attempt: Whole(1),
                recast_id: None,
            };
            create_along::<Castings>(tx, &entry.common, body).await?;
        }
        Ok(())
    }
}

async fn put_inline_pattern_on_file(tx: &mut WriteTx, common: &Common, body: &mut PieceBody) -> Result<(), Problem> {
    let Some(pattern) = body.pattern.0.take() else { return Ok(()) };
    if body.pattern_id.is_some() {
        return Err(Problem::field("/pattern", "one-of", "Give pattern_id or pattern, not both."));
    }
    let made = create_as::<Patterns>(tx, Draft { common: common.along(), body: pattern }).await;
    let (seq, id) = made.map_err(|problem| under("/pattern", problem))?;
    body.pattern_id = Some(Ref::known(seq, id));
    body.pattern = Inline(None);
    Ok(())
}

/// A problem of a nested body, its pointers moved under where the body stands.
fn under(at: &str, mut problem: Problem) -> Problem {
    for fault in &mut problem.faults {
        fault.pointer = format!("{at}{}", fault.pointer);
    }
    problem
}

/// After a correction of a piece, its castings take over alloy and pattern; its parts are fixed.
async fn refit_castings(tx: &mut WriteTx, entry: &Entry<PieceBody>) -> Result<(), Problem> {
    let castings = store::by_pieces(tx, &[entry.seq]).await?;
    let mut known: Vec<(i64, &str)> = castings.iter().map(|c| (c.part_n, c.part.as_str())).collect();
    known.dedup();
    let wanted: Vec<&str> = if entry.body.parts.0.is_empty() {
        vec!["whole"]
    } else {
        entry.body.parts.0.iter().map(|p| p.0.name.0.as_str()).collect()
    };
    if !known.iter().map(|(_, part)| *part).eq(wanted) {
        return Err(Problem::field("/parts", "fixed", "The parts have castings already. Void the piece and record it anew."));
    }
    for casting in &castings {
        let spec = part_spec(tx, &entry.body, casting.part_n).await?;
        tx.put("casting", casting.seq, &spec_columns(&spec, &entry.body.alloy.0, &casting_identity(casting)));
        tx.touch(Kind::Casting, casting.seq);
    }
    Ok(())
}

/// A piece as it stands: its commission, its alloy, and its body with the references found.
async fn piece_body(tx: &mut WriteTx, piece: i64) -> Result<(i64, String, PieceBody), Problem> {
    let (commission, _, alloy, body) =
        store::piece(tx, piece).await?.ok_or_else(|| Problem::internal(format!("piece {piece} of a casting")))?;
    let mut draft = Draft::<PieceBody>::read(&body, tx.now(), false)?;
    let mut asks = crate::book::resolve::Asks::default();
    asks.add_draft(&mut draft);
    asks.look(tx, None).await?.fill(&mut draft, &mut Vec::new());
    Ok((commission, alloy, draft.body))
}

/// After a correction of a pattern, every casting of a part that has it takes it over.
///
/// # Errors
/// As the database says.
pub async fn refit_pattern(tx: &mut WriteTx, pattern: i64) -> Result<(), Problem> {
    for piece in store::pieces_of_pattern(tx, pattern).await? {
        refit_piece(tx, piece).await?;
    }
    Ok(())
}

/// Gives the castings of a piece what they keep of its alloy and their patterns.
///
/// # Errors
/// As the database says.
pub async fn refit_piece(tx: &mut WriteTx, piece: i64) -> Result<(), Problem> {
    let (_, alloy, body) = piece_body(tx, piece).await?;
    for casting in store::by_pieces(tx, &[piece]).await? {
        let spec = part_spec(tx, &body, casting.part_n).await?;
        tx.put("casting", casting.seq, &spec_columns(&spec, &alloy, &casting_identity(&casting)));
        tx.touch(Kind::Casting, casting.seq);
    }
    tx.note_acting(Kind::Piece, piece, false);
    Ok(())
}

/// After a commission was corrected to be another client's, its castings are that client's: the
/// metal in them is looked at anew.
///
/// # Errors
/// As the database says.
pub async fn refit_commission(tx: &mut WriteTx, commission: i64) -> Result<(), Problem> {
    for casting in store::by_commission(tx, commission).await? {
        tx.touch(Kind::Casting, casting.seq);
        tx.note_acting(Kind::Piece, casting.piece_seq, false);
    }
    Ok(())
}

fn casting_identity(row: &store::CastingRow) -> Vec<(&'static str, crate::db::Cell)> {
    vec![
        ("tag", row.tag.as_str().into()),
        ("piece_seq", row.piece_seq.into()),
        ("commission_seq", row.commission_seq.into()),
        ("part", row.part.as_str().into()),
        ("part_n", row.part_n.into()),
        ("attempt", row.attempt.into()),
    ]
}

async fn part_spec(tx: &mut WriteTx, body: &PieceBody, part_n: i64) -> Result<PatternRow, Problem> {
    let index = usize::try_from(part_n - 1).unwrap_or(0);
    let part: Option<&PartBody> = body.parts.0.get(index).map(|p| &p.0);
    let own = part.and_then(|p| p.pattern_id.as_ref());
    let pattern = own.or(body.pattern_id.as_ref()).map_or(-1, Ref::seq);
    let mut row =
        store::patterns(tx, &[pattern]).await?.pop().ok_or_else(|| Problem::internal(format!("pattern {pattern} of a piece")))?;
    if let Some(part) = part {
        if let Some(mass) = part.mass_kg {
            row.mass_mg = Some(mass.0.mg());
            row.volume_cm3 = None;
        }
        if let Some(section) = part.section_mm {
            row.section_mm = section.get();
        }
    }
    Ok(row)
}

fn spec_columns(
    spec: &PatternRow,
    alloy: &str,
    identity: &[(&'static str, crate::db::Cell)],
) -> Vec<(&'static str, crate::db::Cell)> {
    let mut out = identity.to_vec();
    out.extend([
        ("pattern_seq", spec.seq.into()),
        ("alloy", alloy.into()),
        ("pattern_kind", spec.kind.as_str().into()),
        ("material", spec.material.as_str().into()),
        ("section_mm", spec.section_mm.into()),
        ("mass_mg", spec.mass_mg.into()),
        ("volume_cm3", spec.volume_cm3.into()),
    ]);
    out
}

/// Castings.
pub enum Castings {}

impl Room for Castings {
    const KIND: Kind = Kind::Casting;
    const TABLE: &'static str = "casting";
    const AT_REQUIRED: bool = false;
    type Body = CastingBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<CastingBody>) -> Result<(), Problem> {
        let piece = entry.body.piece_id.seq();
        let (commission, alloy, body) = piece_body(tx, piece).await?;
        let spec = part_spec(tx, &body, entry.body.part_n.0).await?;
        let tag = match store::tag_of(tx, entry.seq).await? {
            Some(tag) => tag,
            None => series::tag(tx, entry.seq).await?.to_string(),
        };
        let identity: Vec<(&'static str, crate::db::Cell)> = vec![
            ("tag", tag.into()),
            ("piece_seq", piece.into()),
            ("commission_seq", commission.into()),
            ("part", entry.body.part.0.as_str().into()),
            ("part_n", entry.body.part_n.0.into()),
            ("attempt", entry.body.attempt.0.into()),
        ];
        entry.columns = spec_columns(&spec, &alloy, &identity);
        tx.touch(Kind::Casting, entry.seq);
        Ok(())
    }
}

/// Waxes.
pub enum Waxes {}

impl Room for Waxes {
    const KIND: Kind = Kind::Wax;
    const TABLE: &'static str = "wax";
    type Body = WaxBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<WaxBody>) -> Result<(), Problem> {
        let casting = entry.body.casting_id.seq();
        let body = &entry.body;
        entry.columns = vec![
            ("casting_seq", casting.into()),
            ("wax_mg", body.wax_kg.map(|m| m.0).into()),
            ("made", body.made.map(super::model::Made::name).into()),
            ("mould_seq", body.mould_id.as_ref().map(Ref::seq).into()),
        ];
        entry.bear(casting);
        tx.touch(Kind::Casting, casting);
        Ok(())
    }
}

/// Recasts.
pub enum Recasts {}

impl Room for Recasts {
    const KIND: Kind = Kind::Recast;
    const TABLE: &'static str = "recast";
    type Body = RecastBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<RecastBody>) -> Result<(), Problem> {
        let casting = entry.body.casting_id.seq();
        let row = store::by_seqs(tx, &[casting]).await?.pop();
        let row = row.ok_or_else(|| Problem::internal(format!("casting {casting}")))?;
        if !entry.correcting {
            may_recast(tx, entry, &row).await?;
        }
        let reason = entry.body.reason.unwrap_or(RecastReason::Scrapped);
        entry.body.reason = Some(reason);
        entry.columns = vec![("casting_seq", casting.into()), ("reason", reason.name().into())];
        entry.bear(casting);
        tx.touch(Kind::Casting, casting);
        Ok(())
    }

    async fn along(tx: &mut WriteTx, entry: &mut Entry<RecastBody>) -> Result<(), Problem> {
        let casting = entry.body.casting_id.seq();
        let row = store::by_seqs(tx, &[casting]).await?.pop();
        let row = row.ok_or_else(|| Problem::internal(format!("casting {casting}")))?;
        let body = CastingBody {
            piece_id: Parent(Ref::known(row.piece_seq, row_piece_id(tx, row.piece_seq).await?)),
            part: Text(row.part.clone()),
            part_n: Whole(row.part_n),
            attempt: Whole(row.attempt + 1),
            recast_id: Some(Ref::known(entry.seq, entry.id)),
        };
        let (next, _) = create_along::<Castings>(tx, &entry.common, body).await?;
        store::set_next(tx, entry.seq, next);
        Ok(())
    }
}

async fn row_piece_id(tx: &mut WriteTx, piece: i64) -> Result<uuid::Uuid, Problem> {
    crate::book::verbs::standing(tx, Kind::Piece, piece).await.map(|s| s.id)
}

async fn may_recast(tx: &mut WriteTx, entry: &Entry<RecastBody>, row: &store::CastingRow) -> Result<(), Problem> {
    let attempts = store::by_pieces(tx, &[row.piece_seq]).await?;
    let later = attempts.iter().find(|c| c.part_n == row.part_n && c.attempt > row.attempt);
    if let Some(later) = later {
        return Err(Problem::new(
            ProblemType::OutOfRoute,
            format!("Attempt {} of this part is {} already; recast that one.", later.attempt, later.tag),
        ));
    }
    if row.stage != "scrapped" {
        match entry.body.reason {
            None => {
                return Err(Problem::new(
                    ProblemType::StillGood,
                    format!(
                        "{} is still good (stage {}). Say why another is wanted: reason spare, lost, damaged or refused; or scrap it first.",
                        row.tag, row.stage
                    ),
                )
                // Its scrap may be on its way.
                .with("may_follow", true));
            }
            Some(RecastReason::Scrapped) if !entry.despite(Despite::NotOnRecord) => {
                return Err(Problem::new(
                    ProblemType::NotYet,
                    format!("{} is not scrapped on record (stage {}).", row.tag, row.stage),
                ));
            }
            Some(_) => {}
        }
    }
    if row.pattern_kind == "unique" {
        if entry.body.how.is_none() {
            return Err(Problem::new(
                ProblemType::PatternIsUnique,
                format!(
                    "The pattern of {} was unique. Say how its form was had again: how remodelled, moulded_off_failed or new_original, with despite: [pattern_is_unique].",
                    row.tag
                ),
            ));
        }
        if !entry.despite(Despite::PatternIsUnique) {
            return Err(Problem::new(
                ProblemType::PatternIsUnique,
                format!(
                    "The pattern of {} was unique and is gone. If it is really cast again, say despite: [pattern_is_unique].",
                    row.tag
                ),
            ));
        }
    }
    Ok(())
}

/// The most castings that one request makes.
const CASTINGS_MAX: usize = 400;

/// Reads `rows` of a class pour: each a piece, its faults under its own pointer.
///
/// # Errors
/// `invalid`, naming every wrong field of every row.
pub fn read_rows(object: &serde_json::Map<String, Value>, commission: &str) -> Result<Vec<PieceBody>, Problem> {
    use crate::kernel::field::{Faults, Field as _, List, Nested};
    let mut rows = object.get("rows").cloned().unwrap_or(Value::Null);
    let mut faults: Vec<Fault> = Vec::new();
    if let Value::Array(items) = &mut rows {
        for (i, item) in items.iter_mut().enumerate() {
            if let Value::Object(row) = item {
                if row.contains_key("commission_id") {
                    faults.push(Fault {
                        pointer: format!("/rows/{i}/commission_id"),
                        code: "in-path",
                        message: "The path says that already; leave it out.".into(),
                    });
                }
                row.insert("commission_id".into(), commission.into());
            }
        }
    }
    let mut collect = Faults(faults);
    let read = List::<Nested<PieceBody>, 200>::read(Some(&rows), "/rows", &mut collect);
    match read {
        Some(list) if collect.0.is_empty() => {
            let bodies: Vec<PieceBody> = list.0.into_iter().map(|n| n.0).collect();
            let castings: usize = bodies.iter().map(|b| b.parts.0.len().max(1)).sum();
            if castings > CASTINGS_MAX {
                let said =
                    format!("That makes {castings} castings; at most {CASTINGS_MAX} in one request. Send the rows in several.");
                return Err(Problem::field("/rows", "length", said));
            }
            Ok(bodies)
        }
        _ => Err(Problem::invalid(collect.0)),
    }
}
