//! Metal under its own head: speed, flow, taper and filling time.
//!
//! Bernoulli without loss, except where a coefficient or friction is named. Sources:
//! Ghosh & Mallik, Manufacturing Science, ch. 2; Kalpakjian problems in ME 324
//! homework 8, Iowa State 2008.

use super::measure::{Acceleration, Area, Density, DynamicViscosity, Flow, Fraction, Ratio, Seconds, Speed, Volume};
use crate::kernel::quantity::Millimetres;

/// Loss of the velocity head at a sharp entry from a wide basin (Ghosh & Mallik).
pub const SHARP_ENTRY_LOSS: f64 = 0.5;

/// Speed after a fall: `v = √(2 g h)`.
#[must_use]
pub fn fall_speed(gravity: Acceleration, head: Millimetres) -> Option<Speed> {
    Speed::new((2.0 * gravity.get() * head.get()).sqrt())
}

/// Speed after a further fall of a stream that moves already: `√(v² + 2 g h)`.
#[must_use]
pub fn speed_after_drop(before: Speed, gravity: Acceleration, drop: Millimetres) -> Option<Speed> {
    Speed::new((before.get() * before.get() + 2.0 * gravity.get() * drop.get()).sqrt())
}

/// Flow through an area: `Q = A · v`.
#[must_use]
pub fn flow(area: Area, speed: Speed) -> Option<Flow> {
    Flow::new(area.get() * speed.get())
}

/// Speed of a flow in an area: `v = Q / A`.
#[must_use]
pub fn speed_in(flow: Flow, area: Area) -> Option<Speed> {
    Speed::new(flow.get() / area.get())
}

/// Time in which a flow fills a volume.
#[must_use]
pub fn fill_time(volume: Volume, flow: Flow) -> Option<Seconds> {
    Seconds::new(volume.get() / flow.get())
}

/// Area at the bottom of a sprue at which the stream just fills it, so that it draws
/// no air: the flow over its speed there, `A₂ = Q / √((Q/A₁)² + 2 g h)`.
#[must_use]
pub fn sprue_bottom_area(flow: Flow, top: Area, gravity: Acceleration, height: Millimetres) -> Option<Area> {
    let bottom = speed_after_drop(speed_in(flow, top)?, gravity, height)?;
    Area::new(flow.get() / bottom.get())
}

/// Time to fill from the top: `t = A_m h / (A_g √(2 g H))`.
#[must_use]
pub fn top_gate_fill(mould: Area, depth: Millimetres, gate: Area, gravity: Acceleration, head: Millimetres) -> Option<Seconds> {
    let speed = fall_speed(gravity, head)?;
    Seconds::new(mould.get() * depth.get() / (gate.get() * speed.get()))
}

/// Time to fill from the bottom, as the head falls: `t = 2 A_m / (A_g √(2 g)) ·
/// (√H − √(H − h))`. `None` when the mould is deeper than the head.
#[must_use]
pub fn bottom_gate_fill(
    mould: Area,
    depth: Millimetres,
    gate: Area,
    gravity: Acceleration,
    head: Millimetres,
) -> Option<Seconds> {
    let left = head.get() - depth.get();
    if left < 0.0 {
        return None;
    }
    let ratio = 2.0 * mould.get() / (gate.get() * (2.0 * gravity.get()).sqrt());
    Seconds::new(ratio * (head.get().sqrt() - left.sqrt()))
}

/// A round runner between basin and mould.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Runner {
    /// Area of its bore.
    pub bore: Area,
    /// Straight length.
    pub length: Millimetres,
    /// Length of its bends, in bores: 25 for one right angle (Ghosh & Mallik).
    pub bends_in_bores: f64,
}

/// Discharge coefficient of a runner with friction: `C_D = (1 + e + 4 f (L/d +
/// bends))^-½` with a sharp entry e and Blasius' friction factor `f = 0.079 Re^-¼`
/// (Ghosh & Mallik, ex. 2.2), Re taken at the speed without loss.
///
/// `None` outside turbulent flow in smooth pipes (Re from 2,100 to 10⁵), where that
/// factor holds.
#[must_use]
pub fn runner_coefficient(runner: Runner, ideal: Speed, density: Density, viscosity: DynamicViscosity) -> Option<Ratio> {
    let diameter_mm = (runner.bore.get() * 4.0 / std::f64::consts::PI).sqrt();
    // g/cm³ is 1,000 kg/m³; mm/s · mm is 10⁻⁶ m²/s.
    let reynolds = density.get() * 1e3 * ideal.get() * diameter_mm * 1e-6 / viscosity.get();
    if !(2_100.0..=1e5).contains(&reynolds) {
        return None;
    }
    let friction = 0.079 * reynolds.powf(-0.25);
    let bores = runner.length.get() / diameter_mm + runner.bends_in_bores;
    Ratio::new((1.0 + SHARP_ENTRY_LOSS + 4.0 * friction * bores).sqrt().recip())
}

/// A time without loss made longer by a discharge coefficient: `t / C_D`.
#[must_use]
pub fn with_loss(ideal: Seconds, coefficient: Ratio) -> Option<Seconds> {
    Seconds::new(ideal.get() / coefficient.get())
}

/// Time to empty a straight ladle through its bottom nozzle: `t = 2 A_l √h / (C_d A_n
/// √(2 g))` (Ghosh & Mallik, ex. 2.3).
#[must_use]
pub fn ladle_empty_time(
    ladle: Area,
    nozzle: Area,
    depth: Millimetres,
    coefficient: Ratio,
    gravity: Acceleration,
) -> Option<Seconds> {
    let rate = coefficient.get() * nozzle.get() * (2.0 * gravity.get()).sqrt();
    Seconds::new(2.0 * ladle.get() * depth.get().sqrt() / rate)
}

/// Flow from a bottom nozzle at a depth of metal: `C_d A_n √(2 g h)`.
#[must_use]
pub fn nozzle_flow(nozzle: Area, depth: Millimetres, coefficient: Ratio, gravity: Acceleration) -> Option<Flow> {
    let speed = fall_speed(gravity, depth)?;
    Flow::new(coefficient.get() * nozzle.get() * speed.get())
}

/// What is left of a depth after a part has run out.
#[must_use]
pub fn depth_left(depth: Millimetres, run_out: Fraction) -> Option<Millimetres> {
    Millimetres::new(depth.get() * (1.0 - run_out.get()))
}
