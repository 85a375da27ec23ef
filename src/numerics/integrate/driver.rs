//! The integrator: step-size control, choice of method, events.

use super::dense::{Dense, StepView};
use super::error::IntegrateError;
use super::events::{Span, Watch};
use super::explicit::Explicit;
use super::method_choice::MethodChoice;
use super::settings::{Method, Settings, SettingsError};
use super::stiff::Stiff;
use super::{Caller, Failure, Statistics, Stop, System, weighted_norm};

const SAFETY: f64 = 0.9;
/// Largest growth of the step.
const GROWTH: f64 = 5.0;
/// Weight of the integral part of the step-size control.
const BETA: f64 = 0.04;

/// An integrator of one system at a time. All memory is allocated in [`Integrator::new`].
#[derive(Debug, Clone)]
pub struct Integrator {
    dimension: usize,
    /// Components of the last start state.
    given: usize,
    settings: Settings,
    absolute: Vec<f64>,
    time: f64,
    state: Vec<f64>,
    rates: Vec<f64>,
    new: Vec<f64>,
    rates_new: Vec<f64>,
    hit_state: Vec<f64>,
    weights: Vec<f64>,
    explicit: Explicit,
    stiff: Stiff,
    dense: Dense,
    watch: Watch,
    statistics: Statistics,
    /// Step to attempt next; zero if it is to be estimated.
    step: f64,
    last_error: f64,
    use_stiff: bool,
    choice: MethodChoice,
}

impl Integrator {
    /// An integrator for `dimension` components and `event_count` event functions.
    ///
    /// # Errors
    /// [`SettingsError`] for settings that make no sense.
    pub fn new(
        dimension: usize,
        event_count: usize,
        settings: Settings,
    ) -> Result<Self, SettingsError> {
        settings.check(dimension)?;
        let absolute = match settings.absolute.as_slice() {
            &[one] => vec![one; dimension],
            each => each.to_vec(),
        };
        let zeros = vec![0.0; dimension];
        Ok(Self {
            dimension,
            given: 0,
            absolute,
            time: 0.0,
            state: zeros.clone(),
            rates: zeros.clone(),
            new: zeros.clone(),
            rates_new: zeros.clone(),
            hit_state: zeros.clone(),
            weights: zeros,
            explicit: Explicit::new(dimension),
            stiff: Stiff::new(dimension),
            dense: Dense::new(dimension),
            watch: Watch::new(dimension, event_count, settings.event_samples),
            statistics: Statistics::default(),
            step: 0.0,
            last_error: 1e-4,
            use_stiff: settings.method == Method::Stiff,
            choice: MethodChoice::default(),
            settings,
        })
    }

    /// Begins a run at `time` from `state`; nothing of an earlier run is remembered. A state of
    /// the wrong length is reported by the next [`Integrator::advance`].
    pub fn start(&mut self, time: f64, state: &[f64]) {
        self.time = time;
        self.given = state.len();
        self.state
            .iter_mut()
            .zip(state)
            .for_each(|(to, from)| *to = *from);
        self.statistics = Statistics::default();
        self.use_stiff = self.settings.method == Method::Stiff;
        self.choice = MethodChoice::default();
        self.stiff.jacobian.reset();
        self.watch.start();
        self.restart();
    }

    /// Forgets the step size (not the method) after a change of state or mode.
    pub fn restart(&mut self) {
        self.step = 0.0;
        self.forget();
    }

    /// [`restart`](Self::restart) with a step of a length known to be about right [s], by the explicit
    /// method if that is so short.
    pub fn restart_with(&mut self, step: f64) {
        self.restart();
        if step.is_finite() && step > 0.0 {
            self.step = step;
            let automatic = self.settings.method == Method::Automatic;
            if automatic && self.use_stiff {
                let stiffness = step * self.stiff.jacobian.spectral_radius();
                self.use_stiff = MethodChoice::begins_stiff(stiffness);
            }
        }
    }

    /// [`restart_with`](Self::restart_with) by the stiff method, for what is known to be stiff from here on.
    pub fn restart_stiff_with(&mut self, step: f64) {
        self.restart_with(step);
        self.use_stiff = self.settings.method != Method::Explicit;
    }

    /// Forgets what the last steps said of the method.
    fn forget(&mut self) {
        self.last_error = 1e-4;
        self.choice.forget();
    }

    /// Goes on with other tolerances, in the middle of a run.
    ///
    /// # Errors
    /// [`SettingsError`] for tolerances that make no sense.
    pub fn set_tolerances(
        &mut self,
        relative: f64,
        absolute: Vec<f64>,
    ) -> Result<(), SettingsError> {
        let settings = Settings {
            relative,
            absolute,
            ..self.settings.clone()
        };
        settings.check(self.dimension)?;
        self.absolute.clone_from(&settings.absolute);
        if let &[one] = settings.absolute.as_slice() {
            self.absolute = vec![one; self.dimension];
        }
        self.settings = settings;
        self.restart();
        Ok(())
    }

    /// Present time.
    pub fn time(&self) -> f64 {
        self.time
    }

    /// Present state.
    pub fn state(&self) -> &[f64] {
        &self.state
    }

    /// Present state, to be changed between advances; call [`Integrator::restart`] afterwards.
    pub fn state_mut(&mut self) -> &mut [f64] {
        &mut self.state
    }

    /// Work done since the start.
    pub fn statistics(&self) -> &Statistics {
        &self.statistics
    }

    /// Whether the next step will be made by the stiff method.
    pub fn is_stiff(&self) -> bool {
        self.use_stiff
    }

    /// Integrates to `end` exactly, or to the first event before or at it, showing the system and each step
    /// to `observe`, which may ask the system for more. Known kinks of the rates in time belong at the end of an advance.
    ///
    /// At an event the time and state are those just past the change of sign, as found on the dense
    /// output to the resolution of the time: the function has its new sign or is zero. Events
    /// that happened at the same moment are delivered by the following advances without a step,
    /// unless the caller has meanwhile switched them off or turned their sign back.
    ///
    /// # Errors
    /// [`IntegrateError`]. The integrator then stays at the last accepted state.
    pub fn advance<S: System>(
        &mut self,
        system: &mut S,
        end: f64,
        observe: &mut dyn FnMut(&mut S, &StepView<'_>),
    ) -> Result<Stop, IntegrateError<S::Error>> {
        if self.given != self.dimension {
            return Err(IntegrateError::Dimension {
                expected: self.dimension,
                given: self.given,
            });
        }
        if !(self.time.is_finite() && end.is_finite() && end >= self.time) {
            return Err(IntegrateError::Backward {
                time: self.time,
                end,
            });
        }
        let mut statistics = self.statistics;
        let mut caller = Caller {
            system,
            statistics: &mut statistics,
        };
        let stop = self.run(&mut caller, end, observe);
        self.statistics = statistics;
        stop
    }

    fn run<S: System>(
        &mut self,
        caller: &mut Caller<'_, S>,
        end: f64,
        observe: &mut dyn FnMut(&mut S, &StepView<'_>),
    ) -> Result<Stop, IntegrateError<S::Error>> {
        match self.watch.begin(caller, self.time, &self.state) {
            Ok(Some(index)) => {
                caller.statistics.events += 1;
                return Ok(Stop::Event { index });
            }
            Ok(None) => {}
            Err(failure) => return Err(self.failed(failure, 0.0)),
        }
        if self.time == end {
            return Ok(Stop::End);
        }
        if let Err(failure) = caller.rates(self.time, &self.state, &mut self.rates) {
            return Err(self.failed(failure, 0.0));
        }
        if self.step == 0.0 {
            self.step = match self.settings.first_step {
                Some(step) => step,
                None => self.estimate_first_step(caller, end),
            };
        }
        let mut jacobian_known = false;
        let mut may_grow = true;
        for _ in 0..self.settings.max_steps {
            let shortest = self
                .settings
                .min_step
                .max(8.0 * f64::EPSILON * self.time.abs());
            let remaining = end - self.time;
            let wished = self.step.min(self.settings.max_step).max(shortest);
            let last = remaining <= wished;
            let h = if last {
                remaining
            } else if remaining < 2.0 * wished {
                0.5 * remaining
            } else {
                wished
            };
            let truncated = h < wished;
            let time_new = if last { end } else { self.time + h };

            let attempt = self.attempt(caller, h, &mut jacobian_known);
            let (error, stiffness) = match attempt {
                Ok(outcome) => outcome,
                Err(failure) => {
                    caller.statistics.rejected += 1;
                    may_grow = false;
                    if self.use_stiff
                        && !jacobian_known
                        && self.settings.method == Method::Automatic
                    {
                        // No Jacobian to be had here: the explicit method needs none.
                        self.switch(caller);
                        continue;
                    }
                    if h <= shortest {
                        return Err(self.failed(failure, h));
                    }
                    self.step = 0.25 * h;
                    continue;
                }
            };
            // The sliver left before the end is shorter than any step could be: take it.
            let forced = last && h <= shortest;
            if error > 1.0 && !forced {
                caller.statistics.rejected += 1;
                may_grow = false;
                if h <= shortest {
                    return Err(IntegrateError::StepTooSmall {
                        time: self.time,
                        step: h,
                        error,
                        state: self.state.clone(),
                    });
                }
                self.step = h * (SAFETY * error.powf(-self.exponent())).clamp(1.0 / GROWTH, 0.9);
                let automatic = self.settings.method == Method::Automatic;
                if automatic && !self.use_stiff && self.choice.after_refusal(stiffness) {
                    self.switch(caller);
                }
                continue;
            }

            if self.use_stiff {
                self.stiff
                    .dense((self.time, h), &self.state, &self.new, &mut self.dense);
            } else {
                let ends = (&self.rates, &self.rates_new);
                self.explicit
                    .dense((self.time, h), ends.0, ends.1, &mut self.dense);
            }
            let span = Span {
                time_old: self.time,
                time_new,
                state_old: &self.state,
                state_new: &self.new,
                dense: &self.dense,
            };
            let hit = match self.watch.scan(caller, &span, &mut self.hit_state) {
                Ok(hit) => hit,
                Err(failure) => {
                    caller.statistics.rejected += 1;
                    may_grow = false;
                    if h <= shortest {
                        return Err(self.failed(failure, h));
                    }
                    self.step = 0.25 * h;
                    continue;
                }
            };

            caller.statistics.steps += 1;
            caller.statistics.stiff_steps += u64::from(self.use_stiff);
            if let Some(hit) = hit {
                caller.statistics.events += 1;
                std::mem::swap(&mut self.new, &mut self.hit_state);
                self.commit(caller, hit.time, observe);
                return Ok(Stop::Event { index: hit.index });
            }
            let growth = self.growth(error, may_grow);
            // A step cut short by the end says nothing against the step planned.
            self.step = if truncated {
                (growth * h).max(self.step)
            } else {
                growth * h
            };
            self.step = self.step.min(self.settings.max_step);
            may_grow = true;
            self.commit(caller, time_new, observe);
            std::mem::swap(&mut self.rates, &mut self.rates_new);
            jacobian_known = false;
            if self.settings.method == Method::Automatic {
                let over = if self.use_stiff {
                    let stiffness = h * self.stiff.jacobian.spectral_radius();
                    self.choice.after_stiff_step(stiffness)
                } else {
                    self.choice.after_explicit_step(stiffness)
                };
                if over {
                    self.switch(caller);
                }
            }
            if last {
                return Ok(Stop::End);
            }
        }
        Err(IntegrateError::TooManySteps {
            time: self.time,
            end,
            attempts: self.settings.max_steps,
            state: self.state.clone(),
        })
    }

    /// One trial step into `new` and `rates_new`: its error, and h |lambda| if explicit.
    fn attempt<S: System>(
        &mut self,
        caller: &mut Caller<'_, S>,
        h: f64,
        jacobian_known: &mut bool,
    ) -> Result<(f64, f64), Failure<S::Error>> {
        let at = (self.time, h);
        let relative = self.settings.relative;
        if self.use_stiff {
            if !*jacobian_known {
                self.stiff.jacobian.form(
                    caller,
                    at,
                    &self.state,
                    &self.rates,
                    relative,
                    &self.absolute,
                    self.settings.jacobian_increment,
                )?;
                *jacobian_known = true;
            }
            let error = self.stiff.step(
                caller,
                at,
                &self.state,
                &self.rates,
                &mut self.new,
                &mut self.rates_new,
                relative,
                &self.absolute,
                &mut self.weights,
                self.settings.stiff_error_share,
            )?;
            if error.is_nan() {
                Err(Failure::NotFinite)
            } else {
                Ok((error, 0.0))
            }
        } else {
            let outcome = self.explicit.step(
                caller,
                at,
                &self.state,
                &self.rates,
                &mut self.new,
                &mut self.rates_new,
                relative,
                &self.absolute,
                &mut self.weights,
            )?;
            if outcome.error.is_nan() {
                Err(Failure::NotFinite)
            } else {
                Ok((outcome.error, outcome.stiffness))
            }
        }
    }

    /// Makes the new state the present one and shows the step.
    fn commit<S: System>(
        &mut self,
        caller: &mut Caller<'_, S>,
        time_new: f64,
        observe: &mut dyn FnMut(&mut S, &StepView<'_>),
    ) {
        let step = StepView {
            time_old: self.time,
            time_new,
            state_old: &self.state,
            state_new: &self.new,
            dense: &self.dense,
        };
        observe(caller.system, &step);
        self.time = time_new;
        std::mem::swap(&mut self.state, &mut self.new);
    }

    /// One over the order of the error estimate plus one, less the share of the integral part.
    fn exponent(&self) -> f64 {
        let order = if self.use_stiff { 4.0 } else { 5.0 };
        1.0 / order - 0.75 * BETA
    }

    /// Factor on the step after an accepted one (Hairer, Norsett & Wanner, Solving Ordinary
    /// Differential Equations I, section IV.2 of volume II for the integral part).
    fn growth(&mut self, error: f64, may_grow: bool) -> f64 {
        let factor = SAFETY * self.last_error.powf(BETA) / error.powf(self.exponent());
        self.last_error = error.max(1e-4);
        factor.clamp(1.0 / GROWTH, if may_grow { GROWTH } else { 1.0 })
    }

    fn switch<S: System>(&mut self, caller: &mut Caller<'_, S>) {
        caller.statistics.switches += 1;
        self.use_stiff = !self.use_stiff;
        self.forget();
    }

    /// First step after Hairer, Norsett & Wanner, Solving Ordinary Differential Equations I,
    /// section II.4: an Euler step with a one per cent change, then the second derivative.
    fn estimate_first_step<S: System>(&mut self, caller: &mut Caller<'_, S>, end: f64) -> f64 {
        let longest = self.settings.max_step.min(end - self.time);
        for ((weight, value), absolute) in
            self.weights.iter_mut().zip(&self.state).zip(&self.absolute)
        {
            *weight = absolute + self.settings.relative * value.abs();
        }
        let size = weighted_norm(self.state.iter().copied(), &self.weights);
        let slope = weighted_norm(self.rates.iter().copied(), &self.weights);
        let first = if slope == 0.0 {
            // At rest: look how soon that ends.
            0.01 * longest
        } else if size < 1e-5 || slope < 1e-5 {
            1e-6_f64.min(longest)
        } else {
            (0.01 * size / slope).min(longest)
        };
        super::combine(&mut self.new, &self.state, first, [1.0], [&self.rates]);
        if caller
            .rates(self.time + first, &self.new, &mut self.rates_new)
            .is_err()
        {
            return 0.1 * first;
        }
        let change = self
            .rates_new
            .iter()
            .zip(&self.rates)
            .map(|(new, old)| new - old);
        let second = weighted_norm(change, &self.weights) / first;
        let largest = slope.max(second);
        let step = if largest == 0.0 {
            longest
        } else if largest <= 1e-15 {
            (1e-3 * first).max(1e-6)
        } else {
            (0.01 / largest).powf(0.2)
        };
        step.min(100.0 * first).min(longest)
    }

    fn failed<E>(&self, failure: Failure<E>, step: f64) -> IntegrateError<E> {
        let (time, state) = (self.time, self.state.clone());
        match failure {
            Failure::System(source) => IntegrateError::System {
                source,
                time,
                step,
                state,
            },
            Failure::NotFinite => IntegrateError::NotFinite { time, step, state },
        }
    }
}
