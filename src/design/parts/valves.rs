//! What valve bodies weigh.

use super::Part;

/// A class of valve body, written as in a design.
#[derive(Debug, Clone, Copy)]
pub struct ValveBody {
    /// Name.
    pub name: &'static str,
    /// Largest bore it comes with.
    pub bore: &'static str,
    /// Mass without servo.
    pub mass: &'static str,
    /// Volume of the body.
    pub volume: &'static str,
    /// Where the values come from.
    pub origin: &'static str,
}

const TYPICAL: &str = "typical of miniature brass ball valves of the bore, from memory, 30 %; weigh \
                       your own";

/// Ball valves by the largest bore, small to large; a valve is the first whose bore is enough.
#[rustfmt::skip]
pub const VALVES: &[ValveBody] = &[
    ValveBody { name: "ball-valve-3mm", bore: "3 mm", mass: "25 g", volume: "6 mL", origin: TYPICAL },
    ValveBody { name: "ball-valve-5mm", bore: "5 mm", mass: "45 g", volume: "10 mL", origin: TYPICAL },
    ValveBody { name: "ball-valve-8mm", bore: "8 mm", mass: "75 g", volume: "18 mL", origin: TYPICAL },
    ValveBody { name: "ball-valve-10mm", bore: "10 mm", mass: "110 g", volume: "28 mL", origin: TYPICAL },
    ValveBody { name: "ball-valve-15mm", bore: "15 mm", mass: "190 g", volume: "50 mL", origin: TYPICAL },
];

/// What opens a cartridge or valve without a servo, whatever the bore.
pub const STRIKER: ValveBody = ValveBody {
    name: "striker",
    bore: "4 mm",
    mass: "35 g",
    volume: "12 mL",
    origin: "an aluminium holder with striker and spring, estimated; weigh your own",
};

impl Part for ValveBody {
    const KIND: &'static str = "valve";
    fn name(&self) -> &'static str {
        self.name
    }
    fn origin(&self) -> &'static str {
        self.origin
    }
}
