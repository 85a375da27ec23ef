//! Mass and energy balances of every vessel, the motion of the nose, and the event functions.
//!
//! dm/dt = sum(in) - sum(out) for CO2 and air; dU/dt = sum(mdot h_donor) - p A v + Q_wall;
//! m_w c_w dT_w/dt = -Q_wall + Q_outside; the nose by [`crate::mechanics::motion`].
//! Nothing here jumps between events: which phase a vessel gives, whether a path is commanded and
//! what the nose is doing are modes, changed only between integrations.

use crate::flow::FluxModel;
use crate::flow::equilibrium::Hint;
use crate::flow::friction::friction_factor_on_flux;
use crate::flow::stagnation::Flux;
use crate::mechanics::{Motion, NOSE_EVENTS, Nose, NoseEvent};
use crate::network::NetworkError;
use crate::network::check::check;
use crate::network::contents::{Contents, Stream};
use crate::network::flow_path;
use crate::network::heat;
use crate::network::layout::Layout;
use crate::network::memo::Memo;
use crate::network::spec::{Command, Condensation, Draw, End, Path, System, Wall};
use crate::numerics::integrate::{Direction, System as Integrable};
use crate::thermo::air;
use crate::thermo::source::PropertySource;

/// How far beyond the boundary of the dense phase, in vapour fraction or share of the pressure, a vessel
/// counts as across: more than properties from tables differ by on its two sides, and too little to
/// matter to what flows, which does not jump there.
const BEYOND: f64 = 1e-7;

/// Air over CO2 by mass below which the air of a vessel changes nothing.
const PURGED: f64 = 1e-10;

/// Share of the pressure outside by which a vented bay may still exceed it.
const VENTED: f64 = 2e-3;

/// Share of the whole charge by which a trial step may overdraw a vessel before it is refused.
const LARGEST_OVERDRAFT: f64 = 1e-3;

/// What an event function of the network means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NetworkEvent {
    /// An event of the nose.
    Nose(NoseEvent),
    /// A dense charge became two-phase, or the other way round.
    Phase {
        /// Index of the vessel.
        vessel: usize,
    },
    /// A liquid draw ran out of liquid.
    LiquidGone {
        /// Index of the vessel.
        vessel: usize,
    },
    /// The bay of a nose that is clear is down to the pressure outside.
    Vented,
    /// The gap of a clear nose is as wide as its bore: no pressure in the bay has a hold on it.
    Uncovered,
    /// Nothing has more pressure than the bay, whose nose does not move.
    Spent,
    /// The force on a nose that is held is as much as one wanted to know.
    Enough,
}

/// Flow through a path at an instant.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PathFlow {
    /// Mass flow, positive from `from` to `to` [kg/s].
    pub mass_flow: f64,
    /// Geometric open area [m2].
    pub open_area: f64,
    /// Choked.
    pub choked: bool,
}

/// An opening as it is at an instant.
struct Aperture<'p> {
    ends: (End, End),
    /// Geometric open area [m2].
    area: f64,
    discharge_coefficient: f64,
    flux_model: FluxModel,
    one_way: bool,
    friction_number: f64,
    name: &'p str,
}

/// What flows per area from a donor towards a receiver.
#[derive(Debug, Clone, Copy)]
struct Draft {
    flux: Flux,
    air_fraction: f64,
    /// Specific enthalpy [J/kg].
    enthalpy: f64,
    /// Density at rest [kg/m3].
    density: f64,
}

/// All that a draft of one opening depends on.
#[derive(Debug, Clone, Copy, PartialEq)]
struct DraftKey {
    donor: End,
    version: u64,
    phases: (bool, bool),
    ambient: (f64, f64),
    receiver_pressure: f64,
}

/// All that the heat to a vessel depends on.
#[derive(Debug, Clone, Copy, PartialEq)]
struct HeatKey {
    version: u64,
    wall_temperature: f64,
    stirring: f64,
    ambient: (f64, f64),
}

/// A system in motion: specification, modes, and the values of the last evaluation.
#[derive(Debug, Clone)]
pub struct Network<'a, L> {
    system: &'a System,
    properties: L,
    layout: Layout,
    events: Vec<NetworkEvent>,
    gap_area_limit: f64,
    /// Mass by which a trial step may overdraw a vessel [kg].
    overdraft: f64,
    // Modes.
    opened: Vec<Option<f64>>,
    bulk: Vec<bool>,
    liquid_gone: Vec<bool>,
    motion: Motion,
    held: bool,
    /// Whether the end of a brief run without a separation is watched for.
    brief: bool,
    /// Whether the nose alone is of interest once it is clear.
    nose_alone: bool,
    /// Force on a held nose that is enough to know [N].
    enough: Option<f64>,
    // Values of the last evaluation.
    /// Names the computation that each of the contents came from.
    versions: Vec<u64>,
    computed: u64,
    known_contents: Vec<Memo<[f64; 4], (Contents, u64)>>,
    known_drafts: Vec<Memo<DraftKey, Draft>>,
    known_heat: Vec<Memo<HeatKey, (f64, f64)>>,
    /// Where the last search for the throat of each path ended.
    hints: Vec<Hint>,
    /// The memo of each path: that of the first path alike but for its area.
    draft_slots: Vec<usize>,
    flows: Vec<PathFlow>,
    ambient: (f64, f64),
    stirring: Vec<f64>,
}

impl<'a, L: PropertySource> Network<'a, L> {
    /// A system at rest; `held` keeps the nose latched whatever the pressure.
    ///
    /// # Errors
    /// A specification that contradicts itself or a start outside the model.
    pub fn new(system: &'a System, properties: L, held: bool) -> Result<Self, NetworkError> {
        check(system)?;
        let layout = Layout::new(system);
        let mut events = Vec::new();
        if system.nose.is_some() {
            events.extend(NOSE_EVENTS.iter().map(|e| NetworkEvent::Nose(*e)));
            events.extend([
                NetworkEvent::Vented,
                NetworkEvent::Uncovered,
                NetworkEvent::Spent,
                NetworkEvent::Enough,
            ]);
        }
        for (vessel, v) in system.vessels.iter().enumerate() {
            if v.co2_mass > 0.0 || v.draw != Draw::Vapour {
                events.push(NetworkEvent::Phase { vessel });
            }
            if v.draw == Draw::Liquid {
                events.push(NetworkEvent::LiquidGone { vessel });
            }
        }
        let n = system.vessels.len();
        let mut network = Self {
            system,
            properties,
            events,
            gap_area_limit: system.nose.as_ref().map_or(0.0, |(nose, _)| nose.area()),
            overdraft: LARGEST_OVERDRAFT * system.total_mass(),
            opened: system
                .paths
                .iter()
                .map(|p| matches!(p.command, Command::Always).then_some(f64::NEG_INFINITY))
                .collect(),
            bulk: vec![false; n],
            liquid_gone: vec![false; n],
            motion: Motion::Latched,
            held,
            brief: false,
            nose_alone: false,
            enough: None,
            versions: vec![0; n],
            computed: 0,
            known_contents: vec![Memo::default(); n],
            known_drafts: vec![Memo::default(); system.paths.len() + 1],
            known_heat: vec![Memo::default(); n],
            hints: vec![Hint::default(); system.paths.len() + 1],
            draft_slots: draft_slots(system),
            flows: vec![PathFlow::default(); system.paths.len() + 1],
            ambient: (0.0, 0.0),
            stirring: vec![0.0; n],
            layout,
        };
        let start = network.initial_state()?;
        network.evaluate(0.0, &start)?;
        for i in 0..n {
            network.bulk[i] = network.contents(i).is_dense_single_phase();
            network.liquid_gone[i] = !network.bulk[i] && network.contents(i).liquid_mass <= 0.0;
        }
        if let (Some((nose, bay)), false) = (&system.nose, held) {
            let p = network.contents(*bay).pressure;
            network.motion = nose.initial_motion(p, network.ambient.0);
        }
        Ok(network)
    }

    /// The state vector at the start.
    ///
    /// # Errors
    /// A start outside the model.
    pub fn initial_state(&self) -> Result<Vec<f64>, NetworkError> {
        let mut state = vec![0.0; self.layout.dimension];
        let masses = self.system.masses_at_start(&self.properties)?;
        for (i, vessel) in self.system.vessels.iter().enumerate() {
            let (co2_mass, air_mass) = masses[i];
            let named = |source| NetworkError::Vessel {
                vessel: vessel.name.clone(),
                source: Box::new(source),
            };
            let at = self.layout.vessels[i];
            let mut energy = air_mass * air::internal_energy_and_cv(vessel.temperature).0;
            if co2_mass > 0.0 {
                let co2 = crate::thermo::flash::at_temperature_density_with(
                    &self.properties,
                    vessel.temperature,
                    co2_mass / vessel.volume,
                )
                .map_err(|e| named(e.into()))?;
                energy += co2_mass * co2.internal_energy;
            }
            state[at] = co2_mass;
            state[at + 1] = air_mass;
            state[at + 2] = energy;
            if let (Some(slot), Some(wall)) = (self.layout.walls[i], &vessel.wall) {
                state[slot] = wall.temperature;
            }
        }
        Ok(state)
    }

    /// Layout of the state vector.
    pub fn layout(&self) -> &Layout {
        &self.layout
    }

    /// Event functions, in order.
    pub fn events(&self) -> &[NetworkEvent] {
        &self.events
    }

    /// Contents of a vessel at the last evaluation.
    #[inline]
    pub fn contents(&self, vessel: usize) -> &Contents {
        const NOTHING: Contents = Contents::nothing();
        let known = self.known_contents.get(vessel).and_then(Memo::current);
        known.map_or(&NOTHING, |(contents, _)| contents)
    }

    /// Flows of the paths at the last evaluation; the opening gap comes last.
    pub fn flows(&self) -> &[PathFlow] {
        &self.flows
    }

    /// Pressure [Pa] and temperature [K] outside at the last evaluation.
    pub fn ambient(&self) -> (f64, f64) {
        self.ambient
    }

    /// What the nose is doing.
    pub fn motion(&self) -> Motion {
        self.motion
    }

    /// Whether a vessel gives its bulk fluid (one dense phase).
    pub fn is_bulk(&self, vessel: usize) -> bool {
        self.bulk[vessel]
    }

    /// Watch for the end of a run that is only to show whether the nose moves.
    pub fn set_brief(&mut self, brief: bool) {
        self.brief = brief;
    }

    /// Watch for the moment from which the bay has no hold on a clear nose.
    pub fn set_nose_alone(&mut self, nose_alone: bool) {
        self.nose_alone = nose_alone;
    }

    /// Watch for a force on a held nose [N].
    pub fn set_enough(&mut self, force: Option<f64>) {
        self.enough = force;
    }

    /// The force of the pressure on a held nose less what is enough [N].
    fn enough_margin(&self) -> Option<f64> {
        let (nose, bay) = self.system.nose.as_ref()?;
        let over = self.contents(*bay).pressure - self.ambient.0;
        Some(over * nose.area() - self.enough?)
    }

    /// Whether the nose has not moved yet.
    pub fn is_at_rest(&self) -> bool {
        matches!(self.motion, Motion::Latched | Motion::Stuck)
    }

    /// From here on the nose stays where it is, whatever the pressure.
    pub fn hold(&mut self) {
        self.held = true;
        self.motion = Motion::Latched;
    }

    /// Whether the bay is down to the pressure outside, at the last evaluation.
    pub fn is_vented(&self) -> bool {
        self.venting_margin().is_none_or(|margin| margin >= 0.0)
    }

    /// Pressure outside and a little more, less the bay's [Pa].
    fn venting_margin(&self) -> Option<f64> {
        let (_, bay) = self.system.nose.as_ref()?;
        Some((1.0 + VENTED) * self.ambient.0 - self.contents(*bay).pressure)
    }

    /// The bay's pressure less the highest elsewhere [Pa].
    fn spent_margin(&self) -> Option<f64> {
        let (_, bay) = self.system.nose.as_ref()?;
        let others = (0..self.system.vessels.len()).filter(|vessel| vessel != bay);
        let highest = others
            .map(|i| self.contents(i).pressure)
            .fold(0.0, f64::max);
        Some(self.contents(*bay).pressure - highest)
    }

    /// Command a path open at a time [s].
    pub fn open(&mut self, path: usize, time: f64) {
        self.opened[path] = Some(time);
    }

    /// Set what the nose is doing.
    pub fn set_motion(&mut self, motion: Motion) {
        self.motion = motion;
    }

    /// A liquid draw goes on as vapour for good.
    pub fn set_liquid_gone(&mut self, vessel: usize) {
        self.liquid_gone[vessel] = true;
    }

    /// Decide afresh whether a vessel gives its bulk fluid, after a phase event that left (or
    /// entered) the single dense phase.
    pub fn toggle_bulk(&mut self, vessel: usize) {
        self.bulk[vessel] = !self.bulk[vessel];
    }

    /// Contents and flows at a time [s] and state.
    ///
    /// # Errors
    /// A vessel outside the model, or a flow that cannot be computed.
    pub fn evaluate(&mut self, time: f64, state: &[f64]) -> Result<(), NetworkError> {
        let system = self.system;
        self.ambient = system.ambient.at(time);
        let travel = self.layout.nose.map_or(0.0, |at| state[at]);
        for (i, vessel) in system.vessels.iter().enumerate() {
            let at = self.layout.vessels[i];
            let mut volume = vessel.volume;
            if let Some((nose, bay)) = &system.nose
                && *bay == i
            {
                let swept = if self.motion.on_coupler() {
                    travel
                } else {
                    travel.min(nose.engagement)
                };
                volume += nose.swept_volume(swept.max(0.0));
            }
            let key = [state[at], state[at + 1], state[at + 2], volume];
            if let Some((_, version)) = self.known_contents[i].find(&key) {
                self.versions[i] = *version;
                continue;
            }
            let contents = self
                .contents_of(i, key)
                .map_err(|source| NetworkError::Vessel {
                    vessel: vessel.name.clone(),
                    source: Box::new(source),
                })?;
            self.computed += 1;
            self.versions[i] = self.computed;
            self.known_contents[i].keep(key, (contents, self.computed));
        }
        Ok(())
    }

    /// Contents of a vessel from CO2 [kg], air [kg], energy [J] and volume [m3].
    fn contents_of(
        &self,
        vessel: usize,
        [co2_mass, air_mass, energy, volume]: [f64; 4],
    ) -> Result<Contents, NetworkError> {
        if co2_mass.min(air_mass) < -self.overdraft {
            // A trial step that drains a vessel far beyond empty.
            return Err(NetworkError::Impossible {
                co2_mass,
                air_mass,
                energy,
                volume,
            });
        }
        let guess = match self.known_contents[vessel].latest() {
            Some((before, (contents, _))) => {
                contents.temperature_after(before, &[co2_mass, air_mass, energy, volume])
            }
            None => self.system.vessels[vessel].temperature,
        };
        Contents::new(
            &self.properties,
            self.system.vessels[vessel].condensation,
            (co2_mass, air_mass),
            energy,
            volume,
            guess,
        )
    }

    fn stream(&self, end: End) -> Stream {
        match end {
            End::Vessel(i) => {
                let vessel = &self.system.vessels[i];
                let draw = match (vessel.condensation, vessel.draw) {
                    (Condensation::Metastable, _) => Draw::Vapour,
                    (_, Draw::Liquid) if self.liquid_gone[i] => Draw::Vapour,
                    (_, draw) => draw,
                };
                self.contents(i)
                    .stream(&self.properties, draw, self.bulk[i])
            }
            End::Ambient => {
                let (pressure, temperature) = self.ambient;
                Contents::ambient_air(pressure, temperature).stream(
                    &self.properties,
                    Draw::Vapour,
                    false,
                )
            }
        }
    }

    fn pressure(&self, end: End) -> f64 {
        match end {
            End::Vessel(i) => self.contents(i).pressure,
            End::Ambient => self.ambient.0,
        }
    }

    /// Add the flow through one opening to the rates.
    fn flow(
        &mut self,
        index: usize,
        opening: &Aperture<'_>,
        rates: &mut [f64],
    ) -> Result<PathFlow, NetworkError> {
        let mut result = PathFlow {
            mass_flow: 0.0,
            open_area: opening.area,
            choked: false,
        };
        let (from, to) = opening.ends;
        let difference = self.pressure(from) - self.pressure(to);
        let effective_area = opening.area * opening.discharge_coefficient;
        if effective_area <= 0.0 || difference == 0.0 || (opening.one_way && difference < 0.0) {
            return Ok(result);
        }
        let (donor, receiver, sign) = if difference > 0.0 {
            (from, to, 1.0)
        } else {
            (to, from, -1.0)
        };
        let draft = self.draft(index, opening, donor, self.pressure(receiver))?;
        let mass_flow = draft.flux.mass_flux * effective_area;
        result.mass_flow = sign * mass_flow;
        result.choked = draft.flux.choked;
        let co2 = mass_flow * (1.0 - draft.air_fraction);
        let air = mass_flow * draft.air_fraction;
        let enthalpy = mass_flow * draft.enthalpy;
        for (end, sign) in [(donor, -1.0), (receiver, 1.0)] {
            let (at, sign) = match end {
                End::Vessel(i) => (self.layout.vessels[i], sign),
                End::Ambient => (self.layout.accounts, sign),
            };
            rates[at] += sign * co2;
            rates[at + 1] += sign * air;
            rates[at + 2] += sign * enthalpy;
        }
        if let End::Vessel(i) = receiver {
            // Velocity in the throat from its own flux, density about 0.63 of the stagnation one.
            self.stirring[i] += mass_flow * draft.flux.mass_flux / (0.63 * draft.density);
        }
        Ok(result)
    }

    /// What flows through an opening per area.
    fn draft(
        &mut self,
        index: usize,
        opening: &Aperture<'_>,
        donor: End,
        receiver_pressure: f64,
    ) -> Result<Draft, NetworkError> {
        let key = DraftKey {
            donor,
            version: match donor {
                End::Vessel(i) => self.versions[i],
                End::Ambient => 0,
            },
            phases: match donor {
                End::Vessel(i) => (self.bulk[i], self.liquid_gone[i]),
                End::Ambient => (false, false),
            },
            ambient: self.ambient,
            receiver_pressure,
        };
        let slot = self.draft_slots[index];
        if let Some(draft) = self.known_drafts[slot].find(&key) {
            return Ok(*draft);
        }
        let stream = self.stream(donor);
        let friction = |kappa: f64, ratio: f64| {
            if opening.friction_number > 0.0 {
                friction_factor_on_flux(kappa, opening.friction_number, ratio)
            } else {
                Ok(1.0)
            }
        };
        let flux = flow_path::mass_flux(
            &self.properties,
            opening.flux_model,
            &stream,
            receiver_pressure,
            &friction,
            &self.hints[slot],
        )
        .map_err(|source| NetworkError::Path {
            path: opening.name.to_owned(),
            source,
        })?;
        let draft = Draft {
            flux,
            air_fraction: stream.air_fraction,
            enthalpy: stream.enthalpy,
            density: stream.density,
        };
        self.known_drafts[slot].keep(key, draft);
        Ok(draft)
    }

    /// Heat from a shell to the contents, and from outside to the shell [W], at its temperature [K].
    fn heat(&mut self, vessel: usize, wall: &Wall, wall_temperature: f64) -> (f64, f64) {
        let key = HeatKey {
            version: self.versions[vessel],
            wall_temperature,
            stirring: self.stirring[vessel],
            ambient: self.ambient,
        };
        if let Some(heat) = self.known_heat[vessel].find(&key) {
            return *heat;
        }
        let contents = self.contents(vessel);
        let heat = (
            heat::to_contents(
                &self.properties,
                wall,
                wall_temperature,
                contents,
                key.stirring,
            ),
            heat::from_outside(wall, wall_temperature, key.ambient.1, key.ambient.0),
        );
        self.known_heat[vessel].keep(key, heat);
        heat
    }

    fn nose(&self) -> Option<(&'a Nose, usize, usize)> {
        let (nose, bay) = self.system.nose.as_ref()?;
        Some((nose, *bay, self.layout.nose?))
    }
}

impl Contents {
    /// The air outside as contents of an endless vessel.
    #[must_use]
    pub fn ambient_air(pressure: f64, temperature: f64) -> Self {
        Self {
            temperature,
            pressure,
            co2_pressure: 0.0,
            air_density: pressure / (air::GAS_CONSTANT * temperature),
            air_mass: f64::INFINITY,
            co2_mass: 0.0,
            solid_mass: 0.0,
            liquid_mass: 0.0,
            volume: f64::INFINITY,
            co2: None,
        }
    }

    /// Empty space.
    const fn nothing() -> Self {
        Self {
            temperature: 0.0,
            pressure: 0.0,
            co2_pressure: 0.0,
            air_density: 0.0,
            air_mass: 0.0,
            co2_mass: 0.0,
            solid_mass: 0.0,
            liquid_mass: 0.0,
            volume: 0.0,
            co2: None,
        }
    }
}

impl<L: PropertySource> Integrable for Network<'_, L> {
    type Error = NetworkError;

    fn rates(&mut self, time: f64, state: &[f64], rates: &mut [f64]) -> Result<(), NetworkError> {
        self.evaluate(time, state)?;
        rates.fill(0.0);
        self.stirring.fill(0.0);
        let system = self.system;
        for (k, path) in system.paths.iter().enumerate() {
            let fraction = match self.opened[k] {
                None => 0.0,
                Some(start) if start == f64::NEG_INFINITY => 1.0,
                Some(start) => path.opening.fraction(time - start),
            };
            let opening = Aperture {
                ends: (path.from, path.to),
                area: path.area * fraction,
                discharge_coefficient: path.discharge_coefficient,
                flux_model: path.flux_model,
                one_way: path.one_way,
                friction_number: path.friction_number,
                name: &path.name,
            };
            self.flows[k] = self.flow(k, &opening, rates)?;
        }
        if let Some((nose, bay, at)) = self.nose() {
            let (travel, speed) = (state[at], state[at + 1]);
            let gap = if self.motion.on_coupler() {
                0.0
            } else {
                nose.gap_area(travel).min(self.gap_area_limit)
            };
            let opening = Aperture {
                ends: (End::Vessel(bay), End::Ambient),
                area: gap,
                discharge_coefficient: nose.gap_discharge_coefficient,
                flux_model: FluxModel::Equilibrium,
                one_way: false,
                friction_number: 0.0,
                name: "opening gap",
            };
            let last = system.paths.len();
            self.flows[last] = self.flow(last, &opening, rates)?;
            let pressure = self.contents(bay).pressure;
            let moving = !matches!(self.motion, Motion::Latched | Motion::Stuck);
            if moving {
                rates[at] = speed;
                rates[at + 1] =
                    nose.acceleration(self.motion, travel, speed, pressure, self.ambient.0);
                if matches!(self.motion, Motion::Sliding | Motion::Returning) {
                    let work = pressure * nose.area() * speed;
                    rates[self.layout.vessels[bay] + 2] -= work;
                    rates[self.layout.accounts + 3] += work;
                }
            }
        }
        for (i, vessel) in system.vessels.iter().enumerate() {
            if let (Some(wall), Some(slot)) = (&vessel.wall, self.layout.walls[i]) {
                let (inward, outside) = self.heat(i, wall, state[slot]);
                rates[self.layout.vessels[i] + 2] += inward;
                rates[slot] = (outside - inward) / wall.heat_capacity;
                rates[self.layout.accounts + 4] += outside;
            }
        }
        Ok(())
    }

    fn events(&mut self, time: f64, state: &[f64], values: &mut [f64]) -> Result<(), NetworkError> {
        self.evaluate(time, state)?;
        let nose = self.nose().map(|(nose, bay, at)| {
            let pressure = self.contents(bay).pressure;
            nose.event_values(
                self.motion,
                state[at],
                state[at + 1],
                pressure,
                self.ambient.0,
            )
        });
        for (value, event) in values.iter_mut().zip(&self.events) {
            *value = match *event {
                NetworkEvent::Nose(event) => match (&nose, self.held) {
                    (Some(all), false) => NOSE_EVENTS
                        .iter()
                        .position(|e| *e == event)
                        .map_or(-1.0, |i| all[i]),
                    _ => -1.0,
                },
                NetworkEvent::Vented => match self.motion {
                    Motion::Free | Motion::Taut => self.venting_margin().unwrap_or(-1.0),
                    _ => -1.0,
                },
                NetworkEvent::Uncovered => match (self.motion, self.nose()) {
                    (Motion::Free | Motion::Taut, Some((nose, _, at))) => {
                        state[at] / nose.uncovered_travel() - 1.0
                    }
                    _ => -1.0,
                },
                NetworkEvent::Enough => self.enough_margin().unwrap_or(-1.0),
                NetworkEvent::Spent => match self.motion {
                    Motion::Latched | Motion::Stuck => self.spent_margin().unwrap_or(-1.0),
                    _ => -1.0,
                },
                NetworkEvent::Phase { vessel } => {
                    let margin = self
                        .contents(vessel)
                        .single_phase_margin(&self.properties)?;
                    margin + if self.bulk[vessel] { BEYOND } else { -BEYOND }
                }
                NetworkEvent::LiquidGone { vessel } => {
                    if self.liquid_gone[vessel] || self.bulk[vessel] {
                        1.0
                    } else {
                        let least = 1e-6 * self.system.vessels[vessel].co2_mass.max(1e-6);
                        (self.contents(vessel).liquid_mass - least) / least
                    }
                }
            };
        }
        Ok(())
    }

    fn influences(&self, index: usize) -> bool {
        let of_nose = self.layout.nose.is_some_and(|at| index >= at);
        let purged = self.layout.vessels.iter().enumerate().any(|(i, at)| {
            let contents = self.contents(i);
            index == at + 1 && contents.air_mass < PURGED * contents.co2_mass
        });
        index < self.layout.accounts && !(of_nose && self.is_at_rest()) && !purged
    }

    fn is_steady(&self, time: f64) -> bool {
        let mut opened = self.opened.iter().zip(&self.system.paths);
        let at_rest = opened.all(|(opened, path)| {
            opened.is_none_or(|start| time - start >= path.opening.time_fully_open())
        });
        at_rest && self.system.ambient.times.len() < 2
    }

    fn event_direction(&self, index: usize) -> Direction {
        match self.events[index] {
            NetworkEvent::Nose(_) if self.held => Direction::Off,
            NetworkEvent::Uncovered if !self.nose_alone => Direction::Off,
            NetworkEvent::Spent if !self.brief => Direction::Off,
            NetworkEvent::Enough if !self.held || self.enough.is_none() => Direction::Off,
            NetworkEvent::Vented
            | NetworkEvent::Uncovered
            | NetworkEvent::Spent
            | NetworkEvent::Enough => Direction::Rising,
            NetworkEvent::Nose(_) => Direction::Rising,
            NetworkEvent::Phase { vessel } if self.bulk[vessel] => Direction::Falling,
            NetworkEvent::Phase { .. } => Direction::Rising,
            NetworkEvent::LiquidGone { vessel } if self.liquid_gone[vessel] => Direction::Off,
            NetworkEvent::LiquidGone { .. } => Direction::Falling,
        }
    }
}

/// For each path, and the opening gap, the first path that passes the same per area: a leak and a vent
/// side by side are computed once.
fn draft_slots(system: &System) -> Vec<usize> {
    let alike = |a: &Path, b: &Path| {
        (a.from, a.to, a.flux_model, a.friction_number)
            == (b.from, b.to, b.flux_model, b.friction_number)
    };
    let first = |path: &Path| system.paths.iter().position(|other| alike(path, other));
    let mut slots: Vec<usize> = system.paths.iter().filter_map(first).collect();
    slots.push(system.paths.len());
    slots
}
