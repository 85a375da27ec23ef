//! How much more leakage the separation would bear.

use crate::discharge::{Discharge, Extent, Peak, Settings, run};
use crate::flow::FluxModel;
use crate::flow::opening::Opening;
use crate::network::spec::{Command, End, Path, PathRole, System};

use super::StudyError;
use super::shot::HeldNose;

/// Discharge coefficient of the added hole: a sharp edge.
pub const HOLE_DISCHARGE_COEFFICIENT: f64 = 0.65;
/// Largest added hole looked at, over the bore area.
const LARGEST_SHARE: f64 = 0.25;
/// Share of the area to which it is settled.
const TOLERANCE: f64 = 0.005;
/// Share of what was found that is given: not too large a hole.
const SAFE_SIDE: f64 = 1.0 - TOLERANCE;
/// Most runs.
const MOST_RUNS: usize = 16;

/// The largest hole that could be added to the bay before the pins would hold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TolerableLeak {
    /// Area of the added hole [m2], too small by at most 1 %; its edge is sharp
    /// ([`HOLE_DISCHARGE_COEFFICIENT`]).
    pub area: f64,
    /// Diameter of one round hole of that area [m].
    pub diameter: f64,
    /// Whether even this, a quarter of the bore, is borne: the true value is larger.
    pub at_least: bool,
}

/// Finds the added leak at which the force with the nose held falls to the retention force.
///
/// A balance of the bay's mass over the run already made (`sketch`) tells where to look; whole
/// runs with the nose held then settle it to half a per cent, mostly in three or four. They end well past the peak
/// of the sketch, or else just past that of the run without the leak: a leak only brings the balance of
/// inflow and leakage earlier.
/// `None` when the nose stays on already, or when nothing needs to be overcome.
///
/// # Errors
/// [`StudyError::AddedLeak`] when a trial cannot be computed.
pub fn tolerable_leak(
    system: &System,
    held: &HeldNose,
    held_run: &Discharge,
    settings: &Settings,
) -> Result<Option<TolerableLeak>, StudyError> {
    let Some((nose, bay)) = &system.nose else {
        return Ok(None);
    };
    if held.retention_force <= 0.0 || held.factor() <= 1.0 {
        return Ok(None);
    }
    let settings = Settings {
        hold_nose: true,
        relative_tolerance: settings.relative_tolerance.max(1e-4),
        extent: Extent::Separation,
        ..*settings
    };
    let mut trial = system.clone();
    let longest = system.horizon.min(1.02 * held.peak_force.time + 0.005);
    let index = trial.paths.len();
    trial.paths.push(hole("added leak", *bay, 0.0));
    let mut factor = |area: f64| -> Result<f64, StudyError> {
        if let Some(path) = trial.paths.get_mut(index) {
            path.area = area;
        }
        // The more leaks, the sooner the peak comes: mostly well before twice the sketch's.
        let soon = 2.0 * sketch(held_run, *bay, system, area).time + 0.02;
        trial.horizon = longest.min(soon);
        loop {
            let discharge = run(&trial, &settings).map_err(|error| StudyError::AddedLeak {
                area,
                source: Box::new(error),
            })?;
            let peak = discharge.outcome.peak_opening_force;
            if peak.time < 0.95 * trial.horizon || trial.horizon >= longest {
                return Ok(pressure_force(system, &discharge) / held.retention_force);
            }
            trial.horizon = longest;
        }
    };
    let largest = LARGEST_SHARE * nose.area();
    let ambient = system.ambient.at(0.0).0;
    let sketched = |area: f64| {
        let peak = sketch(held_run, *bay, system, area);
        (peak.value - ambient) * nose.area() / held.retention_force
    };
    // Ends of the bracket with the factor there; the sketch is scaled to the last true run.
    let (mut low, mut high) = ((0.0, held.factor()), None::<(f64, f64)>);
    let mut scale = 1.0;
    for turn in 0..MOST_RUNS {
        let top = high.map_or(largest, |high| high.0);
        let area = solve(|area| scale * sketched(area) - 1.0, low.0, top);
        // Not onto an end that is known already.
        let room = 0.05 * (top - low.0);
        let area = match high {
            None => area.max(low.0 + room).min(largest),
            // Every third time in the middle: far from the run it was made of the sketch may lead nowhere.
            Some(_) if turn % 3 == 2 => 0.5 * (low.0 + top),
            Some(_) => area.clamp(low.0 + 0.25 * room, top - 0.25 * room),
        };
        let value = factor(area)?;
        if (value - 1.0).abs() <= TOLERANCE * sensitivity(low, (area, value)) {
            return Ok(Some(TolerableLeak::new(SAFE_SIDE * area, false)));
        }
        let guess = sketched(area);
        if guess > 0.0 {
            scale = value / guess;
        }
        if value > 1.0 {
            if area >= largest {
                return Ok(Some(TolerableLeak::new(largest, true)));
            }
            low = (area, value);
        } else {
            high = Some((area, value));
        }
        if let Some(high) = high
            && high.0 - low.0 <= TOLERANCE * high.0
        {
            break;
        }
    }
    Ok(Some(match high {
        Some(high) => {
            let share = (low.1 - 1.0) / (low.1 - high.1);
            TolerableLeak::new(SAFE_SIDE * (low.0 + share * (high.0 - low.0)), false)
        }
        None => TolerableLeak::new(low.0, true),
    }))
}

/// Change of the factor per relative change of the area, from two points, at most one [1]: the factor falls like
/// one over all leaks together, and a chord from far above says more.
fn sensitivity(low: (f64, f64), here: (f64, f64)) -> f64 {
    let (from, to) = (low, here);
    ((from.1 - to.1) / (to.0 - from.0) * to.0).abs().min(1.0)
}

/// Where a falling function is zero, to a thousandth of the bracket, or the end nearest to it.
fn solve(excess: impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    let (mut low, mut high) = (low, high);
    for _ in 0..24 {
        let middle = 0.5 * (low + high);
        if excess(middle) > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// Peak bay pressure [Pa] with an added hole, and when [s], from the run without it.
///
/// Law: balance of the bay's gas. What flows in stays as it was (it is choked), what leaks already
/// follows the pressure, the hole passes a perfect gas of exponent 1.3; pressure over mass is at
/// each time what it was. A sketch to start a search from, good to some percent.
fn sketch(held_run: &Discharge, bay: usize, system: &System, area: f64) -> Peak {
    const EXPONENT: f64 = 1.3;
    let trajectory = &held_run.trajectory;
    let (Some(series), Some(vessel)) = (trajectory.vessels.get(bay), system.vessels.get(bay))
    else {
        return Peak::default();
    };
    let samples = trajectory
        .times
        .iter()
        .zip(&series.pressure)
        .zip(series.co2_mass.iter().zip(&series.air_mass))
        .map(|((time, pressure), (co2, air))| (*time, *pressure, co2 + air));
    let ends = (End::Vessel(bay), End::Ambient);
    let inflow = |index: usize| -> (f64, f64) {
        let (mut entering, mut leaving) = (0.0, 0.0);
        for (path, flows) in system.paths.iter().zip(&trajectory.paths) {
            let flow = flows.mass_flow.get(index).copied().unwrap_or(0.0);
            if (path.from, path.to) == ends {
                leaving += flow;
            } else if (path.to, path.from) == ends {
                leaving -= flow;
            } else if path.to == ends.0 {
                entering += flow;
            } else if path.from == ends.0 {
                entering -= flow;
            }
        }
        (entering, leaving)
    };
    let critical = (2.0 / (EXPONENT + 1.0_f64)).powf(EXPONENT / (EXPONENT - 1.0));
    let choked = EXPONENT.sqrt()
        * (2.0 / (EXPONENT + 1.0_f64)).powf((EXPONENT + 1.0) / (2.0 * (EXPONENT - 1.0)));
    let (mut mass, mut peak, mut before) = (0.0, Peak::default(), None);
    for (index, (time, pressure, held_mass)) in samples.enumerate() {
        let Some(then) = before.replace(time) else {
            mass = held_mass;
            peak.raise(&[time], &[pressure]);
            continue;
        };
        let now = pressure * mass / held_mass.max(1e-12);
        let ambient = system.ambient.at(time).0;
        // R T of the bay's contents from p V = m R T.
        let heat = pressure * vessel.volume / held_mass.max(1e-12);
        let ratio = ambient / now;
        let flux = if now <= ambient {
            0.0
        } else if ratio <= critical {
            now * choked / heat.sqrt()
        } else {
            // Bendemann's ellipse through the choked value.
            let share = (ratio - critical) / (1.0 - critical);
            now * choked / heat.sqrt() * (1.0 - share * share).sqrt()
        };
        let (entering, leaving) = inflow(index);
        let over = pressure - ambient;
        let eased = if over > 1.0 {
            ((now - ambient) / over).clamp(0.0, 1.0).sqrt()
        } else {
            1.0
        };
        let out = leaving * eased + HOLE_DISCHARGE_COEFFICIENT * area * flux;
        mass = (mass + (entering - out) * (time - then)).max(1e-9);
        peak.raise(&[time], &[pressure * mass / held_mass.max(1e-12)]);
    }
    peak
}

/// Peak force of the pressure alone on a held nose [N].
pub(super) fn pressure_force(system: &System, discharge: &Discharge) -> f64 {
    let spring = system
        .nose
        .as_ref()
        .map_or(0.0, |(nose, _)| nose.spring_force(0.0));
    discharge.outcome.peak_opening_force.value - spring
}

impl TolerableLeak {
    fn new(area: f64, at_least: bool) -> Self {
        TolerableLeak {
            area,
            diameter: (4.0 * area / std::f64::consts::PI).sqrt(),
            at_least,
        }
    }
}

/// A sharp hole from a vessel to the air, of an area [m2].
pub(super) fn hole(name: &str, vessel: usize, area: f64) -> Path {
    Path {
        name: name.to_owned(),
        role: PathRole::Leak,
        from: End::Vessel(vessel),
        to: End::Ambient,
        area,
        discharge_coefficient: HOLE_DISCHARGE_COEFFICIENT,
        opening: Opening::Instant,
        command: Command::Always,
        flux_model: FluxModel::Equilibrium,
        one_way: false,
        friction_number: 0.0,
    }
}
