//! The dense output of one step, as a polynomial, and the view of a step an observer gets.

/// y(t) = y0 + x (c1 + x (c2 + x (c3 + x c4))) with x = (t - t0) / h, per component.
#[derive(Debug, Clone)]
pub(super) struct Dense {
    pub time: f64,
    pub step: f64,
    /// c1 to c4 of every component.
    pub coefficients: Vec<[f64; 4]>,
}

impl Dense {
    pub fn new(dimension: usize) -> Self {
        Self {
            time: 0.0,
            step: 1.0,
            coefficients: vec![[0.0; 4]; dimension],
        }
    }

    pub fn interpolate(&self, base: &[f64], time: f64, out: &mut [f64]) {
        let x = (time - self.time) / self.step;
        for ((out, base), c) in out.iter_mut().zip(base).zip(&self.coefficients) {
            *out = base + x * (c[0] + x * (c[1] + x * (c[2] + x * c[3])));
        }
    }
}

/// One accepted step, as an observer sees it. A step that ends in an event ends at the event.
#[derive(Debug, Clone, Copy)]
pub struct StepView<'a> {
    /// Time at the start of the step.
    pub time_old: f64,
    /// Time at its end.
    pub time_new: f64,
    /// State at its start.
    pub state_old: &'a [f64],
    /// State at its end.
    pub state_new: &'a [f64],
    pub(super) dense: &'a Dense,
}

impl StepView<'_> {
    /// Writes the state at a time within the step (`time_old` to `time_new`) into `out`, by the
    /// dense output: locally of fourth order for the explicit, of third for the stiff method.
    pub fn interpolate(&self, time: f64, out: &mut [f64]) {
        if time == self.time_new {
            out.iter_mut()
                .zip(self.state_new)
                .for_each(|(out, &state)| *out = state);
        } else {
            self.dense.interpolate(self.state_old, time, out);
        }
    }
}
