//! How a discharge is computed, how far and how tightly.

use crate::numerics::integrate::Method;

/// How a discharge is computed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Relative tolerance of the integration.
    pub relative_tolerance: f64,
    /// Keep the nose latched whatever the pressure (what force would have been available).
    pub hold_nose: bool,
    /// Properties from the equations at every call instead of from tables.
    pub exact_properties: bool,
    /// Which method steps; forcing one is a check of the other.
    pub method: Method,
    /// Share of the stiff method's error estimate that counts
    /// ([`stiff_error_share`](crate::numerics::integrate::Settings::stiff_error_share)).
    pub stiff_error_share: f64,
    /// How far the run goes.
    pub extent: Extent,
    /// Multiple of the retention force at which a run with the nose held, unless it goes to the horizon, may
    /// end: more is not wanted to be known.
    pub enough: Option<f64>,
    /// Longest time between two samples kept: this many seconds or this share of the time passed,
    /// whichever is longer, for courses that are compared point by point; `None` keeps a few of each step.
    pub apart: Option<(f64, f64)>,
    /// Vessels looked at between the ends of steps, for courses of which no more is measured: of the others what was
    /// computed last is kept there, and the flows of the paths are not kept at all. `None` looks at everything.
    pub watched: Option<Watched>,
    /// Of a run to the separation only the nose counts once it is clear: the bay is followed no more tightly
    /// than the speed at which the tether runs taut needs, and no longer than until the gap is as wide
    /// as the bore, from where it has no hold on the nose.
    pub loose_end: bool,
    /// Most steps attempted between two events before the run is given up as an error.
    pub most_steps: usize,
}

/// Some of the vessels of a system, by their indices.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Watched(u64);

impl Watched {
    /// These vessels; `None` where an index is beyond what can be told apart.
    #[must_use]
    pub fn new(vessels: impl IntoIterator<Item = usize>) -> Option<Self> {
        let bit = |vessel: usize| 1_u64.checked_shl(u32::try_from(vessel).ok()?);
        let mut bits = vessels.into_iter().map(bit);
        bits.try_fold(0, |all, bit| Some(all | bit?)).map(Self)
    }

    /// Whether a vessel is among them.
    #[must_use]
    pub fn contains(self, vessel: usize) -> bool {
        Self::new([vessel]).is_some_and(|one| self.0 & one.0 != 0)
    }
}

/// How far a run goes, and how much of it is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Extent {
    /// To the horizon, with everything against time.
    Horizon,
    /// To the separation: once the nose is clear and the bay has vented, only its own motion and
    /// the tether are followed, and without a nose on the move the run ends when nothing upstream
    /// has more pressure than the bay. The flows of the paths are not kept. For many runs.
    Separation,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            relative_tolerance: 3e-7,
            hold_nose: false,
            exact_properties: false,
            extent: Extent::Horizon,
            enough: None,
            apart: None,
            watched: None,
            loose_end: false,
            most_steps: 20_000,
            method: Method::Automatic,
            stiff_error_share: 0.4,
        }
    }
}

/// Tolerance of a run with the nose held over that of the run itself, up to [`HELD_TOLERANCE`]: its peak is flat.
const HELD_SHARE: f64 = 10.0;
/// Loosest relative tolerance of a run with the nose held, unless the run itself is looser. Where dry ice
/// feeds a flat peak late in a run it leaves the force uncertain to 8e-4, too much for a run that others are held against.
const HELD_TOLERANCE: f64 = 1e-5;

impl Settings {
    /// The same with the nose held, to show what force there would have been.
    #[must_use]
    pub fn with_nose_held(self) -> Self {
        Self {
            hold_nose: true,
            relative_tolerance: (HELD_SHARE * self.relative_tolerance)
                .min(HELD_TOLERANCE)
                .max(self.relative_tolerance),
            ..self
        }
    }

    /// For many runs whose outcome counts, not their course: to the separation, with a tolerance
    /// that keeps peak pressure, break time, clear time and exit speed within 0.1 % of the full
    /// equations (`tests/verification_fast_runs.rs`). So little of the stiff method's error estimate counts
    /// that its runs are still nearer to the exact ones than those of the explicit method.
    #[must_use]
    pub fn for_many_runs() -> Self {
        Self {
            relative_tolerance: 5e-6,
            stiff_error_share: 0.1,
            extent: Extent::Separation,
            loose_end: true,
            most_steps: 5_000,
            ..Self::default()
        }
    }
}
