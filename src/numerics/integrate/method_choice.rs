//! Which of the two methods a run goes on with, by what its steps show of h |lambda|.

use super::explicit;

/// Steps at the limit of stability before going over to the stiff method.
const STIFF_STEPS: u32 = 10;
/// Share of the stability limit from which on a step counts as limited by it: where the rates have
/// kinks, instability is caught by the error test well before the limit of the smooth theory.
const SUSPICIOUS: f64 = 0.5;
/// Explicit steps within the limit of stability that end the suspicion.
const CALM_STEPS: u32 = 6;
/// Steps in a row refused beyond the limit of stability before going over at once.
const REFUSED_STEPS: u32 = 2;
/// Multiple of the stability limit at which one refusal is enough.
const FAR_BEYOND: f64 = 2.0;
/// Share of the stability limit above which a long stretch of steps counts as held back: where rates
/// set in quadratically the error test shortens the step before stability has to.
const RESTRAINED: f64 = 0.15;
/// Such steps after which the stiff method gets a try.
const PATIENCE: u32 = 16;
/// Below this h |lambda| the explicit method would be fine.
const EASY: f64 = 1.0;
/// Below this h |lambda| the explicit method is fine for the first step of a stretch, which is shorter than what
/// follows.
const WELL_WITHIN: f64 = 1.0;
/// Easy stiff steps before the first return to the explicit method; doubled for each
/// return in the same run, so that a problem on the border does not switch for ever.
const EASY_STEPS: u32 = 3;

/// What the steps so far say of the method.
#[derive(Debug, Clone)]
pub(super) struct MethodChoice {
    suspicion: u32,
    calm: u32,
    explicit_stretch: u32,
    refused: u32,
    easy: u32,
    easy_needed: u32,
}

impl Default for MethodChoice {
    fn default() -> Self {
        Self {
            suspicion: 0,
            calm: 0,
            explicit_stretch: 0,
            refused: 0,
            easy: 0,
            easy_needed: EASY_STEPS,
        }
    }
}

impl MethodChoice {
    /// Forgets the steps, not how often the run has returned to the explicit method.
    pub fn forget(&mut self) {
        *self = Self {
            easy_needed: self.easy_needed,
            ..Self::default()
        };
    }

    /// Whether to begin a stretch with the stiff method, by its first step.
    pub fn begins_stiff(stiffness: f64) -> bool {
        stiffness > WELL_WITHIN
    }

    /// Whether to go over to the stiff method after a refused step of the explicit one, which would have to halve its
    /// way down to its limit of stability.
    pub fn after_refusal(&mut self, stiffness: f64) -> bool {
        let beyond = stiffness >= explicit::STABILITY;
        self.refused = if beyond { self.refused + 1 } else { 0 };
        self.refused >= REFUSED_STEPS || stiffness >= FAR_BEYOND * explicit::STABILITY
    }

    /// Whether to go over to the stiff method after a step of the explicit one.
    pub fn after_explicit_step(&mut self, stiffness: f64) -> bool {
        self.refused = 0;
        self.explicit_stretch += u32::from(stiffness > RESTRAINED * explicit::STABILITY);
        if stiffness > SUSPICIOUS * explicit::STABILITY {
            self.calm = 0;
            self.suspicion += 1;
        } else {
            self.calm += 1;
            if self.calm >= CALM_STEPS {
                self.suspicion = 0;
            }
        }
        self.suspicion >= STIFF_STEPS || self.explicit_stretch >= PATIENCE
    }

    /// Whether to go over to the explicit method after a step of the stiff one.
    pub fn after_stiff_step(&mut self, stiffness: f64) -> bool {
        self.easy = if stiffness < EASY { self.easy + 1 } else { 0 };
        let over = self.easy >= self.easy_needed;
        if over {
            self.easy_needed = self.easy_needed.saturating_mul(2);
        }
        over
    }
}
