//! Clocks and sensors fitted to a finished discharge, so that the fit of the rocket moves only what
//! needs a discharge.
//!
//! Law: variable projection (Golub & Pereyra 1973, SIAM J. Numer. Anal. 10, 413). The least cost over
//! the values q of clocks and sensors, which act after a discharge, is a function of the values p of
//! the rocket alone; with the residuals extended by the priors of q, r = (s, q), its Jacobian is
//! P [J_p; 0], P the projector across the columns of [J_q; I] (Kaufman 1975, BIT 15, 49).

use std::sync::Arc;

use crate::numerics::matrix::{Matrix, dot};

use super::cause::Cause;
use super::least_squares::{Coordinates, trusted_step};
use super::measured::Observable;
use super::model::BOUND;
use super::observe::{Run, between_knots};
use super::parameter::{Role, SensorError};
use super::problem::{EvaluationError, Problem};
use super::residuals::{View, huber, huber_slope};
use super::sensor_slopes::SensorSlopes;

/// Step of the finite differences of clocks and sensors, in standard deviations of the prior.
const INNER_STEP: f64 = 0.05;
/// Radius of trust of clocks and sensors.
const INNER_RADIUS: f64 = 4.0;
/// Most steps to settle clocks and sensors.
const INNER_STEPS: usize = 20;
/// Improvement of the cost that is worth a further step, at least and as a share of the cost: where a curve bends at a
/// reading, or readings count by a robust loss, ever smaller steps gain ever less.
const INNER_TOLERANCE: (f64, f64) = (2e-3, 2e-4);
/// Evaluations kept.
const KEPT: usize = 3;

/// Clocks and sensors at their best for given values of the rocket.
#[derive(Debug, Clone)]
pub struct Settled {
    /// Variates of all values of the problem.
    pub z: Vec<f64>,
    /// Robust residuals.
    pub residuals: Vec<f64>,
    /// Sensitivities of the residuals to clocks and sensors.
    pub slopes: SensorSlopes,
    /// The run of each trace.
    pub runs: Arc<Vec<Run>>,
}

/// What a problem remembers: the last evaluations, and where clocks and sensors settled best.
#[derive(Debug, Default)]
pub struct Memory {
    latest: Vec<Settled>,
    best: Option<(f64, Settled)>,
    /// Sensitivities to the values of the rocket as last known.
    pub slopes: Option<Matrix>,
    /// Whether they are next looked at from the other side.
    pub other_side: bool,
    /// Cost where every direction was looked at.
    pub explored: Option<f64>,
}

impl Memory {
    /// The same for another problem in which the same directions do nothing.
    #[must_use]
    pub fn forgetting_runs(&self) -> Self {
        Memory {
            explored: self.explored,
            ..Memory::default()
        }
    }

    fn keep(&mut self, settled: &Settled) {
        if self.latest.len() >= KEPT {
            self.latest.remove(0);
        }
        self.latest.push(settled.clone());
    }
}

impl Problem<'_, '_> {
    /// Some of all values.
    pub fn pick(&self, which: &[usize], z: &[f64]) -> Vec<f64> {
        which
            .iter()
            .map(|k| z.get(*k).copied().unwrap_or(0.0))
            .collect()
    }

    /// All values with some replaced.
    pub fn with(&self, which: &[usize], values: &[f64], z: &[f64]) -> Vec<f64> {
        let mut z = z.to_vec();
        for (k, value) in which.iter().zip(values) {
            if let Some(slot) = z.get_mut(*k) {
                *slot = *value;
            }
        }
        z
    }

    fn runs(&self, z: &[f64]) -> Result<Arc<Vec<Run>>, EvaluationError> {
        let runs = (0..self.model.traces.len())
            .map(|trace| self.run(z, trace))
            .collect::<Result<Vec<_>, _>>()?;
        Ok(Arc::new(runs))
    }

    /// The cost |s|^2 + |z|^2 of what has settled.
    pub fn cost_of(&self, settled: &Settled) -> f64 {
        let free = |which: &[usize]| {
            let z = self.pick(which, &settled.z);
            dot(&z, &z)
        };
        dot(&settled.residuals, &settled.residuals) + free(&self.outer) + free(&self.inner)
    }

    /// Where a search begins, clocks and sensors settled, and what is known of the sensitivities to the
    /// values of the rocket there.
    pub fn begin_at(&self, settled: &Settled, slopes: Option<Matrix>) {
        if let Ok(mut memory) = self.memory.lock() {
            memory.slopes = slopes;
            memory.best = Some((self.cost_of(settled), settled.clone()));
            memory.latest.clear();
        }
    }

    /// Clocks and sensors at their best for the values of the rocket in `z`.
    ///
    /// # Errors
    /// Where the model cannot go.
    pub fn settled(&self, z: &[f64]) -> Result<Settled, EvaluationError> {
        let outer = self.pick(&self.outer, z);
        let mut start = z.to_vec();
        if let Ok(memory) = self.memory.lock() {
            let best = memory.best.iter().map(|(_, settled)| settled);
            let known = best
                .chain(&memory.latest)
                .find(|settled| self.pick(&self.outer, &settled.z) == outer);
            if let Some(known) = known {
                return Ok(known.clone());
            }
            if let Some((_, best)) = &memory.best {
                start = self.with(&self.inner, &self.pick(&self.inner, &best.z), &start);
            }
        }
        let settled = self.settle(self.runs(&start)?, start);
        let cost = self.cost_of(&settled);
        if let Ok(mut memory) = self.memory.lock() {
            if memory.best.as_ref().is_none_or(|(best, _)| cost < *best) {
                memory.best = Some((cost, settled.clone()));
            } else {
                memory.keep(&settled);
            }
        }
        Ok(settled)
    }

    /// Clocks and sensors at their best, from where they are in `z` or, where the cause frees a value of
    /// theirs, from several values of the first such; nothing that was found before matters.
    ///
    /// # Errors
    /// Where the model cannot go.
    pub fn settled_afresh(&self, z: &[f64], starts: &[f64]) -> Result<Settled, EvaluationError> {
        let runs = self.runs(z)?;
        let Some(k) = self.fault_index().filter(|k| self.inner.contains(k)) else {
            return Ok(self.settle(runs, z.to_vec()));
        };
        let from = |start: &f64| {
            let settled = self.settle(Arc::clone(&runs), self.with(&[k], &[*start], z));
            (self.cost_of(&settled), settled)
        };
        let best = starts.iter().map(from).min_by(|a, b| a.0.total_cmp(&b.0));
        Ok(match best {
            Some((_, settled)) => settled,
            None => self.settle(runs, z.to_vec()),
        })
    }

    /// How much later than in the first trace the nose is off, or where neither shows that it is, how much
    /// later the readings of the first channel peak [s]; infinite where only one of them shows the nose off.
    pub fn late(&self, settled: &Settled) -> Option<f64> {
        let channel = self.model.traces.first()?.channels.first()?;
        let run = settled.runs.first()?;
        let view = self.view(run, &settled.z, 0, 0)?;
        let nose = self.model.nominal.nose.as_ref();
        let expected = nose.and_then(|(nose, _)| run.time_of_travel(nose.engagement));
        let measured = self.model.off.first().copied().flatten();
        let last = channel.times.last()?;
        match (expected.map(|time| time + view.sensor.start), measured) {
            (Some(expected), Some(measured)) => Some(expected - measured),
            (None, Some(_)) => Some(f64::INFINITY),
            (Some(expected), None) if expected < *last => Some(f64::NEG_INFINITY),
            _ => {
                let peak = |values: &[f64]| {
                    let pairs = values.iter().zip(&channel.times);
                    let most = pairs.max_by(|a, b| a.0.total_cmp(b.0));
                    most.map(|(_, time)| *time)
                };
                let readings = view.followed.readings(&view.sensor);
                Some(peak(&readings)? - peak(&channel.values)?)
            }
        }
    }

    fn settle(&self, runs: Arc<Vec<Run>>, mut z: Vec<f64>) -> Settled {
        let mut views = self.views_of(&runs, &z);
        let mut residuals = robust(&views);
        let mut slopes = self.inner_slopes(&runs, &z, &views);
        let mut radius = INNER_RADIUS;
        for _ in 0..INNER_STEPS {
            let q = self.pick(&self.inner, &z);
            let Some(step) = trusted_step(
                slopes.gram(),
                slopes.transpose_times(&residuals),
                &q,
                radius,
                &Plain,
            ) else {
                break;
            };
            let cost = dot(&residuals, &residuals) + dot(&q, &q);
            if step.promised < INNER_TOLERANCE.0.max(INNER_TOLERANCE.1 * cost) {
                break;
            }
            let trial = self.with(&self.inner, &step.variates, &z);
            let trial_views = self.views_of(&runs, &trial);
            let after = robust(&trial_views);
            if dot(&after, &after) + dot(&step.variates, &step.variates) < cost {
                (z, residuals, views) = (trial, after, trial_views);
                slopes = self.inner_slopes(&runs, &z, &views);
                radius = (2.0 * radius).min(INNER_RADIUS);
            } else {
                radius = 0.3 * dot(&step.change, &step.change).sqrt();
            }
        }
        Settled {
            z,
            residuals,
            slopes,
            runs,
        }
    }

    fn views_of(&self, runs: &[Run], z: &[f64]) -> Vec<View> {
        let pairs = runs.iter().enumerate();
        pairs
            .flat_map(|(trace, run)| self.views(run, z, trace))
            .collect()
    }

    /// Sensitivities of the residuals to clocks and sensors. All but those to clocks and lags follow from
    /// what was read.
    fn inner_slopes(&self, runs: &[Run], z: &[f64], views: &[View]) -> SensorSlopes {
        let mut slopes = SensorSlopes::new(self.inner.len());
        for view in views {
            let weights = self.weights(view);
            let own = self.inner.iter().enumerate().filter_map(|(place, k)| {
                let mut column = self.reading_slopes(runs, z, *k, view)?;
                for (slope, weight) in column.iter_mut().zip(&weights) {
                    *slope *= weight;
                }
                Some((place, column))
            });
            slopes.add_channel(view.plain.len(), own.collect());
        }
        slopes
    }

    /// Slopes of the robust residuals of one channel over its readings.
    fn weights(&self, view: &View) -> Vec<f64> {
        let traces = self.model.traces.get(view.trace);
        let channel = traces.and_then(|measured| measured.channels.get(view.channel));
        let saturated = channel.map_or(&[][..], |channel| &channel.saturated);
        let known = self.model.deviations(view.trace, view.channel).iter();
        let points = view.plain.iter().zip(known).zip(saturated);
        points
            .map(|((plain, deviation), saturated)| {
                if *saturated && *plain >= 0.0 {
                    0.0
                } else {
                    huber_slope(*plain) / (self.inflation * deviation.total)
                }
            })
            .collect()
    }

    /// Slopes of the readings of one channel over one value of clocks and sensors; `None` where it does nothing to
    /// them.
    fn reading_slopes(&self, runs: &[Run], z: &[f64], k: usize, view: &View) -> Option<Vec<f64>> {
        let parameter = self.parameters.get(k)?;
        let here = z.get(k).copied()?;
        let count = view.plain.len();
        let channel = (self.model.traces.get(view.trace)?.channels).get(view.channel)?;
        let effect = self.effect(parameter.role, view.trace, view.channel, channel.observable)?;
        let step = if here > 0.0 { -INNER_STEP } else { INNER_STEP };
        let value = parameter.value(here);
        let rate = (parameter.value(here + step) - value) / step;
        let followed = &view.followed;
        Some(match effect {
            Effect::Follow => {
                let moved = self.with(&[k], &[here + step], z);
                let sensor = self.sensor(&moved, view.trace, view.channel);
                let run = runs.get(view.trace)?;
                let moved = self.follow(run, &sensor, view.trace, view.channel)?;
                let pairs = moved.values.iter().zip(&followed.values);
                pairs
                    .map(|(after, before)| view.sensor.gain * (after - before) / step)
                    .collect()
            }
            Effect::Add => vec![rate; count],
            Effect::Scale => {
                let factor = rate * view.sensor.gain / value;
                followed.values.iter().map(|value| factor * value).collect()
            }
            Effect::Drift => followed.shares.iter().map(|share| rate * share).collect(),
            Effect::Wander(knot) => (followed.values.iter().enumerate())
                .map(|(index, value)| {
                    let (left, share) = between_knots(view.sensor.wander.len(), index, count);
                    let part = match knot {
                        knot if knot == left => 1.0 - share,
                        knot if knot == left + 1 => share,
                        _ => 0.0,
                    };
                    rate * part * (value - followed.first)
                })
                .collect(),
        })
    }

    /// What a value of clocks and sensors does to the readings of a channel, if anything.
    fn effect(
        &self,
        role: Role,
        trace: usize,
        channel: usize,
        observable: Observable,
    ) -> Option<Effect> {
        match role {
            Role::Start { trace: own } => (own == trace).then_some(Effect::Follow),
            Role::Sensor {
                trace: own,
                channel: of,
                error,
            } => (own == trace && of == channel).then_some(match error {
                SensorError::Zero => Effect::Add,
                SensorError::Gain => Effect::Scale,
                SensorError::Drift => Effect::Drift,
                SensorError::Lag => Effect::Follow,
                SensorError::Wander(knot) => Effect::Wander(knot),
            }),
            Role::Fault(k) if self.model.faulty_sensor(observable) => match (self.cause, k) {
                (Cause::SensorOffset, 0) => Some(Effect::Add),
                (Cause::SensorOffset, _) => Some(Effect::Scale),
                (Cause::SensorLag, _) => Some(Effect::Follow),
                _ => None,
            },
            _ => None,
        }
    }
}

/// What an error of a clock or sensor does to readings.
enum Effect {
    /// They are followed anew.
    Follow,
    /// It adds to them.
    Add,
    /// It scales them.
    Scale,
    /// It grows over the record.
    Drift,
    /// It adds a share of the rise around one knot.
    Wander(usize),
}

/// Coordinates of clocks and sensors: their variates themselves.
struct Plain;

impl Coordinates for Plain {
    fn coordinate(&self, _: usize, variate: f64) -> f64 {
        variate
    }

    fn reach(&self) -> f64 {
        BOUND
    }
}

fn robust(views: &[View]) -> Vec<f64> {
    let plain = views.iter().flat_map(|view| &view.plain);
    plain.map(|residual| huber(*residual)).collect()
}
