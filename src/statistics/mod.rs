//! Chance, and nothing else: distributions as people write them, draws by
//! (seed, index), honest intervals, sensitivity, and rare failures.
//!
//! Knows no physics, no units, no files. Every `f64` is in whatever coherent
//! unit the caller uses throughout; nothing here depends on thread order: a
//! result is a function of its inputs and its seed alone, bit for bit.
//!
//! * [`distribution`], [`quantile_function`]: what an uncertain value may be;
//! * [`draw`], [`copula`]: uniforms for trial (seed, index), and their correlation;
//! * [`interval`], [`percentile`], [`demonstration`]: what n trials entitle one to say;
//! * [`running`], [`histogram`]: moments and pictures of a stream of results;
//! * [`sensitivity`], [`separation`]: which inputs drive an output, or a failure;
//! * [`subset_simulation`], [`design_point`], [`series_system`]: failures too rare for plain draws.
//!
//! ```
//! use coldkick::statistics::{Distribution, QuantileFunction, Sampler, SamplingMethod, interval};
//!
//! # fn main() -> Result<(), coldkick::statistics::StatisticsError> {
//! let lag = QuantileFunction::new(&Distribution::Pert { low: 0.02, mode: 0.03, high: 0.09 })?;
//! let sampler = Sampler::new(SamplingMethod::Plain, 7, 1, 1000, 1)?;
//! let mut late = 0;
//! for trial in 0..sampler.trials() {
//!     let mut u = [0.0];
//!     sampler.uniforms(trial, &mut u)?;
//!     late += u64::from(lag.at(u[0]) > 0.06);
//! }
//! let odds = interval::wilson(late, 1000, 0.95)?;
//! assert!(odds.low < 0.0529 && 0.0529 < odds.high); // exactly 0.0529
//! # Ok(())
//! # }
//! ```

pub mod copula;
pub mod demonstration;
pub mod design_point;
pub mod distribution;
pub mod draw;
pub mod error;
pub mod histogram;
pub mod incomplete_beta;
pub mod interval;
pub mod percentile;
mod permutation;
mod probability;
pub mod quantile_function;
mod ray_search;
pub mod running;
pub mod sensitivity;
pub mod separation;
pub mod series_system;
pub mod standard_normal;
pub mod stream;
mod subset_chain;
pub mod subset_simulation;
mod truncated_normal;

pub use copula::{GaussianCopula, RankCorrelation};
pub use distribution::Distribution;
pub use draw::{Sampler, SamplingMethod};
pub use error::StatisticsError;
pub use histogram::Histogram;
pub use interval::{IntervalBasis, ProportionInterval};
pub use quantile_function::QuantileFunction;
pub use running::RunningMoments;
