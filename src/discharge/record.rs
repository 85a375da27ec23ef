//! Looking at the system on its way, and turning what is seen into series, peaks and the outcome.

use crate::discharge::looks::{LOOKED_AT, Sight, are_smooth, weights};
use crate::discharge::settings::{Extent, Settings, Watched};
use crate::discharge::{
    DischargeError, Ending, EventKind, EventRecord, NoseSeries, Outcome, PathSeries, Peak,
    Trajectory, VesselOutcome, VesselSeries,
};
use crate::mechanics::NoseEvent;
use crate::network::Network;
use crate::network::layout::Layout;
use crate::network::spec::System;
use crate::numerics::integrate::{StepView, System as _};
use crate::thermo::source::PropertySource;

/// Most samples kept of one step.
const MOST: f64 = 200.0;
/// Samples for which there is room from the start.
const ROOM: usize = 128;
/// Relative tolerance up to which peaks are wanted to 1e-5.
const TIGHT: f64 = 1e-6;

/// Collects everything against time.
#[derive(Clone)]
pub(super) struct Recorder<'a> {
    system: &'a System,
    layout: Layout,
    trajectory: Trajectory,
    rates: Vec<f64>,
    /// A state inside a step.
    inside: Vec<f64>,
    /// What is seen of the vessels at a sample, and at the looks of a step, one after the other.
    sights: Vec<Sight>,
    looks: Vec<Sight>,
    /// Parts a step is cut into by the places inside that are kept, at least.
    parts: usize,
    /// Longest time between samples: [s], share of the time passed.
    apart: Option<(f64, f64)>,
    /// Whether the flows of the paths are kept.
    flows: bool,
    /// Vessels looked at inside steps; all where there is none.
    watched: Option<Watched>,
    /// The first state that could not be looked at.
    failure: Option<DischargeError>,
    coasted_travel: f64,
    /// Index of the first sample of the running stretch: peaks are not interpolated across it.
    stretch: usize,
    bay: usize,
    peak_bay: Peak,
    peak_force: Peak,
    peak_tether: Peak,
    peak_vessels: Vec<Peak>,
    moved: f64,
}

impl<'a> Recorder<'a> {
    pub(super) fn new(system: &'a System, layout: &Layout, settings: &Settings) -> Self {
        let n = system.vessels.len();
        let tight = settings.relative_tolerance <= TIGHT;
        Self {
            system,
            layout: layout.clone(),
            trajectory: Trajectory {
                times: room(),
                vessels: system
                    .vessels
                    .iter()
                    .map(|v| VesselSeries {
                        name: v.name.clone(),
                        pressure: room(),
                        temperature: room(),
                        co2_mass: room(),
                        air_mass: room(),
                        solid_mass: room(),
                        liquid_mass: room(),
                        wall_temperature: v.wall.as_ref().map(|_| room()).unwrap_or_default(),
                    })
                    .collect(),
                paths: system
                    .paths
                    .iter()
                    .map(|p| PathSeries {
                        name: p.name.clone(),
                        ..PathSeries::default()
                    })
                    .collect(),
                nose: system.nose.as_ref().map(|_| NoseSeries {
                    travel: room(),
                    speed: room(),
                    opening_force: room(),
                    tether_tension: room(),
                }),
            },
            rates: vec![0.0; layout.dimension],
            inside: vec![0.0; layout.dimension],
            sights: vec![Sight::default(); n],
            looks: vec![Sight::default(); n * (LOOKED_AT + 1)],
            // A step of a stiff method is less even than what lies around it.
            parts: if tight || settings.apart.is_some() {
                8
            } else {
                3
            },
            apart: settings.apart,
            flows: settings.extent != Extent::Separation && settings.watched.is_none(),
            watched: settings.watched,
            failure: None,
            coasted_travel: 0.0,
            stretch: 0,
            bay: system.bay(),
            peak_bay: Peak::default(),
            peak_force: Peak::default(),
            peak_tether: Peak::default(),
            peak_vessels: vec![Peak::default(); n],
            moved: 0.0,
        }
    }

    /// Keeps a step: its end, and places inside.
    pub(super) fn step<L: PropertySource>(
        &mut self,
        network: &mut Network<'_, L>,
        step: &StepView<'_>,
    ) {
        let length = step.time_new - step.time_old;
        let parts = self.apart.map_or(self.parts, |(seconds, share)| {
            let apart = seconds.max(share * step.time_old);
            ((length / apart).min(MOST).ceil() as usize).max(self.parts)
        });
        let mut inside = std::mem::take(&mut self.inside);
        // Of flows, which set in and choke, each place shows its own.
        let few = self.apart.is_some() && !self.flows;
        if !(few && self.keep_between_looks(network, step, parts, &mut inside)) {
            for part in 1..parts {
                let time = step.time_old + length * part as f64 / parts as f64;
                step.interpolate(time, &mut inside);
                self.keep(network, time, &inside, self.watched);
            }
            self.keep(network, step.time_new, step.state_new, None);
        }
        self.inside = inside;
    }

    /// Keeps a step at more places than are looked at, if it can: what is seen of contents lies on the polynomial
    /// through the looks, unless they show a bend; of vessels that are not watched the start of the step stands.
    fn keep_between_looks<L: PropertySource>(
        &mut self,
        network: &mut Network<'_, L>,
        step: &StepView<'_>,
        parts: usize,
        inside: &mut [f64],
    ) -> bool {
        let length = step.time_new - step.time_old;
        let vessels = self.sights.len();
        let watched = self.watched;
        let is_watched = |vessel: usize| watched.is_none_or(|some| some.contains(vessel));
        let mut looks = std::mem::take(&mut self.looks);
        // The last sample is the start of the step.
        looks[..vessels].copy_from_slice(&self.sights);
        let mut seen = true;
        for look in 1..=LOOKED_AT {
            let end = look == LOOKED_AT;
            let time = step.time_old + length * look as f64 / LOOKED_AT as f64;
            seen = seen
                && if end {
                    self.see(network, step.time_new, step.state_new, None)
                } else {
                    step.interpolate(time, inside);
                    self.see(network, time, inside, watched)
                };
            looks[look * vessels..(look + 1) * vessels].copy_from_slice(&self.sights);
        }
        let smooth = (0..vessels)
            .filter(|vessel| is_watched(*vessel))
            .all(|vessel| {
                let own = looks.iter().skip(vessel).step_by(vessels);
                are_smooth(own.map(|sight| sight.pressure))
            });
        let kept = seen && smooth;
        if kept {
            for part in 1..parts {
                let share = part as f64 / parts as f64;
                let weights = weights(share * LOOKED_AT as f64);
                for (vessel, sight) in self.sights.iter_mut().enumerate() {
                    let own = looks.iter().skip(vessel).step_by(vessels);
                    *sight = if is_watched(vessel) {
                        Sight::mean(weights.iter().zip(own))
                    } else {
                        looks[vessel]
                    };
                }
                let time = step.time_old + length * share;
                step.interpolate(time, inside);
                self.store(time, inside, network);
            }
            self.sights.copy_from_slice(&looks[LOOKED_AT * vessels..]);
            self.store(step.time_new, step.state_new, network);
        }
        self.looks = looks;
        kept
    }

    /// Keeps a state by itself.
    ///
    /// # Errors
    /// A state outside the model.
    pub(super) fn look<L: PropertySource>(
        &mut self,
        network: &mut Network<'_, L>,
        time: f64,
        state: &[f64],
    ) -> Result<(), DischargeError> {
        self.keep(network, time, state, None);
        self.failure.take().map_or(Ok(()), Err)
    }

    fn keep<L: PropertySource>(
        &mut self,
        network: &mut Network<'_, L>,
        time: f64,
        state: &[f64],
        watched: Option<Watched>,
    ) {
        if self.see(network, time, state, watched) {
            self.store(time, state, network);
        }
    }

    /// Looks at the vessels; whether there was anything to be seen.
    fn see<L: PropertySource>(
        &mut self,
        network: &mut Network<'_, L>,
        time: f64,
        state: &[f64],
        watched: Option<Watched>,
    ) -> bool {
        let known = match watched {
            _ if self.flows => network.rates(time, state, &mut self.rates),
            Some(some) => network.evaluate_some(time, state, |vessel| some.contains(vessel)),
            None => network.evaluate(time, state),
        };
        for (vessel, sight) in self.sights.iter_mut().enumerate() {
            let contents = network.contents(vessel);
            *sight = Sight::of(contents);
        }
        match known {
            Ok(()) => true,
            Err(source) => {
                let failure = DischargeError::State { time, source };
                self.failure.get_or_insert(failure);
                false
            }
        }
    }

    /// Ends a stretch between discontinuities: its peaks count, and are not interpolated across.
    ///
    /// # Errors
    /// A state on the way outside the model.
    pub(super) fn end_stretch(&mut self) -> Result<(), DischargeError> {
        self.raise_peaks();
        self.stretch = self.trajectory.times.len();
        self.failure.take().map_or(Ok(()), Err)
    }

    /// Stores a sample with what was seen of the vessels.
    fn store<L: PropertySource>(&mut self, time: f64, state: &[f64], network: &Network<'_, L>) {
        self.trajectory.times.push(time);
        let series = self.trajectory.vessels.iter_mut();
        for ((series, sight), (at, wall)) in
            (series.zip(&self.sights)).zip(self.layout.vessels.iter().zip(&self.layout.walls))
        {
            let at = *at;
            if let (Some(co2), Some(air)) = (series.co2_mass.last(), series.air_mass.last()) {
                self.moved += 0.5 * ((state[at] - co2).abs() + (state[at + 1] - air).abs());
            }
            series.pressure.push(sight.pressure);
            series.temperature.push(sight.temperature);
            series.co2_mass.push(state[at]);
            series.air_mass.push(state[at + 1]);
            series.solid_mass.push(sight.solid_mass);
            series.liquid_mass.push(sight.liquid_mass);
            if let Some(slot) = wall {
                series.wall_temperature.push(state[*slot]);
            }
        }
        if self.flows {
            for (series, flow) in self.trajectory.paths.iter_mut().zip(network.flows()) {
                series.mass_flow.push(flow.mass_flow);
                series.open_area.push(flow.open_area);
                series.choked.push(flow.choked);
            }
        }
        let bay_pressure = self.sights[self.bay].pressure;
        let outside = self.system.ambient.at(time).0;
        if let (Some(series), Some((nose, _)), Some(at)) = (
            &mut self.trajectory.nose,
            &self.system.nose,
            self.layout.nose,
        ) {
            let (travel, speed) = (state[at], state[at + 1]);
            let opening = nose.driving_force(bay_pressure, outside, travel);
            let tension = nose.tether_tension(travel, speed);
            series.travel.push(travel);
            series.speed.push(speed);
            series.opening_force.push(opening);
            series.tether_tension.push(tension);
            if tension > self.peak_tether.value {
                self.peak_tether = Peak {
                    value: tension,
                    time,
                };
            }
        }
    }

    /// The peaks of the stretch just stored.
    fn raise_peaks(&mut self) {
        let times = &self.trajectory.times[self.stretch..];
        for (peak, series) in self.peak_vessels.iter_mut().zip(&self.trajectory.vessels) {
            peak.raise(times, &series.pressure[self.stretch..]);
        }
        self.peak_bay = self.peak_vessels[self.bay];
        if let (Some(series), Some((nose, _))) = (&self.trajectory.nose, &self.system.nose) {
            let on_coupler = |travel: &&f64| **travel <= nose.engagement;
            let travel = &series.travel[self.stretch..];
            let stretch = self.stretch..self.stretch + travel.iter().take_while(on_coupler).count();
            self.peak_force.raise(times, &series.opening_force[stretch]);
        }
    }

    /// What became of the nose after the last sample.
    pub(super) fn coasted(&mut self, travel: f64, peak_tether: Option<Peak>) {
        self.coasted_travel = travel;
        if let Some(peak) = peak_tether
            && peak.value > self.peak_tether.value
        {
            self.peak_tether = peak;
        }
    }

    /// Mass that changed vessels, or left [kg].
    pub(super) fn mass_moved(&self) -> f64 {
        self.moved
    }

    pub(super) fn finish(self, events: &[EventRecord], ending: Ending) -> (Trajectory, Outcome) {
        let first = |wanted: NoseEvent| {
            events
                .iter()
                .find(|e| e.kind == EventKind::Nose(wanted))
                .map(|e| e.time)
        };
        let clear_time = first(NoseEvent::Clear);
        let times = &self.trajectory.times;
        let last = |column: &[f64]| column.last().copied().unwrap_or(0.0);
        let extreme = |column: &[f64], sign: f64| {
            column.iter().zip(times).fold(
                Peak {
                    value: -sign * f64::INFINITY,
                    time: 0.0,
                },
                |best, (value, time)| {
                    if sign * value > sign * best.value {
                        Peak {
                            value: *value,
                            time: *time,
                        }
                    } else {
                        best
                    }
                },
            )
        };
        let vessels = self
            .trajectory
            .vessels
            .iter()
            .zip(&self.peak_vessels)
            .map(|(series, peak)| VesselOutcome {
                name: series.name.clone(),
                peak_pressure: *peak,
                coldest: extreme(&series.temperature, -1.0),
                final_pressure: last(&series.pressure),
                initial_co2: series.co2_mass.first().copied().unwrap_or(0.0),
                final_co2: last(&series.co2_mass),
                final_solid: last(&series.solid_mass),
                final_liquid: last(&series.liquid_mass),
                most_solid: extreme(&series.solid_mass, 1.0).value.max(0.0),
            })
            .collect();
        let nose = self.trajectory.nose.as_ref();
        let exit_speed = clear_time.and_then(|time| {
            let index = times.iter().rposition(|t| *t <= time)?;
            nose?.speed.get(index).copied()
        });
        let outcome = Outcome {
            ending,
            vessels,
            peak_bay_pressure: self.peak_bay,
            peak_opening_force: self.peak_force,
            retention_force: self
                .system
                .nose
                .as_ref()
                .map_or(0.0, |(n, _)| n.retention_force()),
            pins_break_time: first(NoseEvent::PinsShear)
                .or_else(|| self.starts_sliding().then_some(0.0)),
            clear_time,
            exit_speed,
            peak_tether_load: (self.peak_tether.value > 0.0).then_some(self.peak_tether),
            furthest_travel: nose.map_or(0.0, |n| {
                extreme(&n.travel, 1.0).value.max(self.coasted_travel)
            }),
        };
        (self.trajectory, outcome)
    }

    fn starts_sliding(&self) -> bool {
        self.trajectory.nose.as_ref().is_some_and(|n| {
            let first = n.opening_force.first().copied().unwrap_or(0.0);
            self.system
                .nose
                .as_ref()
                .is_some_and(|(nose, _)| first >= nose.retention_force() + nose.spring_force(0.0))
                && n.travel.iter().any(|x| *x > 0.0)
        })
    }
}

fn room() -> Vec<f64> {
    Vec::with_capacity(ROOM)
}
