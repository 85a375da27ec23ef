//! What shear pins weigh.

use super::Part;

/// A material pins are made of, written as in a design.
#[derive(Debug, Clone, Copy)]
pub struct PinStock {
    /// Name, as in a pin's `material`.
    pub name: &'static str,
    /// Density.
    pub density: &'static str,
    /// Where the values come from.
    pub origin: &'static str,
}

/// Materials of shear pins; a screw counts as a rod of its thread's outer diameter, six
/// diameters long, head included.
#[rustfmt::skip]
pub const PIN_STOCK: &[PinStock] = &[
    PinStock { name: "nylon-6/6", density: "1.14 kg/L", origin: "handbook value, from memory; 2 %" },
    PinStock { name: "acetal", density: "1.41 kg/L", origin: "handbook value, from memory; 2 %" },
    PinStock { name: "aluminium-6061-T6", density: "2.70 kg/L", origin: "handbook value, from memory; 1 %" },
];

impl Part for PinStock {
    const KIND: &'static str = "pin material";
    fn name(&self) -> &'static str {
        self.name
    }
    fn origin(&self) -> &'static str {
        self.origin
    }
}
