//! The tables of `data/trade`, read once from the binary itself.

use std::sync::LazyLock;

use serde::Deserialize;
use serde::de::DeserializeOwned;

use super::alloy::{Alloy, MetalGroup};
use super::caution::{Caution, ExposureLimit, SplashClass};
use super::cup::Cup;
use super::entries::{Defect, OperationName, PatternMaterial, TradeStep, UnitFactor};
use super::practice::{CoatsBySize, Practice, ShellWindow};
use super::tolerance::{DimensionGrade, Thermocouple};
use crate::kernel::quantity::Millimetres;

/// Everything on file.
#[derive(Clone, Debug)]
pub struct Catalogue {
    /// Casting alloys.
    pub alloys: Vec<Alloy>,
    /// What patterns are made of.
    pub pattern_materials: Vec<PatternMaterial>,
    /// Faults of castings.
    pub defects: Vec<Defect>,
    /// Viscosity cups.
    pub cups: Vec<Cup>,
    /// Units and their factors.
    pub units: Vec<UnitFactor>,
    /// Cautions, in the order in which they are shown.
    pub cautions: Vec<Caution>,
    /// Limits of what may be in the air.
    pub exposure_limits: Vec<ExposureLimit>,
    /// Clothing against splashes.
    pub splash_classes: Vec<SplashClass>,
    /// Bench operations.
    pub operations: Vec<OperationName>,
    /// Rules of thumb, windows and defaults.
    pub practices: Vec<Practice>,
    /// Shell temperature at the pour.
    pub shell_windows: Vec<ShellWindow>,
    /// First recipes by size.
    pub coats_by_size: Vec<CoatsBySize>,
    /// Tolerances of dimensions.
    pub dimension_grades: Vec<DimensionGrade>,
    /// Tolerances of thermocouples.
    pub thermocouples: Vec<Thermocouple>,
}

/// A file that could not be read: a fault of the build, which a test catches.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("data/trade/{file} cannot be read: {message}")]
pub struct CatalogueError {
    /// Name of the file.
    pub file: &'static str,
    /// What is wrong with it.
    pub message: String,
}

macro_rules! files {
    ($($(#[$doc:meta])* $file:ident { $($field:ident: $entry:ty),+ $(,)? })+) => {
        $(#[derive(Deserialize)]
        #[serde(deny_unknown_fields)]
        struct $file { $($field: Vec<$entry>),+ })+
    };
}
files! {
    Alloys { alloy: Alloy }
    PatternMaterials { pattern_material: PatternMaterial }
    Defects { defect: Defect }
    Cups { cup: Cup }
    Units { unit: UnitFactor }
    Cautions { caution: Caution, exposure_limit: ExposureLimit, splash_class: SplashClass }
    Operations { operation: OperationName }
    Practices { practice: Practice, shell_window: ShellWindow, coats_by_size: CoatsBySize }
    Tolerances { dctg: DimensionGrade, thermocouple: Thermocouple }
}

macro_rules! read_file {
    ($name:literal) => {
        read($name, include_str!(concat!("../../../data/trade/", $name)))
    };
}

static BUILTIN: LazyLock<Result<Catalogue, CatalogueError>> = LazyLock::new(Catalogue::read);

impl Catalogue {
    /// The tables built into this binary, read at the first call.
    ///
    /// # Errors
    /// When a file does not parse. The tests of this module read them all, so a
    /// binary that passed them does not meet this.
    pub fn builtin() -> Result<&'static Self, &'static CatalogueError> {
        BUILTIN.as_ref()
    }

    fn read() -> Result<Self, CatalogueError> {
        let alloys: Alloys = read_file!("alloys.toml")?;
        let materials: PatternMaterials = read_file!("pattern-materials.toml")?;
        let defects: Defects = read_file!("defects.toml")?;
        let cups: Cups = read_file!("cups.toml")?;
        let units: Units = read_file!("units.toml")?;
        let cautions: Cautions = read_file!("cautions.toml")?;
        let operations: Operations = read_file!("operations.toml")?;
        let practices: Practices = read_file!("practice.toml")?;
        let tolerances: Tolerances = read_file!("tolerances.toml")?;
        Ok(Self {
            alloys: alloys.alloy,
            pattern_materials: materials.pattern_material,
            defects: defects.defect,
            cups: cups.cup,
            units: units.unit,
            cautions: cautions.caution,
            exposure_limits: cautions.exposure_limit,
            splash_classes: cautions.splash_class,
            operations: operations.operation,
            practices: practices.practice,
            shell_windows: practices.shell_window,
            coats_by_size: practices.coats_by_size,
            dimension_grades: tolerances.dctg,
            thermocouples: tolerances.thermocouple,
        })
    }

    /// The alloy of a designation or alias, whatever its case.
    #[must_use]
    pub fn alloy(&self, name: &str) -> Option<&Alloy> {
        let name = name.trim();
        self.alloys.iter().find(|alloy| same(&alloy.designation, name) || alloy.aliases.iter().any(|alias| same(alias, name)))
    }
    /// The pattern material of a code.
    #[must_use]
    pub fn pattern_material(&self, code: &str) -> Option<&PatternMaterial> {
        self.pattern_materials.iter().find(|entry| same(&entry.code, code.trim()))
    }
    /// The defect of a code.
    #[must_use]
    pub fn defect(&self, code: &str) -> Option<&Defect> {
        self.defects.iter().find(|entry| same(&entry.code, code.trim()))
    }
    /// The cup of a code or plain name.
    #[must_use]
    pub fn cup(&self, name: &str) -> Option<&Cup> {
        let name = name.trim();
        self.cups.iter().find(|cup| same(&cup.code, name) || same(&cup.name, name))
    }
    /// The unit of a code.
    #[must_use]
    pub fn unit(&self, code: &str) -> Option<&UnitFactor> {
        self.units.iter().find(|entry| same(&entry.code, code.trim()))
    }
    /// The caution of a code.
    #[must_use]
    pub fn caution(&self, code: &str) -> Option<&Caution> {
        self.cautions.iter().find(|entry| same(&entry.code, code.trim()))
    }
    /// The operation of a code.
    #[must_use]
    pub fn operation(&self, code: &str) -> Option<&OperationName> {
        self.operations.iter().find(|entry| same(&entry.code, code.trim()))
    }
    /// The rule of a code.
    #[must_use]
    pub fn practice(&self, code: &str) -> Option<&Practice> {
        self.practices.iter().find(|entry| same(&entry.code, code.trim()))
    }

    /// The cautions that stand at a step for this metal and pattern, in the order in
    /// which they are shown. What is not known rules nothing out.
    #[must_use]
    pub fn cautions_at(&self, step: TradeStep, alloy: Option<&Alloy>, pattern: Option<&PatternMaterial>) -> Vec<&Caution> {
        self.cautions.iter().filter(|caution| caution.stands(step, alloy, pattern)).collect()
    }
    /// The window of shell temperature for a metal at a section; `None`: no window
    /// on file, which is said and never flagged.
    #[must_use]
    pub fn shell_window(&self, metal: MetalGroup, section: Millimetres) -> Option<&ShellWindow> {
        self.shell_windows.iter().find(|window| window.holds(metal, section))
    }
}

fn same(left: &str, right: &str) -> bool {
    left.eq_ignore_ascii_case(right)
}

fn read<T: DeserializeOwned>(file: &'static str, text: &str) -> Result<T, CatalogueError> {
    toml::from_str(text).map_err(|error| CatalogueError { file, message: error.to_string() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_malformed_file_is_named() {
        let bad = read::<Cups>("cups.toml", "[[cup]]\ncode = 3\n").err().unwrap();
        assert!(bad.to_string().starts_with("data/trade/cups.toml cannot be read"), "{bad}");
    }

    #[test]
    fn look_up_minds_no_case() {
        let trade = Catalogue::builtin().unwrap();
        assert_eq!(trade.alloy(" c87300 ").map(|a| a.common_name.as_str()), Some("silicon bronze 95-4-1"));
        assert_eq!(trade.alloy("STERLING").map(|a| a.designation.as_str()), Some("Ag925"));
        assert_eq!(trade.alloy("a356").map(|a| a.designation.as_str()), Some("A356.0"));
        assert!(trade.alloy("unobtainium").is_none());
        assert!(trade.defect("h02").is_some_and(Defect::is_house_code));
        assert!(trade.cup("zahn no. 5").is_some() && trade.cup("ZAHN_5").is_some());
        assert!(trade.pattern_material("PLA").is_some());
        assert!(trade.operation("Knock_Off").is_some());
        assert!(trade.caution("moisture_meets_metal").is_some());
        assert!(trade.unit("LB").is_some());
        assert!(trade.practice("moisture_fire_min_c").is_some());
    }
}
