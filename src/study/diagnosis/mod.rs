//! What a measured trace says went wrong.
//!
//! Every cause is a model of its own: the design with its uncertain values at their stated
//! distributions, the errors a sensor may have, and the one or two values the cause frees. Each is
//! fitted to the traces by robust least squares with priors; Laplace's approximation turns the
//! fits into probabilities, and a test of the residuals of the best says how likely it is that none
//! of them is right.

mod cause;
mod changed_opening;
mod curves;
mod diagnose;
mod differences;
mod evidence;
mod fault;
mod fault_in_place;
mod fit;
mod hypothesis;
mod interval;
mod least_squares;
mod lender;
pub mod measured;
mod model;
pub mod observe;
mod parameter;
mod places;
mod posterior;
mod problem;
mod ranking;
mod refine;
mod residuals;
mod search;
mod sensor_slopes;
mod sensors;
mod separation;
mod settle;
mod slopes;
mod starts;
pub mod synthetic;

use crate::discharge::Settings;
use crate::network::spec::System;
use crate::statistics::Distribution;
use crate::units::Dimension;

pub use cause::Cause;
pub use diagnose::diagnose;
pub use evidence::Goodness;
pub use measured::{Channel, Measured, Observable, Trigger};
pub use model::{BuildError, Builder};
pub use observe::{Run, Sensor};
pub use parameter::label_of;
pub use places::Places;
pub use separation::{Candidate, LookAlike};

/// One uncertain value of the design.
#[derive(Debug, Clone, PartialEq)]
pub struct DesignInput {
    /// Where the design writes it.
    pub path: String,
    /// Its distribution [SI].
    pub distribution: Distribution,
    /// What it measures.
    pub dimension: Dimension,
    /// Whether each test draws its own (a charge, a temperature) rather than all sharing one.
    pub own: bool,
}

impl DesignInput {
    /// Whether it is a choice among a few values, each of which is tried.
    #[must_use]
    pub fn is_choice(&self) -> bool {
        matches!(
            self.distribution,
            Distribution::Discrete { .. } | Distribution::Constant { .. }
        )
    }
}

/// What is believed of a sensor that is in order: standard deviations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SensorBelief {
    /// Zero, as a share of the range measured.
    pub zero: f64,
    /// Scale [1].
    pub gain: f64,
    /// Drift over the record, as a share of the range measured.
    pub drift: f64,
    /// Median of its time constant [s]; within a factor of two.
    pub lag: f64,
    /// Error of the model as a share of the rise [1].
    pub wander: f64,
    /// Points of the record at which that error is free.
    pub knots: usize,
}

impl Default for SensorBelief {
    fn default() -> Self {
        SensorBelief {
            zero: 0.01,
            gain: 0.01,
            drift: 0.01,
            lag: 5e-4,
            wander: 0.01,
            knots: 4,
        }
    }
}

/// Longest time between the samples of a run: [s], share of the time passed. As finely as fronts are
/// taken to be known ([`residuals`]): straight lines over the steps of a loose run missed a dip of the
/// pressure by six times the noise.
const SAMPLES_APART: (f64, f64) = (3e-4, 5e-3);

/// How a diagnosis is made.
#[derive(Debug, Clone, PartialEq)]
pub struct DiagnosisSettings {
    /// How discharges are computed.
    pub run: Settings,
    /// What is believed of the sensors.
    pub sensor: SensorBelief,
    /// The causes considered.
    pub causes: Vec<Cause>,
    /// Chance beforehand that nothing is wrong; the causes share the rest.
    pub nothing_wrong: f64,
    /// Chance beforehand that none of the causes explains the trace.
    pub none_of_these: f64,
}

impl Default for DiagnosisSettings {
    fn default() -> Self {
        DiagnosisSettings {
            run: Settings {
                // Rough runs move the evidence of a fit: against 1e-6 those of Tern and Gannet are no rougher with this,
                // those of Dunlin twice as rough.
                relative_tolerance: 3e-6,
                stiff_error_share: 0.2,
                most_steps: 2_000,
                apart: Some(SAMPLES_APART),
                loose_end: false,
                ..Settings::for_many_runs()
            },
            sensor: SensorBelief::default(),
            causes: Cause::ALL.to_vec(),
            nothing_wrong: 0.15,
            none_of_these: 0.02,
        }
    }
}

/// Standard deviations beyond which a value of the design is rather at fault than as it is believed.
const STRAINED: f64 = 3.0;

/// A fitted value.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedValue {
    /// What it is, in words.
    pub label: String,
    /// Where the design writes it, for an uncertain value of the design.
    pub path: Option<String>,
    /// Index among the inputs of the design.
    pub input: Option<usize>,
    /// The trace it belongs to alone.
    pub trace: Option<usize>,
    /// Kind of quantity.
    pub dimension: Dimension,
    /// Best value [SI].
    pub value: f64,
    /// Lower end of the 90 % interval [SI].
    pub low: f64,
    /// Upper end of the 90 % interval [SI].
    pub high: f64,
    /// What the design expects [SI].
    pub expected: f64,
    /// Distance from that expectation, in standard deviations of the prior.
    pub shift: f64,
    /// Share of the prior's variance that the traces have removed, 0-1.
    pub resolved: f64,
}

impl FittedValue {
    /// Whether it is a value of the design, so far from what is believed of it that it is rather at fault.
    #[must_use]
    pub fn is_strained(&self) -> bool {
        self.path.is_some() && self.shift.abs() > STRAINED
    }
}

/// A cause with its probability.
#[derive(Debug, Clone, PartialEq)]
pub struct Explanation {
    /// The cause.
    pub cause: Cause,
    /// How likely it is, after the traces.
    pub probability: f64,
    /// Natural logarithm of its evidence, up to a constant common to all.
    pub log_evidence: f64,
    /// Misfit: sum of the squared residuals, robust.
    pub misfit: f64,
    /// How far the design and the sensors have to be bent for it: sum of the squares of all values, in
    /// standard deviations of what was believed of them.
    pub surprise: f64,
    /// The values it frees.
    pub faults: Vec<FittedValue>,
}

/// Fitted curve of one channel, with its band.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedChannel {
    /// Index of the trace.
    pub trace: usize,
    /// Index of the channel in it.
    pub channel: usize,
    /// Readings of the best explanation [SI]; where the nose is off they go on without having been fitted.
    pub fitted: Vec<f64>,
    /// Half width of the 90 % band of the fitted curve [SI]; not a number where nothing was fitted.
    pub band: Vec<f64>,
    /// Readings of the design as it is [SI].
    pub nominal: Vec<f64>,
    /// The design as it is at the times of its own run: clock of the trace [s] and value [SI]. Values of the fit
    /// are close together where the measurement moves, which may be elsewhere.
    pub nominal_curve: Vec<(f64, f64)>,
    /// Standard deviation of each point used by the fit [SI]; infinite where it does not count.
    pub deviation: Vec<f64>,
}

/// The answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Diagnosis {
    /// Causes, the likeliest first; with `none`, the probabilities add up to one.
    pub explanations: Vec<Explanation>,
    /// Probability that none of them is right.
    pub none: f64,
    /// How well the likeliest fits.
    pub goodness: Goodness,
    /// Factor by which the noise was enlarged because residuals were larger than it, or not
    /// independent [1].
    pub inflation: f64,
    /// Fitted values of the design under the likeliest cause.
    pub values: Vec<FittedValue>,
    /// Fitted errors of sensors and clocks.
    pub sensors: Vec<FittedValue>,
    /// What the traces cannot tell apart.
    pub look_alikes: Vec<LookAlike>,
    /// What the next test should measure to tell the two likeliest causes apart, best first; empty
    /// where nothing is open.
    pub candidates: Vec<Candidate>,
    /// Curves for pictures.
    pub channels: Vec<FittedChannel>,
    /// What happened in the fitted run of each trace, on the clock of the trace [s].
    pub events: Vec<Vec<(f64, String)>>,
    /// One value for each input of the design, fitted (of the first trace where traces differ)
    /// [SI].
    pub input_values: Vec<f64>,
    /// Values freed by the likeliest cause.
    pub fault_values: Vec<f64>,
    /// The system of the fitted values, with the fault.
    pub fitted_system: System,
    /// Discharges computed.
    pub evaluations: u64,
}

impl Diagnosis {
    /// The likeliest cause; `None` where none of them is likelier.
    #[must_use]
    pub fn verdict(&self) -> Option<&Explanation> {
        self.explanations
            .first()
            .filter(|first| first.probability >= self.none)
    }
}
