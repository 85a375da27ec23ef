//! States to be looked at once the integrator lets go of the system.

use crate::discharge::settings::Settings;
use crate::numerics::integrate::StepView;

/// Most samples kept of one step.
const MOST: f64 = 200.0;
/// Relative tolerance up to which peaks are wanted to 1e-5.
const TIGHT: f64 = 1e-6;

/// States at the ends of steps and at places inside, to be looked at once the integrator lets go of the
/// system.
#[derive(Clone)]
pub(super) struct Samples {
    dimension: usize,
    /// Parts a step is cut into by the places inside that are kept, at least.
    parts: usize,
    /// Longest time between samples: [s], share of the time passed.
    apart: Option<(f64, f64)>,
    pub(super) times: Vec<f64>,
    pub(super) states: Vec<f64>,
}

impl Samples {
    pub fn new(dimension: usize, settings: &Settings) -> Self {
        let tight = settings.relative_tolerance <= TIGHT;
        Self {
            dimension,
            parts: if tight { 8 } else { 3 },
            apart: settings.apart,
            times: Vec::new(),
            states: Vec::new(),
        }
    }

    pub fn push(&mut self, time: f64, state: &[f64]) {
        self.times.push(time);
        self.states.extend_from_slice(state);
    }

    pub fn step(&mut self, step: &StepView<'_>) {
        let length = step.time_new - step.time_old;
        let parts = self.apart.map_or(self.parts, |(seconds, share)| {
            let apart = seconds.max(share * step.time_old);
            ((length / apart).min(MOST).ceil() as usize).max(self.parts)
        });
        for part in 1..parts {
            let inside = step.time_old + length * part as f64 / parts as f64;
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
