//! Everything against time, sampled at the integrator's own steps and at every event.

/// The run as columns of equal length.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Trajectory {
    /// Times [s], ascending; an event may appear twice, before and after.
    pub times: Vec<f64>,
    /// One entry per vessel of the system, in its order.
    pub vessels: Vec<VesselSeries>,
    /// One entry per path of the system, in its order.
    pub paths: Vec<PathSeries>,
    /// The nose, if there is one.
    pub nose: Option<NoseSeries>,
}

/// One vessel against time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct VesselSeries {
    /// Name in the design file.
    pub name: String,
    /// Absolute pressure [Pa].
    pub pressure: Vec<f64>,
    /// Temperature of the contents [K].
    pub temperature: Vec<f64>,
    /// Mass of CO2, all phases [kg].
    pub co2_mass: Vec<f64>,
    /// Mass of air [kg].
    pub air_mass: Vec<f64>,
    /// Mass of dry ice [kg].
    pub solid_mass: Vec<f64>,
    /// Mass of liquid [kg]; the dense single phase counts as liquid below the critical temperature.
    pub liquid_mass: Vec<f64>,
    /// Temperature of the shell [K]; empty without a wall.
    pub wall_temperature: Vec<f64>,
}

/// One path against time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PathSeries {
    /// Name in the design file.
    pub name: String,
    /// Mass flow [kg/s], positive from `from` to `to`.
    pub mass_flow: Vec<f64>,
    /// Geometric open area [m2].
    pub open_area: Vec<f64>,
    /// Whether the flow is choked.
    pub choked: Vec<bool>,
}

/// The nose against time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct NoseSeries {
    /// Relative travel [m].
    pub travel: Vec<f64>,
    /// Relative speed [m/s].
    pub speed: Vec<f64>,
    /// Pressure difference on the bore plus spring [N].
    pub opening_force: Vec<f64>,
    /// Tension in the tether [N].
    pub tether_tension: Vec<f64>,
}
