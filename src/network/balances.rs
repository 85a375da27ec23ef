//! Mass and energy balances of every vessel, and the motion of the nose; what flows is in `drafts`, how openings
//! begin to change in `onset`, the event functions in `watch`.
//!
//! dm/dt = sum(in) - sum(out) for CO2 and air; dU/dt = sum(mdot h_donor) - p A v + Q_wall;
//! m_w c_w dT_w/dt = -Q_wall + Q_outside; the nose by [`crate::mechanics::motion`].
//! Nothing here jumps between events: which phase a vessel gives, whether a path is commanded and
//! what the nose is doing are modes, changed only between integrations.

mod drafts;
mod onset;
mod watch;

pub use onset::Onset;
pub use watch::NetworkEvent;

use drafts::{Aperture, Draft, DraftKey, draft_slots};

use crate::flow::FluxModel;
use crate::flow::hint::Hint;
use crate::mechanics::{Motion, NOSE_EVENTS, Nose};
use crate::network::NetworkError;
use crate::network::check::check;
use crate::network::contents::Contents;
use crate::network::heat;
use crate::network::layout::Layout;
use crate::network::memo::Memo;
use crate::network::spec::{Command, Draw, End, System, Wall};
use crate::numerics::integrate::{Direction, System as Integrable};
use crate::thermo::air;
use crate::thermo::source::PropertySource;

/// Air over CO2 by mass below which the air of a vessel changes nothing.
const PURGED: f64 = 1e-10;

/// States that are looked at together: those inside a step and at its end, for events and to be kept.
const LOOKED_AT: usize = 4;

/// Share of the whole charge by which a trial step may overdraw a vessel before it is refused.
const LARGEST_OVERDRAFT: f64 = 1e-3;

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

/// All that the heat from a shell to its vessel depends on: the computation its contents came from, its
/// temperature and the stirring.
type InwardKey = (u64, f64, f64);

/// All that the heat to a shell from outside depends on: its temperature, and the air there.
type OutsideKey = (f64, u64);

/// A system in motion: specification, modes, and the values of the last evaluation.
#[derive(Debug, Clone)]
pub struct Network<'a, L> {
    system: &'a System,
    properties: L,
    layout: Layout,
    events: Vec<NetworkEvent>,
    /// Mass by which a trial step may overdraw a vessel [kg].
    overdraft: f64,
    // Modes.
    opened: Vec<Option<f64>>,
    bulk: Vec<bool>,
    /// How far beyond the boundary of the dense phase each counts as across.
    beyond: Vec<f64>,
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
    /// Names the computation that each of the contents came from; none has the name of another's.
    versions: Vec<u64>,
    /// The same for the air outside.
    ambient_version: u64,
    computed: u64,
    /// How far each path is open, by the time since its command.
    known_fractions: Vec<Memo<f64, f64>>,
    known_contents: Vec<Memo<[f64; 4], (Contents, u64), LOOKED_AT>>,
    known_drafts: Vec<Memo<DraftKey, Draft>>,
    known_inward: Vec<Memo<InwardKey, f64>>,
    known_outside: Vec<Memo<OutsideKey, f64>>,
    /// Where the last search for the throat of each path ended.
    hints: Vec<Hint>,
    /// The memo of each path: that of the first path alike but for its area.
    draft_slots: Vec<usize>,
    flows: Vec<PathFlow>,
    ambient: (f64, f64),
    stirring: Vec<f64>,
    /// Whether at the last look no event was near but those of the bay.
    far_but_for_bay: bool,
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
            overdraft: LARGEST_OVERDRAFT * system.total_mass(),
            opened: system
                .paths
                .iter()
                .map(|p| matches!(p.command, Command::Always).then_some(f64::NEG_INFINITY))
                .collect(),
            bulk: vec![false; n],
            beyond: vec![watch::BEYOND; n],
            liquid_gone: vec![false; n],
            motion: Motion::Latched,
            held,
            brief: false,
            nose_alone: false,
            enough: None,
            versions: vec![0; n],
            ambient_version: 0,
            computed: 0,
            known_fractions: vec![Memo::default(); system.paths.len()],
            known_contents: vec![Memo::default(); n],
            known_drafts: vec![Memo::default(); system.paths.len() + 1],
            known_inward: vec![Memo::default(); n],
            known_outside: vec![Memo::default(); n],
            hints: vec![Hint::default(); system.paths.len() + 1],
            draft_slots: draft_slots(system),
            flows: vec![PathFlow::default(); system.paths.len() + 1],
            ambient: (0.0, 0.0),
            stirring: vec![0.0; n],
            far_but_for_bay: false,
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

    /// Whether the nose has not moved yet.
    pub fn is_at_rest(&self) -> bool {
        matches!(self.motion, Motion::Latched | Motion::Stuck)
    }

    /// From here on the nose stays where it is, whatever the pressure.
    pub fn hold(&mut self) {
        self.held = true;
        self.motion = Motion::Latched;
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
    /// entered) the single dense phase. A vessel that goes back and forth has to go further each time.
    pub fn toggle_bulk(&mut self, vessel: usize) {
        self.bulk[vessel] = !self.bulk[vessel];
        self.beyond[vessel] = (watch::FURTHER * self.beyond[vessel]).min(watch::FARTHEST);
    }

    /// Contents and flows at a time [s] and state.
    ///
    /// # Errors
    /// A vessel outside the model, or a flow that cannot be computed.
    pub fn evaluate(&mut self, time: f64, state: &[f64]) -> Result<(), NetworkError> {
        self.evaluate_some(time, state, |_| true)
    }

    /// The same for some of the vessels; of the others what was computed last stands.
    ///
    /// # Errors
    /// As [`Network::evaluate`].
    pub fn evaluate_some(
        &mut self,
        time: f64,
        state: &[f64],
        wanted: impl Fn(usize) -> bool,
    ) -> Result<(), NetworkError> {
        let system = self.system;
        let ambient = system.ambient.at(time);
        if ambient != self.ambient {
            self.ambient = ambient;
            self.computed += 1;
            self.ambient_version = self.computed;
        }
        let travel = self.layout.nose.map_or(0.0, |at| state[at]);
        for (i, vessel) in system.vessels.iter().enumerate() {
            if !wanted(i) {
                continue;
            }
            let at = self.layout.vessels[i];
            let mut volume = vessel.volume;
            if let Some((nose, bay)) = &system.nose
                && *bay == i
            {
                volume += nose.gained_volume(self.motion, travel);
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

    /// Contents at a state once more, each from its own temperature, so that nothing is left of where the search for
    /// it began: the slopes of a gas are those at the last point looked at, which its temperature may miss by what
    /// ends a search.
    fn settle(&mut self, time: f64, state: &[f64]) -> Result<(), NetworkError> {
        self.evaluate(time, state)?;
        for (i, vessel) in self.system.vessels.iter().enumerate() {
            let Some((key, (contents, _))) = self.known_contents[i].latest().copied() else {
                continue;
            };
            let again = self
                .contents_from(i, key, contents.temperature)
                .map_err(|source| NetworkError::Vessel {
                    vessel: vessel.name.clone(),
                    source: Box::new(source),
                })?;
            if again != contents {
                self.computed += 1;
                self.versions[i] = self.computed;
                self.known_contents[i].better((again, self.computed));
            }
        }
        Ok(())
    }

    /// Contents of a vessel from CO2 [kg], air [kg], energy [J] and volume [m3].
    fn contents_of(&self, vessel: usize, key: [f64; 4]) -> Result<Contents, NetworkError> {
        let guess = match self.known_contents[vessel].latest() {
            Some((before, (contents, _))) => contents.temperature_after(before, &key),
            None => self.system.vessels[vessel].temperature,
        };
        self.contents_from(vessel, key, guess)
    }

    /// The same from a temperature to start from [K].
    fn contents_from(
        &self,
        vessel: usize,
        [co2_mass, air_mass, energy, volume]: [f64; 4],
        guess: f64,
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
        Contents::new(
            &self.properties,
            self.system.vessels[vessel].condensation,
            (co2_mass, air_mass),
            energy,
            volume,
            guess,
        )
    }

    /// Heat from a shell to the contents, and from outside to the shell [W], at its temperature [K].
    fn heat(&mut self, vessel: usize, wall: &Wall, wall_temperature: f64) -> (f64, f64) {
        let (pressure, ambient) = self.ambient;
        let key = (wall_temperature, self.ambient_version);
        let outside = match self.known_outside[vessel].find(&key) {
            Some(heat) => *heat,
            None => {
                let heat = heat::from_outside(wall, wall_temperature, ambient, pressure);
                self.known_outside[vessel].keep(key, heat);
                heat
            }
        };
        let stirring = self.stirring[vessel];
        let key = (self.versions[vessel], wall_temperature, stirring);
        if let Some(inward) = self.known_inward[vessel].find(&key) {
            return (*inward, outside);
        }
        let contents = self.contents(vessel);
        let properties = &self.properties;
        let inward = heat::to_contents(properties, wall, wall_temperature, contents, stirring);
        self.known_inward[vessel].keep(key, inward);
        (inward, outside)
    }

    /// How far a path is open a time after its command [s]: the columns of a Jacobian are all at one time.
    fn fraction(&mut self, path: usize, since: f64) -> f64 {
        if let Some(fraction) = self.known_fractions[path].find(&since) {
            return *fraction;
        }
        let fraction = self.system.paths[path].opening.fraction(since);
        self.known_fractions[path].keep(since, fraction);
        fraction
    }

    fn nose(&self) -> Option<(&'a Nose, usize, usize)> {
        let (nose, bay) = self.system.nose.as_ref()?;
        Some((nose, *bay, self.layout.nose?))
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
                Some(start) => self.fraction(k, time - start),
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
            let opening = Aperture {
                ends: (End::Vessel(bay), End::Ambient),
                area: nose.open_gap(self.motion, travel),
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
                if self.motion.on_coupler() {
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

    fn rates_for_differences(
        &mut self,
        time: f64,
        state: &[f64],
        rates: &mut [f64],
    ) -> Result<(), NetworkError> {
        self.settle(time, state)?;
        self.rates(time, state, rates)
    }

    fn events(&mut self, time: f64, state: &[f64], values: &mut [f64]) -> Result<(), NetworkError> {
        self.watch(time, state, values)
    }

    fn event(
        &mut self,
        index: usize,
        time: f64,
        state: &[f64],
        _: &mut [f64],
    ) -> Result<f64, NetworkError> {
        self.watch_one(index, time, state)
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
        self.watched_direction(index)
    }
}
