//! Generic parts to refer to and override. Every value says where it comes from; none
//! replaces weighing, measuring and testing one's own parts.

mod cartridges;
mod materials;
mod pins;
mod servos;
mod tethers;
mod valves;

pub use cartridges::{CARTRIDGES, Cartridge};
pub use materials::{WALL_MATERIALS, WallMaterial};
pub use pins::{PIN_STOCK, PinStock};
pub use servos::{SERVOS, Servo};
pub use tethers::{TETHERS, TetherPart};
pub use valves::{STRIKER, VALVES, ValveBody};

/// Something in the library.
pub trait Part {
    /// What kind of part, for messages.
    const KIND: &'static str;
    /// Name to refer to it by.
    fn name(&self) -> &'static str;
    /// Where its values come from.
    fn origin(&self) -> &'static str;
}

/// Finds a part by name.
#[must_use]
pub fn find<P: Part>(library: &'static [P], name: &str) -> Option<&'static P> {
    library.iter().find(|part| part.name() == name.trim())
}
