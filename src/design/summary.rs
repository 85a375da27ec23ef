//! What a design means before anything moves: the numbers `check` prints.

use crate::design::Design;
use crate::design::error::Problem;
use crate::flow::discharge_flux;
use crate::flow::perfect_gas::critical_flow_function;
use crate::flow::stagnation::Stagnation;
use crate::network::spec::{Draw, End, Path, Role, System, Vessel};
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::source::Equations;
use crate::thermo::{FluidPoint, ThermoError, air, coexistence, flash};

/// Temperature of a hot day in the sun, at which cylinders are rated (UN packing instruction
/// P200 for UN 1013) [K].
pub const HOT_DAY: f64 = 338.15;
/// Ratio of specific heats of dilute CO2 near 250 K, for leaks.
const KAPPA_OF_CO2: f64 = 1.31;

/// A design in numbers, all SI.
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    /// Vessels in the order of the system.
    pub vessels: Vec<VesselSummary>,
    /// Paths in the order of the system.
    pub paths: Vec<PathSummary>,
    /// The nose, if any.
    pub nose: Option<NoseSummary>,
    /// Pressure of the surrounding air [Pa].
    pub ambient_pressure: f64,
    /// Temperature of the surrounding air [K].
    pub ambient_temperature: f64,
}

/// A vessel at the start.
#[derive(Debug, Clone, PartialEq)]
pub struct VesselSummary {
    /// Name.
    pub name: String,
    /// What it is for.
    pub role: Role,
    /// Volume [m3].
    pub volume: f64,
    /// Temperature [K].
    pub temperature: f64,
    /// Absolute pressure [Pa]; that of the charge where the vessel stands open to a pierced cartridge.
    pub pressure: f64,
    /// Highest allowed absolute pressure [Pa].
    pub pressure_rating: Option<f64>,
    /// The charge, if one was filled in.
    pub charge: Option<ChargeSummary>,
}

/// A charge of CO2.
#[derive(Debug, Clone, PartialEq)]
pub struct ChargeSummary {
    /// Mass as weighed [kg].
    pub mass: f64,
    /// Mass over volume [kg/m3].
    pub fill_density: f64,
    /// Phases present.
    pub phase: &'static str,
    /// Mass fraction of liquid; `None` where liquid and vapour cannot be told apart.
    pub liquid_fraction: Option<f64>,
    /// Temperature from which liquid alone fills the vessel and pressure climbs steeply [K];
    /// `None` for a charge too light ever to be liquid-full.
    pub liquid_full_temperature: Option<f64>,
    /// Pressure at [`HOT_DAY`] [Pa].
    pub hot_day_pressure: f64,
}

/// A path.
#[derive(Debug, Clone, PartialEq)]
pub struct PathSummary {
    /// Name.
    pub name: String,
    /// Discharge coefficient times area [m2].
    pub effective_area: f64,
    /// Time from the command until fully open [s].
    pub opening_time: f64,
}

/// The nose and what holds it.
#[derive(Debug, Clone, PartialEq)]
pub struct NoseSummary {
    /// Name of the vessel it closes.
    pub vessel: String,
    /// Area on which the pressure acts [m2].
    pub area: f64,
    /// Load at which the pins shear together [N].
    pub pin_force: f64,
    /// All that holds the nose: pins, friction, hold-down, less the spring [N].
    pub retention_force: f64,
    /// Pressure above the surroundings at which it leaves [Pa].
    pub retention_pressure: f64,
    /// Absolute bay pressure at which it leaves [Pa].
    pub bay_pressure_to_leave: f64,
    /// Effective area of leaks and vents from that vessel to the surroundings [m2].
    pub leak_area: f64,
    /// First estimate of the balance between supply and leaks, if a charge feeds the vessel.
    pub leak_balance: Option<LeakBalance>,
    /// What an ideal gas that never cools would reach with all of the charge in all of the volume
    /// ([`System::perfect_gas_pressure`]) [Pa]: an overestimate, for comparison only.
    pub ideal_gas_pressure: f64,
}

/// Supply at the start against leaks.
///
/// The initial choked flow of the charge through the narrowest path on the way, fully open,
/// equals the choked flow of CO2 gas at the vessel's temperature out of the leaks,
/// mdot = A p C*/sqrt(R T) (C* at kappa 1.31). An upper bound: supply falls as the charge cools.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeakBalance {
    /// Flow of the full charge at the start [kg/s].
    pub supply: f64,
    /// Bay pressure at which leaks pass as much [Pa]; infinite without leaks.
    pub balance_pressure: f64,
    /// Effective leak area at which that pressure only just moves the nose [m2].
    pub largest_leak_area: f64,
}

/// Whether one friction in a thousand or more may be drawn on the wrong side of the other.
#[must_use]
pub fn friction_may_cross(design: &Design) -> bool {
    let Ok((system, _)) = design.system(&design.central()) else {
        return false;
    };
    let Some((nose, _)) = &system.nose else {
        return false;
    };
    let drawn = |path: &str, probability: f64| {
        let input = design.inputs().iter().find(|input| input.path == path)?;
        Some(input.distribution.quantile(probability))
    };
    let sliding = drawn("nose.kinetic_friction", 0.999);
    let sticking = drawn("nose.static_friction", 0.001);
    // What is not given is the same draw as the other.
    let own = sliding.is_some() || nose.kinetic_friction < nose.static_friction;
    own && sliding.unwrap_or(nose.kinetic_friction) > sticking.unwrap_or(nose.static_friction)
}

/// Sums up a system before anything moves.
///
/// # Errors
/// [`Problem::Physics`] when a charge is outside the model of CO2.
pub fn summarise(system: &System) -> Result<Summary, Problem> {
    let masses = system.masses_at_start(&Equations).map_err(physics)?;
    let vessels = system
        .vessels
        .iter()
        .zip(masses)
        .map(|(vessel, masses)| summarise_vessel(vessel, masses))
        .collect::<Result<Vec<_>, _>>()
        .map_err(physics)?;
    let paths = system
        .paths
        .iter()
        .map(|path| PathSummary {
            name: path.name.clone(),
            effective_area: effective_area(path),
            opening_time: path.opening.time_fully_open(),
        })
        .collect();
    let (ambient_pressure, ambient_temperature) = system.ambient.at(0.0);
    let nose = match &system.nose {
        Some((nose, index)) => {
            let leak_area = leak_area(system, *index);
            let retention_pressure = nose.retention_pressure();
            let bay_pressure_to_leave = ambient_pressure + retention_pressure;
            let leak_balance = leak_balance(system, *index, leak_area, bay_pressure_to_leave)?;
            Some(NoseSummary {
                vessel: system
                    .vessels
                    .get(*index)
                    .map_or(String::new(), |v| v.name.clone()),
                area: nose.area(),
                pin_force: nose.pin_strength(),
                retention_force: nose.retention_force(),
                retention_pressure,
                bay_pressure_to_leave,
                leak_area,
                leak_balance,
                ideal_gas_pressure: system.perfect_gas_pressure(),
            })
        }
        None => None,
    };
    Ok(Summary {
        vessels,
        paths,
        nose,
        ambient_pressure,
        ambient_temperature,
    })
}

fn physics(error: impl std::fmt::Display) -> Problem {
    Problem::Physics {
        reason: error.to_string(),
    }
}

fn effective_area(path: &Path) -> f64 {
    path.discharge_coefficient * path.area
}

/// A vessel with the masses of CO2 and air it starts with [kg]; a charge is summed up as it was filled in.
fn summarise_vessel(
    vessel: &Vessel,
    (co2_mass, air_mass): (f64, f64),
) -> Result<VesselSummary, ThermoError> {
    let mut pressure = air_mass * air::GAS_CONSTANT * vessel.temperature / vessel.volume;
    if co2_mass > 0.0 {
        let density = co2_mass / vessel.volume;
        pressure += flash::at_temperature_density(vessel.temperature, density)?.pressure;
    }
    let mut charge = None;
    if vessel.co2_mass > 0.0 {
        let density = vessel.co2_mass / vessel.volume;
        let state = flash::at_temperature_density(vessel.temperature, density)?;
        charge = Some(ChargeSummary {
            mass: vessel.co2_mass,
            fill_density: density,
            phase: state.phase.name(),
            liquid_fraction: state.liquid_fraction,
            liquid_full_temperature: liquid_full_temperature(density)?,
            hot_day_pressure: flash::at_temperature_density(HOT_DAY, density)?.pressure,
        });
    }
    Ok(VesselSummary {
        name: vessel.name.clone(),
        role: vessel.role,
        volume: vessel.volume,
        temperature: vessel.temperature,
        pressure,
        pressure_rating: vessel.pressure_rating,
        charge,
    })
}

/// Temperature at which saturated liquid has a given density [K]: a charge that dense is
/// liquid-full from there on. `None` below the critical density, where the liquid boils away
/// first, and above the density of the coldest liquid.
///
/// # Errors
/// As [`coexistence::saturation`].
pub fn liquid_full_temperature(density: f64) -> Result<Option<f64>, ThermoError> {
    let triple = coexistence::triple_point()?.temperature;
    // Within a millikelvin of the critical point the two phases are one for this purpose.
    let (mut cold, mut hot) = (triple, co2::CRITICAL_TEMPERATURE - 1e-3);
    let liquid =
        |temperature: f64| coexistence::saturation(temperature).map(|line| line.heavy.density());
    if density >= liquid(cold)? || density <= liquid(hot)? {
        return Ok(None);
    }
    for _ in 0..60 {
        let middle = 0.5 * (cold + hot);
        if hot - cold < 1e-7 {
            break;
        }
        if liquid(middle)? > density {
            cold = middle;
        } else {
            hot = middle;
        }
    }
    Ok(Some(0.5 * (cold + hot)))
}

/// Effective area of everything that leads from a vessel to the surroundings.
fn leak_area(system: &System, vessel: usize) -> f64 {
    let outward = |path: &&Path| {
        (path.from == End::Vessel(vessel) && path.to == End::Ambient)
            || (path.to == End::Vessel(vessel) && path.from == End::Ambient && !path.one_way)
    };
    system
        .paths
        .iter()
        .filter(outward)
        .map(effective_area)
        .sum()
}

fn leak_balance(
    system: &System,
    bay: usize,
    leak_area: f64,
    needed_pressure: f64,
) -> Result<Option<LeakBalance>, Problem> {
    let Some((source, area)) = widest_supply(system, bay) else {
        return Ok(None);
    };
    let Some(vessel) = system.vessels.get(source) else {
        return Ok(None);
    };
    let density = vessel.co2_mass / vessel.volume;
    let state = flash::at_temperature_density(vessel.temperature, density).map_err(physics)?;
    let stagnation = match state.fluid {
        Some(point) => Stagnation::single(point),
        None => {
            let line = coexistence::saturation(vessel.temperature).map_err(physics)?;
            match vessel.draw {
                Draw::Vapour => Stagnation::light(&Equations, &line),
                Draw::Liquid => Stagnation::liquid(&Equations, &line),
                Draw::Mixed => Stagnation::mixture(
                    &Equations,
                    &state,
                    FluidPoint::new(state.temperature, line.light.density()),
                ),
            }
        }
    };
    let model = narrowest_model(system, bay, source);
    let ambient = system.ambient.at(0.0).0;
    let flux = discharge_flux::pure(&Equations, model, &stagnation, ambient).map_err(physics)?;
    let supply = area * flux.mass_flux;
    let bay_temperature = system
        .vessels
        .get(bay)
        .map_or(293.15, |vessel| vessel.temperature);
    let per_area_and_pressure = critical_flow_function(KAPPA_OF_CO2)
        / (co2::SPECIFIC_GAS_CONSTANT * bay_temperature).sqrt();
    let balance_pressure = if leak_area > 0.0 {
        supply / (leak_area * per_area_and_pressure)
    } else {
        f64::INFINITY
    };
    let largest_leak_area = supply / (needed_pressure * per_area_and_pressure);
    Ok(Some(LeakBalance {
        supply,
        balance_pressure,
        largest_leak_area,
    }))
}

/// The charged vessel that can feed another through the widest narrowest path, and that area.
fn widest_supply(system: &System, target: usize) -> Option<(usize, f64)> {
    // Widest-path search over a handful of vessels: relax until nothing widens.
    let count = system.vessels.len();
    let mut width = vec![0.0_f64; count];
    *width.get_mut(target)? = f64::INFINITY;
    for _ in 0..count {
        for path in &system.paths {
            let (End::Vessel(from), End::Vessel(to)) = (path.from, path.to) else {
                continue;
            };
            let through = effective_area(path).min(width.get(to).copied().unwrap_or(0.0));
            if let Some(known) = width.get_mut(from) {
                *known = known.max(through);
            }
        }
    }
    system
        .vessels
        .iter()
        .zip(&width)
        .enumerate()
        .filter(|(index, (vessel, width))| {
            *index != target && vessel.co2_mass > 0.0 && **width > 0.0
        })
        .max_by(|a, b| a.1.1.total_cmp(b.1.1))
        .map(|(index, (_, width))| (index, *width))
}

/// The two-phase model of the first path out of a source (or into the target).
fn narrowest_model(system: &System, target: usize, source: usize) -> crate::flow::FluxModel {
    let leaves = |path: &&Path| path.from == End::Vessel(source) && path.to != End::Ambient;
    let enters = |path: &&Path| path.to == End::Vessel(target);
    system
        .paths
        .iter()
        .find(leaves)
        .or_else(|| system.paths.iter().find(enters))
        .map_or(crate::flow::FluxModel::Relaxed, |path| path.flux_model)
}
