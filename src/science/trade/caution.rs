//! Cautions: one line at the step, the full card a tap away.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::alloy::Alloy;
use super::entries::{PatternMaterial, TradeStep};

/// What narrows a caution.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum CautionWhen {
    /// A pattern that fumes: resin, plastic, foam, or something unknown.
    PatternFumes,
    /// Aluminium or zinc-rich metal.
    AluminiumOrZincRich,
    /// Zinc-rich metal.
    ZincRich,
    /// Leaded metal.
    Leaded,
}

/// A caution. Local codes, makers' instructions and licensed practice come first.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Caution {
    /// Code.
    pub code: String,
    /// Short title of the card.
    pub title: String,
    /// Where it stands.
    pub stages: Vec<TradeStep>,
    /// What narrows it; null: it stands for all.
    pub when: Option<CautionWhen>,
    /// One short line in the imperative.
    pub line: String,
    /// The card.
    pub card: String,
    /// Where its substance is from.
    pub source: String,
}

impl Caution {
    /// Whether it stands at a step for this metal and pattern. What is not known
    /// (`None`) rules nothing out: better a caution too many.
    #[must_use]
    pub fn stands(&self, step: TradeStep, alloy: Option<&Alloy>, pattern: Option<&PatternMaterial>) -> bool {
        let concerned = match self.when {
            None => true,
            Some(CautionWhen::PatternFumes) => pattern.is_none_or(PatternMaterial::fumes),
            Some(CautionWhen::AluminiumOrZincRich) => alloy.is_none_or(Alloy::is_aluminium_or_zinc_rich),
            Some(CautionWhen::ZincRich) => alloy.is_none_or(Alloy::is_zinc_rich),
            Some(CautionWhen::Leaded) => alloy.is_none_or(Alloy::is_leaded),
        };
        concerned && self.stages.contains(&step)
    }
}

/// A legal limit of what may be in the air, for the card; the law in force decides.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ExposureLimit {
    /// What is in the air.
    pub substance: String,
    /// How much.
    pub value: f64,
    /// Of what unit.
    pub unit: String,
    /// Which limit, of which body, over what time.
    pub basis: String,
    /// Where it is from.
    pub source: String,
}

/// A class of clothing against splashes of metal.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SplashClass {
    /// Code letter.
    pub code: String,
    /// Which metal it is for.
    pub metal: String,
    /// What its levels stand.
    pub levels: Vec<String>,
    /// The standard it belongs to.
    pub standard: String,
    /// Where it is from.
    pub source: String,
}
