//! Variance-based sensitivity: which inputs make an output vary.
//!
//! Law: first-order S_i = V(E(Y | x_i)) / V(Y), the share of the variance that would go
//! if x_i were known; total S_Ti = E(V(Y | all but x_i)) / V(Y), the share that would
//! stay if all but x_i were known. Estimators, over rows j of two independent matrices A
//! and B, and A_B^(i) = A with column i from B:
//!
//! ```text
//! V_i  = 1/N  sum f(B)_j (f(A_B^(i))_j - f(A)_j)      Saltelli et al. 2010, table 2 (b)
//! V_Ti = 1/2N sum (f(A)_j - f(A_B^(i))_j)^2           Jansen 1999; ibid. table 2 (f)
//! ```
//!
//! with Y centred on its mean, which removes most of the noise of the first. Source:
//! Saltelli et al. 2010, Comput. Phys. Commun. 181, 259. Assumes independent inputs: give
//! it the uniforms before any correlation is applied, and it speaks of those.

use super::draw::{Sampler, SamplingMethod};
use super::error::StatisticsError;
use super::interval::check_confidence;
use super::percentile;
use super::stream::{Purpose, Stream};

/// The points at which an output must be evaluated, addressed by index.
///
/// Evaluation `index` belongs to row `index / (inputs + 2)`; within a row come A, B, then
/// A_B^(0), A_B^(1)... so any number of whole rows is usable.
#[derive(Debug, Clone, PartialEq)]
pub struct SensitivityDesign {
    sampler: Sampler,
    inputs: usize,
}

impl SensitivityDesign {
    /// A design of `rows` rows (a power of two is best) for `inputs` inputs, with Sobol
    /// points for up to 128 inputs and 2^16 rows, Latin hypercube beyond.
    ///
    /// # Errors
    ///
    /// No rows or no inputs.
    pub fn new(seed: u64, inputs: usize, rows: u64) -> Result<Self, StatisticsError> {
        if inputs == 0 {
            let what = "inputs of a sensitivity study";
            return Err(StatisticsError::TooFew {
                what,
                count: 0,
                needed: 1,
            });
        }
        let dimensions = inputs.saturating_mul(2);
        let fits = dimensions <= super::draw::SOBOL_DIMENSIONS && rows <= super::draw::SOBOL_POINTS;
        let method = if fits {
            SamplingMethod::Sobol
        } else {
            SamplingMethod::LatinHypercube
        };
        let sampler = Sampler::new(method, seed, dimensions, rows, 1)?;
        Ok(Self { sampler, inputs })
    }

    /// Number of evaluations the design asks for: rows x (inputs + 2).
    pub fn evaluations(&self) -> u64 {
        self.sampler.trials() * (self.inputs as u64 + 2)
    }

    /// Number of inputs.
    pub fn inputs(&self) -> usize {
        self.inputs
    }

    /// Writes the point of evaluation `index`, each coordinate strictly between 0 and 1.
    ///
    /// # Errors
    ///
    /// An index past the last evaluation, or an `out` of another length than the inputs.
    pub fn uniforms(&self, index: u64, out: &mut [f64]) -> Result<(), StatisticsError> {
        if out.len() != self.inputs {
            return Err(StatisticsError::LengthMismatch {
                what: "inputs of the design and numbers asked for",
                left: self.inputs,
                right: out.len(),
            });
        }
        let blocks = self.inputs as u64 + 2;
        let (row, block) = (index / blocks, (index % blocks) as usize);
        let mut both = vec![0.0; 2 * self.inputs];
        self.sampler.uniforms(row, &mut both)?;
        let (a, b) = both.split_at(self.inputs);
        out.copy_from_slice(if block == 1 { b } else { a });
        if let Some(input) = block.checked_sub(2)
            && let (Some(slot), Some(value)) = (out.get_mut(input), b.get(input))
        {
            *slot = *value;
        }
        Ok(())
    }
}

/// An index and its interval. Estimates are not forced into 0..=1: one a little below 0
/// says that the index is small and how noisy it is.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct IndexInterval {
    /// Estimate.
    pub estimate: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}

/// Sensitivity of one output to one input.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Sensitivity {
    /// First-order index: the share of variance explained by this input alone.
    pub first: IndexInterval,
    /// Total index: the share in which this input has any part.
    pub total: IndexInterval,
}

/// What a sensitivity study found.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Sensitivities {
    /// Mean of the output.
    pub mean: f64,
    /// Variance of the output.
    pub variance: f64,
    /// One entry for each input, in order; all indices are 0 for a constant output.
    pub inputs: Vec<Sensitivity>,
    /// Rows used.
    pub rows: usize,
    /// Rows left out because at least one of their outputs was not a finite number.
    pub rows_left_out: usize,
}

/// Sums of one row that everything else is made of.
struct Row {
    /// f(A) + f(B), and f(A)^2 + f(B)^2, centred.
    sum: f64,
    squares: f64,
    /// Terms of V_i and of V_Ti, input by input.
    first: Vec<f64>,
    total: Vec<f64>,
}

/// Fewest usable rows that indices are estimated from.
pub const FEWEST_ROWS: usize = 8;

/// Estimates the indices from the outputs of a [`SensitivityDesign`], in the order of
/// evaluation, with bootstrap percentile intervals over rows (Archer, Saltelli & Sobol
/// 1997, J. Stat. Comput. Simul. 58, 99).
///
/// A row with an output that is not finite is left out whole, and counted. The bootstrap
/// takes rows for independent, so with Sobol points the intervals err on the wide side.
///
/// # Errors
///
/// Outputs that are not whole rows, fewer than [`FEWEST_ROWS`] usable rows, fewer than 40 resamples,
/// or a confidence outside (0, 1).
pub fn estimate(
    outputs: &[f64],
    inputs: usize,
    confidence: f64,
    resamples: usize,
    seed: u64,
) -> Result<Sensitivities, StatisticsError> {
    check_confidence(confidence)?;
    let blocks = inputs + 2;
    if inputs == 0 || !outputs.len().is_multiple_of(blocks) {
        let what = "outputs of a sensitivity study and (inputs + 2)";
        return Err(StatisticsError::LengthMismatch {
            what,
            left: outputs.len(),
            right: blocks,
        });
    }
    if resamples < 40 {
        let what = "bootstrap resamples";
        return Err(StatisticsError::TooFew {
            what,
            count: resamples,
            needed: 40,
        });
    }
    let usable: Vec<&[f64]> = outputs
        .chunks_exact(blocks)
        .filter(|row| row.iter().all(|f| f.is_finite()))
        .collect();
    if usable.len() < FEWEST_ROWS {
        let what = "usable rows of a sensitivity study";
        return Err(StatisticsError::TooFew {
            what,
            count: usable.len(),
            needed: FEWEST_ROWS,
        });
    }
    let base = usable.iter().flat_map(|row| row.iter().take(2));
    let mean = base.copied().sum::<f64>() / (2 * usable.len()) as f64;
    let rows: Vec<Row> = usable
        .iter()
        .filter_map(|row| contributions(row, mean))
        .collect();

    let rounding = (ROUNDING * mean).powi(2);
    let (variance, plain) = indices(rows.iter(), inputs, rounding);
    let mut resampled: Vec<Vec<f64>> = vec![Vec::with_capacity(resamples); 2 * inputs];
    for number in 0..resamples {
        let mut stream = Stream::new(seed, Purpose::Bootstrap, number as u64);
        let picks: Vec<&Row> = (0..rows.len())
            .filter_map(|_| rows.get(stream.below(rows.len() as u64) as usize))
            .collect();
        let (_, values) = indices(picks.into_iter(), inputs, rounding);
        resampled
            .iter_mut()
            .zip(values)
            .for_each(|(list, value)| list.push(value));
    }
    let tail = 0.5 * (1.0 - confidence);
    let intervals: Vec<IndexInterval> = plain
        .iter()
        .zip(&mut resampled)
        .map(|(&estimate, list)| {
            list.sort_by(f64::total_cmp);
            let low = percentile::of_sorted(list, tail).min(estimate);
            let high = percentile::of_sorted(list, 1.0 - tail).max(estimate);
            IndexInterval {
                estimate,
                low,
                high,
            }
        })
        .collect();
    let (first, total) = intervals.split_at(inputs);
    let pairs = first.iter().zip(total);
    Ok(Sensitivities {
        mean,
        variance,
        inputs: pairs
            .map(|(&first, &total)| Sensitivity { first, total })
            .collect(),
        rows: rows.len(),
        rows_left_out: outputs.len() / blocks - rows.len(),
    })
}

/// The terms of one row, outputs centred on `mean`.
fn contributions(row: &[f64], mean: f64) -> Option<Row> {
    let (&a, rest) = row.split_first()?;
    let (&b, mixed) = rest.split_first()?;
    let (a, b) = (a - mean, b - mean);
    Some(Row {
        sum: a + b,
        squares: a * a + b * b,
        first: mixed.iter().map(|f| b * (f - mean - a)).collect(),
        total: mixed
            .iter()
            .map(|f| 0.5 * (a - (f - mean)).powi(2))
            .collect(),
    })
}

/// Outputs that differ by this share of their mean are alike but for rounding.
const ROUNDING: f64 = 1e-12;

/// Variance, then all first-order and all total indices, of some rows; a variance up to `rounding` is none.
fn indices<'a>(
    rows: impl Iterator<Item = &'a Row>,
    inputs: usize,
    rounding: f64,
) -> (f64, Vec<f64>) {
    let (mut count, mut sum, mut squares) = (0.0, 0.0, 0.0);
    let mut sums = vec![0.0; 2 * inputs];
    for row in rows {
        count += 1.0;
        sum += row.sum;
        squares += row.squares;
        let terms = row.first.iter().chain(&row.total);
        sums.iter_mut()
            .zip(terms)
            .for_each(|(sum, term)| *sum += term);
    }
    let mean = sum / (2.0 * count);
    let variance = squares / (2.0 * count) - mean * mean;
    let variance = if variance > rounding { variance } else { 0.0 };
    let divisor = count * variance;
    sums.iter_mut()
        .for_each(|sum| *sum = if divisor > 0.0 { *sum / divisor } else { 0.0 });
    (variance, sums)
}
