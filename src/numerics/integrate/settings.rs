//! What the caller of the integrator may choose.

/// Which method steps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Method {
    /// Explicit until the problem turns out stiff, and back again.
    #[default]
    Automatic,
    /// Explicit Runge-Kutta 5(4) only.
    Explicit,
    /// Rosenbrock 4(3) only.
    Stiff,
}

/// Tolerances and limits of an integration.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Relative tolerance on every component.
    pub relative: f64,
    /// Absolute tolerances in the units of the state, one per component, or a single one for
    /// all.
    pub absolute: Vec<f64>,
    /// Longest step [time].
    pub max_step: f64,
    /// Shortest step a rejection may lead to [time]; eight units of round-off of the time itself
    /// are always allowed as the limit.
    pub min_step: f64,
    /// First step after a start or restart; by default it is estimated (Hairer, Norsett & Wanner,
    /// Solving Ordinary Differential Equations I, section II.4).
    pub first_step: Option<f64>,
    /// Most attempted steps in one call of `advance`.
    pub max_steps: usize,
    /// Which method steps.
    pub method: Method,
    /// Times strictly inside a step at which the event functions are looked at (0 to 16), besides
    /// the end and besides places where three values suggest a touch of zero.
    pub event_samples: usize,
    /// Share of the stiff method's error estimate that counts, above 0 to 1. It estimates the error of the
    /// third-order solution, and the fourth-order one is kept, whose error is smaller; ours, without a source.
    pub stiff_error_share: f64,
    /// Relative increment of the finite differences of the Jacobian.
    pub jacobian_increment: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            relative: 1e-6,
            absolute: vec![1e-9],
            max_step: f64::INFINITY,
            min_step: 1e-15,
            first_step: None,
            max_steps: 100_000,
            method: Method::Automatic,
            event_samples: 3,
            stiff_error_share: 0.4,
            jacobian_increment: 1.5e-8,
        }
    }
}

/// Settings that make no sense.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum SettingsError {
    /// Not one absolute tolerance per component, nor a single one.
    #[error("{given} absolute tolerances for a state of {dimension} components")]
    Tolerances {
        /// Components of the state.
        dimension: usize,
        /// Tolerances given.
        given: usize,
    },
    /// An absolute tolerance is not positive and finite.
    #[error("the absolute tolerance of component {index} is {value}; it must be positive")]
    Absolute {
        /// Component.
        index: usize,
        /// Its tolerance.
        value: f64,
    },
    /// A number is outside its range.
    #[error("the setting {name} is {value}; it must be {range}")]
    Range {
        /// Field of [`Settings`].
        name: &'static str,
        /// Its value.
        value: f64,
        /// What it must be.
        range: &'static str,
    },
}

impl Settings {
    pub(super) fn check(&self, dimension: usize) -> Result<(), SettingsError> {
        if self.absolute.len() != dimension && self.absolute.len() != 1 {
            return Err(SettingsError::Tolerances {
                dimension,
                given: self.absolute.len(),
            });
        }
        for (index, &value) in self.absolute.iter().enumerate() {
            if !(value > 0.0 && value.is_finite()) {
                return Err(SettingsError::Absolute { index, value });
            }
        }
        let first_step = self.first_step.unwrap_or(1.0);
        let rules = [
            (
                "relative",
                self.relative,
                self.relative >= 0.0,
                "zero or positive",
            ),
            ("max_step", self.max_step, self.max_step > 0.0, "positive"),
            (
                "min_step",
                self.min_step,
                self.min_step >= 0.0 && self.min_step <= self.max_step,
                "zero or positive and at most max_step",
            ),
            ("first_step", first_step, first_step > 0.0, "positive"),
            (
                "stiff_error_share",
                self.stiff_error_share,
                self.stiff_error_share > 0.0 && self.stiff_error_share <= 1.0,
                "above 0 and at most 1",
            ),
            (
                "jacobian_increment",
                self.jacobian_increment,
                self.jacobian_increment > 0.0 && self.jacobian_increment < 1.0,
                "between 0 and 1",
            ),
            (
                "event_samples",
                self.event_samples as f64,
                self.event_samples <= super::events::MAX_SAMPLES,
                "at most 16",
            ),
        ];
        for (name, value, good, range) in rules {
            if !good {
                return Err(SettingsError::Range { name, value, range });
            }
        }
        Ok(())
    }
}
