//! The Jacobian of the rates by finite differences, scaled by the error weights, and an
//! estimate of its spectral radius.

use super::{Caller, Failure, System};

/// The scaled Jacobian J_ij = (df_i/dy_j) d_j / d_i with d the error weights rounded to powers
/// of two (so that scaling adds no round-off), and the explicit time derivative df/dt.
///
/// Components that influence no rate, but only collect what others do, have no columns.
#[derive(Debug, Clone)]
pub(super) struct Jacobian {
    /// Row-major scaled Jacobian: a row for each component, a column for each that influences rates.
    scaled: Vec<f64>,
    /// The components that influence rates, rising.
    pub active: Vec<usize>,
    /// Scales d.
    pub scale: Vec<f64>,
    /// Partial derivative of the rates with respect to time, not scaled.
    pub time: Vec<f64>,
    /// Rates where the differences are taken from.
    base: Vec<f64>,
    trial: Vec<f64>,
    trial_rates: Vec<f64>,
    direction: Vec<f64>,
    image: Vec<f64>,
}

impl Jacobian {
    pub fn new(dimension: usize) -> Self {
        let zeros = vec![0.0; dimension];
        let mut jacobian = Self {
            scaled: Vec::with_capacity(dimension * dimension),
            active: Vec::with_capacity(dimension),
            scale: zeros.clone(),
            time: zeros.clone(),
            base: zeros.clone(),
            trial: zeros.clone(),
            trial_rates: zeros.clone(),
            direction: zeros.clone(),
            image: zeros,
        };
        jacobian.reset();
        jacobian
    }

    /// Forgets the dominant direction found so far.
    pub fn reset(&mut self) {
        for (i, direction) in self.direction.iter_mut().enumerate() {
            *direction = probe(i);
        }
    }

    /// Forms the Jacobian and the time derivative at (`time`, `state`) with `rates` known; `h` is
    /// the step about to be made.
    ///
    /// The increment of component j is the largest of `relative_increment` |y_j|,
    /// `relative_increment` h |f_j| and a hundredth of its absolute tolerance, in the direction
    /// in which the state moves; if the rates fail there, the other direction, then shorter
    /// increments, are tried.
    #[allow(clippy::too_many_arguments)]
    pub fn form<S: System>(
        &mut self,
        caller: &mut Caller<'_, S>,
        (time, h): (f64, f64),
        state: &[f64],
        rates: &[f64],
        relative: f64,
        absolute: &[f64],
        relative_increment: f64,
    ) -> Result<(), Failure<S::Error>> {
        let n = state.len();
        caller.statistics.jacobians += 1;
        for ((scale, value), absolute) in self.scale.iter_mut().zip(state).zip(absolute) {
            *scale = (absolute + relative * value.abs()).log2().round().exp2();
        }
        caller.rates_for_differences(time, state, &mut self.base)?;
        self.trial.copy_from_slice(state);
        self.active.clear();
        self.active
            .extend((0..n).filter(|j| caller.system.influences(*j)));
        let columns = self.active.len();
        self.scaled.resize(n * columns, 0.0);
        for column in 0..columns {
            let j = self.active[column];
            let size = (relative_increment * state[j].abs().max(h * rates[j].abs()))
                .max(1e-2 * absolute[j]);
            let mut increment = if rates[j] < 0.0 { -size } else { size };
            let mut tries = 0;
            let actual = loop {
                self.trial[j] = state[j] + increment;
                match caller.rates(time, &self.trial, &mut self.trial_rates) {
                    Ok(()) => break self.trial[j] - state[j],
                    Err(failure) if tries >= 5 => return Err(failure),
                    Err(_) => {
                        increment *= if tries % 2 == 0 { -1.0 } else { 0.1 };
                        tries += 1;
                    }
                }
            };
            self.trial[j] = state[j];
            for (i, (shifted, rate)) in self.trial_rates.iter().zip(&self.base).enumerate() {
                let slope = (shifted - rate) / actual;
                self.scaled[i * columns + column] = slope * (self.scale[j] / self.scale[i]);
            }
        }
        if caller.system.is_steady(time) {
            self.time.fill(0.0);
            return Ok(());
        }
        // The time increment stays well within the step: known kinks in time are at its end.
        let later = time + (1e-5 * h).max(64.0 * f64::EPSILON * time.abs());
        caller.rates(later, state, &mut self.trial_rates)?;
        let actual = later - time;
        for ((slope, later), now) in self.time.iter_mut().zip(&self.trial_rates).zip(&self.base) {
            *slope = (later - now) / actual;
        }
        Ok(())
    }

    /// Row of a component: its slopes along each of the [`active`](Self::active) ones.
    pub fn row(&self, component: usize) -> &[f64] {
        let columns = self.active.len();
        &self.scaled[component * columns..(component + 1) * columns]
    }

    /// Spectral radius of the Jacobian by a few power iterations, continued from step to step.
    pub fn spectral_radius(&mut self) -> f64 {
        const ITERATIONS: i32 = 6;
        let columns = self.active.len();
        let (direction, image) = (&mut self.direction[..columns], &mut self.image[..columns]);
        for (i, direction) in direction.iter_mut().enumerate() {
            *direction += 1e-3 * probe(i);
        }
        normalise(direction);
        let mut growth = 1.0;
        for _ in 0..ITERATIONS {
            for (image, component) in image.iter_mut().zip(&self.active) {
                let row = &self.scaled[component * columns..(component + 1) * columns];
                *image = row.iter().zip(&*direction).map(|(a, b)| a * b).sum();
            }
            let length = normalise(image);
            if !(length > 0.0 && length.is_finite()) {
                self.reset();
                return 0.0;
            }
            growth *= length;
            direction.copy_from_slice(image);
        }
        growth.powf(1.0 / f64::from(ITERATIONS))
    }
}

/// A fixed vector without symmetry.
fn probe(i: usize) -> f64 {
    1.0 + 0.37 * ((i * 7 + 3) % 5) as f64 * if i % 3 == 1 { -1.0 } else { 1.0 }
}

fn normalise(vector: &mut [f64]) -> f64 {
    let length = vector.iter().map(|x| x * x).sum::<f64>().sqrt();
    vector.iter_mut().for_each(|x| *x /= length);
    length
}
