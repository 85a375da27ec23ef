//! Finite differences of the residuals, as few as will do: along the principal directions of what is known.

use rayon::prelude::*;

use crate::numerics::matrix::{Matrix, dot};

use super::parameter::Role;
use super::problem::Problem;
use super::settle::Settled;

/// Change of all residuals together that a finite difference should make: well above the roughness of
/// an integration (0.01), within the width of a front that moves [1].
const CHANGE: f64 = 0.7;
/// The same before clocks and sensors follow, which may take most of it up.
const PLAIN_CHANGE: f64 = 2.0;
/// Steps in deviations of what is believed: the first, the longest, the longest of a variate.
const FIRST: f64 = 0.03;
const LONGEST: f64 = 0.3;
/// The shortest: below it roughness passes for slope, and steps that follow from such a slope get shorter still.
const SHORTEST: f64 = 2e-3;
const FARTHEST: f64 = 0.4;
/// Factor by which a change may miss the expected one, or where nothing is known the wanted one; beyond it
/// is made once more with another step.
const MISSED: f64 = 3.0;
const UNKNOWN_MISSED: f64 = 8.0;
/// Change of all residuals together that is none [1].
const NOTHING: f64 = 1e-3;
/// Effect of a direction on all residuals together, clocks and sensors following, below which what is known
/// of it is good enough [1].
const NEGLIGIBLE: f64 = 0.3;
/// Fall of the cost since every direction was looked at that makes the place another one: what did nothing
/// there may do something here.
const ELSEWHERE: f64 = 30.0;
/// Share of a change that may be a surprise without a look at the other side, and the cost that the error
/// of the gradient may hide.
const AS_EXPECTED: f64 = 0.08;
const HIDDEN: f64 = 0.03;
/// Step of a variate that shows whether a value of the design says what a cause frees.
const SAYS: f64 = 0.5;

/// A finite difference to be made.
struct Probe {
    /// Direction of the coordinates, of length one.
    direction: Vec<f64>,
    /// Step along it.
    size: f64,
    /// Change of all residuals together that is expected.
    expected: f64,
    /// Factor by which that may be missed.
    missed: f64,
    /// Effect of the direction on all residuals together, clocks and sensors following; of a known one, to
    /// be looked at with care.
    known: Option<f64>,
}

/// A finite difference as made.
struct Difference {
    /// Size of the step.
    size: f64,
    /// Change of the coordinates.
    step: Vec<f64>,
    /// Change of the residuals.
    change: Vec<f64>,
}

impl Difference {
    /// From the other side to this one.
    fn less(&self, other: &Self) -> Self {
        Difference {
            size: self.size + other.size,
            step: less(&self.step, &other.step),
            change: less(&self.change, &other.change),
        }
    }
}

impl Problem<'_, '_> {
    /// Sensitivities of the residuals to the coordinates of the values that need a discharge, with clocks
    /// and sensors as they are: one by one, or where some are known along their principal directions,
    /// `careful` from both sides where one does not show what was expected.
    ///
    /// Several values move the same front: each column is large, a mixture of them that leaves the front in
    /// place does little, and from columns good to a percent nothing would be known of it.
    pub fn outer_slopes(&self, settled: &Settled, careful: bool) -> Matrix {
        let cost = self.cost_of(settled);
        let (old, side, new) = self.memory.lock().map_or((None, 1.0, true), |mut memory| {
            memory.other_side = !memory.other_side;
            let side = if memory.other_side { 1.0 } else { -1.0 };
            let new = memory.explored.is_none_or(|at| at > cost + ELSEWHERE);
            if new {
                memory.explored = Some(cost);
            }
            (memory.slopes.take(), side, new)
        });
        let n = self.outer.len();
        let slopes = match old {
            Some(mut known) => {
                let probes = self.principal(settled, &known, careful, new);
                self.probe(settled, &probes, side, &mut known);
                known
            }
            None => {
                let mut slopes = Matrix::zero(settled.residuals.len(), n);
                let all: Vec<usize> = (0..n).collect();
                self.column_slopes(settled, &all, &mut slopes);
                slopes
            }
        };
        if let Ok(mut memory) = self.memory.lock() {
            memory.slopes = Some(slopes.clone());
        }
        slopes
    }

    /// Makes some columns afresh.
    pub fn column_slopes(&self, settled: &Settled, columns: &[usize], slopes: &mut Matrix) {
        let n = self.outer.len();
        let probe = |column: &usize| {
            slopes.set_column(*column, std::iter::repeat(0.0));
            Probe {
                direction: (0..n).map(|i| f64::from(u8::from(i == *column))).collect(),
                size: FIRST,
                expected: CHANGE,
                missed: UNKNOWN_MISSED,
                known: None,
            }
        };
        let probes: Vec<Probe> = columns.iter().map(probe).collect();
        self.probe(settled, &probes, 1.0, slopes);
    }

    /// Differences along the principal directions of what is known: of those that matter, or of `every` one.
    fn principal(
        &self,
        settled: &Settled,
        known: &Matrix,
        careful: bool,
        every: bool,
    ) -> Vec<Probe> {
        let projected = self.projected(settled, known);
        let found = projected.and_then(|projected| projected.gram().symmetric_eigen());
        let Some((values, vectors)) = found else {
            return Vec::new();
        };
        let of = |(k, value): (usize, &f64)| {
            let effect = value.max(0.0).sqrt();
            let direction = vectors.column(k);
            let plain = known.times(direction);
            let plain = dot(&plain, &plain).sqrt();
            let size = (CHANGE / effect.max(1e-9))
                .min(PLAIN_CHANGE / plain.max(1e-9))
                .clamp(SHORTEST, LONGEST);
            (every || effect > NEGLIGIBLE).then(|| Probe {
                direction: direction.to_vec(),
                size,
                expected: size * plain,
                missed: if every { UNKNOWN_MISSED } else { MISSED },
                known: careful.then_some(effect),
            })
        };
        values.iter().enumerate().filter_map(of).collect()
    }

    /// Makes differences, first on one side, and mends the sensitivities along their directions.
    fn probe(&self, settled: &Settled, probes: &[Probe], side: f64, slopes: &mut Matrix) {
        let rates = self.rates(&settled.z);
        let found: Vec<Option<Difference>> = probes
            .par_iter()
            .map(|probe| {
                let Some(one) = self.difference(settled, probe, side, &rates) else {
                    return self.difference(settled, probe, -side, &rates);
                };
                let Some(effect) = probe.known else {
                    return Some(one);
                };
                let surprise = less(&one.change, &slopes.times(&one.step));
                let share = dot(&surprise, &surprise) / dot(&one.change, &one.change);
                let gradient = dot(&surprise, &settled.residuals) / one.size;
                let hidden = gradient * gradient / (1.0 + effect * effect);
                if share < AS_EXPECTED * AS_EXPECTED && hidden < HIDDEN {
                    return Some(one);
                }
                Some(match self.difference(settled, probe, -side, &rates) {
                    Some(other) => one.less(&other),
                    None => one,
                })
            })
            .collect();
        for (probe, found) in probes.iter().zip(&found) {
            let Some(found) = found else { continue };
            let length = dot(&found.step, &probe.direction);
            if length != 0.0 {
                let surprise = less(&found.change, &slopes.times(&found.step));
                slopes.add_outer(1.0 / length, &surprise, &probe.direction);
            }
        }
    }

    /// Change of the residuals with a step along a direction of the coordinates, and the step really
    /// made; another where it changes much more or less than it should.
    fn difference(
        &self,
        settled: &Settled,
        probe: &Probe,
        side: f64,
        rates: &[f64],
    ) -> Option<Difference> {
        let mut size = probe.size;
        for again in [true, false] {
            let mut moved = settled.z.clone();
            let mut step = Vec::with_capacity(rates.len());
            for ((k, share), rate) in self.outer.iter().zip(&probe.direction).zip(rates) {
                let (parameter, z) = (self.parameters.get(*k)?, moved.get_mut(*k)?);
                let before = parameter.scaled(*z);
                *z += (side * size * share / rate).clamp(-FARTHEST, FARTHEST);
                step.push(parameter.scaled(*z) - before);
            }
            let change = self.change(settled, &moved)?;
            let made = dot(&change, &change).sqrt();
            // What was expected to do little at the longest step may do more.
            let wanted = size * probe.expected.max(CHANGE) / made.max(1e-9);
            let wanted = wanted.clamp(SHORTEST, LONGEST);
            let fits = (1.0 / probe.missed..=probe.missed).contains(&(wanted / size));
            if fits || made < NOTHING || !again {
                return Some(Difference { size, step, change });
            }
            size = wanted;
        }
        None
    }

    /// Places among the values of the rocket of those that the cause frees, and of those that say in the
    /// design what it frees: their effect is another one under this cause.
    pub fn taken_over(&self, z: &[f64]) -> Vec<usize> {
        let model = self.model;
        let said = |z: &[f64]| {
            let (system, _) = (model.build)(&self.input_values(z, 0)).ok()?;
            let faults = self.cause.faults(&system, &model.places, model.range)?;
            Some(
                faults
                    .iter()
                    .map(|fault| fault.expected)
                    .collect::<Vec<f64>>(),
            )
        };
        let stated = said(z);
        let concerns = |(_, k): &(usize, &usize)| {
            let role = self.parameters.get(**k).map(|parameter| parameter.role);
            match role {
                Some(Role::Fault(_)) => true,
                Some(Role::Input { .. }) if !self.faults.is_empty() => {
                    let here = z.get(**k).copied().unwrap_or(0.0);
                    said(&self.with(&[**k], &[here + SAYS], z)) != stated
                }
                _ => false,
            }
        };
        let places = self.outer.iter().enumerate().filter(concerns);
        places.map(|(place, _)| place).collect()
    }

    /// Sensitivities known of another problem of the same model, where both have the values; zeros
    /// elsewhere.
    pub fn transferred_slopes(&self, other: &Problem<'_, '_>, slopes: &Matrix) -> Matrix {
        let role = |of: &Problem<'_, '_>, k: usize| of.parameters.get(k).map(|p| p.role);
        let mut found = Matrix::zero(slopes.rows(), self.outer.len());
        for (place, k) in self.outer.iter().enumerate() {
            let own = role(self, *k).filter(|role| !matches!(role, Role::Fault(_)));
            let same = |k: &usize| own.is_some() && role(other, *k) == own;
            if let Some(from) = other.outer.iter().position(same) {
                found.set_column(place, slopes.column(from).iter().copied());
            }
        }
        found
    }

    /// Change of the residuals from where clocks and sensors settled to other values.
    fn change(&self, settled: &Settled, moved: &[f64]) -> Option<Vec<f64>> {
        let mut after = Vec::with_capacity(settled.residuals.len());
        for (trace, run) in settled.runs.iter().enumerate() {
            let moves = self.outer.iter().any(|k| {
                let own = match self.parameters.get(*k).map(|parameter| parameter.role) {
                    Some(Role::Input { trace: own, .. }) => own,
                    _ => None,
                };
                own.is_none_or(|own| own == trace) && settled.z.get(*k) != moved.get(*k)
            });
            if moves {
                let run = self.run(moved, trace).ok()?;
                after.extend(self.robust_residuals(&run, moved, trace));
            } else {
                after.extend(self.robust_residuals(run, moved, trace));
            }
        }
        let pairs = after.iter().zip(&settled.residuals);
        Some(pairs.map(|(after, before)| after - before).collect())
    }
}

fn less(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| a - b).collect()
}
