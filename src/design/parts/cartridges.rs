//! Pierceable steel CO2 cartridges by nominal charge.

use super::Part;

/// A generic cartridge, each value written as in a design.
#[derive(Debug, Clone, Copy)]
pub struct Cartridge {
    /// Name.
    pub name: &'static str,
    /// CO2 charge.
    pub charge: &'static str,
    /// Water volume.
    pub volume: &'static str,
    /// Highest allowed pressure.
    pub rating: &'static str,
    /// Thread of the neck.
    pub thread: &'static str,
    /// Mass of the steel shell.
    pub wall_mass: &'static str,
    /// Thickness of the shell.
    pub wall_thickness: &'static str,
    /// Where the values come from.
    pub origin: &'static str,
}

/// Charge, volume and thread are common practice among makers; shells weigh 2.5 to 3.5 times
/// the charge; filled to about 0.75 kg/L they stay under a 250 bar test pressure up to 65 degC,
/// the rule of packing instruction P200 of the UN model regulations for UN 1013.
const ORIGIN: &str = "common practice, from memory; rating after UN packing instruction P200; \
                      weigh and measure your own";

macro_rules! cartridge {
    ($name:literal, $charge:literal, $volume:literal, $thread:literal, $mass:literal, $wall:literal) => {
        Cartridge {
            name: $name,
            charge: $charge,
            volume: $volume,
            rating: "250 barg",
            thread: $thread,
            wall_mass: $mass,
            wall_thickness: $wall,
            origin: ORIGIN,
        }
    };
}

/// Cartridges from 8 g to 88 g.
#[rustfmt::skip]
pub const CARTRIDGES: &[Cartridge] = &[
    cartridge!("co2-8g", "normal 8.0 g sd 0.12 g within 7.6 g .. 8.4 g",
        "uniform 10.4 mL .. 11 mL", "none", "uniform 20 g .. 28 g", "1.0 mm"),
    cartridge!("co2-12g", "normal 12.0 g sd 0.18 g within 11.4 g .. 12.6 g",
        "uniform 16 mL .. 18 mL", "none or 3/8-24 UNF", "uniform 30 g .. 42 g", "1.1 mm"),
    cartridge!("co2-16g", "normal 16.0 g sd 0.25 g within 15.2 g .. 16.8 g",
        "uniform 21 mL .. 22 mL", "3/8-24 UNF", "uniform 40 g .. 56 g", "1.2 mm"),
    cartridge!("co2-25g", "normal 25.0 g sd 0.35 g within 23.8 g .. 26.2 g",
        "uniform 33 mL .. 37 mL", "3/8-24 UNF", "uniform 63 g .. 87 g", "1.3 mm"),
    cartridge!("co2-33g", "normal 33.0 g sd 0.45 g within 31.4 g .. 34.6 g",
        "uniform 45 mL .. 48 mL", "1/2-20 UNF", "uniform 83 g .. 115 g", "1.4 mm"),
    cartridge!("co2-38g", "normal 38.0 g sd 0.5 g within 36.1 g .. 39.9 g",
        "uniform 51 mL .. 54 mL", "1/2-20 UNF", "uniform 95 g .. 133 g", "1.5 mm"),
    cartridge!("co2-45g", "normal 45.0 g sd 0.6 g within 42.8 g .. 47.2 g",
        "uniform 61 mL .. 65 mL", "5/8-18 UNF", "uniform 113 g .. 157 g", "1.6 mm"),
    cartridge!("co2-60g", "normal 60.0 g sd 0.8 g within 57 g .. 63 g",
        "uniform 81 mL .. 85 mL", "1/2-20 UNF", "uniform 150 g .. 210 g", "1.8 mm"),
    cartridge!("co2-74g", "normal 74.0 g sd 1.0 g within 70.3 g .. 77.7 g",
        "uniform 99 mL .. 105 mL", "5/8-18 UNF", "uniform 185 g .. 259 g", "2.0 mm"),
    cartridge!("co2-88g", "normal 88.0 g sd 1.1 g within 83.6 g .. 92.4 g",
        "uniform 117 mL .. 120 mL", "5/8-18 UNF", "uniform 220 g .. 308 g", "2.1 mm"),
];

impl Part for Cartridge {
    const KIND: &'static str = "cartridge";
    fn name(&self) -> &'static str {
        self.name
    }
    fn origin(&self) -> &'static str {
        self.origin
    }
}
