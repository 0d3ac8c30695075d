//! Heat that goes into metal.

use super::measure::{Energy, LatentHeat, SpecificHeat, mg};
use crate::kernel::quantity::{Celsius, Mass};

/// Heat that melts metal already at its melting point: `m · L`.
#[must_use]
pub fn heat_to_fuse(mass: Mass, latent: LatentHeat) -> Option<Energy> {
    Energy::new(kg(mass) * latent.get())
}

/// Heat that brings solid metal to its melting point and melts it:
/// `m · (c (T_m − T₀) + L)`. `None` when it is hotter than that already.
#[must_use]
pub fn heat_to_melt(mass: Mass, solid: SpecificHeat, from: Celsius, melting: Celsius, latent: LatentHeat) -> Option<Energy> {
    let rise = melting.get() - from.get();
    (rise >= 0.0).then(|| Energy::new(kg(mass) * (solid.get() * rise + latent.get())))?
}

/// Heat up to the pour: as [`heat_to_melt`], and `m · c_l (T_p − T_m)` more. `None`
/// when the pour is below the melting point.
#[must_use]
pub fn heat_to_pour(
    mass: Mass,
    solid: SpecificHeat,
    liquid: SpecificHeat,
    [from, melting, pour]: [Celsius; 3],
    latent: LatentHeat,
) -> Option<Energy> {
    let melt = heat_to_melt(mass, solid, from, melting, latent)?;
    let rise = pour.get() - melting.get();
    (rise >= 0.0).then(|| Energy::new(melt.get() + kg(mass) * liquid.get() * rise))?
}

fn kg(mass: Mass) -> f64 {
    mg(mass) / 1e6
}
