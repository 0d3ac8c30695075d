//! The surface that a shell covers, from what is known of a pattern.

use std::f64::consts::PI;

/// Which faces of a wall slurry covers.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Faces {
    /// Both: the work is open, and dipped inside too.
    Both,
    /// The outer one: the inside is filled with a poured core.
    Outer,
}

/// The area in mm² of a wall of one thickness that holds a volume: `2 V / s`, of a filled one
/// `V / s`; never less than the sphere of that volume, than which no body has less surface.
///
/// `volume` in mm³, `section` the thickness in mm, both above 0. Exact for a sheet without its
/// edges, and for a sphere; a thin hollow sphere of radius R and wall s is off by s²/(6R²) or so.
/// A rod is taken as less than it has (half): give its area. Geometry, no source needed.
#[must_use]
pub fn wall(volume: f64, section: f64, faces: Faces) -> f64 {
    let both = 2.0 * volume / section;
    let faced = match faces {
        Faces::Both => both,
        Faces::Outer => both / 2.0,
    };
    faced.max(sphere(volume))
}

/// The area in mm² of the sphere of a volume in mm³: `(36 π V²)^(1/3)`.
#[must_use]
pub fn sphere(volume: f64) -> f64 {
    (36.0 * PI * volume * volume).cbrt()
}

/// The area in mm² of round rods of one diameter that hold a volume: `4 V / d`, without their
/// ends. For gating, of which no more than its volume is known.
#[must_use]
pub fn rod(volume: f64, diameter: f64) -> f64 {
    4.0 * volume / diameter
}
