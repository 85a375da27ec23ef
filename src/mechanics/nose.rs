//! The nose cone as a body on one axis.

/// A nose closing a bay: everything that holds it and everything it does on leaving.
#[derive(Debug, Clone, PartialEq)]
pub struct Nose {
    /// Mass that leaves [kg].
    pub mass: f64,
    /// Mass it leaves from [kg]; `None` on a bench (fixed base).
    pub body_mass: Option<f64>,
    /// Bore on which the pressure acts [m].
    pub bore: f64,
    /// Length of the coupler that must slide out [m].
    pub engagement: f64,
    /// Shear pins.
    pub pins: Vec<Pin>,
    /// Static friction of seal and coupler [N].
    pub static_friction: f64,
    /// Kinetic friction of seal and coupler [N].
    pub kinetic_friction: f64,
    /// Other steady axial load on the nose, positive when it holds the nose on
    /// (aerodynamic or deceleration load; weight on a bench) [N].
    pub hold_down: f64,
    /// Separation spring.
    pub spring: Option<Spring>,
    /// Tether between nose and body.
    pub tether: Option<Tether>,
    /// Discharge coefficient of the opening gap.
    pub gap_discharge_coefficient: f64,
}

/// One shear pin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pin {
    /// Load at which it shears [N], at its temperature.
    pub strength: f64,
    /// Travel over which its force falls to zero after shearing [m].
    pub tear_length: f64,
}

/// A spring that pushes the nose off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spring {
    /// Force with the nose seated [N].
    pub force: f64,
    /// Travel at which it stops pushing [m].
    pub stroke: f64,
}

/// A tether as a spring and damper in tension.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tether {
    /// Nose travel at which it runs taut [m].
    pub length: f64,
    /// Stiffness [N/m].
    pub stiffness: f64,
    /// Damping [N s/m].
    pub damping: f64,
    /// Rated load [N].
    pub rating: Option<f64>,
}
