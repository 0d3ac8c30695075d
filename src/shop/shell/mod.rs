//! Recipes in versions, slurry batches, shells, their coats and patches.

mod api;
mod class;
mod class_page;
mod dips;
mod flags;
mod model;
mod page;
pub mod recipes;
mod store;
mod verbs;

pub use api::{correctors, extras, routes, schemas, version_extras};
pub use dips::{Dip, next_dip};
pub use flags::{final_dry_hours, recipe_of, settle as settle_flags};
pub use model::{CoatKind, RecipeBody, ShellBody};
pub use page::pages;
pub use store::{names, recipe_names, recipes_called, tags_of, unchecked};
pub use verbs::{Coats, Patches, RecipeVersions, Recipes, Shells, SlurryBatches, SlurryChecks};
