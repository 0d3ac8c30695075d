//! Recipes in versions, slurry batches, shells, their coats and patches.

mod api;
mod flags;
mod model;
mod store;
mod verbs;

pub use api::{extras, routes, schemas, version_extras};
pub use flags::{final_dry_hours, settle as settle_flags};
pub use model::{CoatKind, RecipeBody, ShellBody};
pub use verbs::{Coats, Patches, RecipeVersions, Recipes, Shells, SlurryBatches, SlurryChecks};
