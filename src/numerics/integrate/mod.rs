//! Integration of ordinary differential equations y' = f(t, y) with events.
//!
//! Two one-step methods share one driver: the explicit Runge-Kutta pair 5(4) of Tsitouras and the
//! stiffly accurate Rosenbrock pair 4(3) "RODAS" of Hairer and Wanner. In
//! [`Method::Automatic`] the driver starts explicitly, goes over to the Rosenbrock method when
//! stability rather than accuracy limits the step, and comes back when it no longer does.
//! Both have a dense output, on which events are located.
//!
//! Local errors are held by the root mean square norm of error_i / (absolute_i + relative
//! max(|y_i|, |y_i at the new time|)) <= 1, with a proportional-integral step controller.
//!
//! ```
//! use coldkick::numerics::integrate::{Direction, Integrator, Settings, Stop, System};
//! use std::convert::Infallible;
//!
//! /// A stone thrown up; the event is its return to the ground.
//! struct Stone;
//! impl System for Stone {
//!     type Error = Infallible;
//!     fn rates(&mut self, _: f64, state: &[f64], rates: &mut [f64]) -> Result<(), Infallible> {
//!         rates[0] = state[1];
//!         rates[1] = -10.0;
//!         Ok(())
//!     }
//!     fn events(&mut self, _: f64, state: &[f64], values: &mut [f64]) -> Result<(), Infallible> {
//!         values[0] = state[0];
//!         Ok(())
//!     }
//!     fn event_direction(&self, _: usize) -> Direction {
//!         Direction::Falling
//!     }
//! }
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let mut integrator = Integrator::new(2, 1, Settings::default())?;
//! integrator.start(0.0, &[0.0, 5.0]);
//! let stop = integrator.advance(&mut Stone, 10.0, &mut |_, _| {})?;
//! assert_eq!(stop, Stop::Event { index: 0 });
//! assert!((integrator.time() - 1.0).abs() < 1e-12);
//! # Ok(())
//! # }
//! ```

mod dense;
mod driver;
mod error;
mod events;
mod explicit;
mod jacobian;
mod method_choice;
mod settings;
mod stiff;

pub use dense::StepView;
pub use driver::Integrator;
pub use error::IntegrateError;
pub use settings::{Method, Settings, SettingsError};

/// What is integrated.
pub trait System {
    /// How the rates or the event functions may fail.
    type Error: std::error::Error + 'static;

    /// Writes the time derivatives of `state` at `time` into `rates`.
    ///
    /// # Errors
    /// A state outside the domain of the model. During a trial step the integrator answers with a
    /// shorter step; at an accepted state, or at the smallest step, it gives up with
    /// [`IntegrateError::System`].
    fn rates(&mut self, time: f64, state: &[f64], rates: &mut [f64]) -> Result<(), Self::Error>;

    /// The same where differences are about to be taken from the rates. A system that finds them by iteration from
    /// what it found last should let nothing be left of the way there: what of it is larger than round-off is taken
    /// for a slope.
    ///
    /// # Errors
    /// As [`System::rates`].
    fn rates_for_differences(
        &mut self,
        time: f64,
        state: &[f64],
        rates: &mut [f64],
    ) -> Result<(), Self::Error> {
        self.rates(time, state, rates)
    }

    /// Writes one value per event into `values`; an event is a change of sign. The values should be
    /// continuous between restarts and keep their units throughout a run.
    ///
    /// # Errors
    /// As [`System::rates`].
    fn events(&mut self, time: f64, state: &[f64], values: &mut [f64]) -> Result<(), Self::Error> {
        let _ = (time, state, values);
        Ok(())
    }

    /// The value of event `index` alone, for a system to which that costs less than all of them; `values` is room
    /// for as many values as there are events, whatever is left in it.
    ///
    /// # Errors
    /// As [`System::rates`].
    fn event(
        &mut self,
        index: usize,
        time: f64,
        state: &[f64],
        values: &mut [f64],
    ) -> Result<f64, Self::Error> {
        self.events(time, state, values)?;
        Ok(values[index])
    }

    /// Whether component `index` of the state influences any rate; one that only collects what
    /// others do need not be varied for the Jacobian.
    fn influences(&self, index: usize) -> bool {
        let _ = index;
        true
    }

    /// Whether the rates at a state do not depend on time from `time` to the next known kink.
    fn is_steady(&self, time: f64) -> bool {
        let _ = time;
        false
    }

    /// Which changes of sign of event `index` matter; read at the start of every
    /// [`Integrator::advance`].
    fn event_direction(&self, index: usize) -> Direction {
        let _ = index;
        Direction::Either
    }
}

/// Which changes of sign of an event function count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Direction {
    /// From negative to positive.
    Rising,
    /// From positive to negative.
    Falling,
    /// Both.
    Either,
    /// None: the event is switched off.
    Off,
}

/// Why [`Integrator::advance`] returned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stop {
    /// The end time was reached.
    End,
    /// An event function changed sign.
    Event {
        /// Which one.
        index: usize,
    },
}

/// Work done since [`Integrator::start`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Statistics {
    /// Accepted steps of either method.
    pub steps: u64,
    /// Rejected steps of either method, for error size or for an invalid trial state.
    pub rejected: u64,
    /// Calls of [`System::rates`], those for Jacobians included.
    pub evaluations: u64,
    /// Jacobians formed by finite differences.
    pub jacobians: u64,
    /// Events delivered.
    pub events: u64,
    /// Calls of [`System::events`] and [`System::event`].
    pub event_evaluations: u64,
    /// Accepted steps of the stiff method.
    pub stiff_steps: u64,
    /// Changes between the explicit and the stiff method.
    pub switches: u64,
}

/// Why a trial could not be evaluated.
enum Failure<E> {
    /// The system said so.
    System(E),
    /// A rate or event value was not finite.
    NotFinite,
}

fn all_finite<E>(rates: &[f64]) -> Result<(), Failure<E>> {
    // 0 * x is NaN for every x that is not finite.
    if rates.iter().map(|rate| 0.0 * rate).sum::<f64>() == 0.0 {
        Ok(())
    } else {
        Err(Failure::NotFinite)
    }
}

/// The system with its bookkeeping.
struct Caller<'a, S> {
    pub system: &'a mut S,
    pub statistics: &'a mut Statistics,
}

impl<S: System> Caller<'_, S> {
    fn rates(
        &mut self,
        time: f64,
        state: &[f64],
        rates: &mut [f64],
    ) -> Result<(), Failure<S::Error>> {
        self.counted(rates, |system, rates| system.rates(time, state, rates))
    }

    fn rates_for_differences(
        &mut self,
        time: f64,
        state: &[f64],
        rates: &mut [f64],
    ) -> Result<(), Failure<S::Error>> {
        self.counted(rates, |system, rates| {
            system.rates_for_differences(time, state, rates)
        })
    }

    /// One evaluation, which has to be finite.
    fn counted(
        &mut self,
        rates: &mut [f64],
        evaluate: impl FnOnce(&mut S, &mut [f64]) -> Result<(), S::Error>,
    ) -> Result<(), Failure<S::Error>> {
        self.statistics.evaluations += 1;
        evaluate(self.system, rates).map_err(Failure::System)?;
        all_finite(rates)
    }

    fn events(
        &mut self,
        time: f64,
        state: &[f64],
        values: &mut [f64],
    ) -> Result<(), Failure<S::Error>> {
        self.statistics.event_evaluations += 1;
        self.system
            .events(time, state, values)
            .map_err(Failure::System)?;
        if values.iter().any(|value| value.is_nan()) {
            Err(Failure::NotFinite)
        } else {
            Ok(())
        }
    }

    fn event(
        &mut self,
        index: usize,
        time: f64,
        state: &[f64],
        values: &mut [f64],
    ) -> Result<f64, Failure<S::Error>> {
        self.statistics.event_evaluations += 1;
        let value = self.system.event(index, time, state, values);
        let value = value.map_err(Failure::System)?;
        if value.is_nan() {
            Err(Failure::NotFinite)
        } else {
            Ok(value)
        }
    }
}

/// out = base + factor * sum of coefficients times stages.
#[inline(always)]
fn combine<const N: usize>(
    out: &mut [f64],
    base: &[f64],
    factor: f64,
    coefficients: [f64; N],
    stages: [&[f64]; N],
) {
    let n = out.len();
    let base = &base[..n];
    let stages = stages.map(|stage| &stage[..n]);
    for i in 0..n {
        let mut sum = 0.0;
        for j in 0..N {
            sum += coefficients[j] * stages[j][i];
        }
        out[i] = base[i] + factor * sum;
    }
}

/// Root mean square of values divided by weights.
#[inline(always)]
fn weighted_norm(values: impl Iterator<Item = f64>, weights: &[f64]) -> f64 {
    let sum: f64 = values
        .zip(weights)
        .map(|(value, weight)| {
            let ratio = value / weight;
            ratio * ratio
        })
        .sum();
    (sum / weights.len().max(1) as f64).sqrt()
}
