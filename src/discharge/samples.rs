//! States to be looked at once the integrator lets go of the system.

use crate::numerics::integrate::StepView;

/// Relative tolerance up to which peaks are wanted to 1e-5.
const TIGHT: f64 = 1e-6;

/// States at the ends of steps and at places inside, to be looked at once the integrator lets go of the
/// system.
#[derive(Clone)]
pub(super) struct Samples {
    dimension: usize,
    /// Places inside a step, as shares of it.
    inside: &'static [f64],
    pub(super) times: Vec<f64>,
    pub(super) states: Vec<f64>,
}

impl Samples {
    pub fn new(dimension: usize, relative_tolerance: f64) -> Self {
        let inside: &[f64] = if relative_tolerance <= TIGHT {
            &[0.125, 0.25, 0.375, 0.5, 0.625, 0.75, 0.875]
        } else {
            &[1.0 / 3.0, 2.0 / 3.0]
        };
        Self {
            dimension,
            inside,
            times: Vec::new(),
            states: Vec::new(),
        }
    }

    pub fn push(&mut self, time: f64, state: &[f64]) {
        self.times.push(time);
        self.states.extend_from_slice(state);
    }

    pub fn step(&mut self, step: &StepView<'_>) {
        for share in self.inside {
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
