//! What is said of recipes, slurry, shells, coats and patches.

use crate::kernel::Celsius;
use crate::kernel::field::{Day, Kg, List, Many, Nested, Parent, Positive, Ref, Text, UpTo, Whole};
use crate::kernel::id::{Casting, Recipe, RecipeVersion, Shell, SlurryBatch};
use crate::{body, words};

words! {
    /// What a coat is for.
    pub enum CoatKind {
        /// Against the wax.
        Prime = "prime",
        /// Builds the wall.
        Backup = "backup",
        /// The last dip, without stucco.
        Seal = "seal",
    }
}

body! {
    /// From the least to the most.
    pub struct Window {
        /// Least.
        low: UpTo<10_000>,
        /// Most.
        high: UpTo<10_000>,
    }
}

body! {
    /// One coat of a recipe.
    pub struct RecipeCoat {
        /// What it is for.
        kind: CoatKind,
        /// Which slurry.
        slurry: Text<60>,
        /// Which stucco.
        stucco: Option<Text<60>>,
        /// Least hours before the next coat.
        dry_hours: Positive<1000>,
        /// Seconds of the cup.
        viscosity_s: Option<Nested<Window>>,
        /// Which cup.
        cup: Option<Text<40>>,
        /// Relative humidity of the room, in percent.
        humidity_percent: Option<Nested<Window>>,
        /// The room, in °C.
        room_c: Option<Nested<Window>>,
    }
}

body! {
    /// A shell recipe: its name, and the coats of its first version.
    pub struct RecipeBody {
        /// Its name.
        name: Text<80>,
        /// Coats in order.
        coats: List<Nested<RecipeCoat>, 40>,
        /// Hours from the last coat to the kiln.
        final_dry_hours: Option<Positive<1000>>,
        /// Notes.
        notes: Option<Text<2000>>,
    }
}

body! {
    /// One version of a recipe.
    pub struct RecipeVersionBody {
        /// The recipe.
        recipe_id: Parent<Recipe>,
        /// Coats in order.
        coats: List<Nested<RecipeCoat>, 40>,
        /// Hours from the last coat to the kiln.
        final_dry_hours: Option<Positive<1000>>,
        /// What changed.
        notes: Option<Text<2000>>,
    }
}

body! {
    /// One tank of slurry.
    pub struct SlurryBatchBody {
        /// Its name.
        name: Text<80>,
        /// Its binder.
        binder: Option<Text<120>>,
        /// Its flour.
        flour: Option<Text<120>>,
        /// When it was poured away.
        retired_on: Option<Day>,
        /// Notes.
        notes: Option<Text<2000>>,
    }
}

body! {
    /// A check of a slurry batch.
    pub struct SlurryCheckBody {
        /// The batch.
        slurry_batch_id: Parent<SlurryBatch>,
        /// Seconds of the cup.
        viscosity_s: Option<Positive<10_000>>,
        /// Which cup.
        cup: Option<Text<40>>,
        /// pH.
        ph: Option<UpTo<14>>,
        /// The tank.
        tank_c: Option<Celsius>,
        /// Solids.
        solids_percent: Option<UpTo<100>>,
        /// Notes.
        note: Option<Text<500>>,
    }
}

words! {
    /// Where the metal enters.
    pub enum Fed {
        /// From the top.
        Top = "top",
        /// From the bottom.
        Bottom = "bottom",
        /// From the side.
        Side = "side",
    }
}

words! {
    /// What stands inside.
    pub enum Core {
        /// Nothing.
        None = "none",
        /// The shell itself, dipped inside.
        Shell = "shell",
        /// A poured core.
        Poured = "poured",
    }
}

body! {
    /// A cup.
    pub struct Cup {
        /// What it holds.
        volume_cm3: Positive<1_000_000>,
    }
}

body! {
    /// One ceramic mould around one or more castings and their gating.
    pub struct ShellBody {
        /// Its recipe: the version newest at `at`.
        recipe_id: Ref<Recipe>,
        /// The version, if another.
        recipe_version: Option<Whole<1, 10_000>>,
        /// The version it used; found from the recipe.
        recipe_version_id: Option<Ref<RecipeVersion>>,
        /// What is in it.
        casting_ids: List<Ref<Casting>, 60>,
        /// Mass of the gating, cup and sprue, as pattern.
        gating_kg: Option<Kg<0>>,
        /// Volume of the gating.
        gating_cm3: Option<UpTo<100_000_000>>,
        /// What the gating is of; casting wax if not said.
        gating_material: Option<Text<40>>,
        /// Cups.
        cups: Many<Nested<Cup>, 20>,
        /// How many vents.
        vents: Option<Whole<0, 200>>,
        /// Where the metal enters.
        fed: Option<Fed>,
        /// What stands inside.
        core: Option<Core>,
        /// The whole tree in wax.
        tree_kg: Option<Kg<1>>,
        /// Notes.
        notes: Option<Text<2000>>,
    }
}

body! {
    /// One dip and stucco.
    pub struct CoatBody {
        /// The shell.
        shell_id: Parent<Shell>,
        /// What it is for.
        kind: CoatKind,
        /// Which slurry.
        slurry: Text<60>,
        /// Which tank.
        slurry_batch_id: Option<Ref<SlurryBatch>>,
        /// Which stucco.
        stucco: Option<Text<60>>,
        /// Seconds of the cup.
        viscosity_s: Option<Positive<10_000>>,
        /// Which cup.
        cup: Option<Text<40>>,
        /// Relative humidity of the room.
        humidity_percent: Option<UpTo<100>>,
        /// The room.
        room_c: Option<Celsius>,
        /// Notes.
        note: Option<Text<500>>,
    }
}

body! {
    /// A repair of a shell before its pour.
    pub struct PatchBody {
        /// The shell.
        shell_id: Parent<Shell>,
        /// Where.
        r#where: Option<Text<120>>,
        /// With what.
        material: Option<Text<80>>,
        /// Notes.
        note: Option<Text<500>>,
    }
}
