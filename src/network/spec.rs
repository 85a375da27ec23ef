//! What a system is made of, in SI, before anything moves.

use crate::flow::FluxModel;
use crate::flow::opening::Opening;
use crate::mechanics::Nose;

/// A complete system: vessels, the paths between them, the air outside and the nose.
#[derive(Debug, Clone, PartialEq)]
pub struct System {
    /// Vessels, in the order paths refer to them.
    pub vessels: Vec<Vessel>,
    /// Flow paths.
    pub paths: Vec<Path>,
    /// The air outside.
    pub ambient: Ambient,
    /// The nose and the index of the vessel it closes.
    pub nose: Option<(Nose, usize)>,
    /// Time at which a run ends at the latest, on the clock of the commands [s]; a run starts at 0.
    pub horizon: f64,
}

impl System {
    /// All CO2 and air in the vessels at the start [kg].
    #[must_use]
    pub fn total_mass(&self) -> f64 {
        self.vessels.iter().map(|v| v.co2_mass + v.air_mass).sum()
    }

    /// Index of the vessel under the nose; without a nose the last bay, or the last vessel.
    #[must_use]
    pub fn bay(&self) -> usize {
        let last_bay = || self.vessels.iter().rposition(|v| v.role == Role::Bay);
        match &self.nose {
            Some((_, bay)) => *bay,
            None => last_bay().unwrap_or(self.vessels.len().saturating_sub(1)),
        }
    }
}

/// What a vessel is for; decides wording, not physics.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// A CO2 cartridge.
    Cartridge,
    /// A small volume between two restrictions.
    Manifold,
    /// A store of gas between valve and bay.
    Reservoir,
    /// The plenum under the nose.
    Bay,
}

/// Which phase leaves a two-phase vessel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Draw {
    /// The vapour (outlet up).
    Vapour,
    /// The liquid (outlet down or a dip tube); vapour for good once the liquid has run out.
    Liquid,
    /// All phases in their mass proportions (shaken).
    Mixed,
}

/// Whether CO2 in a vessel may condense.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Condensation {
    /// Phases in equilibrium at every instant.
    Equilibrium,
    /// The vapour stays metastable: no snow, no liquid.
    Metastable,
}

/// A volume of CO2 and air.
#[derive(Debug, Clone, PartialEq)]
pub struct Vessel {
    /// Name in the design file.
    pub name: String,
    /// What it is for.
    pub role: Role,
    /// Inner volume [m3].
    pub volume: f64,
    /// Mass of CO2 at the start [kg].
    pub co2_mass: f64,
    /// Mass of air at the start [kg].
    pub air_mass: f64,
    /// Temperature at the start [K].
    pub temperature: f64,
    /// Whether it is under the pressure of the cartridges that stand open to it at the start, in
    /// place of the masses above ([`System::masses_at_start`]).
    pub stands_open: bool,
    /// Which phase leaves.
    pub draw: Draw,
    /// Whether CO2 condenses.
    pub condensation: Condensation,
    /// The shell, if heat matters.
    pub wall: Option<Wall>,
    /// Highest allowed absolute pressure [Pa].
    pub pressure_rating: Option<f64>,
}

/// A shell as one lumped mass.
#[derive(Debug, Clone, PartialEq)]
pub struct Wall {
    /// Mass times specific heat [J/K].
    pub heat_capacity: f64,
    /// Temperature at the start [K].
    pub temperature: f64,
    /// Conduction resistance of the whole wall, thickness/(conductivity area) [K/W].
    pub conduction_resistance: f64,
    /// Inner area [m2].
    pub inner_area: f64,
    /// Outer area [m2].
    pub outer_area: f64,
    /// Heat transfer between wall and contents.
    pub inside: InsideHeat,
    /// Heat transfer between wall and surroundings.
    pub outside: OutsideHeat,
    /// Sunshine absorbed [W].
    pub solar: f64,
}

/// Heat transfer from wall to contents.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum InsideHeat {
    /// A constant coefficient [W/(m2 K)].
    Coefficient(f64),
    /// Nucleate boiling (Cooper 1984, capped by the Zuber critical heat flux) where liquid is
    /// present, natural convection of the gas (height scale below) otherwise.
    Boiling {
        /// Surface roughness Rp in Cooper's sense [m].
        roughness: f64,
        /// Share of the inner area that works, 0-1.
        area_factor: f64,
        /// Height scale of the natural convection [m].
        height: f64,
        /// Acceleration felt by the contents [m/s2].
        gravity: f64,
    },
    /// Natural convection of the gas only.
    NaturalConvection {
        /// Height scale [m].
        height: f64,
        /// Acceleration felt by the contents [m/s2].
        gravity: f64,
    },
    /// Gas stirred by the inflowing jet: a Nusselt number from the inflow's momentum.
    StirredJet {
        /// Diameter of the vessel [m].
        diameter: f64,
    },
}

/// Heat transfer from wall to surroundings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum OutsideHeat {
    /// None.
    Adiabatic,
    /// A constant coefficient [W/(m2 K)].
    Coefficient(f64),
    /// Natural convection of air (Churchill & Chu) over a height [m].
    NaturalConvection {
        /// Height scale [m].
        height: f64,
    },
}

/// One end of a path.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// A vessel, by index.
    Vessel(usize),
    /// The air outside.
    Ambient,
}

/// What a path is for; decides wording, not physics.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PathRole {
    /// A commanded valve.
    Valve,
    /// A fixed restriction (pierced neck, orifice, tube).
    Orifice,
    /// An unwanted opening.
    Leak,
    /// A wanted opening to the outside.
    Vent,
}

/// When a path is opened.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Command {
    /// Open from the start.
    Always,
    /// At a time [s].
    At(f64),
    /// At a time [s], only if the nose has not cleared by then (backup line).
    Backup(f64),
}

/// A flow path between two ends.
#[derive(Debug, Clone, PartialEq)]
pub struct Path {
    /// Name in the design file.
    pub name: String,
    /// What it is for.
    pub role: PathRole,
    /// Donor end of forward flow.
    pub from: End,
    /// Receiver end of forward flow.
    pub to: End,
    /// Full geometric area [m2].
    pub area: f64,
    /// Discharge coefficient, 0-1.
    pub discharge_coefficient: f64,
    /// Opening law after the command.
    pub opening: Opening,
    /// When it is commanded.
    pub command: Command,
    /// Two-phase behaviour.
    pub flux_model: FluxModel,
    /// No reverse flow (check valve).
    pub one_way: bool,
    /// Friction number K = f L/D + minor losses upstream of the exit; 0 for a plain orifice.
    pub friction_number: f64,
}

/// The air outside.
#[derive(Debug, Clone, PartialEq)]
pub struct Ambient {
    /// Times of the table [s], ascending; one entry means constant.
    pub times: Vec<f64>,
    /// Pressures at those times [Pa].
    pub pressures: Vec<f64>,
    /// Temperatures at those times [K].
    pub temperatures: Vec<f64>,
}

impl Ambient {
    /// Constant pressure [Pa] and temperature [K].
    #[must_use]
    pub fn constant(pressure: f64, temperature: f64) -> Self {
        Self {
            times: vec![0.0],
            pressures: vec![pressure],
            temperatures: vec![temperature],
        }
    }

    /// Pressure [Pa] and temperature [K] at a time [s]: straight lines through the table, constant
    /// beyond its ends.
    #[must_use]
    pub fn at(&self, time: f64) -> (f64, f64) {
        let value = |column: &[f64]| {
            let next = self.times.partition_point(|t| *t <= time);
            match (next.checked_sub(1), column.get(next)) {
                (None, Some(first)) => *first,
                (Some(i), Some(right)) => {
                    let share = (time - self.times[i]) / (self.times[next] - self.times[i]);
                    column[i] + share * (right - column[i])
                }
                (_, None) => column.last().copied().unwrap_or(f64::NAN),
            }
        };
        (value(&self.pressures), value(&self.temperatures))
    }
}
