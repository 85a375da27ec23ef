//! Tethers by material and size.

use super::Part;

/// A cord, written as in a design.
#[derive(Debug, Clone, Copy)]
pub struct TetherPart {
    /// Name.
    pub name: &'static str,
    /// Force per unit strain; stiffness is this over the length.
    pub force_per_strain: &'static str,
    /// Load it may take, knots or stitches allowed for.
    pub rating: &'static str,
    /// Damping as a share of critical.
    pub damping_ratio: &'static str,
    /// Where the values come from.
    pub origin: &'static str,
}

const WEBBING: &str = "breaking load and elongation at break of the common grade, from memory; \
                       rated at half the breaking load for sewn ends; test your own";

/// Cords and webbings.
#[rustfmt::skip]
pub const TETHERS: &[TetherPart] = &[
    TetherPart { name: "nylon-tubular-14mm", force_per_strain: "uniform 25 kN .. 45 kN",
        rating: "5 kN", damping_ratio: "uniform 0.05 .. 0.2", origin: WEBBING },
    TetherPart { name: "nylon-tubular-25mm", force_per_strain: "uniform 45 kN .. 75 kN",
        rating: "8.5 kN", damping_ratio: "uniform 0.05 .. 0.2", origin: WEBBING },
    TetherPart { name: "aramid-cord-3mm", force_per_strain: "uniform 50 kN .. 90 kN",
        rating: "1.3 kN", damping_ratio: "uniform 0.02 .. 0.1", origin: WEBBING },
    TetherPart { name: "aramid-tubular-6mm", force_per_strain: "uniform 100 kN .. 180 kN",
        rating: "3.5 kN", damping_ratio: "uniform 0.02 .. 0.1", origin: WEBBING },
    TetherPart { name: "dynamic-rope", force_per_strain: "24 kN",
        rating: "4.5 kN", damping_ratio: "uniform 0.1 .. 0.3",
        origin: "force per strain from a fall-arrest impact force of 9 kN at 80 kg and fall \
                 factor 1.77; rated at half that" },
];

impl Part for TetherPart {
    const KIND: &'static str = "tether";
    fn name(&self) -> &'static str {
        self.name
    }
    fn origin(&self) -> &'static str {
        self.origin
    }
}
