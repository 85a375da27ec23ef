//! Where a sweep ends: the last value that passes, and the one where the chance falls under a level.
//!
//! **Nominal design.** A bracketed root (Brent) of the smallest margin. Where the margin jumps, as
//! when the nose no longer leaves, the bracket closes on the jump. Whole numbers are halved to two
//! neighbours.
//!
//! **Chance.** The chance is a count over the same trials at every value, so its curve is a
//! staircase with one step for each trial that changes. Between two values at which a trial ends
//! alike it is taken to end alike, and only the others are run: each halving of the bracket leaves
//! fewer of them, and trials are run only until the side is decided. At the value found every trial
//! is run; if that does not bear it out, the search goes on further in, from there.

use std::convert::Infallible;

use crate::numerics::roots::{Tolerance, brent_between};
use crate::statistics::{SamplingMethod, StatisticsError};
use crate::study::chance::{CONFIDENCE, Chance};
use crate::study::trial::{BATCH, Finding, Observer};

use super::columns::{Column, Ending};
use super::search::{Searcher, central_point, nominal};
use super::{ChanceEdge, Edge, Family, NominalEdge, SweepPoint, passes};

/// Something that holds from some chance upwards.
type Holds = fn(&Chance, f64) -> bool;

fn estimate(chance: &Chance, level: f64) -> bool {
    chance.estimate >= level
}

fn surely(chance: &Chance, level: f64) -> bool {
    chance.low >= level
}

fn perhaps(chance: &Chance, level: f64) -> bool {
    chance.high >= level
}

/// Smallest margin over a limit [1], with the sign of the verdict and finite; -1 without a result.
fn signed_margin(nominal: &Result<Finding, String>) -> f64 {
    let Ok(finding) = nominal else { return -1.0 };
    let margin = finding.smallest_margin().clamp(-1e3, 1e3);
    if passes(nominal) {
        margin.max(f64::MIN_POSITIVE)
    } else {
        margin.min(-f64::MIN_POSITIVE)
    }
}

impl<F: Family + ?Sized, O: Observer + ?Sized> Searcher<'_, F, O> {
    /// An end of what passes with central values, and what was tried on the way to it.
    pub(super) fn nominal_edge(
        &self,
        left: &SweepPoint,
        right: &SweepPoint,
    ) -> (NominalEdge, Vec<SweepPoint>) {
        let (inside, outside) = if left.passes() {
            (left, right)
        } else {
            (right, left)
        };
        let mut edge = Edge {
            inside: inside.value,
            outside: outside.value,
        };
        let mut beyond = outside.nominal.clone();
        let mut tried = Vec::new();
        let mut margin = |value: f64| {
            let found = nominal(&self.family.at(value));
            let margin = signed_margin(&found);
            if passes(&found) {
                edge.inside = value;
            } else {
                edge.outside = value;
                beyond = found.clone();
            }
            tried.push(central_point(value, found));
            margin
        };
        let tolerance = Tolerance {
            x_absolute: 0.5 * self.width,
            ..Tolerance::default()
        };
        if self.settings.whole {
            let (mut low, mut high) = (left.value, right.value);
            while let Some(middle) = self.between(low, high) {
                if (margin(middle) > 0.0) == left.passes() {
                    low = middle;
                } else {
                    high = middle;
                }
            }
        } else {
            // Whatever ends the search, `edge` is the narrowest bracket seen.
            let _ = brent_between(
                |value| Ok::<_, Infallible>(margin(value)),
                (left.value, signed_margin(&left.nominal)),
                (right.value, signed_margin(&right.nominal)),
                &tolerance,
            );
        }
        let fails = beyond.ok().and_then(|finding| {
            let first = finding.first_failed()?;
            finding.criteria.get(first).map(|c| c.kind.clone())
        });
        (NominalEdge { edge, fails }, tried)
    }

    pub(super) fn chance_edge(
        &mut self,
        points: &[SweepPoint],
        left: &SweepPoint,
        right: &SweepPoint,
        level: f64,
    ) -> Result<ChanceEdge, StatisticsError> {
        let left_holds = left.chance.is_some_and(|c| estimate(&c, level));
        let (inside, outside) = if left_holds {
            (left.value, right.value)
        } else {
            (right.value, left.value)
        };
        let mut edge = self.narrow(inside, outside, estimate, level)?;
        let mut confirmed = self.confirm(edge.inside)?;
        while edge.inside != inside && !confirmed.is_some_and(|c| estimate(&c, level)) {
            // Some trial changed that was taken not to. What was just run stands; look further in.
            self.columns.iter_mut().for_each(Column::forget_carried);
            edge = self.narrow(inside, edge.inside, estimate, level)?;
            confirmed = self.confirm(edge.inside)?;
        }
        // The limits of the interval cross further in and further out: go from point to point
        // until they do.
        let (below, above): (Vec<f64>, Vec<f64>) = (
            points
                .iter()
                .rev()
                .map(|p| p.value)
                .filter(|v| *v <= left.value)
                .collect(),
            points
                .iter()
                .map(|p| p.value)
                .filter(|v| *v >= right.value)
                .collect(),
        );
        let (inward, outward) = if left_holds {
            (below, above)
        } else {
            (above, below)
        };
        let (mut sure, mut from) = (None, edge.outside);
        for value in inward {
            if self.holds(value, surely, level)? {
                sure = Some(self.narrow(value, from, surely, level)?);
                break;
            }
            from = value;
        }
        let (mut lost, mut from) = (None, edge.inside);
        for value in outward {
            if !self.holds(value, perhaps, level)? {
                lost = Some(self.narrow(from, value, perhaps, level)?);
                break;
            }
            from = value;
        }
        Ok(ChanceEdge {
            edge,
            confirmed,
            sure,
            lost,
        })
    }

    /// The value half way between two, as near as the sweep takes one; `None` where they are as close as ends are
    /// narrowed to.
    fn between(&self, one: f64, other: f64) -> Option<f64> {
        if (other - one).abs() <= self.width {
            return None;
        }
        let middle = 0.5 * (one + other);
        let middle = if self.settings.whole {
            middle.round()
        } else {
            middle
        };
        (middle != one && middle != other).then_some(middle)
    }

    /// Halves a bracket whose inner end holds and whose outer end does not.
    fn narrow(
        &mut self,
        inside: f64,
        outside: f64,
        holds: Holds,
        level: f64,
    ) -> Result<Edge, StatisticsError> {
        let mut edge = Edge { inside, outside };
        while let Some(middle) = self.between(edge.inside, edge.outside) {
            if self.holds(middle, holds, level)? {
                edge.inside = middle;
            } else {
                edge.outside = middle;
            }
        }
        Ok(edge)
    }

    /// Whether something holds at a value, from as few trials as decide it.
    fn holds(&mut self, value: f64, holds: Holds, level: f64) -> Result<bool, StatisticsError> {
        let Some(place) = self.column(value)? else {
            return Ok(false);
        };
        let mut pending = self.take_over(place);
        loop {
            let Some(column) = self.columns.get(place) else {
                return Ok(false);
            };
            let worst = column.chance_with(Ending::Failure, CONFIDENCE)?;
            if pending.is_empty() {
                return Ok(holds(&worst, level));
            }
            // Replicates have no worst and best case: all of their trials are needed.
            if self.settings.method == SamplingMethod::Plain {
                if holds(&worst, level) {
                    return Ok(true);
                }
                if !holds(&column.chance_with(Ending::Success, CONFIDENCE)?, level) {
                    return Ok(false);
                }
            }
            let rest = pending.split_off(pending.len().min(BATCH as usize));
            self.run(place, &pending)?;
            pending = rest;
        }
    }

    /// Takes over what trials do on both sides of a column, and returns those left to run: first
    /// the ones known to change.
    fn take_over(&mut self, place: usize) -> Vec<usize> {
        let Some(column) = self.columns.get(place) else {
            return Vec::new();
        };
        let mut unknown = column.unknown();
        let below = place
            .checked_sub(1)
            .and_then(|place| self.columns.get(place));
        let (Some(below), Some(above)) = (below, self.columns.get(place + 1)) else {
            return unknown;
        };
        let sides = |index: usize| Some((below.ending(index)?, above.ending(index)?));
        let (alike, rest): (Vec<usize>, Vec<usize>) = unknown
            .into_iter()
            .partition(|index| sides(*index).is_some_and(|(a, b)| a == b));
        unknown = rest;
        unknown.sort_by_key(|index| sides(*index).is_none());
        let carried: Vec<(usize, Ending)> = alike
            .into_iter()
            .filter_map(|index| Some((index, below.ending(index)?)))
            .collect();
        if let Some(column) = self.columns.get_mut(place) {
            for (index, ending) in carried {
                column.carry(index, ending);
            }
        }
        unknown
    }

    /// The chance at a value with every trial run.
    pub(super) fn confirm(&mut self, value: f64) -> Result<Option<Chance>, StatisticsError> {
        let Some(place) = self.column(value)? else {
            return Ok(None);
        };
        let missing = self.columns.get(place).map(Column::not_run);
        self.run(place, &missing.unwrap_or_default())?;
        let column = self.columns.get(place);
        column
            .map(|column| column.chance_of_run(CONFIDENCE))
            .transpose()
    }
}
