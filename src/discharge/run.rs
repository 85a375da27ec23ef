//! The run: integrate, stop at every discontinuity, change what changes, go on.

use crate::discharge::coast::coast;
use crate::discharge::record::Recorder;
use crate::discharge::{Audit, Discharge, DischargeError, Ending, EventKind, EventRecord};
use crate::mechanics::NoseEvent;
use crate::network::layout::{ACCOUNTS, Layout};
use crate::network::spec::{Command, System};
use crate::network::{Network, NetworkEvent};
use crate::numerics::integrate::{Integrator, Method, Settings as IntegratorSettings, Stop};
use crate::thermo::source::{Equations, PropertySource, Tables};

/// How a discharge is computed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Relative tolerance of the integration.
    pub relative_tolerance: f64,
    /// Keep the nose latched whatever the pressure (what force would have been available).
    pub hold_nose: bool,
    /// Properties from the equations at every call instead of from tables.
    pub exact_properties: bool,
    /// Which method steps; forcing one is a check of the other.
    pub method: Method,
    /// How far the run goes.
    pub extent: Extent,
    /// Most steps attempted between two events before the run is given up as an error.
    pub most_steps: usize,
}

/// How far a run goes, and how much of it is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Extent {
    /// To the horizon, with everything against time.
    Horizon,
    /// To the separation: once the nose is clear and the bay has vented, only its own motion and
    /// the tether are followed, and without a nose on the move the run ends when nothing upstream
    /// has more pressure than the bay. The flows of the paths are not kept. For many runs.
    Separation,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            relative_tolerance: 1e-7,
            hold_nose: false,
            exact_properties: false,
            extent: Extent::Horizon,
            most_steps: 5_000,
            method: Method::Automatic,
        }
    }
}

/// Tightest relative tolerance of a run with the nose held: tighter ones move the peak of the force
/// by less than 1e-4.
const HELD_TOLERANCE: f64 = 1e-5;

impl Settings {
    /// The same with the nose held, to show what force there would have been.
    #[must_use]
    pub fn with_nose_held(self) -> Self {
        Self {
            hold_nose: true,
            relative_tolerance: self.relative_tolerance.max(HELD_TOLERANCE),
            ..self
        }
    }

    /// For many runs whose outcome counts, not their course: to the separation, with a tolerance
    /// that keeps peak pressure, break time, clear time and exit speed within 0.1 % of the full
    /// equations (`tests/verification_fast_runs.rs`).
    #[must_use]
    pub fn for_many_runs() -> Self {
        Self {
            relative_tolerance: 2e-5,
            extent: Extent::Separation,
            ..Self::default()
        }
    }
}

/// Relative tolerance once the nose is clear and the bay has vented: the separation is over, and what
/// stays behind need not be known so well.
const AFTERWARDS: f64 = 1e-5;

/// Density below which the contents of a vessel need not be known to the relative tolerance [kg/m3].
const THIN_GAS: f64 = 1.0;

/// Largest imbalance of mass or energy, relative to what moved, that a run may have.
pub const LARGEST_IMBALANCE: f64 = 1e-8;

/// Integrate a system from its start to its horizon.
///
/// # Errors
/// A specification that contradicts itself, a state outside the model (with vessel and time), or
/// balances that do not close.
pub fn run(system: &System, settings: &Settings) -> Result<Discharge, DischargeError> {
    if settings.exact_properties {
        run_with(system, settings, Equations)
    } else {
        run_with(system, settings, Tables)
    }
}

fn run_with<L: PropertySource + Copy>(
    system: &System,
    settings: &Settings,
    properties: L,
) -> Result<Discharge, DischargeError> {
    let mut network = Network::new(system, properties, settings.hold_nose)
        .map_err(|source| DischargeError::Start { source })?;
    let start = network
        .initial_state()
        .map_err(|source| DischargeError::Start { source })?;
    let brief = settings.extent == Extent::Separation;
    network.set_brief(brief);
    let layout = network.layout().clone();
    let event_count = network.events().len();
    let integrator_settings = IntegratorSettings {
        relative: settings.relative_tolerance,
        absolute: absolute_tolerances(system, &layout, &start, settings.relative_tolerance),
        max_step: system.horizon / 20.0,
        min_step: 1e-13,
        event_samples: 2,
        max_steps: settings.most_steps,
        method: settings.method,
        ..IntegratorSettings::default()
    };
    let mut integrator = Integrator::new(layout.dimension, event_count, integrator_settings)?;
    integrator.start(0.0, &start);

    let mut recorder = Recorder::new(system, &layout, !brief);
    let mut events: Vec<EventRecord> = Vec::new();
    let mut alarms = alarms(system);
    let mut cleared = false;
    let mut ended = None;
    let mut followed_loosely = false;
    let mut samples = Samples::new(layout.dimension);
    samples.push(0.0, &start);
    // An empty calendar entry at the horizon ends the run.
    loop {
        let next = alarms
            .last()
            .map_or(system.horizon, |a| a.time.min(system.horizon));
        let stop = if next > integrator.time() {
            integrator
                .advance(&mut network, next, &mut |step| samples.step(step))
                .map_err(DischargeError::from)?
        } else {
            Stop::End
        };
        recorder.take(&mut network, &mut samples)?;
        let time = integrator.time();
        match stop {
            Stop::End => {
                let mut rang = false;
                while alarms.last().is_some_and(|a| a.time <= time) {
                    if let Some(alarm) = alarms.pop() {
                        rang = true;
                        ring(
                            &alarm,
                            time,
                            system,
                            &mut network,
                            cleared,
                            &mut alarms,
                            &mut events,
                        );
                    }
                }
                if time >= system.horizon {
                    break;
                }
                if rang {
                    samples.push(time, integrator.state());
                    integrator.restart();
                }
            }
            Stop::Event { index } => {
                let event = network.events()[index];
                let kind = handle(event, system, &layout, &mut network, &mut integrator)?;
                if let Some(kind) = kind {
                    if kind == EventKind::Nose(NoseEvent::Clear) {
                        cleared = true;
                    }
                    ended = ending(&kind, cleared, system);
                    events.push(EventRecord { time, kind });
                }
                samples.push(time, integrator.state());
                if ended.is_none() && brief {
                    if cleared && network.is_vented() {
                        recorder.take(&mut network, &mut samples)?;
                        let state = (time, integrator.state());
                        ended = Some(coast_on(
                            system,
                            &layout,
                            &network,
                            state,
                            &mut recorder,
                            &mut events,
                        )?);
                    } else if event == NetworkEvent::Spent && commands_left(&alarms) == 0 {
                        ended = Some(Ending::Spent);
                    }
                }
                if ended.is_some() {
                    recorder.take(&mut network, &mut samples)?;
                    break;
                }
                integrator.restart();
                if cleared && network.is_vented() && !followed_loosely {
                    followed_loosely = true;
                    let relative = settings.relative_tolerance.max(AFTERWARDS);
                    let absolute = absolute_tolerances(system, &layout, &start, relative);
                    integrator.set_tolerances(relative, absolute)?;
                }
            }
        }
    }
    let audit = audit(
        system,
        &layout,
        &start,
        integrator.state(),
        &recorder,
        integrator.statistics(),
    );
    let imbalance = audit.mass_closure.max(audit.energy_closure);
    if imbalance.is_nan() || imbalance > LARGEST_IMBALANCE {
        return Err(DischargeError::Imbalance {
            mass: audit.mass_closure,
            energy: audit.energy_closure,
        });
    }
    let (trajectory, outcome) = recorder.finish(&events, ended.unwrap_or(Ending::Horizon));
    Ok(Discharge {
        trajectory,
        events,
        outcome,
        audit,
    })
}

/// Follows the nose alone once the bay has vented.
fn coast_on<L: PropertySource>(
    system: &System,
    layout: &Layout,
    network: &Network<'_, L>,
    (time, state): (f64, &[f64]),
    recorder: &mut Recorder<'_>,
    events: &mut Vec<EventRecord>,
) -> Result<Ending, DischargeError> {
    let (Some((nose, _)), Some(at)) = (&system.nose, layout.nose) else {
        return Ok(Ending::Horizon);
    };
    let start = (time, state[at], state[at + 1]);
    let coasted = coast(nose, network.motion(), start, system.horizon)?;
    recorder.coasted(coasted.travel, coasted.peak_tether);
    events.extend(coasted.events);
    Ok(coasted.ending)
}

/// Commands still to come.
fn commands_left(alarms: &[Alarm]) -> usize {
    let is_command = |alarm: &&Alarm| matches!(alarm.kind, AlarmKind::Command { .. });
    alarms.iter().filter(is_command).count()
}

/// Whether an event of a cleared nose ends the run: the tether has had its peak, or the nose falls
/// back to the mouth of the coupler.
fn ending(kind: &EventKind, cleared: bool, system: &System) -> Option<Ending> {
    let tether = system
        .nose
        .as_ref()
        .is_some_and(|(nose, _)| nose.tether.is_some());
    match kind {
        EventKind::Nose(NoseEvent::TetherPeak) if cleared && tether => Some(Ending::TetherTaut),
        EventKind::Nose(NoseEvent::Recontact) if cleared => Some(Ending::FellBack),
        _ => None,
    }
}

/// Something known to happen at a time.
#[derive(Debug, Clone, Copy)]
struct Alarm {
    time: f64,
    kind: AlarmKind,
}

#[derive(Debug, Clone, Copy)]
enum AlarmKind {
    Command { path: usize, backup: bool },
    Kink,
    Open { path: usize },
}

/// Known times, latest first.
fn alarms(system: &System) -> Vec<Alarm> {
    let mut alarms = Vec::new();
    for (path, p) in system.paths.iter().enumerate() {
        match p.command {
            Command::Always => {}
            Command::At(time) => {
                alarms.push(Alarm {
                    time,
                    kind: AlarmKind::Command {
                        path,
                        backup: false,
                    },
                });
            }
            Command::Backup(time) => {
                alarms.push(Alarm {
                    time,
                    kind: AlarmKind::Command { path, backup: true },
                });
            }
        }
    }
    for time in &system.ambient.times {
        if *time > 0.0 {
            alarms.push(Alarm {
                time: *time,
                kind: AlarmKind::Kink,
            });
        }
    }
    sort(&mut alarms);
    alarms
}

fn sort(alarms: &mut [Alarm]) {
    alarms.sort_by(|a, b| b.time.total_cmp(&a.time));
}

fn ring<L: PropertySource>(
    alarm: &Alarm,
    time: f64,
    system: &System,
    network: &mut Network<'_, L>,
    cleared: bool,
    alarms: &mut Vec<Alarm>,
    events: &mut Vec<EventRecord>,
) {
    match alarm.kind {
        AlarmKind::Kink => {}
        AlarmKind::Open { path } => {
            let name = system.paths[path].name.clone();
            events.push(EventRecord {
                time,
                kind: EventKind::FullyOpen { path: name },
            });
        }
        AlarmKind::Command { path, backup } => {
            let p = &system.paths[path];
            if backup && cleared {
                let kind = EventKind::BackupNotNeeded {
                    path: p.name.clone(),
                };
                events.push(EventRecord { time, kind });
                return;
            }
            network.open(path, time);
            events.push(EventRecord {
                time,
                kind: EventKind::Commanded {
                    path: p.name.clone(),
                },
            });
            for kink in p.opening.kinks() {
                if kink > 0.0 {
                    alarms.push(Alarm {
                        time: time + kink,
                        kind: AlarmKind::Kink,
                    });
                }
            }
            let open = p.opening.time_fully_open();
            if open.is_finite() {
                alarms.push(Alarm {
                    time: time + open,
                    kind: AlarmKind::Open { path },
                });
            }
            sort(alarms);
        }
    }
}

/// Change what an event changes, and say what it was; `None` for those of no interest to people.
fn handle<L: PropertySource>(
    event: NetworkEvent,
    system: &System,
    layout: &Layout,
    network: &mut Network<'_, L>,
    integrator: &mut Integrator,
) -> Result<Option<EventKind>, DischargeError> {
    let time = integrator.time();
    network
        .evaluate(time, integrator.state())
        .map_err(|source| DischargeError::State { time, source })?;
    let name = |vessel: usize| system.vessels[vessel].name.clone();
    Ok(Some(match event {
        NetworkEvent::Vented | NetworkEvent::Spent => return Ok(None),
        NetworkEvent::Nose(event) => {
            if let (Some((nose, bay)), Some(at)) = (&system.nose, layout.nose) {
                let state = integrator.state_mut();
                let pressure = network.contents()[*bay].pressure;
                let after = nose.after(
                    network.motion(),
                    event,
                    state[at],
                    state[at + 1],
                    pressure,
                    network.ambient().0,
                );
                state[at] = after.travel;
                state[at + 1] = after.speed;
                network.set_motion(after.motion);
            }
            EventKind::Nose(event)
        }
        NetworkEvent::Phase { vessel } => {
            network.toggle_bulk(vessel);
            if network.is_bulk(vessel) {
                EventKind::SinglePhase {
                    vessel: name(vessel),
                }
            } else {
                EventKind::TwoPhase {
                    vessel: name(vessel),
                }
            }
        }
        NetworkEvent::LiquidGone { vessel } => {
            network.set_liquid_gone(vessel);
            EventKind::LiquidGone {
                vessel: name(vessel),
            }
        }
    }))
}

/// Absolute tolerances: a share of what a vessel holds at the start (or of its fill of thin gas),
/// its energy, the coupler and a metre a second.
fn absolute_tolerances(system: &System, layout: &Layout, start: &[f64], relative: f64) -> Vec<f64> {
    let mass = system.total_mass().max(1e-9);
    let mut tolerances = vec![relative; layout.dimension];
    for (i, at) in layout.vessels.iter().enumerate() {
        let held = (start[*at] + start[at + 1]).max(THIN_GAS * system.vessels[i].volume);
        let scale = relative * held;
        tolerances[*at] = scale;
        tolerances[at + 1] = scale;
        tolerances[at + 2] = scale * 2e5;
        if let Some(wall) = layout.walls[i] {
            tolerances[wall] = 1e-2 * relative * 300.0;
        }
    }
    if let (Some(at), Some((nose, _))) = (layout.nose, &system.nose) {
        tolerances[at] = relative * nose.engagement.max(1e-3);
        tolerances[at + 1] = relative;
    }
    for (k, scale) in [mass, mass, mass * 2e5, mass * 2e5, mass * 2e5]
        .iter()
        .enumerate()
    {
        tolerances[layout.accounts + k] = relative * scale;
    }
    tolerances
}

fn audit(
    system: &System,
    layout: &Layout,
    start: &[f64],
    end: &[f64],
    recorder: &Recorder,
    statistics: &crate::numerics::integrate::Statistics,
) -> Audit {
    let out = &end[layout.accounts..layout.accounts + ACCOUNTS];
    let sum = |state: &[f64], offset: usize| -> f64 {
        layout.vessels.iter().map(|at| state[at + offset]).sum()
    };
    let walls = |state: &[f64]| -> f64 {
        layout
            .walls
            .iter()
            .zip(&system.vessels)
            .filter_map(|(slot, v)| Some(v.wall.as_ref()?.heat_capacity * state[(*slot)?]))
            .sum()
    };
    let total: f64 = sum(start, 0) + sum(start, 1);
    let moved = recorder
        .mass_moved()
        .max(1e-3 * total)
        .max(f64::MIN_POSITIVE);
    let mass = [0, 1]
        .iter()
        .map(|k| (sum(end, *k) + out[*k] - sum(start, *k)).abs())
        .fold(0.0, f64::max);
    let energy = sum(end, 2) + walls(end) + out[2] + out[3] - out[4] - sum(start, 2) - walls(start);
    Audit {
        mass_closure: mass / moved,
        // Specific energies are of the order of 2e5 J/kg above the solid's zero.
        energy_closure: energy.abs() / (moved * 2e5),
        steps: statistics.steps,
        stiff_steps: statistics.stiff_steps,
        rejected_steps: statistics.rejected,
        evaluations: statistics.evaluations,
    }
}

/// States at the ends of steps and at three places inside, to be looked at once the integrator lets go of the
/// system.
pub(super) struct Samples {
    dimension: usize,
    pub(super) times: Vec<f64>,
    pub(super) states: Vec<f64>,
}

impl Samples {
    fn new(dimension: usize) -> Self {
        Self {
            dimension,
            times: Vec::new(),
            states: Vec::new(),
        }
    }

    fn push(&mut self, time: f64, state: &[f64]) {
        self.times.push(time);
        self.states.extend_from_slice(state);
    }

    fn step(&mut self, step: &crate::numerics::integrate::StepView<'_>) {
        // One look inside a long step missed a sharp peak by 2e-4.
        for share in [0.25, 0.5, 0.75] {
            let inside = step.time_old + share * (step.time_new - step.time_old);
            let at = self.states.len();
            self.times.push(inside);
            self.states.resize(at + self.dimension, 0.0);
            step.interpolate(inside, &mut self.states[at..]);
        }
        self.push(step.time_new, step.state_new);
    }

    pub(super) fn state(&self, index: usize) -> &[f64] {
        &self.states[index * self.dimension..(index + 1) * self.dimension]
    }

    pub(super) fn clear(&mut self) {
        self.times.clear();
        self.states.clear();
    }
}
