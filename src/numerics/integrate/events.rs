//! Watching event functions over a step and locating the earliest change of sign.
//!
//! A function has a sign once it has left zero; at the start of an advance a value within
//! round-off of zero (64 units of the largest value the function has had in this run) has none, and
//! leaving zero is no event. So an event just delivered does not fire again by itself.

use super::dense::Dense;
use super::{Caller, Direction, Failure, System};
use crate::numerics::roots::{self, RootError, Tolerance};

/// Most samples inside a step a caller may ask for.
pub(super) const MAX_SAMPLES: usize = 16;
/// Samples added where three values suggest a touch of zero.
const EXTRA: usize = 4;
const ROWS: usize = MAX_SAMPLES + EXTRA + 3;

/// The earliest event in a step.
pub(super) struct Hit {
    pub index: usize,
    pub time: f64,
}

/// One step as the watch sees it.
pub(super) struct Span<'a> {
    pub time_old: f64,
    pub time_new: f64,
    pub state_old: &'a [f64],
    pub state_new: &'a [f64],
    pub dense: &'a Dense,
}

#[derive(Debug, Clone)]
pub(super) struct Watch {
    count: usize,
    samples: usize,
    active: bool,
    directions: Vec<Direction>,
    /// Signs at the time reached: -1, 1, or 0 for a function that has not left zero.
    signs: Vec<i8>,
    /// Signs while walking through a step.
    walking: Vec<i8>,
    /// Signs at the sample before the one looked at.
    entering: Vec<i8>,
    /// Sign of an event that happened together with the one delivered; 0 if none is due.
    pending: Vec<i8>,
    /// Largest value of each function in this run.
    scale: Vec<f64>,
    /// Sample times and values, in order; only the first `rows` count.
    times: [f64; ROWS],
    values: Vec<f64>,
    rows: usize,
    scratch: Vec<f64>,
    state: Vec<f64>,
}

fn sign(value: f64) -> i8 {
    i8::from(value > 0.0) - i8::from(value < 0.0)
}

fn wanted(direction: Direction, from: i8) -> bool {
    match direction {
        Direction::Rising => from < 0,
        Direction::Falling => from > 0,
        Direction::Either => true,
        Direction::Off => false,
    }
}

impl Watch {
    pub fn new(dimension: usize, count: usize, samples: usize) -> Self {
        Self {
            count,
            samples,
            active: false,
            directions: vec![Direction::Off; count],
            signs: vec![0; count],
            walking: vec![0; count],
            entering: vec![0; count],
            pending: vec![0; count],
            scale: vec![0.0; count],
            times: [0.0; ROWS],
            values: vec![0.0; ROWS * count],
            rows: 0,
            scratch: vec![0.0; count],
            state: vec![0.0; dimension],
        }
    }

    pub fn start(&mut self) {
        self.pending.fill(0);
        self.scale.fill(0.0);
    }

    /// Reads directions and signs at the start of an advance. Returns an event that happened
    /// together with the last one delivered and still stands.
    pub fn begin<S: System>(
        &mut self,
        caller: &mut Caller<'_, S>,
        time: f64,
        state: &[f64],
    ) -> Result<Option<usize>, Failure<S::Error>> {
        self.active = false;
        for (index, direction) in self.directions.iter_mut().enumerate() {
            *direction = caller.system.event_direction(index);
            self.active |= *direction != Direction::Off;
        }
        if !self.active {
            self.pending.fill(0);
            return Ok(None);
        }
        caller.events(time, state, &mut self.values[..self.count])?;
        self.widen(0);
        let mut due = None;
        for i in 0..self.count {
            let value = self.values[i];
            let was_pending = std::mem::take(&mut self.pending[i]);
            if due.is_none()
                && was_pending != 0
                && wanted(self.directions[i], -was_pending)
                && sign(value) != -was_pending
            {
                due = Some(i);
            } else if due.is_some() {
                // Only one is delivered at a time.
                self.pending[i] = was_pending;
            }
            self.signs[i] = if value.abs() <= self.roundoff(i) {
                0
            } else {
                sign(value)
            };
        }
        Ok(due)
    }

    fn roundoff(&self, i: usize) -> f64 {
        64.0 * f64::EPSILON * self.scale[i]
    }

    fn widen(&mut self, row: usize) {
        let values = &self.values[row * self.count..(row + 1) * self.count];
        for ((scale, value), direction) in self.scale.iter_mut().zip(values).zip(&self.directions) {
            // Values this large stand for "never".
            if *direction != Direction::Off && value.abs() < 1e100 {
                *scale = scale.max(value.abs());
            }
        }
    }

    /// Looks at the events over a step of acceptable error. Without a hit the signs are those at
    /// the end of the step; with one, the state at the hit is left in `hit_state`.
    pub fn scan<S: System>(
        &mut self,
        caller: &mut Caller<'_, S>,
        span: &Span<'_>,
        hit_state: &mut [f64],
    ) -> Result<Option<Hit>, Failure<S::Error>> {
        if !self.active {
            return Ok(None);
        }
        self.sample(caller, span)?;
        self.walking.copy_from_slice(&self.signs);
        for row in 1..self.rows {
            let mut best: Option<Hit> = None;
            self.entering.copy_from_slice(&self.walking);
            for i in 0..self.count {
                let value = self.values[row * self.count + i];
                let (now, before) = (sign(value), self.entering[i]);
                if before == 0 {
                    if value.abs() > self.roundoff(i) {
                        self.walking[i] = now;
                    }
                } else if now != before {
                    if wanted(self.directions[i], before) {
                        best = self.earlier(caller, span, row, i, best)?;
                    } else {
                        self.walking[i] = now;
                    }
                }
            }
            if let Some(hit) = best {
                self.deliver(caller, span, &hit, hit_state)?;
                return Ok(Some(hit));
            }
        }
        self.signs.copy_from_slice(&self.walking);
        let last = self.rows - 1;
        self.widen(last);
        self.values
            .copy_within(last * self.count..(last + 1) * self.count, 0);
        Ok(None)
    }

    /// Event values at the interior samples and at the end of the step; row 0 is known.
    fn sample<S: System>(
        &mut self,
        caller: &mut Caller<'_, S>,
        span: &Span<'_>,
    ) -> Result<(), Failure<S::Error>> {
        let h = span.time_new - span.time_old;
        self.times[0] = span.time_old;
        self.rows = 1;
        if self.samples > 0 && self.signs.contains(&0) {
            // A function just leaving zero: look early.
            self.push(caller, span, span.time_old + h / 64.0)?;
        }
        for k in 1..=self.samples {
            self.push(
                caller,
                span,
                span.time_old + h * k as f64 / (self.samples + 1) as f64,
            )?;
        }
        self.push(caller, span, span.time_new)?;
        if self.samples == 0 {
            return Ok(());
        }
        for _ in 0..EXTRA {
            let Some((row, time)) = self.suspicious(h) else {
                break;
            };
            let n = self.count;
            self.values
                .copy_within(row * n..self.rows * n, (row + 1) * n);
            self.times.copy_within(row..self.rows, row + 1);
            self.evaluate(caller, span, row, time)?;
            self.rows += 1;
        }
        Ok(())
    }

    fn push<S: System>(
        &mut self,
        caller: &mut Caller<'_, S>,
        span: &Span<'_>,
        time: f64,
    ) -> Result<(), Failure<S::Error>> {
        self.evaluate(caller, span, self.rows, time)?;
        self.rows += 1;
        Ok(())
    }

    fn evaluate<S: System>(
        &mut self,
        caller: &mut Caller<'_, S>,
        span: &Span<'_>,
        row: usize,
        time: f64,
    ) -> Result<(), Failure<S::Error>> {
        let values = &mut self.values[row * self.count..(row + 1) * self.count];
        self.times[row] = time;
        if time == span.time_new {
            caller.events(time, span.state_new, values)
        } else {
            span.dense
                .interpolate(span.state_old, time, &mut self.state);
            caller.events(time, &self.state, values)
        }
    }

    /// A place where the parabola through three samples of one sign comes near zero, and the row
    /// a new sample there would take.
    fn suspicious(&self, h: f64) -> Option<(usize, f64)> {
        for i in (0..self.count).filter(|&i| self.directions[i] != Direction::Off) {
            let value = |row: usize| self.values[row * self.count + i];
            for middle in 1..self.rows - 1 {
                let (a, b, c) = (value(middle - 1), value(middle), value(middle + 1));
                if sign(a) == 0 || sign(a) != sign(b) || sign(b) != sign(c) {
                    continue;
                }
                let (ta, tb, tc) = (
                    self.times[middle - 1],
                    self.times[middle],
                    self.times[middle + 1],
                );
                let slope = (b - a) / (tb - ta);
                let curvature = ((c - b) / (tc - tb) - slope) / (tc - ta);
                // Only a parabola bent away from zero comes near it inside.
                if !(curvature * f64::from(sign(a)) > 0.0 && curvature.is_finite()) {
                    continue;
                }
                let vertex = 0.5 * (ta + tb) - 0.5 * slope / curvature;
                let depth = a + (vertex - ta) * (slope + curvature * (vertex - tb));
                let near = depth * f64::from(sign(a)) <= 0.05 * a.abs().max(c.abs());
                let apart = [ta, tb, tc].iter().all(|t| (vertex - t).abs() > 0.01 * h);
                if near && apart && vertex > ta && vertex < tc {
                    return Some((if vertex < tb { middle } else { middle + 1 }, vertex));
                }
            }
        }
        None
    }

    /// The earlier of `best` and the crossing of event `i` between the rows `row - 1` and `row`.
    fn earlier<S: System>(
        &mut self,
        caller: &mut Caller<'_, S>,
        span: &Span<'_>,
        row: usize,
        i: usize,
        best: Option<Hit>,
    ) -> Result<Option<Hit>, Failure<S::Error>> {
        let before = self.entering[i];
        let start = self.times[row - 1];
        let (mut end, mut at_end) = (self.times[row], self.values[row * self.count + i]);
        if let Some(hit) = &best {
            at_end = self.value_at(caller, span, hit.time, i)?;
            end = hit.time;
            if sign(at_end) == before {
                return Ok(best);
            }
        }
        let at_start = self.values[(row - 1) * self.count + i];
        let h = span.time_new - span.time_old;
        let tolerance = Tolerance {
            x_absolute: (1e-12 * h).min(1e-15),
            x_relative: 0.0,
            value: 0.0,
            max_iterations: 200,
        };
        let found = roots::brent_between(
            |time| self.value_at(caller, span, time, i),
            (start, at_start),
            (end, at_end),
            &tolerance,
        );
        let time = match found {
            // Just past the crossing: at the zero itself or at the end of the bracket beyond it.
            Ok(root) if root.residual == 0.0 => root.x,
            Ok(root) => root.upper,
            Err(RootError::Function { source, .. }) => return Err(source),
            Err(RootError::Iterations { upper, .. }) => upper,
            Err(_) => end,
        };
        match best {
            // Together within the resolution: the lower index goes first.
            Some(hit) if hit.time - time <= tolerance_of(span.time_new) => Ok(Some(hit)),
            _ => Ok(Some(Hit { index: i, time })),
        }
    }

    fn value_at<S: System>(
        &mut self,
        caller: &mut Caller<'_, S>,
        span: &Span<'_>,
        time: f64,
        i: usize,
    ) -> Result<f64, Failure<S::Error>> {
        if time == span.time_new {
            caller.event(i, time, span.state_new, &mut self.scratch)
        } else {
            span.dense
                .interpolate(span.state_old, time, &mut self.state);
            caller.event(i, time, &self.state, &mut self.scratch)
        }
    }

    fn at<S: System>(
        &mut self,
        caller: &mut Caller<'_, S>,
        span: &Span<'_>,
        time: f64,
    ) -> Result<(), Failure<S::Error>> {
        if time == span.time_new {
            caller.events(time, span.state_new, &mut self.scratch)
        } else {
            span.dense
                .interpolate(span.state_old, time, &mut self.state);
            caller.events(time, &self.state, &mut self.scratch)
        }
    }

    /// Writes the state at the hit and remembers the events that happened with it.
    fn deliver<S: System>(
        &mut self,
        caller: &mut Caller<'_, S>,
        span: &Span<'_>,
        hit: &Hit,
        hit_state: &mut [f64],
    ) -> Result<(), Failure<S::Error>> {
        self.at(caller, span, hit.time)?;
        if hit.time == span.time_new {
            hit_state.copy_from_slice(span.state_new);
        } else {
            hit_state.copy_from_slice(&self.state);
        }
        for i in (0..self.count).filter(|&i| i != hit.index) {
            let before = self.entering[i];
            let crossed = before != 0 && sign(self.scratch[i]) != before;
            let due = crossed && wanted(self.directions[i], before);
            self.pending[i] = if due { -before } else { 0 };
        }
        self.pending[hit.index] = 0;
        for (scale, value) in self.scale.iter_mut().zip(&self.scratch) {
            if value.abs() < 1e100 {
                *scale = scale.max(value.abs());
            }
        }
        Ok(())
    }
}

/// Resolution of times near `time`.
fn tolerance_of(time: f64) -> f64 {
    (8.0 * f64::EPSILON * time.abs()).max(1e-15)
}
