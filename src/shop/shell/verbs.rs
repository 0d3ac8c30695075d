//! Recording recipes, slurry, shells, coats and patches.

use super::model::{CoatBody, PatchBody, RecipeBody, RecipeVersionBody, ShellBody, SlurryBatchBody, SlurryCheckBody};
use super::store;
use crate::book::verbs::create_along;
use crate::book::{Entry, Room, series};
use crate::db::{Cell, WriteTx};
use crate::kernel::field::{Parent, Ref, Text};
use crate::kernel::{Fault, Kind, Problem, ProblemType};
use crate::shop::house::trade;
use crate::shop::metal;

/// Recipes.
pub enum Recipes {}

impl Room for Recipes {
    const KIND: Kind = Kind::Recipe;
    const TABLE: &'static str = "recipe";
    const AT_REQUIRED: bool = false;
    type Body = RecipeBody;

    async fn enter(_: &mut WriteTx, entry: &mut Entry<RecipeBody>) -> Result<(), Problem> {
        entry.columns = vec![("name", entry.body.name.0.as_str().into())];
        Ok(())
    }

    async fn along(tx: &mut WriteTx, entry: &mut Entry<RecipeBody>) -> Result<(), Problem> {
        let body = RecipeVersionBody {
            recipe_id: Parent(Ref::known(entry.seq, entry.id)),
            coats: entry.body.coats.clone(),
            final_dry_hours: entry.body.final_dry_hours,
            notes: None,
        };
        create_along::<RecipeVersions>(tx, &entry.common, body).await.map(drop)
    }
}

/// Versions of recipes.
pub enum RecipeVersions {}

impl Room for RecipeVersions {
    const KIND: Kind = Kind::RecipeVersion;
    const TABLE: &'static str = "recipe_version";
    const AT_REQUIRED: bool = false;
    type Body = RecipeVersionBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<RecipeVersionBody>) -> Result<(), Problem> {
        let recipe = entry.body.recipe_id.seq();
        let version = match store::version_of(tx, entry.seq).await? {
            Some((of, _)) if of != recipe => {
                return Err(Problem::field(
                    "/recipe_id",
                    "fixed",
                    "A version stays with its recipe. Void it and record it there.",
                ));
            }
            Some((_, version)) => version,
            None => store::last_version(tx, recipe).await? + 1,
        };
        entry.columns = vec![("recipe_seq", recipe.into()), ("version", version.into())];
        if entry.correcting {
            for shell in store::shells_of_version(tx, entry.seq).await? {
                tx.touch(Kind::Shell, shell);
            }
        }
        Ok(())
    }
}

/// Slurry batches.
pub enum SlurryBatches {}

impl Room for SlurryBatches {
    const KIND: Kind = Kind::SlurryBatch;
    const TABLE: &'static str = "slurry_batch";
    type Body = SlurryBatchBody;

    async fn enter(_: &mut WriteTx, entry: &mut Entry<SlurryBatchBody>) -> Result<(), Problem> {
        let body = &entry.body;
        entry.columns =
            vec![("name", body.name.0.as_str().into()), ("retired_on", body.retired_on.map(|d| d.0.to_string()).into())];
        Ok(())
    }
}

/// Checks of slurry batches.
pub enum SlurryChecks {}

impl Room for SlurryChecks {
    const KIND: Kind = Kind::SlurryCheck;
    const TABLE: &'static str = "slurry_check";
    type Body = SlurryCheckBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<SlurryCheckBody>) -> Result<(), Problem> {
        let body = &entry.body;
        entry.columns =
            vec![("batch_seq", body.slurry_batch_id.seq().into()), ("viscosity_s", body.viscosity_s.map(|v| v.0).into())];
        let batch = entry.body.slurry_batch_id.seq();
        entry.bear(batch);
        tx.touch(Kind::SlurryBatch, batch);
        Ok(())
    }
}

/// Shells.
pub enum Shells {}

impl Room for Shells {
    const KIND: Kind = Kind::Shell;
    const TABLE: &'static str = "shell";
    type Body = ShellBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<ShellBody>) -> Result<(), Problem> {
        let mut faults = gating_faults(&entry.body);
        let catalogue = trade::of(tx).await?;
        let asked = entry.body.gating_material.as_ref().map_or("wax_casting", |m| m.0.as_str());
        let material = catalogue.pattern_material(asked).map(|m| m.code.clone());
        if material.is_none() {
            faults.push(Fault {
                pointer: "/gating_material".into(),
                code: "not-in-catalogue",
                message: format!("{asked} is not in /v1/trade/pattern-materials."),
            });
        }
        let castings: Vec<i64> = entry.body.casting_ids.0.iter().map(Ref::seq).collect();
        let mut sorted = castings.clone();
        sorted.sort_unstable();
        if sorted.windows(2).any(|w| w[0] == w[1]) {
            faults.push(Fault { pointer: "/casting_ids".into(), code: "twice", message: "A casting is named twice.".into() });
        }
        if !faults.is_empty() {
            return Err(Problem::invalid(faults));
        }
        let material = material.unwrap_or_default();
        choose_version(tx, entry).await?;
        let tag = match store::tag_of(tx, entry.seq).await? {
            Some(tag) => tag,
            None => series::tag(tx, entry.seq).await?.to_string(),
        };
        let body = &entry.body;
        entry.columns = vec![
            ("tag", tag.into()),
            ("recipe_seq", body.recipe_id.seq().into()),
            ("recipe_version_seq", body.recipe_version_id.as_ref().map(Ref::seq).into()),
            ("gating_mg", body.gating_kg.map(|m| m.0).into()),
            ("gating_cm3", body.gating_cm3.map(|v| v.0).into()),
            ("gating_material", material.as_str().into()),
        ];
        metal::set_shell(tx, entry.seq, body.gating_kg.map(|m| m.0), body.gating_cm3.map(|v| v.0), &material, &castings);
        entry.body.gating_material = Some(Text(material));
        for &casting in &castings {
            entry.bear(casting);
            tx.touch(Kind::Casting, casting);
        }
        tx.touch(Kind::Shell, entry.seq);
        Ok(())
    }

    async fn along(tx: &mut WriteTx, entry: &mut Entry<ShellBody>) -> Result<(), Problem> {
        let castings: Vec<i64> = entry.body.casting_ids.0.iter().map(Ref::seq).collect();
        store::set_castings(tx, entry.seq, &castings);
        Ok(())
    }

    async fn corrected(tx: &mut WriteTx, entry: &mut Entry<ShellBody>) -> Result<(), Problem> {
        Self::along(tx, entry).await
    }
}

fn gating_faults(body: &ShellBody) -> Vec<Fault> {
    match (&body.gating_kg, &body.gating_cm3) {
        (None, None) => vec![Fault {
            pointer: "/gating_kg".into(),
            code: "required",
            message: "Give gating_kg, or gating_cm3 where it was not weighed.".into(),
        }],
        (Some(_), Some(_)) => vec![Fault {
            pointer: "/gating_cm3".into(),
            code: "one-of",
            message: "Give gating_kg or gating_cm3, not both.".into(),
        }],
        _ => Vec::new(),
    }
}

/// The version newest at the shell's time; a shell older than all takes the first;
/// `recipe_version` overrides.
async fn choose_version(tx: &mut WriteTx, entry: &mut Entry<ShellBody>) -> Result<(), Problem> {
    let versions = store::versions(tx, entry.body.recipe_id.seq()).await?;
    let chosen = match entry.body.recipe_version {
        Some(wanted) => versions
            .iter()
            .find(|v| v.version == wanted.0)
            .ok_or_else(|| Problem::field("/recipe_version", "not-found", format!("The recipe has no version {}.", wanted.0)))?,
        None => versions
            .iter()
            .rfind(|v| v.at <= entry.common.at)
            .or(versions.first())
            .ok_or_else(|| Problem::field("/recipe_id", "void", "The recipe has no version that is not void."))?,
    };
    entry.body.recipe_version_id = Some(Ref::known(chosen.seq, chosen.id));
    Ok(())
}

/// Coats.
pub enum Coats {}

impl Room for Coats {
    const KIND: Kind = Kind::Coat;
    const TABLE: &'static str = "coat";
    type Body = CoatBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<CoatBody>) -> Result<(), Problem> {
        let shell = entry.body.shell_id.seq();
        need_shell(shell)?;
        let body = &entry.body;
        entry.columns = vec![
            ("shell_seq", shell.into()),
            ("kind", body.kind.name().into()),
            ("slurry_batch_seq", Cell::from(body.slurry_batch_id.as_ref().map(Ref::seq))),
        ];
        entry.bear(shell);
        tx.touch(Kind::Shell, shell);
        if let Some(batch) = &entry.body.slurry_batch_id {
            tx.touch(Kind::SlurryBatch, batch.seq());
        }
        Ok(())
    }
}

fn need_shell(shell: i64) -> Result<(), Problem> {
    if shell < 0 {
        return Err(Problem::new(ProblemType::Invalid, "A coat or patch is of a shell."));
    }
    Ok(())
}

/// Patches.
pub enum Patches {}

impl Room for Patches {
    const KIND: Kind = Kind::Patch;
    const TABLE: &'static str = "patch";
    type Body = PatchBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<PatchBody>) -> Result<(), Problem> {
        let shell = entry.body.shell_id.seq();
        need_shell(shell)?;
        entry.columns = vec![("shell_seq", shell.into())];
        entry.bear(shell);
        tx.touch(Kind::Shell, shell);
        Ok(())
    }
}
