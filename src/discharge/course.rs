//! The course of one discharge: integrate, stop at every discontinuity, change what changes, go on.

use crate::discharge::alarms::{Alarm, AlarmKind, Calendar};
use crate::discharge::audit::{LARGEST_IMBALANCE, audit};
use crate::discharge::coast::coast;
use crate::discharge::frost;
use crate::discharge::record::Recorder;
use crate::discharge::settings::{Extent, Settings};
use crate::discharge::{Discharge, DischargeError, Ending, EventKind, EventRecord};
use crate::mechanics::NoseEvent;
use crate::network::layout::Layout;
use crate::network::spec::{End, System};
use crate::network::{Network, NetworkError, NetworkEvent, Onset};
use crate::numerics::integrate::{
    IntegrateError, Integrator, Settings as IntegratorSettings, StepView, Stop,
};
use crate::thermo::source::PropertySource;

/// Relative tolerance once the nose is clear and the bay has vented: the separation is over, and what
/// stays behind need not be known so well.
const AFTERWARDS: f64 = 1e-5;

/// The same from clear to vented where a loose end will do: of the results only the speed at which the
/// tether runs taut still changes, by a per cent or so in all.
const CLEARED: f64 = 3e-4;

/// First steps as shares of what is about to happen: of the rest of a valve's stroke once it begins to
/// open, of the time the pins take to tear, of that the gap takes to open.
const SHARE_OF_ONSET: f64 = 0.05;
const SHARE_OF_SWEEPING_ONSET: f64 = 0.004;
const SHARE_OF_TEAR: f64 = 0.6;
const SHARE_OF_GAP: f64 = 0.3;

/// Density below which the contents of a vessel need not be known to the relative tolerance [kg/m3].
const THIN_GAS: f64 = 1.0;

/// Share of the whole charge below which what a vessel holds is soon passed on to the bay, and need not be
/// known as a share of itself.
const PASSED_ON: f64 = 0.05;

/// Events nearer to each other than this share of the horizon are at one moment; so many of them there
/// mean that two modes lead into each other.
const STANDSTILL: f64 = 1e-12;
const MOST_EVENTS_AT_ONCE: usize = 100;
/// Events in a run beyond which two modes lead into each other, if not at one moment.
const MOST_EVENTS: usize = 10_000;

/// A discharge under way.
#[derive(Clone)]
pub(super) struct Course<'a, L> {
    system: &'a System,
    settings: Settings,
    layout: Layout,
    start: Vec<f64>,
    network: Network<'a, L>,
    integrator: Integrator,
    recorder: Recorder<'a>,
    calendar: Calendar,
    events: Vec<EventRecord>,
    cleared: bool,
    followed_loosely: bool,
    ending: Option<Ending>,
}

impl<'a, L: PropertySource + Copy> Course<'a, L> {
    /// A system at rest.
    ///
    /// # Errors
    /// A specification that contradicts itself or a start outside the model.
    pub fn new(
        system: &'a System,
        settings: &Settings,
        properties: L,
    ) -> Result<Self, DischargeError> {
        let mut network = Network::new(system, properties, settings.hold_nose)
            .map_err(|source| DischargeError::Start { source })?;
        let start = network
            .initial_state()
            .map_err(|source| DischargeError::Start { source })?;
        if settings.extent != Extent::Horizon {
            network.set_brief(true);
            network.set_nose_alone(settings.loose_end);
            let retention = system.nose.as_ref().map(|(nose, _)| nose.retention_force());
            network.set_enough(
                settings
                    .enough
                    .zip(retention)
                    .map(|(times, force)| times * force),
            );
        }
        let layout = network.layout().clone();
        let integrator_settings = IntegratorSettings {
            relative: settings.relative_tolerance,
            absolute: absolute_tolerances(system, &layout, &start, settings.relative_tolerance),
            max_step: system.horizon / 20.0,
            min_step: 1e-13,
            event_samples: 2,
            max_steps: settings.most_steps,
            method: settings.method,
            stiff_error_share: settings.stiff_error_share,
            ..IntegratorSettings::default()
        };
        let event_count = network.events().len();
        let mut integrator = Integrator::new(layout.dimension, event_count, integrator_settings)?;
        integrator.start(0.0, &start);
        let mut recorder = Recorder::new(system, &layout, settings);
        recorder.look(&mut network, 0.0, &start)?;
        let calendar = Calendar::new(system);
        Ok(Self {
            system,
            settings: *settings,
            recorder,
            calendar,
            layout,
            start,
            network,
            integrator,
            events: Vec::new(),
            cleared: false,
            followed_loosely: false,
            ending: None,
        })
    }

    /// Whether the nose is at rest: until it moves, a nose that is held does the same.
    pub fn is_at_rest(&self) -> bool {
        self.network.is_at_rest()
    }

    /// The same from here on with the nose held.
    ///
    /// # Errors
    /// A tolerance that makes no sense.
    pub fn held(&self) -> Result<Self, DischargeError> {
        let mut held = self.clone();
        held.settings = self.settings.with_nose_held();
        held.network.hold();
        if held.settings.relative_tolerance > self.settings.relative_tolerance {
            held.tolerate(held.settings.relative_tolerance)?;
        }
        Ok(held)
    }

    /// Runs to the end; before the first event of the nose `branch` gets a look at the course.
    ///
    /// # Errors
    /// A state outside the model, with vessel and time.
    pub fn run(
        &mut self,
        mut branch: impl FnMut(&Self) -> Result<(), DischargeError>,
    ) -> Result<(), DischargeError> {
        let mut rested = true;
        let mut last_event = (f64::NEG_INFINITY, 0);
        while self.ending.is_none() {
            let next = self.calendar.next().min(self.system.horizon);
            let stop = if next > self.integrator.time() {
                let recorder = &mut self.recorder;
                let mut observe = |network: &mut Network<'a, L>, step: &StepView<'_>| {
                    recorder.step(network, step);
                };
                self.integrator
                    .advance(&mut self.network, next, &mut observe)
                    .map_err(|error| self.stopped(error))?
            } else {
                Stop::End
            };
            self.recorder.end_stretch()?;
            match stop {
                Stop::End => self.ring()?,
                Stop::Event { index } => {
                    let time = self.integrator.time();
                    let stands = time - last_event.0 < STANDSTILL * self.system.horizon;
                    last_event = (time, if stands { last_event.1 + 1 } else { 0 });
                    if last_event.1 > MOST_EVENTS_AT_ONCE || self.events.len() > MOST_EVENTS {
                        return Err(DischargeError::Standstill { time });
                    }
                    let event = self.network.events()[index];
                    if rested && matches!(event, NetworkEvent::Nose(_)) {
                        branch(self)?;
                        rested = false;
                    }
                    self.meet(event)?;
                }
            }
        }
        Ok(())
    }

    /// Why the run could not go on, and which vessel is hardest to follow.
    fn stopped(&mut self, error: IntegrateError<NetworkError>) -> DischargeError {
        let time = self.integrator.time();
        let error = match error {
            IntegrateError::System { source, time, .. } => {
                return DischargeError::State { time, source };
            }
            other => Box::new(other),
        };
        let state = self.integrator.state().to_vec();
        if let Err(source) = self.network.evaluate(time, &state) {
            return DischargeError::State { time, source };
        }
        let turnover = |vessel: usize| {
            let flows = self.system.paths.iter().zip(self.network.flows());
            let own = flows.filter(|(path, _)| {
                path.from == End::Vessel(vessel) || path.to == End::Vessel(vessel)
            });
            let flow: f64 = own.map(|(_, flow)| flow.mass_flow.abs()).sum();
            let contents = self.network.contents(vessel);
            (contents.co2_mass + contents.air_mass) / flow
        };
        let vessels = self.system.vessels.iter().enumerate();
        let fastest = vessels
            .map(|(index, vessel)| (turnover(index), vessel))
            .min_by(|a, b| a.0.total_cmp(&b.0));
        let (turnover, vessel) = fastest
            .map_or((f64::INFINITY, String::new()), |(turnover, vessel)| {
                (turnover, vessel.name.clone())
            });
        DischargeError::Integration {
            time,
            vessel,
            turnover,
            error,
        }
    }

    /// What happens at a known time; the end at the horizon.
    fn ring(&mut self) -> Result<(), DischargeError> {
        let time = self.integrator.time();
        let mut rang = false;
        while let Some(alarm) = self.calendar.due(time) {
            rang = true;
            self.answer(&alarm, time);
        }
        if time >= self.system.horizon {
            if self.cleared {
                // The bay as it is: it has less hold on the nose from here on, the load errs upwards.
                let over = self.over_pressure(time)?;
                self.coast_on(over)?;
            }
            self.ending = Some(Ending::Horizon);
        } else if rang {
            self.look()?;
            match self.network.onset(time) {
                Onset::None => {}
                Onset::Sudden => self.integrator.restart(),
                Onset::Gradual {
                    remaining,
                    sweeping: false,
                } => {
                    self.integrator.restart_with(SHARE_OF_ONSET * remaining);
                }
                Onset::Gradual { remaining, .. } => {
                    self.integrator
                        .restart_stiff_with(SHARE_OF_SWEEPING_ONSET * remaining);
                }
            }
        }
        Ok(())
    }

    /// Keeps the present state.
    fn look(&mut self) -> Result<(), DischargeError> {
        let (time, state) = (self.integrator.time(), self.integrator.state());
        self.recorder.look(&mut self.network, time, state)
    }

    fn answer(&mut self, alarm: &Alarm, time: f64) {
        let name = |path: usize| self.system.paths[path].name.clone();
        let kind = match alarm.kind {
            AlarmKind::Kink => return,
            AlarmKind::Open { path } => EventKind::FullyOpen { path: name(path) },
            AlarmKind::Command { path, backup } if backup && self.cleared => {
                EventKind::BackupNotNeeded { path: name(path) }
            }
            AlarmKind::Command { path, .. } => {
                self.network.open(path, time);
                self.calendar.opening(path, &self.system.paths[path], time);
                EventKind::Commanded { path: name(path) }
            }
        };
        self.events.push(EventRecord { time, kind });
    }

    /// What happens at an event that was met on the way.
    fn meet(&mut self, event: NetworkEvent) -> Result<(), DischargeError> {
        let time = self.integrator.time();
        if let Some(kind) = self.change(event)? {
            self.cleared |= kind == EventKind::Nose(NoseEvent::Clear);
            self.ending = ending(&kind, self.cleared, self.system);
            self.events.push(EventRecord { time, kind });
        }
        self.look()?;
        let brief = self.settings.extent != Extent::Horizon;
        let vented = event == NetworkEvent::Vented || self.network.is_vented();
        if self.ending.is_none() && brief {
            if self.cleared && (vented || event == NetworkEvent::Uncovered) {
                self.ending = Some(self.coast_on(0.0)?);
            } else {
                self.ending = match event {
                    NetworkEvent::Spent if !self.calendar.commands_left() => Some(Ending::Spent),
                    NetworkEvent::Enough => Some(Ending::Enough),
                    _ => None,
                };
            }
        }
        if self.ending.is_some() {
            return self.recorder.end_stretch();
        }
        let loosest = match (self.cleared, vented) {
            (true, true) => Some(AFTERWARDS),
            (true, false) if brief && self.settings.loose_end => Some(CLEARED),
            _ => None,
        };
        if let (Some(loosest), false) = (loosest, self.followed_loosely) {
            self.followed_loosely = true;
            self.tolerate(self.settings.relative_tolerance.max(loosest))?;
        }
        match self.pace(event) {
            Some(step) => self.integrator.restart_with(step),
            None if self.network.flows_on(event) => {}
            None => self.integrator.restart(),
        }
        Ok(())
    }

    /// A first step after an event that is about right [s], where one is known.
    fn pace(&self, event: NetworkEvent) -> Option<f64> {
        let NetworkEvent::Nose(event) = event else {
            return None;
        };
        let ((nose, _), at) = self.system.nose.as_ref().zip(self.layout.nose)?;
        let lasting = nose.duration(event, self.integrator.state()[at + 1])?;
        let share = match event {
            NoseEvent::PinsShear => SHARE_OF_TEAR,
            _ => SHARE_OF_GAP,
        };
        Some(share * lasting)
    }

    fn tolerate(&mut self, relative: f64) -> Result<(), DischargeError> {
        let absolute = absolute_tolerances(self.system, &self.layout, &self.start, relative);
        Ok(self.integrator.set_tolerances(relative, absolute)?)
    }

    /// The answer, once the course has been run.
    ///
    /// # Errors
    /// Balances that do not close.
    pub fn finish(self) -> Result<Discharge, DischargeError> {
        let audit = audit(
            self.system,
            &self.layout,
            &self.start,
            self.integrator.state(),
            self.recorder.mass_moved(),
            self.integrator.statistics(),
        );
        let imbalance = audit.mass_closure.max(audit.energy_closure);
        if imbalance.is_nan() || imbalance > LARGEST_IMBALANCE {
            return Err(DischargeError::Imbalance {
                mass: audit.mass_closure,
                energy: audit.energy_closure,
            });
        }
        let ending = self.ending.unwrap_or(Ending::Horizon);
        let (trajectory, outcome) = self.recorder.finish(&self.events, ending);
        let mut events = self.events;
        if self.settings.extent == Extent::Horizon {
            events.extend(frost::onsets(&trajectory, self.system.total_mass()));
            events.sort_by(|a, b| a.time.total_cmp(&b.time));
        }
        Ok(Discharge {
            trajectory,
            events,
            outcome,
            audit,
        })
    }

    /// Pressure in the bay over that outside, now [Pa].
    fn over_pressure(&mut self, time: f64) -> Result<f64, DischargeError> {
        self.network
            .evaluate(time, self.integrator.state())
            .map_err(|source| DischargeError::State { time, source })?;
        let (bay, outside) = (self.system.bay(), self.network.ambient().0);
        Ok(self.network.contents(bay).pressure - outside)
    }

    /// Follows the nose alone, once the bay has vented or has no hold on it any more, or the horizon is
    /// reached.
    fn coast_on(&mut self, over_pressure: f64) -> Result<Ending, DischargeError> {
        let (Some((nose, _)), Some(at)) = (&self.system.nose, self.layout.nose) else {
            return Ok(Ending::Horizon);
        };
        let state = self.integrator.state();
        let start = (self.integrator.time(), state[at], state[at + 1]);
        let coasted = coast(
            nose,
            self.network.motion(),
            start,
            over_pressure,
            self.system.horizon,
        )?;
        self.recorder.coasted(coasted.travel, coasted.peak_tether);
        self.events.extend(coasted.events);
        Ok(coasted.ending)
    }

    /// Change what an event changes, and say what it was; `None` for those of no interest to people.
    fn change(&mut self, event: NetworkEvent) -> Result<Option<EventKind>, DischargeError> {
        let time = self.integrator.time();
        let network = &mut self.network;
        network
            .evaluate(time, self.integrator.state())
            .map_err(|source| DischargeError::State { time, source })?;
        let name = |vessel: usize| self.system.vessels[vessel].name.clone();
        Ok(Some(match event {
            NetworkEvent::Vented
            | NetworkEvent::Uncovered
            | NetworkEvent::Spent
            | NetworkEvent::Enough => return Ok(None),
            NetworkEvent::Nose(event) => {
                if let (Some((nose, bay)), Some(at)) = (&self.system.nose, self.layout.nose) {
                    let state = self.integrator.state_mut();
                    let pressure = network.contents(*bay).pressure;
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
                let vessel_name = name(vessel);
                if network.is_bulk(vessel) {
                    EventKind::SinglePhase {
                        vessel: vessel_name,
                    }
                } else {
                    EventKind::TwoPhase {
                        vessel: vessel_name,
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
}

/// Whether an event of a cleared nose ends the run: the tether has had its peak (one damped so much
/// that it had it on running taut goes on until it is slack), or the nose falls back to the mouth of the
/// coupler.
fn ending(kind: &EventKind, cleared: bool, system: &System) -> Option<Ending> {
    let tether = system
        .nose
        .as_ref()
        .is_some_and(|(nose, _)| nose.tether.is_some());
    match kind {
        EventKind::Nose(NoseEvent::TetherPeak | NoseEvent::Slack) if cleared && tether => {
            Some(Ending::TetherTaut)
        }
        EventKind::Nose(NoseEvent::Recontact) if cleared => Some(Ending::FellBack),
        _ => None,
    }
}

/// Absolute tolerances: a share of what a vessel holds at the start (or of its fill of thin gas, or, but for
/// the bay, of a little of the whole charge), its energy, the coupler and a metre a second.
fn absolute_tolerances(system: &System, layout: &Layout, start: &[f64], relative: f64) -> Vec<f64> {
    let mass = system.total_mass().max(1e-9);
    let mut tolerances = vec![relative; layout.dimension];
    for (i, at) in layout.vessels.iter().enumerate() {
        let held = (start[*at] + start[at + 1]).max(THIN_GAS * system.vessels[i].volume);
        let counted = if i == system.bay() {
            held
        } else {
            held.max(PASSED_ON * mass)
        };
        let scale = relative * counted;
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
