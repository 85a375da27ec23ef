//! Least squares with beliefs and a region of trust, as a solver for argmin's executor.
//!
//! Law: least of |r(y)|^2 + |z|^2, z the standard normal variates behind the coordinates y. Residuals are
//! taken as linear in y, what is believed is not: near the end of a bounded belief |z|^2 rises like a wall,
//! which no straight line follows. Each step is the least of |r + J d|^2 + |z|^2 + lambda |d|^2, d the
//! change of y, by a few Newton steps that need no residuals; lambda >= 0 is the least with which |d| stays
//! within the radius of trust (Levenberg 1944, Marquardt 1963; the radius after More 1978, Lect. Notes
//! Math. 630, 105). As the coordinates are in standard deviations of what is believed of them, the radius
//! says how far a design may be bent at once. Between fresh Jacobians the secant update of Broyden (1965,
//! Math. Comp. 19, 577) spares evaluations after steps that went as promised; a step that did not is
//! tried again with a fresh one, as long as there are any to be had.

use argmin::core::{
    Error, IterState, Jacobian, KV, Operator, Problem, Solver, TerminationReason, TerminationStatus,
};

use crate::numerics::matrix::{Matrix, dot};

type FitState = IterState<Vec<f64>, (), Matrix, (), Vec<f64>, f64>;

/// First radius of trust, the largest one, and the one at which a fit gives up.
const RADIUS: (f64, f64, f64) = (1.0, 3.0, 0.02);
/// Steps with one Jacobian.
const STALE: u64 = 3;
/// Way from where the Jacobian was fresh within which it is as good as fresh after steps that went as
/// promised, and beyond which a small promise is not believed.
const NEAR: f64 = 0.4;
/// Factor on what a fresh Jacobian promises within the radius of trust: more is not to be had soon.
const AT_MOST: f64 = 5.0;
/// Share of the promise with which a secant Jacobian may go on.
const AS_PROMISED: f64 = 0.5;
/// Most changes of lambda in search of the radius.
const SEARCHES: usize = 30;
/// Factor by which a lambda is taken beyond where the length should come to the radius, and share of an interval at
/// whose ends it is not looked for.
const BEYOND: f64 = 1.1;
const INSIDE: f64 = 0.05;
/// Newton steps towards the least with one lambda, and the change that ends them.
const NEWTON: (usize, f64) = (15, 1e-5);
/// Step of the slopes between variates and coordinates.
const SLOPE: f64 = 1e-4;

/// From standard normal variates to coordinates in which residuals are nearly linear.
pub trait Coordinates {
    /// Coordinate of a value at a variate.
    fn coordinate(&self, value: usize, variate: f64) -> f64;
    /// Largest variate either way.
    fn reach(&self) -> f64;
}

/// A step: where it leads, the change of the coordinates, and the improvement of the cost it promises.
#[derive(Debug, Clone)]
pub struct Step {
    /// Variates after it.
    pub variates: Vec<f64>,
    /// Change of the coordinates.
    pub change: Vec<f64>,
    /// Promised improvement.
    pub promised: f64,
}

/// The best step within a radius, from the normal equations: J^T J and J^T r. `None` where they cannot be solved.
#[must_use]
pub fn trusted_step(
    normal: Matrix,
    gradient: Vec<f64>,
    variates: &[f64],
    radius: f64,
    coordinates: &dyn Coordinates,
) -> Option<Step> {
    let local = Local {
        gradient,
        normal,
        begin: variates,
        at: (variates.iter().enumerate())
            .map(|(k, z)| coordinates.coordinate(k, *z))
            .collect(),
        coordinates,
    };
    let length = |step: &Step| dot(&step.change, &step.change).sqrt();
    let mut step = local.least(0.0, variates)?;
    if length(&step) <= radius {
        return Some(step);
    }
    // One over the length rises nearly straight with lambda, in the end by one over the length of the gradient.
    let wanted = 0.95 * radius;
    let (mut low, mut high) = ((0.0, length(&step)), None);
    let mut rise = 1.0 / local.steepness();
    for _ in 0..SEARCHES {
        let lambda = match high {
            Some(high) => between(low, high, wanted),
            None if rise > 0.0 && rise.is_finite() => {
                low.0 + BEYOND * (1.0 / wanted - 1.0 / low.1) / rise
            }
            None => (10.0 * low.0).max(1.0),
        };
        let found = local.least(lambda, &step.variates)?;
        let reached = (lambda, length(&found));
        step = found;
        if (reached.1 - wanted).abs() < 0.05 * radius {
            break;
        }
        if reached.1 > wanted {
            rise = (1.0 / reached.1 - 1.0 / low.1) / (lambda - low.0);
            low = reached;
        } else {
            high = Some(reached);
        }
    }
    Some(step)
}

/// A lambda between two, each with the length of its step, at which one over the length would come to that wanted.
fn between(low: (f64, f64), high: (f64, f64), wanted: f64) -> f64 {
    let share = (1.0 / wanted - 1.0 / low.1) / (1.0 / high.1 - 1.0 / low.1);
    let share = if share.is_finite() { share } else { 0.5 };
    low.0 + share.clamp(INSIDE, 1.0 - INSIDE) * (high.0 - low.0)
}

/// The cost around some variates.
struct Local<'a> {
    gradient: Vec<f64>,
    normal: Matrix,
    begin: &'a [f64],
    at: Vec<f64>,
    coordinates: &'a dyn Coordinates,
}

impl Local<'_> {
    /// Rates of the coordinates over the variates, and how fast these rise.
    fn rates(&self, variates: &[f64]) -> Vec<(f64, f64)> {
        let rate = |(k, z): (usize, &f64)| {
            let at = |z: f64| self.coordinates.coordinate(k, z);
            let (before, here, after) = (at(z - SLOPE), at(*z), at(z + SLOPE));
            let bend = (after - here) - (here - before);
            ((after - before) / (2.0 * SLOPE), bend / (SLOPE * SLOPE))
        };
        variates.iter().enumerate().map(rate).collect()
    }

    /// Length of half the gradient of the cost over the coordinates at the beginning.
    fn steepness(&self) -> f64 {
        let pairs = self.gradient.iter().zip(self.begin);
        let own = pairs.zip(self.rates(self.begin));
        let squares = own.map(|((gradient, z), (rate, _))| (gradient + z / rate).powi(2));
        squares.sum::<f64>().sqrt()
    }

    fn change(&self, variates: &[f64]) -> Vec<f64> {
        let pairs = variates.iter().zip(&self.at).enumerate();
        pairs
            .map(|(k, (z, at))| self.coordinates.coordinate(k, *z) - at)
            .collect()
    }

    /// Cost less that of the residuals at the beginning.
    fn cost(&self, variates: &[f64], change: &[f64], lambda: f64) -> f64 {
        let pull = self.normal.times(change);
        2.0 * dot(&self.gradient, change)
            + dot(change, &pull)
            + lambda * dot(change, change)
            + dot(variates, variates)
    }

    /// Half the slope of the cost over the variates, downhill, and half its curvature, at least 1. What is at its end
    /// and pushed further stays there: it has no slope, and the rest finds its least without it.
    fn around(&self, variates: &[f64], change: &[f64], lambda: f64) -> (Vec<f64>, Matrix) {
        let reach = self.coordinates.reach();
        let mut curvature = self.normal.clone();
        let mut downhill = Vec::with_capacity(variates.len());
        let mut factors = Vec::with_capacity(variates.len());
        let mut bends = Vec::with_capacity(variates.len());
        let pulls = self.normal.times(change);
        let pulls = pulls.iter().zip(&self.gradient).zip(change);
        for (((pull, gradient), change), (z, (rate, bend))) in
            pulls.zip(variates.iter().zip(self.rates(variates)))
        {
            let pull = pull + gradient + lambda * change;
            let slope = -(rate * pull + z);
            let free = f64::from(u8::from(z.abs() < reach || slope * z < 0.0));
            downhill.push(free * slope);
            factors.push(free * rate);
            // Where the coordinate bends the other way there may be no least near.
            bends.push((bend * pull).max(0.0));
        }
        for (k, (factor, bend)) in factors.iter().zip(&bends).enumerate() {
            for (entry, other) in curvature.column_mut(k).iter_mut().zip(&factors) {
                *entry *= factor * other;
            }
            let own = curvature.at(k, k) + lambda * factor * factor;
            curvature.set(k, k, own + bend + 1.0);
        }
        (downhill, curvature)
    }

    /// The least with one lambda.
    fn least(&self, lambda: f64, from: &[f64]) -> Option<Step> {
        let reach = self.coordinates.reach();
        let mut variates = from.to_vec();
        let mut change = self.change(&variates);
        let mut cost = self.cost(&variates, &change, lambda);
        let mut damping = 0.0;
        for _ in 0..NEWTON.0 {
            let (downhill, mut curvature) = self.around(&variates, &change, lambda);
            // As the curvature is at least 1, no more than this is to be gained.
            if dot(&downhill, &downhill) < NEWTON.1 {
                break;
            }
            let steepest = (0..variates.len()).map(|k| curvature.at(k, k));
            let steepest = steepest.fold(0.0, f64::max);
            for k in 0..variates.len() {
                curvature.set(k, k, curvature.at(k, k) + damping);
            }
            let moved: Vec<f64> = (curvature.cholesky()?.solve(&downhill).iter())
                .zip(&variates)
                .map(|(step, z)| (z + step).clamp(-reach, reach))
                .collect();
            let after = self.change(&moved);
            let new = self.cost(&moved, &after, lambda);
            if new < cost {
                let gained = cost - new;
                (variates, change, cost) = (moved, after, new);
                damping *= 0.1;
                if gained < NEWTON.1 {
                    break;
                }
            } else if damping > 1e6 * steepest || cost - new > -1e-9 {
                break;
            } else {
                damping = (10.0 * damping).max(0.1 * steepest);
            }
        }
        let promised = dot(self.begin, self.begin) - self.cost(&variates, &change, 0.0);
        Some(Step {
            variates,
            change,
            promised,
        })
    }
}

/// The solver. Its state carries the variates, the residuals, their Jacobian over the coordinates, and
/// the cost |r|^2 + |z|^2.
pub struct TrustedLeastSquares<'a> {
    coordinates: &'a dyn Coordinates,
    /// Improvement of the cost below which a step is the last.
    tolerance: f64,
    /// Fresh Jacobians that may still be asked for.
    allowed: u64,
    radius: f64,
    /// The Jacobian at the start, as far as it is known.
    known: Option<Matrix>,
    /// Steps since the Jacobian was fresh.
    age: u64,
    /// Way gone since then.
    way: f64,
    /// Whether the last step went as promised.
    as_promised: bool,
    /// Cost that must be in reach for a fit to go on.
    wanted: f64,
    ended: Option<TerminationReason>,
}

/// Why a fit ended that had no fresh Jacobian to look further, but whose last steps went as promised.
pub const NOTHING_PROMISED: &str = "no more is promised";
/// Why a fit ended that will not come to the cost it was wanted for.
pub const OUT_OF_REACH: &str = "the wanted cost is out of reach";

impl<'a> TrustedLeastSquares<'a> {
    /// A solver that stops once a step from a fresh Jacobian promises less than `tolerance`, or when it
    /// would need more of them than `allowed`.
    #[must_use]
    pub fn new(coordinates: &'a dyn Coordinates, tolerance: f64, allowed: u64) -> Self {
        TrustedLeastSquares {
            coordinates,
            tolerance,
            allowed,
            radius: RADIUS.0,
            known: None,
            age: 0,
            way: 0.0,
            as_promised: true,
            wanted: f64::INFINITY,
            ended: None,
        }
    }

    /// The same, to be given up where a cost is out of reach.
    #[must_use]
    pub fn wanting(mut self, cost: f64) -> Self {
        self.wanted = cost;
        self
    }

    /// The same with a Jacobian that is nearly that at the start.
    #[must_use]
    pub fn knowing(mut self, jacobian: Option<Matrix>) -> Self {
        self.known = jacobian;
        self
    }

    /// A fresh Jacobian, or the old one and the end of the fit where no more is allowed.
    fn refreshed<O>(
        &mut self,
        problem: &mut Problem<O>,
        variates: &Vec<f64>,
        old: Matrix,
    ) -> Result<Matrix, Error>
    where
        O: Jacobian<Param = Vec<f64>, Jacobian = Matrix>,
    {
        let Some(left) = self.allowed.checked_sub(1) else {
            self.ended = Some(if self.as_promised {
                TerminationReason::SolverExit(NOTHING_PROMISED.to_owned())
            } else {
                TerminationReason::MaxItersReached
            });
            return Ok(old);
        };
        self.allowed = left;
        self.age = 0;
        self.way = 0.0;
        problem.jacobian(variates)
    }
}

fn cost_of(residuals: &[f64], variates: &[f64]) -> f64 {
    dot(residuals, residuals) + dot(variates, variates)
}

impl<O> Solver<O, FitState> for TrustedLeastSquares<'_>
where
    O: Operator<Param = Vec<f64>, Output = Vec<f64>>
        + Jacobian<Param = Vec<f64>, Jacobian = Matrix>,
{
    fn name(&self) -> &str {
        "least squares with beliefs and a region of trust"
    }

    fn init(
        &mut self,
        problem: &mut Problem<O>,
        mut state: FitState,
    ) -> Result<(FitState, Option<KV>), Error> {
        let start = state
            .take_param()
            .ok_or_else(|| Error::msg("a start is needed"))?;
        let residuals = problem.apply(&start)?;
        let cost = cost_of(&residuals, &start);
        let jacobian = match self.known.take() {
            Some(known) => {
                self.age = 1;
                self.way = f64::INFINITY;
                known
            }
            None => problem.jacobian(&start)?,
        };
        let state = state.param(start).residuals(residuals).jacobian(jacobian);
        Ok((state.cost(cost), None))
    }

    fn next_iter(
        &mut self,
        problem: &mut Problem<O>,
        mut state: FitState,
    ) -> Result<(FitState, Option<KV>), Error> {
        let missing = || Error::msg("the fit lost its state");
        let variates = state.take_param().ok_or_else(missing)?;
        let residuals = state.take_residuals().ok_or_else(missing)?;
        let mut jacobian = state.take_jacobian().ok_or_else(missing)?;
        let cost = state.get_cost();
        let step = trusted_step(
            jacobian.gram(),
            jacobian.transpose_times(&residuals),
            &variates,
            self.radius,
            self.coordinates,
        )
        .ok_or_else(|| Error::msg("the normal equations cannot be solved"))?;
        let length = dot(&step.change, &step.change).sqrt();
        if step.promised < self.tolerance || length == 0.0 {
            // A secant Jacobian may promise too little.
            if self.age == 0 || self.as_promised && self.way < NEAR {
                self.ended = Some(TerminationReason::SolverConverged);
            } else {
                jacobian = self.refreshed(problem, &variates, jacobian)?;
                self.radius = self.radius.max(RADIUS.0);
            }
            let state = state.param(variates).residuals(residuals);
            return Ok((state.jacobian(jacobian).cost(cost), None));
        }
        if self.age == 0 && cost - AT_MOST * step.promised > self.wanted {
            self.ended = Some(TerminationReason::SolverExit(OUT_OF_REACH.to_owned()));
            let state = state.param(variates).residuals(residuals);
            return Ok((state.jacobian(jacobian).cost(cost), None));
        }
        // Where the model cannot go, the step was too long.
        let attempt = problem.apply(&step.variates).ok().map(|residuals| {
            let cost = cost_of(&residuals, &step.variates);
            (residuals, cost)
        });
        let gain = attempt.as_ref().map_or(f64::NEG_INFINITY, |(_, after)| {
            (cost - after) / step.promised
        });
        if gain > 0.75 && length > 0.8 * self.radius {
            self.radius = (2.0 * self.radius).min(RADIUS.1);
        } else if gain < 0.25 {
            self.radius = (if gain > 0.0 { 0.5 } else { 0.3 }) * length;
        }
        self.as_promised = gain > AS_PROMISED;
        let state = match attempt {
            Some((after, new_cost)) if new_cost < cost => {
                let little = cost - new_cost < self.tolerance;
                let stale = !self.as_promised || self.age + 1 >= STALE;
                if self.as_promised && little && self.way + length < NEAR {
                    self.ended = Some(TerminationReason::SolverConverged);
                } else if little || self.allowed > 0 && stale {
                    jacobian = self.refreshed(problem, &step.variates, jacobian)?;
                } else {
                    let moved = jacobian.times(&step.change);
                    let surprise: Vec<f64> = after
                        .iter()
                        .zip(residuals.iter().zip(&moved))
                        .map(|(after, (before, moved))| after - before - moved)
                        .collect();
                    jacobian.add_outer(1.0 / (length * length), &surprise, &step.change);
                    self.age += 1;
                    self.way += length;
                }
                let state = state.param(step.variates).residuals(after);
                state.cost(new_cost)
            }
            _ => {
                if self.age > 0 && self.allowed > 0 {
                    jacobian = self.refreshed(problem, &variates, jacobian)?;
                }
                state.param(variates).residuals(residuals).cost(cost)
            }
        };
        if self.radius < RADIUS.2 {
            self.ended = Some(if self.age == 0 {
                TerminationReason::SolverConverged
            } else {
                TerminationReason::MaxItersReached
            });
        }
        Ok((state.jacobian(jacobian), None))
    }

    fn terminate(&mut self, _state: &FitState) -> TerminationStatus {
        match &self.ended {
            Some(reason) => TerminationStatus::Terminated(reason.clone()),
            None => TerminationStatus::NotTerminated,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const REACH: f64 = 1.0;

    /// Coordinates that flatten out, as those of a value between two limits do.
    struct Flattening;

    impl Coordinates for Flattening {
        fn coordinate(&self, _: usize, variate: f64) -> f64 {
            variate.tanh()
        }

        fn reach(&self) -> f64 {
            REACH
        }
    }

    /// A step as long as it likes is the least of the cost within the reach: where the slope of the cost is not zero the
    /// value is at its end and the slope points outwards. The two columns are nearly alike, and pull the first value
    /// over its end.
    #[test]
    fn a_step_is_the_least_within_the_ends_of_the_values() {
        let mut jacobian = Matrix::zero(3, 2);
        jacobian.set_column(0, [10.0, 2.0, 0.5]);
        jacobian.set_column(1, [9.0, 2.5, -1.0]);
        let residuals = [-14.0, -1.0, -1.0];
        let begin = [0.2, -0.3];
        let normal = jacobian.gram();
        let gradient = jacobian.transpose_times(&residuals);
        let step = trusted_step(normal, gradient, &begin, 1e3, &Flattening).unwrap();
        let cost = |z: &[f64]| {
            let change: Vec<f64> = (z.iter().zip(begin))
                .map(|(z, begin)| z.tanh() - begin.tanh())
                .collect();
            let moved = jacobian.times(&change);
            let after: Vec<f64> = residuals.iter().zip(&moved).map(|(r, m)| r + m).collect();
            dot(&after, &after) + dot(z, z)
        };
        let least = cost(&step.variates);
        assert!((cost(&begin) - least - step.promised).abs() < 1e-9);
        let mut ends = 0;
        for (k, here) in step.variates.iter().enumerate() {
            let at = |value: f64| {
                let mut there = step.variates.clone();
                there[k] = value;
                cost(&there)
            };
            let slope = (at(here + 1e-5) - at(here - 1e-5)) / 2e-5;
            if here.abs() >= REACH {
                ends += 1;
                assert!(slope * here < 0.0, "{k}: {here} {slope}");
            } else {
                assert!(slope.abs() < 0.02, "{k}: {here} {slope}");
            }
        }
        assert_eq!(ends, 1, "{:?}", step.variates);
        // No grid point within the reach does better.
        for i in -20..=20 {
            for j in -20..=20 {
                let there = [0.05 * f64::from(i), 0.05 * f64::from(j)];
                assert!(cost(&there) > least - 1e-5, "{there:?}");
            }
        }
    }

    /// Within a radius of trust the step is as long as that but for a twentieth, and better than any on the circle.
    #[test]
    fn a_step_stays_within_the_radius() {
        let mut jacobian = Matrix::zero(2, 2);
        jacobian.set_column(0, [3.0, 1.0]);
        jacobian.set_column(1, [-1.0, 2.0]);
        let residuals = [6.0, -4.0];
        let begin = [0.1, 0.0];
        let normal = jacobian.gram();
        let gradient = jacobian.transpose_times(&residuals);
        let step = trusted_step(normal, gradient, &begin, 0.3, &Flattening).unwrap();
        let length = dot(&step.change, &step.change).sqrt();
        assert!((length - 0.285).abs() < 0.015, "{length}");
        for k in 0..60 {
            let angle = f64::from(k) * std::f64::consts::TAU / 60.0;
            let change = [length * angle.cos(), length * angle.sin()];
            let z: Vec<f64> = (change.iter().zip(begin))
                .map(|(change, begin)| (begin.tanh() + change).atanh())
                .collect();
            let moved = jacobian.times(&change);
            let after = [residuals[0] + moved[0], residuals[1] + moved[1]];
            let promised = dot(&residuals, &residuals) + dot(&begin, &begin)
                - dot(&after, &after)
                - dot(&z, &z);
            assert!(promised < step.promised + 1e-4, "{angle}");
        }
    }
}
