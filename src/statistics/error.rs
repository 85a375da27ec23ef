//! What can be wrong with a question about chance.

use thiserror::Error;

/// Every way a statistical question can be ill-posed. Each variant carries the
/// values that made it so, so that a message can name the cure.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum StatisticsError {
    /// A parameter of a distribution breaks its rule.
    #[error("{form}: {parameter} = {value} is not allowed; it must be {rule}")]
    Parameter {
        /// Form of the distribution.
        form: &'static str,
        /// Name of the parameter.
        parameter: &'static str,
        /// The value given.
        value: f64,
        /// The rule it breaks.
        rule: &'static str,
    },
    /// The limits (and mode) of a distribution are out of order.
    #[error("{form}: needs {rule}, got low {low}, high {high}")]
    Order {
        /// Form of the distribution.
        form: &'static str,
        /// The order needed.
        rule: &'static str,
        /// Lower limit given.
        low: f64,
        /// Upper limit given.
        high: f64,
    },
    /// A list that needs at least one entry has none.
    #[error("{form}: the list is empty")]
    EmptyList {
        /// Form of the distribution.
        form: &'static str,
    },
    /// Two lists that belong together differ in length.
    #[error("{what}: {left} and {right} entries do not go together")]
    LengthMismatch {
        /// What the lists hold.
        what: &'static str,
        /// Length of the first.
        left: usize,
        /// Length of the second.
        right: usize,
    },
    /// All weights of a discrete choice are zero.
    #[error("discrete: the weights add up to {total}; at least one must be positive")]
    NoWeight {
        /// Sum of the weights.
        total: f64,
    },
    /// The limits of a truncated normal leave out practically everything.
    #[error(
        "truncated normal: only a fraction {mass:e} of normal({mean}, {standard_deviation}) lies \
         between {low} and {high}; state the limits or the mean differently"
    )]
    NothingLeft {
        /// Mean of the parent normal.
        mean: f64,
        /// Standard deviation of the parent normal.
        standard_deviation: f64,
        /// Lower limit.
        low: f64,
        /// Upper limit.
        high: f64,
        /// Probability between the limits.
        mass: f64,
    },
    /// The form is not closed under the affine map asked for.
    #[error("{form}: has no form of the same kind under x -> {factor} x + {offset}")]
    NoAffineForm {
        /// Form of the distribution.
        form: &'static str,
        /// Factor of the map.
        factor: f64,
        /// Offset of the map.
        offset: f64,
    },
    /// A probability or confidence lies outside the open unit interval.
    #[error("{what} = {value} must lie strictly between 0 and 1")]
    NotAProbability {
        /// What the value stands for.
        what: &'static str,
        /// The value given.
        value: f64,
    },
    /// More inputs than the sampler has dimensions.
    #[error(
        "Sobol draws serve at most {most} inputs, not {dimensions}; use Latin hypercube or plain draws"
    )]
    TooManyDimensions {
        /// Inputs asked for.
        dimensions: usize,
        /// Most the sampler serves.
        most: usize,
    },
    /// A campaign of no trials.
    #[error("no trials: at least one is needed")]
    NoTrials,
    /// No replicates, or more of them than trials.
    #[error("{replicates} replicates cannot share {trials} trials")]
    Replicates {
        /// Replicates asked for.
        replicates: u32,
        /// Trials asked for.
        trials: u64,
    },
    /// More trials than the replicates of the sampler hold.
    #[error(
        "{trials} trials exceed the {most} that {replicates} replicates hold; \
         use at least {needed} replicates"
    )]
    TooManyTrials {
        /// Trials asked for.
        trials: u64,
        /// Replicates asked for.
        replicates: u32,
        /// Most trials these replicates hold.
        most: u64,
        /// Replicates that would hold the trials.
        needed: u64,
    },
    /// A trial index past the end of the campaign.
    #[error("trial {index} does not exist: the campaign has {trials}, counted from 0")]
    IndexOutOfRange {
        /// Index asked for.
        index: u64,
        /// Trials of the campaign.
        trials: u64,
    },
    /// More successes than trials.
    #[error("{successes} successes in {trials} trials")]
    Count {
        /// Successes given.
        successes: u64,
        /// Trials given.
        trials: u64,
    },
    /// Too few values for the statement asked for.
    #[error("{what}: {count} given, {needed} needed")]
    TooFew {
        /// What there is too little of.
        what: &'static str,
        /// Number given.
        count: usize,
        /// Number needed.
        needed: usize,
    },
    /// A value is infinite or not a number.
    #[error("{what}: entry {index} is {value}")]
    NotFinite {
        /// What the list holds.
        what: &'static str,
        /// Position, from 0.
        index: usize,
        /// The value.
        value: f64,
    },
    /// A setting of a method breaks its rule.
    #[error("{parameter} = {value} is not allowed; it must be {rule}")]
    Setting {
        /// Name of the setting.
        parameter: &'static str,
        /// The value given.
        value: f64,
        /// The rule it breaks.
        rule: &'static str,
    },
    /// A correlation names a draw that does not exist.
    #[error("correlation: there is no draw named \"{name}\"")]
    UnknownName {
        /// The name.
        name: String,
    },
    /// A correlation joins a draw to itself, or the same pair is given twice.
    #[error("correlation between \"{first}\" and \"{second}\": {reason}")]
    CorrelationPair {
        /// First draw of the pair.
        first: String,
        /// Second draw of the pair.
        second: String,
        /// What is wrong with the pair.
        reason: &'static str,
    },
    /// A rank correlation outside (-1, 1).
    #[error(
        "correlation between \"{first}\" and \"{second}\" is {rank}; it must lie strictly between -1 and 1"
    )]
    CorrelationRange {
        /// First draw of the pair.
        first: String,
        /// Second draw of the pair.
        second: String,
        /// Rank correlation given.
        rank: f64,
    },
    /// The correlations contradict each other.
    #[error(
        "the correlations contradict each other (smallest eigenvalue {smallest_eigenvalue:.4}); \
         the pair \"{first}\" and \"{second}\" contributes most; all correlations times \
         {consistent_factor:.3} would be consistent"
    )]
    NotPositiveDefinite {
        /// First draw of the pair that contributes most to the negative eigenvalue.
        first: String,
        /// Second draw of that pair.
        second: String,
        /// Smallest eigenvalue of the correlation matrix.
        smallest_eigenvalue: f64,
        /// Factor on all off-diagonal entries below which the matrix is positive definite.
        consistent_factor: f64,
    },
}
