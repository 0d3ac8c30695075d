//! Work in progress: the metal in heats, in shells, and in castings not yet delivered, now or
//! at any instant; in all what the metal balance of that instant has there.

use super::ask;
use super::store::progress::{self, Named};
use crate::db::ReadTx;
use crate::kernel::{Mass, Money, Problem, Seq};
use crate::science::ledger::Account;
use crate::shop::casting::{self, CastingRow, route::Stage};
use crate::shop::metal::{Held, held};
use crate::web::Ctx;
use serde_json::{Value, json};
use std::collections::BTreeMap;

fn shown(mass: Mass, value: Money) -> Value {
    json!({"mass_kg": mass.kg(), "value_minor": value.minor()})
}

fn sum<'a>(of: impl IntoIterator<Item = &'a Held>) -> (Mass, Money) {
    of.into_iter().fold((Mass::ZERO, Money::ZERO), |sum, h| (sum.0 + h.mass, sum.1 + h.value))
}

/// What stands on heats or shells, with rows that open them.
fn places(held: &[Held], names: &[Named], collection: &str, name: &str) -> Value {
    let rows: Vec<Value> = held
        .iter()
        .filter_map(|h| {
            let named = names.iter().find(|n| n.seq == h.seq)?;
            let mut row = shown(h.mass, h.value);
            row["id"] = named.id.to_string().into();
            row[name] = named.name.as_str().into();
            row["href"] = format!("/v1/{collection}/{}", named.id).into();
            Some(row)
        })
        .collect();
    let (mass, value) = sum(held);
    let mut out = shown(mass, value);
    out["rows"] = rows.into();
    out
}

fn casting_row(held: &Held, casting: &CastingRow, stage: &str) -> Value {
    let mut row = shown(held.mass, held.value);
    row["id"] = casting.id.to_string().into();
    row["tag"] = casting.tag.as_str().into();
    row["stage"] = stage.into();
    row["href"] = format!("/v1/castings/{}", casting.tag).into();
    row
}

/// The report.
///
/// # Errors
/// `malformed`; as the database says.
pub async fn report(read: &mut ReadTx, ctx: &Ctx) -> Result<Value, Problem> {
    let at = ask::instant(ctx, "at")?;
    let all = held(read, at).await?;
    let of = |account: Account| -> Vec<Held> {
        let code = i64::from(account.code().0);
        all.iter().copied().filter(|h| h.kind == code).collect()
    };
    let seqs = |list: &[Held]| -> Vec<Seq> { list.iter().map(|h| h.seq).collect() };
    let (heats, shells, castings) = (of(Account::Heat(0)), of(Account::Shell(0)), of(Account::Casting(0)));
    let heat_names = progress::heats(read, &seqs(&heats)).await?;
    let shell_names = progress::shells(read, &seqs(&shells)).await?;
    let rows = casting::by_seqs(read, &seqs(&castings)).await?;
    let stood = match at {
        Some(_) => casting::stood(read, &seqs(&castings), at).await?,
        None => BTreeMap::new(),
    };
    let (mut items, mut by_stage) = (Vec::new(), BTreeMap::<(usize, String), Vec<&Held>>::new());
    let mut given_up = Vec::new();
    let mut by_piece = BTreeMap::<Seq, Vec<&Held>>::new();
    for holds in &castings {
        let Some(casting) = rows.iter().find(|c| c.seq == holds.seq) else { continue };
        let stage = stood.get(&holds.seq).map_or(casting.stage.as_str(), |walked| walked.stage.name());
        items.push(casting_row(holds, casting, stage));
        if stage == Stage::Scrapped.name() || stage == Stage::Lost.name() {
            given_up.push(*holds);
        }
        let place = Stage::ALL.iter().position(|s| s.name() == stage).unwrap_or(usize::MAX);
        by_stage.entry((place, stage.to_owned())).or_default().push(holds);
        by_piece.entry(casting.piece_seq).or_default().push(holds);
    }
    let stages: Vec<Value> = by_stage
        .into_iter()
        .map(|((_, stage), of)| {
            let (mass, value) = sum(of.iter().copied());
            let mut row = shown(mass, value);
            row["stage"] = stage.into();
            row["castings"] = of.len().into();
            row
        })
        .collect();
    let pieces: Vec<Value> = progress::pieces(read, &by_piece.keys().copied().collect::<Vec<_>>())
        .await?
        .iter()
        .map(|piece| {
            let of = by_piece.get(&piece.seq).map(Vec::as_slice).unwrap_or_default();
            let (mass, value) = sum(of.iter().copied());
            let mut row = shown(mass, value);
            row["id"] = piece.id.to_string().into();
            row["commission"] = piece.name.as_str().into();
            row["castings"] = of.len().into();
            row["href"] = format!("/v1/pieces/{}", piece.id).into();
            row
        })
        .collect();
    let (mass, value) = sum(&castings);
    let mut in_castings = shown(mass, value);
    in_castings["rows"] = items.into();
    in_castings["by_stage"] = stages.into();
    let (mass, value) = sum(heats.iter().chain(&shells).chain(&castings));
    // What rests on castings given up is no work in progress; it is in the balance all the same.
    let (off_mass, off_value) = sum(&given_up);
    let mut off = shown(off_mass, off_value);
    off["castings"] = given_up.len().into();
    Ok(json!({
        "at": at.unwrap_or(ctx.now).to_string(),
        "in_heats": places(&heats, &heat_names, "heats", "number"),
        "in_shells": places(&shells, &shell_names, "shells", "tag"),
        "in_castings": in_castings, "pieces": pieces, "given_up": off,
        "in_progress": shown(mass - off_mass, value - off_value), "total": shown(mass, value),
    }))
}
