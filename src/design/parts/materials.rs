//! Materials of vessel walls.

use super::Part;

/// Properties of a wall near room temperature, written as in a design.
#[derive(Debug, Clone, Copy)]
pub struct WallMaterial {
    /// Name.
    pub name: &'static str,
    /// Specific heat.
    pub specific_heat: &'static str,
    /// Thermal conductivity, through the wall.
    pub conductivity: &'static str,
    /// Density, for the mass of a shell.
    pub density: &'static str,
    /// Where the values come from.
    pub origin: &'static str,
}

const METAL: &str = "handbook value at 20 degC, from memory; 3 %";
const PLASTIC: &str = "typical of the class, from memory; 20 %";

/// Materials of cartridges, manifolds, bays and tubes.
#[rustfmt::skip]
pub const WALL_MATERIALS: &[WallMaterial] = &[
    WallMaterial { name: "steel", specific_heat: "470 J/(kg K)", conductivity: "50 W/(m K)", density: "7.85 kg/L", origin: METAL },
    WallMaterial { name: "stainless", specific_heat: "500 J/(kg K)", conductivity: "16 W/(m K)", density: "7.9 kg/L", origin: METAL },
    WallMaterial { name: "aluminium", specific_heat: "896 J/(kg K)", conductivity: "167 W/(m K)", density: "2.70 kg/L", origin: METAL },
    WallMaterial { name: "brass", specific_heat: "380 J/(kg K)", conductivity: "115 W/(m K)", density: "8.5 kg/L", origin: METAL },
    WallMaterial { name: "glass-epoxy", specific_heat: "950 J/(kg K)", conductivity: "0.35 W/(m K)", density: "1.9 kg/L", origin: PLASTIC },
    WallMaterial { name: "carbon-epoxy", specific_heat: "900 J/(kg K)", conductivity: "0.8 W/(m K)", density: "1.55 kg/L", origin: PLASTIC },
    WallMaterial { name: "phenolic-paper", specific_heat: "1400 J/(kg K)", conductivity: "0.25 W/(m K)", density: "1.35 kg/L", origin: PLASTIC },
    WallMaterial { name: "printed-plastic", specific_heat: "1300 J/(kg K)", conductivity: "0.2 W/(m K)", density: "1.24 kg/L", origin: PLASTIC },
];

impl Part for WallMaterial {
    const KIND: &'static str = "wall material";
    fn name(&self) -> &'static str {
        self.name
    }
    fn origin(&self) -> &'static str {
        self.origin
    }
}
